//! A click to play to: where it falls in the bars of a line, and how it sounds.
//!
//! # Source
//! Which beats are clicked, the beat of compound meters (a dotted note) and the count-in: common
//! practice, no source.

use std::f64::consts::TAU;

use crate::music::line::{Line, Meter};

use crate::units::{Decibels, SampleRate};

/// Most parts of a beat that are clicked: sixteenths in a bar of quarters.
pub const PARTS_MAX: u8 = 4;

/// Most bars of count-in.
pub const COUNT_IN_MAX: u8 = 8;

/// How long one click sounds, in seconds: short enough to point at a moment, long enough to have a
/// pitch.
const CLICK_S: f64 = 0.030;

/// Time constant of its decay, in seconds.
const DECAY_S: f64 = 0.006;

/// Which beats of a bar are clicked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Beats {
    /// None; the count-in alone is heard.
    #[default]
    None,
    /// All.
    All,
    /// The second and the fourth (and every even one).
    TwoAndFour,
}

/// What is clicked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClickPattern {
    /// Which beats of the line's bars.
    pub beats: Beats,
    /// Clicks to a beat, 1 to [`PARTS_MAX`].
    pub parts: u8,
    /// Every second bar of the line is left silent.
    pub alternate: bool,
    /// Whole bars before the line, 0 to [`COUNT_IN_MAX`]; a pick-up bar is filled up to a whole bar
    /// beside them.
    pub count_in: u8,
}

impl Default for ClickPattern {
    fn default() -> Self {
        Self {
            beats: Beats::None,
            parts: 1,
            alternate: false,
            count_in: 0,
        }
    }
}

/// How much a click stands out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// The first beat of a bar.
    Accent,
    /// Any other beat.
    Beat,
    /// Between the beats.
    Between,
}

impl Weight {
    /// Pitch in hertz, well above the fundamentals of a bass, so that neither hides the other.
    fn hz(self) -> f64 {
        match self {
            Self::Accent => 2000.0,
            Self::Beat => 1500.0,
            Self::Between => 1200.0,
        }
    }

    /// Peak level against full scale. Low: a player turns up what is too soft, and is startled by
    /// what is too loud.
    fn peak(self) -> Decibels {
        Decibels(match self {
            Self::Accent => -18.0,
            Self::Beat => -24.0,
            Self::Between => -30.0,
        })
    }
}

/// One click.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tick {
    /// Its moment in seconds from the start of bar 1, negative in a count-in or pick-up.
    pub at_s: f64,
    /// How much it stands out.
    pub weight: Weight,
}

/// The clicks of `pattern` over the whole of `line`, in order of time.
///
/// Bars of six, nine or twelve eighths have beats of three eighths, all others beats of their
/// meter's unit. Where the line swings, clicks at halves and quarters of a beat swing with it.
pub fn ticks(line: &Line, pattern: &ClickPattern) -> Vec<Tick> {
    let mut ticks = Vec::new();
    let Some(first) = line.bars().first() else {
        return ticks;
    };
    let whole = first.meter.bar_length().quarters();
    let pickup = line.pickup_length().quarters();
    // A pick-up bar is the end of a whole one that begins before it.
    let opening = if line.has_pickup() { -whole } else { 0.0 };
    // A beat in three parts is a triplet, which is played as written.
    let swing = line.swing().filter(|_| pattern.parts.is_power_of_two());
    let count_in = pattern.count_in.min(COUNT_IN_MAX);
    let mut add = |from: f64, meter: Meter, beats: &dyn Fn(f64) -> Beats| {
        let parts = u32::from(pattern.parts.clamp(1, PARTS_MAX));
        let step = beat_quarters(meter) / f64::from(parts);
        let count = (meter.bar_length().quarters() / step).round() as u32;
        for number in 0..count {
            let (beat, part) = (number / parts, number % parts);
            let at = from + f64::from(number) * step;
            let wanted = match beats(at) {
                Beats::None => false,
                Beats::All => true,
                Beats::TwoAndFour => beat % 2 == 1,
            };
            if wanted {
                ticks.push(Tick {
                    at_s: line.quarters_to_seconds(swing.map_or(at, |swing| swing.moved(at))),
                    weight: match (beat, part) {
                        (0, 0) => Weight::Accent,
                        (_, 0) => Weight::Beat,
                        _ => Weight::Between,
                    },
                });
            }
        }
    };
    for bar in (1..=count_in).rev() {
        let from = opening - f64::from(bar) * whole;
        add(from, first.meter, &|_| Beats::All);
    }
    // What the pick-up bar leaves out of its bar belongs to the count-in.
    let counted = if count_in > 0 {
        Beats::All
    } else {
        Beats::None
    };
    let mut from = -pickup;
    for (number, bar) in line.bars().iter().enumerate() {
        // A pick-up belongs to bar 1.
        let counted_bar = number.saturating_sub(usize::from(line.has_pickup()));
        let silent = pattern.alternate && counted_bar % 2 == 1;
        let own = if silent { Beats::None } else { pattern.beats };
        let start = if number == 0 { opening } else { from };
        add(start, bar.meter, &|at| {
            if at < -pickup - TOUCHING {
                counted
            } else {
                own
            }
        });
        from += bar.length().quarters();
    }
    ticks
}

