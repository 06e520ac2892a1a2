//! What was counted, under the names of the takes' own scorer.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Value, json};

use super::numbers::{Spread, median, round};
use super::scoring::{CLASSES, Counts, STRINGS, Score};

impl Counts {
    fn to_json(self) -> Value {
        json!({"truth": self.tp + self.fn_, "tp": self.tp, "fp": self.fp, "fn": self.fn_,
               "precision": round(self.precision(), 4), "recall": round(self.recall(), 4),
               "f1": round(self.f1(), 4)})
    }
}

fn spread(values: &[f64]) -> Value {
    Spread::to_json(Spread::of(values))
}

impl Score {
    /// Everything.
    pub fn to_json(&self) -> Value {
        json!({
            "takes": self.takes,
            "notes": self.notes,
            "classes": self.classes_json(),
            "verdicts": self.verdicts_json(),
            "onset_ms": spread(&self.onset),
            "onset_ms_without_offset_removal": spread(&self.onset_raw),
            "timing_ms": spread(&self.timing),
            "gap_ms": spread(&self.gap),
            "gap_ms_bias_removed": self.unbiased_gaps_json(),
            "gap_fault_ms": spread(&self.gap_fault),
            "cents": spread(&self.cents),
            "pitch_named": self.octaves,
            "soft_extras": self.soft,
            "heard_after_ms": spread(&self.heard),
            "named_after_ms": self.named_json(),
            "false_alarms_per_100_clean_notes": self.false_alarms_per_100(),
            "clean_notes": self.clean,
            "wrong_note_pitch_named": self.wrong_pitch,
            "bleed_intervals": self.intervals,
            "bleed_found_by_level": self.bands_json(),
            "bleed_string_named": self.bleed_string,
            "bleed_from_ms": spread(&self.bleed_from),
            "bleed_to_ms": spread(&self.bleed_to),
            "bleed_level_db": spread(&self.bleed_level),
            "bleed_found_by_kind": self.kinds_json(),
        })
    }

    fn classes_json(&self) -> Map<String, Value> {
        let named = |name: &&str| ((*name).to_owned(), self.class(name).to_json());
        CLASSES.iter().map(named).collect()
    }

    fn verdicts_json(&self) -> BTreeMap<String, usize> {
        self.verdicts
            .iter()
            .map(|((want, got), n)| (format!("{want}->{got}"), *n))
            .collect()
    }

    fn unbiased_gaps_json(&self) -> Value {
        if self.gap.is_empty() {
            return Value::Null;
        }
        let bias = median(&self.gap);
        let unbiased: Vec<f64> = self.gap.iter().map(|gap| gap - bias).collect();
        spread(&unbiased)
    }

    fn named_json(&self) -> BTreeMap<&'static str, Value> {
        let values = |string| self.named.get(string).map_or(&[] as &[f64], Vec::as_slice);
        STRINGS
            .iter()
            .map(|string| (*string, spread(values(string))))
            .collect()
    }

    fn bands_json(&self) -> BTreeMap<&'static str, String> {
        let bands: BTreeSet<&'static str> = self.bands.keys().map(|(band, _)| *band).collect();
        let words = |band| {
            let (found, of) = self.band(band);
            (band, format!("{found} of {of}"))
        };
        bands.into_iter().map(words).collect()
    }

    fn kinds_json(&self) -> BTreeMap<String, usize> {
        let words = |hit: bool| if hit { "yes" } else { "no" };
        self.kinds
            .iter()
            .map(|((kind, hit), n)| (format!("{kind}:{}", words(*hit)), *n))
            .collect()
    }
}
