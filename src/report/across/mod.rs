//! The page about a line played before and after: what got better, what got worse, what stayed, and what cannot be
//! told yet.

pub mod json;
mod phrases;

#[cfg(test)]
mod tests;

use std::cmp::Ordering;

pub(super) use self::phrases::{file_name, numbers, spot, what};
use self::phrases::{followed, more_words, sides};
use super::page::{COLUMNS_MAX, COLUMNS_MIN, Tone, clean, paint, wrap};
use super::phrases::one_decimal;
use crate::compare::across::chance::{FALSE_SHARE, Share};
use crate::compare::across::{
    ASSUMED_MS, ASSUMED_SHARE, Change, Compared, Comparison, Matter, Sides,
};
use crate::session::result::TakeResult;
use crate::words;

/// Rows of each part of the page where not all are asked for.
const BETTER_SHOWN: usize = 5;
const WORSE_SHOWN: usize = 4;
const OPEN_SHOWN: usize = 3;
/// Columns that a place takes.
const PLACE_COLUMNS: usize = 18;

/// Takes of one line that were held against each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Across {
    /// The takes, in order of time; at least one.
    pub takes: Vec<TakeResult>,
    /// How many of them are the earlier side; of a single take how many of its passes.
    pub before: usize,
    /// What came out.
    pub comparison: Comparison,
}

impl Across {
    /// The take by whose line the page speaks: the one that shows most bars, the first of such.
    pub(super) fn leading(&self) -> &TakeResult {
        let bars = |take: &&TakeResult| take.line.bars.len();
        let first_of_most = self.takes.iter().rev().max_by_key(bars);
        first_of_most.expect("a comparison is of one take at least")
    }

    /// What got this verdict, the largest change first.
    pub(super) fn with(&self, verdict: Change) -> Vec<&Compared> {
        let all = self.comparison.compared.iter();
        let mut found: Vec<&Compared> = all.filter(|one| one.verdict == verdict).collect();
        found.sort_by(|a, b| order(a, b));
        found
    }
}

/// Counts of whole takes last, then the surest first.
fn order(a: &Compared, b: &Compared) -> Ordering {
    let sure = |one: &Compared| one.p.unwrap_or(1.0);
    let size = |one: &Compared| match (one.change, one.change_sd) {
        (Some(change), Some(sd)) if sd > 0.0 => change.abs() / sd,
        _ => 0.0,
    };
    sure(a)
        .total_cmp(&sure(b))
        .then(size(b).total_cmp(&size(a)))
}

/// How a page is set.
#[derive(Clone, Copy, Debug, Default)]
pub struct AcrossSettings {
    /// Columns of the page, taken as 40 to 200.
    pub columns: usize,
    /// Whether it may be coloured.
    pub colour: bool,
    /// Everything that was compared.
    pub all: bool,
}

/// The page, ending with a line feed. Never fails.
pub fn page(across: &Across, settings: &AcrossSettings) -> String {
    let columns = settings.columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
    let mut lines = Vec::new();
    for line in opening(across) {
        lines.extend(wrap(&line, 0, columns));
    }
    let shown = |most| if settings.all { usize::MAX } else { most };
    for (verdict, heading, most, none) in [
        (
            Change::Better,
            "Better",
            BETTER_SHOWN,
            "nothing that the passes tell",
        ),
        (
            Change::Worse,
            "Worse",
            WORSE_SHOWN,
            "nothing that the passes tell",
        ),
        (Change::CannotTell, "Cannot be told yet", OPEN_SHOWN, ""),
    ] {
        let mut found = across.with(verdict);
        if verdict == Change::CannotTell {
            found.retain(|one| settings.all || is_worth_asking(one));
        }
        if found.is_empty() && none.is_empty() {
            continue;
        }
        let heading = match found.is_empty() {
            true => format!("{}: {none}", paint(heading, Tone::Strong, settings.colour)),
            false => paint(heading, Tone::Strong, settings.colour),
        };
        lines.push(heading);
        for one in found.iter().take(shown(most)) {
            lines.extend(row(across, one, columns));
        }
        let more = found.len().saturating_sub(shown(most));
        if more > 0 {
            lines.push(format!("  {more} more with --all"));
        }
    }
    if settings.all {
        let alike = across.with(Change::Alike);
        if !alike.is_empty() {
            lines.push(paint("Alike", Tone::Strong, settings.colour));
            for one in alike {
                lines.extend(row(across, one, columns));
            }
        }
    }
    for sentence in stayed(across).into_iter().chain([method(across)]) {
        lines.extend(wrap(&sentence, 0, columns));
    }
    lines.join("\n") + "\n"
}

