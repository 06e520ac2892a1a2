//! What only the whole score tells: signs that lead nowhere, ties over bar lines.

use super::build::Built;
use super::unkept::Unkept;
use crate::music::line::error::FaultKind;
use crate::music::line::model::{Bar, Event, EventKind, Start};
use crate::music::line::order;
use crate::music::line::signs::Signs;

/// Most rounds in which signs that lead nowhere are taken away one by one; a score with more has
/// all of its signs taken away.
const MENDING_ROUNDS: usize = 100;

/// Takes away signs that lead nowhere, and says so.
pub(super) fn mend_signs(bars: &mut [Bar], unkept: &mut Unkept) {
    for _ in 0..MENDING_ROUNDS {
        let Err((at, fault)) = order::order(bars) else {
            return;
        };
        let label = bars[at].printed.unwrap_or(0);
        unkept.say(format!("bar {label}: {fault}; the sign is left out"));
        let signs = &mut bars[at].signs;
        match fault {
            FaultKind::NoCoda => signs.to_coda = false,
            FaultKind::NoSegno => signs.jump = None,
            FaultKind::NoFine | FaultKind::NoToCoda => {
                if let Some(jump) = &mut signs.jump {
                    jump.until = None;
                }
            }
            FaultKind::EndingWithoutRepeat => {
                let begins = (0..=at)
                    .rev()
                    .find(|&bar| !bars[bar].signs.ending.is_empty());
                bars[begins.unwrap_or(at)].signs.ending.clear();
            }
            _ => break,
        }
    }
    if order::order(bars).is_err() {
        unkept.say("the repeats and jumps cannot be followed and are left out".to_owned());
        for bar in bars {
            bar.signs = Signs::default();
        }
    }
}

impl Built {
    /// Ties over bar lines, as far as the notes before them are the same every time through.
    pub fn tie_bars(&mut self, unkept: &mut Unkept) {
        let order = order::order(&self.bars).unwrap_or_default();
        let count = self.bars.len();
        // Of each bar: whether it is ever entered from a bar that ends on other notes, on silence.
        let (mut differs, mut silent) = (vec![false; count], vec![false; count]);
        let mut entered = vec![false; count];
        let mut sounding: &[u8] = &[];
        for &at in &order {
            entered[at] = true;
            let first = self.bars[at].events.first();
            let own = first.map_or(Vec::new(), pitches);
            differs[at] |= own != sounding;
            silent[at] |= sounding.is_empty();
            sounding = &self.ends[at];
        }
        for at in 0..count {
            let label = self.bars[at].printed.unwrap_or(0);
            let Some(first) = self.bars[at].events.first_mut() else {
                continue;
            };
            let EventKind::Notes { start, .. } = &mut first.kind else {
                continue;
            };
            let from_grace = !first.graces.is_empty();
            let no_slur = silent[at] || !entered[at] || (*start == Start::Slurred && !differs[at]);
            if no_slur && !from_grace {
                *start = Start::Plucked;
            }
            if !self.tied_in[at] {
                continue;
            }
            if entered[at] && !differs[at] && first.graces.is_empty() {
                let (length, breath) = (first.length, first.breath_after);
                *first = Event::hold(length);
                first.breath_after = breath;
            } else {
                unkept.say(format!(
                    "bar {label}: the tie into it does not come from the same notes every time; they are struck anew"
                ));
            }
        }
    }
}

/// The pitches of an event, from the lowest up.
fn pitches(event: &Event) -> Vec<u8> {
    let EventKind::Notes { notes, .. } = &event.kind else {
        return Vec::new();
    };
    let mut pitches: Vec<u8> = notes.iter().map(|note| note.midi).collect();
    pitches.sort_unstable();
    pitches
}
