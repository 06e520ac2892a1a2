//! Fits the weights of the ear's models on takes whose truth is known, and says how well they do on
//! instruments that were left out.
//!
//! `cargo run --release --example fit -- DIR…` reads `DIR/truth/*.json` and `DIR/audio/`, listens to
//! every take, takes the features of every onset that is no note of the line, fits, leaves one
//! instrument out in turn, and writes `src/hearing/weights.rs` with what stands behind it. A part of
//! the features goes to `fixtures/fit/beside.csv`, from which a test derives the loss again.

mod logistic;
mod takes;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::PathBuf;

use logistic::Model;
use seamline::hearing::beside::{FEATURES, NAMES};
use takes::{Row, rows_of};

/// One row in this many goes to the table in the repository, and every one of a pluck in four.
const TABLE_EVERY: usize = 16;
const TABLE_PLUCKS_EVERY: usize = 4;

fn main() {
    let folders: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    if folders.is_empty() {
        eprintln!("give folders of takes with truth: cargo run --release --example fit -- DIR…");
        std::process::exit(2);
    }
    let mut rows: Vec<Row> = Vec::new();
    let mut takes = 0;
    for folder in &folders {
        match rows_of(folder) {
            Ok((count, more)) => {
                takes += count;
                rows.extend(more);
            }
            Err(why) => {
                eprintln!("{}: {why}", folder.display());
                std::process::exit(2);
            }
        }
    }
    let told = told(&rows, takes);
    print!("{told}");
    let model = Model::fit(&rows.iter().collect::<Vec<_>>());
    let table: Vec<&Row> = table(&rows);
    let loss = model.loss(&table);
    std::fs::create_dir_all("fixtures/fit").expect("a folder for the table");
    std::fs::write("fixtures/fit/beside.csv", csv(&table)).expect("the table can be written");
    std::fs::write("src/hearing/weights.rs", source(&model, &told, loss))
        .expect("the weights can be written");
}

/// What stands behind the weights, and the figures of each instrument left out.
fn told(rows: &[Row], takes: usize) -> String {
    let mut text = String::new();
    let plucks = rows.iter().filter(|row| row.is_pluck).count();
    let _ = writeln!(
        text,
        "{takes} takes, {} onsets, {plucks} plucks among them",
        rows.len()
    );
    let mut seeds: Vec<&str> = rows.iter().map(|row| row.seed.as_str()).collect();
    seeds.sort_unstable();
    seeds.dedup();
    let _ = writeln!(text, "seeds {}", seeds.join(", "));
    let mut by: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        by.entry(&row.instrument).or_default().push(row);
    }
    let _ = writeln!(
        text,
        "instrument left out: plucks, found, others taken for one, loss"
    );
    let mut all = Counts::default();
    let mut several = Counts::default();
    for (&name, left) in &by {
        let kept: Vec<&Row> = rows.iter().filter(|row| row.instrument != name).collect();
        let model = Model::fit(&kept);
        let mut own = Counts::default();
        for row in left {
            let nats = model.nats(&row.features);
            own.add(row, nats);
            all.add(row, nats);
            if row.kind.starts_with("practice") {
                several.add(row, nats);
            }
        }
        let _ = writeln!(text, "{name}: {own}");
    }
    let _ = writeln!(text, "all: {all}");
    let _ = writeln!(text, "of takes of several passes: {several}");
    text
}

/// What became of some rows.
#[derive(Default)]
struct Counts {
    rows: usize,
    plucks: usize,
    found: usize,
    wrongly: usize,
    loss: f64,
}

impl Counts {
    fn add(&mut self, row: &Row, nats: f64) {
        self.rows += 1;
        self.plucks += usize::from(row.is_pluck);
        self.found += usize::from(row.is_pluck && nats > 0.0);
        self.wrongly += usize::from(!row.is_pluck && nats > 0.0);
        self.loss += logistic::loss(row.is_pluck, nats);
    }
}

impl std::fmt::Display for Counts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mean = self.loss / self.rows.max(1) as f64;
        write!(
            f,
            "{}, {}, {}, {mean:.4}",
            self.plucks, self.found, self.wrongly
        )
    }
}

/// The rows that the repository keeps.
fn table(rows: &[Row]) -> Vec<&Row> {
    let (mut plucks, mut others) = (0, 0);
    rows.iter()
        .filter(|row| {
            let (count, every) = if row.is_pluck {
                (&mut plucks, TABLE_PLUCKS_EVERY)
            } else {
                (&mut others, TABLE_EVERY)
            };
            *count += 1;
            *count % every == 0
        })
        .collect()
}

fn csv(rows: &[&Row]) -> String {
    let mut text = format!("instrument,is_pluck,{}\n", NAMES.join(","));
    for row in rows {
        let _ = write!(text, "{},{}", row.instrument, u8::from(row.is_pluck));
        for x in row.features {
            let _ = write!(text, ",{x:.4}");
        }
        text.push('\n');
    }
    text
}

fn source(model: &Model, told: &str, loss: f64) -> String {
    let mut text = String::from(
        "//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.\n//!\n//! ```text\n",
    );
    for line in told.lines() {
        let _ = writeln!(text, "//! {line}");
    }
    text.push_str("//! ```\n\n");
    let _ = writeln!(
        text,
        "/// Weights of [`beside::row`](super::beside::row), in nats per unit.\n#[rustfmt::skip]\npub const BESIDE: [f64; {FEATURES}] = ["
    );
    for (name, weight) in NAMES.iter().zip(model.weights) {
        let _ = writeln!(text, "    {weight:.4}, // {name}");
    }
    let _ = writeln!(
        text,
        "];\n/// The constant of that model, in nats.\npub const BESIDE_CONSTANT: f64 = {:.4};\n/// Its mean loss over `fixtures/fit/beside.csv`, in nats.\npub const BESIDE_TABLE_LOSS: f64 = {loss:.4};",
        model.constant
    );
    text
}
