//! One `note` of a score: its pitch, length and marks.

use roxmltree::Node;

use super::document::child_number;
use super::unkept::Unkept;
use crate::music::line::length::{Length, UNITS_PER_QUARTER};
use crate::music::line::model::Start;
use crate::music::theory::{Key, Letter, NoteName, SpelledPitch};

/// What a note head says beside its place in time.
#[derive(Clone, Debug)]
pub(super) struct Head {
    pub midi: u8,
    /// String and fret, as they are written.
    pub place: Option<(u8, u8)>,
    pub finger: Option<u8>,
    pub ghost: bool,
    /// True when it is tied to the note before.
    pub tied: bool,
    /// True when a tie to the next note begins at it.
    pub tied_on: bool,
    pub staccato: bool,
    pub accent: bool,
    pub breath: bool,
    pub start: Start,
}

/// The note types, each with its length in 1024th notes.
const TYPES: [(&str, i64); 14] = [
    ("1024th", 1),
    ("512th", 2),
    ("256th", 4),
    ("128th", 8),
    ("64th", 16),
    ("32nd", 32),
    ("16th", 64),
    ("eighth", 128),
    ("quarter", 256),
    ("half", 512),
    ("whole", 1024),
    ("breve", 2048),
    ("long", 4096),
    ("maxima", 8192),
];

/// How many of the shortest note type make a quarter.
const SHORTEST_IN_QUARTER: i64 = 256;

/// The exact length that type, dots and tuplet of a note give.
pub(super) fn drawn_length(note: Node<'_, '_>) -> Option<Length> {
    let name = text_in(note, "type")?;
    let shortest = TYPES.iter().find(|(known, _)| *known == name)?.1;
    let dots = note
        .children()
        .filter(|node| node.has_tag_name("dot"))
        .count();
    if dots > 4 {
        return None;
    }
    let (mut numerator, mut denominator) = (
        i128::from(shortest) * i128::from(UNITS_PER_QUARTER),
        i128::from(SHORTEST_IN_QUARTER),
    );
    numerator *= (1 << (dots + 1)) - 1;
    denominator *= 1 << dots;
    if let Some(tuplet) = note
        .children()
        .find(|node| node.has_tag_name("time-modification"))
    {
        let normal: u16 = child_number(tuplet, "normal-notes")?;
        let actual: u16 = child_number(tuplet, "actual-notes")?;
        numerator *= i128::from(normal);
        denominator *= i128::from(actual);
    }
    if denominator == 0 || numerator % denominator != 0 {
        return None;
    }
    i64::try_from(numerator / denominator)
        .ok()
        .map(Length::from_units)
}

fn text_in<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    let node = node.children().find(|child| child.has_tag_name(name))?;
    node.text().map(str::trim)
}

/// The length of a beat unit with its dots, as in a metronome mark.
pub(super) fn unit_length(name: &str, dots: usize) -> Option<Length> {
    let shortest = TYPES.iter().find(|(known, _)| *known == name)?.1;
    let units = UNITS_PER_QUARTER / SHORTEST_IN_QUARTER * shortest;
    let dotted = units * ((1 << (dots.min(4) + 1)) - 1) / (1 << dots.min(4));
    Some(Length::from_units(dotted))
}

/// The name of the note type and the dots of a length, if there is one.
pub(super) fn type_of(length: Length) -> Option<(&'static str, usize)> {
    TYPES.iter().rev().find_map(|&(name, _)| {
        (0..=2).find_map(|dots| (unit_length(name, dots)? == length).then_some((name, dots)))
    })
}

/// Reads the pitch of a note as it sounds, `chromatic` semitones from what is written.
///
/// # Errors
/// What is wrong with it.
pub(super) fn pitch_of(
    note: Node<'_, '_>,
    chromatic: i32,
    unkept: &mut Unkept,
) -> Result<Option<u8>, String> {
    let Some(pitch) = note.children().find(|node| node.has_tag_name("pitch")) else {
        return Ok(None);
    };
    let letter = match text_in(pitch, "step") {
        Some("C") => Letter::C,
        Some("D") => Letter::D,
        Some("E") => Letter::E,
        Some("F") => Letter::F,
        Some("G") => Letter::G,
        Some("A") => Letter::A,
        Some("B") => Letter::B,
        given => {
            let given = given.unwrap_or_default();
            return Err(format!(
                "`{given}` is no step of a pitch; allowed are A to G"
            ));
        }
    };
    let octave: i8 = child_number(pitch, "octave")
        .filter(|octave| (0..=9).contains(octave))
        .ok_or("the octave of a pitch is a number from 0 to 9")?;
    let alter: f64 = child_number(pitch, "alter").unwrap_or(0.0);
    if !alter.is_finite() || alter.abs() > 4.0 {
        return Err("a pitch is altered by more than four semitones".to_owned());
    }
    if alter.fract() != 0.0 {
        unkept.add("quarter tones, read as the nearest semitone");
    }
    let name = NoteName {
        letter,
        alter: alter.round() as i8,
    };
    let midi = SpelledPitch { name, octave }.midi() + chromatic;
    match u8::try_from(midi).ok().filter(|&midi| midi < 128) {
        Some(midi) => Ok(Some(midi)),
        None => Err(format!(
            "the pitch {name}{octave} sounds outside of what can be heard"
        )),
    }
}

