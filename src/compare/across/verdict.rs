//! Better, worse, alike or not to be told; and how many more passes would tell.

use super::chance::{self, FALSE_SHARE, Share};
use super::samples::{Apart, Group, Samples, t_quantile};
use super::usual::Usual;
use super::{Change, Compared, Matter, Measured, Sides};
use crate::compare::marks::Marks;

/// No smaller change of a gap or of an onset is told, in milliseconds. What lies below the mark of its flag on both
/// sides is alike in any case.
///
/// # Source
/// The just noticeable displacement of one tone within a metrical row: about 10 ms (STL-QPSR 4/1992, as summed up in
/// Friberg & Sundberg 1995, J. Acoust. Soc. Am. 98, 2524-2531).
pub(super) const LEAST_MS: f64 = 10.0;

/// No smaller change of a pass's spread is told, in milliseconds. Common practice, no source.
const LEAST_SPREAD_MS: f64 = 4.0;

/// No smaller change of how far the tempo moves is told, as a share of the tempo.
///
/// # Source
/// Just noticeable change of tempo over six intervals: 3 % (Drake & Botte 1993, Percept. Psychophys. 54, 277-286).
const LEAST_DRIFT: f64 = 0.03;

/// How likely the passes asked for tell a change that is as large as it seems. Common practice of planning trials.
const POWER: f64 = 0.8;

/// More passes than this are not asked for.
const PASSES_MAX: usize = 40;

/// Decides every matter; gives how many tests were made.
pub(super) fn decide(compared: &mut [Compared], marks: &Marks) -> usize {
    let mut apart: Vec<Option<Apart>> = vec![None; compared.len()];
    for matter in [Matter::Gap, Matter::Timing] {
        let places: Vec<(usize, Samples)> = numbers(compared, matter)
            .filter(|(_, samples)| is_minded(matter, samples, marks))
            .collect();
        let all: Vec<Samples> = places.iter().map(|(_, samples)| samples.clone()).collect();
        let learnt = Usual::learnt(&all);
        for (at, samples) in places {
            apart[at] = samples.apart(learnt.or_else(|| Usual::assumed(&samples)));
        }
    }
    for matter in [Matter::Spread, Matter::Drift] {
        for (at, samples) in numbers(compared, matter).collect::<Vec<_>>() {
            if is_minded(matter, &samples, marks) {
                apart[at] = samples.apart(None);
            }
        }
    }
    for (one, apart) in compared.iter_mut().zip(&apart) {
        tested(one, apart.as_ref());
    }
    let p: Vec<f64> = compared.iter().filter_map(|one| one.p).collect();
    let mut q = chance::adjusted(&p).into_iter();
    for one in compared.iter_mut() {
        one.q = one.p.and_then(|_| q.next());
    }
    let told = compared
        .iter()
        .filter(|one| one.q.is_some_and(|q| q <= FALSE_SHARE))
        .count();
    // What one more must reach to be told beside those that are.
    let next_p = FALSE_SHARE * (told + 1).min(p.len()) as f64 / p.len().max(1) as f64;
    for (one, apart) in compared.iter_mut().zip(&apart) {
        one.verdict = verdict(one, apart.as_ref(), marks);
        if one.verdict == Change::CannotTell {
            one.more_passes = more(one, apart.as_ref(), next_p);
        }
    }
    p.len()
}

/// The numbers of a matter, each with its place in the list.
fn numbers(compared: &[Compared], matter: Matter) -> impl Iterator<Item = (usize, Samples)> {
    let of_matter = compared
        .iter()
        .enumerate()
        .filter(move |(_, one)| one.matter == matter);
    of_matter.filter_map(|(at, one)| match &one.sides {
        Sides::Numbers(samples) => Some((at, samples.clone())),
        Sides::Counts { .. } => None,
    })
}

/// Whether one side reaches what somebody would mind: a silence that the ear's own ringing does not hide, an onset that
/// is not within the groove, a tempo that moves so that it is noticed. What does not is alike, and no test is made of it.
fn is_minded(matter: Matter, samples: &Samples, marks: &Marks) -> bool {
    let limit = match matter {
        Matter::Gap => marks.gap_floor_ms,
        Matter::Timing => marks.timing_ms,
        Matter::Drift => LEAST_DRIFT,
        _ => return true,
    };
    let reaches = |side: &[Measured]| Group::of(side).is_some_and(|group| group.mean >= limit);
    reaches(&samples.before) || reaches(&samples.after)
}

