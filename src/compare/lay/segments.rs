//! A take cut where a click is known: every stretch is laid by itself, those with a click near it,
//! those without one freely.

use std::ops::Range;

use crate::compare::judgement::{Beginning, TimingMode};
use crate::compare::lay::clicks::ClickedPass;
use crate::compare::lay::costs::Sound;
use crate::compare::lay::course::Course;
use crate::compare::lay::passes::{self, Pass, SHIFTED_SHARE};
use crate::compare::lay::slots::Slot;

/// Lays a take over the line.
///
/// Input:  the sounds in order of onset; how it was timed where no click is known; the known
///         clicks in order of time.
/// Output: the passes in order of time, their events counted in the take; the last event up to
///         which it is decided which note is which.
pub(crate) fn lay(
    slots: &[Slot],
    sounds: &[Sound],
    mode: TimingMode,
    clicks: &[ClickedPass],
) -> (Vec<Pass>, Option<usize>) {
    let (mut found, mut decided): (Vec<Pass>, Option<usize>) = (Vec::new(), None);
    let mut base = 0;
    let until = |s: f64| sounds.partition_point(|sound| sound.heard.onset_s < s);
    for click in clicks {
        let from = until(click.from_s).max(base);
        let to = until(click.to_s).max(from);
        for (click, range) in [(None, base..from), (Some(click), from..to)] {
            let end = range.end;
            let part = part(slots, &sounds[range.clone()], mode, click);
            add(&mut found, &mut decided, part, range.start);
            base = end;
        }
    }
    let last = part(slots, &sounds[base..], mode, None);
    add(&mut found, &mut decided, last, base);
    (found, decided)
}

fn add(
    found: &mut Vec<Pass>,
    decided: &mut Option<usize>,
    (passes, upto): (Vec<Pass>, Option<usize>),
    base: usize,
) {
    let first = found.len();
    for mut pass in passes {
        pass.events = pass.events.start + base..pass.events.end + base;
        if found.len() == first
            && let Some(before) = found.last()
        {
            pass.began = match pass.slots.start {
                0 => Beginning::Start,
                from if from < before.slots.end => Beginning::WentBack,
                _ => Beginning::WentOn,
            };
        }
        found.push(pass);
    }
    // What lies in an earlier stretch cannot change any more once the next one has begun.
    if let Some(upto) = upto {
        *decided = Some(upto + base);
    }
}

fn part(
    slots: &[Slot],
    sounds: &[Sound],
    mode: TimingMode,
    click: Option<&ClickedPass>,
) -> (Vec<Pass>, Option<usize>) {
    if sounds.is_empty() {
        return (Vec::new(), None);
    }
    if let Some((click, asked)) = click.and_then(|click| Some((click, asked(slots, click)?))) {
        return alone(slots, sounds, click, asked);
    }
    let course = Course {
        slots,
        events: sounds,
        mode: click.map_or(mode, |_| TimingMode::Click),
        click,
        near: true,
        alone: false,
    };
    let near = passes::lay(&course);
    if click.is_none() || passes::is_found(&course, &near.0) {
        return near;
    }
    // A player who is a beat off all the way is still told which notes were right.
    let anywhere = Course {
        near: false,
        ..course
    };
    let (passes, decided) = passes::lay(&anywhere);
    if passes::right_share(&anywhere, &passes) >= SHIFTED_SHARE {
        (passes, decided)
    } else {
        near
    }
}

/// The slots of the notes that were to be played to a click; `None` for all of them.
fn asked(slots: &[Slot], click: &ClickedPass) -> Option<Range<usize>> {
    let (first, last) = click.notes?;
    let from = slots.partition_point(|slot| slot.members.end <= first);
    let to = slots.partition_point(|slot| slot.members.start <= last);
    (from < to && (from, to) != (0, slots.len())).then_some(from..to)
}

/// Lays sounds over a few notes alone, which make a bar of their own: nothing else of the line was to
/// be played.
fn alone(
    slots: &[Slot],
    sounds: &[Sound],
    click: &ClickedPass,
    asked: Range<usize>,
) -> (Vec<Pass>, Option<usize>) {
    let own = &slots[asked.clone()];
    let (first, last) = (&own[0], &own[own.len() - 1]);
    let numbered = own.iter().enumerate();
    let few: Vec<Slot> = numbered
        .map(|(at, slot)| Slot {
            bar: first.bar,
            opens_bar: at == 0,
            opening: 0,
            bar_s: first.bar_s,
            bar_end_s: last.bar_end_s,
            ..slot.clone()
        })
        .collect();
    let course = Course {
        slots: &few,
        events: sounds,
        mode: TimingMode::Click,
        click: Some(click),
        near: true,
        alone: true,
    };
    let (mut passes, decided) = passes::lay(&course);
    for pass in &mut passes {
        pass.slots = pass.slots.start + asked.start..pass.slots.end + asked.start;
    }
    (passes, decided)
}
