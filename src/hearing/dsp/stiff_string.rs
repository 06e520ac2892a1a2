//! The stiff string: where its partials lie, and the fundamental and stiffness that a spectrum tells.
//!
//! # Source
//! H. Fletcher (1964), *Normal vibration frequencies of a stiff piano string*, J. Acoust. Soc. Am.
//! 36, 203-209. Departures stand where each is used.

use arrayvec::ArrayVec;

use super::spectrum::{Peak, Spectrum};
use crate::units::cents;

/// The stiff string fitted to a set of partials.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StiffString {
    /// Frequency of the first partial, f1 = f0 sqrt(1 + B), in hertz.
    pub f1_hz: f64,
    /// Inharmonicity coefficient B.
    pub inharmonicity: f64,
    /// One standard deviation of `f1_hz`, in cents, from the residuals.
    pub uncertainty_cents: f64,
    /// How many partials were used.
    pub partials: usize,
    /// Whether the fundamental lies where the partials above it put it; false as well where there
    /// is none.
    pub fundamental: bool,
}

/// Frequency of partial `k` of a stiff string whose first partial is `f1`, with the stiffness `b`.
///
/// # Source
/// f_k = k f0 sqrt(1 + B k^2): H. Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209.
pub fn partial(f1: f64, b: f64, k: usize) -> f64 {
    let k = k as f64;
    k * f1 * ((1.0 + b * k * k) / (1.0 + b)).sqrt()
}

/// Cents for a small relative difference of frequencies: 1200 / ln 2.
pub const CENTS_PER_SHARE: f64 = 1200.0 / std::f64::consts::LN_2;
/// Highest partial number used.
pub const PARTIALS: usize = 6;
/// Highest partial that is a witness to where the fundamental should lie. Chosen on recorded
/// strings; raised, softer partials take part.
const WITNESSES: usize = 9;
/// How many of them have to be there to be believed. Chosen on recorded strings; raised, fewer
/// moved fundamentals are noticed.
const FEWEST_WITNESSES: usize = 3;
/// A partial this far below the strongest is not used.
const WEAKEST_DB: f64 = -34.0;
/// The stiffness that most strings are near, without unit. Chosen on recorded strings.
const USUAL_B: f64 = 1e-4;
/// A series whose stiffness is further than this from [`USUAL_B`] is doubted, without unit. Chosen
/// on recorded strings; raised, a fundamental that was moved bends the series more often.
const OTHER_B: f64 = 2e-4;
/// How many partials have to agree on the usual stiffness for it to be believed instead. Chosen on
/// recorded strings; raised, it is believed less often.
const MANY_AGREE: f64 = 4.0;
/// How many more partials have to agree on the usual stiffness than on the other one, counted by
/// their weights. Chosen on recorded strings; raised, it is believed less often.
const MORE_AGREE: f64 = 0.2;
/// A witness may be this far below the strongest partial, in decibels. Chosen on recorded strings;
/// lowered, softer partials take part.
const WITNESS_DB: f64 = -55.0;
/// A partial above the first stands this far above the mean of what lies around it, in decibels.
/// Chosen on recorded strings; raised, fewer partials take part.
const CLEAR_DB: f64 = 6.0;
/// What lies around a partial is taken within this many times the reach it is looked for in. Chosen
/// on recorded strings.
const AROUND: f64 = 4.0;
/// A peak may be the skirt of a stronger one within this many resolution cells (1/T): the side
/// lobes of a Hann window lie there.
const SKIRT_CELLS: f64 = 3.0;
/// A peak this far below a stronger one nearby is that one's skirt, in decibels: the side lobes of
/// a Hann window are 31 dB down. Raised, side lobes are taken for partials.
const SKIRT_DB: f64 = 25.0;
/// A partial that is off the law by this share of a resolution cell counts half, where that is more
/// than [`CENTS_OFF`]. Chosen on recorded strings; raised, partials that lie off draw the fit more.
const CELL_OFF: f64 = 0.25;
/// A partial that is off the law by this counts half, in cents, where a resolution cell allows no
/// more. Chosen on recorded strings; raised, partials that lie off draw the fit more.
const CENTS_OFF: f64 = 12.0;
/// A fundamental this far from the place that the partials above it give has been moved, in cents.
/// Chosen on recorded strings; raised, modes of the body draw the pitch more often.
const MOVED_CENTS: f64 = 20.0;
/// A fundamental that is stronger than all partials above it by this much, in decibels, may be a
/// mode of the body. Chosen on recorded strings; raised, fewer are held to the closer limit below.
const OUTSHINES_DB: f64 = 20.0;
/// Such a fundamental has been moved when it is this far from its place, in cents. Chosen on
/// recorded strings; raised, modes of the body draw the pitch more often.
const OUTSHINING_CENTS: f64 = 12.0;
/// How well a peak is placed, as a share of a resolution cell. Chosen on recorded strings; raised,
/// low partials count less.
const PLACED_CELL: f64 = 0.03;
/// How well a string's partials keep to the law, in cents. Chosen on recorded strings; raised, low
/// partials count more.
const PLACED_CENTS: f64 = 5.0;
/// Rounds of weighing and fitting; the fit stands still after five.
const ROBUST_ROUNDS: usize = 6;
/// Stiffest string considered: a low B at the 21st fret has 3.4e-3 (Kemp 2020).
const HIGHEST_B: f64 = 5e-3;

