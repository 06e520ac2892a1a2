//! What strings look like: the notes that were heard and the strings that were measured before, and
//! the templates made of them.
//!
//! # Source
//! The stiff string: H. Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209. That its B grows with the
//! square of the frequency, doubling every six frets, follows from it: B goes with 1 / L^2.

use super::carried::Before;
use super::path::Path;
use super::{
    Candidate, PARTIALS, PlayedNote, REMEMBERED, Ring, Rings, SAME_CENTS, SHORTEST_S, SKIP_S,
    UP_TO_HZ, spreads,
};
use crate::hearing::calibration::KnownString;
use crate::hearing::dsp::history::History;
use crate::hearing::dsp::stiff_string::partial;
use crate::hearing::events::{Answer, STRINGS};
use crate::units::{Hertz, STANDARD_A4, cents};

/// Strings measured before that are remembered.
const MOST_KNOWN: usize = 16;
/// The last sound of a note, from which its partials are measured, in seconds.
const LAST_S: f64 = 0.250;
/// A partial of a note is looked for within this share of its frequency.
const PEAK_WITHIN: f64 = 0.006;
/// Stiffness of an open E where none was measured, without unit. A working guess below a measured
/// low B of 3e-4 (J. Kemp 2020, SN Appl. Sci. 2, 636). Raised, high partials of strings not yet
/// heard are looked for higher.
const USUAL_B: f64 = 1.5e-4;
/// Semitones over which that stiffness halves, which gives A 1e-4, D 7e-5, G 4e-5: working guesses,
/// too. Raised, high strings are held to be stiffer.
const USUAL_B_HALVES: f64 = 7.9;
/// How fast the weight of a remembered note falls with its distance, in semitones.
const TEMPLATE_SEMITONES: f64 = 3.0;
/// How much of a template that was never heard itself is believed, in decibels.
const TEMPLATE_BELIEF: f64 = 0.8;
/// A template is known by half when notes of this weight are remembered.
const TEMPLATE_TRUST: f64 = 0.3;
/// What a template falls with the number of the partial where nothing is known, in decibels.
const PRIOR_FALL_DB: f64 = 3.0;

#[derive(Clone, Debug)]
pub(super) struct Remembered {
    semitone: f64,
    b: f64,
    /// Powers of the partials as shares of their sum, in decibels.
    db: [f64; PARTIALS],
    count: usize,
    f1: f64,
}

/// Where the partials of a string lie and how its power is spread over them, in decibels.
#[derive(Clone, Debug)]
pub(in crate::hearing) struct Template {
    pub hz: [f64; PARTIALS],
    pub db: [f64; PARTIALS],
    pub count: usize,
}

impl Rings {
    /// Takes what is known of the instrument's strings.
    pub fn with_known(mut self, strings: &[KnownString]) -> Self {
        self.known = strings
            .iter()
            .take(MOST_KNOWN)
            .filter(|s| s.hz > 0.0 && s.hz.is_finite())
            .map(|s| {
                let mut n = Remembered {
                    semitone: 12.0 * s.hz.log2(),
                    b: s.inharmonicity,
                    db: [0.0; PARTIALS],
                    count: 0,
                    f1: s.hz,
                };
                for (k, db) in s.partials_db.iter().take(PARTIALS).enumerate() {
                    n.db[k] = *db;
                    n.count = k + 1;
                }
                n
            })
            .collect();
        self
    }

    /// Templates of the open strings from what is remembered.
    pub(super) fn refresh_open(&mut self) {
        for i in 0..self.open.len() {
            let t = self.template(self.open_hz[i]);
            let c = &mut self.open[i];
            (c.f1, c.hz, c.count) = (t.hz[0], t.hz, t.count);
            c.spread = spreads(&t.db[..t.count], &t.hz[..t.count]);
        }
    }

    /// How loudly each open string was heard in the first window of the last note.
    pub fn answers(&self, a4: Hertz) -> [Option<Answer>; STRINGS] {
        let mut answers = [None; STRINGS];
        for (answer, c) in answers.iter_mut().zip(&self.open) {
            *answer = c.answer_db.map(|level_db| Answer {
                midi: Hertz(c.f1).to_midi(a4).0,
                level_db,
            });
        }
        answers
    }

