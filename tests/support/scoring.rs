//! Reports held against the truth: the rules of the takes' own scorer, number for number.
//!
//! The rules are told at the head of `score_report.py`, which lies with the takes and is the
//! judge; `tests/accuracy.rs` compares every number with it when it is at hand.

use std::collections::{BTreeMap, BTreeSet};

use super::claims::{BleedClaim, Claim, Claims};
use super::numbers::{median, round};
use super::truth::{Played, TrueBleed, TrueNote, Truth};

/// What is told apart.
pub const CLASSES: [&str; 9] = [
    "wrong", "missed", "extra", "early", "late", "gap", "bleed", "dead", "detuned",
];
/// An extra is matched with a true one this close, in seconds.
const EXTRA_WITHIN_S: f64 = 0.060;
/// A softer accidental pluck changes the sound too little to be asked for, in decibels.
const SOFT_EXTRA_DB: f64 = -9.5;
/// A recorded note with more than this besides its own partials rings by itself, in decibels.
const OWN_RING_DB: f64 = -32.0;
/// A bleed below this is not asked for, in decibels under the played notes.
const BLEED_ASKED_DB: f64 = -30.0;
/// Semitones above the played note at which every partial is shared.
const MASKED: [f64; 8] = [0.0, 12.0, 19.0, 24.0, 28.0, 31.0, 34.0, 36.0];
/// Names of the strings of the takes' basses, string 1 first.
pub(super) const STRINGS: [&str; 4] = ["G", "D", "A", "E"];
/// A gap is one of the lowest notes up to this one (F sharp 1): no take has many at E1 alone.
const LOWEST_NOTES_MIDI: f64 = 30.0;

/// True and false claims of one class.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Counts {
    pub tp: usize,
    pub fp: usize,
    pub fn_: usize,
}

impl Counts {
    pub fn precision(self) -> f64 {
        self.tp as f64 / (self.tp + self.fp).max(1) as f64
    }

    pub fn recall(self) -> f64 {
        self.tp as f64 / (self.tp + self.fn_).max(1) as f64
    }

    pub fn f1(self) -> f64 {
        let (p, r) = (self.precision(), self.recall());
        2.0 * p * r / (p + r).max(1e-9)
    }
}

/// What a claim and the truth disagree about.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    pub take: String,
    /// Index of the note, or the time of an extra in seconds.
    pub place: String,
    pub class: &'static str,
    /// `missed it` or `false claim`.
    pub what: &'static str,
}

type Tally<K> = BTreeMap<K, usize>;

/// Everything counted and measured over some takes.
#[derive(Clone, Debug, Default)]
pub struct Score {
    pub takes: usize,
    pub notes: usize,
    pub classes: BTreeMap<&'static str, Counts>,
    pub onset: Vec<f64>,
    pub gap_fault: Vec<f64>,
    /// Of the injected gaps, those after the lowest notes.
    pub gap_fault_low: Vec<f64>,
    pub cents: Vec<f64>,
    pub heard: Vec<f64>,
    pub named: BTreeMap<&'static str, Vec<f64>>,
    pub octaves: Tally<&'static str>,
    /// Bleed by level: found or not.
    pub bands: Tally<(&'static str, bool)>,
    pub differences: Vec<Difference>,
    pub(super) clean: usize,
    pub(super) false_alarms: usize,
    pub(super) verdicts: Tally<(&'static str, String)>,
    pub(super) onset_raw: Vec<f64>,
    pub(super) timing: Vec<f64>,
    pub(super) gap: Vec<f64>,
    pub(super) wrong_pitch: Tally<&'static str>,
    pub(super) soft: Tally<&'static str>,
    pub(super) intervals: Tally<&'static str>,
    pub(super) kinds: Tally<(String, bool)>,
    pub(super) bleed_string: Tally<&'static str>,
    pub(super) bleed_from: Vec<f64>,
    pub(super) bleed_to: Vec<f64>,
    pub(super) bleed_level: Vec<f64>,
}

/// Greedy one-to-one matching of times, the closest first; pairs of indices.
pub fn match_times(a: &[f64], b: &[f64], within: f64) -> Vec<(usize, usize)> {
    let mut near = Vec::new();
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            let apart = (x - y).abs();
            if apart <= within {
                near.push((apart, i, j));
            }
        }
    }
    near.sort_by(|p, q| p.0.total_cmp(&q.0).then(p.1.cmp(&q.1)).then(p.2.cmp(&q.2)));
    let (mut left, mut right) = (BTreeSet::new(), BTreeSet::new());
    let mut pairs = Vec::new();
    for (_, i, j) in near {
        if !left.contains(&i) && !right.contains(&j) {
            left.insert(i);
            right.insert(j);
            pairs.push((i, j));
        }
    }
    pairs
}

