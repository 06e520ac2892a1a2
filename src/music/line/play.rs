//! Bars as they are played: repeats counted out, and parts cut from a line.

use std::ops::RangeInclusive;

use super::error::LineFault;
use super::length::Length;
use super::model::{Bar, Event, EventKind, Lacks, LineParts, Start, TempoMark};
use super::signs::Signs;
use super::tempo::Tempo;

/// The tempo in force at the start of each bar, and after the last.
fn tempos(opening: Tempo, bars: &[Bar]) -> Vec<Tempo> {
    let mut tempo = opening;
    let mut tempos = vec![tempo];
    for bar in bars {
        tempo = bar.tempos.last().map_or(tempo, |mark| mark.tempo);
        tempos.push(tempo);
    }
    tempos
}

/// Sets the tempo at the start of a bar, unless the bar sets one there itself.
fn begin_at(bar: &mut Bar, tempo: Tempo) {
    let sets = |mark: &TempoMark| mark.at == Length::ZERO;
    if !bar.tempos.first().is_some_and(sets) {
        let at = Length::ZERO;
        bar.tempos.insert(0, TempoMark { at, tempo });
    }
}

/// The bars of `parts` in the order in which they are played, without signs. A bar that is jumped
/// into has the tempo that holds where it stands.
pub(super) fn played_bars(parts: &LineParts, order: &[usize]) -> Vec<Bar> {
    let tempos = tempos(parts.tempo, &parts.bars);
    let mut played: Vec<Bar> = Vec::with_capacity(order.len());
    let mut before: Option<usize> = None;
    for (at, &written) in order.iter().enumerate() {
        let mut bar = parts.bars[written].clone();
        bar.signs = Signs::default();
        let missing = bar.meter.bar_length() - bar.length();
        if missing.is_positive() && bar.lacks == Lacks::Nothing {
            // The pick-up once more, or a last bar that it completes, inside the line.
            if written == 0 && at > 0 {
                bar.lacks = Lacks::Beginning;
            } else if at > 0 && at + 1 < order.len() {
                bar.lacks = Lacks::End;
            }
        }
        if let Some(before) = before
            && before + 1 != written
            && tempos[before + 1] != tempos[written]
        {
            begin_at(&mut bar, tempos[written]);
        }
        before = Some(written);
        played.push(bar);
    }
    played
}

/// A line of the bars in `stretches`, numbers as played; all of them must be there.
pub(super) fn cut(
    parts: &LineParts,
    played: &[Bar],
    printed: &[u32],
    stretches: &[RangeInclusive<u32>],
) -> Result<LineParts, LineFault> {
    let tempos = tempos(parts.tempo, played);
    let first_bar = stretches.first().map_or(0, |first| *first.start());
    let mut bars: Vec<Bar> = Vec::new();
    let mut opening = parts.tempo;
    let mut tempo = parts.tempo;
    for stretch in stretches {
        let start = (stretch.start() - parts.first_bar) as usize;
        let end = (stretch.end() - parts.first_bar) as usize;
        let mut taken = played[start..=end].to_vec();
        for (bar, &printed) in taken.iter_mut().zip(&printed[start..]) {
            bar.printed = Some(printed);
        }
        strike_what_is_tied_in(&mut taken, &played[..start]);
        match taken.first_mut() {
            Some(first) if !bars.is_empty() => {
                if tempo != tempos[start] {
                    begin_at(first, tempos[start]);
                }
            }
            _ => opening = tempos[start],
        }
        tempo = tempos[end + 1];
        bars.extend(taken);
    }
    let pickup = parts.pickup && first_bar == parts.first_bar;
    if let (false, Some(last)) = (pickup, bars.last_mut()) {
        // A last bar that completed the pick-up is filled up, now that the pick-up is gone.
        let missing = last.meter.bar_length() - last.length();
        if missing.is_positive() && last.lacks == Lacks::Nothing {
            last.events.push(Event::rest(missing));
        }
    }
    let first_number = bars.first().and_then(|bar| bar.printed);
    if first_number == Some(first_bar) {
        bars[0].printed = None;
    }
    Ok(LineParts {
        tempo: opening,
        first_bar,
        pickup,
        bars,
        ..parts.clone_header()
    })
}

/// Strikes at the start of `bars` what sounded on from `before`.
fn strike_what_is_tied_in(bars: &mut [Bar], before: &[Bar]) {
    let sounding = before
        .iter()
        .rev()
        .flat_map(|bar| bar.events.iter().rev())
        .find_map(|event| match &event.kind {
            EventKind::Notes {
                notes, staccato, ..
            } => Some((notes.clone(), *staccato)),
            _ => None,
        });
    let Some(first) = bars.first_mut().and_then(|bar| bar.events.first_mut()) else {
        return;
    };
    if let Some(grace) = first.graces.first_mut() {
        grace.start = Start::Plucked;
        return;
    }
    match (&mut first.kind, sounding) {
        (kind @ EventKind::Hold, Some((notes, staccato))) => {
            *kind = EventKind::Notes {
                notes,
                start: Start::Plucked,
                staccato,
            };
        }
        (EventKind::Notes { start, .. }, _) => *start = Start::Plucked,
        _ => {}
    }
}