/// Fits f_k = k f0 sqrt(1 + B k^2) to the spectrum's peaks near the multiples of `f_hz`.
///
/// Output: `None` when no partial stands out.
///
/// # Source
/// The stiff string: H. Fletcher (1964), *Normal vibration frequencies of a stiff piano string*,
/// J. Acoust. Soc. Am. 36, 203-209. Least squares on (f_k / k)^2 = f0^2 + f0^2 B k^2, weighted by
/// the square root of the amplitude, which measured strings fit best; a peak that lies off the
/// fit of the others is left out.
pub fn fit_stiff_string(spectrum: &Spectrum, f_hz: f64, prior_b: f64) -> Option<StiffString> {
    let (mut found, mut prior_b) = (partials_near(spectrum, f_hz, prior_b), prior_b);
    // Where a moved fundamental bent the series, more partials agree on a string of usual stiffness.
    if (prior_b - USUAL_B).abs() > OTHER_B {
        let usual = partials_near(spectrum, f_hz, USUAL_B);
        let agree = |found: &[(f64, Peak)], b: f64| {
            let fit = robust(found, |_| 1.0, spectrum.length_s, f_hz, b);
            fit.map_or(0.0, |f| f.trust[..found.len()].iter().sum::<f64>())
        };
        if agree(&usual, USUAL_B) > MANY_AGREE.max(agree(&found, prior_b) + MORE_AGREE) {
            (found, prior_b) = (usual, USUAL_B);
        }
    }
    let length_s = spectrum.length_s;
    let top = highest(&found);
    let voice = |p: &Peak| 10.0f64.powf((p.db - top) / 20.0);
    // Bodies and bridges move a fundamental, not a series, and a strong one would draw the whole
    // fit after it; so its witnesses have equal voices, however soft they are.
    let first = found.first().filter(|(k, _)| *k == 1.0).map(|(_, p)| *p);
    let above = &found[usize::from(first.is_some())..];
    let mut weakest = top + WEAKEST_DB;
    if above.len() >= FEWEST_WITNESSES {
        let fit = robust(above, |_| 1.0, length_s, f_hz, prior_b)?;
        let outshines = first.is_some_and(|p| p.db > highest(above) + OUTSHINES_DB);
        let limit = if outshines {
            OUTSHINING_CENTS
        } else {
            MOVED_CENTS
        };
        if first.is_none_or(|p| is_moved(&p, &fit, length_s, limit)) {
            return Some(fit.beyond(above));
        }
        // Where the fundamental outshines the series, the partials above it are held against the
        // strongest of themselves: beside the fundamental they would all seem too weak.
        weakest = weakest.min(highest(above) + WEAKEST_DB);
    }
    found.retain(|(k, p)| *k <= PARTIALS as f64 && p.db > weakest);
    if let [(k, p), above @ ..] = found.as_slice()
        && *k == 1.0
        && (1..FEWEST_WITNESSES).contains(&above.len())
        && is_moved(
            p,
            &robust(above, voice, length_s, f_hz, prior_b)?,
            length_s,
            MOVED_CENTS,
        )
    {
        found.remove(0);
    }
    let cell = PLACED_CELL * CENTS_PER_SHARE / length_s;
    // amplitude^0.5 on the residual is amplitude on its square.
    let placed = |p: &Peak| voice(p) / (1.0 + (cell / p.hz / PLACED_CENTS).powi(2));
    let fit = robust(&found, placed, length_s, f_hz, prior_b)?;
    Some(fit.string(&found))
}

/// The peaks near the partials of a string.
fn partials_near(spectrum: &Spectrum, f_hz: f64, prior_b: f64) -> ArrayVec<(f64, Peak), WITNESSES> {
    let mut found = ArrayVec::new();
    let reach = (0.6 / spectrum.length_s).clamp(0.015 * f_hz, 0.15 * f_hz);
    let top_hz = spectrum.bin_hz * (spectrum.db.len() as f64 - 2.0);
    for k in 1..=WITNESSES {
        let at = partial(f_hz, prior_b, k);
        if at + reach > top_hz {
            break;
        }
        if let Some(p) = spectrum.peak_between(at - reach, at + reach) {
            let clear = spectrum.mean_db(at - AROUND * reach, at + AROUND * reach) + CLEAR_DB;
            let cells = SKIRT_CELLS / spectrum.length_s;
            let skirt = spectrum.highest_db(p.hz - cells, p.hz + cells) - SKIRT_DB;
            if k == 1 || p.db > clear.max(skirt) {
                found.push((k as f64, p));
            }
        }
    }
    let top = highest(&found);
    found.retain(|(_, p)| p.db > top + WITNESS_DB);
    found
}

