//! The rules a line obeys, checked when it is made.

use super::endings;
use super::error::{FaultKind, LineFault};
use super::length::{Length, MAX_QUARTERS, UNITS_PER_QUARTER};
use super::model::{Bar, EventKind, Lacks, LineParts};
use super::order;
use super::rules::{Before, check_bar_length, check_events, check_marks, event_at_fault, is_notes};

/// Highest number the first bar may have, so that bar numbers stay far from overflow.
pub(super) const MAX_FIRST_BAR: u32 = 1_000_000;

/// What a reader did not understand of a bar, so that nothing else is blamed for it.
#[derive(Clone, Debug, Default)]
pub(super) struct Doubts {
    /// True when the bar's written length cannot be told.
    pub length: bool,
    /// Events (from 0) with something before them that was not understood and may sound; the
    /// number of events stands for the end of the bar.
    pub before: Vec<usize>,
    /// The bar, from 0, of which this one is a copy: its faults are not told again.
    pub copy_of: Option<usize>,
}

/// The parts in order and without a fault, or the first fault.
pub(super) fn checked(parts: LineParts) -> Result<LineParts, LineFault> {
    let parts = tidied(parts);
    match faults(&parts, &[], 1).into_iter().next() {
        Some(fault) => Err(fault),
        None => Ok(parts),
    }
}

/// The faults of `parts` (see [`tidied`]), a bar after the other, at most `limit` and those of one
/// bar. `doubts` has an entry for each bar, or none at all when everything was understood.
pub(super) fn faults(parts: &LineParts, doubts: &[Doubts], limit: usize) -> Vec<LineFault> {
    if parts.first_bar > MAX_FIRST_BAR {
        return vec![FaultKind::TooLong.anywhere()];
    }
    let mut checking = Checking {
        parts,
        doubts,
        limit,
        found: Vec::new(),
    };
    let order = order::order(&parts.bars).unwrap_or_else(|(bar, kind)| {
        let fault = at_bar(parts, bar, None, kind);
        checking.found.push(fault);
        (0..parts.bars.len()).collect()
    });
    checking.bars(&order);
    let mut found = checking.found;
    let far = |fault: &LineFault| fault.bar_index.unwrap_or(usize::MAX);
    found.sort_by_key(far);
    if found.len() >= limit || found.iter().any(|fault| fault.kind == FaultKind::TooLong) {
        return found;
    }
    found.extend(swing_fault(parts));
    if !parts.bars.iter().any(has_notes) {
        found.push(FaultKind::NoNotes.anywhere());
    }
    found
}

/// The faults of a line while they are gathered.
struct Checking<'a> {
    parts: &'a LineParts,
    doubts: &'a [Doubts],
    limit: usize,
    found: Vec<LineFault>,
}

impl Checking<'_> {
    /// Checks the bars in the order in which they are played, then those that never are.
    fn bars(&mut self, order: &[usize]) {
        let mut seen = vec![false; self.parts.bars.len()];
        let mut before = Before::Silence;
        let mut total = Length::ZERO;
        for &index in order {
            if self.found.len() >= self.limit {
                return;
            }
            before = self.bar(index, before, std::mem::replace(&mut seen[index], true));
            total += self.parts.bars[index].length();
            if total.units() > MAX_QUARTERS * UNITS_PER_QUARTER {
                self.found.push(FaultKind::TooLong.anywhere());
                return;
            }
        }
        for index in (0..seen.len()).filter(|&index| !seen[index]) {
            if self.found.len() >= self.limit {
                return;
            }
            self.bar(index, Before::Unknown, false);
        }
    }

    /// Checks a bar; of one seen before only what comes from the way into it. Gives what stands
    /// before the next one.
    fn bar(&mut self, index: usize, before: Before, seen: bool) -> Before {
        let (parts, bar) = (self.parts, &self.parts.bars[index]);
        let understood = Doubts::default();
        let doubt = self.doubts.get(index).unwrap_or(&understood);
        let found = &mut self.found;
        let mut add = |event: Option<usize>, kind: FaultKind| {
            let same_in = |bar: usize| {
                let same = |fault: &LineFault| {
                    fault.bar_index == Some(bar) && fault.event == event && fault.kind == kind
                };
                found.iter().any(same)
            };
            if !(doubt.copy_of.is_some_and(same_in) || seen && same_in(index)) {
                found.push(at_bar(parts, index, event, kind));
            }
        };
        let after = check_events(parts, bar, doubt, before, &mut add);
        if !doubt.length && !seen {
            let first_in_doubt = self.doubts.first().is_some_and(|first| first.length);
            match check_bar_length(parts, index, first_in_doubt) {
                Err(kind) => add(event_at_fault(bar, &kind), kind),
                Ok(()) => {
                    if let Err(kind) = check_marks(bar) {
                        add(None, kind);
                    }
                }
            }
        }
        after
    }
}

