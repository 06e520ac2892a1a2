//! Chord symbols: MusicXML's `harmony` and the text of a symbol.
//!
//! # Source
//! MusicXML 4.0, data type `kind-value`.

use roxmltree::Node;

use super::document::{child_number, children};
use crate::music::theory::ChordSymbol;

/// Each kind of chord and how its symbol is written after the root.
pub(super) const KINDS: [(&str, &str); 27] = [
    ("major", ""),
    ("minor", "m"),
    ("augmented", "aug"),
    ("diminished", "dim"),
    ("dominant", "7"),
    ("major-seventh", "maj7"),
    ("minor-seventh", "m7"),
    ("diminished-seventh", "dim7"),
    ("augmented-seventh", "aug7"),
    ("half-diminished", "m7b5"),
    ("major-minor", "m(maj7)"),
    ("major-sixth", "6"),
    ("minor-sixth", "m6"),
    ("dominant-ninth", "9"),
    ("major-ninth", "maj9"),
    ("minor-ninth", "m9"),
    ("dominant-11th", "11"),
    ("major-11th", "maj11"),
    ("minor-11th", "m11"),
    ("dominant-13th", "13"),
    ("major-13th", "maj13"),
    ("minor-13th", "m13"),
    ("suspended-second", "sus2"),
    ("suspended-fourth", "sus4"),
    ("power", "5"),
    ("none", "N.C."),
    ("other", ""),
];

/// The chord symbol of a `harmony`, or what cannot be read as one.
pub(super) fn symbol_of(harmony: Node<'_, '_>) -> Result<ChordSymbol, String> {
    let Some(kind) = harmony.children().find(|node| node.has_tag_name("kind")) else {
        return Err("without a kind".to_owned());
    };
    let value = kind.text().unwrap_or_default().trim();
    let shown = kind.attribute("text").unwrap_or_default();
    if value == "none" {
        let shown = shown
            .parse()
            .ok()
            .filter(|symbol: &ChordSymbol| symbol.root().is_none());
        return match shown {
            Some(symbol) => Ok(symbol),
            None => "N.C.".parse().map_err(|_| "N.C.".to_owned()),
        };
    }
    let root = note_name(harmony, "root", "root-step", "root-alter");
    let Some(root) = root else {
        return Err(format!("a `{value}` without a root"));
    };
    let bass = note_name(harmony, "bass", "bass-step", "bass-alter");
    let bass = bass.map_or(String::new(), |bass| format!("/{bass}"));
    let known = KINDS.iter().find(|(kind, _)| *kind == value);
    let degrees: String = children(harmony, "degree").map(degree).collect();
    // The text that is printed, where the kind has no name of its own or cannot be read.
    let by_kind = known
        .filter(|(kind, _)| *kind != "other")
        .map(|(_, suffix)| format!("{root}{suffix}{degrees}{bass}"));
    let by_text = || format!("{root}{}{bass}", shown.replace(' ', ""));
    let tried = by_kind.into_iter().chain([by_text()]);
    let mut last = String::new();
    for text in tried {
        match text.parse() {
            Ok(symbol) => return Ok(symbol),
            Err(_) => last = text,
        }
    }
    Err(if value == "other" || known.is_some() {
        last
    } else {
        format!("{root} {value}")
    })
}

fn note_name(harmony: Node<'_, '_>, name: &str, step: &str, alter: &str) -> Option<String> {
    let node = harmony.children().find(|node| node.has_tag_name(name))?;
    let mut text = child_text_of(node, step)?;
    let alter: f64 = child_number(node, alter).unwrap_or(0.0);
    let sign = if alter < 0.0 { "b" } else { "#" };
    for _ in 0..(alter.abs().round() as usize).min(2) {
        text.push_str(sign);
    }
    Some(text)
}

fn child_text_of(node: Node<'_, '_>, name: &str) -> Option<String> {
    let node = node.children().find(|child| child.has_tag_name(name))?;
    Some(node.text()?.trim().to_owned())
}

/// A degree added, altered or left out, as it is written behind the kind.
fn degree(node: Node<'_, '_>) -> String {
    let value: u8 = child_number(node, "degree-value").unwrap_or(0);
    let alter: f64 = child_number(node, "degree-alter").unwrap_or(0.0);
    let sign = match alter {
        alter if alter < 0.0 => "b",
        alter if alter > 0.0 => "#",
        _ => "",
    };
    match child_text_of(node, "degree-type").as_deref() {
        Some("subtract") => format!("no{value}"),
        Some("add") if sign.is_empty() => format!("add{value}"),
        _ if sign.is_empty() => format!("{value}"),
        _ => format!("{sign}{value}"),
    }
}
