//! What *else* rings: strings that sound while another one is played, or when none should.
//!
//! Informed listening and no blind transcription: the candidates are few and known, the open
//! strings and the notes just played. Each is looked for by partials that only it has, in windows
//! that never cross an onset; whether it rings is decided over many windows (`path`).
//!
//! # Source
//! - Partials of a stiff string: H. Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209.
//! - Beside the played note: least squares, see `dsp::free_partial`.
//!
//! | file | what lives there |
//! |---|---|
//! | this one | candidates, and what is looked at in which window |
//! | `hum` | what the mains put on a partial |
//! | `memory` | what strings look like |
//! | `evidence` | how sure it is in one window |
//! | `carried` | whether it carries on the note before |
//! | `path` | when it began and when it stopped |
//! | `window` | where a window lies and what its spectrum shows |

mod carried;
mod evidence;
mod hum;
mod memory;
mod path;
mod window;

use std::collections::VecDeque;

use rustfft::num_complex::Complex;

use crate::hearing::dsp::free_partial::Bins;
use crate::hearing::dsp::history::History;
use crate::hearing::dsp::peel::Peeler;
use crate::hearing::dsp::{spectrum::Spectrum, stiff_string::partial};
use crate::hearing::events::RingFeatures;
use crate::units::cents;
use carried::Before;
use evidence::leniency;
pub(super) use evidence::{Shown, Spread, evidence};
use hum::{HUM_BEYOND, HUM_CELLS, HUM_HZ, HUM_KNOWN, MAINS_LINES, mains};
pub(super) use memory::Template;
use memory::{Remembered, tell};
use path::{Look, Path, Place};
pub(super) use window::{fit_all, windows};

/// Partials of a string that are looked at, at most.
pub(super) const PARTIALS: usize = 18;
/// Partials of a string are looked at up to this frequency, in hertz. Raised, listening costs more,
/// and more partials of the played note stand between.
const UP_TO_HZ: f64 = 950.0;
/// A note is left ringing into the next one when that comes this soon after it, in seconds.
const SOON_S: f64 = 0.15;
/// A note that was played this long ago cannot be left ringing any more, in seconds.
const LEFT_WITHIN_S: f64 = 4.0;
/// Notes whose partials are remembered.
const REMEMBERED: usize = 48;
/// The beginning of a note's first window is left out, in seconds: it is the attack. Raised, short
/// notes leave no window.
pub(super) const SKIP_S: f64 = 0.020;
/// After a release this much is left out, in seconds: the last sound of the stopped string. Raised,
/// short silences are not looked at.
const DAMPED_S: f64 = 0.060;
/// Longest window, in seconds. Raised, close partials are told apart better, and the ends of rings
/// less finely.
pub(super) const WINDOW_S: f64 = 0.36;
/// Shortest window, in seconds. Raised, strings under short notes are not told.
pub(super) const SHORTEST_S: f64 = 0.060;
/// The last window of a note is looked at by half, too, when it is this long, in seconds: a string
/// that ceases in it shows in the difference.
const HALVED_S: f64 = 0.30;
/// A silence after a note is looked at for this long, in seconds.
const SILENCE_S: f64 = 1.5;
/// A candidate this close to the played pitch is the played string, in cents.
const SAME_CENTS: f64 = 70.0;
/// A string that rings already is believed at a level that is lower by this much, in decibels. Set
/// on recorded takes and on rendered basses; raised, rings are told longer.
const LENIENT_DB: f64 = 7.0;
/// How much a string's high partials may have died away, in decibels for each 100 Hz: as it begins,
/// and as it ages. What fits best counts.
const AGED_DB: [f64; 3] = [0.0, 5.0, 10.0];

/// A string that rang, as [`super::events::HeardRing`] but in hertz.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// Fundamental in hertz.
    pub hz: f64,
    /// Onset of the note that was left ringing.
    pub source_onset_s: Option<f64>,
    /// Beginning in seconds.
    pub from_s: f64,
    /// End in seconds.
    pub to_s: f64,
    /// Level relative to all that sounded, in decibels.
    pub level_db: f64,
    /// How much more likely than silence, in nats.
    pub evidence: f64,
    /// What it looked like.
    pub features: RingFeatures,
}

/// A ring is held against the loudest that was heard since the last onset, less this, in decibels:
/// a note that dies away makes no string beside it louder. Raised towards 0, soft rings under a
/// dying note are not told.
const HELD_AGAINST_DB: f64 = -12.0;