/// Puts in by how much it changed, and how likely that is by chance.
fn tested(one: &mut Compared, apart: Option<&Apart>) {
    match &one.sides {
        Sides::Numbers(samples) => {
            let means = Group::of(&samples.before).zip(Group::of(&samples.after));
            one.change = means.map(|(before, after)| after.mean - before.mean);
            one.change_sd = apart.map(|apart| apart.sd);
            one.p = apart.and_then(Apart::p);
        }
        &Sides::Counts { before, after } => {
            if before.all == 0 || after.all == 0 {
                return;
            }
            one.change = Some(share(after) - share(before));
            // What never happened was not tested.
            if before.of + after.of > 0 {
                one.p = Some(counted(one.matter, before, after));
            }
        }
    }
}

fn share(share: Share) -> f64 {
    share.of as f64 / share.all.max(1) as f64
}

fn counted(matter: Matter, before: Share, after: Share) -> f64 {
    match matter {
        Matter::AllExtras => chance::conditional((before.of, before.all), (after.of, after.all)),
        _ => chance::fisher(before, after),
    }
}

/// The least change of a matter that is told.
fn least(matter: Matter) -> f64 {
    match matter {
        Matter::Gap | Matter::Timing => LEAST_MS,
        Matter::Spread => LEAST_SPREAD_MS,
        Matter::Drift => LEAST_DRIFT,
        _ => 0.0,
    }
}

fn verdict(one: &Compared, apart: Option<&Apart>, marks: &Marks) -> Change {
    let Some(change) = one.change else {
        return Change::CannotTell;
    };
    let sure = one.q.is_some_and(|q| q <= FALSE_SHARE);
    if sure && change.abs() >= least(one.matter) {
        return if change < 0.0 {
            Change::Better
        } else {
            Change::Worse
        };
    }
    let alike = match (&one.sides, apart) {
        // Both bounds of the interval lie within: two one-sided tests at 5 % (Schuirmann 1987, J. Pharmacokinet.
        // Biopharm. 15, 657-680).
        (Sides::Numbers(_), Some(apart)) => change.abs() + apart.half_90() <= least(one.matter),
        (Sides::Numbers(samples), None) => !is_minded(one.matter, samples, marks),
        (&Sides::Counts { before, after }, _) => before.of + after.of == 0,
    };
    if alike {
        Change::Alike
    } else {
        Change::CannotTell
    }
}

/// How many more later passes would probably tell whether a change as large as this one is none; `None` where more of
/// them would not, since too little is known of the earlier ones.
fn more(one: &Compared, apart: Option<&Apart>, next_p: f64) -> Option<usize> {
    match &one.sides {
        Sides::Numbers(samples) => {
            let apart = apart?;
            let (size, least) = (apart.change.abs(), least(one.matter));
            // A change that would be noticed is to be told as such, a smaller one as none.
            let (to_tell, quantile) = if size >= least {
                (size, 1.0 - next_p / 2.0)
            } else {
                ((least - size).max(least / 4.0), 1.0 - FALSE_SHARE)
            };
            let wanted = t_quantile(quantile, f64::INFINITY) + t_quantile(POWER, f64::INFINITY);
            let room = (to_tell / wanted).powi(2) - apart.variances.0 / samples.before.len() as f64;
            let passes = (apart.variances.1 / room).ceil();
            let more = (passes - samples.after.len() as f64).max(1.0);
            (room > 0.0 && more <= PASSES_MAX as f64).then_some(more as usize)
        }
        // Of whole takes the notes are counted, not the passes.
        Sides::Counts { .. } if one.spot.is_none() => None,
        &Sides::Counts { before, after } => (1..=PASSES_MAX).find(|more| {
            let all = after.all + more;
            let of = (share(after) * all as f64).round() as usize;
            counted(one.matter, before, Share { of, all }) <= next_p
        }),
    }
}
