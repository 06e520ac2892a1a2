//! What stands beside the notes of a bar: repeats, endings, jumps, tempos, swing.

use roxmltree::Node;

use super::document::child_number;
use super::note::unit_length;
use super::unkept::Unkept;
use crate::music::line::length::Length;
use crate::music::line::signs::{Jump, JumpTo, MAX_TIMES, Signs, Until};
use crate::music::line::swing::SwingRatio;
use crate::music::line::tempo::Tempo;

/// What a direction or a sound says.
#[derive(Debug, Default)]
pub(super) struct Said {
    pub tempo: Option<Tempo>,
    /// A swing; `Some(None)` goes back to straight.
    pub swing: Option<Option<SwingRatio>>,
    /// A coda sign that does not say whether the coda begins here or is gone to from here.
    pub coda_sign: bool,
}

/// Reads a bar line into the signs of its bar.
pub(super) fn barline(node: Node<'_, '_>, signs: &mut Signs, unkept: &mut Unkept) {
    for mark in node.children().filter(Node::is_element) {
        let kind = mark.attribute("type").unwrap_or_default();
        match mark.tag_name().name() {
            "repeat" if mark.attribute("direction") == Some("forward") => {
                signs.repeat_start = true;
            }
            "repeat" => {
                let times = mark
                    .attribute("times")
                    .and_then(|text| text.trim().parse().ok());
                signs.repeat_end = Some(times.unwrap_or(2).clamp(2, MAX_TIMES));
                signs.repeat_again |= mark.attribute("after-jump") == Some("yes");
            }
            "ending" if kind == "start" => {
                let numbers = mark.attribute("number").unwrap_or_default();
                let times = numbers
                    .split([',', ' '])
                    .filter_map(|text| text.trim().parse().ok());
                let times = times.filter(|times| (1..=MAX_TIMES).contains(times));
                signs.ending = times.collect();
                if signs.ending.is_empty() {
                    unkept.add("endings without a number");
                }
            }
            "ending" => signs.ending_end = true,
            "segno" => signs.segno = true,
            "fermata" => unkept.add("fermatas"),
            _ => {}
        }
    }
}

/// Reads a `direction`.
pub(super) fn direction(node: Node<'_, '_>, signs: &mut Signs, unkept: &mut Unkept) -> Said {
    let mut said = Said::default();
    let sounds: Vec<Node<'_, '_>> = node
        .children()
        .filter(|child| child.has_tag_name("sound"))
        .collect();
    for kind in node
        .children()
        .filter(|child| child.has_tag_name("direction-type"))
    {
        for mark in kind.children().filter(Node::is_element) {
            match mark.tag_name().name() {
                "segno" => signs.segno = true,
                "coda" => said.coda_sign = true,
                "words" => words(mark.text().unwrap_or_default(), signs, &mut said, unkept),
                "metronome" => said.tempo = metronome(mark, unkept).or(said.tempo),
                "dynamics" | "wedge" => unkept.add("dynamics"),
                "pedal" | "damp" | "damp-all" => unkept.add("pedals"),
                _ => {}
            }
        }
    }
    for mark in sounds {
        sound(mark, signs, &mut said, unkept);
    }
    said
}

/// Reads a `sound`, within a direction or alone.
pub(super) fn sound(node: Node<'_, '_>, signs: &mut Signs, said: &mut Said, unkept: &mut Unkept) {
    let is_yes = |name: &str| node.attribute(name) == Some("yes");
    let has = |name: &str| node.attribute(name).is_some_and(|value| !value.is_empty());
    if has("tempo") {
        let bpm = node
            .attribute("tempo")
            .and_then(|text| text.trim().parse().ok());
        match bpm.map(Tempo::quarters) {
            // The beat of a metronome mark that says the same is kept.
            Some(Ok(tempo)) => {
                let near = |drawn: &Tempo| {
                    (drawn.quarters_per_minute() - tempo.quarters_per_minute()).abs() < 0.5
                };
                said.tempo = Some(said.tempo.filter(near).unwrap_or(tempo));
            }
            _ => unkept.add("tempos out of range"),
        }
    }
    signs.repeat_start |= is_yes("forward-repeat");
    signs.segno |= has("segno");
    signs.fine |= has("fine");
    if has("coda") {
        (signs.coda, said.coda_sign) = (true, false);
    }
    if has("tocoda") {
        (signs.to_coda, said.coda_sign) = (true, false);
    }
    let to = if is_yes("dacapo") {
        Some(JumpTo::Start)
    } else if has("dalsegno") {
        Some(JumpTo::Segno)
    } else {
        None
    };
    if let Some(to) = to {
        let until = signs.jump.and_then(|jump| jump.until);
        signs.jump = Some(Jump { to, until });
    }
    for swing in children_of(node, "swing") {
        said.swing = Some(read_swing(swing));
    }
}

