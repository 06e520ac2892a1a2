//! The order in which written bars are played.
//!
//! The rules, common practice with no source but where one is named:
//!
//! - A `:|` goes back to the last `|:`, or to the end of the section before, or to the start.
//! - An ending reaches to its `:|` or to where it is closed; the last one is one bar long when
//!   nothing closes it. It is played at the times it is numbered for; a section is played as often
//!   as its endings say, a lone first ending once more without it.
//! - A jump is made once, the last time its bar is played. D.S. goes to the nearest segno before
//!   it. After a jump, what was repeated before is played once, with its last ending, unless the
//!   jump says that repeats are played again (`after-jump` of MusicXML 4.0).
//! - After a jump the line ends at a *fine*, and goes from a *to coda* to the next coda.

use super::endings::{Ending, Endings};
use super::error::FaultKind;
use super::model::Bar;
use super::signs::{Jump, JumpTo, Until, check_signs};

/// Most bars of a line with its repeats played out. Fifty hours of 4/4 at 120; it keeps a few
/// signs in a small file from filling the memory.
pub(super) const MAX_PLAYED_BARS: usize = 100_000;

/// Most notes and rests of a line with its repeats played out. Ten hours of sixteenths at 120; it
/// keeps a small file of repeat signs from filling the memory.
pub(super) const MAX_EVENTS: usize = 300_000;

/// The order in which the written bars are played, as places in `bars`.
///
/// # Errors
/// The written bar and what is wrong: a jump to a sign that is not there, a number of times
/// beyond [`MAX_TIMES`], a line too long with its repeats played out.
pub(super) fn order(bars: &[Bar]) -> Result<Vec<usize>, (usize, FaultKind)> {
    if bars.iter().all(|bar| bar.signs.is_empty()) {
        return Ok((0..bars.len()).collect());
    }
    check_signs(bars)?;
    let endings = Endings::of(bars)?;
    let mut way = Way {
        bars,
        endings,
        played: Vec::new(),
        events: 0,
        start: 0,
        time: 1,
        jumped: None,
        known: vec![false; bars.len()],
        made: vec![false; bars.len()],
    };
    let mut at = Some(0);
    while let Some(bar) = at.filter(|&bar| bar < bars.len()) {
        at = way.play(bar)?;
    }
    Ok(way.played)
}

/// The way through the bars while it is walked.
struct Way<'a> {
    bars: &'a [Bar],
    endings: Endings,
    played: Vec<usize>,
    /// Notes and rests played so far.
    events: usize,
    /// Where the section begins that a `:|` goes back to.
    start: usize,
    /// Which time through that section this is, from 1.
    time: u8,
    /// The jump made last.
    jumped: Option<Jump>,
    /// Bars that were played before a jump, whose repeats are not played again.
    known: Vec<bool>,
    /// Bars whose jump was made.
    made: Vec<bool>,
}

