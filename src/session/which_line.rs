//! Which of several lines a take is: heard once, held against each.
//!
//! It is told only where one line explains the take clearly better than every other. Lines that share
//! what was played (the same first bars, a bar or two that differ) are named together instead of guessed
//! at. Values alone: no line and no take is opened here.

use crate::compare::judgement::{Agreement, Judgement, PassJudgement, Tally};
use crate::compare::{ends, judge};
use crate::hearing::events::HeardNote;
use crate::hearing::listener::{ListenError, Listener, ListenerConfig};
use crate::music::expected::ExpectedNote;
use crate::music::line::Line;
use crate::session::ear;
use crate::session::judging::{Asked, HEADROOM_RATIO, Judging};
use crate::session::offline::{ScoreSettings, SessionError, listen};
use crate::sound::block::Source;
use crate::units::{Decibels, Hertz, MidiNote, SampleRate};

/// How many more notes must speak for a line than against it, beside the next one, before it is taken:
/// right notes count for it, wrong, missed and extra ones against it. One note that differs between two
/// lines counts twice, so this is three notes: more than a student plays by mistake in just the way in
/// which another line has it. Raised, more takes are left to be named by hand. Chosen, no source.
const AHEAD_NOTES: i64 = 6;

/// Share of the clear notes of a take that the line must explain as right notes. What is recognised by
/// holding a short line against a long take alone is not told of a take of which most is something else.
/// Raised, a take with much beside the line is left to be named by hand. Chosen, no source.
const EXPLAINED_SHARE: f64 = 0.5;

/// Two notes begin together when they lie this close, in quarters: far below what is written.
const SAME_QUARTERS: f64 = 1e-6;

/// How well a take fits a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fit {
    /// Which one, by its place among those asked about.
    pub line: usize,
    /// Right notes over all passes.
    pub right: usize,
    /// Wrong, missed and extra notes over all passes.
    pub against: usize,
}

impl Fit {
    fn ahead(self) -> i64 {
        self.right as i64 - self.against as i64
    }
}

/// Which line a take is.
#[derive(Clone, Debug, PartialEq)]
pub enum WhichLine {
    /// This one.
    One(Fit),
    /// Any of these, the likeliest first: two at least.
    Alike(Vec<Fit>),
    /// None of them. Holds the share of notes that were right in the nearest one, and which that is;
    /// `None` where nothing of any was heard.
    None(Option<(usize, f64)>),
    /// Nothing was heard.
    Nothing,
}

/// Listens to a take once and tells which of `lines` it is.
///
/// Input:   `name` is the take as messages call it; `lines` are whole lines, set to the tempo that is
///          asked for. Bars, clicks and strings in `settings` are not used.
/// Output:  the same for every way the source cuts its blocks.
/// Time:    that of one hearing, and for each line that of one comparison.
///
/// # Errors
/// When the source fails on the way, or when its rate cannot be listened to.
pub fn which_line(
    name: &str,
    source: &mut dyn Source,
    lines: &[&Line],
    settings: &ScoreSettings,
) -> Result<WhichLine, SessionError> {
    let rate = source.format().rate;
    let ear = ear_for(rate, lines, settings.a4).map_err(|cause| SessionError::Listen {
        file: name.to_owned(),
        cause,
    })?;
    let (heard, pump) = listen(source, ear, settings.block_frames)?;
    let loudest_dbfs = Decibels::from_amplitude(f64::from(pump.counted().peak)).0;
    let clear = clear_notes(&heard.notes).max(1) as f64;
    let mut fits = Vec::new();
    let mut nearest: Option<(usize, f64)> = None;
    let mut nothing = !lines.is_empty();
    for (at, line) in lines.iter().enumerate() {
        let judging = Judging {
            line,
            a4: settings.a4,
            marks: &settings.marks,
            known: &settings.known,
        };
        let asked = Asked {
            mode: settings.mode,
            ..Asked::WHOLE_LINE
        };
        let expected = line.expected(line.instrument());
        let judgement = judge(
            &expected,
            &heard.notes,
            &judging.settings(asked, loudest_dbfs),
        );
        nothing &= matches!(judgement.agreement, Agreement::NothingHeard(_));
        let fit = fit(at, &judgement);
        let share = fit.right as f64 / clear;
        match judgement.agreement {
            Agreement::Recognised if judgement.is_judged() && share >= EXPLAINED_SHARE => {
                fits.push(fit);
            }
            Agreement::Recognised => nearest = nearer(nearest, (at, share.min(EXPLAINED_SHARE))),
            Agreement::AnotherLine(share) if share > 0.0 => nearest = nearer(nearest, (at, share)),
            Agreement::AnotherLine(_) | Agreement::NothingHeard(_) => {}
        }
    }
    Ok(match decide(fits) {
        WhichLine::None(_) if nothing => WhichLine::Nothing,
        WhichLine::None(_) => WhichLine::None(nearest),
        told => told,
    })
}

