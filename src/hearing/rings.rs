//! What *else* rings: strings that sound while another one is played, or when none should.
//!
//! Informed listening and no blind transcription: the candidates are few and known, the open
//! strings and the notes just played. Each is looked for by partials that only it has, in windows
//! that never cross an onset; whether it rings is decided over many windows (`ring_path`).
//!
//! # Source
//! - Partials of a stiff string: H. Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209.
//! - Beside the played note: least squares, see `dsp::free_partial`.
//! - Weights of the evidence (level, clearness, share of free partials, length): a logistic
//!   regression (D. R. Cox 1958, from memory) on recorded strings, known from a prototype.

use std::collections::VecDeque;

use realfft::num_complex::Complex;

use super::calibration::KnownString;
use super::dsp::free_partial::{self, Bins, FreePartial};
use super::dsp::history::History;
use super::dsp::partials::Spectrum;
use super::dsp::peel::Peeler;
use super::ring_path::{Look, Path, Place};
use crate::units::cents;

/// Partials of a string that are looked at, up to this frequency.
pub(super) const PARTIALS: usize = 18;
const UP_TO_HZ: f64 = 950.0;
/// A string that needs partials closer than this to the lowest bins cannot be seen.
const FROM_HZ: f64 = 26.0;
/// A note is left ringing into the next one when that comes this soon after it, in seconds.
const SOON_S: f64 = 0.15;
/// A note that was played this long ago cannot be left ringing any more, in seconds.
const LEFT_WITHIN_S: f64 = 4.0;
/// Notes whose partials are remembered.
const REMEMBERED: usize = 48;
/// The attack is left out of the first window of a note, in seconds, ...
pub(super) const SKIP_S: f64 = 0.020;
/// ... and after a release the string's last sound.
const DAMPED_S: f64 = 0.060;
/// Longest and shortest window, in seconds.
pub(super) const WINDOW_S: f64 = 0.36;
pub(super) const SHORTEST_S: f64 = 0.060;
/// A silence is looked at for so long, in seconds.
const SILENCE_S: f64 = 1.5;
/// A candidate this close to the played pitch is the played string, in cents.
const SAME_CENTS: f64 = 70.0;
/// The last sound of a note, from which its partials are measured, in seconds.
const LAST_S: f64 = 0.250;
/// A partial of a note is looked for within this share of its frequency.
const PEAK_WITHIN: f64 = 0.006;
/// Stiffness of an open E where none was measured, halved so many semitones higher: E 1.5e-4, A
/// 1e-4, D 7e-5, G 4e-5. Working guesses below a measured low B of 3e-4 (J. Kemp 2020, SN Appl.
/// Sci. 2, 636).
const USUAL_B: f64 = 1.5e-4;
const USUAL_B_HALVES: f64 = 7.9;
/// How fast the weight of a remembered note falls with its distance, in semitones.
const TEMPLATE_SEMITONES: f64 = 3.0;
/// Partials further below the strongest than this say nothing, in decibels.
const TEMPLATE_RANGE_DB: f64 = 25.0;
/// How much of a template that was never heard itself is believed, in decibels.
const TEMPLATE_BELIEF: f64 = 0.8;
/// A template is known by half when notes of this weight are remembered.
const TEMPLATE_TRUST: f64 = 0.3;
/// What a template falls with the number of the partial where nothing is known, in decibels.
const PRIOR_FALL_DB: f64 = 3.0;
/// A partial that others leave less than this free says nothing.
const LEAST_FREE: f64 = 0.3;
/// The evidence is that of the partials at this rank, so that one leaking partial makes no string.
const RANK: f64 = 0.35;
/// The level is that of the partials at this one.
const MIDDLE: f64 = 0.6;
/// Weights of the evidence.
const LEVEL_WEIGHT: f64 = 0.27;
const LEVEL_FROM_DB: f64 = -30.0;
const CLEAR_WEIGHT: f64 = 0.125;
const SHARE_WEIGHT: f64 = 1.9;
const LENGTH_WEIGHT: f64 = 1.7;
const LENGTH_S: f64 = 0.2;
const CONSTANT: f64 = -1.7;
/// With less free than this share nothing can be told.
const LEAST_SHARE: f64 = 0.02;
/// A string that rings already is believed with so much less level, in decibels ...
const LENIENT_DB: f64 = 7.0;
/// ... and with its high partials died away by so much for each 100 Hz.
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
}

