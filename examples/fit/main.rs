//! Fits the weights of the ear's models on takes whose truth is known, and says how well they do on
//! instruments that were left out.
//!
//! `cargo run --release --example fit -- DIR…` reads `DIR/truth/*.json` and `DIR/audio/`, listens to
//! every take, takes the features of the onsets that each model is about, fits, leaves one instrument
//! out in turn, and writes `src/hearing/weights.rs` with what stands behind it. A part of the features
//! goes to `fixtures/fit/`, from which a test derives the loss again.
//!
//! `… --example fit -- rings DIR…` fits the models of strings that ring alone, and writes
//! `src/hearing/ring_weights.rs`; `… -- buzz DIR…`, on takes of `tests/tools/buzz_string.py`, that of strings
//! that sound against a fret, and writes `src/hearing/buzz_weights.rs`.

mod buzz;
mod logistic;
mod rings;
mod takes;

use std::collections::BTreeMap;
use std::path::PathBuf;

use logistic::Model;
use rings::RingRows;
use seamline::hearing::logistic::loss;
use seamline::hearing::{beside, buzz as buzzing, choked, pluck, ringing};
use takes::{Row, Rows, rows_of};

/// Rows of plucks, and as many others, that go to the table in the repository.
const TABLE_ROWS: usize = 400;
/// Figures are told for these limits, in nats.
const LIMITS: [f64; 6] = [-1.5, -0.75, 0.0, 0.75, 1.5, 3.0];

fn main() {
    let mut folders: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let first = folders.first().and_then(|first| first.to_str());
    let alone = first
        .filter(|first| ["rings", "buzz"].contains(first))
        .map(str::to_owned);
    folders.drain(..usize::from(alone.is_some()));
    if folders.is_empty() {
        eprintln!(
            "give folders of takes with truth: cargo run --release --example fit -- [rings|buzz] DIR…"
        );
        std::process::exit(2);
    }
    match alone.as_deref() {
        Some("rings") => return fit_rings(&folders),
        Some(_) => return fit_buzz(&folders),
        None => {}
    }
    let mut rows = Rows::default();
    for folder in &folders {
        if let Err(why) = rows_of(folder, &mut rows) {
            eprintln!("{}: {why}", folder.display());
            std::process::exit(2);
        }
    }
    let models = [
        ("pluck", "pluck::row", &pluck::NAMES[..], &rows.pluck),
        ("beside", "beside::row", &beside::NAMES[..], &rows.beside),
        ("choked", "choked::row", &choked::NAMES[..], &rows.choked),
    ];
    write_models("src/hearing/weights.rs", &models, ["onsets", "plucks"]);
}

/// Fits the model of strings that sound against a fret.
fn fit_buzz(folders: &[PathBuf]) {
    let mut rows = Vec::new();
    for folder in folders {
        if let Err(why) = buzz::rows_of(folder, &mut rows) {
            eprintln!("{}: {why}", folder.display());
            std::process::exit(2);
        }
    }
    let models = [("buzz", "buzz::row", &buzzing::NAMES[..], &rows)];
    write_models("src/hearing/buzz_weights.rs", &models, ["notes", "buzzes"]);
}

/// Fits the models of strings that ring.
fn fit_rings(folders: &[PathBuf]) {
    let mut rows = RingRows::default();
    for folder in folders {
        if let Err(why) = rings::rows_of(folder, &mut rows) {
            eprintln!("{}: {why}", folder.display());
            std::process::exit(2);
        }
    }
    let models = [
        (
            "left",
            "ringing::left_row",
            &ringing::LEFT_NAMES[..],
            &rows.left,
        ),
        (
            "open",
            "ringing::open_row",
            &ringing::OPEN_NAMES[..],
            &rows.open,
        ),
    ];
    let what = ["strings heard", "that ring"];
    write_models("src/hearing/ring_weights.rs", &models, what);
}

/// Fits models, each a name, the function that makes its rows, the names of its features and its rows,
/// and writes their weights to `path`. `words`: what a row is, and what it is where it holds.
fn write_models(path: &str, models: &[(&str, &str, &[&str], &Vec<Row>)], words: [&str; 2]) {
    let mut source = String::from(
        "//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.\n",
    );
    std::fs::create_dir_all("fixtures/fit").expect("a folder for the tables");
    for &(name, what, names, rows) in models {
        let told = told(rows, words);
        println!("{name}\n{told}");
        let model = Model::fit(&rows.iter().collect::<Vec<_>>());
        let table = table(rows);
        let table_path = format!("fixtures/fit/{name}.csv");
        std::fs::write(&table_path, csv(&table, names)).expect("the table can be written");
        source.push_str(&weights(
            name,
            what,
            names,
            &model,
            &told,
            model.loss(&table),
        ));
    }
    std::fs::write(path, source).expect("the weights can be written");
}

