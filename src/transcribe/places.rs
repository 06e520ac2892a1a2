//! Which places of a bar notes are likely to begin at: the grid, and what each place costs.
//!
//! # Source
//! A prior over score places in which simple ones are likelier: Cemgil, Desain and Kappen (2000),
//! *Rhythm quantization for transcription*, Computer Music J. 24(2), 60-76, and Temperley (2007),
//! *Music and Probability*, chapter 3 (both from memory). The costs themselves were set by hand and
//! held against takes of the ground.

use crate::music::line::{Length, Meter, UNITS_PER_QUARTER};

/// Steps of the grid to a quarter note: the least common multiple of sixteenths and triplets. Raised
/// to 24, thirty-seconds could be written and every other note would be found less surely.
pub(crate) const STEPS: i64 = 12;
/// Steps of a sixteenth.
pub(crate) const SIXTEENTH: i64 = STEPS / 4;

/// A beat of the meter, in nats. The cheapest place: whoever plays one note plays it here.
const ON_BEAT: f64 = 0.2;
/// An eighth off the beat (of a dotted beat: either of its eighths), in nats. Raised, faster tempi are
/// found, whose beats these eighths are.
const EIGHTH: f64 = 0.3;
/// Notes that every line is taken to have beside its own, and how many of them lie off the eighths, on
/// a sixteenth: what such a place costs before anything was written. Raised together, a line with few
/// sixteenths gets more of them.
const IMAGINED: (f64, f64) = (4.0, 1.0);
/// The same for the places of triplets. A line without one in fifty notes makes the next dearer by 2.6
/// nats.
const IMAGINED_THIRDS: (f64, f64) = (4.0, 0.5);
/// A place of an eighth triplet, in nats; the change into triplets is paid apart.
const TRIPLET: f64 = 0.7;
/// A place of a sixteenth triplet, in nats.
const FINE_TRIPLET: f64 = 3.0;
/// The change from halves to thirds of a beat, in nats. Raised, fewer triplets are written.
const INTO_TRIPLETS: f64 = 3.5;
/// The change back, in nats.
const OUT_OF_TRIPLETS: f64 = 0.5;
/// Halves and thirds within one beat, in nats.
const MIXED: f64 = 5.0;

/// How a beat is divided.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Division {
    /// By two and four.
    Halves,
    /// By three.
    Thirds,
}

/// The grid of a meter.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Places {
    /// Steps of a bar.
    pub bar: i64,
    /// Steps of a beat as it is felt: a quarter, a dotted quarter in 6/8, an eighth in 7/8.
    pub beat: i64,
    /// What a sixteenth off the eighths costs in this line, in nats.
    pub sixteenth: f64,
    /// What a place of a triplet costs more in this line because triplets are rare in it, in nats.
    pub rare_thirds: f64,
}

impl Places {
    /// The grid of a meter; `None` where its bar is no whole number of steps.
    pub fn new(meter: Meter) -> Option<Self> {
        let bar = steps(meter.bar_length())?;
        let unit = steps(meter.beat_length())?;
        let compound = meter.unit() >= 8 && meter.beats().is_multiple_of(3);
        let beat = match meter.unit() {
            _ if compound => 3 * unit,
            1..=4 => STEPS,
            _ => unit,
        };
        Some(Self {
            bar,
            beat,
            sixteenth: rarity(0, 0, IMAGINED),
            rare_thirds: 0.0,
        })
    }

    /// The same grid after notes were written at these steps: where sixteenths are rare in a line, one
    /// more is less likely, and an eighth played late more so.
    pub fn after(self, notes: impl Iterator<Item = i64>) -> Self {
        let (mut all, mut fine, mut thirds) = (0, 0, 0);
        for step in notes {
            all += 1;
            fine += usize::from(self.is_fine(step));
            thirds += usize::from(self.division(step) == Some(Division::Thirds));
        }
        let before = rarity(0, 0, IMAGINED_THIRDS);
        // What a note costs is told by the others.
        let others = |of: usize| of.saturating_sub(1);
        Self {
            sixteenth: rarity(others(fine), others(all), IMAGINED),
            rare_thirds: (rarity(others(thirds), others(all), IMAGINED_THIRDS) - before).max(0.0),
            ..self
        }
    }

    /// Whether a step is a sixteenth off the eighths.
    fn is_fine(self, step: i64) -> bool {
        let r = self.in_bar(step) % self.beat;
        r % SIXTEENTH == 0 && r % (2 * SIXTEENTH) != 0
    }

    /// Whether a beat is three eighths long.
    fn is_compound(self) -> bool {
        self.beat % (3 * SIXTEENTH) == 0
    }

    /// The place within its bar.
    pub fn in_bar(self, step: i64) -> i64 {
        step.rem_euclid(self.bar)
    }

    /// Whether a step is a beat.
    pub fn is_beat(self, step: i64) -> bool {
        self.in_bar(step) % self.beat == 0
    }

    /// The number of the beat in which a step lies.
    pub fn beat_of(self, step: i64) -> i64 {
        let beats = (self.bar + self.beat - 1) / self.beat;
        step.div_euclid(self.bar) * beats + self.in_bar(step) / self.beat
    }

    /// How the beat of a step is divided there; `None` on the beat.
    pub fn division(self, step: i64) -> Option<Division> {
        match self.in_bar(step) % self.beat {
            0 => None,
            r if r % SIXTEENTH == 0 => Some(Division::Halves),
            _ => Some(Division::Thirds),
        }
    }

