//! Writes down takes whose truth is known and counts what came out as it was written.
//!
//! `cargo run --release --example write -- [--all] [--tempo] DIR…`: folders with `audio` and `truth` as
//! `make_takes.py` makes them. Counted are the notes that the truth calls neither wrong, missed,
//! early, late nor dead; one shift is allowed for a whole take. With `--tempo` the tempo is found as
//! well; with `--click` they were played to one; with `--all` every note that came out otherwise is printed.
//! With `--tempo` there follows a table of how sure the tempo was said to be, and how often it was right.
//!
//! `… -- --made SEED COUNT` writes lines that are made here and played by the project's own synth, COUNT of
//! each kind: straight, in triplets, swung.

mod made;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use seamline::music::line::Meter;
use seamline::session::writing::write_take;
use seamline::sound::file;
use seamline::transcribe::{Asked, Written, WrittenNote};
use seamline::units::STANDARD_A4;
use serde_json::Value;

/// A written note belongs to a true one within this, in quarters: less than half a sixteenth.
const PLACE_QUARTERS: f64 = 0.02;
/// A note that somebody played lies within this of a written one, in seconds.
const PLAYED_S: f64 = 0.060;
/// Faults by which a note is not asked for.
const NOT_ASKED: [&str; 5] = ["wrong", "missed", "early", "late", "dead"];
/// Kinds of takes that are written; all with `--click`.
const KINDS: [&str; 5] = ["clean", "timing", "tone", "touch", "rig"];
/// The tempo found must lie this close, as a share.
const TEMPO_NEAR: f64 = 0.01;

#[derive(Clone, Copy, Default)]
struct Count {
    takes: usize,
    notes: usize,
    placed: usize,
    lasting: usize,
    written: usize,
    unplayed: usize,
    tempi: usize,
    tempo: usize,
    octave: usize,
}

impl Count {
    fn add(&mut self, other: &Self) {
        self.takes += other.takes;
        self.notes += other.notes;
        self.placed += other.placed;
        self.lasting += other.lasting;
        self.written += other.written;
        self.unplayed += other.unplayed;
        self.tempi += other.tempi;
        self.tempo += other.tempo;
        self.octave += other.octave;
    }

    fn row(&self, name: &str) -> String {
        let share = |part: usize, of: usize| {
            if of == 0 {
                "–".to_owned()
            } else {
                format!("{:.2}", 100.0 * part as f64 / of as f64)
            }
        };
        format!(
            "| {name} | {} | {} | {} | {} | {} | {} | {} |",
            self.takes,
            self.notes,
            share(self.placed, self.notes),
            share(self.lasting, self.notes),
            share(self.unplayed, self.written),
            share(self.tempo, self.tempi),
            share(self.octave, self.tempi),
        )
    }
}

/// A note of the line as the truth has it.
struct True {
    quarters: f64,
    length: f64,
    midi: u8,
    asked: bool,
    what: String,
}

fn number(value: &Value, name: &str) -> f64 {
    value[name].as_f64().unwrap_or(f64::NAN)
}

fn truth_of(truth: &Value) -> Vec<True> {
    let (beats, unit) = (number(truth, "beats"), number(truth, "beat_type"));
    let bpm = number(truth, "bpm_score");
    let notes = truth["notes"].as_array().cloned().unwrap_or_default();
    notes
        .iter()
        .map(|note| {
            let faults = note["faults"].as_array().cloned().unwrap_or_default();
            let faulty = |name: &&str| faults.iter().any(|fault| fault == name);
            let (bar, beat) = (number(note, "bar"), number(note, "beat"));
            True {
                quarters: ((bar - 1.0) * beats + beat - 1.0) * 4.0 / unit,
                length: number(note, "duration_s") * bpm / 60.0,
                midi: number(note, "expected_midi") as u8,
                asked: !note["played"].is_null() && !NOT_ASKED.iter().any(faulty),
                what: format!(
                    "bar {bar} beat {beat} {:?} {:?}",
                    faults, note["played"]["onset_s"]
                ),
            }
        })
        .collect()
}

