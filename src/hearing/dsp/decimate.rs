//! Decimation by a whole number, with linear phase: only the outputs that are kept are computed.
//!
//! # Source
//! The filter is that of `dsp::low_pass`.

use super::low_pass::{low_pass_taps, taps_at};

/// A linear-phase low-pass that keeps every `factor`-th sample.
///
/// Output sample `m` is centred on input sample `m * factor`: the filter's delay is taken out of
/// the numbering, so a place in the output is a place in the input. It only becomes available
/// [`Decimator::latency_frames`] input frames later.
///
/// The input is dealt out to as many lines as `factor`, so that the outputs lie side by side and
/// are summed many at a time, and taps that are zero (every `factor`-th, where the transition lies
/// about half of the output's rate) are left out. Each output is the same sum in the same order,
/// however many are made at a time.
#[derive(Clone, Debug)]
pub struct Decimator {
    half: usize,
    factor: usize,
    lines: Vec<PhaseLine>,
    /// The line that the next input goes to.
    next: usize,
    /// Inputs still to come before the next output.
    wait: usize,
}

/// Every `factor`-th input, and the taps that fall on these.
#[derive(Clone, Debug)]
struct PhaseLine {
    taps: Vec<f32>,
    /// What was dealt out, from the first that the next output needs.
    samples: Vec<f32>,
}

/// Outputs that are made at a time. Raised, more of what is made at the end of a run is thrown
/// away.
const LANES: usize = 16;
/// Outputs that are made at a time where no more than this are left.
const FEW_LANES: usize = 8;

/// Deals samples out to `F` lines, the first one to the first.
fn deal<const F: usize>(inputs: &[f32], lines: &mut [PhaseLine]) {
    let (rounds, rest) = inputs.as_chunks::<F>();
    for (phase, line) in lines.iter_mut().enumerate() {
        line.samples.extend(rounds.iter().map(|round| round[phase]));
        line.samples.extend(rest.get(phase));
    }
}

/// Taps smaller than this are the sinc's zeros.
const ZERO_TAP: f32 = 1e-9;
/// Inputs that a decimator has room for at a time.
pub const RUN_FRAMES: usize = 1024;

impl Decimator {
    /// A decimator by `factor` (1 or more) with the transition from `pass` to `stop`, both as
    /// fractions of the input rate. A factor of 1 still filters.
    pub fn new(factor: usize, pass: f64, stop: f64) -> Self {
        let taps = low_pass_taps(pass, stop);
        let factor = factor.max(1);
        let half = taps.len() / 2;
        // Output m sums the taps over the inputs m * factor - half to m * factor + half.
        let lines = (0..factor)
            .map(|phase| {
                let first = (phase + half) % factor;
                let mut own: Vec<f32> = taps[first..].iter().step_by(factor).copied().collect();
                // Places of the line before the output's own: there is silence at first.
                let mut before = (half - first + phase) / factor;
                while own.first().is_some_and(|t| t.abs() < ZERO_TAP) {
                    own.remove(0);
                    before -= 1;
                }
                while own.last().is_some_and(|t| t.abs() < ZERO_TAP) {
                    own.pop();
                }
                let mut samples = Vec::with_capacity(taps.len() + RUN_FRAMES + LANES);
                samples.resize(before, 0.0);
                PhaseLine { taps: own, samples }
            })
            .collect();
        Self {
            half,
            factor,
            lines,
            next: 0,
            wait: half + 1,
        }
    }

    /// How many input frames after its own place an output becomes available.
    pub fn latency_frames(&self) -> usize {
        self.half
    }

    /// How many inputs still have to come for `outputs` more outputs, 1 or more.
    pub fn inputs_for(&self, outputs: usize) -> usize {
        self.wait + outputs.saturating_sub(1) * self.factor
    }

