//! What is done with the channels, and which of them do not move.
//!
//! No paper: the limits were set on made-up files and stand beside each.

/// Mean square from which a window sounds: −60 dBFS, above the hiss of common sound cards and
/// below a softly played note.
const SOUNDING_POWER: f64 = 1e-6;

/// Least power of a soft window, so that silence can be divided by: −120 dBFS.
const LEAST_POWER: f64 = 1e-12;

/// A channel does not move when its loud windows (of ten the one but loudest) lie within 4 dB of its soft ones
/// (the one but softest of ten): steady noise and hum sway by less. A ratio of powers; raised, more is hum.
const STEADY_RATIO: f64 = 2.5;

/// A channel moves as notes do when the same windows lie 12 dB and more apart: they rise and die away. A ratio
/// of powers; raised, fewer steady channels are left out.
const MOVING_RATIO: f64 = 15.8;

/// What is done with the channels.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Plan {
    /// The mean of all.
    All,
    /// The mean of these.
    Some(Vec<usize>),
    /// Just this one.
    One(usize),
    /// The sum of these: one that fell silent, and what took its place.
    Sum(Vec<usize>),
}

impl Plan {
    pub(super) fn uses(&self, channel: usize) -> bool {
        match self {
            Self::All => true,
            Self::Some(which) | Self::Sum(which) => which.contains(&channel),
            Self::One(one) => *one == channel,
        }
    }
}

/// What a window of 50 ms holds.
#[derive(Clone, Debug)]
pub(super) struct Window {
    /// Power of each channel, the mean taken out.
    pub(super) power: Vec<f64>,
    /// Power of the sum of the channels that the plan uses.
    pub(super) sum_power: f64,
}

impl Window {
    /// The powers of whole interleaved frames. The mean of each channel is taken out, for an offset is no
    /// sound.
    pub(super) fn of(samples: &[f32], channels: usize, plan: Option<&Plan>) -> Self {
        let n = (samples.len() / channels).max(1) as f64;
        let uses: Vec<bool> = (0..channels)
            .map(|channel| plan.is_none_or(|plan| plan.uses(channel)))
            .collect();
        let mut sums = vec![(0.0f64, 0.0f64); channels];
        let (mut all, mut all_squared) = (0.0f64, 0.0f64);
        for frame in samples.chunks_exact(channels) {
            let mut sum = 0.0;
            for ((x, (mean, square)), used) in frame.iter().zip(&mut sums).zip(&uses) {
                let x = f64::from(*x);
                *mean += x;
                *square += x * x;
                sum += if *used { x } else { 0.0 };
            }
            all += sum;
            all_squared += sum * sum;
        }
        let power = |sum: f64, squared: f64| (squared / n - (sum / n) * (sum / n)).max(0.0);
        let of = |&(sum, squared): &(f64, f64)| power(sum, squared);
        Self {
            power: sums.iter().map(of).collect(),
            sum_power: power(all, all_squared),
        }
    }

    pub(super) fn sounds(&self) -> bool {
        self.power.iter().any(|power| *power >= SOUNDING_POWER)
    }
}

/// From the loud windows of each channel (of ten the one but loudest) to its soft ones, as ratios of powers.
fn sways(windows: &[Vec<f64>], channels: &[usize]) -> Vec<(usize, f64)> {
    let tenth = windows.len() / 10;
    let sway = |&channel: &usize| {
        let mut powers: Vec<f64> = windows.iter().map(|w| w[channel]).collect();
        powers.sort_by(f64::total_cmp);
        let at = |k: usize| powers.get(k).copied().unwrap_or(0.0).max(LEAST_POWER);
        (
            channel,
            at(powers.len().saturating_sub(1 + tenth)) / at(tenth),
        )
    };
    channels.iter().map(sway).collect()
}

/// Whether notes come and go in one of these channels.
pub(super) fn moves(windows: &[Vec<f64>], channels: &[usize]) -> bool {
    let sways = sways(windows, channels);
    sways.iter().any(|(_, ratio)| *ratio >= MOVING_RATIO)
}

/// Channels that do not move while another one does: hum or hiss alone.
pub(super) fn steady(windows: &[Vec<f64>], channels: &[usize]) -> Vec<usize> {
    if !moves(windows, channels) {
        return Vec::new();
    }
    let sways = sways(windows, channels);
    let still = sways.iter().filter(|(_, ratio)| *ratio < STEADY_RATIO);
    still.map(|(channel, _)| *channel).collect()
}

/// Appends the frames as the plan has it.
pub(super) fn mix_by(plan: &Plan, channels: usize, interleaved: &[f32], mono: &mut Vec<f32>) {
    match (plan, channels) {
        (Plan::All, 1) => mono.extend_from_slice(interleaved),
        (Plan::All, 2) => {
            mono.extend(interleaved.as_chunks().0.iter().map(|[l, r]| (l + r) * 0.5));
        }
        (Plan::All, _) => {
            let scale = 1.0 / channels as f32;
            mono.extend(
                interleaved
                    .chunks_exact(channels)
                    .map(|f| f.iter().sum::<f32>() * scale),
            );
        }
        (Plan::Some(which), _) => {
            let scale = 1.0 / which.len() as f32;
            mono.extend(
                interleaved
                    .chunks_exact(channels)
                    .map(|f| which.iter().map(|c| f[*c]).sum::<f32>() * scale),
            );
        }
        (Plan::Sum(which), _) => {
            let sum = |frame: &[f32]| which.iter().map(|c| frame[*c]).sum::<f32>();
            mono.extend(interleaved.chunks_exact(channels).map(sum));
        }
        (Plan::One(channel), _) => {
            mono.extend(interleaved.chunks_exact(channels).map(|f| f[*channel]));
        }
    }
}
