//! Strings instead of lines: how each is tuned, what it is like, and what sounds after it was
//! stopped.
//!
//! The player plucks each open string alone, lets it ring, stops it with the hand and waits; a
//! note at the twelfth fret tells the intonation. The same ear hears it as hears a take.

use crate::hearing::calibration::{KnownString, SILENT_ANSWER_DB};
use crate::hearing::events::{EndCause, HeardNote};
use crate::hearing::listener::{ListenError, Listener, ListenerConfig};
use crate::music::instrument::Tuning;
use crate::session::ear;
use crate::session::offline::{SessionError, listen};
use crate::sound::block::Source;
use crate::units::{Decibels, Hertz, MidiNote, SampleRate};

/// A note this close to an open string is taken for it, in semitones: less than the half of the
/// way to the next fret.
const STRING_SEMITONES: f64 = 0.6;
/// The listener gets this many frames at once; it does not change the result.
const BLOCK_FRAMES: usize = 4096;
/// A pitch less certain than this is not shown, in cents.
const VAGUE_CENTS: f64 = 20.0;

/// What was heard of one string.
#[derive(Clone, Debug, PartialEq)]
pub struct StringCheck {
    /// Its number, 1 for the thinnest.
    pub string: u8,
    /// The pitch it should have, as a MIDI note.
    pub open_midi: u8,
    /// How often it was plucked open.
    pub plucks: usize,
    /// How far off it is, and one standard deviation, in cents; `None` when it was not heard
    /// clearly.
    pub cents: Option<(f64, f64)>,
    /// The note at the twelfth fret less an octave above the open string, in cents.
    pub twelfth_cents: Option<f64>,
    /// How long after the pluck it was stopped, in seconds.
    pub stopped_after_s: Option<f64>,
    /// What still sounded after it was stopped: string (its own number when it is this one),
    /// and level relative to the pluck, in decibels. `None` when there was no silence to tell.
    pub still: Option<Vec<(u8, f64)>>,
    /// The string as later takes can know it.
    pub known: Option<KnownString>,
}

/// What was heard of an instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct InstrumentCheck {
    /// The take as the player named it.
    pub file: String,
    /// Frequency of A4.
    pub a4: Hertz,
    /// Loudest level of the take in decibels relative to full scale.
    pub loudest_dbfs: f64,
    /// One entry for each string, the thinnest first.
    pub strings: Vec<StringCheck>,
}

/// Listens to open strings played one after the other.
///
/// # Errors
/// When the source fails on the way, or when its rate cannot be listened to.
pub fn check_strings(
    name: &str,
    source: &mut dyn Source,
    tuning: &Tuning,
    a4: Hertz,
) -> Result<InstrumentCheck, SessionError> {
    let strings = Strings::new(name, tuning, a4);
    let ear = strings
        .ear(source.format().rate)
        .map_err(|cause| SessionError::Listen {
            file: name.to_owned(),
            cause,
        })?;
    let (mut heard, pump) = listen(source, ear, BLOCK_FRAMES)?;
    heard.notes.retain(|note| note.evidence > 0.0);
    let loudest = Decibels::from_amplitude(f64::from(pump.counted().peak)).0;
    Ok(strings.check(&heard.notes, pump.ear.strings(), loudest))
}

/// The strings that are to be checked.
pub(super) struct Strings {
    name: String,
    open: Vec<u8>,
    a4: Hertz,
}

impl Strings {
    pub(super) fn new(name: &str, tuning: &Tuning, a4: Hertz) -> Self {
        Self {
            name: name.to_owned(),
            open: tuning.open_strings().to_vec(),
            a4,
        }
    }

    /// A listener for them and for what still sounds after they were stopped.
    pub(super) fn ear(&self, rate: SampleRate) -> Result<Listener, ListenError> {
        let hz = |midi: u8| MidiNote(f64::from(midi)).to_hertz(self.a4);
        let usual = ListenerConfig::bass(rate).highest;
        let top = self.open.iter().max().map_or(usual, |&midi| hz(midi));
        Listener::new(ListenerConfig {
            after_stop: true,
            ..ear::config(rate, &self.open, self.a4, Hertz(3.0 * top.0))
        })
    }