/// The written note at the place of a true one.
fn at<'a>(note: &True, shift: f64, written: &'a [WrittenNote]) -> Option<&'a WrittenNote> {
    let place = note.quarters + shift;
    written
        .iter()
        .find(|w| (w.quarters - place).abs() < PLACE_QUARTERS)
}

/// The shift at which most notes are as written.
fn shift(truth: &[True], written: &[WrittenNote]) -> f64 {
    let mut shifts: Vec<f64> = Vec::new();
    for note in truth.iter().take(6) {
        shifts.extend(written.iter().take(8).map(|w| w.quarters - note.quarters));
    }
    let right = |shift: f64| {
        let same = |note: &&True| at(note, shift, written).is_some_and(|w| w.midi == note.midi);
        truth.iter().filter(same).count()
    };
    let best = shifts
        .into_iter()
        .max_by_key(|&shift| (right(shift), -(shift.abs() * 48.0) as i64));
    best.unwrap_or(0.0)
}

fn count(truth: &Value, written: &Written, all: bool) -> Count {
    let notes = truth_of(truth);
    let shift = shift(&notes, &written.notes);
    let mut counted = Count {
        takes: 1,
        written: written.notes.len(),
        ..Count::default()
    };
    for note in notes.iter().filter(|note| note.asked) {
        counted.notes += 1;
        let found = at(note, shift, &written.notes);
        let placed = found.is_some_and(|w| w.midi == note.midi && !w.ghost);
        let lasting = placed
            && found.is_some_and(|w| (w.length_quarters - note.length).abs() < PLACE_QUARTERS);
        counted.placed += usize::from(placed);
        counted.lasting += usize::from(lasting);
        if all && !(placed && lasting) {
            println!(
                "  {} for {} {}: {} at {} lasts {}; {:?}",
                if placed { "length" } else { "place" },
                truth["take"],
                note.what,
                note.midi,
                note.quarters + shift,
                note.length,
                found
            );
        }
    }
    let mut played: Vec<f64> = Vec::new();
    for note in truth["notes"].as_array().into_iter().flatten() {
        played.push(number(&note["played"], "onset_s"));
    }
    for extra in truth["extras"].as_array().into_iter().flatten() {
        played.push(number(extra, "onset_s"));
    }
    for note in &written.notes {
        if !played.iter().any(|p| (p - note.onset_s).abs() < PLAYED_S) {
            counted.unplayed += 1;
            if all {
                println!("  nobody played {} {note:?}", truth["take"]);
            }
        }
    }
    counted
}

/// Shares from which on a tempo falls into a row of the table.
const SURE_FROM: [f64; 5] = [0.0, 0.5, 0.7, 0.85, 0.95];

/// How often what was said to be so sure was right.
#[derive(Default)]
struct Reliability {
    /// For each row of playing and of click: how many, how sure on the whole, how many right.
    rows: [[(usize, f64, usize); SURE_FROM.len()]; 2],
}

impl Reliability {
    fn add(&mut self, by_click: bool, share: f64, right: bool) {
        let row = SURE_FROM
            .iter()
            .rposition(|from| share >= *from)
            .unwrap_or(0);
        let (count, sure, held) = &mut self.rows[usize::from(by_click)][row];
        *count += 1;
        *sure += share;
        *held += usize::from(right);
    }

    fn print(&self) {
        println!("\n| how sure | takes | said, on average | right |\n|---|---|---|---|");
        for (name, rows) in ["playing", "click"].iter().zip(&self.rows) {
            for (from, (count, sure, held)) in SURE_FROM.iter().zip(rows) {
                if *count > 0 {
                    let of = |part: f64| 100.0 * part / *count as f64;
                    println!(
                        "| {name}, from {:.0} % | {count} | {:.0} % | {:.0} % |",
                        100.0 * from,
                        of(*sure),
                        of(*held as f64)
                    );
                }
            }
        }
    }
}

