//! The numbers that were reached once and may not be lost again.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::figures::{Better, FOUND, Figure};

/// Share by which a measurement (of time, of pitch) may be worse: the same sums come out in another
/// order on another processor. Counted things have no such room. Raising it lets more be lost.
const ROOM: f64 = 0.01;

/// What was reached on one set of takes.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Serialize)]
pub struct Reached {
    /// The number of takes it was reached on; on others it says nothing.
    pub takes: usize,
    /// Their notes, each pass counted for itself.
    pub notes: usize,
    /// The best reached, by the names of the figures.
    pub reached: BTreeMap<String, f64>,
}

/// What stands in `fixtures/gate/ratchet.json`: what was reached on each set, by its name.
pub type Ratchet = BTreeMap<String, Reached>;

/// Where it lies.
pub fn path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/gate/ratchet.json")
}

/// Reads it.
///
/// # Panics
/// When it is not there or cannot be understood.
pub fn read(path: &Path) -> Ratchet {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Writes it.
///
/// # Panics
/// When it cannot be written.
pub fn write(path: &Path, ratchet: &Ratchet) {
    let text = serde_json::to_string_pretty(ratchet).expect("numbers and names");
    fs::write(path, text + "\n").expect("the ratchet can be written");
}

impl Reached {
    /// Whether it was reached on takes as many as these, with as many notes.
    pub fn is_of(&self, takes: usize, notes: usize) -> bool {
        (self.takes, self.notes) == (takes, notes)
    }

    /// With every figure that is better now than it was; nothing becomes worse, but what is
    /// counted within more than before is counted anew.
    pub fn raised(&self, takes: usize, notes: usize, figures: &[Figure]) -> Self {
        let mut raised = if self.is_of(takes, notes) {
            self.clone()
        } else {
            Self::default()
        };
        (raised.takes, raised.notes) = (takes, notes);
        for figure in figures {
            let Some(now) = figure.reached else { continue };
            let best = raised.reached.entry(figure.what.clone()).or_insert(now);
            if figure.as_good(now, *best) || self.has_grown(figure, figures) {
                *best = now;
            }
        }
        raised
    }

    /// What has become worse, as sentences.
    pub fn lost(&self, figures: &[Figure]) -> Vec<String> {
        let mut lost = Vec::new();
        for (what, &best) in &self.reached {
            let figure = figures.iter().find(|f| &f.what == what);
            let now = match figure.map(|figure| (figure, figure.reached)) {
                None => "it is not a figure".to_owned(),
                Some((_, None)) => "nothing is measured".to_owned(),
                Some((figure, Some(now))) => {
                    let room = if figure.measured { ROOM * best } else { 0.0 };
                    let good = figure.as_good(now, best) || (now - best).abs() <= room;
                    if good || self.has_grown(figure, figures) {
                        continue;
                    }
                    format!("it is {now}")
                }
            };
            lost.push(format!("{what}: {best} was reached, now {now}"));
        }
        lost
    }

    /// What has become worse and is not held, because more was looked at than when it was reached.
    pub fn not_held(&self, figures: &[Figure]) -> Vec<String> {
        let worse = |figure: &&Figure| {
            let best = self.reached.get(&figure.what).zip(figure.reached);
            best.is_some_and(|(best, now)| !figure.as_good(now, *best))
        };
        let grown = figures.iter().filter(|f| self.has_grown(f, figures));
        grown
            .filter(worse)
            .map(|f| format!("{}: {} was reached", f.what, self.reached[&f.what]))
            .collect()
    }

    /// Whether more is looked at now, by the figure that this one is counted within.
    fn has_grown(&self, figure: &Figure, figures: &[Figure]) -> bool {
        let Some(within) = figure.within else {
            return false;
        };
        let looked = figures.iter().find(|f| f.what == within);
        let best = self.reached.get(within);
        looked
            .and_then(|looked| looked.reached.map(|now| (looked, now)))
            .zip(best)
            .is_some_and(|((looked, now), best)| now != *best && looked.as_good(now, *best))
    }
}

fn figure(what: &str, reached: Option<f64>, better: Better) -> Figure {
    Figure {
        what: what.to_owned(),
        reached,
        reach: None,
        better,
        measured: false,
        of: 1,
        within: None,
    }
}

/// What was reached is kept: raising never lowers, and what is worse is named.
#[test]
fn the_ratchet_turns_one_way() {
    let high = |v| [figure("one", Some(v), Better::Higher)];
    let low = |v| {
        [Figure {
            measured: true,
            ..figure("one", Some(v), Better::Lower)
        }]
    };
    let start = Reached::default();
    let reached = start.raised(2, 30, &high(0.9));
    assert_eq!(reached.raised(2, 30, &high(0.8)), reached);
    assert_eq!(reached.raised(2, 30, &high(0.95)).reached["one"], 0.95);
    assert!(reached.lost(&high(0.9)).is_empty());
    assert_eq!(reached.lost(&high(0.8999)).len(), 1);
    assert_eq!(
        reached.lost(&[figure("one", None, Better::Higher)]).len(),
        1
    );
    assert_eq!(reached.lost(&[]).len(), 1);
    // A measurement has one hundredth of room.
    let reached = start.raised(2, 30, &low(2.0));
    assert_eq!(reached.raised(2, 30, &low(1.5)).reached["one"], 1.5);
    assert_eq!(reached.raised(2, 30, &low(2.5)), reached);
    assert!(reached.lost(&low(2.015)).is_empty());
    assert_eq!(reached.lost(&low(2.025)).len(), 1);
    // Reached on other takes, it says nothing about these, and is started anew.
    assert!(reached.is_of(2, 30) && !reached.is_of(2, 31) && !reached.is_of(3, 30));
    assert_eq!(reached.raised(2, 31, &low(2.5)).reached["one"], 2.5);
}

/// False claims can only be made in passes that are found: they are held while no more passes
/// are found, and counted anew when the ratchet is raised after that.
#[test]
fn false_claims_are_held_within_what_is_found() {
    let now = |found, claims| {
        [
            figure(FOUND, Some(found), Better::Higher),
            Figure {
                within: Some(FOUND),
                ..figure("claims", Some(claims), Better::Lower)
            },
        ]
    };
    let reached = Reached::default().raised(2, 30, &now(0.5, 3.0));
    assert_eq!(reached.lost(&now(0.5, 4.0)).len(), 1);
    assert_eq!(reached.raised(2, 30, &now(0.5, 4.0)), reached);
    assert_eq!(reached.lost(&now(0.4, 4.0)).len(), 2);
    assert!(reached.lost(&now(0.6, 4.0)).is_empty());
    assert_eq!(reached.not_held(&now(0.6, 4.0)), ["claims: 3 was reached"]);
    assert!(reached.not_held(&now(0.6, 2.0)).is_empty());
    let raised = reached.raised(2, 30, &now(0.6, 4.0));
    assert_eq!(raised.reached["claims"], 4.0);
    assert_eq!(raised.lost(&now(0.6, 5.0)).len(), 1);
}
