//! How much a number usually varies from pass to pass, learnt over all places together.

use statrs::function::gamma::digamma;

use super::samples::{Group, Samples};

/// The usual variance from pass to pass, and how many degrees of freedom it is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Usual {
    pub variance: f64,
    /// Above 0; infinite where it is taken for known.
    pub freedom: f64,
}

/// Sides with several passes from which on what is usual can be learnt: of fewer a single one decides too much.
const ENOUGH: usize = 5;

/// Most degrees of freedom that what is usual is worth. Raising it trusts that places vary alike: in simulated takes
/// whose gaps vary by 8 ms and a fifth of themselves, without a limit up to half of the comparisons told of a change
/// where there was none, at 4 fewer than 1 in 12.
const FREEDOM_MAX: f64 = 4.0;

/// How much an onset or a silence is taken to differ from pass to pass where too few passes show it: by this many
/// milliseconds, and by this share of itself. Common practice, no source. Raising them tells less of single passes.
pub const ASSUMED_MS: f64 = 8.0;
/// See [`ASSUMED_MS`].
pub const ASSUMED_SHARE: f64 = 0.2;

impl Usual {
    /// What is usual at places of one matter; `None` of too few sides with several passes.
    pub fn learnt(all: &[Samples]) -> Option<Self> {
        let sides = all.iter().flat_map(|s| [&s.before, &s.after]);
        let repeated: Vec<(f64, f64)> = sides
            .filter_map(|side| Group::of(side))
            .filter(|group| group.count > 1 && group.variance_at_least() > 0.0)
            .map(|group| (group.variance_at_least(), group.freedom()))
            .collect();
        (repeated.len() >= ENOUGH).then(|| {
            let usual = fitted(&repeated);
            Self {
                freedom: usual.freedom.min(FREEDOM_MAX),
                ..usual
            }
        })
    }

    /// What is taken for usual at one place where nothing could be learnt. Where no side has several passes it is
    /// all there is, and is taken for known.
    pub fn assumed(samples: &Samples) -> Option<Self> {
        let (before, after) = (Group::of(&samples.before)?, Group::of(&samples.after)?);
        let larger = before.mean.abs().max(after.mean.abs());
        let stated = before
            .stated
            .unwrap_or(0.0)
            .max(after.stated.unwrap_or(0.0));
        let single = before.count == 1 && after.count == 1;
        Some(Self {
            variance: ASSUMED_MS.powi(2) + (ASSUMED_SHARE * larger).powi(2) + stated,
            freedom: if single { f64::INFINITY } else { FREEDOM_MAX },
        })
    }
}

/// Variance and degrees of freedom that variances with theirs were drawn from, by the moments of their logarithms.
///
/// # Source
/// Smyth (2004), Stat. Appl. Genet. Mol. Biol. 3(1) art. 3, section 6.2. A variance of a few degrees of freedom is
/// a scaled F; the logarithm of one has mean digamma(d/2) - ln(d/2) and variance trigamma(d/2).
fn fitted(variances: &[(f64, f64)]) -> Usual {
    let count = variances.len() as f64;
    let logs: Vec<f64> = variances
        .iter()
        .map(|(variance, d)| variance.ln() - digamma(d / 2.0) + (d / 2.0).ln())
        .collect();
    let mean = logs.iter().sum::<f64>() / count;
    let squares: f64 = logs.iter().map(|log| (log - mean).powi(2)).sum();
    let own = variances
        .iter()
        .map(|(_, d)| trigamma(d / 2.0))
        .sum::<f64>()
        / count;
    let beyond = squares / (count - 1.0) - own;
    if beyond <= 0.0 {
        return Usual {
            variance: mean.exp(),
            freedom: f64::INFINITY,
        };
    }
    let half = trigamma_inverse(beyond);
    Usual {
        variance: (mean + digamma(half) - half.ln()).exp(),
        freedom: 2.0 * half,
    }
}

