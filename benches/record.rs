//! How long the record takes to answer when it holds years of practice: 10,000 takes of 200 notes of 40
//! lines, ten a day. The size of the file is printed. Once through (`cargo test --benches`) it is fifty.

#[path = "../tests/record_support/mod.rs"]
mod rows;

use std::hint::black_box;
use std::path::Path;

use criterion::{Criterion, criterion_group, criterion_main};
use seamline::progress::record::Day;
use seamline::progress::store::Store;

const TAKES: i64 = 10_000;
const ONCE_THROUGH: i64 = 50;
const NOTES: usize = 200;
const LINES: i64 = 40;
const TAKES_A_DAY: i64 = 10;

fn filled(folder: &Path, takes: i64) -> Store {
    let mut store = Store::open(folder).expect("a record");
    let lines: Vec<_> = (0..LINES)
        .map(|line| rows::line(&format!("Line {line}"), NOTES))
        .collect();
    for number in 0..takes {
        let day = 20_000 + number / TAKES_A_DAY;
        // Three lines a day, other ones every fourth day.
        let which = (day / 4 * 3 + number % 3) % LINES;
        let line = &lines[which as usize];
        let take = rows::take(line, "", &number.to_string(), day, 3 + number as usize % 20);
        store.add(line, &take).expect("added");
    }
    store
}

fn record(criterion: &mut Criterion) {
    let is_bench = std::env::args().any(|argument| argument == "--bench");
    let takes = if is_bench { TAKES } else { ONCE_THROUGH };
    let folder = tempfile::tempdir().expect("a folder");
    let store = filled(folder.path(), takes);
    let bytes = std::fs::metadata(store.path()).expect("there").len();
    println!(
        "{takes} takes of {NOTES} notes: {:.1} MB",
        bytes as f64 / 1e6
    );
    let last = store.last_day("").expect("read").expect("a day");
    criterion.bench_function("open, and read the last 30 days of all lines", |bencher| {
        bencher.iter(|| {
            let store = Store::open(folder.path()).expect("a record");
            black_box(
                store
                    .lines("", None, Some(Day(last.0 - 29)))
                    .expect("lines"),
            )
        });
    });
    criterion.bench_function("read all days of one line with its tempos", |bencher| {
        bencher.iter(|| {
            let content = Some("content of Line 3");
            black_box(store.lines("", content, None).expect("lines"));
            black_box(store.tempos("", "content of Line 3").expect("tempos"))
        });
    });
}

criterion_group!(benches, record);
criterion_main!(benches);