impl Way<'_> {
    /// Plays the bar `at`, or skips it with its ending; gives the bar to go on with.
    fn play(&mut self, at: usize) -> Result<Option<usize>, (usize, FaultKind)> {
        let signs = &self.bars[at].signs;
        if signs.repeat_start && at != self.start {
            self.new_section(at);
        }
        let ending = self.endings.of_bar[at];
        if !signs.ending.is_empty()
            && let Some(ending) = ending
            && !self.is_its_time(at, ending)
        {
            let group_last = self.endings.groups[ending.group].last;
            if ending.last == group_last {
                self.new_section(ending.last + 1);
            }
            return Ok(Some(ending.last + 1));
        }
        self.played.push(at);
        self.events += self.bars[at].events.len();
        if self.played.len() > MAX_PLAYED_BARS {
            let limit = MAX_PLAYED_BARS;
            return Err((at, FaultKind::TooManyBarsPlayed { limit }));
        }
        if self.events > MAX_EVENTS {
            let limit = MAX_EVENTS;
            return Err((at, FaultKind::TooManyEventsPlayed { limit }));
        }
        if let Some(jump) = self.jumped {
            if signs.fine && jump.until != Some(Until::Coda) {
                return Ok(None);
            }
            if signs.to_coda && jump.until != Some(Until::Fine) {
                let coda = (at + 1..self.bars.len()).find(|&bar| self.bars[bar].signs.coda);
                if let Some(coda) = coda {
                    self.new_section(coda);
                    return Ok(Some(coda));
                }
            }
        }
        Ok(Some(self.after(at, ending)))
    }

    /// True when repeats and endings at `bar` are not played again.
    fn is_known(&self, bar: usize) -> bool {
        self.jumped.is_some() && self.known[bar] && !self.bars[bar].signs.repeat_again
    }

    /// Whether the ending that begins at `at` is to be played now.
    fn is_its_time(&self, at: usize, ending: Ending) -> bool {
        let group = &self.endings.groups[ending.group];
        let again = |bar: usize| self.bars[bar].signs.repeat_again;
        let mut bars = group.first..=group.last;
        if !bars.clone().any(again) && bars.any(|bar| self.is_known(bar)) {
            return ending.is_last && !group.alone;
        }
        self.bars[at].signs.ending.contains(&self.time)
    }

    fn new_section(&mut self, at: usize) {
        self.start = at;
        self.time = 1;
    }

    /// Where to go on after the bar `at` was played.
    fn after(&mut self, at: usize, ending: Option<Ending>) -> usize {
        let signs = &self.bars[at].signs;
        let at_end_of = ending.filter(|ending| ending.last == at);
        let group = at_end_of.map(|ending| &self.endings.groups[ending.group]);
        let mut next = at + 1;
        if let Some(times) = signs.repeat_end {
            let times = group.map_or(times, |group| group.times);
            if !self.is_known(at) && self.time < times {
                self.time += 1;
                return self.start;
            }
            next = group.map_or(next, |group| group.last + 1);
            self.new_section(next);
        } else if let Some(group) = group
            && (self.time >= group.times || self.is_known(at))
        {
            next = group.last + 1;
            self.new_section(next);
        }
        let Some(jump) = signs.jump.filter(|_| !self.made[at]) else {
            return next;
        };
        self.made[at] = true;
        for &bar in &self.played {
            self.known[bar] = true;
        }
        self.jumped = Some(jump);
        let is_segno = |bar: &usize| self.bars[*bar].signs.segno;
        let to = match jump.to {
            JumpTo::Start => 0,
            JumpTo::Segno => {
                let before = (0..=at).rev().find(is_segno);
                let after = || (at..self.bars.len()).find(is_segno);
                before.or_else(after).unwrap_or(0)
            }
        };
        // A repeat that is played again goes back to the section the jump leads into.
        let section = (0..=to)
            .rev()
            .find(|&bar| self.bars[bar].signs.repeat_start);
        self.new_section(section.unwrap_or(0));
        to
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::line::meter::Meter;
    use crate::music::line::signs::Signs;
    use crate::music::theory::Key;

    /// The bars of a text such as `|: 1 2 [1 3 :| [2 4`, one word a bar, and the order it gives.
    fn played(text: &str) -> Result<String, (usize, FaultKind)> {
        let mut bars: Vec<Bar> = Vec::new();
        let mut names: Vec<&str> = Vec::new();
        let mut coming = Signs::default();
        for word in text.split(' ') {
            let jump = |to, until| Jump { to, until };
            let last = bars.last_mut().map(|bar| &mut bar.signs);
            match (word, last) {
                ("|:", _) => coming.repeat_start = true,
                ("segno", _) => coming.segno = true,
                ("coda", _) => coming.coda = true,
                (":|", Some(last)) => last.repeat_end = Some(2),
                (":x3|", Some(last)) => last.repeat_end = Some(3),
                ("]", Some(last)) => last.ending_end = true,
                ("fine", Some(last)) => last.fine = true,
                ("tocoda", Some(last)) => last.to_coda = true,
                ("D.C.", Some(last)) => last.jump = Some(jump(JumpTo::Start, None)),
                ("D.S.", Some(last)) => last.jump = Some(jump(JumpTo::Segno, None)),
                ("D.C.fine", Some(last)) => {
                    last.jump = Some(jump(JumpTo::Start, Some(Until::Fine)));
                }
                ("D.S.coda", Some(last)) => {
                    last.jump = Some(jump(JumpTo::Segno, Some(Until::Coda)));
                }
                ("again", Some(last)) => last.repeat_again = true,
                (ending, _) if ending.starts_with('[') => {
                    let numbers = ending[1..].split(',');
                    coming.ending = numbers.map(|number| number.parse().unwrap()).collect();
                }
                (name, _) => {
                    names.push(name);
                    let mut bar = Bar::new(Meter::default(), Key::default());
                    bar.signs = std::mem::take(&mut coming);
                    bars.push(bar);
                }
            }
        }
        order(&bars).map(|way| way.iter().map(|&at| names[at]).collect())
    }

    #[test]
    fn bars_are_played_as_any_handbook_of_notation_says() {
        for (written, wanted) in [
            ("a b c", "abc"),
            ("a b :| c", "ababc"),
            ("a |: b :| c", "abbc"),
            ("a |: b :x3| c", "abbbc"),
            ("a :| b :| c", "aabbc"),
            ("|: a [1 b :| [2 c d", "abacd"),
            ("|: a [1,2 b :| [3 c d", "ababacd"),
            ("|: a [1 b b ] :| [2 c c ] d", "abbaccd"),
            ("|: a [1 b :| [2 c :| [3 d e", "abacade"),
            ("|: a [1 b :| c", "abac"),
            ("|: a [1 b :| [2 c |: d :| e", "abacdde"),
            ("|: a [1 b :| [2 c ] d :| e", "abacdde"),
            ("a b fine c D.C.", "abcab"),
            ("a b fine c D.C.fine", "abcab"),
            ("a segno b c fine d D.S.", "abcdbc"),
            ("a segno b tocoda c D.S.coda coda d e", "abcbde"),
            ("a b tocoda c D.C. coda d", "abcabd"),
            // Repeats are not played again after a jump, and the last ending is.
            ("|: a :| b fine c D.C.", "aabcab"),
            ("|: a [1 b :| [2 c ] d D.C.", "abacdacd"),
            ("|: a [1 b :| c D.C.", "abacac"),
            ("|: a again :| b fine c D.C.", "aabcaab"),
            ("|: a [1 b again :| [2 c ] fine d D.C.", "abacdabac"),
            (
                "a segno b |: c :| tocoda d D.S.coda coda |: e :|",
                "abccdbcee",
            ),
            // A jump at the end of a repeat is made the last time.
            ("a |: b fine c :| D.C.", "abcbcab"),
        ] {
            assert_eq!(played(written).unwrap(), wanted, "{written}");
        }
    }

    #[test]
    fn signs_that_lead_nowhere_are_refused_where_they_stand() {
        for (written, at, kind) in [
            ("a b D.S.", 1, FaultKind::NoSegno),
            ("a b D.C.fine", 1, FaultKind::NoFine),
            ("a segno b D.S.coda", 1, FaultKind::NoToCoda),
            ("coda a b tocoda", 1, FaultKind::NoCoda),
            ("a [1 b [2 c", 1, FaultKind::EndingWithoutRepeat),
            ("a [0 b :|", 1, FaultKind::Times { given: 0 }),
            ("a [65 b :|", 1, FaultKind::Times { given: 65 }),
        ] {
            assert_eq!(played(written), Err((at, kind)), "{written}");
        }
    }

    #[test]
    fn few_signs_cannot_fill_the_memory() {
        let mut bars = vec![Bar::new(Meter::default(), Key::default()); 3000];
        for bar in &mut bars {
            bar.signs.jump = Some(Jump {
                to: JumpTo::Start,
                until: None,
            });
        }
        let limit = MAX_PLAYED_BARS;
        let fault = order(&bars).unwrap_err().1;
        assert_eq!(fault, FaultKind::TooManyBarsPlayed { limit });
    }
}