impl Score {
    /// Adds one take.
    pub fn add(&mut self, truth: &Truth, report: &Claims) {
        self.takes += 1;
        let claims = report.by_index();
        self.add_times(truth, &claims);
        for note in &truth.notes {
            self.notes += 1;
            let absent = Claim::absent(note.id);
            let claim = claims.get(&note.id).copied().unwrap_or(&absent);
            self.add_note(truth, note, claim, &report.bleed);
        }
        self.add_extras(truth, report);
        let flagged: BTreeSet<usize> = claims
            .iter()
            .filter(|(_, claim)| claim.flagged("bleed"))
            .map(|(index, _)| *index)
            .collect();
        for bleed in &truth.bleed {
            self.add_bleed(truth, bleed, report, &flagged);
        }
    }

    /// Onsets and deviations, each with the constant part of the take taken out.
    fn add_times(&mut self, truth: &Truth, claims: &BTreeMap<usize, &Claim>) {
        let (mut onsets, mut timings) = (Vec::new(), Vec::new());
        for note in &truth.notes {
            let (Some(claim), Some(played)) = (claims.get(&note.id), &note.played) else {
                continue;
            };
            if played.kind == "dead" {
                continue;
            }
            if let Some(onset_s) = claim.onset_s {
                onsets.push((onset_s - played.onset_s) * 1000.0);
            }
            if let Some(timing_ms) = claim.timing_ms {
                timings.push(timing_ms - played.timing_ms);
            }
        }
        if !onsets.is_empty() {
            let offset = median(&onsets);
            self.onset.extend(onsets.iter().map(|o| o - offset));
            self.onset_raw.extend(&onsets);
        }
        if !timings.is_empty() {
            let offset = median(&timings);
            self.timing.extend(timings.iter().map(|t| t - offset));
        }
    }

    fn add_note(&mut self, truth: &Truth, note: &TrueNote, claim: &Claim, bleed: &[BleedClaim]) {
        let want = note.wanted();
        let played = note.played.as_ref();
        *self
            .verdicts
            .entry((want, claim.verdict.clone()))
            .or_default() += 1;
        let mut alarm = false;
        for (class, true_one, claimed) in self.claims_of(note, claim, bleed) {
            let counts = self.classes.entry(class).or_default();
            match (true_one, claimed) {
                (true, true) => counts.tp += 1,
                (true, false) => counts.fn_ += 1,
                (false, true) => counts.fp += 1,
                (false, false) => {}
            }
            alarm |= claimed && !true_one;
            if true_one != claimed {
                self.differences.push(Difference {
                    take: truth.take.clone(),
                    place: note.id.to_string(),
                    class,
                    what: if true_one { "missed it" } else { "false claim" },
                });
            }
        }
        if let (Some(played), Some(midi)) = (played, claim.heard_midi)
            && want == "wrong"
            && claim.verdict == "wrong"
        {
            let named = (midi - played.midi).abs() < 0.5;
            *self
                .wrong_pitch
                .entry(if named { "ok" } else { "off" })
                .or_default() += 1;
        }
        if let Some(played) = played {
            self.add_measures(note, played, claim, want);
        }
        if note.faults.is_empty() {
            self.clean += 1;
            self.false_alarms += usize::from(alarm);
        }
    }

