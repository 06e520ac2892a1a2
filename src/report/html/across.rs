//! The page about takes of one line that were held against each other, and its pictures.

use std::fmt::Write as _;

use super::bar::{self, Drawn};
use super::document::{Document, document, section};
use super::draw::{escaped, exact};
use super::followed::followed;
use super::{Picture, legend, picture};
use crate::compare::across::{Change, Compared};
use crate::report::across::{self as told, Across};
use crate::report::json::DECIMALS_SHARE;
use crate::session::line_info::BarSpan;
use crate::session::result::TakeResult;
use crate::words;

/// Pictures of matters followed over the passes, at most: the tables hold all of them.
const FOLLOWED_MAX: usize = 24;

/// The page, ending with a line feed. `mark` says who made it. Never fails.
pub fn page(across: &Across, mark: &str) -> String {
    let mut body = String::new();
    for (at, line) in told::opening(across).iter().enumerate() {
        let class = if at == 0 { " class=\"first\"" } else { "" };
        let _ = writeln!(body, "<p{class}>{}</p>", escaped(line));
    }
    for sentence in told::stayed(across) {
        let _ = writeln!(body, "<p>{}</p>", escaped(&sentence));
    }
    for (verdict, id, heading, caption) in [
        (Change::Better, "better", "Better", "What got better"),
        (Change::Worse, "worse", "Worse", "What got worse"),
        (
            Change::CannotTell,
            "open",
            "Cannot be told yet",
            "What the passes do not tell",
        ),
        (Change::Alike, "alike", "Alike", "What stayed"),
    ] {
        body.push_str(&section(id, heading, &part(across, verdict, caption)));
    }
    body.push_str(&section(
        "followed",
        "Followed from pass to pass",
        &follow(across),
    ));
    body.push_str(&section("bars", "Bar by bar", &bars(across)));
    let title = across
        .leading()
        .line
        .title
        .as_deref()
        .unwrap_or("Bass line");
    let title = format!("{title}: before and after");
    let about = Document {
        title: &title,
        mark,
        ..Document::default()
    };
    document(&about, &body)
}

/// Every picture of the page as SVG, in its order.
pub fn pictures(across: &Across, mark: &str) -> Vec<Picture> {
    let followed = drawn(across).into_iter().enumerate();
    let mut pictures: Vec<Picture> = followed
        .map(|(at, drawn)| picture(format!("change-{}.svg", at + 1), drawn, mark))
        .collect();
    for bar in &across.leading().line.bars {
        let drawn = of_bar(across, bar);
        pictures.push(picture(format!("bar-{}.svg", bar.number), drawn, mark));
    }
    pictures
}

/// What got one verdict, as a table; long ones can be opened.
fn part(across: &Across, verdict: Change, caption: &str) -> String {
    let found = across.with(verdict);
    if found.is_empty() {
        return match verdict {
            Change::Better | Change::Worse => "<p>Nothing that the passes tell.</p>\n".to_owned(),
            Change::Alike | Change::CannotTell => String::new(),
        };
    }
    let table = table(across, &found, caption);
    match verdict {
        Change::Better | Change::Worse => table,
        Change::Alike | Change::CannotTell => format!(
            "<details><summary>{}</summary>\n{table}</details>\n",
            words::count_of(found.len(), "place or count", "places and counts")
        ),
    }
}

fn table(across: &Across, found: &[&Compared], caption: &str) -> String {
    let line = &across.leading().line;
    let mut out = super::tables::opened(
        caption,
        &[
            "where",
            "what",
            "before, then after",
            "each pass (before | after)",
            "by chance",
            "to tell",
        ],
    );
    for one in found {
        let place = told::spot(one, line);
        let chance = one
            .p
            .map_or_else(|| words::UNKNOWN.to_owned(), chance_words);
        let more = one.more_passes.map_or_else(String::new, |more| {
            format!("{more} more {}", words::plural(more, "pass", "passes"))
        });
        let index = one
            .spot
            .as_ref()
            .map_or(String::new(), |spot| spot.note.index.to_string());
        let _ = writeln!(
            out,
            "<tr data-note=\"{index}\" data-verdict=\"{}\" data-change=\"{}\"><th scope=\"row\">{}</th>\
             <td>{}</td><td>{}</td><td>{}</td><td>{chance}</td><td>{more}</td></tr>",
            one.verdict.word(),
            exact(one.change, DECIMALS_SHARE),
            escaped(&place),
            escaped(&told::what(one, line)),
            escaped(&told::numbers(one).replace("+-", "±").replace("->", "→")),
            escaped(&told::passes(one)),
        );
    }
    out.push_str("</tbody></table></div>\n");
    out
}

/// "1 in 4000"; "less than 1 in a million".
fn chance_words(p: f64) -> String {
    match p {
        p if p < 1e-6 => "less than 1 in a million".to_owned(),
        p if p < 0.1 => {
            let one_in = 1.0 / p;
            // Two figures are all that such a number means.
            let step = 10f64.powf((one_in.log10().floor() - 1.0).max(0.0));
            format!("1 in {:.0}", (one_in / step).round() * step)
        }
        p => words::percent(p),
    }
}

fn drawn(across: &Across) -> Vec<Drawn> {
    let line = &across.leading().line;
    let told = [Change::Better, Change::Worse, Change::CannotTell];
    let all = told.into_iter().flat_map(|verdict| across.with(verdict));
    all.filter_map(|one| followed(one, line))
        .take(FOLLOWED_MAX)
        .collect()
}

fn follow(across: &Across) -> String {
    let drawn = drawn(across);
    if drawn.is_empty() {
        return String::new();
    }
    let mut out = String::from(
        "<p>A ring is a pass, the stroke through it one standard deviation of doubt; the bar lies at the middle \
         of a side.</p>\n<div class=\"evenness\">\n",
    );
    for drawn in drawn {
        let title = escaped(&drawn.title.replace("+-", "±").replace("->", "→"));
        let open = format!("role=\"img\" aria-label=\"{title}; the figures stand in the tables\"");
        let svg = drawn.drawing.into_svg(&open, drawn.size, "");
        let _ = write!(
            out,
            "<figure>\n{svg}<figcaption>{title}.</figcaption>\n</figure>\n"
        );
    }
    out.push_str("</div>\n");
    out
}

/// The picture of a bar with the passes of all takes, one below the other.
fn of_bar(across: &Across, bar: &BarSpan) -> Drawn {
    let labels: Vec<String> = across
        .takes
        .iter()
        .map(|take| match across.takes.len() {
            1 => String::new(),
            _ => format!("{}, ", told::file_name(&take.take.file)),
        })
        .collect();
    let takes = labels.iter().map(String::as_str).zip(&across.takes);
    let takes: Vec<(&str, &TakeResult)> = takes.collect();
    bar::of_takes(across.leading(), &takes, bar, false)
}

fn bars(across: &Across) -> String {
    let mut body = legend::legend(false);
    body.push_str("<div class=\"bars\">\n");
    for bar in &across.leading().line.bars {
        let drawn = of_bar(across, bar);
        let number = words::bar_number(bar.number, bar.printed.unwrap_or(bar.number));
        let title = escaped(&drawn.title);
        let open = format!("role=\"img\" aria-label=\"{title}; the figures stand in the tables\"");
        let _ = write!(
            body,
            "<section class=\"bar\" aria-label=\"Bar {number}\">\n<h3>Bar {number}</h3>\n{}</section>\n",
            drawn.drawing.into_svg(&open, drawn.size, "")
        );
    }
    body.push_str("</div>\n");
    body
}
