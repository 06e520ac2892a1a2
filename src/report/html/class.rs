//! The table of several takes as one HTML page that needs nothing else.

use std::fmt::Write as _;

use super::document::{Document, document};
use super::draw::escaped;
use crate::report::class::{Counts, ORDER, Outcome, Row, heading};
use crate::words;

/// The columns.
const COLUMNS: [&str; 14] = [
    "who",
    "take",
    "line",
    "faulty",
    "passes",
    "right",
    "wrong",
    "missed",
    "extra",
    "early",
    "late",
    "joins with a gap",
    "rings",
    "where to begin",
];

/// Columns that a row which is not judged leaves to the reason: all behind the line.
const FIGURES: usize = COLUMNS.len() - 3;

/// What this page needs beside the look of the others: figures to the right, faults not by colour alone.
const STYLE: &str = "td.n{text-align:right;white-space:nowrap}\nth[scope=row],.begin{min-width:9em;\
                     max-width:44ch;overflow-wrap:anywhere}\nth[scope=row]{font-weight:bold}\n\
                     .not{color:var(--alarm);font-weight:bold}\n";

/// The page, ending with a line feed; `mark` says who made it. The rows stand as they are given. Never
/// fails; nothing that a row holds can become markup.
pub fn page(rows: &[Row], mark: &str) -> String {
    let mut out = format!("<p>{ORDER}</p>\n");
    let heads: String = COLUMNS
        .iter()
        .map(|column| format!("<th scope=\"col\">{column}</th>"))
        .collect();
    let _ = write!(
        out,
        "<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Takes\"><table>\n\
         <caption>Takes</caption>\n<thead><tr>{heads}</tr></thead>\n<tbody>\n"
    );
    for row in rows {
        out.push_str(&table_row(row));
    }
    out.push_str("</tbody></table></div>\n");
    let head = Document {
        title: &heading(rows),
        mark,
        style: STYLE,
        ..Document::default()
    };
    document(&head, &out)
}

fn table_row(row: &Row) -> String {
    let line = row.line.as_ref().map_or_else(String::new, |line| {
        let by_ear = if line.found { " (found by ear)" } else { "" };
        format!("{}{by_ear}", line.name())
    });
    let mut out = format!(
        "<tr><th scope=\"row\">{}</th><td class=\"begin\">{}</td><td>{}</td>",
        escaped(row.who.as_deref().unwrap_or_default()),
        escaped(&row.take),
        escaped(&line)
    );
    match &row.outcome {
        Outcome::NotJudged(why) => {
            let _ = write!(
                out,
                "<td colspan=\"{FIGURES}\"><span class=\"not\">not judged:</span> {}</td>",
                escaped(why)
            );
        }
        Outcome::Judged(counts) => {
            for figure in figures(counts) {
                let _ = write!(out, "<td class=\"n\">{figure}</td>");
            }
            let _ = write!(out, "<td class=\"begin\">{}</td>", begin(counts));
        }
    }
    out.push_str("</tr>\n");
    out
}

fn figures(counts: &Counts) -> [String; FIGURES - 1] {
    let unknown = || words::UNKNOWN.to_owned();
    let percent = counts.faulty_percent();
    [
        percent.map_or_else(unknown, |percent| format!("{percent} %")),
        counts.passes.to_string(),
        format!("{} of {}", counts.right, counts.notes),
        counts.wrong.to_string(),
        counts.missed.to_string(),
        counts.extra.to_string(),
        counts.early.to_string(),
        counts.late.to_string(),
        format!("{} of {}", counts.joins_with_gap, counts.joins),
        counts.rings.map_or_else(unknown, |rings| rings.to_string()),
    ]
}

/// Where to begin, how much of the line was not reached, and what the recording needs.
fn begin(counts: &Counts) -> String {
    let mut text = match &counts.begin {
        Some(begin) => escaped(&begin.sentence),
        None => "nothing to mend".to_owned(),
    };
    if let Some(bpm) = counts.begin.as_ref().and_then(|begin| begin.tempo_bpm) {
        let _ = write!(text, ", at {bpm}");
    }
    let unreached = counts.notes - counts.played.min(counts.notes);
    if unreached > 0 {
        let _ = write!(text, "; {} not reached", words::count(unreached, "note"));
    }
    text.push('.');
    for note in &counts.recording {
        let _ = write!(text, "<br>{}", escaped(note));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::class::samples::{HOSTILE, broken, called, judged};

    /// The page without its document type is XML here: a reader of XML finds the cells, and no element
    /// or attribute that a name has brought.
    fn cells(page: &str) -> Vec<Vec<String>> {
        // In HTML these stand without an end tag.
        let mut xml = page.replace("<!doctype html>\n", "").replace("<br>", " ");
        for tag in ["meta"] {
            let mut closed = String::new();
            for (at, part) in xml.split(&format!("<{tag} ")).enumerate() {
                if at == 0 {
                    closed.push_str(part);
                } else {
                    closed.push_str(&format!("<{tag} "));
                    closed.push_str(&part.replacen('>', "/>", 1));
                }
            }
            xml = closed;
        }
        let document = roxmltree::Document::parse(&xml).unwrap_or_else(|e| panic!("{e}\n{xml}"));
        for node in document.descendants().filter(|node| node.is_element()) {
            let known = "html head meta title style body main h1 p div table caption thead tbody tr th \
                         td span footer svg defs pattern path rect line circle";
            let name = node.tag_name().name();
            assert!(known.split_whitespace().any(|k| k == name), "{name}");
            for attribute in node.attributes() {
                assert!(!attribute.name().starts_with("on"), "{}", attribute.name());
            }
        }
        let rows = document.descendants().filter(|n| n.has_tag_name("tr"));
        let text = |node: roxmltree::Node| -> String {
            let texts = node.descendants().filter(|n| n.is_text());
            texts.filter_map(|n| n.text()).collect()
        };
        rows.skip(1)
            .map(|row| {
                row.children()
                    .filter(|n| n.is_element())
                    .map(text)
                    .collect()
            })
            .collect()
    }

    #[test]
    fn a_row_has_a_cell_for_each_column() {
        let page = page(
            &[broken("b.wav", "no sound"), judged("a.wav", 7)],
            "written by x",
        );
        assert!(page.starts_with("<!doctype html>\n<!-- written by x -->\n<html"));
        let rows = cells(&page);
        assert_eq!(rows[0], ["", "b.wav", "", "not judged: no sound"]);
        assert_eq!(
            rows[1],
            [
                "",
                "a.wav",
                "Two bars up the stairs",
                "7 %",
                "2",
                "98 of 120",
                "1",
                "1",
                "2",
                "3",
                "4",
                "5 of 60",
                "6",
                "bar 3, the shift from D2 up to Bb2: 84 ms of silence, at 77; 20 notes not reached."
            ]
        );
        assert_eq!(rows[1].len(), COLUMNS.len());
    }

    #[test]
    fn no_name_becomes_markup() {
        for name in HOSTILE {
            let rows = cells(&page(&called(name), name));
            assert_eq!(rows.len(), 2, "{name:?}");
            assert_eq!(rows[0].len(), COLUMNS.len(), "{name:?}");
        }
    }
}
