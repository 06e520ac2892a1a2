//! Which place each note has: the cheapest way through the grid, with a clock that follows the
//! player.
//!
//! Every hypothesis is a row of places for the onsets so far with a clock of its own (a Kalman filter
//! of time and tempo); it pays for the places, for beats that pass in silence, for onsets off the
//! clock and for events that it leaves out. Of those that end at one place in one division of the
//! beat the cheapest lives on.
//!
//! # Source
//! Quantisation with a tempo that is followed: Cemgil, Desain and Kappen (2000), Computer Music J.
//! 24(2), 60-76; Raphael (2002), *A hybrid graphical model for rhythmic parsing*, Artificial
//! Intelligence 137, 217-238; both from memory. Departures: the beam is pruned to the cheapest; a
//! note far off its place costs a fixed amount, since one late note is one late note.

use std::collections::HashMap;

use super::candidates::Candidate;
use super::places::{Division, Places, STEPS};
use crate::compare::clock::Clock;
use crate::music::line::SwingRatio;

/// How far a player is off the place, one standard deviation in seconds. Rasch (1979) gives 10 to 25
/// ms for ensembles, from memory; a player alone against an own pulse is nearer the lower end.
/// Raised, wide rhythms are taken for even ones.
pub(crate) const PLAYER_SD_S: f64 = 0.011;
/// What a note costs at most for being off its place, in nats; the price of an early or late note.
const OFF_MAX: f64 = 5.5;
/// A note is never further off than this, in seconds.
const REACH_S: f64 = 0.14;
/// Wander of the tempo in a second, as a share of it. Raised, a steady drift is followed sooner and
/// single notes move it more.
const WANDER: f64 = 0.006;
/// A beat in which nothing begins, in nats. Raised, slower tempi are found.
const EMPTY_BEAT: f64 = 0.6;
/// The event that is left out must be this much worse than a note off every place, in nats.
const LEFT_OUT: f64 = 1.0;
/// Hypotheses that live on. Raised to 120, no take of the ground came out otherwise.
const BEAM: usize = 60;
/// What a first note that lies off the pulse of the others costs, in nats, and how far off it may be,
/// one standard deviation in seconds.
const FIRST_OFF: (f64, f64) = (4.0, 0.060);

/// What the player is taken to play.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pulse {
    /// Quarters a minute, about.
    pub bpm: f64,
    /// One standard deviation of it, as a share.
    pub sd: f64,
    /// How uneven eighths are.
    pub swing: Option<SwingRatio>,
    /// When the first step lies, where that is known, in seconds.
    pub zero_s: Option<f64>,
}

impl Pulse {
    /// Where a step lies by this pulse, in seconds after step 0.
    pub fn written_s(&self, places: Places, step: i64) -> f64 {
        let quarters = step as f64 / STEPS as f64;
        let moved = match self.swing {
            Some(swing) if places.division(step) != Some(Division::Thirds) => swing.moved(quarters),
            _ => quarters,
        };
        moved * 60.0 / self.bpm
    }
}

/// A note at its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placed {
    /// Which candidate.
    pub at: usize,
    /// Its step; bar 1 beat 1 is step 0.
    pub step: i64,
}

/// The notes at their places.
#[derive(Clone, Debug, Default)]
pub(crate) struct Way {
    /// In order of time.
    pub notes: Vec<Placed>,
    /// What it costs, in nats.
    pub cost: f64,
}

#[derive(Clone, Copy)]
struct Node {
    placed: Placed,
    before: Option<usize>,
}

#[derive(Clone, Copy)]
struct Hypothesis {
    step: i64,
    clock: Clock,
    divided: Option<(i64, Division)>,
    /// Whether the first note is taken to lie off the pulse of the others.
    first_off: bool,
    cost: f64,
    node: usize,
}

struct Search<'a> {
    places: Places,
    pulse: Pulse,
    candidates: &'a [Candidate],
    first: i64,
    nodes: Vec<Node>,
}