/// A note that was played, as the strings beside it need to know it.
#[derive(Clone, Copy, Debug)]
pub struct PlayedNote {
    /// Onset, place in the stream.
    pub onset: f64,
    /// Where damping starts, or the next onset.
    pub release: f64,
    /// The next onset, or the end of the stream.
    pub next: f64,
    /// Fundamental in hertz and stiffness, when it has a pitch.
    pub pitch: Option<(f64, f64)>,
}

/// Room for the notes that may have been left ringing: those of some dense seconds.
const LEFT: usize = 64;

/// One string or note that may be ringing.
#[derive(Clone)]
struct Candidate {
    f1: f64,
    /// Of the note that may have been left ringing; `None` for an open string.
    source: Option<f64>,
    hz: [f64; PARTIALS],
    /// How its power is spread, as it begins and as it ages.
    spread: [Spread; AGED_DB.len()],
    count: usize,
    path: Path,
    released: f64,
    /// The last sound of the note that may have been left ringing.
    before: Option<Before>,
    /// Its level relative to all that sounded in the first window of the last note.
    answer_db: Option<f64>,
}

/// Listens for strings that ring beside the played one.
#[derive(Clone)]
pub struct Rings {
    pub(super) rate_hz: f64,
    pub(super) open_hz: Vec<f64>,
    /// Open strings as they were measured before.
    known: Vec<Remembered>,
    spectrum: Spectrum,
    bins: Vec<Complex<f32>>,
    pub(super) peeler: Peeler,
    notes: VecDeque<Remembered>,
    open: Vec<Candidate>,
    left: Vec<Candidate>,
    /// Power of the loudest window since the last onset.
    loudest: f64,
    /// Least power seen at each multiple of the mains' frequencies.
    hum: [f64; 2 * MAINS_LINES],
    hum_windows: usize,
}

/// The spreads of a string as it begins and as it ages.
fn spreads(db: &[f64], hz: &[f64]) -> [Spread; AGED_DB.len()] {
    AGED_DB.map(|aged_db| Spread::new(db, hz, aged_db))
}

impl Rings {
    /// A listener for a stream of `rate_hz` and the open strings given in hertz.
    pub fn new(rate_hz: f64, open_hz: &[f64]) -> Self {
        let mut rings = Self {
            rate_hz,
            open_hz: open_hz.to_vec(),
            known: Vec::new(),
            spectrum: Spectrum::new(),
            bins: Vec::new(),
            peeler: Peeler::new(),
            notes: VecDeque::with_capacity(REMEMBERED),
            open: Vec::new(),
            left: Vec::with_capacity(LEFT),
            loudest: 0.0,
            hum: [f64::INFINITY; 2 * MAINS_LINES],
            hum_windows: 0,
        };
        rings.open = open_hz
            .iter()
            .map(|&f1| Candidate {
                f1,
                source: None,
                hz: [0.0; PARTIALS],
                spread: Default::default(),
                count: 0,
                path: Path::default(),
                released: f64::NEG_INFINITY,
                before: None,
                answer_db: None,
            })
            .collect();
        rings
    }

    /// The next note is settled: looks at what rang beside it, and remembers it.
    ///
    /// `doubts`: moments within it at which something may have begun after all; no window crosses
    /// them.
    pub fn note(
        &mut self,
        stream: &History,
        note: PlayedNote,
        doubts: &[f64],
        say: &mut dyn FnMut(Ring),
    ) {
        let r = self.rate_hz;
        if self.hum_windows == 0 {
            self.listen_ahead(stream, note.onset);
        }
        self.refresh_open();
        self.loudest = 0.0;
        self.open.iter_mut().for_each(|c| c.answer_db = None);
        let mut start = note.onset + SKIP_S * r;
        let end = note.release.min(note.next);
        let mut first = true;
        for stop in doubts.iter().copied().filter(|d| *d < end).chain([end]) {
            self.span(stream, &note, start, stop, first, say);
            first = false;
            start = stop + SKIP_S * r;
        }
        let silent = note.release + DAMPED_S * r;
        let until = note.next.min(note.release + SILENCE_S * r);
        let quiet = PlayedNote {
            pitch: None,
            ..note
        };
        self.span(stream, &quiet, silent, until, false, say);
        self.remember(stream, &note);
    }

    /// The stream is over: says what still rang.
    pub fn finish(&mut self, say: &mut dyn FnMut(Ring)) {
        let r = self.rate_hz;
        for c in self.open.iter_mut().chain(&mut self.left) {
            c.path.close(f64::INFINITY);
            tell(c, r, say);
        }
        self.left.clear();
    }

