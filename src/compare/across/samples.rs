//! What is put beside each other: the numbers of one matter at one place, one for each pass, on either side.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::usual::Usual;

/// A number measured in one pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The number.
    pub value: f64,
    /// One standard deviation of it as it was stated; `None` where nothing was.
    pub sd: Option<f64>,
}

/// The numbers of one matter at one place: in the earlier passes and in the later ones, each in order of time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Samples {
    /// Earlier.
    pub before: Vec<Measured>,
    /// Later.
    pub after: Vec<Measured>,
}

/// What is known of one side: how many numbers, their mean, how they vary, and how well each is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Group {
    pub count: usize,
    pub mean: f64,
    /// Variance from pass to pass, unbiased; 0 of a single number.
    pub variance: f64,
    /// Mean of the squared stated standard deviations; `None` where one was not stated.
    pub stated: Option<f64>,
}

impl Group {
    /// Of some numbers; `None` of none.
    pub fn of(measured: &[Measured]) -> Option<Self> {
        let count = measured.len();
        if count == 0 {
            return None;
        }
        let n = count as f64;
        let mean = measured.iter().map(|m| m.value).sum::<f64>() / n;
        let squares: f64 = measured.iter().map(|m| (m.value - mean).powi(2)).sum();
        let stated: Option<f64> = measured.iter().map(|m| m.sd.map(|sd| sd * sd)).sum();
        Some(Self {
            count,
            mean,
            variance: if count > 1 { squares / (n - 1.0) } else { 0.0 },
            stated: stated.map(|sum| sum / n),
        })
    }

    /// Degrees of freedom of its variance.
    pub fn freedom(&self) -> f64 {
        (self.count - 1) as f64
    }

    /// Its variance, never less than what the stated uncertainties alone make of it.
    pub fn variance_at_least(&self) -> f64 {
        self.variance.max(self.stated.unwrap_or(0.0))
    }

    /// Its variance with what is usual taken in, and the degrees of freedom of that; `None` where neither
    /// passes, nor what is usual, nor stated uncertainties say how far the number is in doubt.
    fn moderated(&self, usual: Option<Usual>) -> Option<(f64, f64)> {
        let own = self.freedom();
        let (variance, freedom) = match usual {
            Some(usual) if usual.freedom.is_infinite() => (usual.variance, f64::INFINITY),
            Some(usual) => {
                let all = usual.freedom + own;
                let sum = usual.freedom * usual.variance + own * self.variance;
                (sum / all, all)
            }
            None if own > 0.0 => (self.variance, own),
            // A single number: as well known as it was stated.
            None => (self.stated?, f64::INFINITY),
        };
        Some((variance.max(self.stated.unwrap_or(0.0)), freedom))
    }
}

/// How far two sides lie apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Apart {
    /// Mean after less mean before.
    pub change: f64,
    /// One standard deviation of `change`.
    pub sd: f64,
    /// Degrees of freedom of `sd`; infinite where it is known.
    pub freedom: f64,
    /// Variance of a single pass on either side.
    pub variances: (f64, f64),
}

impl Samples {
    /// How far both sides lie apart; `None` where one is empty or its doubt is not known.
    ///
    /// # Source
    /// Welch (1947), Biometrika 34, 28-35, each side with a variance of its own. Each variance is drawn towards
    /// what is usual as in Smyth (2004), Stat. Appl. Genet. Mol. Biol. 3(1) art. 3, eq. for the posterior
    /// variance. Departures: no variance lies below what was stated of the numbers.
    pub(super) fn apart(&self, usual: Option<Usual>) -> Option<Apart> {
        let (before, after) = (Group::of(&self.before)?, Group::of(&self.after)?);
        let (a, a_freedom) = before.moderated(usual)?;
        let (b, b_freedom) = after.moderated(usual)?;
        let (of_a, of_b) = (a / before.count as f64, b / after.count as f64);
        let square = of_a + of_b;
        let freedom = square * square / (of_a * of_a / a_freedom + of_b * of_b / b_freedom);
        Some(Apart {
            change: after.mean - before.mean,
            sd: square.sqrt(),
            // Of no variance at all the quotient is no number.
            freedom: if freedom.is_nan() {
                f64::INFINITY
            } else {
                freedom
            },
            variances: (a, b),
        })
    }
}

