//! What a line writes beside its bars and notes, for its page: repeats and jumps, accents, grace
//! notes, and which of its bars are shown.

use std::collections::{HashMap, HashSet};

use super::marks::{Mark, plain};
use super::sheet::repeats::at_end;
use super::staff::System;
use crate::music::expected::ExpectedNote;
use crate::music::line::{GraceNote, Line, Signs};
use crate::music::theory::pitch_class_in;
use crate::session::line_info::BarSpan;

/// The bars of a line as they are written, found by their numbers as played.
pub(super) struct Written<'a> {
    line: &'a Line,
    /// Of each bar as played, the bar that is written for it, from 0.
    order: Vec<usize>,
    /// Numbers as played of the bars to be shown, each written bar once.
    shown: HashSet<u32>,
}

impl<'a> Written<'a> {
    /// The bars printed as `bars` (all when `None`), each where it is played for the first time.
    pub(super) fn new(line: &'a Line, bars: Option<(u32, u32)>) -> Self {
        let order = line.order();
        let mut seen = HashSet::new();
        let wanted = |bar: u32| {
            let printed = line.printed_bar(bar);
            bars.is_none_or(|(from, to)| (from..=to).contains(&printed))
        };
        let numbered = (line.first_bar()..).zip(&order);
        let shown = numbered
            .filter(|&(bar, written)| wanted(bar) && seen.insert(*written))
            .map(|(bar, _)| bar)
            .collect();
        Self { line, order, shown }
    }

    /// True for a bar that is to be shown, by its number as played.
    pub(super) fn is_shown(&self, bar: u32) -> bool {
        self.shown.contains(&bar)
    }

    fn signs(&self, bar: &BarSpan) -> Option<&'a Signs> {
        let at = bar.number.checked_sub(self.line.first_bar())?;
        let written = *self.order.get(at as usize)?;
        Some(&self.line.written_bars().get(written)?.signs)
    }

    /// Repeats, endings and jumps above the bars of a system.
    pub(super) fn marks(&self, system: &System) -> Vec<Mark> {
        let mut marks = Vec::new();
        for segment in &system.segments {
            let Some(signs) = self.signs(segment.bar) else {
                continue;
            };
            let before = before(signs);
            if segment.begins_bar() && !before.is_empty() {
                marks.push(plain(segment.column, &before));
            }
            let after = after(signs);
            if segment.ends_bar() && !after.is_empty() {
                let end = segment.column + segment.width;
                marks.push(plain(end.saturating_sub(after.chars().count()), &after));
            }
        }
        marks
    }
}

/// What stands at the head of a bar: "|: 1.".
fn before(signs: &Signs) -> String {
    let mut words = Vec::new();
    if signs.repeat_start {
        words.push("|:".to_owned());
    }
    if signs.segno {
        words.push("Segno".to_owned());
    }
    if signs.coda {
        words.push("Coda".to_owned());
    }
    if !signs.ending.is_empty() {
        let times: Vec<String> = signs.ending.iter().map(|time| format!("{time}.")).collect();
        words.push(format!("[{}", times.join(" ")));
    }
    words.join(" ")
}

/// What stands at the end of a bar: "D.C. al Fine", ":|".
fn after(signs: &Signs) -> String {
    let mut words = vec![at_end(signs)];
    if signs.ending_end && signs.repeat_end.is_none() {
        words.push("]".to_owned());
    }
    if signs.repeat_end.is_some() {
        words.push(":|".to_owned());
    }
    words.retain(|word| !word.is_empty());
    words.join(" ")
}

/// A mark at each accented note or chord.
pub(super) fn accents(system: &System, notes: &[ExpectedNote]) -> Vec<Mark> {
    let placed = system.segments.iter().flat_map(|segment| &segment.notes);
    placed
        .filter(|(index, _)| {
            let note = notes.get(*index);
            note.is_some_and(|note| note.accent && !note.with_previous)
        })
        .map(|&(_, column)| plain(column, "^"))
        .collect()
}

/// The grace notes by the number of the note they lead to, as string and fret: "3:4", "3:4&2:5".
pub(super) fn graces_told(line: &Line, graces: &[GraceNote]) -> HashMap<usize, String> {
    let mut told: HashMap<usize, String> = HashMap::new();
    for grace in graces {
        let text = told.entry(grace.before).or_default();
        if !text.is_empty() {
            text.push(if grace.with_previous { '&' } else { ' ' });
        }
        let ghost = if grace.ghost { "x" } else { "" };
        text.push_str(ghost);
        match grace.place {
            Some(place) => text.push_str(&format!("{}:{}", place.string, place.fret)),
            None => text.push_str(&pitch_class_in(f64::from(grace.midi), Some(line.key()))),
        }
    }
    told
}

/// The grace notes at the notes they lead to.
pub(super) fn graces(system: &System, told: &HashMap<usize, String>) -> Vec<Mark> {
    let placed = system.segments.iter().flat_map(|segment| &segment.notes);
    placed
        .filter_map(|&(index, column)| Some(plain(column, told.get(&index)?)))
        .collect()
}
