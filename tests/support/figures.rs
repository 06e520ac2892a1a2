//! The numbers to reach, as a table: what, reached, to reach; over all takes and by instrument.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::numbers::{Spread, round};
use super::scoring::Score;

/// Which way is better.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Better {
    Higher,
    Lower,
}

/// One number.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    pub what: String,
    /// `None` when the takes have nothing to measure it on, or nothing was measured.
    pub reached: Option<f64>,
    /// `None` where no number was set.
    pub reach: Option<f64>,
    pub better: Better,
    /// Whether it is a measurement (of time, of pitch) and not a share of counted things.
    pub measured: bool,
    /// What it was made from: how many notes, claims, intervals.
    pub of: usize,
}

impl Figure {
    /// Whether `value` is at least as good as `mark`.
    pub fn as_good(&self, value: f64, mark: f64) -> bool {
        match self.better {
            Better::Higher => value >= mark,
            Better::Lower => value <= mark,
        }
    }

    /// Whether the number to reach is reached; `None` when either is not known.
    pub fn is_reached(&self) -> Option<bool> {
        Some(self.as_good(self.reached?, self.reach?))
    }
}

/// Collects figures.
#[derive(Default)]
struct Figures(Vec<Figure>);

impl Figures {
    fn share(&mut self, what: &str, value: f64, of: usize, reach: Option<f64>) {
        self.0.push(Figure {
            what: what.to_owned(),
            reached: (of > 0).then(|| round(value, 4)),
            reach,
            better: Better::Higher,
            measured: false,
            of,
        });
    }

    fn count(&mut self, what: &str, value: f64, of: usize, reach: f64) {
        self.0.push(Figure {
            what: what.to_owned(),
            reached: (of > 0).then_some(value),
            reach: Some(reach),
            better: Better::Lower,
            measured: false,
            of,
        });
    }

    fn measure(&mut self, what: &str, values: &[f64], take: fn(&Spread) -> f64, reach: f64) {
        let spread = Spread::of(values);
        self.0.push(Figure {
            what: what.to_owned(),
            reached: spread.as_ref().map(take),
            reach: Some(reach),
            better: Better::Lower,
            measured: true,
            of: values.len(),
        });
    }
}

/// The figures of one score, in the order of the table.
pub fn of(score: &Score) -> Vec<Figure> {
    let mut all = Figures::default();
    for name in ["wrong", "missed", "extra"] {
        let counts = score.class(name);
        let (claims, truths) = (counts.tp + counts.fp, counts.tp + counts.fn_);
        // Without a single claim there is nothing to be precise about; the scorer says 0.
        all.share(
            &format!("{name}: precision"),
            counts.precision(),
            claims,
            Some(0.99),
        );
        all.share(
            &format!("{name}: recall"),
            counts.recall(),
            truths,
            Some(0.99),
        );
    }
    for (name, reach) in [
        ("early", Some(0.98)),
        ("late", Some(0.98)),
        ("gap", Some(0.98)),
        ("dead", None),
        ("detuned", None),
        ("bleed", None),
    ] {
        let counts = score.class(name);
        let truths = counts.tp + counts.fn_;
        all.share(&format!("{name}: F1"), counts.f1(), truths, reach);
    }
    times(score, &mut all);
    for (words, band, reach) in [
        (
            "bleed found, -20 dB and louder",
            "-20 dB and louder",
            Some(0.95),
        ),
        ("bleed found, -28 to -20 dB", "-28..-20 dB", Some(0.85)),
        ("bleed found, unison and octaves", "masked", None),
    ] {
        let (found, of) = score.band(band);
        all.share(words, found as f64 / of.max(1) as f64, of, reach);
    }
    all.0
}

fn times(score: &Score, all: &mut Figures) {
    let signed = |s: &Spread| s.median_error;
    all.measure("onset: median, ms", &score.onset, |s| s.median_abs, 2.0);
    all.measure("onset: 95 % within, ms", &score.onset, |s| s.p95, 6.0);
    all.measure(
        "gap length: median, ms",
        &score.gap_fault,
        |s| s.median_abs,
        10.0,
    );
    all.measure(
        "gap length, lowest notes, ms",
        &score.gap_fault_low,
        |s| s.median_abs,
        15.0,
    );
    all.measure("pitch: 95 % within, cents", &score.cents, |s| s.p95, 4.0);
    let named: usize = score.octaves.values().sum();
    let octaves = score.octaves.get("octave and more").copied().unwrap_or(0);
    all.count("octave errors", octaves as f64, named, 0.0);
    all.count(
        "false alarms per 100 clean notes",
        score.false_alarms_per_100(),
        score.notes,
        0.5,
    );
    all.measure("heard after, median, ms", &score.heard, signed, 12.0);
    for (string, reach) in [("E", 44.0), ("A", 35.0), ("D", 28.0), ("G", 23.0)] {
        let values = score.named.get(string).map_or(&[] as &[f64], Vec::as_slice);
        let what = format!("named after, {string} string, ms");
        all.measure(&what, values, signed, reach);
    }
}

/// What, reached, to reach, from how many; then whether it is reached.
pub fn table(figures: &[Figure]) -> String {
    let mut text = format!(
        "{:34} {:>9} {:>9} {:>7}\n",
        "what", "reached", "to reach", "of"
    );
    for figure in figures {
        let sign = match figure.better {
            Better::Higher => ">=",
            Better::Lower => "<=",
        };
        let reach = figure
            .reach
            .map_or_else(|| "-".to_owned(), |r| format!("{sign} {r}"));
        let word = match figure.is_reached() {
            Some(true) => "yes",
            Some(false) => "NO",
            None => "",
        };
        let row = format!(
            "{:34} {:>9} {:>9} {:>7}  {word}",
            figure.what,
            number(figure.reached),
            reach,
            figure.of
        );
        let _ = writeln!(text, "{}", row.trim_end());
    }
    text
}

/// What each instrument reached; `!` after what is short of the number to reach.
pub fn table_by(parts: &BTreeMap<String, Score>) -> String {
    let columns: Vec<(&String, Vec<Figure>)> = parts.iter().map(|(k, v)| (k, of(v))).collect();
    let mut text = format!("{:34}", "what");
    for (name, _) in &columns {
        let _ = write!(text, " {name:>11} ");
    }
    let mut text = text.trim_end().to_owned();
    text.push('\n');
    let rows = columns.first().map_or(0, |(_, figures)| figures.len());
    for row in 0..rows {
        let mut words = format!("{:34}", columns[0].1[row].what);
        for (_, figures) in &columns {
            let figure = &figures[row];
            let short = if figure.is_reached() == Some(false) {
                '!'
            } else {
                ' '
            };
            let _ = write!(words, " {:>11}{short}", number(figure.reached));
        }
        let _ = writeln!(text, "{}", words.trim_end());
    }
    text
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |v| format!("{v}"))
}