impl Apart {
    /// How likely such a distance or a larger one is where nothing has changed, two-sided; `None` where there is
    /// no doubt at all to hold it against.
    pub fn p(&self) -> Option<f64> {
        if self.sd > 0.0 {
            Some(2.0 * (1.0 - t_below(self.change.abs() / self.sd, self.freedom)))
        } else {
            (self.change == 0.0).then_some(1.0)
        }
    }

    /// Half the interval that holds the true change with 90 % probability.
    pub fn half_90(&self) -> f64 {
        self.sd * t_quantile(0.95, self.freedom)
    }
}

/// Beyond this Student's t is taken as the normal distribution: their quantiles differ by less than 1e-5.
const NORMAL_FROM: f64 = 1e5;

fn student(freedom: f64) -> StudentsT {
    // Location 0, scale 1 and freedom above 0 are always accepted.
    StudentsT::new(0.0, 1.0, freedom.clamp(0.1, NORMAL_FROM)).expect("a t distribution")
}

fn t_below(t: f64, freedom: f64) -> f64 {
    student(freedom).cdf(t)
}

/// The quantile of Student's t.
pub(super) fn t_quantile(share: f64, freedom: f64) -> f64 {
    student(freedom).inverse_cdf(share)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn samples(before: &[f64], after: &[f64]) -> Samples {
        let of = |values: &[f64]| {
            let plain = |&value| Measured { value, sd: None };
            values.iter().map(plain).collect()
        };
        Samples {
            before: of(before),
            after: of(after),
        }
    }

    /// Published: critical values of Student's t, two-sided 5 % (any handbook, as NIST/SEMATECH e-Handbook
    /// 1.3.6.7.2): 12.706, 2.571, 2.228, 2.042 at 1, 5, 10, 30 degrees of freedom, 1.960 at infinity.
    #[test]
    fn t_has_the_published_quantiles() {
        for (freedom, critical) in [
            (1.0, 12.706),
            (5.0, 2.571),
            (10.0, 2.228),
            (30.0, 2.042),
            (f64::INFINITY, 1.960),
        ] {
            let t = t_quantile(0.975, freedom);
            assert!((t - critical).abs() < 6e-4, "{freedom}: {t}");
            let apart = Apart {
                change: -critical,
                sd: 1.0,
                freedom,
                variances: (1.0, 1.0),
            };
            let p = apart.p().expect("a p");
            assert!((p - 0.05).abs() < 1e-4, "{freedom}: {p}");
        }
    }

    /// Closed form by hand: means 3 and 7, variances 1 and 4, three numbers each: a squared doubt of 5/3, and
    /// degrees of freedom of (5/3)^2 / ((1/3)^2/2 + (4/3)^2/2) = 50/17.
    #[test]
    fn welch_by_hand() {
        let apart = samples(&[2.0, 3.0, 4.0], &[5.0, 7.0, 9.0])
            .apart(None)
            .expect("two sides");
        assert!((apart.change - 4.0).abs() < 1e-12);
        assert!((apart.sd - (5f64 / 3.0).sqrt()).abs() < 1e-12);
        assert!((apart.freedom - 50.0 / 17.0).abs() < 1e-12);
    }

    /// Closed form: with as many degrees of freedom in what is usual as of its own, a variance lies half way.
    #[test]
    fn variances_are_drawn_towards_the_usual_one() {
        let usual = Usual {
            variance: 9.0,
            freedom: 2.0,
        };
        let apart = samples(&[2.0, 3.0, 4.0], &[5.0, 7.0, 9.0])
            .apart(Some(usual))
            .expect("two sides");
        assert_eq!(apart.variances, (5.0, 6.5));
    }

    /// One pass each: the stated uncertainties alone, by Pythagoras.
    #[test]
    fn single_numbers_are_as_good_as_stated() {
        let one = |value, sd| vec![Measured { value, sd }];
        let pair = |sd| Samples {
            before: one(100.0, sd),
            after: one(90.0, Some(4.0)),
        };
        let apart = pair(Some(3.0)).apart(None).expect("both stated");
        assert!((apart.sd - 5.0).abs() < 1e-12 && apart.freedom.is_infinite());
        // Published: two standard deviations of a normal distribution leave 4.55 % outside.
        assert!((apart.p().expect("a p") - 0.0455).abs() < 1e-4);
        assert_eq!(pair(None).apart(None), None);
        assert_eq!(Samples::default().apart(None), None);
    }
}