    /// Looks at one span in which nothing begins.
    fn span(
        &mut self,
        stream: &History,
        note: &PlayedNote,
        start: f64,
        end: f64,
        first: bool,
        say: &mut dyn FnMut(Ring),
    ) {
        let r = self.rate_hz;
        let length = end - start;
        if length < SHORTEST_S * r {
            return;
        }
        let window = length.min(WINDOW_S * r);
        let mut first = first;
        // What ceases within the last window is seen in its second half.
        let half = 0.5 * window;
        let closer = window >= HALVED_S * r;
        let mut look = |from: f64, length: f64, ends: bool, again: bool| {
            let place = Place {
                from: if first { note.onset } else { from },
                to: from + length,
                begins: first,
                ends,
                again,
            };
            first = false;
            self.window(stream, note, from, length, place);
        };
        for (from, last) in windows(start, end, window) {
            look(from, window, last && !closer, false);
        }
        if closer {
            look(end - half, half, true, true);
        }
        let now = end;
        for c in self.open.iter_mut().chain(&mut self.left) {
            tell(c, r, say);
        }
        self.left
            .retain(|c| c.path.is_open() || now - c.released < LEFT_WITHIN_S * r);
    }

    fn window(
        &mut self,
        stream: &History,
        note: &PlayedNote,
        from: f64,
        length: f64,
        place: Place,
    ) {
        let Some(power) = self.analyse_window(stream, from, length) else {
            return;
        };
        self.hear_hum(1);
        let middle = from.round() + 0.5 * (length.floor() - 1.0);
        let on = Bins {
            bins: &self.bins,
            bin_hz: self.spectrum.bin_hz,
            length_s: self.spectrum.length_s,
        };
        // In a silence the note before it is what a ring is held against.
        self.loudest = power.max(self.loudest);
        let held_against = if note.pitch.is_some() {
            HELD_AGAINST_DB
        } else {
            0.0
        };
        let power = power.max(self.loudest * 10f64.powf(held_against / 10.0));
        let mut played = [0.0; 2 * PARTIALS];
        let mut count = 0;
        if let Some((f1, b)) = note.pitch {
            for (k, v) in played.iter_mut().enumerate() {
                *v = partial(f1, b, k + 1);
                if *v > UP_TO_HZ + 60.0 {
                    break;
                }
                count = k + 1;
            }
        }
        let played = &played[..count];
        for c in self.open.iter_mut().chain(&mut self.left) {
            let itself = note
                .pitch
                .is_some_and(|(f1, _)| cents(f1, c.f1).abs() < SAME_CENTS);
            if itself {
                // The string itself is played: whatever rang before is over.
                c.path.close(place.from);
                continue;
            }
            let counts = |k: usize| c.spread.iter().any(|s| s.counts(k));
            let mut seen = fit_all(&self.peeler, on, &c.hz[..c.count], played, counts);
            // What the mains put there is no string's.
            let reach = (HUM_CELLS / on.length_s).min(HUM_HZ);
            for (v, hz) in seen.iter_mut().zip(&c.hz[..c.count]) {
                for (m, hum) in self.hum.iter().enumerate() {
                    if self.hum_windows >= HUM_KNOWN && (mains(m) - hz).abs() < reach {
                        v.power = (v.power - HUM_BEYOND * hum).max(0.0);
                    }
                }
            }
            let seen = &seen[..c.count];
            let shown = Shown::new(seen, on.length_s, power);
            let reading = evidence(&shown, &c.spread[0]);
            let fresh = reading.nats;
            let aged = c.spread[1..].iter().map(|s| evidence(&shown, s).nats);
            let aged = leniency(LENIENT_DB) + aged.fold(fresh, f64::max);
            let hz = &c.hz[..c.count];
            let before = c.before.as_ref();
            let carried = before
                .and_then(|before| before.carried(&shown, &c.spread[0], hz, middle, self.rate_hz));
            if place.begins && note.pitch.is_some() && c.source.is_none() && fresh.is_finite() {
                c.answer_db = Some(reading.level_db);
            }
            let after_source = place.begins
                && c.source.is_some()
                && (note.onset - c.released).abs() < SOON_S * self.rate_hz;
            // The second look at the same sound may take evidence away and adds none: what was heard
            // in it has been counted in the first.
            let most = if place.again { 0.0 } else { f64::INFINITY };
            c.path.look(Look {
                place,
                fresh: if fresh.is_finite() {
                    fresh.min(most)
                } else {
                    fresh
                },
                aged: aged.min(most),
                reading,
                all: power,
                carried,
                left: c.source.is_some(),
                after_source,
            });
        }
    }
}