fn children_of<'a, 'i>(node: Node<'a, 'i>, name: &'static str) -> Vec<Node<'a, 'i>> {
    node.children()
        .filter(|child| child.has_tag_name(name))
        .collect()
}

fn read_swing(swing: Node<'_, '_>) -> Option<SwingRatio> {
    let first: f64 = child_number(swing, "first")?;
    let second: f64 = child_number(swing, "second")?;
    SwingRatio::new(first / second)
        .ok()
        .filter(|ratio| !ratio.is_straight())
}

/// Reads what is written as words: jumps and their signs.
///
/// # Source
/// The words themselves and their abbreviations: common practice, no source.
fn words(text: &str, signs: &mut Signs, said: &mut Said, unkept: &mut Unkept) {
    let plain: String = text
        .chars()
        .filter(|c| c.is_alphabetic())
        .flat_map(char::to_lowercase)
        .collect();
    let to = if ["dc", "dacapo"].iter().any(|head| plain.starts_with(head)) {
        Some(JumpTo::Start)
    } else if ["ds", "dalsegno"]
        .iter()
        .any(|head| plain.starts_with(head))
    {
        Some(JumpTo::Segno)
    } else {
        None
    };
    let tails = ["", "alfine", "alcoda", "alsegno", "alfin", "alfinealcoda"];
    let tail = ["dacapo", "dalsegno", "dc", "ds"]
        .iter()
        .find_map(|head| plain.strip_prefix(head));
    if let (Some(to), Some(tail)) = (to, tail.filter(|tail| tails.contains(tail))) {
        let until = match tail {
            "alfine" | "alfin" => Some(Until::Fine),
            "alcoda" => Some(Until::Coda),
            _ => None,
        };
        signs.jump = Some(Jump { to, until });
        return;
    }
    match plain.as_str() {
        "fine" => signs.fine = true,
        "tocoda" | "allacoda" => signs.to_coda = true,
        "coda" => said.coda_sign = true,
        "swing" | "swung" => unkept.add("the word `Swing` (give --swing 2:1 to swing the eighths)"),
        _ => {}
    }
}

/// The tempo of a metronome mark: a beat unit and how many of it a minute has.
fn metronome(node: Node<'_, '_>, unkept: &mut Unkept) -> Option<Tempo> {
    let parts: Vec<Node<'_, '_>> = node.children().filter(Node::is_element).collect();
    let units = parts.iter().filter(|part| part.has_tag_name("beat-unit"));
    let minute = parts.iter().find(|part| part.has_tag_name("per-minute"));
    if units.clone().count() != 1 || minute.is_none() {
        unkept.add("tempo marks that compare note values");
        return None;
    }
    let unit = units.clone().next()?.text()?.trim();
    let dots = parts
        .iter()
        .filter(|part| part.has_tag_name("beat-unit-dot"))
        .count();
    let beat: Length = unit_length(unit, dots)?;
    let text = minute?.text()?;
    let digits = text.trim_start_matches(|c: char| !c.is_ascii_digit());
    let end = digits.find(|c: char| !c.is_ascii_digit() && c != '.');
    let bpm: f64 = digits[..end.unwrap_or(digits.len())]
        .trim_end_matches('.')
        .parse()
        .ok()?;
    let tempo = Tempo::new(bpm, beat).ok();
    if tempo.is_none() {
        unkept.add("tempos out of range");
    }
    tempo
}

/// Where a direction is moved to by its `offset`, in divisions.
pub(super) fn offset_of(node: Node<'_, '_>) -> f64 {
    let value: Option<f64> = child_number(node, "offset");
    value.filter(|value| value.is_finite()).unwrap_or(0.0)
}