/// Whether a player would want to know how it goes on: some passes tell it, or it looks like a change.
fn is_worth_asking(one: &Compared) -> bool {
    let is_whole = one.spot.is_none() && matches!(one.sides, Sides::Counts { .. });
    !is_whole && (one.more_passes.is_some() || one.p.is_some_and(|p| p <= FALSE_SHARE))
}

/// A matter at its place with both sides, in rows.
fn row(across: &Across, one: &Compared, columns: usize) -> Vec<String> {
    let line = &across.leading().line;
    let place = spot(one, line);
    let mut text = format!("{}: {}", what(one, line), numbers(one));
    text.push_str(&more_words(one));
    let indent = 2 + PLACE_COLUMNS + 1;
    let mut rows = wrap(&text, indent, columns);
    if place.chars().count() > PLACE_COLUMNS {
        rows.insert(0, format!("  {place}"));
    } else if let Some(first) = rows.first_mut() {
        let body = first.split_off(indent.min(first.len()));
        *first = format!("  {place:<PLACE_COLUMNS$} {body}");
    }
    rows
}

/// What is compared: "Lantern stairs: 5 passes of a.wav, then 5 of b.wav."
pub(super) fn opening(across: &Across) -> Vec<String> {
    let line = &across.leading().line;
    let title = clean(line.title.as_deref().unwrap_or("Bass line"));
    let (before, after) = sides(across);
    let mut lines = vec![format!("{title}: {before}, then {after}.")];
    let (from, to) = across.comparison.tempo_bpm;
    if let (Some(from), Some(to)) = (from, to) {
        let mut told = format!("Tempo {}, then {}.", one_decimal(from), one_decimal(to));
        if (to / from - 1.0).abs() > TEMPO_ALIKE {
            told.push_str(" At another tempo a join is another task: what changed may be that.");
        }
        lines.push(told);
    }
    lines
}

/// Tempos within this share of each other are one.
///
/// # Source
/// Just noticeable change of tempo over six intervals: 3 % (Drake & Botte 1993, Percept. Psychophys. 54, 277-286).
const TEMPO_ALIKE: f64 = 0.03;

/// What stayed, and the counts.
pub(super) fn stayed(across: &Across) -> Vec<String> {
    let all = &across.comparison.compared;
    let of = |matter| all.iter().filter(move |one| one.matter == matter);
    let alike = |matter| {
        of(matter)
            .filter(|one| one.verdict == Change::Alike)
            .count()
    };
    let part = |matter, thing| format!("{} of {} {thing}", alike(matter), of(matter).count());
    let mut stayed = vec![
        part(Matter::Gap, "joins"),
        part(Matter::Timing, "notes in their place"),
    ];
    for (matter, name) in [
        (Matter::Spread, "timing's spread"),
        (Matter::Drift, "tempo held"),
    ] {
        if alike(matter) > 0 {
            stayed.push(name.to_owned());
        }
    }
    let counts: Vec<String> = [
        (Matter::AllWrong, words::WRONG),
        (Matter::AllMissed, words::MISSED),
        (Matter::AllExtras, words::EXTRA),
        (Matter::AllRings, "over a ringing string"),
    ]
    .into_iter()
    .filter_map(|(matter, word)| {
        let Sides::Counts { before, after } = &of(matter).next()?.sides else {
            return None;
        };
        (before.of + after.of > 0).then(|| format!("{word} {} then {}", before.of, after.of))
    })
    .collect();
    let notes = of(Matter::AllWrong).find_map(|one| match &one.sides {
        Sides::Counts { before, after } => Some((before, after)),
        Sides::Numbers(_) => None,
    });
    let mut told = vec![format!("Alike: {}.", stayed.join(", "))];
    if let Some((&Share { all: before, .. }, &Share { all: after, .. })) = notes
        && !counts.is_empty()
    {
        told.push(format!(
            "Of {before} notes, then {after}: {}.",
            counts.join(", ")
        ));
    }
    told
}

/// How it was decided.
pub(super) fn method(across: &Across) -> String {
    let (before, after) = across.comparison.passes;
    let single = match before.min(after) {
        0 | 1 => format!(
            " A single pass does not show how much it differs from the next: {ASSUMED_MS} ms and {:.0} in 100 of a \
             silence or a lateness are assumed.",
            100.0 * ASSUMED_SHARE
        ),
        _ => String::new(),
    };
    format!(
        "Of all that is told as better or worse {} in 100 may be noise (Welch's t and Fisher's test, \
         Benjamini-Hochberg over {}).{single}",
        one_decimal(100.0 * FALSE_SHARE),
        words::count(across.comparison.tests, "test")
    )
}

/// A join or note over all passes: "107, 95, 88 | 4, 0, 2"; empty of counts.
pub(super) fn passes(one: &Compared) -> String {
    followed(one)
}
