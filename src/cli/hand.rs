//! What a player says of the fretting hand.

use clap::{Args, ValueEnum};

use super::failure::Failure;
use crate::music::fingering::{DEFAULT_LOW_BELOW, DEFAULT_SPAN_MM, Hand, OpenStrings};

/// What is asked of open strings.
#[derive(ValueEnum, Clone, Copy, Debug, PartialEq, Eq)]
enum OpenChoice {
    /// Wherever a note can be had on one
    Wanted,
    /// Only where a note lies nowhere else
    Avoided,
    /// Where they help the hand
    Free,
}

/// The fretting hand, for every command that fingers a line.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Fretting hand")]
pub(super) struct HandOptions {
    /// How far finger 1 and finger 4 reach without strain, in millimetres, 60 to 200
    #[arg(long, value_name = "MM", default_value_t = DEFAULT_SPAN_MM)]
    hand: f64,

    /// Fingers to spare, 1 (index) to 4 (little), as in `4` or `3,4`
    #[arg(
        long,
        value_name = "FINGERS",
        value_delimiter = ',',
        value_parser = clap::value_parser!(u8).range(1..=4)
    )]
    spare: Vec<u8>,

    /// Open strings
    #[arg(long, value_enum, value_name = "HOW", default_value_t = OpenChoice::Free)]
    open: OpenChoice,

    /// Fingers 1, 2 and 4 on three frets below this fret, from it on a finger to each of four; 0
    /// for a finger to a fret everywhere
    #[arg(long, value_name = "FRET", default_value_t = DEFAULT_LOW_BELOW)]
    low_below: u8,

    /// The plucking hand rakes: one finger drawn on to the next lower string
    #[arg(long)]
    rake: bool,
}

impl HandOptions {
    /// The hand, checked.
    pub(super) fn hand(&self) -> Result<Hand, Failure> {
        let mut hand = Hand::default()
            .with_span_mm(self.hand)
            .map_err(|error| Failure::new(format!("--hand: {error}")))?
            .sparing(&self.spare)
            .map_err(|error| Failure::new(format!("--spare: {error}")))?;
        hand.open = match self.open {
            OpenChoice::Wanted => OpenStrings::Wanted,
            OpenChoice::Avoided => OpenStrings::Avoided,
            OpenChoice::Free => OpenStrings::Free,
        };
        hand.low_below = self.low_below;
        hand.rakes = self.rake;
        Ok(hand)
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Command {
        #[command(flatten)]
        hand: HandOptions,
    }

    fn hand(words: &[&str]) -> Result<Hand, String> {
        let words = ["command"].iter().chain(words);
        let command = Command::try_parse_from(words).map_err(|error| error.to_string())?;
        command.hand.hand().map_err(|failure| failure.to_string())
    }

    #[test]
    fn a_hand_is_read() {
        assert_eq!(hand(&[]), Ok(Hand::default()));
        let asked = hand(&[
            "--hand",
            "95",
            "--spare",
            "3,4",
            "--open",
            "avoided",
            "--low-below",
            "0",
            "--rake",
        ])
        .unwrap();
        assert_eq!(asked.span_mm(), 95.0);
        assert_eq!(
            [1, 2, 3, 4].map(|finger| asked.spares(finger)),
            [false, false, true, true]
        );
        assert_eq!(asked.open, OpenStrings::Avoided);
        assert!(!asked.is_low(1) && asked.rakes);
    }

    #[test]
    fn what_is_no_hand_is_refused() {
        for (words, told) in [
            (&["--hand", "20"][..], "--hand: a hand of 20 mm"),
            (&["--spare", "1,2,3,4"], "--spare: all four fingers"),
            (&["--spare", "5"], "5 is not in 1..=4"),
            (
                &["--open", "often"],
                "possible values: wanted, avoided, free",
            ),
        ] {
            let message = hand(words).unwrap_err();
            assert!(message.contains(told), "{words:?}: {message}");
        }
    }
}