    /// How a string at `nominal` hertz should look, from the notes that are remembered: as high as
    /// that very note was played, as stiff and as bright as its neighbours.
    pub(in crate::hearing) fn template(&self, nominal: f64) -> Template {
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
        let mut stiff = [0.0; REMEMBERED + MOST_KNOWN];
        let mut stiffs = 0;
        for n in remembered().filter(|n| (-0.5..9.5).contains(&(n.semitone - semitone))) {
            stiff[stiffs] = n.b / ((n.semitone - semitone) / 6.0).exp2();
            stiffs += 1;
        }
        let stiff = &mut stiff[..stiffs];
        stiff.sort_unstable_by(f64::total_cmp);
        let b = stiff.get(stiff.len() / 2).copied().unwrap_or(
            USUAL_B * ((28.0 - Hertz(nominal).to_midi(STANDARD_A4).0) / USUAL_B_HALVES).exp2(),
        );
        let mut t = Template {
            hz: [0.0; PARTIALS],
            db: [0.0; PARTIALS],
            count: 0,
        };
        let (mut sums, mut weights) = ([0.0; PARTIALS], [0.0; PARTIALS]);
        for n in remembered() {
            let w = (-(n.semitone - semitone).abs() / TEMPLATE_SEMITONES).exp();
            for k in 0..n.count {
                sums[k] += w * n.db[k];
                weights[k] += w;
            }
        }
        for k in 0..PARTIALS {
            let hz = partial(f1, b, k + 1);
            if hz > UP_TO_HZ {
                break;
            }
            t.hz[k] = hz;
            let (sum, weight) = (sums[k], weights[k]);
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
                    answers_db: None,
                })
            })
            .collect()
    }

    /// Measures the note's last sound and makes it a candidate.
    pub(super) fn remember(&mut self, stream: &History, note: &PlayedNote) {
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
            db: [0.0; PARTIALS],
            count: 0,
            f1,
        };
        let mut hz = [0.0; PARTIALS];
        for k in 0..PARTIALS {
            let at = partial(f1, b, k + 1);
            if at > UP_TO_HZ {
                break;
            }
            let reach = (PEAK_WITHIN * at).max(0.4 / self.spectrum.length_s);
            let peak = self.spectrum.peak_between(at - reach, at + reach);
            // A peak is moved to only as far as the law may be off.
            hz[k] = peak
                .map(|p| p.hz)
                .filter(|hz| (hz - at).abs() < PEAK_WITHIN * at)
                .unwrap_or(at);
            n.db[k] = peak
                .map_or(f64::NEG_INFINITY, |p| p.db)
                .max(self.spectrum.highest_db(at - reach, at + reach));
            n.count = k + 1;
        }
        shares(&mut n.db[..n.count]);
        self.spectrum
            .centred(x.len(), 1.5 * UP_TO_HZ, &mut self.bins);
        let middle = from.round() + 0.5 * (x.len() as f64 - 1.0);
        let before = Before::new(&self.peeler, self.on(), &hz[..n.count], middle);
        self.left
            .retain(|c| cents(c.f1, f1).abs() > SAME_CENTS || c.path.is_open());
        self.left.push(Candidate {
            f1,
            source: Some(note.onset),
            hz,
            spread: spreads(&n.db[..n.count], &hz[..n.count]),
            count: n.count,
            path: Path::default(),
            released: to,
            before: Some(before),
            answer_db: None,
        });
        if self.notes.len() == REMEMBERED {
            self.notes.pop_front();
        }
        self.notes.push_back(n);
    }
}

/// Says what has settled of a candidate.
pub(super) fn tell(c: &mut Candidate, rate_hz: f64, say: &mut dyn FnMut(Ring)) {
    for found in c.path.take() {
        say(Ring {
            hz: c.f1,
            source_onset_s: c.source.map(|s| s / rate_hz),
            from_s: found.from / rate_hz,
            to_s: found.to / rate_hz,
            level_db: 10.0 * (found.power / found.all.max(1e-20)).max(1e-9).log10(),
            evidence: found.evidence,
            features: found.features(),
        });
    }
}

/// Makes decibels of powers those of their shares.
fn shares(db: &mut [f64]) {
    let sum: f64 = db.iter().map(|d| 10f64.powf(d / 10.0)).sum();
    let all = 10.0 * sum.max(1e-12).log10();
    db.iter_mut().for_each(|d| *d -= all);
}
