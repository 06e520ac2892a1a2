//! How long the way is from a click to where it is heard: measured by a loop cable or a microphone.

use std::time::{Duration, Instant};

use crate::session::live::band::Output;
use crate::session::live::input::Input;
use crate::sound::SoundError;
use crate::sound::block::Delivery;
use crate::sound::click::{Weight, add_click, click_frames};
use crate::units::{SPREAD_OF_MEDIAN, SampleRate};

/// Clicks that are played.
pub const CLICKS: usize = 12;
/// From one click to the next, in seconds: longer than a click is looked for. Raised, measuring
/// takes longer.
const APART_S: f64 = 0.7;
/// Every second click comes sooner by this, in seconds, so that an echo is never taken for the
/// next one. Raised beyond 0.2, the search for a click reaches into the next one.
const UNEVEN_S: f64 = 0.11;
/// A click is looked for up to this long after it was played, in seconds.
const LONGEST_S: f64 = 0.5;
/// Before the first click, in seconds: both clocks must have settled.
const LEAD_S: f64 = 3.2;
/// Clicks that must have been found for the round trip to be believed. Raised, one that is missed
/// spoils the measurement.
const FOUND_MIN: usize = CLICKS * 3 / 4;
/// Clicks must agree within this, in seconds, to be believed.
const SPREAD_MAX_S: f64 = 0.010;
/// The likeness to a click must stand out this far from what else is like one.
const STANDS_OUT: f64 = 4.0;

/// A round trip as it was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoundTrip {
    /// The middle one, in seconds.
    pub median_s: f64,
    /// Robust standard deviation of a single click, in seconds.
    pub spread_s: f64,
    /// The shortest and the longest, in seconds.
    pub from_to_s: (f64, f64),
    /// Clicks that were found.
    pub found: usize,
}

/// Why it could not be measured.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LatencyError {
    /// The input failed.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// A device stopped.
    #[error("{device} stopped while the round trip was measured; check that it is plugged in")]
    Stopped {
        /// The device's name.
        device: String,
    },
    /// Too few clicks came back.
    #[error(
        "{found} of {CLICKS} clicks came back (the loudest input was {loudest_dbfs:.0} dBFS); join \
         output and input by a cable, or hold the microphone to the headphone, and turn it up"
    )]
    Unheard {
        /// How many.
        found: usize,
        /// The loudest sample that came in, in decibels relative to full scale.
        loudest_dbfs: f64,
    },
    /// The clicks do not agree.
    #[error(
        "the clicks came back between {from_ms:.1} and {to_ms:.1} ms after they were played, which \
         is too uneven to go by; close other programs and try again"
    )]
    Uneven {
        /// The shortest, in milliseconds.
        from_ms: f64,
        /// The longest, in milliseconds.
        to_ms: f64,
    },
}

/// Plays clicks and finds them again.
///
/// # Errors
/// When a device stops, or too few clicks come back to be believed.
pub fn measure(input: &mut dyn Input, output: &mut dyn Output) -> Result<RoundTrip, LatencyError> {
    let zero = Instant::now();
    let out_rate = output.rate();
    let first = output.written() + (LEAD_S * out_rate.hz()) as u64;
    let starts: Vec<u64> = (0..CLICKS)
        .map(|n| {
            let at_s = n as f64 * APART_S - if n % 2 == 1 { UNEVEN_S } else { 0.0 };
            first + (at_s * out_rate.hz()) as u64
        })
        .collect();
    let end = starts[CLICKS - 1] + (APART_S * out_rate.hz()) as u64;
    let mut recorded: Vec<f32> = Vec::new();
    let mut block = Vec::new();
    while output.played() < end {
        while output.written() < output.played() + (0.15 * out_rate.hz()) as u64 {
            let from = output.written() as i64;
            let mut made = [0.0f32; 512];
            for start in &starts {
                add_click(&mut made, *start as i64 - from, Weight::Accent, out_rate);
            }
            if output.write(&made) < made.len() {
                break;
            }
        }
        match input.next_block(&mut block)? {
            Delivery::Samples => recorded.extend_from_slice(&block),
            Delivery::Gap(lost) => {
                let with = recorded.len() + lost.0 as usize;
                recorded.resize(with, 0.0);
            }
            Delivery::Nothing => std::thread::sleep(Duration::from_millis(2)),
            Delivery::End => break,
        }
        let now = Instant::now();
        if !input.is_alive(now) {
            return Err(LatencyError::Stopped {
                device: input.name(),
            });
        }
        if !output.is_alive(now) {
            return Err(LatencyError::Stopped {
                device: output.name(),
            });
        }
        // The clocks must be fed while they run.
        input.began_s(zero);
        output.began_s(zero);
    }
    let (Some(in_s), Some(out_s)) = (input.began_s(zero), output.began_s(zero)) else {
        return Err(LatencyError::Stopped {
            device: input.name(),
        });
    };
    let in_rate = input.format().rate;
    let played: Vec<f64> = starts
        .iter()
        .map(|start| out_s + *start as f64 / out_rate.hz() - in_s)
        .collect();
    from_recording(&recorded, in_rate, &played)
}