/// Multiples of the mains' frequencies, 50 Hz and 60 Hz (IEC 60038), at which hum is looked for.
const MAINS_LINES: usize = 8;
/// Hum is measured in windows longer than this, in seconds; ...
const HUM_WINDOW_S: f64 = 0.2;
/// ... it touches partials within so many cells, ...
const HUM_CELLS: f64 = 2.0;
const HUM_HZ: f64 = 5.0;
/// ... is known after so many windows, ...
const HUM_KNOWN: usize = 10;
/// ... and may be so much stronger than the least that was seen of it.
const HUM_BEYOND: f64 = 4.0;
/// A note that dies away is held against what it was, but for so much, in decibels.
const HELD_AGAINST_DB: f64 = -12.0;

/// The frequency of a multiple of the mains.
fn mains(k: usize) -> f64 {
    let base = if k < MAINS_LINES { 50.0 } else { 60.0 };
    base * (k % MAINS_LINES + 1) as f64
}

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

#[derive(Clone, Debug)]
struct Remembered {
    semitone: f64,
    b: f64,
    hz: [f64; PARTIALS],
    /// Powers of the partials as shares of their sum, in decibels.
    db: [f64; PARTIALS],
    count: usize,
    release: f64,
    f1: f64,
}

/// Where the partials of a string lie and how its power is spread over them, in decibels.
#[derive(Clone, Debug)]
pub(super) struct Template {
    pub hz: [f64; PARTIALS],
    pub db: [f64; PARTIALS],
    pub count: usize,
}

/// One string or note that may be ringing.
struct Candidate {
    f1: f64,
    /// Of the note that may have been left ringing; `None` for an open string.
    source: Option<f64>,
    hz: [f64; PARTIALS],
    db: [f64; PARTIALS],
    count: usize,
    path: Path,
    released: f64,
}

/// Listens for strings that ring beside the played one.
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

/// MIDI note of a frequency at A4 = 440 Hz, near enough to guess a string by.
fn midi_near(hz: f64) -> f64 {
    69.0 + 12.0 * (hz / 440.0).log2()
}

