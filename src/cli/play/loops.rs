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