/// What stands behind the weights, and the figures of each instrument left out.
fn told(rows: &[Row], [each, those]: [&str; 2]) -> String {
    let mut text = String::new();
    let plucks = rows.iter().filter(|row| row.is_pluck).count();
    let mut takes: Vec<&str> = rows.iter().map(|row| row.take.as_str()).collect();
    takes.sort_unstable();
    takes.dedup();
    let mut seeds: Vec<&str> = takes.iter().filter_map(|t| t.split('_').next()).collect();
    seeds.dedup();
    text += &format!(
        "{} takes of the seeds {}: {} {each}, {plucks} {those} among them\n",
        takes.len(),
        seeds.join(", "),
        rows.len()
    );
    let mut by: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        by.entry(&row.instrument).or_default().push(row);
    }
    let limits: Vec<String> = LIMITS.iter().map(f64::to_string).collect();
    text += &format!(
        "instrument left out: loss; {those} found + others taken for one at {} nats\n",
        limits.join(", ")
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
        text += &format!("{name}: {own}\n");
    }
    text += &format!("all: {all}\n");
    if several.rows > 0 {
        text += &format!("of takes of several passes: {several}\n");
    }
    text
}

/// What became of some rows.
#[derive(Default)]
struct Counts {
    rows: usize,
    plucks: usize,
    found: [usize; LIMITS.len()],
    wrongly: [usize; LIMITS.len()],
    loss: f64,
}

impl Counts {
    fn add(&mut self, row: &Row, nats: f64) {
        self.rows += 1;
        self.plucks += usize::from(row.is_pluck);
        self.loss += loss(row.is_pluck, nats);
        for (k, limit) in LIMITS.iter().enumerate() {
            self.found[k] += usize::from(row.is_pluck && nats > *limit);
            self.wrongly[k] += usize::from(!row.is_pluck && nats > *limit);
        }
    }
}

impl std::fmt::Display for Counts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mean = self.loss / self.rows.max(1) as f64;
        write!(f, "{mean:.4}; of {}", self.plucks)?;
        for (found, wrongly) in self.found.iter().zip(self.wrongly) {
            write!(f, ", {found} + {wrongly}")?;
        }
        Ok(())
    }
}

/// The rows that the repository keeps: evenly from all of them, as many plucks as others.
fn table(rows: &[Row]) -> Vec<&Row> {
    let evenly = |is_pluck: bool| {
        let all: Vec<&Row> = rows.iter().filter(|row| row.is_pluck == is_pluck).collect();
        let every = all.len().div_ceil(TABLE_ROWS).max(1);
        all.into_iter().step_by(every)
    };
    evenly(true).chain(evenly(false)).collect()
}

fn csv(rows: &[&Row], names: &[&str]) -> String {
    let mut text = format!("instrument,is_pluck,{}\n", names.join(","));
    for row in rows {
        text += &format!("{},{}", row.instrument, u8::from(row.is_pluck));
        for x in &row.features {
            text += &format!(",{x:.4}");
        }
        text.push('\n');
    }
    text
}

fn weights(name: &str, what: &str, names: &[&str], model: &Model, told: &str, loss: f64) -> String {
    let upper = name.to_uppercase();
    let mut text = format!(
        "\n/// Weights of [`{what}`](super::{what}), in nats per unit.\n///\n/// ```text\n"
    );
    for line in told.lines() {
        text += &format!("/// {line}\n");
    }
    text += &format!(
        "/// ```\n#[rustfmt::skip]\npub const {upper}: [f64; {}] = [\n",
        names.len()
    );
    for (name, weight) in names.iter().zip(&model.weights) {
        text += &format!("    {weight:.4}, // {name}\n");
    }
    text += &format!(
        "];\n/// The constant of that model, in nats.\npub const {upper}_CONSTANT: f64 = {:.4};\n/// Its mean loss over `fixtures/fit/{name}.csv`, in nats.\npub const {upper}_TABLE_LOSS: f64 = {loss:.4};\n",
        model.constant
    );
    text
}