/// Frequency of partial `k` of a stiff string whose first partial is `f1`, with the stiffness `b`.
///
/// # Source
/// f_k = k f0 sqrt(1 + B k^2): H. Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209.
pub fn partial(f1: f64, b: f64, k: usize) -> f64 {
    let k = k as f64;
    k * f1 * ((1.0 + b * k * k) / (1.0 + b)).sqrt()
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
            left: Vec::new(),
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
                db: [0.0; PARTIALS],
                count: 0,
                path: Path::default(),
                released: f64::NEG_INFINITY,
            })
            .collect();
        rings
    }

    /// Takes what is known of the instrument's strings.
    pub fn with_known(mut self, strings: &[KnownString]) -> Self {
        self.known = strings
            .iter()
            .filter(|s| s.hz > 0.0 && s.hz.is_finite())
            .map(|s| {
                let mut n = Remembered {
                    semitone: 12.0 * s.hz.log2(),
                    b: s.inharmonicity,
                    hz: [0.0; PARTIALS],
                    db: [0.0; PARTIALS],
                    count: 0,
                    release: 0.0,
                    f1: s.hz,
                };
                for (k, db) in s.partials_db.iter().take(PARTIALS).enumerate() {
                    n.hz[k] = partial(s.hz, s.inharmonicity, k + 1);
                    n.db[k] = *db;
                    n.count = k + 1;
                }
                n
            })
            .collect();
        self
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
        self.refresh_open();
        self.loudest = 0.0;
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
            c.path.finish();
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
        let steps = ((length - window) / (0.5 * window)).ceil().max(0.0) as usize;
        for i in 0..=steps {
            let from = start + (length - window) * i as f64 / steps.max(1) as f64;
            let place = Place {
                from: if first && i == 0 { note.onset } else { from },
                to: from + window,
                begins: first && i == 0,
                ends: i == steps,
            };
            self.window(stream, note, from, window, place);
        }
        let now = end;
        for c in self.open.iter_mut().chain(&mut self.left) {
            tell(c, r, say);
        }
        self.left
            .retain(|c| c.path.is_open() || now - c.released < LEFT_WITHIN_S * r);
    }

    /// Analyses one window.
    ///
    /// Output: the power of all that sounds in it; `None` when it is not there.
    pub(super) fn analyse_window(
        &mut self,
        stream: &History,
        from: f64,
        length: f64,
    ) -> Option<f64> {
        let a = from.round() as i64;
        let x = stream.range(a, a + length as i64);
        if x.len() < length as usize {
            return None;
        }
        self.spectrum.analyse(x, self.rate_hz);
        self.spectrum.centred(x.len(), &mut self.bins);
        let on = self.on();
        let range = (FROM_HZ / on.bin_hz) as usize
            ..((1.5 * UP_TO_HZ / on.bin_hz) as usize).min(self.bins.len());
        let sum: f64 = self.bins[range]
            .iter()
            .map(|c| f64::from(c.norm_sqr()))
            .sum();
        // The Hann window spreads a sinusoid over 1.5 cells.
        Some((sum * on.bin_hz * on.length_s / 1.5).max(1e-16))
    }

    /// The window that was analysed last.
    pub(super) fn on(&self) -> Bins<'_> {
        Bins {
            bins: &self.bins,
            bin_hz: self.spectrum.bin_hz,
            length_s: self.spectrum.length_s,
        }
    }

    /// The frequency of the highest peak of that window between two frequencies.
    pub(super) fn peak_between(&self, lo: f64, hi: f64) -> Option<f64> {
        self.spectrum.peak_between(lo, hi).map(|p| p.hz)
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
        if on.length_s > HUM_WINDOW_S {
            self.hum_windows += 1;
            for (k, hum) in self.hum.iter_mut().enumerate() {
                let bin = (mains(k) / on.bin_hz).round() as usize;
                let now = self.bins.get(bin).map_or(0.0, |c| f64::from(c.norm_sqr()));
                *hum = hum.min(now);
            }
        }
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
                c.path.cut(place);
                continue;
            }
            let mut seen = [FreePartial::default(); PARTIALS];
            for (k, s) in seen.iter_mut().enumerate().take(c.count) {
                if let Some(mut v) = free_partial::fit(&self.peeler, on, c.hz[k], played) {
                    // What the mains put there is no string's.
                    for (m, hum) in self.hum.iter().enumerate() {
                        let reach = (HUM_CELLS / on.length_s).min(HUM_HZ);
                        if self.hum_windows >= HUM_KNOWN && (mains(m) - c.hz[k]).abs() < reach {
                            v.power = (v.power - HUM_BEYOND * hum).max(0.0);
                        }
                    }
                    *s = v;
                }
            }
            let seen = &seen[..c.count];
            let (fresh, level) = evidence(seen, &c.db, &c.hz, on.length_s, power, 0.0, 0.0);
            let mut aged = fresh;
            for fall in AGED_DB {
                let (e, _) = evidence(seen, &c.db, &c.hz, on.length_s, power, LENIENT_DB, fall);
                aged = aged.max(e);
            }
            let after_source = place.begins
                && c.source.is_some()
                && (note.onset - c.released).abs() < SOON_S * self.rate_hz;
            c.path.look(Look {
                place,
                fresh,
                aged,
                power: level,
                all: power,
                left: c.source.is_some(),
                after_source,
            });
        }
    }

    /// Templates of the open strings from what is remembered.
    fn refresh_open(&mut self) {
        for i in 0..self.open.len() {
            let t = self.template(self.open_hz[i]);
            let c = &mut self.open[i];
            (c.f1, c.hz, c.db, c.count) = (t.hz[0], t.hz, t.db, t.count);
        }
    }

    /// How a string at `nominal` hertz should look, from the notes that are remembered: as high as
    /// that very note was played, as stiff and as bright as its neighbours.
    pub(super) fn template(&self, nominal: f64) -> Template {
        let semitone = 12.0 * nominal.log2();
        let remembered = || self.notes.iter().chain(&self.known);
        let played = remembered()
            .filter(|n| (n.semitone - semitone).abs() < 0.4)
            .map(|n| n.f1);
        let (sum, count) = played.fold((0.0, 0), |(s, n), f| (s + f, n + 1));
        let f1 = if count > 0 {
            sum / f64::from(count)
        } else {
            nominal
        };
        let mut stiff: Vec<f64> = remembered()
            .filter(|n| (-0.5..9.5).contains(&(n.semitone - semitone)))
            .map(|n| n.b / ((n.semitone - semitone) / 6.0).exp2())
            .collect();
        stiff.sort_by(f64::total_cmp);
        let b = stiff
            .get(stiff.len() / 2)
            .copied()
            .unwrap_or(USUAL_B * ((28.0 - midi_near(nominal)) / USUAL_B_HALVES).exp2());
        let mut t = Template {
            hz: [0.0; PARTIALS],
            db: [0.0; PARTIALS],
            count: 0,
        };
        for k in 0..PARTIALS {
            let hz = partial(f1, b, k + 1);
            if hz > UP_TO_HZ {
                break;
            }
            t.hz[k] = hz;
            let (mut sum, mut weight) = (0.0, 0.0);
            for n in remembered().filter(|n| k < n.count) {
                let w = (-(n.semitone - semitone).abs() / TEMPLATE_SEMITONES).exp();
                sum += w * n.db[k];
                weight += w;
            }
            // What is not known falls gently; what is known from afar is believed in part.
            let prior = -6.0 - PRIOR_FALL_DB * k as f64;
            let trust = weight / (weight + TEMPLATE_TRUST);
            let known = if weight > 0.0 { sum / weight } else { prior };
            t.db[k] = TEMPLATE_BELIEF * (trust * known + (1.0 - trust) * prior);
            t.count = k + 1;
        }
        shares(&mut t.db[..t.count]);
        t
    }

    /// What was heard of each open string when it was plucked open.
    pub fn strings(&self) -> Vec<Option<KnownString>> {
        self.open_hz
            .iter()
            .map(|&open| {
                let semitone = 12.0 * open.log2();
                let played = || {
                    self.notes
                        .iter()
                        .filter(|n| (n.semitone - semitone).abs() < 0.6)
                };
                let count = played().count();
                let mean = |of: &dyn Fn(&Remembered) -> f64| {
                    played().map(of).sum::<f64>() / count.max(1) as f64
                };
                (count > 0).then(|| KnownString {
                    hz: mean(&|n| n.f1),
                    inharmonicity: mean(&|n| n.b),
                    partials_db: (0..played().map(|n| n.count).min().unwrap_or(0))
                        .map(|k| mean(&|n| n.db[k]).clamp(-90.0, 0.0))
                        .collect(),
                })
            })
            .collect()
    }

    /// Measures the note's last sound and makes it a candidate.
    fn remember(&mut self, stream: &History, note: &PlayedNote) {
        let Some((f1, b)) = note.pitch else {
            return;
        };
        let r = self.rate_hz;
        let to = note.release.min(note.next);
        let from = (to - LAST_S * r).max(note.onset + 2.0 * SKIP_S * r);
        let x = stream.range(from.round() as i64, to.round() as i64);
        if (x.len() as f64) < SHORTEST_S * r {
            return;
        }
        self.spectrum.analyse(x, r);
        let mut n = Remembered {
            semitone: 12.0 * f1.log2(),
            b,
            hz: [0.0; PARTIALS],
            db: [0.0; PARTIALS],
            count: 0,
            release: to,
            f1,
        };
        for k in 0..PARTIALS {
            let at = partial(f1, b, k + 1);
            if at > UP_TO_HZ {
                break;
            }
            let reach = (PEAK_WITHIN * at).max(0.4 / self.spectrum.length_s);
            let peak = self.spectrum.peak_between(at - reach, at + reach);
            // A peak is moved to only as far as the law may be off.
            n.hz[k] = peak
                .map(|p| p.hz)
                .filter(|hz| (hz - at).abs() < PEAK_WITHIN * at)
                .unwrap_or(at);
            n.db[k] = peak
                .map_or(f64::NEG_INFINITY, |p| p.db)
                .max(self.spectrum.highest_db(at - reach, at + reach));
            n.count = k + 1;
        }
        shares(&mut n.db[..n.count]);
        self.left
            .retain(|c| cents(c.f1, f1).abs() > SAME_CENTS || c.path.is_open());
        self.left.push(Candidate {
            f1,
            source: Some(note.onset),
            hz: n.hz,
            db: n.db,
            count: n.count,
            path: Path::default(),
            released: n.release,
        });
        if self.notes.len() == REMEMBERED {
            self.notes.pop_front();
        }
        self.notes.push_back(n);
    }
}

