//! Counts over a take.

use crate::compare::judgement::{ExtraNote, Flag, JudgedNote, Tally, Verdict};

impl Tally {
    /// Counts verdicts and flags. To be taken again by whoever adds a flag later, such as bleed.
    pub fn count(notes: &[JudgedNote], extras: &[ExtraNote]) -> Self {
        let mut tally = Self {
            extra: extras.len(),
            ..Self::default()
        };
        for note in notes {
            match note.verdict {
                Verdict::Right => tally.right += 1,
                Verdict::Wrong => tally.wrong += 1,
                Verdict::Missed => tally.missed += 1,
                Verdict::Unreached => {}
            }
            for flag in &note.flags {
                *match flag {
                    Flag::Early => &mut tally.early,
                    Flag::Late => &mut tally.late,
                    Flag::Gap => &mut tally.gaps,
                    Flag::Clipped => &mut tally.clipped,
                    Flag::Bleed => &mut tally.bleed,
                    Flag::Dead => &mut tally.dead,
                    Flag::Sharp => &mut tally.sharp,
                    Flag::Flat => &mut tally.flat,
                    Flag::Loud => &mut tally.loud,
                    Flag::Soft => &mut tally.soft,
                    Flag::Buzzes => &mut tally.buzzes,
                } += 1;
            }
        }
        tally
    }
}
