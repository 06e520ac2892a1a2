//! The tables of a page: joins, kinds of joins, passes, and the marks that were used.

use std::fmt::Write as _;

use super::draw::{escaped, exact};
use crate::compare::judgement::{JoinRecord, PassJudgement};
use crate::report::json::DECIMALS_MS;
use crate::report::phrases::one_decimal;
use crate::report::{measured, parts};
use crate::session::result::TakeResult;
use crate::words;

/// The joins that leave a gap in some pass; all others where they can be opened.
pub(super) fn joins(result: &TakeResult) -> String {
    let all = &result.judgement.joins;
    let (flagged, others): (Vec<_>, Vec<_>) = all.iter().partition(|join| join.flagged > 0);
    let mut out = String::new();
    if all.is_empty() {
        out.push_str("<p>No pass reached a legato join.</p>\n");
        return out;
    }
    if flagged.is_empty() {
        out.push_str("<p>No join leaves a gap.</p>\n");
    } else {
        out.push_str(&join_table(result, &flagged, "Joins that leave a gap"));
    }
    if !others.is_empty() {
        let _ = write!(
            out,
            "<details><summary>{} without a gap</summary>\n{}</details>\n",
            words::count(others.len(), "join"),
            join_table(result, &others, "Joins without a gap")
        );
    }
    out
}

fn join_table(result: &TakeResult, joins: &[&JoinRecord], caption: &str) -> String {
    let mut out = opened(
        caption,
        &[
            "bar",
            "beat",
            "join",
            "leaves a gap",
            "silence in each pass, ms (first to last)",
        ],
    );
    for join in joins {
        let printed = result.line.printed_bar(join.bar);
        let told = |gap: &Option<f64>| gap.map_or("?".to_owned(), |ms| format!("{ms:.0}"));
        let gaps: Vec<String> = join.gaps_ms.iter().map(told).collect();
        let figures: Vec<String> = join
            .gaps_ms
            .iter()
            .map(|ms| ms.map_or("-".to_owned(), |_| exact(*ms, DECIMALS_MS)))
            .collect();
        let _ = writeln!(
            out,
            "<tr data-join=\"{}\" data-gaps-ms=\"{}\"><th scope=\"row\">{}</th><td>{}</td>\
             <td>{}</td><td>{} of {}</td><td>{}</td></tr>",
            join.index,
            figures.join(" "),
            escaped(&words::bar_number(join.bar, printed)),
            words::beat(join.beat),
            join.join.word(),
            join.flagged,
            join.gaps_ms.len(),
            gaps.join(", ")
        );
    }
    out.push_str("</tbody></table></div>\n");
    out
}

/// The kinds of joins.
pub(super) fn kinds(result: &TakeResult) -> String {
    let kinds = &result.judgement.join_kinds;
    if kinds.is_empty() {
        return String::new();
    }
    let mut out = opened(
        "Kinds of joins",
        &["kind", "joins", "leave a gap", "usual silence, ms"],
    );
    for kind in kinds {
        let usual = kind
            .usual_gap_ms
            .map_or("?".to_owned(), |ms| format!("{ms:.0}"));
        let _ = writeln!(
            out,
            "<tr data-kind=\"{0}\" data-usual-gap-ms=\"{1}\"><th scope=\"row\">{0}</th><td>{2}</td>\
             <td>{3}</td><td>{usual}</td></tr>",
            kind.join.word(),
            exact(kind.usual_gap_ms, DECIMALS_MS),
            kind.joins,
            kind.flagged
        );
    }
    out.push_str("</tbody></table></div>\n");
    out
}

/// The passes with what is counted in each.
pub(super) fn passes(result: &TakeResult) -> String {
    let passes = &result.judgement.passes;
    if passes.is_empty() {
        return String::new();
    }
    let columns = [
        "pass",
        "bars",
        "from, s",
        "tempo",
        "spread",
        "right",
        "gaps",
        "what else",
    ];
    let mut out = opened("Passes in order of time", &columns);
    for pass in passes {
        let number = pass.number;
        let bars = escaped(&result.line.bars_words(pass.bars));
        if !pass.judged {
            let _ = writeln!(
                out,
                "<tr><th scope=\"row\">{number}</th><td>{bars}</td><td>{:.1}</td><td colspan=\"5\">too \
                 little of it was recognised to judge it</td></tr>",
                pass.from_s
            );
            continue;
        }
        let tempo = pass.timing.tempo_bpm.map_or("?".to_owned(), one_decimal);
        let spread = pass
            .timing
            .spread_ms
            .map_or("?".to_owned(), |ms| format!("{ms:.0} ms"));
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{number}</th><td>{bars}{}</td><td>{:.1}</td><td>{tempo}</td>\
             <td>{spread}</td><td>{} of {}</td><td>{}</td><td>{}</td></tr>",
            if pass.complete { "" } else { " (broken off)" },
            pass.from_s,
            pass.tally.right,
            pass.notes.len(),
            pass.tally.gaps,
            counts(pass)
        );
    }
    out.push_str("</tbody></table></div>\n");
    out
}

/// What else is counted of a pass: "1 wrong, 2 late".
fn counts(pass: &PassJudgement) -> String {
    let tally = &pass.tally;
    let rings = pass.bleed.as_deref().map_or(0, <[_]>::len);
    let told: Vec<String> = [
        (tally.wrong, words::WRONG),
        (tally.missed, words::MISSED),
        (tally.extra, words::EXTRA),
        (tally.early, words::EARLY),
        (tally.late, words::LATE),
        (tally.dead, words::DEAD),
        (tally.clipped, words::CLIPPED),
        (tally.sharp, words::SHARP),
        (tally.flat, words::FLAT),
        (tally.buzzes, words::BUZZES),
        (rings, "underneath"),
        (
            pass.stumbles.len(),
            words::plural(pass.stumbles.len(), "stop", "stops"),
        ),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, word)| format!("{count} {word}"))
    .collect();
    match told.is_empty() {
        true => "nothing".to_owned(),
        false => told.join(", "),
    }
}

/// How it was measured, and the marks used.
pub(super) fn measured(result: &TakeResult) -> String {
    let mut out = String::new();
    let parts = [
        ("Measured", measured::measured(result)),
        ("Marks used", measured::marks(result)),
    ];
    for (caption, entries) in parts {
        out.push_str(&opened(caption, &["what", "how"]));
        for (what, how) in entries {
            let _ = writeln!(
                out,
                "<tr><th scope=\"row\">{}</th><td>{}</td></tr>",
                escaped(what),
                escaped(&how)
            );
        }
        out.push_str("</tbody></table></div>\n");
    }
    out
}

/// The row about how even the levels are; empty where nothing is known.
pub(super) fn level(result: &TakeResult) -> String {
    parts::level(result).map_or_else(String::new, |told| {
        format!("<p>Level: {}.</p>\n", escaped(&told))
    })
}

/// A table up to its first row; `caption` is markup. It may be wider than a phone, and is then moved sideways.
pub(super) fn opened(caption: &str, columns: &[&str]) -> String {
    let heads: String = columns
        .iter()
        .map(|column| format!("<th scope=\"col\">{column}</th>"))
        .collect();
    format!(
        "<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"{caption}\"><table>\n\
         <caption>{caption}</caption>\n<thead><tr>{heads}</tr></thead>\n<tbody>\n"
    )
}
