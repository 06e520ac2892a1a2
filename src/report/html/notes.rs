//! The notes of a bar in words: each opens to what its verdicts rest on, pass by pass, without a script.

use std::fmt::Write as _;

use super::curve::curve;
use super::draw::{escaped, exact};
use crate::compare::judgement::{JudgedNote, Verdict};
use crate::music::theory::pitch_in;
use crate::report::json::DECIMALS_S;
use crate::report::why::{self, MATTERS, Seen};
use crate::session::line_info::BarSpan;
use crate::session::result::{Curves, TakeResult};
use crate::words;

/// How a note went over all passes: "beat 2.5, G2, string 2 fret 5: right in 3 of 5 passes; gap 2".
pub(super) fn summary(result: &TakeResult, note: &JudgedNote) -> String {
    let expected = &note.expected;
    let key = result.line.key_at(expected.bar);
    let place = expected.place.map_or_else(String::new, |p| {
        format!(", string {} fret {}", p.string, p.fret)
    });
    let mut text = format!(
        "beat {}, {}{place}: ",
        words::beat(expected.beat),
        pitch_in(f64::from(expected.midi), key)
    );
    let seen = why::seen(result, expected.index);
    match seen.as_slice() {
        [] => text.push_str("no pass reached it"),
        [only] => text.push_str(&why::verdict(only.note, key)),
        several => {
            let of = |verdict| several.iter().filter(|s| s.note.verdict == verdict).count();
            let right = of(Verdict::Right);
            let _ = write!(text, "right in {right} of {} passes", several.len());
            for (count, word) in [
                (of(Verdict::Wrong), words::WRONG),
                (of(Verdict::Missed), words::MISSED),
            ] {
                if count > 0 {
                    let _ = write!(text, ", {word} {count}");
                }
            }
            let mut flags: Vec<_> = several.iter().flat_map(|s| &s.note.flags).collect();
            flags.sort();
            for same in flags.chunk_by(|a, b| a == b) {
                let _ = write!(text, ", {} {}", same[0].word(), same.len());
            }
        }
    }
    text
}

/// What a note can show beside its figures.
#[derive(Clone, Copy)]
pub(super) struct Beside<'a> {
    /// The page holds the sound of the take.
    pub with_sound: bool,
    /// How pitch and level move, where that is known.
    pub curves: Option<&'a Curves>,
}

/// The notes of a bar as a list; each opens to a table with a column for each pass.
pub(super) fn list(result: &TakeResult, bar: &BarSpan, beside: Beside) -> String {
    let of_bar = |note: &&JudgedNote| note.expected.bar == bar.number;
    let items: Vec<String> = result
        .judgement
        .notes
        .iter()
        .filter(of_bar)
        .map(|note| item(result, note, beside))
        .collect();
    if items.is_empty() {
        return String::new();
    }
    format!("<ul class=\"notes\">\n{}</ul>\n", items.concat())
}

fn item(result: &TakeResult, note: &JudgedNote, beside: Beside) -> String {
    let index = note.expected.index;
    let seen = why::seen(result, index);
    let odd = seen
        .iter()
        .any(|s| s.note.verdict != Verdict::Right || !s.note.flags.is_empty());
    let class = if odd { " class=\"odd\"" } else { "" };
    let summary = escaped(&summary(result, note));
    // A link to what is within opens it; to the list item itself it would not.
    let mut out = format!(
        "<li><details{class} data-of=\"{index}\"><summary>{summary}</summary>\n\
         <div id=\"n{index}\" class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"{summary}\">\n"
    );
    if seen.is_empty() {
        out.push_str("<p>No judged pass reached this note.</p>\n");
    } else {
        out.push_str(&table(result, note, &seen, beside));
    }
    out.push_str("</div></details></li>\n");
    out
}

/// A row for each matter: its figure in each pass, and the limits it was held against.
fn table(result: &TakeResult, note: &JudgedNote, seen: &[Seen], beside: Beside) -> String {
    let mut out = String::from("<table>\n<thead><tr><td></td>");
    for one in seen {
        let button = button(one, beside.with_sound);
        let _ = write!(
            out,
            "<th scope=\"col\">pass {}{button}</th>",
            one.pass.number
        );
    }
    out.push_str("<th scope=\"col\">limits</th></tr></thead>\n<tbody>\n");
    let figures: Vec<_> = seen.iter().map(why::figures).collect();
    let limits = why::limits(note, result);
    for (row, (matter, limit)) in MATTERS.iter().zip(&limits).enumerate() {
        let _ = write!(out, "<tr><th scope=\"row\">{matter}</th>");
        for pass in &figures {
            let _ = write!(out, "<td>{}</td>", escaped(&pass[row]));
        }
        let _ = writeln!(out, "<td class=\"limit\">{}</td></tr>", escaped(limit));
    }
    if let Some(curves) = beside.curves {
        out.push_str(&moves(result, note, seen, curves));
    }
    out.push_str("</tbody>\n</table>\n");
    out
}

/// The row of the curves.
fn moves(result: &TakeResult, note: &JudgedNote, seen: &[Seen], curves: &Curves) -> String {
    let tolerated = result.judgement.marks.out_of_tune_cents;
    let mut out = String::from("<tr><th scope=\"row\">over time</th>");
    for one in seen {
        let pass = one.pass.number;
        let drawn = curves.notes.get(&(pass, note.expected.index));
        let drawn = drawn.map_or_else(String::new, |moves| curve(moves, pass, tolerated));
        let _ = write!(out, "<td>{drawn}</td>");
    }
    out.push_str(
        "<td class=\"limit\">pitch above (cents, from the period of the lowest partials), level below</td></tr>\n",
    );
    out
}

/// What plays the note of one pass; it shows itself once the script runs.
fn button(seen: &Seen, with_sound: bool) -> String {
    let Some(heard) = seen.note.heard.as_ref().filter(|_| with_sound) else {
        return String::new();
    };
    format!(
        "<br><button type=\"button\" hidden data-onset-s=\"{}\" data-release-s=\"{}\">play<span \
         class=\"unseen\"> pass {}</span></button>",
        exact(Some(heard.onset_s), DECIMALS_S),
        exact(Some(heard.release_s), DECIMALS_S),
        seen.pass.number
    )
}