    /// What a note costs that begins at a step, in nats; `None` where none may begin.
    pub fn cost(self, step: i64) -> Option<f64> {
        let r = self.in_bar(step) % self.beat;
        if r == 0 {
            return Some(ON_BEAT);
        }
        if r % (2 * SIXTEENTH) == 0 {
            return Some(EIGHTH);
        }
        if self.is_fine(step) {
            return Some(self.sixteenth);
        }
        // Two notes in the time of three are sixteenths of a dotted beat already.
        if self.is_compound() {
            return None;
        }
        match r % 4 {
            0 => Some(TRIPLET + self.rare_thirds),
            2 => Some(FINE_TRIPLET + self.rare_thirds),
            _ => None,
        }
    }

    /// What it costs to divide the beat of `step` otherwise than the last divided beat, at `last`,
    /// in nats.
    pub fn change(self, last: Option<(i64, Division)>, step: i64) -> f64 {
        let Some(division) = self.division(step) else {
            return 0.0;
        };
        let (at, before) = last.unwrap_or((i64::MIN / 2, Division::Halves));
        match (before, division) {
            (before, now) if before == now => 0.0,
            _ if self.beat_of(at) == self.beat_of(step) => MIXED,
            (_, Division::Thirds) => INTO_TRIPLETS,
            (_, Division::Halves) => OUT_OF_TRIPLETS,
        }
    }

    /// How many beats lie between two steps, neither counted.
    pub fn beats_between(self, from: i64, to: i64) -> i64 {
        let upto = self.beat_of(to) - i64::from(self.is_beat(to));
        (upto - self.beat_of(from)).max(0)
    }
}

/// How rare a kind of place is of which `of` were seen among `all` notes, in nats: minus the log of its
/// share, imagined notes (all, and of the kind) counted in, as in Laplace's rule.
fn rarity(of: usize, all: usize, (more, of_these): (f64, f64)) -> f64 {
    -((of as f64 + of_these) / (all as f64 + more)).ln()
}

/// A length in steps; `None` where it is no whole number of them.
pub(crate) fn steps(length: Length) -> Option<i64> {
    let unit = UNITS_PER_QUARTER / STEPS;
    (length.units() % unit == 0).then_some(length.units() / unit)
}

/// Steps as a written length.
pub(crate) fn length(steps: i64) -> Length {
    Length::from_units(steps * (UNITS_PER_QUARTER / STEPS))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(text: &str) -> Places {
        Places::new(text.parse().unwrap()).unwrap()
    }

    /// Closed form: quarters are 12 steps; 6/8 has two beats of 18.
    #[test]
    fn beats_are_those_of_the_meter() {
        for (meter, bar, beat) in [
            ("4/4", 48, 12),
            ("3/4", 36, 12),
            ("6/8", 36, 18),
            ("12/8", 72, 18),
            ("7/8", 42, 6),
            ("2/2", 48, 12),
        ] {
            let places = places(meter);
            assert_eq!((places.bar, places.beat), (bar, beat), "{meter}");
        }
        assert!(Places::new("5/32".parse().unwrap()).is_none());
    }

    #[test]
    fn simple_places_cost_less() {
        let four = places("4/4");
        let costs: Vec<f64> = [0, 6, 3].map(|step| four.cost(step).unwrap()).to_vec();
        assert!(costs[0] < costs[1] && costs[1] < costs[2], "{costs:?}");
        assert_eq!(four.cost(1), None);
        assert!(four.cost(4).is_some());
        assert_eq!(places("6/8").cost(4), None);
        assert_eq!(places("6/8").cost(12), four.cost(6));
    }

    /// Closed form: one of four before anything was written, 1 of 53 beside 49 other
    /// eighths.
    #[test]
    fn what_is_rare_in_a_line_costs_more() {
        let four = places("4/4");
        assert!((four.sixteenth - 4f64.ln()).abs() < 1e-12);
        let eighths = four.after((0..50).map(|k| 6 * k));
        assert!((eighths.cost(3).unwrap() - 53f64.ln()).abs() < 1e-12);
        // One that stands alone tells nothing of itself.
        let one = four.after((0..49).map(|k| 6 * k).chain([3]));
        assert_eq!(one.cost(3), eighths.cost(3));
        let sixteenths = four.after((0..50).map(|k| 3 * k));
        assert!(sixteenths.cost(3).unwrap() < 0.8);
    }

    #[test]
    fn beats_between_are_counted() {
        let four = places("4/4");
        assert_eq!(four.beats_between(0, 12), 0);
        assert_eq!(four.beats_between(0, 18), 1);
        assert_eq!(four.beats_between(6, 48), 3);
        assert_eq!(four.beats_between(-6, 6), 1);
    }

    #[test]
    fn halves_and_thirds_are_not_mixed() {
        let four = places("4/4");
        let thirds = Some((4, Division::Thirds));
        assert_eq!(four.change(thirds, 8), 0.0);
        assert_eq!(four.change(thirds, 9), MIXED);
        assert_eq!(four.change(thirds, 18), OUT_OF_TRIPLETS);
        assert_eq!(four.change(None, 16), INTO_TRIPLETS);
        assert_eq!(four.change(thirds, 12), 0.0);
    }
}