    /// The classes that count for this note, with whether each holds and whether it is claimed.
    fn claims_of(
        &self,
        note: &TrueNote,
        claim: &Claim,
        bleed: &[BleedClaim],
    ) -> Vec<(&'static str, bool, bool)> {
        let want = note.wanted();
        let played = note.played.as_ref();
        let kind = played.map_or("", |p| p.kind.as_str());
        let mut rows = Vec::new();
        if want != "dead" && want != "detuned" {
            rows.push(("wrong", want == "wrong", claim.verdict == "wrong"));
        }
        if want != "dead" {
            let missed = claim.verdict == "missed" || claim.verdict == "absent";
            rows.push(("missed", want == "missed", missed));
        }
        if want != "missed" {
            rows.push(("dead", want == "dead", claim.flagged("dead")));
        }
        if played.is_some() && kind != "dead" && kind != "slide" {
            for class in ["early", "late"] {
                rows.push((class, note.has(class), claim.flagged(class)));
            }
        }
        if matches!(want, "right" | "detuned") && kind != "slide" {
            let detuned = want == "detuned";
            let said = claim.flagged("sharp") || claim.flagged("flat");
            rows.push((
                "detuned",
                detuned,
                said || (detuned && claim.verdict == "wrong"),
            ));
        }
        if let Some(played) = played {
            let faulty = note.has("gap");
            if played.gap_scored || faulty {
                rows.push(("gap", faulty, claim.flagged("gap")));
            }
            let over =
                |b: &BleedClaim| b.to_s.min(played.release_s) - b.from_s.max(played.onset_s) > 0.05;
            // The scorer takes an own ring of exactly 0 dB for none that is known.
            let own = played.own_ring_db.filter(|db| *db != 0.0).unwrap_or(-99.0);
            let rings = own > OWN_RING_DB;
            if note.has("bleed") || (played.bleed_db.is_none() && !rings) {
                let claimed = claim.flagged("bleed") || bleed.iter().any(over);
                rows.push(("bleed", note.has("bleed"), claimed));
            }
        }
        rows
    }

    fn add_measures(&mut self, note: &TrueNote, played: &Played, claim: &Claim, want: &str) {
        let normal = played.kind == "normal";
        if let Some(midi) = claim.heard_midi.filter(|_| normal) {
            let off = 100.0 * (midi - played.midi) - played.cents;
            let named = match off.abs() {
                size if size > 1150.0 => "octave and more",
                size if size > 70.0 => "another note",
                _ => "right",
            };
            *self.octaves.entry(named).or_default() += 1;
            if off.abs() <= 70.0 && played.release_s - played.onset_s >= 0.3 {
                self.cents.push(off);
            }
        }
        if let Some(onset_s) = claim.onset_s
            && normal
            && (onset_s - played.onset_s).abs() < 0.03
        {
            let after = |at: f64| 1000.0 * (at - played.onset_s);
            self.heard.extend(claim.heard_at_s.map(after));
            if let Some(string) = STRINGS.get(usize::from(played.string).wrapping_sub(1)) {
                let named = self.named.entry(string).or_default();
                named.extend(claim.named_at_s.map(after));
            }
        }
        if let (Some(heard), Some(truth)) = (claim.gap_ms, played.gap_ms) {
            if note.has("gap") {
                self.gap_fault.push(heard - truth);
                if played.midi <= LOWEST_NOTES_MIDI {
                    self.gap_fault_low.push(heard - truth);
                }
            }
            if played.gap_scored && want == "right" {
                self.gap.push(heard - truth);
            }
        }
    }