/// Makes decibels of powers those of their shares.
fn shares(db: &mut [f64]) {
    let sum: f64 = db.iter().map(|d| 10f64.powf(d / 10.0)).sum();
    let all = 10.0 * sum.max(1e-12).log10();
    db.iter_mut().for_each(|d| *d -= all);
}

/// Evidence that a string rings in one window, in nats, and its power there.
pub(super) fn evidence(
    seen: &[FreePartial],
    db: &[f64; PARTIALS],
    hz: &[f64; PARTIALS],
    length_s: f64,
    power: f64,
    lenient_db: f64,
    aged_db: f64,
) -> (f64, f64) {
    let mut template = [0.0; PARTIALS];
    let mut sum = 0.0;
    for k in 0..seen.len() {
        let d = db[k] - aged_db * (hz[k] - hz[0]) / 100.0;
        template[k] = 10f64.powf(d / 10.0);
        sum += template[k];
    }
    let top = template.iter().copied().fold(0.0, f64::max);
    let least = top * 10f64.powf(-TEMPLATE_RANGE_DB / 10.0);
    let mut levels = [(0.0, 0.0); PARTIALS];
    let mut clears = [(0.0, 0.0); PARTIALS];
    let (mut used, mut share, mut loud) = (0, 0.0, 0.0);
    for (k, s) in seen.iter().enumerate() {
        if s.free <= LEAST_FREE || template[k] < least {
            continue;
        }
        let t = template[k] / sum;
        let weight = (t * s.free).sqrt();
        levels[used] = (10.0 * (s.power / (t * power)).max(1e-9).log10(), weight);
        clears[used] = (
            10.0 * (s.power / s.noise.max(1e-16)).max(1e-3).log10(),
            weight,
        );
        used += 1;
        share += t;
        loud += (s.power - s.noise).max(0.0);
    }
    if used == 0 || share < LEAST_SHARE {
        return (f64::NAN, 0.0);
    }
    let level = ranked(&mut levels[..used], RANK);
    let clear = ranked(&mut clears[..used], RANK);
    let score = LEVEL_WEIGHT * (level + lenient_db - LEVEL_FROM_DB)
        + CLEAR_WEIGHT * clear
        + SHARE_WEIGHT * share.ln()
        + LENGTH_WEIGHT * (length_s / LENGTH_S).ln()
        + CONSTANT;
    // The level, too, is that of most partials: one that leaks must not make it.
    let middle = ranked(&mut levels[..used], MIDDLE);
    let robust = power * 10f64.powf(middle / 10.0);
    (score, robust.min(loud / share))
}

/// The value at the given rank of weighted values.
fn ranked(values: &mut [(f64, f64)], rank: f64) -> f64 {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all: f64 = values.iter().map(|v| v.1).sum();
    let mut passed = 0.0;
    for v in values.iter() {
        passed += v.1;
        if passed >= rank * all {
            return v.0;
        }
    }
    values.last().map_or(f64::NEG_INFINITY, |v| v.0)
}

fn tell(c: &mut Candidate, rate_hz: f64, say: &mut dyn FnMut(Ring)) {
    for found in c.path.take() {
        say(Ring {
            hz: c.f1,
            source_onset_s: c.source.map(|s| s / rate_hz),
            from_s: found.from / rate_hz,
            to_s: found.to / rate_hz,
            level_db: 10.0 * (found.power / found.all.max(1e-20)).max(1e-9).log10(),
            evidence: found.evidence,
        });
    }
}