fn tempo(truth: &Value, written: &Written, all: bool, sure: &mut Reliability, counted: &mut Count) {
    let (start, end) = (
        number(truth, "bpm_played_start"),
        number(truth, "bpm_played_end"),
    );
    // Mean over the notes: between both ends of a steady drift.
    let (low, high) = (start.min(end), start.max(end));
    let near = |bpm: f64| bpm >= low * (1.0 - TEMPO_NEAR) && bpm <= high * (1.0 + TEMPO_NEAR);
    let bpm = written.played_bpm;
    counted.tempi += 1;
    let found = near(bpm);
    let other = written.found_tempo.and_then(|found| found.octave);
    let octave = !found
        && [0.5, 2.0]
            .iter()
            .any(|times| near(bpm * times) && other.is_some_and(|(other, _)| near(other)));
    counted.tempo += usize::from(found);
    if let Some(tempo) = written.found_tempo {
        sure.add(tempo.by_click, tempo.share, found);
    }
    counted.octave += usize::from(octave);
    if all && !found {
        println!(
            "  tempo for {}: {start} to {end} in {}/{}; found {:?}",
            truth["take"], truth["beats"], truth["beat_type"], written.found_tempo
        );
    }
}

/// What is looked at, and how.
#[derive(Clone, Copy, Default)]
struct Options {
    all: bool,
    find: bool,
    click: bool,
}

fn one(
    folder: &Path,
    truth: &Value,
    Options { all, find, click }: Options,
    sure: &mut Reliability,
) -> Result<Count, String> {
    let audio = folder
        .join("audio")
        .join(truth["file"].as_str().unwrap_or(""));
    let meter = Meter::new(
        number(truth, "beats") as u8,
        number(truth, "beat_type") as u8,
    );
    let mut asked = Asked {
        tempo_bpm: Some(number(truth, "bpm_score")),
        meter: meter.map_err(|error| error.to_string())?,
        click,
        ..Asked::default()
    };
    let write = |asked: &Asked| {
        let mut source = file::open(&audio).map_err(|error| error.to_string())?;
        write_take("take", source.as_mut(), asked, STANDARD_A4).map_err(|error| error.to_string())
    };
    let mut counted = count(truth, &write(&asked)?, all);
    if find {
        asked.tempo_bpm = None;
        tempo(truth, &write(&asked)?, all, sure, &mut counted);
    }
    Ok(counted)
}

fn main() -> Result<(), String> {
    let mut folders: Vec<PathBuf> = Vec::new();
    let mut options = Options::default();
    let mut sure = Reliability::default();
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        match word.as_str() {
            "--all" => options.all = true,
            "--tempo" => options.find = true,
            "--click" => options.click = true,
            "--made" => {
                let mut number = || words.next().and_then(|word| word.parse().ok());
                let (seed, count) = (number(), number());
                let wrong = "--made takes a seed and how many lines of each kind";
                let seed: u64 = seed.ok_or(wrong)?;
                return made::run(seed, count.ok_or(wrong)? as usize, options.all);
            }
            _ => folders.push(PathBuf::from(word)),
        }
    }
    let mut table: BTreeMap<String, Count> = BTreeMap::new();
    for folder in &folders {
        let entries = std::fs::read_dir(folder.join("truth")).map_err(|error| error.to_string())?;
        let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
        paths.sort();
        for path in paths {
            let text = std::fs::read_to_string(&path).map_err(|error| error.to_string())?;
            let truth: Value = serde_json::from_str(&text).map_err(|error| error.to_string())?;
            let kind = truth["group"].as_str().unwrap_or("?").to_owned();
            if !KINDS.contains(&kind.as_str()) && !options.click {
                continue;
            }
            let counted = one(folder, &truth, options, &mut sure)
                .map_err(|error| format!("{}: {error}", path.display()))?;
            let instrument = truth["instrument"].as_str().unwrap_or("?");
            for row in [
                format!("kind {kind}"),
                format!("on {instrument}"),
                "~all".to_owned(),
            ] {
                table.entry(row).or_default().add(&counted);
            }
        }
    }
    println!(
        "| what | takes | notes | placed % | length % | unplayed % | tempo % | half or double % |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    for (name, counted) in &table {
        println!("{}", counted.row(name.trim_start_matches('~')));
    }
    if options.find {
        sure.print();
    }
    Ok(())
}
