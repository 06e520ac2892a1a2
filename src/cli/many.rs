//! Many takes at once, on all cores, handed over in the order in which they were named.

use std::collections::BTreeMap;
use std::num::NonZero;
use std::thread;

use crossbeam_channel::unbounded;

/// Takes that may be under way for each core: one that is worked on and one that waits to be handed over.
/// Raised, more results are held in memory while a long take is worked on.
const AHEAD: usize = 2;

/// Does `work` for each of `jobs`, on as many cores as there are, and hands each result with its job to
/// `done`, in the order of the jobs. Memory does not grow with their number. Ends with the first error of
/// `done`; what is under way is finished and thrown away then.
///
/// # Errors
/// That of `done`.
pub(super) fn in_order<J: Sync, R: Send, E>(
    jobs: &[J],
    work: impl Fn(&J) -> R + Sync,
    mut done: impl FnMut(&J, R) -> Result<(), E>,
) -> Result<(), E> {
    let cores = thread::available_parallelism().map_or(1, NonZero::get);
    let workers = cores.min(jobs.len());
    if workers < 2 {
        return jobs.iter().try_for_each(|job| done(job, work(job)));
    }
    thread::scope(|scope| {
        let (tickets, to_do) = unbounded::<usize>();
        let (results, finished) = unbounded::<(usize, R)>();
        for _ in 0..workers {
            let (to_do, results, work) = (to_do.clone(), results.clone(), &work);
            scope.spawn(move || {
                while let Ok(at) = to_do.recv() {
                    // Nobody waits for it when the rest was given up.
                    if results.send((at, work(&jobs[at]))).is_err() {
                        break;
                    }
                }
            });
        }
        drop(results);
        let mut sent = 0;
        let mut early = BTreeMap::new();
        for (at, job) in jobs.iter().enumerate() {
            while sent < jobs.len().min(at + AHEAD * workers) {
                // The workers take them as long as there are any.
                tickets.send(sent).ok();
                sent += 1;
            }
            let result = loop {
                if let Some(result) = early.remove(&at) {
                    break result;
                }
                match finished.recv() {
                    Ok((number, result)) => early.insert(number, result),
                    // The workers are gone, which only a breakdown of theirs brings about: the scope tells it.
                    Err(_) => return Ok(()),
                };
            };
            done(job, result)?;
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    use super::*;

    #[test]
    fn results_come_in_order_and_never_pile_up() {
        let jobs: Vec<usize> = (0..50).collect();
        let (begun, over) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let cores = thread::available_parallelism().map_or(1, NonZero::get);
        let work = |job: &usize| {
            let ahead = 1 + begun.fetch_add(1, Ordering::SeqCst) - over.load(Ordering::SeqCst);
            assert!(
                ahead <= AHEAD * cores + 1,
                "{ahead} under way on {cores} cores"
            );
            // The first of each few takes longest.
            thread::sleep(Duration::from_millis(if job.is_multiple_of(5) {
                8
            } else {
                0
            }));
            job * 10
        };
        let mut came = Vec::new();
        let done = |job: &usize, result| {
            came.push((*job, result));
            over.fetch_add(1, Ordering::SeqCst);
            Ok::<(), ()>(())
        };
        assert_eq!(in_order(&jobs, work, done), Ok(()));
        assert_eq!(came, (0..50).map(|job| (job, job * 10)).collect::<Vec<_>>());
    }

    #[test]
    fn it_ends_with_the_first_error() {
        let jobs = [1, 2, 3, 4];
        let mut came = 0;
        let ended = in_order(
            &jobs,
            |job| *job,
            |_, result| {
                came += 1;
                if result == 2 { Err("two") } else { Ok(()) }
            },
        );
        assert_eq!((ended, came), (Err("two"), 2));
        assert_eq!(
            in_order(&[] as &[u8], |job| *job, |_, _| Err("none")),
            Ok(())
        );
    }
}