    fn add_extras(&mut self, truth: &Truth, report: &Claims) {
        let true_s: Vec<f64> = truth.extras.iter().map(|e| e.onset_s).collect();
        let mut heard_s: Vec<f64> = report.extras.iter().map(|e| e.onset_s).collect();
        heard_s.sort_by(f64::total_cmp);
        let pairs = match_times(&true_s, &heard_s, EXTRA_WITHIN_S);
        let counts = self.classes.entry("extra").or_default();
        for name in ["found", "not found"] {
            self.soft.entry(name).or_default();
        }
        for (i, extra) in truth.extras.iter().enumerate() {
            let found = pairs.iter().any(|(matched, _)| *matched == i);
            match (extra.level_db >= SOFT_EXTRA_DB, found) {
                (true, true) => counts.tp += 1,
                (true, false) => counts.fn_ += 1,
                (false, true) => *self.soft.entry("found").or_default() += 1,
                (false, false) => *self.soft.entry("not found").or_default() += 1,
            }
        }
        // A choked note may rightly be heard as an extra sound.
        let choked = |at: f64| {
            let dead = truth.notes.iter().filter_map(|n| n.played.as_ref());
            dead.filter(|p| p.kind == "dead")
                .any(|p| (at - p.onset_s).abs() < EXTRA_WITHIN_S)
        };
        for (j, &at) in heard_s.iter().enumerate() {
            if pairs.iter().any(|(_, matched)| *matched == j) || choked(at) {
                continue;
            }
            counts.fp += 1;
            self.false_alarms += 1;
            self.differences.push(Difference {
                take: truth.take.clone(),
                place: format!("{at:.3} s"),
                class: "extra",
                what: "false claim",
            });
        }
    }

    fn add_bleed(
        &mut self,
        truth: &Truth,
        bleed: &TrueBleed,
        report: &Claims,
        flagged: &BTreeSet<usize>,
    ) {
        if bleed.level_db < BLEED_ASKED_DB {
            return;
        }
        let length_s = bleed.to_s - bleed.from_s;
        let shared = |b: &BleedClaim| b.to_s.min(bleed.to_s) - b.from_s.max(bleed.from_s);
        let best = report
            .bleed
            .iter()
            .filter(|b| shared(b) > 0.3 * length_s)
            .filter(|b| b.midi.is_none_or(|m| m.round_ties_even() == bleed.midi))
            .max_by(|p, q| {
                shared(p)
                    .total_cmp(&shared(q))
                    .then(p.from_s.total_cmp(&q.from_s))
                    .then(p.to_s.total_cmp(&q.to_s))
            });
        if let Some(best) = best {
            self.bleed_from.push((best.from_s - bleed.from_s) * 1000.0);
            // A ring that fades through the lowest level asked for has no sharp end.
            if bleed.end_level_db > -28.0 {
                self.bleed_to.push((best.to_s - bleed.to_s) * 1000.0);
            }
            self.bleed_level
                .extend(best.level_db.map(|level| level - bleed.level_db));
            let string = if best.string == Some(bleed.string) {
                "right"
            } else {
                "other"
            };
            *self.bleed_string.entry(string).or_default() += 1;
        }
        let over: Vec<f64> = truth
            .notes
            .iter()
            .filter(|n| bleed.covers.contains(&n.id))
            .filter_map(|n| n.played.as_ref().map(|p| p.midi))
            .collect();
        let masked = !over.is_empty() && over.iter().all(|m| MASKED.contains(&(bleed.midi - m)));
        let band = match bleed.level_db {
            _ if masked => "masked",
            level if level >= -20.0 => "-20 dB and louder",
            level if level >= -28.0 => "-28..-20 dB",
            _ => "below -28 dB",
        };
        let hit = best.is_some();
        let noted = bleed.covers.iter().any(|id| flagged.contains(id));
        *self.bands.entry((band, hit)).or_default() += 1;
        let interval = match (hit, noted) {
            (true, _) => "found",
            (false, true) => "flag only",
            (false, false) => "not found",
        };
        *self.intervals.entry(interval).or_default() += 1;
        *self
            .kinds
            .entry((bleed.kind.clone(), hit || noted))
            .or_default() += 1;
    }

    /// Of one class.
    pub fn class(&self, name: &str) -> Counts {
        self.classes.get(name).copied().unwrap_or_default()
    }

    /// False claims of any class for each hundred notes without a fault.
    pub fn false_alarms_per_100(&self) -> f64 {
        round(
            100.0 * self.false_alarms as f64 / self.clean.max(1) as f64,
            3,
        )
    }

    /// Intervals of bleed found in a band of level, and how many there are.
    pub fn band(&self, name: &'static str) -> (usize, usize) {
        let count = |hit| self.bands.get(&(name, hit)).copied().unwrap_or_default();
        (count(true), count(true) + count(false))
    }
}