/// The derivative of digamma: by its recurrence up to where the asymptotic series holds. `x` above 0.
///
/// # Source
/// Abramowitz & Stegun (1964), 6.4.6 and 6.4.12; from 10 on the series is good to 1e-12.
fn trigamma(x: f64) -> f64 {
    let (mut x, mut sum) = (x, 0.0);
    while x < 10.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let y = 1.0 / (x * x);
    let tail =
        y * (1.0 / 6.0 - y * (1.0 / 30.0 - y * (1.0 / 42.0 - y * (1.0 / 30.0 - y * 5.0 / 66.0))));
    sum + 1.0 / x + y / 2.0 + tail / x
}

/// Where trigamma, which only falls, has the value `y` above 0: by halving between bounds that it cannot leave.
fn trigamma_inverse(y: f64) -> f64 {
    // Between 1/x and 1/x + 1/x^2 (from the series); so x lies between 1/y and 1/y + 1, and above 1/sqrt(y) for large y.
    let (mut low, mut high) = (
        (1.0 / y.sqrt()).min(1.0 / y) / 2.0,
        1.0 / y + 1.0 / y.sqrt() + 1.0,
    );
    for _ in 0..200 {
        let middle = (low + high) / 2.0;
        if trigamma(middle) > y {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

#[cfg(test)]
mod tests {
    use super::super::samples::Measured;
    use super::*;

    /// Published: Abramowitz & Stegun 6.4.2 and 6.4.4: trigamma(1) = pi^2/6, trigamma(1/2) = pi^2/2.
    #[test]
    fn trigamma_has_its_published_values() {
        let squared = std::f64::consts::PI.powi(2);
        for (x, wanted) in [
            (1.0, squared / 6.0),
            (0.5, squared / 2.0),
            (2.0, squared / 6.0 - 1.0),
        ] {
            assert!((trigamma(x) - wanted).abs() < 1e-11, "{x}");
            assert!((trigamma_inverse(wanted) - x).abs() < 1e-9, "{x}");
        }
        for x in [1e-3, 0.07, 3.3, 40.0, 9e3] {
            let back = trigamma_inverse(trigamma(x));
            assert!((back / x - 1.0).abs() < 1e-6, "{x}: {back}");
        }
    }

    /// Closed form: equal variances vary less than chance, so that what is usual is known for good; their mean
    /// logarithm is lifted by ln(d/2) - digamma(d/2), which is Euler's constant at d = 2.
    #[test]
    fn equal_variances_are_one() {
        let usual = fitted(&[(4.0, 2.0); 8]);
        assert!(usual.freedom.is_infinite());
        assert!((usual.variance / 4.0 - 0.577_215_664_9_f64.exp()).abs() < 1e-9);
    }

    /// Variances that differ more than chance are worth few degrees of freedom, the more they differ the fewer.
    #[test]
    fn unlike_variances_say_little() {
        let of = |factor: f64| {
            let variance = |at: i32| (factor.powi(at), 4.0);
            fitted(&(-4..=4).map(variance).collect::<Vec<_>>()).freedom
        };
        let (some, more) = (of(2.0), of(4.0));
        assert!(more < some && some < 20.0, "{some} {more}");
    }

    /// Closed form, by Pythagoras: 8 ms, a fifth of 120 ms, and 7 ms as stated are 26.2 ms together.
    #[test]
    fn single_passes_are_taken_to_differ() {
        let one = |value| {
            vec![Measured {
                value,
                sd: Some(7.0),
            }]
        };
        let mut samples = Samples {
            before: one(120.0),
            after: one(0.0),
        };
        let usual = Usual::assumed(&samples).expect("both sides");
        assert!((usual.variance - (64.0 + 576.0 + 49.0)).abs() < 1e-9);
        assert!(usual.freedom.is_infinite());
        samples.after.extend(one(2.0));
        assert_eq!(
            Usual::assumed(&samples).map(|usual| usual.freedom),
            Some(FREEDOM_MAX)
        );
        assert_eq!(Usual::learnt(&vec![samples.clone(); 4]), None);
        assert!(Usual::learnt(&vec![samples; 5]).is_some());
    }
}
