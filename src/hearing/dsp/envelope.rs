//! How the level of a note goes, and where natural decay turns into damping.
//!
//! The release model: a string left alone decays in a straight line in decibels, a damped one
//! falls in a steeper one, and both end in the floor. Where the one becomes the other is found by
//! trying every place.
//!
//! # Source
//! Two straight regimes with an unknown change between them: R. E. Quandt (1958), *The estimation
//! of the parameters of a linear regression system obeying two separate regimes*, J. Amer.
//! Statist. Assoc. 53, 873-880 (from memory). Departures: the second line starts where the first
//! is left and has one of ten slopes; errors are absolute and capped, so that a beat or a spike
//! does not decide; the level is taken over one period of the note, so that a low string's own
//! motion is no fall. Expected effect: damping within about half a period of the next onset is not
//! told from ringing up to it.

/// Work space of what follows, kept so that nothing is allocated while listening.
#[derive(Clone, Debug, Default)]
pub struct Work {
    sum: Vec<f64>,
    moment: Vec<f64>,
    lowest_from: Vec<f32>,
}

/// Mean level over one period (or any span), every `step` samples, in decibels.
///
/// Input:  `x`; value `i` is the mean square over `span` samples centred on `i * step`, cut at the
///         ends of `x`.
pub fn level_db(x: &[f32], span: usize, step: usize, work: &mut Work, out: &mut Vec<f32>) {
    out.clear();
    let half = (span / 2).max(1);
    let step = step.max(1);
    // A running sum in double precision: what is added is later taken away to the same digit of
    // an f32 square, so nothing drifts.
    let sums = &mut work.sum;
    sums.clear();
    let mut s = 0.0f64;
    sums.push(0.0);
    for v in x {
        s += f64::from(*v) * f64::from(*v);
        sums.push(s);
    }
    let mut i = 0;
    while i < x.len() {
        let (a, b) = (i.saturating_sub(half), (i + half).min(x.len()));
        let mean = (sums[b] - sums[a]).max(0.0) / (b - a) as f64;
        out.push((10.0 * (mean + 1e-14).log10()) as f32);
        i += step;
    }
}

/// A note's end as fitted to its level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Release {
    /// Where damping starts, in steps of the level trace (fractional).
    pub at: f64,
    /// One standard deviation of `at`, in steps, by how well the starts beside it fit.
    pub at_sd: f64,
    /// Decibels lost per step once damped.
    pub fall_per_step: f64,
    /// How far the level falls below the natural decay, in decibels.
    pub depth_db: f64,
}

/// Fall rates tried, as time constants of the amplitude in seconds (8.7 dB each).
const DAMPING_TAUS_S: [f64; 10] = [
    0.003, 0.0045, 0.006, 0.008, 0.0105, 0.0135, 0.017, 0.021, 0.026, 0.032,
];
/// Errors beyond this many decibels count no more: a beat or a noise spike must not decide.
const ERROR_CAP_DB: f64 = 6.0;
/// No damping where the level never comes this far under the natural decay.
pub const LEAST_DEPTH_DB: f64 = 8.0;

/// A straight line by least squares through the first `n` values, from running sums.
struct Line {
    offset: f64,
    slope: f64,
}

impl Line {
    fn at(&self, i: usize) -> f64 {
        self.offset + self.slope * i as f64
    }
}

/// Least-squares lines through every prefix of a trace, in constant time each.
struct PrefixLines<'a> {
    sum: &'a [f64],
    moment: &'a [f64],
}

impl<'a> PrefixLines<'a> {
    fn new(y: &[f32], sum: &'a mut Vec<f64>, moment: &'a mut Vec<f64>) -> Self {
        let (mut s, mut m) = (0.0, 0.0);
        for sums in [&mut *sum, &mut *moment] {
            sums.clear();
            sums.push(0.0);
        }
        for (i, v) in y.iter().enumerate() {
            s += f64::from(*v);
            m += f64::from(*v) * i as f64;
            sum.push(s);
            moment.push(m);
        }
        Self { sum, moment }
    }

    /// The line through values `0..n` with its slope held within `steepest..=0`.
    fn line(&self, n: usize, steepest: f64) -> Line {
        let count = n as f64;
        let mean_x = (count - 1.0) / 2.0;
        let mean_y = self.sum[n] / count;
        let spread = count * (count * count - 1.0) / 12.0;
        let slope = if n < 2 {
            0.0
        } else {
            (self.moment[n] - mean_x * self.sum[n]) / spread
        };
        let slope = slope.clamp(steepest, 0.0);
        Line {
            offset: mean_y - slope * mean_x,
            slope,
        }
    }
}