/// The round trip from what was recorded and the moments at which clicks were played, in seconds
/// from its first sample.
///
/// # Errors
/// When too few clicks are found, or they do not agree.
///
/// # Source
/// The matched filter: North (1943), reprinted in Proc. IEEE 51, 1016–1027 (1963): what maximises
/// the signal against even noise is the correlation with the signal itself.
pub fn from_recording(
    recorded: &[f32],
    rate: SampleRate,
    played_s: &[f64],
) -> Result<RoundTrip, LatencyError> {
    let mut click = vec![0.0f32; click_frames(rate) as usize];
    add_click(&mut click, 0, Weight::Accent, rate);
    let mut trips: Vec<f64> = played_s
        .iter()
        .filter_map(|at_s| Some(find(recorded, rate, &click, *at_s)? - at_s))
        .collect();
    let loudest = recorded.iter().fold(0.0f32, |top, x| top.max(x.abs()));
    if trips.len() < FOUND_MIN.min(played_s.len()) || trips.is_empty() {
        return Err(LatencyError::Unheard {
            found: trips.len(),
            loudest_dbfs: 20.0 * f64::from(loudest).max(1e-9).log10(),
        });
    }
    trips.sort_by(f64::total_cmp);
    let median_s = trips[trips.len() / 2];
    let mut off: Vec<f64> = trips.iter().map(|t| (t - median_s).abs()).collect();
    off.sort_by(f64::total_cmp);
    let spread_s = SPREAD_OF_MEDIAN * off[off.len() / 2];
    let from_to_s = (trips[0], trips[trips.len() - 1]);
    if spread_s > SPREAD_MAX_S {
        return Err(LatencyError::Uneven {
            from_ms: 1000.0 * from_to_s.0,
            to_ms: 1000.0 * from_to_s.1,
        });
    }
    Ok(RoundTrip {
        median_s,
        spread_s,
        from_to_s,
        found: trips.len(),
    })
}

/// Where a click lies that was played at `at_s`, in seconds from the first sample.
fn find(recorded: &[f32], rate: SampleRate, click: &[f32], at_s: f64) -> Option<f64> {
    let from = (at_s * rate.hz()).max(0.0) as usize;
    let to = (((at_s + LONGEST_S) * rate.hz()).max(0.0) as usize).min(recorded.len());
    let around = recorded.get(from..to)?;
    let like: Vec<f64> = around
        .windows(click.len())
        .map(|part| {
            let dot = part.iter().zip(click).map(|(x, y)| f64::from(x * y));
            dot.sum::<f64>().abs()
        })
        .collect();
    let best = (0..like.len()).max_by(|a, b| like[*a].total_cmp(&like[*b]))?;
    let mut sizes = like.clone();
    sizes.sort_by(f64::total_cmp);
    // What is like a click where there is none: nine tenths of the span at least.
    let usual = sizes[sizes.len() * 9 / 10];
    (like[best] > STANDS_OUT * usual.max(1e-12)).then(|| (from + best) as f64 / rate.hz())
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate(48_000);

    fn recording(trips_s: &[f64], noise: f32) -> (Vec<f32>, Vec<f64>) {
        let played: Vec<f64> = (0..trips_s.len()).map(|n| 0.3 + 0.7 * n as f64).collect();
        let mut recorded = vec![0.0f32; (0.7 * trips_s.len() as f64 + 1.0) as usize * 48_000];
        let mut seed = 1u32;
        for x in &mut recorded {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *x = noise * ((seed >> 8) as f32 / 8_388_608.0 - 1.0);
        }
        for (at, trip) in played.iter().zip(trips_s) {
            let start = ((at + trip) * RATE.hz()).round() as i64;
            add_click(&mut recorded, start, Weight::Accent, RATE);
        }
        (recorded, played)
    }

    /// Closed form: clicks set down by hand are found to the frame, in noise 12 dB below them.
    #[test]
    fn clicks_are_found_where_they_are() {
        let trips = [0.0212; CLICKS];
        let (recorded, played) = recording(&trips, 0.03);
        let trip = from_recording(&recorded, RATE, &played).expect("heard");
        assert_eq!(trip.found, CLICKS);
        assert!((trip.median_s - 0.0212).abs() < 2.0 / 48_000.0, "{trip:?}");
        assert!(trip.spread_s < 2.0 / 48_000.0, "{trip:?}");
    }

    #[test]
    fn silence_and_noise_are_no_clicks() {
        for noise in [0.0, 0.2] {
            let (mut recorded, played) = recording(&[0.02; CLICKS], 0.0);
            recorded.iter_mut().for_each(|x| *x = 0.0);
            let (with_noise, _) = recording(&[], noise);
            for (x, y) in recorded.iter_mut().zip(with_noise.iter().cycle()) {
                *x += y;
            }
            let error = from_recording(&recorded, RATE, &played).expect_err("nothing there");
            assert!(error.to_string().contains("cable"), "{error}");
        }
    }

    #[test]
    fn uneven_clicks_are_not_believed() {
        let trips: Vec<f64> = (0..CLICKS).map(|n| 0.01 + 0.02 * (n % 5) as f64).collect();
        let (recorded, played) = recording(&trips, 0.0);
        let error = from_recording(&recorded, RATE, &played).expect_err("uneven");
        assert!(error.to_string().contains("uneven"), "{error}");
    }
}
