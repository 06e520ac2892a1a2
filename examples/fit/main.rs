//! Fits the weights of the ear's models on takes whose truth is known, and says how well they do on
//! instruments that were left out.
//!
//! `cargo run --release --example fit -- DIR…` reads `DIR/truth/*.json` and `DIR/audio/`, listens to
//! every take, takes the features of the onsets that each model is about, fits, leaves one instrument
//! out in turn, and writes `src/hearing/weights.rs` with what stands behind it. A part of the features
//! goes to `fixtures/fit/`, from which a test derives the loss again.
//!
//! `… --example fit -- --buzz DIR…` does the same for the one model of strings that sound against a fret, on
//! takes of `tests/tools/buzz_string.py`; the other models stay as they are, as that one does without it.

mod buzz;
mod logistic;
mod takes;

use std::collections::BTreeMap;
use std::path::PathBuf;

use logistic::Model;
use seamline::hearing::logistic::loss;
use seamline::hearing::{beside, buzz as buzzing, choked};
use takes::{Row, Rows, rows_of};

/// One row in this many goes to the table in the repository, and one of a pluck in four.
const TABLE_EVERY: usize = 16;
const TABLE_PLUCKS_EVERY: usize = 4;
/// Figures are told for these limits, in nats.
const LIMITS: [f64; 6] = [-1.5, -0.75, 0.0, 0.75, 1.5, 3.0];
/// Where the weights stand.
const WEIGHTS: &str = "src/hearing/weights.rs";
/// With what the part of a model begins.
const PART: &str = "\n/// Weights of [`";

fn main() {
    let mut folders: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let buzz_alone = folders
        .first()
        .is_some_and(|first| first.as_os_str() == "--buzz");
    if buzz_alone {
        folders.remove(0);
    }
    if folders.is_empty() {
        eprintln!("give folders of takes with truth: cargo run --release --example fit -- DIR…");
        std::process::exit(2);
    }
    if buzz_alone {
        fit_buzz(&folders);
        return;
    }
    let mut rows = Rows::default();
    for folder in &folders {
        if let Err(why) = rows_of(folder, &mut rows) {
            eprintln!("{}: {why}", folder.display());
            std::process::exit(2);
        }
    }
    let mut source = String::from(
        "//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.\n",
    );
    std::fs::create_dir_all("fixtures/fit").expect("a folder for the tables");
    for (name, what, names, rows) in [
        ("beside", "beside::row", &beside::NAMES[..], &rows.beside),
        ("choked", "choked::row", &choked::NAMES[..], &rows.choked),
    ] {
        let told = told(rows);
        println!("{name}\n{told}");
        let model = Model::fit(&rows.iter().collect::<Vec<_>>());
        let table = table(rows);
        let path = format!("fixtures/fit/{name}.csv");
        std::fs::write(&path, csv(&table, names)).expect("the table can be written");
        source.push_str(&weights(
            name,
            what,
            names,
            &model,
            &told,
            model.loss(&table),
        ));
    }
    source.push_str(&part_of(
        &std::fs::read_to_string(WEIGHTS).unwrap_or_default(),
        "buzz",
    ));
    std::fs::write(WEIGHTS, source).expect("the weights can be written");
}

/// Fits the model of strings that sound against a fret, and leaves the others as they are.
fn fit_buzz(folders: &[PathBuf]) {
    let mut rows = Vec::new();
    for folder in folders {
        if let Err(why) = buzz::rows_of(folder, &mut rows) {
            eprintln!("{}: {why}", folder.display());
            std::process::exit(2);
        }
    }
    let told = told(&rows)
        .replace("plucks", "buzzes")
        .replace("onsets", "notes");
    println!("buzz\n{told}");
    let model = Model::fit(&rows.iter().collect::<Vec<_>>());
    let table = table(&rows);
    std::fs::write("fixtures/fit/buzz.csv", csv(&table, &buzzing::NAMES))
        .expect("the table can be written");
    let before = std::fs::read_to_string(WEIGHTS).expect("the weights of the other models");
    let kept = before.replace(&part_of(&before, "buzz"), "");
    let loss = model.loss(&table);
    let own = weights("buzz", "buzz::row", &buzzing::NAMES, &model, &told, loss);
    std::fs::write(WEIGHTS, kept + &own).expect("the weights can be written");
}

/// The part of the weights that is one model's; empty when there is none.
fn part_of(source: &str, name: &str) -> String {
    let own = format!("{PART}{name}::");
    let Some(from) = source.find(&own) else {
        return String::new();
    };
    let after = from + own.len();
    let to = source[after..]
        .find(PART)
        .map_or(source.len(), |at| after + at);
    source[from..to].to_owned()
}

/// What stands behind the weights, and the figures of each instrument left out.
fn told(rows: &[Row]) -> String {
    let mut text = String::new();
    let plucks = rows.iter().filter(|row| row.is_pluck).count();
    let mut takes: Vec<&str> = rows.iter().map(|row| row.take.as_str()).collect();
    takes.sort_unstable();
    takes.dedup();
    let mut seeds: Vec<&str> = takes.iter().filter_map(|t| t.split('_').next()).collect();
    seeds.dedup();
    text += &format!(
        "{} takes of the seeds {}: {} onsets, {plucks} plucks among them\n",
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
        "instrument left out: loss; plucks found + others taken for one at {} nats\n",
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
    text += &format!("of takes of several passes: {several}\n");
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

/// The rows that the repository keeps.
fn table(rows: &[Row]) -> Vec<&Row> {
    let (mut plucks, mut others) = (0, 0);
    let keep = |row: &&Row| {
        let (count, every) = if row.is_pluck {
            (&mut plucks, TABLE_PLUCKS_EVERY)
        } else {
            (&mut others, TABLE_EVERY)
        };
        *count += 1;
        *count % every == 0
    };
    rows.iter().filter(keep).collect()
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