/// A string left alone loses at most this many decibels per second; what falls faster is damped.
/// Natural decay of bass strings is 3 to 60 dB/s, finger damping 300 to 1200 dB/s (algorithms of
/// the trade, from memory); dead spots reach about 100.
const STEEPEST_DECAY_DB_PER_S: f64 = 120.0;

/// Starts are tried this far apart first, in seconds; raising it may lose the best between two.
const COARSE_S: f64 = 0.006;
/// How far beside the best start others are looked at for its doubt, in seconds. Raising it costs
/// time; starts further away are said to be as good by next to no trace.
const DOUBT_REACH_S: f64 = 0.030;
/// Starts that are this many nats less likely than the best say nothing of its doubt.
const DOUBT_NATS: f64 = 7.0;
/// A trace is at best as straight as this, in decibels on the mean: the truth of a recorded string
/// is no straight line. Raising it widens the doubt of the clearest ends.
const LEAST_ERROR_DB: f64 = 0.3;

/// A trace of levels to which decay, damping and floor are fitted.
struct Trace<'a> {
    level: &'a [f32],
    /// Seconds from one value to the next.
    step_s: f64,
    floor_db: f64,
    lines: PrefixLines<'a>,
    /// Lowest value from each place to the end.
    lowest_from: &'a [f32],
}

impl Trace<'_> {
    /// How far value `i` lies off the model, in decibels, capped.
    fn error(&self, i: usize, model_db: f64) -> f64 {
        (f64::from(self.level[i]) - model_db)
            .abs()
            .min(ERROR_CAP_DB)
    }

    /// The natural decay up to `start`.
    fn decay(&self, start: usize) -> Line {
        let steepest = -STEEPEST_DECAY_DB_PER_S * self.step_s;
        self.lines.line(start, steepest)
    }

    /// The damping from `start` on that fits best, with the sum of the errors of every value, of
    /// which one of `every` is looked at; `None` where there is none below `dearest` or the level
    /// falls too little.
    fn damped_from(&self, start: usize, every: usize, dearest: f64) -> Option<(f64, Release)> {
        let n = self.level.len();
        let line = self.decay(start);
        // Depth at the lowest point, not below the floor's own level.
        let low = f64::from(self.lowest_from[start]);
        // Far below what is known of the floor the trace has its own.
        let floor_db = if low < self.floor_db - ERROR_CAP_DB {
            low
        } else {
            self.floor_db
        };
        if line.at(start) - low < LEAST_DEPTH_DB {
            return None;
        }
        let mut best = None;
        let mut dearest = dearest / every as f64;
        let mut before = 0.0;
        for i in (0..start).step_by(every) {
            before += self.error(i, line.at(i));
            if before >= dearest {
                return None;
            }
        }
        for tau in DAMPING_TAUS_S {
            let fall = 8.686 * self.step_s / tau;
            let mut cost = before;
            for i in (start..n).step_by(every) {
                let damped = line.at(start) - fall * (i - start) as f64;
                cost += self.error(i, damped.max(floor_db));
                // What is dearer than the best before its end will not be better at its end.
                if cost >= dearest {
                    break;
                }
            }
            if cost < dearest {
                dearest = cost;
                let last_line = line.at(n - 1).max(line.at(start) - 30.0);
                best = Some((
                    cost * every as f64,
                    Release {
                        at: start as f64,
                        at_sd: 0.0,
                        fall_per_step: fall,
                        depth_db: last_line - low,
                    },
                ));
            }
        }
        best
    }

    /// The best of some starts.
    fn best(&self, starts: impl Iterator<Item = usize>, every: usize) -> Option<(f64, Release)> {
        let mut best: Option<(f64, Release)> = None;
        for start in starts {
            let dearest = best.map_or(f64::INFINITY, |(cost, _)| cost);
            best = self.damped_from(start, every, dearest).or(best);
        }
        best
    }

    /// One standard deviation of the start `at`, in steps: how likely the starts beside it are by
    /// their errors, which are taken to be spread as Laplace has it (1774), whose likelihood goes
    /// with the sum of their sizes. Values within one span of the level are one value seen again.
    fn doubt(&self, at: usize, cost: f64, span_s: f64) -> f64 {
        let n = self.level.len();
        let reach = (DOUBT_REACH_S / self.step_s) as usize;
        let error_db = (cost / n as f64).max(LEAST_ERROR_DB);
        let again = (span_s / self.step_s).max(1.0);
        let nat = error_db * again;
        let (mut sum, mut squares) = (0.0, 0.0);
        for start in at.saturating_sub(reach).max(FIRST_START)..(at + reach + 1).min(n) {
            let dearest = cost + DOUBT_NATS * nat;
            if let Some((dear, _)) = self.damped_from(start, 1, dearest) {
                let likely = (-(dear - cost) / nat).exp();
                sum += likely;
                squares += likely * (start as f64 - at as f64).powi(2);
            }
        }
        // A start lies anywhere within its step.
        (squares / f64::max(sum, 1.0) + 1.0 / 12.0).sqrt()
    }
}

