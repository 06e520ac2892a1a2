//! How long each note is written, from where its sound ends.
//!
//! A note that rings up to the next lasts until it. One that stops before is shorter, with a rest
//! behind it, where it stops at a place where notes end; else it is as long as written and short as
//! played.

use super::candidates::Candidate;
use super::clockwork::Clockwork;
use super::places::{Division, Places, SIXTEENTH, STEPS};
use super::quantise::Placed;
use crate::hearing::events::EndCause;

/// A silence shorter than this before the next note is none, in seconds: the mark of a gap.
const MEETS_S: f64 = 0.045;
/// How exactly a player stops a note where it ends, one standard deviation in seconds.
const STOP_SD_S: f64 = 0.025;
/// A note that stops anywhere before the next, by mistake or on purpose, in nats.
const STOPPED: f64 = 3.2;
/// A rest that begins on a beat, on an eighth, on a finer place, in nats; the last beside what
/// sixteenths cost in the line.
const REST_FROM: [f64; 3] = [0.3, 0.7, 2.0];
/// From this share of rests behind the notes of a line on, as minus its log in nats, another one is
/// nothing rare; each below it costs the difference more, up to [`RARE_MAX`].
const RARE_FROM: f64 = 2.0;
/// The most by which a rest is dearer in a line without rests, in nats.
const RARE_MAX: f64 = 2.0;
/// A stop so late is no rest: it is off the place by this at most, in standard deviations.
const OFF_MAX: f64 = 4.0;
/// A note of which no more than this share sounds has a staccato dot.
const STACCATO_SHARE: f64 = 0.7;
/// A pause before the next note of this length and more is a breath, in seconds.
const BREATH_S: f64 = 0.080;

/// The length of a note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Lasting {
    /// In steps, above 0.
    pub steps: i64,
    /// It was cut short on purpose.
    pub staccato: bool,
    /// It stopped a little before the next one.
    pub breath: bool,
    /// The other length that explains the sound nearly as well, and how much worse, in nats.
    pub other: Option<(i64, f64)>,
}

/// The lengths of placed notes, in order.
pub(crate) fn lengths(
    notes: &[Placed],
    candidates: &[Candidate],
    places: Places,
    clockwork: &Clockwork,
) -> Vec<Lasting> {
    let of = |k: usize, rare: f64| {
        let placed = notes[k];
        let candidate = &candidates[placed.at];
        match notes.get(k + 1) {
            Some(next) => {
                let next_s = candidates[next.at].onset_s;
                let span = (placed.step, next.step);
                between(span, candidate, next_s, rare, places, clockwork)
            }
            None => last(placed.step, candidate, places, clockwork),
        }
    };
    let all = |rare: f64| -> Vec<Lasting> { (0..notes.len()).map(|k| of(k, rare)).collect() };
    let first = all(0.0);
    // How many rests the line has says how likely another one is.
    let spans = notes.windows(2).zip(&first);
    let rests = spans.filter(|(pair, lasting)| pair[1].step - pair[0].step > lasting.steps);
    let share = (rests.count() as f64 + 1.0) / (notes.len() as f64 + 1.0);
    all((-share.ln() - RARE_FROM).clamp(0.0, RARE_MAX))
}

/// What a rest from one step to another costs, in nats.
fn rest(places: Places, from: i64, to: i64) -> f64 {
    let eighth = |steps: i64| steps % (2 * SIXTEENTH) == 0;
    if !eighth(places.in_bar(from)) {
        REST_FROM[2] + places.sixteenth
    } else {
        let short = if to - from < 2 * SIXTEENTH {
            places.sixteenth
        } else {
            0.0
        };
        short + REST_FROM[usize::from(!places.is_beat(from))]
    }
}

/// The steps at which a note may end, from one step up to another, neither included.
fn ends(places: Places, from: i64, to: i64) -> impl Iterator<Item = i64> {
    let thirds = places.division(from) == Some(Division::Thirds)
        || places.division(to) == Some(Division::Thirds);
    (from + 1..to).filter(move |&step| {
        let third = thirds && places.division(step) == Some(Division::Thirds) && step % 4 == 0;
        third || places.in_bar(step) % SIXTEENTH == 0
    })
}

fn between(
    (step, next): (i64, i64),
    candidate: &Candidate,
    next_s: f64,
    rare: f64,
    places: Places,
    clockwork: &Clockwork,
) -> Lasting {
    let gap_s = next_s - candidate.release_s;
    let full = Lasting {
        steps: next - step,
        staccato: false,
        breath: false,
        other: None,
    };
    if candidate.end != EndCause::Damped || gap_s < MEETS_S {
        return full;
    }
    let mut costs: Vec<(f64, i64)> = vec![(STOPPED, next)];
    for end in ends(places, step, next) {
        let off = (candidate.release_s - clockwork.at(end)) / STOP_SD_S;
        if off.abs() <= OFF_MAX {
            costs.push((off * off / 2.0 + rare + rest(places, end, next), end));
        }
    }
    costs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (cost, end) = costs[0];
    let other = costs.get(1).map(|other| (other.1 - step, other.0 - cost));
    if end < next {
        return Lasting {
            steps: end - step,
            other,
            ..full
        };
    }
    let share = (candidate.release_s - candidate.onset_s) / (next_s - candidate.onset_s);
    let staccato = share <= STACCATO_SHARE;
    Lasting {
        staccato,
        breath: !staccato && gap_s >= BREATH_S,
        other,
        ..full
    }
}

/// The last note: up to where it was stopped, or the end of its bar where nobody stopped it.
fn last(step: i64, candidate: &Candidate, places: Places, clockwork: &Clockwork) -> Lasting {
    let bar_end = step - places.in_bar(step) + places.bar;
    let step_s = clockwork.step_s(step).max(1e-3);
    let sounds = ((candidate.release_s - clockwork.at(step)) / step_s).clamp(0.0, 1e4);
    let lasting = |steps: i64, other| Lasting {
        steps,
        staccato: false,
        breath: false,
        other,
    };
    if candidate.end != EndCause::Damped {
        return lasting(bar_end - step, None);
    }
    let about = step + sounds.round() as i64;
    let mut costs: Vec<(f64, i64)> = ends(places, step, about + STEPS)
        .map(|end| {
            let off = (candidate.release_s - clockwork.at(end)) / STOP_SD_S;
            // A long note is stopped less exactly.
            let off = off / (1.0 + (end - step) as f64 / (4 * STEPS) as f64);
            (
                off * off / 2.0 + rest(places, end, bar_end.max(end + STEPS)),
                end,
            )
        })
        .collect();
    costs.sort_by(|a, b| a.0.total_cmp(&b.0));
    match costs.first() {
        Some(&(cost, end)) => {
            let other = costs.get(1).map(|other| (other.1 - step, other.0 - cost));
            lasting(end - step, other)
        }
        None => lasting(SIXTEENTH, None),
    }
}
