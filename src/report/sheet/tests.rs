//! What holds of every page: it is whole, everything lies on the paper, and everything written is
//! there.

use proptest::prelude::*;

use super::shapes::{Page, Shape, word_width};
use super::*;
use crate::music::fingering::{Hand, plan};
use crate::music::line::read_text;

fn line(text: &str) -> (Line, Way) {
    let line = read_text(text).unwrap();
    let way = plan(&line, line.instrument(), &Hand::default()).remove(0);
    (line, way)
}

fn options(paper: Paper) -> SheetOptions {
    SheetOptions {
        paper,
        fingers: true,
        beneath: vec![Some("b7".to_owned()), None, Some("#11".to_owned())],
        mark: "written by -- a test".to_owned(),
    }
}

/// Everything a line can hold, on one page.
const TEXT: &str = "\
title: Up & down <again>
tempo: 92
key: A minor
swing: 2:1
pickup 1/8 4:0 4:3
@Am7 1/4 3:0 1/8 3:3(2) 2:2 r 1:0! 1/4 1:2,
@D7/F# 1/4. 4:2 1/8 = 1/8t 2:0 2:2 >2:4 1/4 2:0
@G7 1/16 4:3 3:2 2:0 2:3 1/8 1:0 1/16 2:9 1:7 1/8. 1:10 1/16 1:9 1/8 1:7 2:9
@C @1/2:tempo=72 1/2 3:3 1/4 r r
key: C major
5/8 3:3 1/8 r 1/4 2:10&1:9
1/1 >>3:12
";

fn words(page: &Page) -> Vec<&str> {
    page.shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Word { text, .. } => Some(text.as_str()),
            _ => None,
        })
        .collect()
}

#[test]
fn all_that_is_written_is_printed() {
    let (line, way) = line(TEXT);
    let pages = systems::pages(&line, &way, &options(Paper::A4));
    assert_eq!(pages.len(), 1);
    let words = words(&pages[0]);
    for word in [
        "Up & down <again>",
        "= 92",
        "= 72",
        "A minor",
        "C major",
        "swung 2:1",
        "Strings E1 A1 D2 G2",
        "Am7",
        "D7/F#",
        "(2)",
        "5/8",
        "12",
        ",",
        "b7",
        "#11",
    ] {
        assert!(words.contains(&word), "{word} in {words:?}");
    }
    // The hand goes up to the seventh fret in bar 3: a numeral.
    assert!(words.contains(&"VII"), "{words:?}");
    // Bar numbers 1 to 6; the pick-up has none.
    assert!(["1", "6"].iter().all(|number| words.contains(number)));
}

