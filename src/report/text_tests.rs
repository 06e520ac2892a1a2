//! The page: how it looks, how long it is, that nothing is lost.

use super::page::{COLUMNS, COLUMNS_MAX, COLUMNS_MIN};
use super::text::{PAGE_ROWS, PageSettings, Practise, page, report};
use crate::report::sample;
use crate::report::sample_practice::practice;
use crate::session::line_info::BarSpan;

fn widest(text: &str) -> usize {
    text.lines()
        .map(|line| line.chars().count())
        .max()
        .unwrap_or(0)
}

/// Golden: our own earlier output. It detects change and proves nothing.
#[test]
fn golden_texts_are_unchanged() {
    for (name, result) in [
        ("clean.txt", sample::clean()),
        ("flawed.txt", sample::flawed()),
        ("another-line.txt", sample::another_line()),
        ("nothing-heard.txt", sample::nothing_heard()),
        ("dense.txt", sample::dense()),
    ] {
        let text = report(&result, false);
        assert!(widest(&text) <= COLUMNS, "{name} is too wide:\n{text}");
        sample::check_golden(name, &text);
    }
}

/// Taking the colours out must leave the plain report: they add nothing but themselves.
#[test]
fn colour_only_underlines() {
    let result = sample::flawed();
    let coloured = report(&result, true);
    assert!(coloured.contains('\x1b'));
    let mut plain = coloured;
    for code in ["\x1b[1m", "\x1b[1;31m", "\x1b[33m", "\x1b[0m"] {
        plain = plain.replace(code, "");
    }
    assert_eq!(plain, report(&result, false));
}

/// Whatever the bars look like, a report is made and fits.
#[test]
fn odd_bars_still_fit() {
    for (start, length) in [
        (0.0, 4.0),
        (0.0, 0.01),
        (3.0, 100.0),
        (0.0, 0.0),
        (0.0, f64::NAN),
        (0.0, f64::INFINITY),
        (-1.0, 1.0),
    ] {
        let mut result = sample::dense();
        result.line.bars = vec![BarSpan {
            number: 4_000_000_000,
            start_quarters: start,
            length_quarters: length,
            chords: vec![(0.0, "Esus4(add long words)".repeat(6)), (99.0, "X".into())],
            beat_quarters: 1.0,
            rests: vec![0.0, 1.0, 1e300],
            ..BarSpan::default()
        }];
        result.judgement.notes[3].expected.onset_quarters = start * 1e300;
        result.judgement.notes[4].expected.onset_quarters = length;
        for strings in [0, 1, 4, 6] {
            result.line.strings = vec!["a long name\x1b[2J".into(); strings];
            for columns in [60, 80, 1000] {
                let text = page(&result, &all(columns));
                let widest = widest(&text);
                let room = columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
                assert!(widest <= room, "{start} {length} {columns}:\n{text}");
                assert!(!text.contains('\x1b'));
            }
        }
    }
}

fn all(columns: usize) -> PageSettings {
    PageSettings {
        columns,
        all: true,
        verbose: true,
        practise: Some(Practise {
            line: "two.line".into(),
            share: 1.0,
        }),
        ..PageSettings::default()
    }
}

fn short(columns: usize) -> PageSettings {
    PageSettings {
        all: false,
        verbose: false,
        ..all(columns)
    }
}

/// Golden: our own earlier output. It detects change and proves nothing.
#[test]
fn golden_pages_are_unchanged() {
    for (name, result, settings) in [
        ("practice.txt", practice(), short(80)),
        ("practice-wide.txt", practice(), short(200)),
        ("practice-all.txt", practice(), all(80)),
        ("flawed-all.txt", sample::flawed(), all(80)),
        ("flawed-wide.txt", sample::flawed(), all(200)),
    ] {
        let text = page(&result, &settings);
        assert!(
            widest(&text) <= settings.columns,
            "{name} is too wide:\n{text}"
        );
        sample::check_golden(name, &text);
    }
}

/// A line of eight bars with faults of every sort fits on a screen.
#[test]
fn a_short_page_is_short() {
    for columns in [80, 120, 200] {
        for result in [practice(), sample::flawed(), sample::clean()] {
            let text = page(&result, &short(columns));
            let rows = text.lines().count();
            assert!(rows <= PAGE_ROWS, "{rows} rows at {columns}:\n{text}");
        }
    }
}

/// What is left out of the short page is counted, and stands in the whole one.
#[test]
fn what_is_left_out_is_counted() {
    let result = practice();
    let (short, whole) = (page(&result, &short(80)), page(&result, &all(80)));
    let count = result.judgement.findings.len();
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let told = |page: &str| {
        let page = flat(page);
        let told = result.judgement.findings.iter();
        told.filter(|finding| page.contains(&finding.sentence))
            .count()
    };
    assert_eq!(told(&whole), count, "{whole}");
    let left = count - told(&short);
    assert!(
        left > 0 && short.contains(&format!("{left} more findings")),
        "{short}"
    );
}
