//! The player's hand: how far it reaches, how its fingers lie, and what the player asks of it.

/// A comfortable reach from finger 1 to finger 4 in millimetres, for a hand that says nothing: the
/// middle of 105 to 115 mm, which four frets of a 34-inch bass are from the fifth fret on (module
/// `reach`). Raising it gives fewer shifts and more stretches.
pub const DEFAULT_SPAN_MM: f64 = 110.0;

/// The spans accepted, in millimetres: from a child's hand to more than any hand has.
pub const SPAN_MM_RANGE: (f64, f64) = (60.0, 200.0);

/// The fret below which a hand's place is fingered 1-2-4 by default. Common practice of bass
/// schools, no source; at 34 inch four frets are within 110 mm from the fourth fret on.
pub const DEFAULT_LOW_BELOW: u8 = 5;

/// Why something is not a hand.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum HandError {
    /// The span is out of range.
    #[error(
        "a hand of {given} mm; from finger 1 to finger 4 a hand reaches {} to {} mm",
        SPAN_MM_RANGE.0,
        SPAN_MM_RANGE.1
    )]
    Span {
        /// The span given.
        given: f64,
    },
    /// No finger is left to play with.
    #[error("all four fingers are spared; at least one must play")]
    NoFinger,
}

/// What is asked of open strings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum OpenStrings {
    /// Wherever a note can be had on an open string.
    Wanted,
    /// Only where the note lies nowhere else.
    Avoided,
    /// Where they help the hand.
    #[default]
    Free,
}

/// The fretting hand.
#[derive(Clone, Debug, PartialEq)]
pub struct Hand {
    pub(super) span_mm: f64,
    pub(super) spare: [bool; 4],
    /// Places of the hand below this fret are fingered 1-2-4 over three frets; from it on one
    /// finger lies at each of four frets. 0 or 1: one finger to a fret everywhere.
    pub low_below: u8,
    /// What is asked of open strings.
    pub open: OpenStrings,
    /// True when the plucking hand rakes: one finger drawn over two neighbouring strings, which
    /// makes the way to the next thicker string easier.
    pub rakes: bool,
}

impl Default for Hand {
    /// 110 mm, 1-2-4 below the fifth fret, every finger, open strings where they help, no rakes.
    fn default() -> Self {
        Self {
            span_mm: DEFAULT_SPAN_MM,
            spare: [false; 4],
            low_below: DEFAULT_LOW_BELOW,
            open: OpenStrings::Free,
            rakes: false,
        }
    }
}

impl Hand {
    /// The same hand with a comfortable reach of `span_mm` from finger 1 to finger 4.
    ///
    /// # Errors
    /// `Span` outside of [`SPAN_MM_RANGE`], or when it is no number.
    pub fn with_span_mm(self, span_mm: f64) -> Result<Self, HandError> {
        if !(SPAN_MM_RANGE.0..=SPAN_MM_RANGE.1).contains(&span_mm) {
            return Err(HandError::Span { given: span_mm });
        }
        Ok(Self { span_mm, ..self })
    }

    /// The same hand with fingers (1 to 4) that play only where nothing else can; other numbers
    /// are no fingers and change nothing.
    ///
    /// # Errors
    /// `NoFinger` when all four are named.
    pub fn sparing(self, fingers: &[u8]) -> Result<Self, HandError> {
        let spare = [1, 2, 3, 4].map(|finger| fingers.contains(&finger));
        if spare == [true; 4] {
            return Err(HandError::NoFinger);
        }
        Ok(Self { spare, ..self })
    }

    /// The comfortable reach from finger 1 to finger 4 in millimetres.
    pub fn span_mm(&self) -> f64 {
        self.span_mm
    }

    /// True when `finger` (1 to 4) is to be spared.
    pub fn spares(&self, finger: u8) -> bool {
        usize::from(finger)
            .checked_sub(1)
            .and_then(|at| self.spare.get(at))
            .copied()
            .unwrap_or(false)
    }

    /// True when the hand with finger 1 at fret `hand` is fingered 1-2-4.
    pub fn is_low(&self, hand: u8) -> bool {
        hand < self.low_below
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hand_is_checked() {
        let hand = Hand::default();
        assert!(hand.clone().with_span_mm(95.0).is_ok());
        for wrong in [59.9, 200.1, f64::NAN] {
            assert!(hand.clone().with_span_mm(wrong).is_err(), "{wrong}");
        }
        assert_eq!(
            hand.clone().sparing(&[1, 2, 3, 4]),
            Err(HandError::NoFinger)
        );
        let spared = hand.sparing(&[4]).unwrap();
        assert_eq!(
            [0, 1, 4, 5].map(|finger| spared.spares(finger)),
            [false, false, true, false]
        );
    }
}
