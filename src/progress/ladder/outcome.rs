//! How a pass went, as the ladder counts it.

use super::LadderMarks;
use crate::compare::judgement::PassJudgement;

/// How a pass went.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// Whole, without a stop, nothing wrong, missed or extra, and nearly every note without a fault.
    Clean,
    /// Whole, but not clean.
    Faulty,
    /// Broken off, begun in the middle, or of too little that was recognised.
    Broken,
}

impl Outcome {
    /// What it is called: `clean`, `faulty`, `broken`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::Faulty => "faulty",
            Self::Broken => "broken",
        }
    }

    /// How a pass went over `bars`, the first and last one that was to be played, as the pass counts
    /// them; `marks` says what is clean. Never fails.
    pub fn of(pass: &PassJudgement, bars: (u32, u32), marks: &LadderMarks) -> Self {
        let whole = pass.judged
            && pass.complete
            && pass.bars.0 <= bars.0
            && pass.bars.1 >= bars.1
            && !pass.notes.is_empty();
        if !whole {
            return Self::Broken;
        }
        if pass.is_clean(marks.clean_share) {
            Self::Clean
        } else {
            Self::Faulty
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::judgement::{
        Beginning, ExtraNote, Flag, JudgedNote, Stumble, Tally, Timing, TimingMode, Verdict,
    };
    use crate::music::expected::ExpectedNote;

    /// A clean pass over bars 3 and 4 of 20 notes.
    fn pass() -> PassJudgement {
        let note = |index: usize| JudgedNote {
            expected: ExpectedNote {
                index,
                bar: 3 + index as u32 / 10,
                printed_bar: 3 + index as u32 / 10,
                beat: 1.0,
                onset_quarters: index as f64,
                length_quarters: 1.0,
                onset_s: index as f64,
                length_s: 1.0,
                midi: 40,
                ..ExpectedNote::default()
            },
            verdict: Verdict::Right,
            heard: None,
            flags: Vec::new(),
        };
        let notes: Vec<JudgedNote> = (0..20).map(note).collect();
        PassJudgement {
            number: 1,
            bars: (3, 4),
            from_s: 0.0,
            to_s: 20.0,
            began: Beginning::Start,
            complete: true,
            judged: true,
            stumbles: Vec::new(),
            timing: Timing {
                offset_s: None,
                tempo_bpm: None,
                tempo_from_to_bpm: None,
                mode: TimingMode::Free,
                spread_ms: None,
                mean_ms: None,
                offbeats_ms: None,
            },
            tally: Tally::count(&notes, &[]),
            notes,
            extras: Vec::new(),
            bleed: None,
            undecided: Vec::new(),
            evenness: None,
        }
    }

    /// Each thing that may be wrong with a pass, just below and just above its limit.
    #[test]
    fn a_pass_is_clean_faulty_or_broken() {
        fn of(change: impl Fn(&mut PassJudgement)) -> Outcome {
            let mut pass = pass();
            change(&mut pass);
            Outcome::of(&pass, (3, 4), &LadderMarks::default())
        }
        let late = |pass: &mut PassJudgement, count: usize| {
            for note in &mut pass.notes[..count] {
                note.flags.push(Flag::Late);
            }
        };
        assert_eq!(of(|_| ()), Outcome::Clean);
        assert_eq!(of(|pass| late(pass, 1)), Outcome::Clean);
        assert_eq!(of(|pass| late(pass, 2)), Outcome::Faulty);
        assert_eq!(
            of(|pass| pass.notes[7].verdict = Verdict::Wrong),
            Outcome::Faulty
        );
        assert_eq!(
            of(|pass| pass.notes[7].verdict = Verdict::Missed),
            Outcome::Faulty
        );
        assert_eq!(
            of(|pass| pass.extras.push(ExtraNote {
                onset_s: 1.0,
                midi: None,
                release_s: 1.1,
                level_dbfs: -20.0,
                after_index: None,
            })),
            Outcome::Faulty
        );
        assert_eq!(
            of(|pass| pass.stumbles.push(Stumble {
                index: 3,
                bar: 3,
                beat: 1.0,
                pause_s: 1.0,
            })),
            Outcome::Faulty
        );
        assert_eq!(of(|pass| pass.complete = false), Outcome::Broken);
        assert_eq!(of(|pass| pass.bars = (4, 4)), Outcome::Broken);
        assert_eq!(of(|pass| pass.bars = (3, 3)), Outcome::Broken);
        assert_eq!(of(|pass| pass.bars = (2, 5)), Outcome::Clean);
        assert_eq!(of(|pass| pass.notes.clear()), Outcome::Broken);
        assert_eq!(
            of(|pass| {
                pass.judged = false;
                pass.notes.clear();
            }),
            Outcome::Broken
        );
    }
}
