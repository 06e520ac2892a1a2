//! A page as SVG, in millimetres.

use std::fmt::Write as _;

use super::Paper;
use super::shapes::{Anchor, Cut, Page, Shade, Shape};

/// Fonts with the widths the page was laid out with, from what systems have.
const FONTS: &str = "Helvetica, Arial, 'Liberation Sans', 'Nimbus Sans', sans-serif";

/// One page as an SVG picture of its own.
pub(super) fn page(page: &Page, paper: Paper, title: &str) -> String {
    let (width, height) = paper.millimetres();
    let mut out = String::new();
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" \
         viewBox=\"0 0 {width} {height}\" font-family=\"{FONTS}\">"
    );
    let _ = writeln!(out, "<title>{}</title>", escaped(title));
    let _ = writeln!(
        out,
        "<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>"
    );
    for shape in &page.shapes {
        write_shape(&mut out, shape);
    }
    out.push_str("</svg>\n");
    out
}

fn colour(shade: Shade) -> &'static str {
    match shade {
        Shade::Black => "#000",
        Shade::Grey => "#666",
        Shade::White => "#fff",
    }
}

/// A number with at most two decimals: a hundredth of a millimetre is below what is seen.
pub(in crate::report) fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

fn points(list: &[(f64, f64)]) -> String {
    let words: Vec<String> = list
        .iter()
        .map(|&(x, y)| format!("{},{}", number(x), number(y)))
        .collect();
    words.join(" ")
}

fn write_shape(out: &mut String, shape: &Shape) {
    let _ = match shape {
        Shape::Stroke {
            points: list,
            width,
            shade,
        } => writeln!(
            out,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\"/>",
            points(list),
            colour(*shade),
            number(*width)
        ),
        Shape::Curve {
            points: [from, a, b, to],
            width,
        } => writeln!(
            out,
            "<path d=\"M{} C{}\" fill=\"none\" stroke=\"#000\" stroke-width=\"{}\" \
             stroke-linecap=\"round\"/>",
            points(&[*from]),
            points(&[*a, *b, *to]),
            number(*width)
        ),
        Shape::Area {
            points: list,
            shade,
        } => writeln!(
            out,
            "<polygon points=\"{}\" fill=\"{}\"/>",
            points(list),
            colour(*shade)
        ),
        Shape::Dot { at, radius } => writeln!(
            out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\"/>",
            number(at.0),
            number(at.1),
            number(*radius)
        ),
        Shape::Word {
            at,
            text,
            size,
            cut,
            anchor,
            shade,
        } => {
            let cut = match cut {
                Cut::Plain => "",
                Cut::Bold => " font-weight=\"bold\"",
                Cut::Slanted => " font-style=\"italic\"",
            };
            let anchor = match anchor {
                Anchor::Start => "",
                Anchor::Middle => " text-anchor=\"middle\"",
                Anchor::End => " text-anchor=\"end\"",
            };
            writeln!(
                out,
                "<text x=\"{}\" y=\"{}\" font-size=\"{}\" fill=\"{}\"{cut}{anchor}>{}</text>",
                number(at.0),
                number(at.1),
                number(*size),
                colour(*shade),
                escaped(text)
            )
        }
    };
}

/// Text as XML takes it; control characters, which XML has not, become spaces.
pub(in crate::report) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            letter if letter.is_control() || matches!(letter, '\u{fffe}' | '\u{ffff}') => {
                out.push(' ');
            }
            letter => out.push(letter),
        }
    }
    out
}
