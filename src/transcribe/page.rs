//! The written line: placed notes with their lengths as bars, and what is to be said about them.

use super::candidates::Candidate;
use super::clockwork::Clockwork;
use super::doubts::{self, Doubt};
use super::lengths::Lasting;
use super::notate::{self, Sound, Stretch};
use super::places::{self, Places};
use super::quantise::{Placed, Pulse, Way};
use super::{Asked, FoundTempo, WriteError, Written, WrittenNote, key};
use crate::music::line::{Line, LineParts, Note, Start, SwingRatio, Tempo};
use crate::music::theory::Key;

/// Most bars written from one take: some hours.
const BARS_MAX: i64 = 10_000;
/// A tempo given that lies this close to the one played is kept as it was given, as a share.
const AS_GIVEN: f64 = 0.06;

/// All that a written line is made from.
pub(super) struct Page<'a> {
    pub asked: &'a Asked,
    pub places: Places,
    pub heard: &'a [Candidate],
    pub way: &'a Way,
    pub clockwork: &'a Clockwork,
    pub lengths: &'a [Lasting],
    pub clicks: Option<usize>,
    pub last_chord: Option<&'a (f64, Vec<u8>)>,
}

impl Page<'_> {
    fn notes(&self) -> impl Iterator<Item = (Placed, &Candidate, Lasting)> {
        let notes = self.way.notes.iter().zip(self.lengths);
        notes.map(|(&placed, &lasting)| (placed, &self.heard[placed.at], lasting))
    }

    /// The pitches that are written: what is muted or has no pitch lies where the note before does.
    fn pitches(&self) -> Vec<(u8, bool)> {
        let (lowest, highest) = self.asked.instrument.range();
        let mut before = lowest;
        self.notes()
            .map(|(_, candidate, _)| {
                let midi = candidate.midi.and_then(crate::words::nearest);
                let midi = midi.filter(|midi| (lowest..=highest).contains(midi));
                match midi {
                    Some(midi) if !candidate.ghost => {
                        before = midi;
                        (midi, false)
                    }
                    _ => (before, true),
                }
            })
            .collect()
    }

    /// The line, and what is to be said about it.
    pub fn write(&self, pulse: Pulse, found: Option<FoundTempo>) -> Result<Written, WriteError> {
        let asked = self.asked;
        let last = self.way.notes.last().map_or(0, |note| note.step);
        let bars = last / self.places.bar + 1;
        if bars > BARS_MAX {
            let limit = BARS_MAX;
            return Err(WriteError::TooLong { bars, limit });
        }
        let pitches = self.pitches();
        let key = asked.key.unwrap_or_else(|| {
            let sounds: Vec<(u8, f64)> = pitches
                .iter()
                .zip(self.lengths)
                .filter(|(pitch, _)| !pitch.1)
                .map(|(pitch, lasting)| (pitch.0, lasting.steps as f64))
                .collect();
            key::find(&sounds)
        });
        let played_bpm = self.clockwork.bpm().unwrap_or(pulse.bpm);
        let sounds = self.sounds(&pitches);
        let pickup = asked.start.bar == 0;
        let bars = notate::bars(&sounds, self.places, asked.meter, key, pickup);
        let tempo = Tempo::quarters(self.written_bpm(played_bpm));
        let line = Line::new(LineParts {
            title: asked.title.clone(),
            instrument: asked.instrument.clone(),
            tempo: tempo.unwrap_or_default(),
            swing: pulse.swing.map(rounded),
            first_bar: if pickup { 0 } else { asked.start.bar },
            pickup,
            bars,
        })?;
        Ok(Written {
            line,
            notes: self.written_notes(&pitches),
            doubts: self.doubts(&pitches, key),
            played_bpm,
            found_tempo: found.map(|found| FoundTempo {
                bpm: played_bpm,
                ..found
            }),
            clicks: self.clicks,
            key_found: asked.key.is_none(),
        })
    }

    /// The tempo written at the head: the one given where it was played, else what was played.
    fn written_bpm(&self, played: f64) -> f64 {
        match self.asked.tempo_bpm {
            Some(given) if (played / given - 1.0).abs() < AS_GIVEN => given,
            _ if (played - played.round()).abs() < 0.005 * played => played.round(),
            _ => (played * 10.0).round() / 10.0,
        }
    }

    fn sounds(&self, pitches: &[(u8, bool)]) -> Vec<Stretch> {
        let mut before: Option<(i64, u8)> = None;
        self.notes()
            .zip(pitches)
            .map(|((placed, candidate, lasting), &(midi, ghost))| {
                let from = placed.step;
                // A slur needs a note that sounds up to it, and goes to another one.
                let sounding = before.filter(|&(to, pitch)| to == from && pitch != midi);
                let start = match sounding {
                    Some(_) if candidate.slid && !ghost => Start::Slid,
                    Some(_) if candidate.soft_start && !ghost => Start::Slurred,
                    _ => Start::Plucked,
                };
                before = (!ghost).then_some((from + lasting.steps, midi));
                let mut note = Note::new(midi);
                note.ghost = ghost;
                let mut notes = vec![note];
                notes.extend(self.beside(candidate, midi).map(Note::new));
                notes.sort_by_key(|note| note.midi);
                Stretch {
                    from,
                    to: from + lasting.steps,
                    sound: Some(Sound {
                        notes,
                        start,
                        staccato: lasting.staccato && !ghost,
                        breath: lasting.breath,
                    }),
                }
            })
            .collect()
    }

    /// The other members of the chord that a note is one of.
    fn beside(&self, candidate: &Candidate, midi: u8) -> impl Iterator<Item = u8> {
        let chord = self
            .last_chord
            .filter(|(onset_s, members)| candidate.onset_s == *onset_s && members.contains(&midi));
        let members = chord.map_or(&[][..], |(_, members)| members);
        members
            .iter()
            .copied()
            .filter(move |&member| member != midi)
    }

    fn written_notes(&self, pitches: &[(u8, bool)]) -> Vec<WrittenNote> {
        let quarters = |steps: i64| steps as f64 / places::STEPS as f64;
        self.notes()
            .zip(pitches)
            .flat_map(|((placed, candidate, lasting), &(midi, ghost))| {
                let mut members = vec![midi];
                members.extend(self.beside(candidate, midi));
                members.sort_unstable();
                members.into_iter().map(move |midi| WrittenNote {
                    onset_s: candidate.onset_s,
                    quarters: quarters(placed.step),
                    length_quarters: quarters(lasting.steps),
                    midi,
                    ghost,
                })
            })
            .collect()
    }

    fn doubts(&self, pitches: &[(u8, bool)], key: Key) -> Vec<Doubt> {
        let mut told = Vec::new();
        // Step 0 begins bar 1, or the bar of the start.
        let zero_bar = self.asked.start.bar.max(1);
        for ((placed, candidate, lasting), &(midi, _)) in self.notes().zip(pitches) {
            let seen = doubts::Seen {
                placed,
                candidate,
                lasting,
                midi,
                key,
            };
            let (bar, beat) = doubts::place(placed.step, self.places, self.asked.meter, zero_bar);
            let about = doubts::doubts(&seen, self.places, self.clockwork);
            told.extend(about.into_iter().map(|what| Doubt { bar, beat, what }));
        }
        told
    }
}

/// A swing as a player writes it: to a tenth.
fn rounded(swing: SwingRatio) -> SwingRatio {
    let off_beat = swing.off_beat();
    let ratio = off_beat / (1.0 - off_beat);
    SwingRatio::new((ratio * 10.0).round() / 10.0).unwrap_or(swing)
}
