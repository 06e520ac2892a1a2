//! What is in doubt: said as a player would ask, with its place.

use super::candidates::Candidate;
use super::clockwork::Clockwork;
use super::lengths::Lasting;
use super::places::{Places, STEPS};
use super::quantise::Placed;
use crate::music::line::Meter;
use crate::music::theory::Key;
use crate::words;

/// A pitch further than this from the nearest note lies between two, in semitones.
const BETWEEN_SEMITONES: f64 = 0.30;
/// A reading of a pitch that is no more than this worse leaves it in doubt, in nats.
const RIVAL_NATS: f64 = 0.7;
/// A length that is no more than this worse leaves it in doubt, in nats.
const LENGTH_NATS: f64 = 0.7;
/// An event surer than this is a note without doubt, in nats.
const SURE_NATS: f64 = 0.7;
/// An onset is in doubt that lies so far on the way to the next place, as a share of the half of it.
const OFF_SHARE: f64 = 0.7;

/// One thing that is in doubt.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// The bar in which the note begins.
    pub bar: u32,
    /// The beat, from 1, in the meter's beat unit.
    pub beat: f64,
    /// What may be the one or the other: "C2 or C#2".
    pub what: String,
}

impl std::fmt::Display for Doubt {
    /// "bar 3 beat 2: C2 or C#2".
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", words::place(self.bar, self.beat), self.what)
    }
}

/// Where a step lies: bar and beat. `zero_bar` is the number of the bar of step 0.
pub(crate) fn place(step: i64, places: Places, meter: Meter, zero_bar: u32) -> (u32, f64) {
    let bar = i64::from(zero_bar) + step.div_euclid(places.bar);
    let quarters = places.in_bar(step) as f64 / STEPS as f64;
    let beat = 1.0 + quarters * f64::from(meter.unit()) / 4.0;
    (u32::try_from(bar).unwrap_or(0), beat)
}

/// What a note is seen with.
pub(crate) struct Seen<'a> {
    pub placed: Placed,
    pub candidate: &'a Candidate,
    pub lasting: Lasting,
    /// The pitch that is written.
    pub midi: u8,
    pub key: Key,
}

/// The doubts about one note, each in words.
pub(crate) fn doubts(seen: &Seen, places: Places, clockwork: &Clockwork) -> Vec<String> {
    let mut told = Vec::new();
    told.extend(pitch(seen));
    told.extend(onset(seen, places, clockwork));
    if let Some((steps, nats)) = seen.lasting.other
        && nats < LENGTH_NATS
    {
        told.push(format!(
            "lasts {} or {}",
            beats(seen.lasting.steps),
            beats(steps)
        ));
    }
    if seen.candidate.nats < SURE_NATS {
        told.push(format!("{} or nothing", seen.key.spell(seen.midi)));
    }
    told
}

fn beats(steps: i64) -> String {
    let quarters = steps as f64 / STEPS as f64;
    format!(
        "{} {}",
        words::beat(quarters),
        if steps == STEPS {
            "quarter"
        } else {
            "quarters"
        }
    )
}

fn pitch(seen: &Seen) -> Option<String> {
    if seen.candidate.ghost {
        return None;
    }
    let name = |midi: u8| seen.key.spell(midi).to_string();
    let written = name(seen.midi);
    let midi = seen.candidate.midi?;
    let off = midi - f64::from(seen.midi);
    if off.abs() > BETWEEN_SEMITONES && off.abs() < 1.0 {
        let other = if off > 0.0 {
            seen.midi + 1
        } else {
            seen.midi.saturating_sub(1)
        };
        return Some(format!("{written} or {}", name(other)));
    }
    let (rival, nats) = seen.candidate.rival?;
    let rival = words::nearest(rival)?;
    (nats < RIVAL_NATS && rival != seen.midi).then(|| format!("{written} or {}", name(rival)))
}

fn onset(seen: &Seen, places: Places, clockwork: &Clockwork) -> Option<String> {
    let step = seen.placed.step;
    let off_s = seen.candidate.onset_s - clockwork.at(step);
    let towards: i64 = if off_s > 0.0 { 1 } else { -1 };
    let binary = (1..=STEPS)
        .map(|far| step + towards * far)
        .find(|&other| places.cost(other).is_some_and(|cost| cost < 2.0))?;
    let half_s = (clockwork.at(binary) - clockwork.at(step)).abs() / 2.0;
    (off_s.abs() > OFF_SHARE * half_s).then(|| {
        let later = (off_s.abs() * 1000.0).round();
        format!(
            "{later} ms {} its place",
            if off_s > 0.0 { "behind" } else { "before" }
        )
    })
}