/// The cheapest way to write the candidates; empty when there are none.
///
/// `first` is the step of the first note, unless the pulse says when step 0 is.
pub(crate) fn quantise(candidates: &[Candidate], places: Places, pulse: Pulse, first: i64) -> Way {
    let mut search = Search {
        places,
        pulse,
        candidates,
        first,
        nodes: Vec::new(),
    };
    let mut alive: Vec<Hypothesis> = Vec::new();
    // What it has cost to leave out all events so far.
    let mut none_yet = 0.0;
    for (at, candidate) in candidates.iter().enumerate() {
        let left_out = softplus(candidate.nats) + LEFT_OUT;
        let mut next: HashMap<(i64, Option<Division>, bool), Hypothesis> = HashMap::new();
        let mut keep = |new: Hypothesis| {
            let divided = new.divided.map(|divided| divided.1);
            let key = (new.step, divided, new.first_off);
            match next.get(&key) {
                Some(old) if old.cost <= new.cost => {}
                _ => {
                    next.insert(key, new);
                }
            }
        };
        for hypothesis in &alive {
            let mut out = *hypothesis;
            out.cost += left_out;
            keep(out);
        }
        for &hypothesis in &alive {
            search.steps_on(at, &hypothesis, &mut keep);
        }
        search.begin(at, none_yet, &mut keep);
        none_yet += left_out;
        alive = next.into_values().collect();
        alive.sort_by(|a, b| {
            a.cost
                .total_cmp(&b.cost)
                .then((a.step, a.node).cmp(&(b.step, b.node)))
        });
        alive.truncate(BEAM);
    }
    let Some(best) = alive.first() else {
        return Way::default();
    };
    let mut notes = Vec::new();
    let mut node = Some(best.node);
    while let Some(Node { placed, before }) = node.map(|node| search.nodes[node]) {
        notes.push(placed);
        node = before;
    }
    notes.reverse();
    Way {
        notes,
        cost: best.cost,
    }
}

impl Search<'_> {
    fn node(&mut self, at: usize, step: i64, before: Option<usize>) -> usize {
        let placed = Placed { at, step };
        self.nodes.push(Node { placed, before });
        self.nodes.len() - 1
    }

    fn sd_s(&self, at: usize) -> f64 {
        PLAYER_SD_S.hypot(self.candidates[at].onset_sd_s)
    }

    /// The line begins with this event.
    fn begin(&mut self, at: usize, cost: f64, keep: &mut impl FnMut(Hypothesis)) {
        let candidate = &self.candidates[at];
        let (onset_s, nats) = (candidate.onset_s, candidate.nats);
        let kept = cost + softplus(-nats);
        let sd_s = self.sd_s(at);
        let Some(zero_s) = self.pulse.zero_s else {
            let step = self.first;
            let divided = self.places.division(step).map(|division| (step, division));
            for first_off in [false, true] {
                let (more, sd_s) = if first_off { FIRST_OFF } else { (0.0, sd_s) };
                let node = self.node(at, step, None);
                keep(Hypothesis {
                    step,
                    clock: Clock::start(onset_s, 1.0, self.pulse.sd, sd_s),
                    divided,
                    first_off,
                    cost: kept + more,
                    node,
                });
            }
            return;
        };
        // The pulse is known: the first note may lie anywhere on it.
        let step_s = 60.0 / self.pulse.bpm / STEPS as f64;
        let about = ((onset_s - zero_s) / step_s).round() as i64;
        for step in about - STEPS..=about + STEPS {
            let Some(own) = self.places.cost(step) else {
                continue;
            };
            let due_s = zero_s + self.pulse.written_s(self.places, step);
            let mut clock = Clock::start(due_s, 1.0, self.pulse.sd, PLAYER_SD_S);
            let Some(off) = off_cost(onset_s - due_s, clock.var_t + sd_s * sd_s) else {
                continue;
            };
            clock.correct(onset_s, sd_s);
            let node = self.node(at, step, None);
            keep(Hypothesis {
                step,
                clock,
                divided: self.places.division(step).map(|division| (step, division)),
                first_off: false,
                cost: kept + own + off,
                node,
            });
        }
    }

    /// The event at every place it may have behind a hypothesis.
    fn steps_on(&mut self, at: usize, from: &Hypothesis, keep: &mut impl FnMut(Hypothesis)) {
        let candidate = &self.candidates[at];
        let (onset_s, nats) = (candidate.onset_s, candidate.nats);
        let sd_s = self.sd_s(at);
        let step_s = 60.0 / self.pulse.bpm / STEPS as f64 * from.clock.stretch;
        let here_s = self.pulse.written_s(self.places, from.step);
        let about = from.step + ((onset_s - from.clock.t_s) / step_s).round() as i64;
        let spread = (REACH_S / step_s).ceil() as i64 + STEPS / 4;
        for step in (about - spread).max(from.step + 1)..=about + spread {
            let Some(own) = self.places.cost(step) else {
                continue;
            };
            let written_s = self.pulse.written_s(self.places, step) - here_s;
            if written_s <= 0.0 {
                continue;
            }
            let mut clock = from.clock.ahead(written_s, WANDER);
            let Some(off) = off_cost(onset_s - clock.t_s, clock.var_t + sd_s * sd_s) else {
                continue;
            };
            clock.correct(onset_s, sd_s);
            let empty = EMPTY_BEAT * self.places.beats_between(from.step, step) as f64;
            let division = self.places.division(step).map(|division| (step, division));
            let cost = from.cost
                + softplus(-nats)
                + own
                + off
                + empty
                + self.places.change(from.divided, step);
            let node = self.node(at, step, Some(from.node));
            keep(Hypothesis {
                step,
                clock,
                divided: division.or(from.divided),
                first_off: from.first_off,
                cost,
                node,
            });
        }
    }
}