/// Positions closer than this, in quarter notes, are the same.
const TOUCHING: f64 = 1e-6;

/// The length of a beat as it is felt, in quarter notes.
pub fn beat_quarters(meter: Meter) -> f64 {
    let unit = meter.beat_length().quarters();
    if meter.unit() == 8 && meter.beats() > 3 && meter.beats().is_multiple_of(3) {
        3.0 * unit
    } else {
        unit
    }
}

/// Adds clicks to a take in which bar 1 begins at `bar1_s`. What lies outside of the take is not
/// heard; where the sum would go beyond full scale it is held there.
///
/// Time:    a click begins at its moment, rounded to the nearest frame.
pub fn add_clicks(take: &mut [f32], ticks: &[Tick], bar1_s: f64, rate: SampleRate) {
    for tick in ticks {
        let start = ((tick.at_s + bar1_s) * rate.hz()).round() as i64;
        add_click(take, start, tick.weight, rate);
    }
}

/// Adds one click that begins at frame `start` of the block, or before it, or behind it: what
/// lies outside is not heard, so that a click can be made block by block.
pub fn add_click(block: &mut [f32], start: i64, weight: Weight, rate: SampleRate) {
    let frames = (CLICK_S * rate.hz()).round() as i64;
    let peak = weight.peak().to_amplitude();
    for frame in (-start).max(0)..frames {
        let Some(sample) = block.get_mut((start + frame) as usize) else {
            break;
        };
        let t = frame as f64 / rate.hz();
        let click = peak * (-t / DECAY_S).exp() * (TAU * weight.hz() * t).sin();
        *sample = (*sample + click as f32).clamp(-1.0, 1.0);
    }
}

/// How many frames a click sounds.
pub fn click_frames(rate: SampleRate) -> u64 {
    (CLICK_S * rate.hz()).round() as u64
}

#[cfg(test)]
mod tests {
    use super::Weight::{Accent, Beat, Between};
    use super::*;
    use crate::music::line::read_text;

    fn told(line: &str, pattern: ClickPattern) -> Vec<(f64, Weight)> {
        let line = read_text(line).expect("a line");
        ticks(&line, &pattern)
            .iter()
            .map(|tick| ((tick.at_s * 1000.0).round() / 1000.0, tick.weight))
            .collect()
    }

    #[test]
    fn a_bar_of_four_is_counted_in_and_clicked() {
        let pattern = ClickPattern {
            beats: Beats::All,
            count_in: 1,
            ..ClickPattern::default()
        };
        let bar = "tempo: 120\nmeter: 4/4\n\n1/4 4:0 4:0 4:0 4:0\n";
        let weights = [Accent, Beat, Beat, Beat];
        let expected: Vec<_> = (0..8)
            .map(|n| (f64::from(n) * 0.5 - 2.0, weights[n as usize % 4]))
            .collect();
        assert_eq!(told(bar, pattern), expected);
    }

    #[test]
    fn two_and_four_with_eighths_and_every_second_bar_silent() {
        let pattern = ClickPattern {
            beats: Beats::TwoAndFour,
            parts: 2,
            alternate: true,
            count_in: 0,
        };
        let bar = "1/4 4:0 4:0 4:0 4:0\n";
        let line = format!("tempo: 60\nmeter: 4/4\n\n{bar}{bar}{bar}");
        let expected: Vec<_> = [1.0, 3.0, 9.0, 11.0]
            .iter()
            .flat_map(|at| [(*at, Beat), (at + 0.5, Between)])
            .collect();
        assert_eq!(told(&line, pattern), expected);
    }

