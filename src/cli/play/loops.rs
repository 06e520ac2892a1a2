//! What goes round while somebody practises: options of `play` alone.

use clap::Args;

use crate::cli::failure::Failure;
use crate::cli::join::JoinChoice;
use crate::cli::options::Part;
use crate::session::live::loops::Loops;
use crate::sound::synth::around_join;

/// What goes round, and how.
#[derive(Args, Debug)]
pub(super) struct LoopOptions {
    /// One join alone: from the note that begins at this bar and beat to the next one, with a note
    /// more on either side, from beat to beat; needs the click
    #[arg(long, value_name = "BAR:BEAT", conflicts_with = "bars")]
    join: Option<JoinChoice>,

    /// Go straight on from pass to pass, in time: only the first one is counted in
    #[arg(long)]
    straight_on: bool,
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
        })
    }
}
