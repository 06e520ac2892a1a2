//! The record of practice as a page: each line with its days, its tempos and its joins, day by day.

use std::fmt::Write as _;

use super::bar::{Drawn, WIDTH};
use super::document::{Document, document, section};
use super::draw::{Drawing, escaped, exact};
use super::{Picture, picture};
use crate::progress::record::{Day, JoinDay, LineDay, LineRecord, PractisedJoin};
use crate::progress::store::read::AtTempo;
use crate::report::json::{DECIMALS_MS, DECIMALS_SHARE};
use crate::report::log::{LogSettings, Shown, ago, faults, mean_gap, of_passes, whose};
use crate::words;

/// Left, and beneath what is drawn to scale.
const LEFT: f64 = 44.0;
const FOOT: f64 = 16.0;
/// Height of the picture of a line's days, and of a join's.
const DAYS_HIGH: f64 = 84.0;
const JOIN_HIGH: f64 = 34.0;
const HEAD: f64 = 12.0;
/// Widest column of a day.
const DAY_WIDE: f64 = 22.0;

/// The page, ending with a line feed. `mark` says who made it. Never fails.
pub fn page(lines: &[Shown], settings: &LogSettings, mark: &str) -> String {
    let title = format!("Practice{}", whose(&settings.player));
    let mut body = String::new();
    if lines.is_empty() {
        body.push_str(
            "<p class=\"first\">Nothing is in the record yet. What <code>seamline play</code> hears goes in, and \
             a take that is given to <code>seamline score</code>.</p>\n",
        );
    } else {
        let takes: usize = lines.iter().map(|(line, _)| line.takes).sum();
        let passes: usize = lines.iter().map(|(line, _)| line.passes).sum();
        let _ = writeln!(
            body,
            "<p class=\"first\">{}, {}, {}, up to {}.</p>",
            words::count(lines.len(), "line"),
            words::count(takes, "take"),
            of_passes(passes),
            settings.today
        );
    }
    for (number, (line, tempos)) in (1..).zip(lines) {
        let id = format!("line{number}");
        body.push_str(&section(
            &id,
            &escaped(&line.title),
            &of_line(line, tempos, settings, &id),
        ));
    }
    let about = Document {
        title: &title,
        mark,
        ..Document::default()
    };
    document(&about, &body)
}

/// The pictures of every line's days and joins as SVG.
pub fn pictures(lines: &[Shown], mark: &str) -> Vec<Picture> {
    let mut pictures = Vec::new();
    for (number, (line, _)) in (1..).zip(lines) {
        if let Some(drawn) = days(&line.days) {
            pictures.push(picture(format!("line-{number}-days.svg"), drawn, mark));
        }
        for (join, drawn) in line
            .joins
            .iter()
            .filter_map(|join| Some((join, followed(join)?)))
        {
            let name = format!("line-{number}-note-{}.svg", join.index + 1);
            pictures.push(picture(name, drawn, mark));
        }
    }
    pictures
}

fn of_line(line: &LineRecord, tempos: &[AtTempo], settings: &LogSettings, id: &str) -> String {
    let mut out = String::new();
    let mut head = format!(
        "{}, {}",
        words::count(line.takes, "take"),
        of_passes(line.passes)
    );
    if let Some(last) = line.days.last() {
        let _ = write!(head, ", last {}", ago(last.day, settings.today));
    }
    let clean = line
        .days
        .iter()
        .filter_map(|day| Some((day.clean_share?, day.day)));
    let best = clean.max_by(|a, b| a.0.total_cmp(&b.0)).map_or_else(
        || "The whole line was not clean yet.".to_owned(),
        |(share, day)| {
            let share = words::percent(share);
            format!(
                "The whole line was clean at {share} of its tempo, {}.",
                ago(day, settings.today)
            )
        },
    );
    let _ = writeln!(out, "<p>{head}. {best}</p>");
    if let Some(drawn) = days(&line.days) {
        out.push_str(&figure(drawn));
    }
    out.push_str(&day_table(&line.title, &line.days));
    out.push_str(&tempo_table(&line.title, tempos));
    out.push_str(&joins(line, id));
    out
}

