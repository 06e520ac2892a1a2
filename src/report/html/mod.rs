//! A judged take as one HTML page that needs nothing else, and each of its pictures as SVG; takes held against each
//! other, and the record of practice, likewise.
//!
//! | file | what lives there |
//! |---|---|
//! | `bar`, `strip`, `lanes` | the picture of a bar: as written, and each pass below it; its strings; its timing and levels |
//! | `even` | the pictures of how even time and loudness are |
//! | `across`, `followed` | takes held against each other; a join followed from pass to pass |
//! | `practice` | the record of practice over days |
//! | `clock` | where moments of a pass lie in the line |
//! | `notes` | every note in words, to be opened |
//! | `tables` | passes, joins, kinds of joins, marks |
//! | `class` | the table of several takes, a page of its own |
//! | `legend` | what the shapes mean |
//! | `sound` | the take within the page, and the script that plays a note of it |
//! | `curve` | how pitch and level move within a note |
//! | `document` | a page's head, policy and foot |
//! | `draw` | shapes as SVG, texts as HTML takes them |
//! | `palette`, `style` | colours and their contrast, the look |
//!
//! Pure functions from results to text. The page is read without a script and without a network: its
//! policy allows neither, except for the one script that comes with embedded sound. Nobody's title or
//! file name can become markup. How a pitch moves within a note is not in a result: its curves come beside it.

pub mod across;
mod bar;
pub mod class;
mod clock;
mod curve;
mod document;
mod draw;
mod even;
mod followed;
mod lanes;
mod legend;
mod notes;
mod palette;
pub mod practice;
mod sound;
mod strip;
mod style;
mod tables;

#[cfg(test)]
mod tests;

use std::fmt::Write as _;

use self::bar::Drawn;
use self::document::{Document, comment, document, section};
use self::draw::escaped;
use super::text::Practise;
use super::{opening, parts};
use crate::session::result::{Curves, TakeResult};

/// How a page is made.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PageOptions {
    /// Who made it, told in its second line; nothing where it is empty.
    pub mark: String,
    /// How the line can be practised; `None` leaves the command out.
    pub practise: Option<Practise>,
    /// The take as the bytes of a WAV file, from its first frame on; `None` embeds no sound.
    pub sound_wav: Option<Vec<u8>>,
    /// How pitch and level move within each note; `None` draws no curves.
    pub curves: Option<Curves>,
}

/// A picture as a file of its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// The name of its file: `bar-3.svg`, `time.svg`, `loudness.svg`.
    pub name: String,
    /// Its text.
    pub svg: String,
}

/// The page on a take, ending with a line feed. Never fails.
pub fn page(result: &TakeResult, options: &PageOptions) -> String {
    let with_sound = options.sound_wav.is_some();
    let beside = notes::Beside {
        with_sound,
        curves: options.curves.as_ref(),
    };
    let mut body = head(result, options);
    if let Some(wav) = &options.sound_wav {
        body.push_str(&sound::player(wav));
    }
    if result.judgement.is_judged() {
        body.push_str(&findings(result));
        body.push_str(&pictures_of_bars(result, beside));
        body.push_str(&evenness(result));
        body.push_str(&section(
            "joins",
            "Joins",
            &(tables::joins(result) + &tables::kinds(result)),
        ));
        body.push_str(&section("passes", "Passes", &tables::passes(result)));
    }
    body.push_str(&section(
        "measured",
        "How it was measured",
        &tables::measured(result),
    ));
    let (policy, script) = match with_sound {
        true => (
            format!("; media-src data:; script-src {}", sound::script_source()),
            format!("<script>{}</script>\n", sound::SCRIPT),
        ),
        false => (String::new(), String::new()),
    };
    let about = Document {
        title: result.line.title.as_deref().unwrap_or("Bass line"),
        mark: &options.mark,
        style: "",
        policy: &policy,
        script: &script,
    };
    document(&about, &body)
}

/// Every picture of the page as SVG, in its order. None of a take that could not be judged.
pub fn pictures(result: &TakeResult, mark: &str) -> Vec<Picture> {
    if !result.judgement.is_judged() {
        return Vec::new();
    }
    let mut pictures = Vec::new();
    for bar in &result.line.bars {
        let drawn = bar::bar(result, bar, false);
        pictures.push(picture(format!("bar-{}.svg", bar.number), drawn, mark));
    }
    for (name, drawn) in [
        ("time.svg", even::time(result)),
        ("loudness.svg", even::loudness(result)),
    ] {
        pictures.extend(drawn.map(|drawn| picture(name.to_owned(), drawn, mark)));
    }
    pictures
}

