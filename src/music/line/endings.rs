//! Endings: which bars they take in, and at which times they are played.

use super::error::FaultKind;
use super::model::Bar;

/// An ending: its bars and its times.
#[derive(Clone, Copy)]
pub(super) struct Ending {
    pub last: usize,
    pub group: usize,
    pub is_last: bool,
}

/// Endings that follow each other.
pub(super) struct Group {
    pub first: usize,
    pub last: usize,
    /// How often the section before it is played.
    pub times: u8,
    /// True for a lone ending with a `:|`: the last time it is left out.
    pub alone: bool,
}

/// The endings of a line.
pub(super) struct Endings {
    /// The ending each bar lies in.
    pub of_bar: Vec<Option<Ending>>,
    pub groups: Vec<Group>,
}

/// The last bar of the ending that begins at `first`, as far as its signs tell.
fn closed_at(bars: &[Bar], first: usize) -> Option<usize> {
    for at in first..bars.len() {
        let signs = &bars[at].signs;
        let next = bars.get(at + 1).map(|bar| &bar.signs);
        if signs.ending_end || next.is_some_and(|next| !next.ending.is_empty()) {
            return Some(at);
        }
        if signs.repeat_end.is_some() {
            return Some(at);
        }
        if next.is_none_or(|next| next.repeat_start) {
            return None;
        }
    }
    None
}

/// Takes away the ends of endings that their other signs give.
pub(super) fn tidy(bars: &mut [Bar]) {
    let Ok(endings) = Endings::of(bars) else {
        return;
    };
    let mut first = 0;
    for (at, bar) in bars.iter_mut().enumerate() {
        let signs = &mut bar.signs;
        if !signs.ending.is_empty() {
            first = at;
        }
        if !signs.ending_end {
            continue;
        }
        let ending = endings.of_bar[at].filter(|ending| ending.last == at);
        let Some(ending) = ending else {
            signs.ending_end = false;
            continue;
        };
        let leads = endings.groups[ending.group].first == first;
        let given = if ending.is_last && !leads {
            // The last of several is one bar long, whatever ends it.
            at == first
        } else {
            signs.repeat_end.is_some() || !ending.is_last || at == first
        };
        signs.ending_end = !given;
    }
}

impl Endings {
    pub fn of(bars: &[Bar]) -> Result<Self, (usize, FaultKind)> {
        let mut endings = Self {
            of_bar: vec![None; bars.len()],
            groups: Vec::new(),
        };
        let mut at = 0;
        while at < bars.len() {
            if bars[at].signs.ending.is_empty() {
                at += 1;
                continue;
            }
            at = endings.add_group(bars, at)?;
        }
        Ok(endings)
    }

    /// Adds the endings from bar `first` on; gives the bar after them.
    fn add_group(&mut self, bars: &[Bar], first: usize) -> Result<usize, (usize, FaultKind)> {
        let group = self.groups.len();
        let begins = |at: usize| bars.get(at).is_some_and(|bar| !bar.signs.ending.is_empty());
        let (mut at, mut times, mut count) = (first, 1, 0);
        let repeated = loop {
            let closed = closed_at(bars, at);
            let mut last = closed.unwrap_or(at);
            let follows = begins(last + 1);
            if !follows && count > 0 && !bars[last].signs.ending_end && !begins(at + 1) {
                // The last of several that nothing but a later `:|` closes is one bar long.
                last = at;
            }
            let signs = &bars[last].signs;
            let repeated = signs.repeat_end.is_some();
            if follows && !repeated && signs.jump.is_none() {
                return Err((last, FaultKind::EndingWithoutRepeat));
            }
            times = bars[at].signs.ending.iter().copied().fold(times, u8::max);
            times = times.max(signs.repeat_end.filter(|&times| times > 2).unwrap_or(1));
            count += 1;
            for place in &mut self.of_bar[at..=last] {
                *place = Some(Ending {
                    last,
                    group,
                    is_last: !follows,
                });
            }
            at = last + 1;
            if !follows {
                break repeated;
            }
        };
        let alone = count == 1 && repeated;
        self.groups.push(Group {
            first,
            last: at - 1,
            times: if alone {
                times.saturating_add(1)
            } else {
                times
            },
            alone,
        });
        Ok(at)
    }
}