#[test]
fn repeats_and_small_signs_are_printed_as_written() {
    let text = "\
|: @G 1/4 4:3^ x4:3 h4:5 p4:3 | segno 1/4 3:3 g3:4 3:5 1/2 2:2
[1 1/1 2:4 :|
[2 1/1 2:0 ] to-coda
1/1 2:2 D.S. al coda
#12 coda 1/1 1:12
";
    let (line, way) = line(text);
    let pages = systems::pages(&line, &way, &options(Paper::A4));
    let words = words(&pages[0]);
    for word in [
        "x",
        "h",
        "p",
        "4",
        "Segno",
        "1.",
        "2.",
        "To Coda",
        "D.S. al Coda",
        "Coda",
        "12",
    ] {
        assert!(words.contains(&word), "{word} in {words:?}");
    }
    // Written once, however often it is played: the first bar's muted note.
    assert_eq!(words.iter().filter(|word| **word == "x").count(), 1);
    assert!(line.bars().len() > line.written_bars().len());
}

#[test]
fn svg_and_html_are_whole() {
    let (line, way) = line(TEXT);
    for paper in [Paper::A4, Paper::Letter] {
        let options = options(paper);
        let svg = svg_pages(&line, &way, &options).remove(0);
        assert!(svg.starts_with("<!-- written by - - a test -->\n<svg "));
        assert!(svg.ends_with("</svg>\n"));
        assert!(svg.contains("Up &amp; down &lt;again&gt;"));
        let (width, height) = paper.millimetres();
        assert!(svg.contains(&format!("viewBox=\"0 0 {width} {height}\"")));
        let html = html(&line, &way, &options);
        assert!(html.starts_with("<!doctype html>\n<!-- written by"));
        assert!(
            !html.contains("http://")
                || html.matches("http").count() == html.matches("http://www.w3.org").count()
        );
        assert!(html.contains(&format!("size: {width}mm {height}mm")));
    }
}

#[test]
fn pdf_pages_point_to_what_they_draw() {
    let (line, way) = line(TEXT);
    let file = pdf(&line, &way, &options(Paper::Letter));
    assert!(file.starts_with(b"%PDF-"));
    assert!(file.ends_with(b"%%EOF"));
    let text = String::from_utf8_lossy(&file);
    // Letter in points: 8.5 and 11 inch of 72 (PDF 1.7, section 7.7.3.3: MediaBox).
    assert!(text.contains("/MediaBox [0 0 612 792]"), "{text}");
    assert_eq!(
        text.matches("/Type /Page\n").count() + text.matches("/Type /Page ").count(),
        1
    );
}

#[test]
fn a_long_line_takes_several_pages_each_with_its_number() {
    let bars = "1/8 3:3 3:5 2:2 2:3 2:5 1:2 1:4 1:5\n".repeat(60);
    let (line, way) = line(&format!("title: Long\n{bars}"));
    let pages = systems::pages(&line, &way, &options(Paper::A4));
    assert!(pages.len() > 1);
    for (number, page) in (1..).zip(&pages) {
        let told = format!("{number} of {}", pages.len());
        assert!(words(page).contains(&told.as_str()));
        assert!(words(page).contains(&"Long"));
    }
}

/// The corners of what a shape covers.
fn reaches(shape: &Shape) -> Vec<(f64, f64)> {
    match shape {
        Shape::Stroke { points, .. } | Shape::Area { points, .. } => points.clone(),
        Shape::Curve { points, .. } => points.to_vec(),
        Shape::Dot { at, .. } => vec![*at],
        Shape::Word {
            at,
            text,
            size,
            anchor,
            ..
        } => {
            let width = word_width(text, *size);
            let from = match anchor {
                shapes::Anchor::Start => at.0,
                shapes::Anchor::Middle => at.0 - width / 2.0,
                shapes::Anchor::End => at.0 - width,
            };
            vec![(from, at.1), (from + width, at.1)]
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn everything_lies_on_the_paper(
        bars in proptest::collection::vec((0..6_usize, 0..20_u8), 1..40),
        strings in 0..3_usize,
        letter in any::<bool>(),
    ) {
        let tuning = ["4", "6", "E1 A1 D2 G2 C3 F3 A#3 D#4 G#4 C#5 F#5 B5"][strings];
        let lengths = [
            "1/1 N", "1/4 N N N N", "1/8 N N N N N N N N",
            "1/16 N N N N N N N N N N N N N N N N", "1/4t N N N 1/2 r",
            "1/64 N N N N N N N N N N N N N N N N 1/4 N 1/2 r",
        ];
        let mut text = format!("title: {}\ntuning: {tuning}\n", "Long ".repeat(bars.len()));
        for (at, (which, fret)) in bars.iter().enumerate() {
            text += &format!("@Am7 {}\n", lengths[*which].replace('N', &format!("{}:{fret}", 1 + at % 4)));
        }
        let (line, way) = line(&text);
        let paper = if letter { Paper::Letter } else { Paper::A4 };
        let (width, height) = paper.millimetres();
        for page in systems::pages(&line, &way, &options(paper)) {
            for shape in &page.shapes {
                for (x, y) in reaches(shape) {
                    prop_assert!((5.0..=width - 5.0).contains(&x), "{shape:?}");
                    prop_assert!((5.0..=height - 5.0).contains(&y), "{shape:?}");
                }
            }
        }
    }

    #[test]
    fn no_title_breaks_a_page(title in "\\PC{0,300}") {
        let text = "1/1 3:3\n";
        let (line, way) = line(text);
        let svg = svg::page(&Page::default(), Paper::A4, &title);
        prop_assert!(svg.lines().count() >= 4);
        prop_assert!(!svg::escaped(&title).contains(['<', '>']));
        let pages = systems::pages(&line, &way, &options(Paper::A4));
        prop_assert!(pdf::file(&pages, Paper::A4, &title, "").ends_with(b"%%EOF"));
    }
}