fn picture(name: String, drawn: Drawn, mark: &str) -> Picture {
    let title = escaped(&drawn.title);
    let head = format!(
        "<title>{title}</title>\n<style>\n{}</style>\n{}",
        style::picture(),
        style::PATTERNS
    );
    let svg = drawn.drawing.into_svg("role=\"img\"", drawn.size, &head);
    Picture {
        name,
        svg: comment(mark) + &svg,
    }
}

/// How it went, and where to start.
fn head(result: &TakeResult, options: &PageOptions) -> String {
    let mut out = String::new();
    for (at, line) in opening::lines(result).iter().enumerate() {
        let class = if at == 0 { " class=\"first\"" } else { "" };
        let _ = writeln!(out, "<p{class}>{}</p>", escaped(line));
    }
    let take = &result.take;
    if take.dropped_frames > 0 {
        let _ = writeln!(
            out,
            "<p>{} frames were lost on the way in.</p>",
            take.dropped_frames
        );
    }
    for note in &take.sound_notes {
        let _ = writeln!(out, "<p>{}</p>", escaped(note));
    }
    if let Some(start) = result
        .judgement
        .start_here()
        .filter(|_| result.judgement.is_judged())
    {
        let _ = writeln!(
            out,
            "<div class=\"start\"><p><b>Start here:</b> {}.</p>",
            escaped(&start.sentence)
        );
        if let Some(practise) = &options.practise {
            let command = parts::command(practise, &start, &result.line);
            let _ = writeln!(out, "<code>{}</code>", escaped(&command));
        }
        out.push_str("</div>\n");
    }
    out
}

/// What to work on, the heaviest first.
fn findings(result: &TakeResult) -> String {
    let findings = &result.judgement.findings;
    let body = if findings.is_empty() {
        "<p>Nothing to mend by the marks used.</p>\n".to_owned()
    } else {
        let item = |finding: &crate::compare::judgement::Finding| {
            let sentence = escaped(&finding.sentence);
            let is_shown = |index: &usize| {
                let note = result
                    .judgement
                    .notes
                    .iter()
                    .find(|n| n.expected.index == *index);
                let bar = note.map(|note| note.expected.bar);
                result
                    .line
                    .bars
                    .iter()
                    .any(|shown| Some(shown.number) == bar)
            };
            let told = match finding.index.filter(is_shown) {
                // The place leads to the note's own words further down.
                Some(index) => format!("<a href=\"#n{index}\">{sentence}</a>"),
                None => sentence,
            };
            format!("<li><b>{}</b> {told}</li>\n", finding.kind.word())
        };
        let items: String = findings.iter().map(item).collect();
        format!("<ol class=\"findings\">\n{items}</ol>\n")
    };
    section("work", "To work on", &body)
}

fn pictures_of_bars(result: &TakeResult, beside: notes::Beside) -> String {
    let mut body = legend::legend(true);
    body.push_str("<div class=\"bars\">\n");
    for bar in &result.line.bars {
        let drawn = bar::bar(result, bar, true);
        let number = crate::words::bar_number(bar.number, bar.printed.unwrap_or(bar.number));
        let open = format!("role=\"group\" aria-label=\"{}\"", escaped(&drawn.title));
        let _ = write!(
            body,
            "<section class=\"bar\" aria-label=\"Bar {number}\">\n<h3>Bar {number}</h3>\n{}{}</section>\n",
            drawn.drawing.into_svg(&open, drawn.size, ""),
            notes::list(result, bar, beside)
        );
    }
    body.push_str("</div>\n");
    section("bars", "Bar by bar", &body)
}

fn evenness(result: &TakeResult) -> String {
    let mut body = String::from("<div class=\"evenness\">\n");
    let both = [even::time(result), even::loudness(result)];
    for drawn in both.into_iter().flatten() {
        let title = escaped(&drawn.title);
        let open = format!("role=\"img\" aria-label=\"{title}; the figures stand in the tables\"");
        let svg = drawn.drawing.into_svg(&open, drawn.size, "");
        let _ = write!(
            body,
            "<figure>\n{svg}<figcaption>{title}.</figcaption>\n</figure>\n"
        );
    }
    body.push_str("</div>\n");
    body.push_str(&tables::level(result));
    section("even", "How even it is", &body)
}
