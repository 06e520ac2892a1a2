//! Where a pass, some bars of it, or a join lies in a judged take, to be heard again.

use crate::compare::judgement::{Judgement, PassJudgement};
use crate::words;

/// What is to be heard, by printed numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    /// The whole pass.
    Pass,
    /// These bars of it, the first and the last.
    Bars(u32, u32),
    /// The join after the note at this bar and beat, with a note more on either side.
    Join {
        /// The bar.
        bar: u32,
        /// The beat.
        beat: f64,
    },
}

/// Where it lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Whereabouts {
    /// The pass, from 1.
    pub pass: usize,
    /// Onset of the first note that was heard of it, in seconds of the take.
    pub from_s: f64,
    /// Where it is over: the next note's onset, or the release of its last, in seconds of the take.
    pub to_s: f64,
    /// First and last bar, counted as played.
    pub bars: (u32, u32),
    /// The tempo it was played at, relative to the line it was judged by; `None` when none was found.
    pub share: Option<f64>,
}

/// Why it cannot be heard. The messages say what there is instead.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotThere {
    /// Nothing of the line was recognised.
    #[error(
        "the line was not recognised in it, so there is no pass to be heard; is it the right line?"
    )]
    Nothing,
    /// There are fewer passes.
    #[error("there is no pass {given}; the take has {there} {}", words::plural(*.there, "pass", "passes"))]
    NoPass {
        /// The number asked for.
        given: usize,
        /// How many there are.
        there: usize,
    },
    /// The bars are not in the pass.
    #[error("pass {pass} goes over {}; {} is not in it", words::bars(*.there), words::bars(*.given))]
    NoBars {
        /// The pass.
        pass: usize,
        /// The bars asked for.
        given: (u32, u32),
        /// The bars it has, by printed numbers.
        there: (u32, u32),
    },
    /// No join begins there.
    #[error("pass {pass} has no join after {}; notes of that bar begin at {beats}", words::place(*.bar, *.beat))]
    NoJoin {
        /// The pass.
        pass: usize,
        /// The bar asked for.
        bar: u32,
        /// The beat asked for.
        beat: f64,
        /// Where notes of that bar begin.
        beats: String,
    },
    /// None of its notes was heard.
    #[error("none of these notes was heard in pass {pass}; choose more bars, or another pass")]
    NotHeard {
        /// The pass.
        pass: usize,
    },
}

/// Beats closer than this are the same.
const SAME_BEAT: f64 = 1e-3;

/// Looks for what is wanted of a pass, of the last one when none is named.
///
/// # Errors
/// Where it is not there.
pub fn whereabouts(
    judgement: &Judgement,
    line_bpm: f64,
    pass: Option<usize>,
    wanted: Wanted,
) -> Result<Whereabouts, NotThere> {
    let there = judgement.passes.len();
    let last = judgement.passes.last().ok_or(NotThere::Nothing)?;
    let pass = match pass {
        Some(given) => {
            let found = judgement.passes.iter().find(|pass| pass.number == given);
            found.ok_or(NotThere::NoPass { given, there })?
        }
        None => last,
    };
    let number = pass.number;
    let share = pass.timing.tempo_bpm.map(|bpm| bpm / line_bpm);
    let (first, end) = match wanted {
        Wanted::Pass => {
            return Ok(Whereabouts {
                pass: number,
                from_s: pass.from_s,
                to_s: pass.to_s,
                bars: pass.bars,
                share,
            });
        }
        Wanted::Bars(from, to) => bars_in(pass, from, to)?,
        Wanted::Join { bar, beat } => join_in(pass, bar, beat)?,
    };
    let heard =
        |from: usize, to: usize| pass.notes[from..to].iter().filter_map(|n| n.heard.as_ref());
    let opening = heard(first, end).next();
    let (Some(opening), Some(closing)) = (opening, heard(first, end).next_back()) else {
        return Err(NotThere::NotHeard { pass: number });
    };
    let behind = heard(end, pass.notes.len()).next();
    let over_s = behind.map_or(closing.release_s, |next| next.onset_s);
    Ok(Whereabouts {
        pass: number,
        from_s: opening.onset_s,
        to_s: over_s.max(opening.onset_s),
        bars: (
            pass.notes[first].expected.bar,
            pass.notes[end - 1].expected.bar,
        ),
        share,
    })
}

/// The notes of these bars, from the first to the one behind the last. Of bars that are played several
/// times the first time is taken.
fn bars_in(pass: &PassJudgement, from: u32, to: u32) -> Result<(usize, usize), NotThere> {
    let printed = |at: usize| pass.notes[at].expected.printed_bar;
    let all = 0..pass.notes.len();
    let first = all.clone().find(|at| printed(*at) == from);
    let inside = |at: &usize| (from..=to).contains(&printed(*at));
    let end = first.map(|first| {
        (first..pass.notes.len())
            .find(|at| !inside(at))
            .unwrap_or(pass.notes.len())
    });
    match (first, end) {
        (Some(first), Some(end)) if (first..end).any(|at| printed(at) == to) => Ok((first, end)),
        _ => Err(NotThere::NoBars {
            pass: pass.number,
            given: (from, to),
            there: (
                all.clone().map(printed).min().unwrap_or(pass.bars.0),
                all.map(printed).max().unwrap_or(pass.bars.1),
            ),
        }),
    }
}

/// The notes about a join: one before it, its own, and one behind it; chords count as one note.
fn join_in(pass: &PassJudgement, bar: u32, beat: f64) -> Result<(usize, usize), NotThere> {
    let notes = &pass.notes;
    let firsts: Vec<usize> = (0..notes.len())
        .filter(|at| !notes[*at].expected.with_previous)
        .collect();
    let here = |at: usize| {
        let note = &notes[at].expected;
        note.printed_bar == bar && (note.beat - beat).abs() < SAME_BEAT
    };
    let group = firsts.iter().position(|at| here(*at));
    match group.filter(|group| group + 1 < firsts.len()) {
        Some(group) => {
            let first = firsts[group.saturating_sub(1)];
            let end = firsts.get(group + 3).copied().unwrap_or(notes.len());
            Ok((first, end))
        }
        None => {
            let beats: Vec<String> = firsts
                .iter()
                .filter(|at| notes[**at].expected.printed_bar == bar)
                .map(|at| words::beat(notes[*at].expected.beat))
                .collect();
            let none = beats.is_empty();
            Err(NotThere::NoJoin {
                pass: pass.number,
                bar,
                beat,
                beats: if none {
                    "no beat of this pass".to_owned()
                } else {
                    beats.join(", ")
                },
            })
        }
    }
}