fn figure(drawn: Drawn) -> String {
    let title = escaped(&drawn.title);
    let open = format!("role=\"img\" aria-label=\"{title}; the figures stand in the tables\"");
    let svg = drawn.drawing.into_svg(&open, drawn.size, "");
    format!(
        "<div class=\"evenness\"><figure>\n{svg}<figcaption>{title}.</figcaption>\n</figure></div>\n"
    )
}

/// A column for each day: passes, and those of them that were clean.
fn days(days: &[LineDay]) -> Option<Drawn> {
    let most = days
        .iter()
        .map(|day| day.passes)
        .max()
        .filter(|most| *most > 0)?;
    let mut drawing = Drawing::default();
    let wide = ((WIDTH - LEFT - 4.0) / days.len() as f64).min(DAY_WIDE);
    let bottom = HEAD + DAYS_HIGH;
    let high = |passes: usize| DAYS_HIGH * passes as f64 / most as f64;
    for (value, label) in [(0, "0".to_owned()), (most, most.to_string())] {
        let y = bottom - high(value);
        drawing.line("grid", (LEFT, y), (LEFT + wide * days.len() as f64, y));
        drawing.word("small soft end", (LEFT - 4.0, y + 3.5), &label);
    }
    for (at, day) in days.iter().enumerate() {
        let x = LEFT + wide * at as f64;
        let clean = day.clean.min(day.passes);
        drawing.markup(&format!(
            "<g class=\"of-day\" data-day=\"{}\" data-passes=\"{}\" data-clean=\"{clean}\"><title>{}: {}, {clean} clean</title>\n",
            day.day,
            day.passes,
            day.day,
            of_passes(day.passes)
        ));
        drawing.block(
            "written",
            (x + 1.0, bottom - high(day.passes)),
            (wide - 2.0, high(day.passes)),
        );
        drawing.block(
            "sounding",
            (x + 1.0, bottom - high(clean)),
            (wide - 2.0, high(clean)),
        );
        drawing.markup("</g>\n");
    }
    ends(
        &mut drawing,
        days.first()?.day,
        days.last()?.day,
        wide * days.len() as f64,
        bottom,
    );
    Some(Drawn {
        drawing,
        size: (WIDTH, bottom + FOOT),
        title: "Passes on each day of practice, the clean ones filled".to_owned(),
    })
}

/// The first and the last day beneath a picture.
fn ends(drawing: &mut Drawing, first: Day, last: Day, wide: f64, bottom: f64) {
    drawing.word("small soft", (LEFT, bottom + 12.0), &first.to_string());
    // Two dates need some room; a single day says its own.
    if wide > 130.0 {
        drawing.word(
            "small soft end",
            (LEFT + wide, bottom + 12.0),
            &last.to_string(),
        );
    }
}

/// A join day by day: the share of its tries that had a fault; `None` where it had none at all.
fn followed(join: &PractisedJoin) -> Option<Drawn> {
    let (first, last) = (join.days.first()?, join.days.last()?);
    if faults(join).0 == 0 {
        return None;
    }
    let mut drawing = Drawing::default();
    let wide = ((WIDTH - LEFT - 4.0) / join.days.len() as f64).min(DAY_WIDE);
    let bottom = HEAD + JOIN_HIGH;
    let width = wide * join.days.len() as f64;
    for (share, label) in [(0.0, "none"), (1.0, "all")] {
        let y = bottom - JOIN_HIGH * share;
        drawing.line("grid", (LEFT, y), (LEFT + width, y));
        drawing.word("small soft end", (LEFT - 4.0, y + 3.5), label);
    }
    for (at, day) in join.days.iter().enumerate() {
        let share = day.faulty as f64 / day.tries.max(1) as f64;
        drawing.markup(&format!(
            "<g class=\"of-day\" data-day=\"{}\" data-tries=\"{}\" data-faulty=\"{}\" data-gap-ms=\"{}\"><title>{}: {} of {} with a fault</title>\n",
            day.day,
            day.tries,
            day.faulty,
            exact(day.gap_ms, DECIMALS_MS),
            day.day,
            day.faulty,
            day.tries
        ));
        let x = LEFT + wide * at as f64;
        let high = (JOIN_HIGH * share.min(1.0)).max(1.5);
        drawing.block("gap", (x + 1.0, bottom - high), (wide - 2.0, high));
        drawing.markup("</g>\n");
    }
    ends(&mut drawing, first.day, last.day, width, bottom);
    let kind = join.kind.map_or(words::JOIN, |kind| kind.word());
    Some(Drawn {
        drawing,
        size: (WIDTH, bottom + FOOT),
        title: format!(
            "{} {kind}: tries with a fault, day by day",
            words::place(join.bar, join.beat)
        ),
    })
}

