//! What goes round while somebody practises, and how fast: options of `play` alone.

use clap::Args;

use crate::cli::failure::Failure;
use crate::cli::join::JoinChoice;
use crate::cli::options::Part;
use crate::cli::values;
use crate::progress::ladder::LadderMarks;
use crate::session::live::loops::Loops;
use crate::sound::synth::around_join;

/// What goes round, and how fast.
#[derive(Args, Debug)]
pub(super) struct LoopOptions {
    /// One join alone: from the note that begins at this bar and beat to the next one, with a note
    /// more on either side, from beat to beat; needs the click
    #[arg(long, value_name = "BAR:BEAT", conflicts_with = "bars")]
    join: Option<JoinChoice>,

    /// Go straight on from pass to pass, in time: only the first one is counted in
    #[arg(long)]
    straight_on: bool,

    /// Let the tempo go up after clean passes and down after faulty ones, from --tempo on; needs the
    /// click
    #[arg(long)]
    ladder: bool,

    /// The tempo the ladder leads to, in per cent of the written one (100)
    #[arg(long, value_name = "N%", requires = "ladder", value_parser = values::above_nothing)]
    target: Option<f64>,

    /// Play every Nth pass at the target, counted apart
    #[arg(long, value_name = "N", requires = "ladder")]
    probe: Option<u32>,

    /// A step up, in per cent of the tempo (5)
    #[arg(long, value_name = "PERCENT", requires = "ladder", value_parser = values::above_nothing)]
    ladder_up: Option<f64>,

    /// A step down, in per cent of the tempo (9)
    #[arg(long, value_name = "PERCENT", requires = "ladder", value_parser = values::above_nothing)]
    ladder_down: Option<f64>,

    /// Clean passes in a row that lead up (3)
    #[arg(long, value_name = "N", requires = "ladder")]
    clean_passes: Option<u32>,

    /// Faulty passes in a row that lead down (2)
    #[arg(long, value_name = "N", requires = "ladder")]
    bad_passes: Option<u32>,
}

impl LoopOptions {
    /// What is to go round of a line; a join sets the bars of the part to those of its notes.
    pub(super) fn loops(&self, part: &mut Part, clicks: bool) -> Result<Loops, Failure> {
        let join = match self.join {
            None => None,
            Some(_) if !clicks => {
                return Err(Failure::new(
                    "--join goes round to the click, which says where so few notes lie; leave \
                     --click off out, or name its bars with --bars",
                ));
            }
            Some(join) => {
                let excerpt = around_join(&part.line, join.bar, join.beat)
                    .map_err(|error| Failure::new(format!("--join: {error}")))?;
                let ends = excerpt.notes.first().zip(excerpt.notes.last());
                part.bars = ends.map(|(first, last)| (first.bar, last.bar));
                excerpt.notes.get(excerpt.before).map(|note| note.index)
            }
        };
        Ok(Loops {
            join,
            straight_on: self.straight_on,
            ladder: self.ladder(clicks)?,
        })
    }

    /// The limits of the ladder, where one is wanted.
    fn ladder(&self, clicks: bool) -> Result<Option<LadderMarks>, Failure> {
        if !self.ladder {
            return Ok(None);
        }
        if !clicks {
            return Err(Failure::new(
                "--ladder moves the click's tempo; leave --click off out",
            ));
        }
        let usual = LadderMarks::default();
        let share = |percent: Option<f64>, usual: f64| percent.map_or(usual, |p| p / 100.0);
        let target_share = share(self.target, usual.target_share);
        let marks = LadderMarks {
            up_share: share(self.ladder_up, usual.up_share),
            up_after: self.clean_passes.unwrap_or(usual.up_after),
            down_share: share(self.ladder_down, usual.down_share),
            down_after: self.bad_passes.unwrap_or(usual.down_after),
            probe_every: self.probe,
            target_share,
            floor_share: usual.floor_share.min(target_share),
            ..usual
        };
        marks
            .check()
            .map_err(|error| Failure::new(format!("--ladder: {error}")))?;
        Ok(Some(marks))
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;
    use crate::music::line::read_text;

    #[derive(Parser, Debug)]
    struct Words {
        #[command(flatten)]
        loops: LoopOptions,
        #[arg(long)]
        bars: Option<String>,
    }

    /// Two bars of four quarters.
    fn part() -> Part {
        let line = read_text("tempo: 60\nmeter: 4/4\n\n1/4 4:0 4:1 4:2 4:3\n1/4 3:0 3:1 3:2 3:3\n");
        Part {
            line: line.expect("a line"),
            bars: None,
            stretches: Vec::new(),
            share: 1.0,
        }
    }

    fn asked(words: &[&str], clicks: bool) -> Result<(Loops, Option<(u32, u32)>), String> {
        let words = ["play"].iter().chain(words);
        let words = Words::try_parse_from(words).map_err(|error| error.to_string())?;
        let mut part = part();
        match words.loops.loops(&mut part, clicks) {
            Ok(loops) => Ok((loops, part.bars)),
            Err(_) => Err("refused".to_owned()),
        }
    }

    #[test]
    fn what_goes_round_is_read_from_the_words() {
        assert_eq!(asked(&[], false), Ok((Loops::default(), None)));
        // The join over the bar line: two notes before it, two behind it.
        let (loops, bars) = asked(&["--join", "1:4", "--straight-on"], true).expect("a loop");
        assert_eq!(
            (loops.join, bars, loops.straight_on),
            (Some(3), Some((1, 2)), true)
        );
        let words = [
            "--ladder",
            "--target",
            "90%",
            "--probe",
            "4",
            "--ladder-up",
            "4",
        ];
        let (loops, _) = asked(&words, true).expect("a ladder");
        let marks = loops.ladder.expect("marks");
        assert_eq!(
            (marks.target_share, marks.up_share, marks.probe_every),
            (0.9, 0.04, Some(4))
        );
        // Below the usual slowest tempo the target is the slowest, too.
        let (loops, _) = asked(&["--ladder", "--target", "25"], true).expect("a ladder");
        assert_eq!(loops.ladder.map(|marks| marks.floor_share), Some(0.25));
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        for (words, clicks) in [
            (&["--join", "1:4"] as &[&str], false),
            (&["--ladder"], false),
            (&["--join", "2:4"], true),
            (&["--join", "1:1.5"], true),
            (&["--join", "1:4", "--bars", "1-2"], true),
            (&["--target", "90"], true),
            (&["--ladder", "--target", "0"], true),
            (&["--ladder", "--ladder-up", "60"], true),
            (&["--ladder", "--clean-passes", "0"], true),
            (&["--ladder", "--probe", "1"], true),
        ] {
            assert!(asked(words, clicks).is_err(), "{words:?}");
        }
    }
}