    #[test]
    fn clicks_between_the_beats_swing_with_the_line() {
        let line = "tempo: 60\nmeter: 2/4\nswing: 2:1\n\n1/4 4:0 4:0\n";
        let parts = |parts| ClickPattern {
            beats: Beats::All,
            parts,
            ..ClickPattern::default()
        };
        // Closed form: at 2:1 the half of a beat lies at 2/3 of it.
        let at = [
            (0.0, Accent),
            (0.667, Between),
            (1.0, Beat),
            (1.667, Between),
        ];
        assert_eq!(told(line, parts(2)), at);
        let thirds: Vec<f64> = told(line, parts(3)).iter().map(|tick| tick.0).collect();
        assert_eq!(thirds, [0.0, 0.333, 0.667, 1.0, 1.333, 1.667]);
    }

    #[test]
    fn six_eighths_have_two_beats() {
        let pattern = ClickPattern {
            beats: Beats::All,
            ..ClickPattern::default()
        };
        let line = "tempo: 60\nmeter: 6/8\n\n1/8 4:0 4:0 4:0 4:0 4:0 4:0\n";
        assert_eq!(told(line, pattern), [(0.0, Accent), (1.5, Beat)]);
    }

    #[test]
    fn a_pickup_is_the_end_of_a_whole_counted_bar() {
        let pattern = ClickPattern {
            beats: Beats::All,
            count_in: 1,
            ..ClickPattern::default()
        };
        let line = "tempo: 60\nmeter: 3/4\n\npickup 1/4 4:0\n1/4 4:0 4:0 4:0\n";
        let expected: Vec<_> = (-6..3)
            .map(|n: i32| (f64::from(n), if n % 3 == 0 { Accent } else { Beat }))
            .collect();
        assert_eq!(told(line, pattern), expected);
        let alone = ClickPattern {
            count_in: 0,
            ..pattern
        };
        assert_eq!(told(line, alone), expected[5..]);
    }

    #[test]
    fn a_pickup_is_no_bar_of_its_own_when_every_second_is_silent() {
        let pattern = ClickPattern {
            beats: Beats::All,
            alternate: true,
            ..ClickPattern::default()
        };
        let bar = "1/4 4:0 4:0\n";
        let line = format!("tempo: 60\nmeter: 2/4\n\npickup 1/4 4:0\n{bar}{bar}{bar}");
        let at = [
            (-1.0, Beat),
            (0.0, Accent),
            (1.0, Beat),
            (4.0, Accent),
            (5.0, Beat),
        ];
        assert_eq!(told(&line, pattern), at);
    }

    #[test]
    fn a_click_made_block_by_block_is_the_same() {
        let rate = SampleRate(44_100);
        let mut whole = vec![0.0; 3000];
        add_click(&mut whole, 333, Beat, rate);
        let mut parts = vec![0.0; 3000];
        for (n, block) in parts.chunks_mut(256).enumerate() {
            add_click(block, 333 - 256 * n as i64, Beat, rate);
        }
        assert_eq!(parts, whole);
    }

    #[test]
    fn a_click_begins_at_its_frame_and_stays_below_its_peak() {
        let rate = SampleRate(48_000);
        let mut take = vec![0.0; 48_000];
        let tick = Tick {
            at_s: -0.5,
            weight: Accent,
        };
        add_clicks(&mut take, &[tick], 0.75, rate);
        let first = take.iter().position(|x| *x != 0.0).expect("a click");
        // The sine begins at zero: its second frame is the first that can be seen.
        assert_eq!(first, 12_001);
        let peak = take.iter().fold(0.0f32, |peak, x| peak.max(x.abs()));
        // -18 dB against full scale is 0.126 (the definition of the decibel).
        assert!(peak > 0.08 && peak <= 0.126, "{peak}");
        let before = take.clone();
        let outside = Tick {
            at_s: 100.0,
            weight: Beat,
        };
        add_clicks(&mut take, &[outside], 0.0, rate);
        assert_eq!(take, before);
    }
}