fn day_table(title: &str, days: &[LineDay]) -> String {
    if days.is_empty() {
        return String::new();
    }
    let mut out = super::tables::opened(
        &format!("Days: {}", escaped(title)),
        &[
            "day",
            "minutes",
            "passes",
            "clean",
            "whole line",
            "clean at",
        ],
    );
    for day in days {
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{:.0}</td><td>{}</td><td>{}</td><td>{} of {} clean</td>\
             <td>{}</td></tr>",
            day.day,
            day.minutes,
            day.passes,
            day.clean,
            day.whole_clean,
            day.whole,
            day.clean_share
                .map_or_else(|| "-".to_owned(), words::percent)
        );
    }
    out.push_str("</tbody></table></div>\n");
    out
}

fn tempo_table(title: &str, tempos: &[AtTempo]) -> String {
    if tempos.is_empty() {
        return String::new();
    }
    let mut out = super::tables::opened(
        &format!("Tempos: {}", escaped(title)),
        &["tempo", "passes", "clean"],
    );
    for at in tempos {
        let _ = writeln!(
            out,
            "<tr data-share=\"{}\"><th scope=\"row\">{}</th><td>{}</td><td>{}</td></tr>",
            exact(Some(at.share), DECIMALS_SHARE),
            words::percent(at.share),
            at.passes,
            at.clean
        );
    }
    out.push_str("</tbody></table></div>\n");
    out
}

/// The joins that had a fault, those that cost most first, each with its days.
fn joins(line: &LineRecord, id: &str) -> String {
    let mut joins: Vec<&PractisedJoin> = line
        .joins
        .iter()
        .filter(|join| faults(join).0 > 0)
        .collect();
    joins.sort_by_key(|join| std::cmp::Reverse(faults(join).0));
    if joins.is_empty() {
        return "<p>No join had a fault.</p>\n".to_owned();
    }
    let mut out =
        format!("<h3 id=\"{id}-joins\">Joins that had a fault</h3>\n<div class=\"evenness\">\n");
    for join in &joins {
        let (faulty, tries) = faults(join);
        let gap =
            mean_gap(join).map_or_else(String::new, |gap| format!(", usual silence {gap:.0} ms"));
        let Some(drawn) = followed(join) else {
            continue;
        };
        let title = escaped(&drawn.title);
        let place = title.split(':').next().unwrap_or_default();
        let open = format!("role=\"img\" aria-label=\"{title}\"");
        let svg = drawn.drawing.into_svg(&open, drawn.size, "");
        let _ = write!(
            out,
            "<figure>\n<figcaption><b>{}</b>: {faulty} of {tries} with a fault{gap}.</figcaption>\n{svg}\
             <details><summary>Day by day</summary>\n{}</details></figure>\n",
            place,
            join_table(&format!("{}, {place}", escaped(&line.title)), &join.days)
        );
    }
    out.push_str("</div>\n");
    out
}

fn join_table(caption: &str, days: &[JoinDay]) -> String {
    let mut out = super::tables::opened(caption, &["day", "faults", "silence, ms", "clean at"]);
    for day in days {
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{} of {}</td><td>{}</td><td>{}</td></tr>",
            day.day,
            day.faulty,
            day.tries,
            day.gap_ms
                .map_or_else(|| "-".to_owned(), |gap| format!("{gap:.0}")),
            day.clean_share
                .map_or_else(|| "-".to_owned(), words::percent)
        );
    }
    out.push_str("</tbody></table></div>\n");
    out
}