    /// What the notes tell of the strings; `known` is what the listener has learnt of them.
    pub(super) fn check(
        &self,
        notes: &[HeardNote],
        known: Vec<Option<KnownString>>,
        loudest_dbfs: f64,
    ) -> InstrumentCheck {
        let mut strings: Vec<StringCheck> = (1..)
            .zip(&self.open)
            .map(|(string, &midi)| {
                let known = known.get(usize::from(string) - 1).cloned().flatten();
                one(string, midi, &self.open, notes, known, self.a4)
            })
            .collect();
        let answers: Vec<_> = strings
            .iter()
            .map(|s| answers_db(&strings, s.string))
            .collect();
        for (string, answers_db) in strings.iter_mut().zip(answers) {
            if let Some(known) = &mut string.known {
                known.answers_db = answers_db;
            }
        }
        InstrumentCheck {
            file: self.name.clone(),
            a4: self.a4,
            loudest_dbfs,
            strings,
        }
    }
}

/// The loudest a string answered when others were played and stopped, in decibels relative to
/// them; `None` when no other string left a silence to tell.
fn answers_db(strings: &[StringCheck], string: u8) -> Option<f64> {
    strings
        .iter()
        .filter(|other| other.string != string)
        .filter_map(|other| other.still.as_ref())
        .map(|still| {
            let own = still.iter().filter(|(number, _)| *number == string);
            own.fold(SILENT_ANSWER_DB, |loudest, (_, db)| loudest.max(*db))
        })
        .reduce(f64::max)
}

fn one(
    string: u8,
    midi: u8,
    open: &[u8],
    notes: &[HeardNote],
    known: Option<KnownString>,
    a4: Hertz,
) -> StringCheck {
    let at = |note: &HeardNote, target: f64| {
        note.pitch
            .as_ref()
            .map(|p| p.midi - target)
            .filter(|off| off.abs() < STRING_SEMITONES)
    };
    let target = f64::from(midi);
    let plucked: Vec<&HeardNote> = notes.iter().filter(|n| at(n, target).is_some()).collect();
    let cents = mean(&plucked, target);
    let twelfth: Vec<&HeardNote> = notes
        .iter()
        .filter(|n| at(n, target + 12.0).is_some())
        .collect();
    let twelfth_cents = match (mean(&twelfth, target + 12.0), cents) {
        (Some(high), Some(low)) => Some(high.0 - low.0),
        _ => None,
    };
    let stopped = plucked.iter().rev().find(|n| n.end == EndCause::Damped);
    let number = |hz: f64| {
        let sounding = Hertz(hz).to_midi(a4).0;
        (1u8..)
            .zip(open)
            .find(|(_, m)| (f64::from(**m) - sounding).abs() < STRING_SEMITONES)
            .map_or(string, |(number, _)| number)
    };
    StringCheck {
        string,
        open_midi: midi,
        plucks: plucked.len(),
        cents,
        twelfth_cents,
        stopped_after_s: stopped.map(|n| n.release_s - n.onset_s),
        still: stopped
            .and_then(|n| n.still.as_ref())
            .map(|still| still.iter().map(|s| (number(s.hz), s.level_db)).collect()),
        known,
    }
}

/// Mean deviation from a pitch and its standard deviation, each note weighing as it is known.
fn mean(notes: &[&HeardNote], target: f64) -> Option<(f64, f64)> {
    let (mut sum, mut weight) = (0.0, 0.0);
    for pitch in notes.iter().filter_map(|n| n.pitch.as_ref()) {
        if pitch.uncertainty_cents < VAGUE_CENTS {
            let w = 1.0 / pitch.uncertainty_cents.max(0.3).powi(2);
            sum += w * 100.0 * (pitch.midi - target);
            weight += w;
        }
    }
    (weight > 0.0).then(|| (sum / weight, weight.sqrt().recip()))
}
