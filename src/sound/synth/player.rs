//! A player with small deviations, who makes a performance of a line.

use crate::music::expected::{ExpectedNote, Place};
use crate::sound::synth::performance::{Performance, PlayedNote, Role};
use crate::sound::synth::random::Random;
use crate::units::{Cents, Decibels, Hertz, STANDARD_A4};

/// How steadily a line is played and what noise lies under it.
#[derive(Clone, Debug, PartialEq)]
pub struct Player {
    /// Another seed is another take by the same player.
    pub seed: u64,
    /// Standard deviation of the onsets, in milliseconds; cut off at 2.5 times.
    pub timing_sigma_ms: f64,
    /// Standard deviation of the pitches, in cents; cut off at 2.5 times.
    pub cents_sigma: f64,
    /// Standard deviation of the levels, in decibels; cut off at 2.5 times.
    pub level_sigma_db: f64,
    /// How hard the strings are plucked, 0 to 1.
    pub velocity: f64,
    /// The finger is heard to touch the string before the pluck, and stops what rings on it.
    pub touch: bool,
    /// Mains hum: its frequency, and the level of its fundamental against full scale.
    pub hum: Option<(Hertz, Decibels)>,
    /// Hiss: its level against full scale.
    pub hiss: Option<Decibels>,
    /// Seconds before the line begins.
    pub lead_in_s: f64,
    /// Seconds after the last note.
    pub tail_s: f64,
    /// The tuning.
    pub a4: Hertz,
}

impl Player {
    /// Plays exactly what is written, without a sound of its own: for the guide.
    pub fn exact() -> Self {
        Self {
            seed: 0,
            timing_sigma_ms: 0.0,
            cents_sigma: 0.0,
            level_sigma_db: 0.0,
            velocity: 0.7,
            touch: false,
            hum: None,
            hiss: None,
            lead_in_s: 0.0,
            tail_s: 1.0,
            a4: STANDARD_A4,
        }
    }

    /// A steady player in a quiet room: deviations well within what listeners notice.
    ///
    /// # Source
    /// 6 ms is the just noticeable displacement of one tone in a fast isochronous row (Friberg &
    /// Sundberg 1995, J. Acoust. Soc. Am. 98, 2524); 3 cents and 1 dB: common practice, no source.
    pub fn steady(seed: u64) -> Self {
        Self {
            seed,
            timing_sigma_ms: 6.0,
            cents_sigma: 3.0,
            level_sigma_db: 1.0,
            touch: true,
            hum: Some((Hertz(50.0), Decibels(-75.0))),
            hiss: Some(Decibels(-72.0)),
            lead_in_s: 1.0,
            ..Self::exact()
        }
    }
}

/// Where a player's lead-in ends, in seconds from the start of bar 1: there, or at the first note
/// of a pick-up bar.
pub fn opening_s(expected: &[ExpectedNote]) -> f64 {
    expected.iter().map(|note| note.onset_s).fold(0.0, f64::min)
}

/// The part of its written length that a staccato note sounds. The dot halves the note: common
/// practice of music teaching.
const STACCATO_PART: f64 = 0.5;

impl Performance {
    /// A performance of a line: every note in its place, every legato join held.
    ///
    /// Input:   the notes of a line in order, at their written tempo. An unplaced note is put on
    ///          the thinnest string of a bass in standard tuning that has it.
    /// Output:  the same for the same player and seed. A note on another string is damped within
    ///          12 ms of the next onset; a note on the same string ends where the finger touches.
    pub fn of_line(expected: &[ExpectedNote], player: &Player) -> Self {
        let mut random = Random::new(player.seed);
        let bar1_s = player.lead_in_s.max(0.0) - opening_s(expected);
        let mut notes: Vec<PlayedNote> = expected
            .iter()
            .map(|note| played(note, bar1_s, player, &mut random))
            .collect();
        for at in 1..notes.len() {
            if expected[at].with_previous {
                // A chord is rolled a little: the deviation of its first note and a few
                // milliseconds for each string.
                let rolled_s = if player.touch {
                    random.between(0.002, 0.006)
                } else {
                    0.0
                };
                notes[at].onset_s = notes[at - 1].onset_s + rolled_s;
            } else {
                let before_s = notes[at - 1].onset_s;
                notes[at].onset_s = notes[at].onset_s.max(before_s + 0.02);
            }
        }
        for at in 0..notes.len() {
            let next = (at + 1..notes.len()).find(|next| !expected[*next].with_previous);
            let release_s = match next {
                Some(next) if expected[at].legato_next => {
                    joined_release(&notes[at], &notes[next], player, &mut random)
                }
                _ => {
                    let part = if expected[at].staccato {
                        STACCATO_PART
                    } else {
                        1.0
                    };
                    let end_s = notes[at].onset_s + expected[at].length_s * part;
                    next.map_or(end_s, |next| end_s.min(notes[next].onset_s))
                }
            };
            notes[at].release_s = release_s;
            notes[at].stopped_s = release_s;
        }
        Self {
            notes,
            bar1_s,
            tail_s: player.tail_s,
            a4: player.a4,
            hum: player.hum,
            hiss: player.hiss,
            seed: player.seed,
        }
    }
}

/// Where a note is let go that should last until the next one.
fn joined_release(
    note: &PlayedNote,
    next: &PlayedNote,
    player: &Player,
    random: &mut Random,
) -> f64 {
    let release_s = if next.string == note.string {
        next.onset_s - if next.slurred { 0.0 } else { next.touch_s }
    } else if player.touch {
        next.onset_s + random.between(0.0, 0.012)
    } else {
        next.onset_s
    };
    release_s.max(note.onset_s + 0.01)
}

fn played(note: &ExpectedNote, bar1_s: f64, player: &Player, random: &mut Random) -> PlayedNote {
    let place = note.place.unwrap_or_else(|| usual_place(note.midi));
    let onset_s = bar1_s + note.onset_s + random.normal(player.timing_sigma_ms / 1_000.0);
    let touched = player.touch && !note.slurred_into;
    PlayedNote {
        index: Some(note.index),
        bar: note.bar,
        beat: note.beat,
        role: Role::Written,
        cents: Cents(random.normal(player.cents_sigma)),
        level: Decibels(random.normal(player.level_sigma_db)),
        velocity: (player.velocity * if note.accent { ACCENT } else { 1.0 }).clamp(0.0, 1.0),
        dead: note.ghost,
        damp_tau_s: if player.touch {
            random.between(0.008, 0.016)
        } else {
            0.012
        },
        slurred: note.slurred_into,
        touch_s: if touched {
            random.between(0.008, 0.018)
        } else {
            0.0
        },
        ..PlayedNote::plain(
            note.midi,
            place.string,
            place.fret,
            onset_s.max(0.0),
            onset_s,
        )
    }
}

/// How much harder an accented note is plucked, as an amplitude: 3 dB, and brighter with it. Common
/// practice, no source.
const ACCENT: f64 = 1.4;

/// Standard tuning, five strings from the low B: MIDI 23 28 33 38 43.
fn usual_place(midi: u8) -> Place {
    let (string, open) = [(1, 43), (2, 38), (3, 33), (4, 28), (5, 23)]
        .into_iter()
        .find(|(_, open)| *open <= midi)
        .unwrap_or((5, midi));
    Place {
        string,
        fret: midi - open,
    }
}