/// What a note that far off its place costs, in nats, by the variance of the distance; `None` where
/// that is too far.
fn off_cost(off_s: f64, variance: f64) -> Option<f64> {
    let square = off_s * off_s / variance;
    // Within four standard deviations of a clock that is not sure of itself anything goes.
    (off_s.abs() <= REACH_S || square <= 16.0)
        .then(|| -((-square / 2.0).exp() + (-OFF_MAX).exp()).ln())
}

/// `ln(1 + e^x)`: minus the log of the probability that something with these odds against it holds.
fn softplus(x: f64) -> f64 {
    x.max(0.0) + (-x.abs()).exp().ln_1p()
}

#[cfg(test)]
mod tests {
    use super::super::candidates::test_support::{played, plucked};
    use super::*;

    fn places() -> Places {
        Places::new("4/4".parse().unwrap()).unwrap()
    }

    fn pulse(bpm: f64) -> Pulse {
        Pulse {
            bpm,
            sd: 0.03,
            swing: None,
            zero_s: None,
        }
    }

    fn steps(candidates: &[Candidate], pulse: Pulse) -> Vec<i64> {
        let way = quantise(candidates, places(), pulse, 0);
        way.notes.iter().map(|note| note.step).collect()
    }

    fn eighths(count: usize) -> Vec<f64> {
        (0..count).map(|k| k as f64 / 2.0).collect()
    }

    /// Closed form: a quarter has twelve steps.
    #[test]
    fn even_notes_stand_at_their_places() {
        let row = |each: f64| (0..17).map(|k| f64::from(k) * each).collect::<Vec<f64>>();
        for (each, wanted) in [(1.0, 12), (0.5, 6), (0.25, 3), (1.0 / 3.0, 4)] {
            let found = steps(&played(&row(each), 0.7), pulse(60.0 / 0.7));
            let wanted: Vec<i64> = (0..17).map(|k| k * wanted).collect();
            assert_eq!(found, wanted, "{each}");
        }
    }

    #[test]
    fn a_tempo_that_is_near_is_found() {
        for off in [0.95, 1.05] {
            let found = steps(&played(&eighths(24), 0.6), pulse(100.0 * off));
            assert_eq!(found, (0..24).map(|k| k * 6).collect::<Vec<i64>>(), "{off}");
        }
    }

    /// A tempo that drifts by 6 % over 24 quarters.
    #[test]
    fn a_drift_is_followed() {
        let mut at_s = 0.5;
        let mut notes = Vec::new();
        for k in 0..48 {
            notes.push(plucked(at_s, 40.0));
            at_s += 0.3 * (1.0 - 0.06 * f64::from(k) / 48.0);
        }
        let found = steps(&notes, pulse(100.0));
        assert_eq!(found, (0..48).map(|k| k * 6).collect::<Vec<i64>>());
    }

    /// In a row of eighths one late note is a late note, and the clock stays; where the line has
    /// sixteenths, what lies on one is one.
    #[test]
    fn one_late_note_is_one_late_note() {
        let late = |at: usize, quarters: f64| {
            let mut notes = played(&eighths(24), 0.6);
            notes[at].onset_s += quarters * 0.6;
            notes
        };
        let even: Vec<i64> = (0..24).map(|k| k * 6).collect();
        for off in [0.05, 0.1] {
            assert_eq!(steps(&late(9, off), pulse(100.0)), even, "{off}");
        }
        let mut fine = even.clone();
        fine[9] += 3;
        assert_eq!(steps(&late(9, 0.25), pulse(100.0)), fine);
    }

    /// What is hardly a note and lies between two is left out; a sure one has a place.
    #[test]
    fn a_doubtful_event_is_left_out() {
        let with = |nats: f64| {
            let mut notes = played(&eighths(16), 0.6);
            let mut more = plucked(0.5 + 0.6 * 3.37, 45.0);
            more.nats = nats;
            notes.insert(7, more);
            let way = quantise(&notes, places(), pulse(100.0), 0);
            way.notes.iter().any(|note| note.at == 7)
        };
        assert!(!with(-2.0));
        assert!(with(12.0));
    }

    /// Where the pulse is known the first note stands where it lies on it.
    #[test]
    fn a_known_pulse_places_the_first_note() {
        let known = Pulse {
            sd: 0.004,
            zero_s: Some(0.5),
            ..pulse(100.0)
        };
        let notes = played(&[0.5, 1.0, 1.5, 2.0, 3.0], 0.6);
        assert_eq!(steps(&notes, known), [6, 12, 18, 24, 36]);
    }

    #[test]
    fn of_nothing_there_is_no_way() {
        let way = quantise(&[], places(), pulse(100.0), 0);
        assert!(way.notes.is_empty());
        assert_eq!(way.cost, 0.0);
        assert_eq!(steps(&played(&[0.0], 0.6), pulse(100.0)), [0]);
    }
}