/// A decay is told by three values at least.
const FIRST_START: usize = 3;

/// Where the level leaves the natural decay for a much steeper fall that lasts to the end of the
/// trace (or down to `floor_db`).
///
/// Input:  `level` in decibels from the end of the attack to just before the next onset,
///         `step_s` seconds apart, each over `span_s` seconds; `floor_db` is the take's quiet level, as
///         far as it is known: where the trace falls far lower, that is the floor.
/// Output: `None` when the note was not damped.
///
/// The model is a straight decay, then an exponential damping (straight in decibels, steeper),
/// then the floor; start and steepness are found by trying them, first every few steps, then
/// every step around the best.
pub fn release(
    level: &[f32],
    (step_s, span_s): (f64, f64),
    floor_db: f64,
    work: &mut Work,
) -> Option<Release> {
    let n = level.len();
    if n < 2 * FIRST_START {
        return None;
    }
    let Work {
        sum,
        moment,
        lowest_from,
    } = work;
    lowest_from.clear();
    lowest_from.extend_from_slice(level);
    for i in (0..n - 1).rev() {
        lowest_from[i] = lowest_from[i].min(lowest_from[i + 1]);
    }
    let trace = Trace {
        level,
        step_s,
        floor_db,
        lines: PrefixLines::new(level, sum, moment),
        lowest_from,
    };
    let coarse = ((COARSE_S / step_s) as usize).max(1);
    let (_, around) = trace.best((FIRST_START..n).step_by(coarse), 2)?;
    let at = around.at as usize;
    let near = at.saturating_sub(2 * coarse).max(FIRST_START)..(at + 2 * coarse + 1).min(n);
    let (cost, found) = trace.best(near, 1)?;
    if found.depth_db < LEAST_DEPTH_DB {
        return None;
    }
    // Against no damping at all: the straight line through everything.
    let whole = trace.decay(n);
    let plain: f64 = (0..n).map(|i| trace.error(i, whole.at(i))).sum();
    (cost < plain).then(|| Release {
        at_sd: trace.doubt(found.at as usize, cost, span_s),
        ..found
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values of the trace 2 ms apart, damped from the 150th on, over ripples of some decibels.
    fn rippled(ripple_db: f64) -> Vec<f32> {
        (0..200)
            .map(|i| {
                let t = f64::from(i) * 0.002;
                let damped = 8.686 * (t - 0.300).max(0.0) / 0.0105;
                let ripple = ripple_db * ((t * 217.0).sin() + (t * 691.0).sin());
                (-20.0 - 10.0 * t - damped + ripple).max(-75.0) as f32
            })
            .collect()
    }

    fn doubt(ripple_db: f64, span_s: f64) -> f64 {
        let level = rippled(ripple_db);
        let found = release(&level, (0.002, span_s), -75.0, &mut Work::default());
        let found = found.expect("an end");
        assert!((found.at - 150.0).abs() < 3.0 * found.at_sd, "{found:?}");
        found.at_sd
    }

    /// The rougher the trace, and the longer each of its values looks, the less is known of its end;
    /// never less than within a step.
    #[test]
    fn a_rough_trace_leaves_its_end_in_doubt() {
        let at_010 = [0.1, 0.5, 1.0, 2.0].map(|ripple_db| doubt(ripple_db, 0.010));
        assert!(
            at_010.is_sorted() && at_010[3] > 1.5 * at_010[0],
            "{at_010:?}"
        );
        let at_1 = [0.004, 0.010, 0.024].map(|span_s| doubt(1.0, span_s));
        assert!(at_1.is_sorted() && at_1[2] > 1.2 * at_1[0], "{at_1:?}");
        assert!(at_010[0] >= (1.0f64 / 12.0).sqrt(), "{at_010:?}");
    }
}