/// Reads the marks of a note. `slurred` says that a slur from an earlier note reaches it.
pub(super) fn head_of(note: Node<'_, '_>, midi: u8, slurred: bool, unkept: &mut Unkept) -> Head {
    let mut head = Head {
        midi,
        place: None,
        finger: None,
        ghost: false,
        tied: false,
        tied_on: false,
        staccato: false,
        accent: false,
        breath: false,
        start: if slurred {
            Start::Slurred
        } else {
            Start::Plucked
        },
    };
    let is = |node: &Node<'_, '_>, kind: &str| node.attribute("type") == Some(kind);
    let is_stop = |node: &Node<'_, '_>| is(node, "stop");
    for tie in note.children().filter(|node| node.has_tag_name("tie")) {
        head.tied |= is_stop(&tie);
        head.tied_on |= is(&tie, "start");
    }
    if let Some(shape) = text_in(note, "notehead") {
        match shape {
            "x" | "cross" | "circle-x" => head.ghost = true,
            "normal" | "none" | "" => {}
            _ => unkept.add("shapes of note heads"),
        }
    }
    for notations in note
        .children()
        .filter(|node| node.has_tag_name("notations"))
    {
        for mark in notations.children().filter(Node::is_element) {
            match mark.tag_name().name() {
                "tied" => {
                    head.tied |= is_stop(&mark);
                    head.tied_on |= is(&mark, "start");
                }
                "slide" | "glissando" if is_stop(&mark) => head.start = Start::Slid,
                "technical" => technical(mark, &mut head, unkept),
                "articulations" => articulations(mark, &mut head, unkept),
                "ornaments" => unkept.add("ornaments and tremolos"),
                "fermata" => unkept.add("fermatas"),
                "dynamics" => unkept.add("dynamics"),
                "arpeggiate" | "non-arpeggiate" => unkept.add("arpeggio signs"),
                _ => {}
            }
        }
    }
    head
}

fn technical(technical: Node<'_, '_>, head: &mut Head, unkept: &mut Unkept) {
    let number = |name: &str| -> Option<u8> { child_number(technical, name) };
    if let (Some(string), Some(fret)) = (number("string"), number("fret")) {
        head.place = Some((string, fret));
    }
    for mark in technical.children().filter(Node::is_element) {
        let is_stop = mark.attribute("type") == Some("stop");
        match mark.tag_name().name() {
            "string" | "fret" => {}
            "fingering" => {
                let given = mark.text().and_then(|text| text.trim().parse().ok());
                let given = given.filter(|finger| (1..=4).contains(finger));
                head.finger = head.finger.or(given);
            }
            "hammer-on" if is_stop => head.start = Start::Hammered,
            "pull-off" if is_stop => head.start = Start::Pulled,
            "hammer-on" | "pull-off" => {}
            "pluck" => unkept.add("plucking fingers"),
            "bend" => unkept.add("bends"),
            "harmonic" => unkept.add("harmonics, read at the pitch that is written"),
            "tap" => unkept.add("tapping"),
            _ => unkept.add("other technical signs"),
        }
    }
}

fn articulations(articulations: Node<'_, '_>, head: &mut Head, unkept: &mut Unkept) {
    for mark in articulations.children().filter(Node::is_element) {
        match mark.tag_name().name() {
            "staccato" | "staccatissimo" | "spiccato" | "detached-legato" => head.staccato = true,
            "accent" | "strong-accent" | "stress" => head.accent = true,
            "breath-mark" | "caesura" => head.breath = true,
            // A note that is held for its full time is what every line says.
            "tenuto" | "unstress" | "soft-accent" => {}
            _ => unkept.add("scoops, falls and other articulations"),
        }
    }
}

/// The name of a pitch, for messages.
pub(super) fn named(midi: u8) -> String {
    Key::default().spell(midi).to_string()
}

/// The slurs that end and begin at a note, by their numbers.
pub(super) fn slurs(note: Node<'_, '_>, kind: &str) -> Vec<u8> {
    let notations = note
        .children()
        .filter(|node| node.has_tag_name("notations"));
    notations
        .flat_map(|notations| notations.children())
        .filter(|node| node.has_tag_name("slur") && node.attribute("type") == Some(kind))
        .map(|slur| {
            slur.attribute("number")
                .and_then(|text| text.parse().ok())
                .unwrap_or(1)
        })
        .collect()
}