/// Whether the fundamental lies off the place that the partials above it give.
fn is_moved(first: &Peak, above: &Fit, length_s: f64, limit: f64) -> bool {
    let cell = CELL_OFF * CENTS_PER_SHARE / length_s / first.hz;
    residual(above.f0sq, above.bf, 1.0, first).abs() > cell.max(limit)
}

fn highest(found: &[(f64, Peak)]) -> f64 {
    let heights = found.iter().map(|(_, p)| p.db);
    heights.fold(f64::NEG_INFINITY, f64::max)
}

/// A string by least squares, and how far each of its partials is trusted.
struct Fit {
    f0sq: f64,
    bf: f64,
    trust: [f64; WITNESSES],
}

impl Fit {
    /// What the fit to `found` says.
    fn string(&self, found: &[(f64, Peak)]) -> StiffString {
        let (mut sum, mut trusted) = (0.0, 0.0);
        for ((k, p), t) in found.iter().zip(&self.trust) {
            sum += t * residual(self.f0sq, self.bf, *k, p).powi(2);
            trusted += t;
        }
        let spread = (sum / (trusted - 1.0).max(1.0)).sqrt();
        StiffString {
            f1_hz: (self.f0sq + self.bf).max(1e-9).sqrt(),
            inharmonicity: (self.bf / self.f0sq).clamp(0.0, HIGHEST_B),
            uncertainty_cents: spread.max(1.0) / trusted.max(1.0).sqrt(),
            partials: found.len(),
            fundamental: true,
        }
    }

    /// The same when the fundamental is not among them: it lies beyond them all, so that what bends
    /// them moves it the more, the higher they lie and the fewer they are. The variance of a fitted
    /// line beside its points.
    fn beyond(&self, found: &[(f64, Peak)]) -> StiffString {
        let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
        for ((k, _), t) in found.iter().zip(&self.trust) {
            s0 += t;
            s1 += t * k * k;
            s2 += t * k.powi(4);
        }
        let leverage = (s2 - 2.0 * s1 + s0) / (s0 * s2 - s1 * s1).max(1e-9);
        let string = self.string(found);
        StiffString {
            uncertainty_cents: string.uncertainty_cents * (leverage * s0).max(1.0).sqrt(),
            fundamental: false,
            ..string
        }
    }
}

/// Least squares with less trust in what lies off.
fn robust(
    found: &[(f64, Peak)],
    weight: impl Fn(&Peak) -> f64,
    length_s: f64,
    f_hz: f64,
    prior_b: f64,
) -> Option<Fit> {
    let mut trust = [1.0f64; WITNESSES];
    let (mut f0sq, mut bf) = (0.0, 0.0);
    for _ in 0..ROBUST_ROUNDS {
        let weights = found.iter().zip(&trust).map(|((_, p), t)| t * weight(p));
        (f0sq, bf) = solve(found, weights, length_s, f_hz, prior_b)?;
        for ((k, p), t) in found.iter().zip(&mut trust) {
            let cell = CELL_OFF * CENTS_PER_SHARE / length_s / p.hz;
            *t = 1.0 / (1.0 + (residual(f0sq, bf, *k, p) / cell.max(CENTS_OFF)).powi(2));
        }
    }
    Some(Fit { f0sq, bf, trust })
}

/// How far a partial lies above its place on the string, in cents.
fn residual(f0sq: f64, bf: f64, k: f64, p: &Peak) -> f64 {
    cents(p.hz / k, (f0sq + bf * k * k).max(1e-9).sqrt())
}

/// Weighted least squares for f0^2 and f0^2 B, with B drawn towards `prior_b` the more the
/// shorter the stretch was.
fn solve(
    found: &[(f64, Peak)],
    weights: impl Iterator<Item = f64>,
    length_s: f64,
    f_hz: f64,
    prior_b: f64,
) -> Option<(f64, f64)> {
    let (mut s0, mut s1, mut s2, mut t0, mut t1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for ((k, p), w) in found.iter().zip(weights) {
        let (x, y) = (k * k, (p.hz / k / f_hz).powi(2));
        s0 += w;
        s1 += w * x;
        s2 += w * x * x;
        t0 += w * y;
        t1 += w * x * y;
    }
    // A ridge on B: one resolution cell of frequency error at the first partial.
    let ridge = if length_s > 0.3 && found.len() > 3 {
        0.025
    } else {
        0.25
    };
    s2 += ridge * s0;
    t1 += ridge * s0 * prior_b;
    let det = s0 * s2 - s1 * s1;
    let (mut a, mut b) = if found.len() < 2 || det.abs() < 1e-12 {
        let b = prior_b;
        ((t0 - b * s1) / s0, b)
    } else {
        ((t0 * s2 - t1 * s1) / det, (s0 * t1 - s1 * t0) / det)
    };
    if a <= 0.0 || !a.is_finite() {
        return None;
    }
    let held = b.clamp(0.0, HIGHEST_B * a);
    if held != b {
        b = held;
        a = (t0 - b * s1) / s0;
    }
    Some((a * f_hz * f_hz, b * f_hz * f_hz))
}
