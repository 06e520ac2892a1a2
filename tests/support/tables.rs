//! Figures as tables: what, reached, to reach, from how many; over all takes and by a part of them.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde_json::Value;

use super::figures::{Better, Figure, notes};

/// What, reached, to reach, from how many; then whether it is reached.
pub fn table(figures: &[Figure]) -> String {
    let mut text = format!(
        "{:42} {:>9} {:>9} {:>7}\n",
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
            "{:42} {:>9} {:>9} {:>7}  {word}",
            figure.what,
            shown(figure.reached),
            reach,
            figure.of
        );
        let _ = writeln!(text, "{}", row.trim_end());
    }
    text
}

/// What each part reached, its notes first; `!` after what is short of the number to reach.
pub fn table_by(
    parts: &BTreeMap<String, Value>,
    of: impl Fn(&str, &Value) -> Vec<Figure>,
) -> String {
    let columns: Vec<(usize, Vec<Figure>)> = parts
        .iter()
        .map(|(name, score)| (name.len().max(8), of(name, score)))
        .collect();
    let mut text = format!("{:34}", "what");
    for (name, (width, _)) in parts.keys().zip(&columns) {
        let _ = write!(text, " {name:>width$} ");
    }
    let mut text = format!("{}\n{:34}", text.trim_end(), "notes");
    for (score, (width, _)) in parts.values().zip(&columns) {
        let _ = write!(text, " {:>width$} ", notes(score));
    }
    let mut text = format!("{}\n", text.trim_end());
    let rows = columns.first().map_or(0, |(_, figures)| figures.len());
    for row in 0..rows {
        let mut words = format!("{:34}", columns[0].1[row].what);
        for (width, figures) in &columns {
            let figure = &figures[row];
            let short = figure.is_reached() == Some(false);
            let sign = if short { '!' } else { ' ' };
            let _ = write!(words, " {:>width$}{sign}", shown(figure.reached));
        }
        let _ = writeln!(text, "{}", words.trim_end());
    }
    text
}

fn shown(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |v| format!("{v}"))
}
