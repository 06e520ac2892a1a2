//! Whether an onset that is no note of the line is a pluck of its own: a soft one beside a note that
//! rings on, or of the same string once more; not a touch, a ripple, a finger that stops the string
//! or a sound from elsewhere.
//!
//! # Source
//! One logistic regression: D. R. Cox (1958), *The regression analysis of binary sequences*,
//! J. R. Statist. Soc. B 20, 215-242 (from memory). Its weights stand in [`super::weights`]
//! with what they were fitted on; `examples/fit.rs` fits them again.

use super::choked::fall_db;
use super::events::HeardNote;
use super::{logistic, pluck, weights};

/// What is known around an onset from the notes that surround it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Around {
    /// Pitch of the note before as a fractional MIDI note; `None` where it had none or there was no
    /// note.
    pub ringing_midi: Option<f64>,
    /// Seconds from the onset of the note before; `None` before the first.
    pub since_s: Option<f64>,
    /// Seconds to the onset of the next note; `None` behind the last.
    pub until_s: Option<f64>,
    /// The lowest open string as a MIDI note.
    pub lowest_midi: f64,
    /// Median level of the take's notes, in decibels relative to full scale.
    pub usual_dbfs: f64,
}

/// How many features there are.
pub const FEATURES: usize = 20;

/// The names of the features, in the order of [`row`], as the table of the fit has them.
pub const NAMES: [&str; FEATURES] = [
    "evidence",
    "since",
    "young",
    "before_next",
    "new",
    "rise_of_same",
    "clarity",
    "other_pitch",
    "added",
    "added_level",
    "gained",
    "dies",
    "soft",
    "struck_low",
    "drop_struck",
    "drop_stays",
    "depth",
    "goes_on",
    "goes_on_new",
    "stays",
];

/// A sound that falls by less than this within a tenth of a second rings on, in decibels.
const RINGS_ON_DB: f64 = 6.0;
/// A level that falls by less than this at the onset has not dropped, in decibels.
const DROP_DB: f64 = 3.0;
/// A sound less far than this below the take's notes is not soft, in decibels.
const SOFT_DB: f64 = 8.0;
/// An onset sooner than this after the note before lies in its attack, in seconds.
const ATTACK_S: f64 = 0.090;
/// One sooner than this before the next note may be the touch that goes before it, in seconds.
const TOUCH_S: f64 = 0.100;
/// Periodicity below which a pitch says nothing, 0 to 1.
const CLEAR: f64 = 0.6;
/// Distances between two notes at which one may be heard in the other's partials, in semitones.
const RELATED: [f64; 7] = [0.0, 12.0, 19.0, 24.0, -12.0, 28.0, 31.0];
/// Two pitches closer than this are one, in semitones.
const SAME_SEMITONES: f64 = 0.75;

/// Whether a pitch is another note than the one that rings and than what its partials may show.
fn is_apart(midi: f64, ringing: f64) -> bool {
    let from = |related: &f64| (midi - ringing - related).abs() > SAME_SEMITONES;
    RELATED.iter().all(from)
}

/// The same of a pitch that a bass can play: what lies below the lowest string is no note. Without a
/// note before every pitch is another one.
pub fn is_other(midi: f64, around: &Around) -> bool {
    let apart = |ringing: f64| is_apart(midi, ringing);
    midi > around.lowest_midi - 0.5 && around.ringing_midi.is_none_or(apart)
}

/// The features of an onset, each held within the range on which it was learnt.
pub fn row(heard: &HeardNote, around: &Around) -> [f64; FEATURES] {
    let f = &heard.features;
    let flag = |holds: bool| f64::from(u8::from(holds));
    let since_s = around.since_s.unwrap_or(1.0).clamp(0.04, 1.0);
    let touch = around.until_s.map_or(0.0, |s| (TOUCH_S - s).max(0.0));
    let other = |midi: f64| midi > 0.0 && is_other(midi, around);
    let pitches = heard.pitch.zip(around.ringing_midi);
    let step = pitches.is_some_and(|(pitch, ringing)| is_apart(pitch.midi, ringing));
    let clarity = heard.pitch.map_or(0.0, |pitch| pitch.clarity);
    let fall_db = fall_db(heard);
    let low = f.error_rise_db[0];
    let drop_db = (-f.level_rise_db - DROP_DB).clamp(0.0, 15.0);
    let rings_on = flag(f.level_fall_db < RINGS_ON_DB);
    let under_db = (around.usual_dbfs - heard.level_dbfs).clamp(0.0, 25.0);
    let added_db = if f.added_midi > 0.0 {
        f.added_db
    } else {
        -40.0
    };
    let goes_on = pluck::goes_on_nats(f);
    let row = [
        heard.evidence.clamp(-8.0, 4.0),
        since_s.ln(),
        (ATTACK_S - since_s).max(0.0) / ATTACK_S,
        touch / TOUCH_S,
        f.new_share.clamp(0.02, 1.0).ln(),
        flag(f.pitch_step_cents < 30.0 && f.clarity > 0.8) * f.level_rise_db.clamp(-10.0, 10.0),
        f.clarity,
        flag(step) * (clarity - CLEAR).max(0.0),
        flag(other(f.added_midi)) * f.added_score.max(0.0),
        added_db.max(-40.0),
        flag(other(f.gained_midi)) * f.gained_score.max(0.0),
        (fall_db - RINGS_ON_DB).clamp(0.0, 14.0),
        (under_db - SOFT_DB).max(0.0),
        low.clamp(-5.0, 20.0),
        drop_db * low.clamp(0.0, 15.0) / 50.0,
        drop_db * rings_on / 5.0,
        heard.depth_db.clamp(0.0, 20.0),
        goes_on,
        goes_on * pluck::new_nats(f),
        (f.level_rise_db - f.level_fall_db).clamp(-15.0, 15.0),
    ];
    logistic::finite(row)
}

/// How sure it is that the onset is a pluck of its own, in nats: above 0 more likely than not.
/// Never fails.
pub fn nats(heard: &HeardNote, around: &Around) -> f64 {
    let row = row(heard, around);
    logistic::nats(&row, &weights::BESIDE, weights::BESIDE_CONSTANT)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Golden: the loss that the fit stated over its table.
    #[test]
    fn the_stated_loss_is_that_of_the_table() {
        let table = include_str!("../../fixtures/fit/beside.csv");
        let loss = logistic::table_loss(table, &NAMES, &weights::BESIDE, weights::BESIDE_CONSTANT);
        assert!((loss - weights::BESIDE_TABLE_LOSS).abs() < 1e-3, "{loss}");
    }

    /// Closed form: a fifth above the ringing note is another one, its octave and its twelfth are
    /// not, and what lies below the lowest string is none.
    #[test]
    fn partials_of_the_ringing_note_are_no_other_note() {
        let around = Around {
            ringing_midi: Some(33.0),
            since_s: Some(0.2),
            until_s: None,
            lowest_midi: 28.0,
            usual_dbfs: -20.0,
        };
        for (midi, other) in [
            (40.0, true),
            (34.0, true),
            (33.6, false),
            (45.0, false),
            (52.0, false),
            (27.0, false),
        ] {
            assert_eq!(is_other(midi, &around), other, "{midi}");
        }
    }
}