/// The number printed for each bar.
pub(super) fn printed_numbers(parts: &LineParts) -> Vec<u32> {
    let mut next = if parts.pickup { 0 } else { parts.first_bar };
    let number = |bar: &Bar| {
        let printed = bar.printed.unwrap_or(next);
        next = printed.saturating_add(1);
        printed
    };
    parts.bars.iter().map(number).collect()
}

fn at_bar(parts: &LineParts, index: usize, event: Option<usize>, kind: FaultKind) -> LineFault {
    LineFault {
        bar_index: Some(index),
        bar: printed_numbers(parts).get(index).copied(),
        event,
        kind,
    }
}

fn has_notes(bar: &Bar) -> bool {
    bar.events.iter().any(|event| is_notes(&event.kind))
}

/// Swing is counted in pairs of eighths to a quarter; the first bar of another meter.
fn swing_fault(parts: &LineParts) -> Option<LineFault> {
    parts.swing?;
    let index = parts
        .bars
        .iter()
        .position(|bar| !bar.meter.is_in_quarters())?;
    let meter = parts.bars[index].meter;
    Some(at_bar(parts, index, None, FaultKind::SwingMeter { meter }))
}

/// A title on one line: runs of white space and control characters become one space.
fn tidy_title(title: &str) -> String {
    let plain: String = title
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The parts in order: one title line, chord members from the lowest up, a tempo mark at the very
/// start as the opening tempo, 1:1 as no swing, no number that counting gives, no mark on a rest.
pub(super) fn tidied(mut parts: LineParts) -> LineParts {
    parts.title = tidy_title(&parts.title);
    if parts.pickup {
        parts.first_bar = 0;
    }
    parts.swing = parts.swing.filter(|swing| !swing.is_straight());
    for event in parts.bars.iter_mut().flat_map(|bar| &mut bar.events) {
        for grace in &mut event.graces {
            grace.notes.sort_by_key(|note| note.midi);
        }
        event.accent &= is_notes(&event.kind);
        match &mut event.kind {
            EventKind::Notes { notes, .. } => notes.sort_by_key(|note| note.midi),
            EventKind::Rest => event.breath_after = false,
            EventKind::Hold => {}
        }
    }
    endings::tidy(&mut parts.bars);
    // A part of another line keeps the number as played beside the printed one.
    let whole = !parts.pickup && parts.first_bar == 1;
    if let Some(first) = parts.bars.first_mut().filter(|_| whole) {
        parts.first_bar = first.printed.take().unwrap_or(parts.first_bar);
    }
    let mut next = parts.first_bar;
    for bar in &mut parts.bars {
        bar.signs.ending.sort_unstable();
        bar.signs.ending.dedup();
        bar.printed = bar.printed.filter(|&printed| printed != next);
        next = bar.printed.unwrap_or(next).saturating_add(1);
    }
    if let Some(first) = parts.bars.first_mut().filter(|_| parts.pickup) {
        first.lacks = Lacks::Nothing;
    }
    if let Some(first) = parts.bars.first_mut()
        && first
            .tempos
            .first()
            .is_some_and(|mark| mark.at == Length::ZERO)
    {
        parts.tempo = first.tempos.remove(0).tempo;
    }
    parts
}