    /// Takes the next inputs and appends the outputs that became available to `out`.
    ///
    /// Memory: no allocation for up to [`RUN_FRAMES`] inputs at a time where `out` has room.
    pub fn run(&mut self, inputs: &[f32], out: &mut Vec<f32>) {
        // Up to a whole round one by one, then many at a time.
        let lead = ((self.factor - self.next) % self.factor).min(inputs.len());
        let (first, even) = inputs.split_at(lead);
        for (line, sample) in self.lines[self.next..].iter_mut().zip(first) {
            line.samples.push(*sample);
        }
        match self.factor {
            1 => self.lines[0].samples.extend_from_slice(even),
            2 => deal::<2>(even, &mut self.lines),
            4 => deal::<4>(even, &mut self.lines),
            factor => {
                for (phase, line) in self.lines.iter_mut().enumerate() {
                    let own = even.get(phase..).unwrap_or_default();
                    line.samples.extend(own.iter().step_by(factor));
                }
            }
        }
        self.next = (self.next + inputs.len()) % self.factor;
        if inputs.len() < self.wait {
            self.wait -= inputs.len();
            return;
        }
        let count = 1 + (inputs.len() - self.wait) / self.factor;
        self.wait = self.wait + count * self.factor - inputs.len();
        // Room for outputs that nobody asks for.
        for line in &mut self.lines {
            line.samples.resize(line.samples.len() + LANES, 0.0);
        }
        let mut at = 0;
        while at < count {
            let left = count - at;
            if left > FEW_LANES {
                out.extend_from_slice(&self.outputs::<LANES>(at)[..left.min(LANES)]);
                at += LANES;
            } else {
                out.extend_from_slice(&self.outputs::<FEW_LANES>(at)[..left]);
                at += FEW_LANES;
            }
        }
        for line in &mut self.lines {
            let kept = line.samples.len() - LANES - count;
            line.samples.copy_within(count..count + kept, 0);
            line.samples.truncate(kept);
        }
    }

    /// `N` neighbouring outputs from the `at`-th that is not yet made.
    #[inline(always)]
    fn outputs<const N: usize>(&self, at: usize) -> [f32; N] {
        let mut acc = [0.0; N];
        for line in &self.lines {
            taps_at(&line.samples[at..], &line.taps, &mut acc);
        }
        acc
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::dsp::low_pass::tests::noise;

    /// An impulse at input 1000 must come out centred on output 1000 / factor.
    #[test]
    fn keeps_time() {
        let mut d = Decimator::new(4, 0.08, 0.16);
        let mut input = vec![0.0; 2000];
        input[1000] = 1.0;
        let mut out = Vec::new();
        d.run(&input, &mut out);
        let top = (0..out.len())
            .max_by(|a, b| out[*a].total_cmp(&out[*b]))
            .unwrap();
        assert_eq!(top, 250);
        assert!((out[249] - out[251]).abs() < 1e-6);
    }

    /// Slow reference: the convolution written out in double precision; and every cut of the input
    /// gives the same bits.
    #[test]
    fn decimates_as_the_convolution_does_and_however_it_is_cut() {
        let x = noise(1500);
        for factor in [1usize, 2, 3, 4, 9] {
            for skew in [0.0, 0.03] {
                let (pass, stop) = ((0.4 + skew) / factor as f64, 0.6 / factor as f64);
                let (pass, stop) = (pass.min(0.3), stop.min(0.49));
                let taps = low_pass_taps(pass, stop);
                let half = taps.len() / 2;
                let mut whole = Vec::new();
                Decimator::new(factor, pass, stop).run(&x, &mut whole);
                assert_eq!(whole.len(), (x.len() - half).div_ceil(factor));
                for (m, got) in whole.iter().enumerate() {
                    let want: f64 = taps
                        .iter()
                        .enumerate()
                        .filter_map(|(k, t)| {
                            let at = (m * factor + k).checked_sub(half)?;
                            Some(f64::from(*t) * f64::from(*x.get(at)?))
                        })
                        .sum();
                    assert!((f64::from(*got) - want).abs() < 2e-6, "{factor} {m}");
                }
                for cut in [1usize, 5, 64, 333] {
                    let mut d = Decimator::new(factor, pass, stop);
                    let mut parts = Vec::new();
                    for block in x.chunks(cut) {
                        let due = d.inputs_for(1) <= block.len();
                        let before = parts.len();
                        d.run(block, &mut parts);
                        assert_eq!(due, parts.len() > before);
                    }
                    assert_eq!(parts, whole, "{factor} cut to {cut}");
                }
            }
        }
    }
}