/// Whether two lines have the same notes at the same places of the music: one take cannot tell them apart.
pub fn same_notes(a: &Line, b: &Line) -> bool {
    let notes = |line: &Line| line.expected(line.instrument());
    let close = |a: f64, b: f64| (a - b).abs() < SAME_QUARTERS;
    let same = |(a, b): (&ExpectedNote, &ExpectedNote)| {
        a.midi == b.midi
            && close(a.onset_quarters, b.onset_quarters)
            && close(a.length_quarters, b.length_quarters)
    };
    let (a, b) = (notes(a), notes(b));
    a.len() == b.len() && a.iter().zip(&b).all(same)
}

/// The line that lies ahead of all others, or those that are alike.
fn decide(mut fits: Vec<Fit>) -> WhichLine {
    fits.sort_by_key(|fit| std::cmp::Reverse(fit.ahead()));
    let Some(&best) = fits.first() else {
        return WhichLine::None(None);
    };
    fits.retain(|fit| best.ahead() - fit.ahead() < AHEAD_NOTES);
    match fits.len() {
        1 => WhichLine::One(best),
        _ => WhichLine::Alike(fits),
    }
}

fn fit(line: usize, judgement: &Judgement) -> Fit {
    let passes = judgement.passes.iter().filter(|pass| pass.judged);
    let sum = |of: fn(&Tally) -> usize| {
        let of_pass = |pass: &PassJudgement| of(&pass.tally);
        passes.clone().map(of_pass).sum::<usize>()
    };
    Fit {
        line,
        right: sum(|tally| tally.right),
        against: sum(|tally| tally.wrong + tally.missed + tally.extra),
    }
}

/// Notes that were clearly plucked.
fn clear_notes(heard: &[HeardNote]) -> usize {
    let mut heard = heard.to_vec();
    ends::disbelieve(&mut heard);
    heard.iter().filter(|note| ends::is_pluck(note)).count()
}

/// The likelier of two that are none; of equal ones the first.
fn nearer(best: Option<(usize, f64)>, next: (usize, f64)) -> Option<(usize, f64)> {
    match best {
        Some(best) if best.1 >= next.1 => Some(best),
        _ => Some(next),
    }
}

/// An ear for whatever one of the lines may hold: from the lowest open string of all to the highest
/// written note of all.
fn ear_for(rate: SampleRate, lines: &[&Line], a4: Hertz) -> Result<Listener, ListenError> {
    let mut open: Vec<u8> = lines
        .iter()
        .flat_map(|line| line.instrument().tuning().open_strings().iter().copied())
        .collect();
    open.sort_unstable_by(|a, b| b.cmp(a));
    open.dedup();
    let top = lines
        .iter()
        .flat_map(|line| line.expected(line.instrument()))
        .map(|note| note.midi)
        .max();
    let top = top.map_or(0.0, |midi| MidiNote(f64::from(midi)).to_hertz(a4).0);
    let config: ListenerConfig = ear::config(rate, &open, a4, Hertz(top * HEADROOM_RATIO));
    // A line that lies too high for a low rate is not recognised; the others are.
    ear::listener(config, Hertz(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::line::read_text;

    fn fits(all: &[(usize, usize)]) -> Vec<Fit> {
        let fit = |(line, &(right, against))| Fit {
            line,
            right,
            against,
        };
        all.iter().enumerate().map(fit).collect()
    }

    /// By the rule alone: three notes that differ are enough, two are not.
    #[test]
    fn a_line_is_told_only_where_it_is_clearly_ahead() {
        let one = |told: &WhichLine| match told {
            WhichLine::One(fit) => Some(fit.line),
            _ => None,
        };
        assert_eq!(decide(Vec::new()), WhichLine::None(None));
        assert_eq!(one(&decide(fits(&[(32, 0)]))), Some(0));
        assert_eq!(one(&decide(fits(&[(29, 3), (32, 0)]))), Some(1));
        for alike in [[(30, 2), (32, 0)], [(32, 0), (32, 0)], [(16, 0), (16, 1)]] {
            let WhichLine::Alike(told) = decide(fits(&alike)) else {
                panic!("{alike:?}");
            };
            assert_eq!(told.len(), 2);
            assert!(told[0].ahead() >= told[1].ahead());
        }
        // The third is behind by enough, the first two are not.
        let WhichLine::Alike(told) = decide(fits(&[(20, 12), (31, 1), (32, 0)])) else {
            panic!("two are alike");
        };
        assert_eq!(told.iter().map(|fit| fit.line).collect::<Vec<_>>(), [2, 1]);
    }

    #[test]
    fn the_same_notes_are_known_whatever_a_line_is_called() {
        let line = |text: &str| read_text(text).expect("a line");
        let one = line("title: One\ntempo: 90\n\n1/4 3:0 3:3 2:2 2:5\n");
        let again = line("title: Two\ntempo: 120\n\n1/4 A1 C2 E2 G2\n");
        let other = line("title: One\ntempo: 90\n\n1/4 3:0 3:3 2:2 2:4\n");
        let longer = line("title: One\ntempo: 90\n\n1/4 3:0 3:3 2:2 2:5\n1/1 2:5\n");
        assert!(same_notes(&one, &again));
        assert!(!same_notes(&one, &other));
        assert!(!same_notes(&one, &longer));
    }
}
