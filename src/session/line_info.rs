//! What a report and a screen need to know of the line: its title, tempo and strings, and of each
//! bar where it lies, its chords, rests and signs.
//!
//! Values alone, made here from a `Line` and nowhere else. Used by `session`, and by `report` and
//! `tui` as they stand in a result or a snapshot.

use crate::music::line::{Bar, EventKind, Lacks, Length, Line, Start};
use crate::music::theory::Key;
use crate::words;

/// A bar of the line, as far as a report needs it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BarSpan {
    /// Its number, from 1; a pick-up bar is 0.
    pub number: u32,
    /// The number printed for it, where repeats make that another one.
    pub printed: Option<u32>,
    /// Where it starts, in quarter notes from the start of bar 1 (negative in a pick-up bar).
    pub start_quarters: f64,
    /// How long it is, in quarter notes; above 0.
    pub length_quarters: f64,
    /// Chord symbols as written, each with its distance from the bar's start in quarter notes.
    pub chords: Vec<(f64, String)>,
    /// Length of a beat in quarter notes; 0 when it is not known.
    pub beat_quarters: f64,
    /// The beat it starts with: 1, and later in a pick-up bar.
    pub first_beat: f64,
    /// Its key; `None` when it is not known.
    pub key: Option<Key>,
    /// Where its rests begin, in quarter notes from its start.
    pub rests: Vec<f64>,
    /// What is written beside its notes.
    pub signs: Vec<NoteSign>,
}

/// How a note is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reached {
    /// With a pluck.
    Pluck,
    /// Hammered on or pulled off; the line does not say which.
    Slur,
    /// Hammered on.
    Hammer,
    /// Pulled off.
    Pull,
    /// Slid into.
    Slide,
}

/// What is written beside a note of a bar.
#[derive(Clone, Debug, PartialEq)]
pub struct NoteSign {
    /// Its onset in quarter notes from the bar's start.
    pub at: f64,
    /// Its pitch as a MIDI note number.
    pub midi: u8,
    /// The finger, 1 to 4, when one is written.
    pub finger: Option<u8>,
    /// How it is reached.
    pub reached: Reached,
    /// Whether it is one of a triplet.
    pub triplet: bool,
}

/// The line that was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct LineInfo {
    /// Its title; `None` when it has none.
    pub title: Option<String>,
    /// The tempo the take was held against, in quarters per minute.
    pub tempo_bpm: f64,
    /// Names of the strings, the thinnest (string 1) first.
    pub strings: Vec<String>,
    /// The bars that were asked for, in order.
    pub bars: Vec<BarSpan>,
    /// Whether they are only a part of the line.
    pub part: bool,
}

impl LineInfo {
    /// Of a whole line.
    pub(super) fn of(line: &Line) -> Self {
        let tuning = line.instrument().tuning();
        // Strings go by their names in C, whatever the line's key: no E string is an F flat one.
        let strings = tuning
            .open_strings()
            .iter()
            .map(|&midi| Key::default().spell(midi).name.to_string())
            .collect();
        let mut start_quarters = -line.pickup_length().quarters();
        let mut bars = Vec::new();
        for (number, bar) in (line.first_bar()..).zip(line.bars()) {
            let length_quarters = bar.length().quarters();
            let begins_late = bars.is_empty() && line.has_pickup() || bar.lacks == Lacks::Beginning;
            let offset = if begins_late {
                bar.meter.bar_length() - bar.length()
            } else {
                Length::ZERO
            };
            bars.push(BarSpan {
                number,
                printed: Some(line.printed_bar(number)).filter(|&printed| printed != number),
                start_quarters,
                length_quarters,
                beat_quarters: bar.meter.beat_length().quarters(),
                first_beat: 1.0 + bar.meter.beats_in(offset),
                key: Some(bar.key),
                rests: rests(bar),
                signs: signs(bar),
                chords: bar
                    .chords
                    .iter()
                    .map(|mark| (mark.at.quarters(), mark.symbol.text().to_owned()))
                    .collect(),
            });
            start_quarters += length_quarters;
        }
        Self {
            title: (!line.title().is_empty()).then(|| line.title().to_owned()),
            tempo_bpm: line.tempo().quarters_per_minute(),
            strings,
            bars,
            part: false,
        }
    }

    /// Of the bars from the first to the last asked for; of the whole line when none were.
    pub fn of_bars(line: &Line, bars: Option<(u32, u32)>) -> Self {
        let mut info = Self::of(line);
        if let Some((from, to)) = bars {
            let whole = info.bars.len();
            info.bars.retain(|bar| (from..=to).contains(&bar.number));
            info.part = info.bars.len() < whole;
        }
        info
    }

    /// The number printed for bar `bar`; the number itself where there is no such bar.
    pub fn printed_bar(&self, bar: u32) -> u32 {
        let of_bar = self.bars.iter().find(|span| span.number == bar);
        of_bar.and_then(|span| span.printed).unwrap_or(bar)
    }

    /// Bars in words: "bars 3 to 5", "bars 7 to 9 (printed 3 to 5)".
    pub fn bars_words(&self, (from, to): (u32, u32)) -> String {
        words::bars_printed((from, to), (self.printed_bar(from), self.printed_bar(to)))
    }

    /// The key of bar `bar`; of the first bar where there is no such bar.
    pub fn key_at(&self, bar: u32) -> Option<Key> {
        let of_bar = self.bars.iter().find(|span| span.number == bar);
        of_bar.or(self.bars.first())?.key
    }
}

/// Where a bar's rests begin, in quarter notes from its start.
fn rests(bar: &Bar) -> Vec<f64> {
    let mut at = Length::ZERO;
    let mut rests = Vec::new();
    for event in &bar.events {
        if event.kind == EventKind::Rest {
            rests.push(at.quarters());
        }
        at += event.length;
    }
    rests
}

/// What is written beside a bar's notes.
fn signs(bar: &Bar) -> Vec<NoteSign> {
    let mut at = Length::ZERO;
    let mut signs = Vec::new();
    for event in &bar.events {
        if let EventKind::Notes { notes, start, .. } = &event.kind {
            signs.extend(notes.iter().map(|note| NoteSign {
                at: at.quarters(),
                midi: note.midi,
                finger: note.finger,
                reached: match start {
                    Start::Plucked => Reached::Pluck,
                    Start::Slurred => Reached::Slur,
                    Start::Hammered => Reached::Hammer,
                    Start::Pulled => Reached::Pull,
                    Start::Slid => Reached::Slide,
                },
                triplet: is_triplet(event.length),
            }));
        }
        at += event.length;
    }
    signs
}

/// Whether a length is one of three in the place of two: a third of a plain or dotted one.
fn is_triplet(length: Length) -> bool {
    /// The shortest plain length, as parts of a quarter: a 256th note.
    const PARTS: f64 = 64.0;
    let whole = |parts: f64| (parts - parts.round()).abs() < 1e-6;
    let parts = length.quarters() * PARTS;
    !whole(parts) && whole(3.0 * parts)
}
