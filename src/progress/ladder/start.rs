//! The tempo to start with: where most passes come out clean, as far as the record tells.
//!
//! # How
//! That a pass at a tempo comes out clean is as likely as a logistic curve over the logarithm of the tempo
//! says: one half at the player's limit, less above, more below. Neither the limit nor how steeply the
//! curve falls is known; both are weighed on a grid of curves, each as likely as it was
//! beforehand times what it says of the passes in the record (Bayes' rule). The mean of all curves says how
//! likely a clean pass is at a tempo; it falls with the tempo, and the start is where it comes down to the
//! wanted share. So a short record gives a careful start, and a long one comes to the player's own curve.
//!
//! # Source
//! Logistic curves with Bayes' rule over a grid are the usual way to find a threshold from few trials
//! (Kontsevich & Tyler 1999, Vision Res. 39:2729). That 80 to 90 % of passes should come out clean is common
//! practice; that faulty passes foretell what is kept overnight is Duke, Simmons & Cash (2009, J. Res. Music
//! Educ. 56:310).

use super::LadderMarks;

/// A pass that was played to its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tried {
    /// Its tempo, relative to the written one.
    pub share: f64,
    /// It was clean.
    pub clean: bool,
}

/// Share of passes that are to come out clean at the start: the middle of 80 to 90 %. Raising it
/// starts slower.
const WANTED: f64 = 0.85;

/// Limit of a player of whom nothing is known, relative to the written tempo. Raising it starts
/// faster: as it is, a line never played starts at some 65 %. Common practice, no source.
const USUAL_LIMIT: f64 = 0.9;

/// How far limits lie from the usual one, as one standard deviation of the logarithm: a third
/// faster or slower. Raising it believes the record sooner. Common practice, no source.
const LIMIT_SPREAD: f64 = 0.3;

/// How steep curves can be: the change of the logarithm of the tempo that takes one half to 73 %. The
/// slowest fall lets a player be clean nine times in ten 30 % below the limit. Chosen; a larger one
/// starts slower.
const WIDTHS: [f64; 4] = [0.03, 0.06, 0.1, 0.16];

/// Passes after which an earlier one counts half: players get better. Raising it remembers longer.
/// Common practice, no source.
const HALF_AFTER: f64 = 20.0;

/// Limits on the grid, over three standard deviations either way. Raising it is finer and slower.
const LIMITS: usize = 61;

/// One curve and how likely it is.
struct Curve {
    limit: f64,
    width: f64,
    weight: f64,
}

impl Curve {
    /// How likely a clean pass is at the logarithm of a tempo.
    fn clean(&self, log_share: f64) -> f64 {
        1.0 / (1.0 + ((log_share - self.limit) / self.width).exp())
    }
}

/// The tempo to start with, relative to the written one, at which 85 % of passes come out clean as far as
/// the record tells. `record` holds passes with the oldest first; those whose share is no number above 0
/// are left out. Between the slowest and the target tempo of `marks`. Never fails.
pub fn start_share(record: &[Tried], marks: &LadderMarks) -> f64 {
    let curves = curves(record);
    let clean = |share: f64| -> f64 {
        (curves.iter())
            .map(|curve| curve.weight * curve.clean(share.ln()))
            .sum()
    };
    let (mut slow, mut fast) = (marks.floor_share, marks.target_share);
    if clean(fast) >= WANTED {
        return fast;
    }
    // Halved until it is finer than any click can be set.
    for _ in 0..30 {
        let middle = (slow + fast) / 2.0;
        if clean(middle) >= WANTED {
            slow = middle;
        } else {
            fast = middle;
        }
    }
    slow
}

/// All curves with how likely they are after the record; the weights add up to 1.
fn curves(record: &[Tried]) -> Vec<Curve> {
    let usable: Vec<(f64, bool)> = (record.iter())
        .filter(|tried| tried.share.is_finite() && tried.share > 0.0)
        .map(|tried| (tried.share.ln(), tried.clean))
        .collect();
    let mut curves: Vec<Curve> = Vec::with_capacity(LIMITS * WIDTHS.len());
    for at in 0..LIMITS {
        let off = 6.0 * at as f64 / (LIMITS - 1) as f64 - 3.0;
        for width in WIDTHS {
            let mut curve = Curve {
                limit: USUAL_LIMIT.ln() + LIMIT_SPREAD * off,
                width,
                weight: 0.0,
            };
            let told: f64 = (usable.iter().rev().enumerate())
                .map(|(back, &(log_share, clean))| {
                    let likely = curve.clean(log_share);
                    let likely = if clean { likely } else { 1.0 - likely };
                    // A slip of one in a hundred passes has nothing to do with the tempo.
                    0.5_f64.powf(back as f64 / HALF_AFTER) * (0.01 + 0.98 * likely).ln()
                })
                .sum();
            curve.weight = told - off * off / 2.0;
            curves.push(curve);
        }
    }
    let most = (curves.iter())
        .map(|curve| curve.weight)
        .fold(f64::MIN, f64::max);
    for curve in &mut curves {
        curve.weight = (curve.weight - most).exp();
    }
    let sum: f64 = curves.iter().map(|curve| curve.weight).sum();
    for curve in &mut curves {
        curve.weight /= sum;
    }
    curves
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn tried(share: f64, clean: bool, count: usize) -> Vec<Tried> {
        vec![Tried { share, clean }; count]
    }

    fn start(record: &[Tried]) -> f64 {
        start_share(record, &LadderMarks::default())
    }

    #[test]
    fn nothing_known_is_a_careful_start() {
        let share = start(&[]);
        assert!((0.6..0.7).contains(&share), "{share}");
    }

    #[test]
    fn a_record_moves_the_start() {
        assert_eq!(start(&tried(1.0, true, 20)), 1.0);
        let slow = start(&tried(0.6, false, 10));
        assert!((0.3..0.5).contains(&slow), "{slow}");
        // The player got better: what came last counts most.
        let mut better = tried(0.7, false, 20);
        better.extend(tried(0.7, true, 20));
        let mut worse = tried(0.7, true, 20);
        worse.extend(tried(0.7, false, 20));
        assert!(start(&better) > start(&worse) + 0.05);
    }

    /// Against players whose curve is known (closed form): tried at tempos all over, in the numbers the
    /// curve gives, the start lies where their own curve says 80 to 90 %.
    #[test]
    fn a_known_player_comes_out_clean_as_often_as_wanted() {
        for limit in [0.6, 0.8, 1.0] {
            for width in [0.05, 0.1] {
                let curve = |share: f64| 1.0 / (1.0 + ((share / limit).ln() / width).exp());
                let mut record = Vec::new();
                for round in 0..20 {
                    for at in 0..9 {
                        let share = limit * (0.7 + 0.06 * f64::from(at));
                        let before = (curve(share) * f64::from(round)).floor();
                        let after = (curve(share) * f64::from(round + 1)).floor();
                        record.push(Tried {
                            share,
                            clean: after > before,
                        });
                    }
                }
                let marks = LadderMarks {
                    target_share: 2.0,
                    ..LadderMarks::default()
                };
                let clean = curve(start_share(&record, &marks));
                assert!((0.8..=0.9).contains(&clean), "{limit} {width} {clean}");
            }
        }
    }

    proptest! {
        /// Whatever the record holds: between the slowest and the target tempo, and one more clean pass
        /// never makes the start slower, one more faulty pass never faster.
        #[test]
        fn any_record_gives_a_tempo_of_the_ladder(
            record in prop::collection::vec(
                (prop_oneof![0.2..1.5_f64, Just(f64::NAN), Just(-1.0), Just(f64::INFINITY), Just(1e300)],
                 any::<bool>()), 0..60),
            next in 0.3..1.2_f64,
        ) {
            let mut record: Vec<Tried> = record.into_iter()
                .map(|(share, clean)| Tried { share, clean }).collect();
            let share = start(&record);
            prop_assert!((0.3..=1.0).contains(&share));
            record.push(Tried { share: next, clean: true });
            let clean = start(&record);
            if let Some(last) = record.last_mut() {
                last.clean = false;
            }
            prop_assert!(start(&record) <= clean + 1e-6);
        }
    }
}
