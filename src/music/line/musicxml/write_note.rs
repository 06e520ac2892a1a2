//! Notes, rests and chord symbols of a score that is written.

use super::harmony::KINDS;
use super::note::type_of;
use super::writer::{in_divisions, written_pitch};
use super::xml::Xml;
use crate::music::line::length::Length;
use crate::music::line::model::{Event, EventKind, Grace, Note, Start};
use crate::music::theory::{ChordSymbol, Key, NoteName};

/// Tuplets that a length is drawn as: how many notes, in the time of how many. Common practice of
/// notation, no source.
const TUPLETS: [(i64, i64); 7] = [(3, 2), (5, 4), (7, 4), (9, 8), (11, 8), (13, 8), (15, 8)];

/// What was written last, for ties and slurs.
#[derive(Debug, Default)]
pub(super) struct Written {
    notes: Vec<Note>,
}

/// The drawn form of a length: type, dots, tuplet.
type Drawn = (&'static str, usize, Option<(i64, i64)>);

fn drawn(length: Length) -> Option<Drawn> {
    if let Some((name, dots)) = type_of(length) {
        return Some((name, dots, None));
    }
    TUPLETS.iter().find_map(|&(actual, normal)| {
        let units = length.units() * actual;
        let whole = (units % normal == 0).then(|| Length::from_units(units / normal))?;
        let (name, dots) = type_of(whole)?;
        Some((name, dots, Some((actual, normal))))
    })
}

/// Writes an event. `next` is what follows it; `held_on` says that it is tied on.
pub(super) fn write_event(
    xml: &mut Xml,
    event: &Event,
    key: Key,
    divisions: i64,
    written: &mut Written,
    next: Option<&Event>,
    held_on: bool,
) {
    for (at, grace) in event.graces.iter().enumerate() {
        let after = event.graces.get(at + 1).map(|next| next.start);
        let after = after.or_else(|| start_of(event));
        write_grace(xml, grace, key, after);
    }
    let (notes, is_hold) = match &event.kind {
        EventKind::Rest => {
            xml.within("note", &[], |xml| {
                xml.empty("rest", &[]);
                lengths(xml, event.length, divisions, |_| {}, |_| {});
            });
            return;
        }
        EventKind::Hold => (written.notes.clone(), true),
        EventKind::Notes { notes, .. } => (notes.clone(), false),
    };
    let reached = next.and_then(|next| match next.graces.first() {
        Some(grace) => Some(grace.start),
        None => start_of(next),
    });
    for (at, note) in notes.iter().enumerate() {
        xml.within("note", &[], |xml| {
            if at > 0 {
                xml.empty("chord", &[]);
            }
            pitch(xml, note, key);
            let ties = |xml: &mut Xml, name: &str| {
                if is_hold {
                    xml.empty(name, &[("type", "stop")]);
                }
                if held_on {
                    xml.empty(name, &[("type", "start")]);
                }
            };
            let ghost = |xml: &mut Xml| {
                if note.ghost {
                    xml.leaf("notehead", "x");
                }
            };
            lengths(xml, event.length, divisions, |xml| ties(xml, "tie"), ghost);
            let begun = start_of(event).filter(|_| !is_hold && at == 0);
            let onward = reached.filter(|_| at == 0);
            let marks = Marks {
                note: (!is_hold).then_some(note),
                begun: begun.unwrap_or_default(),
                onward: onward.unwrap_or_default(),
                staccato: at == 0 && is_staccato(event),
                accent: at == 0 && event.accent,
                breath: at == 0 && event.breath_after,
            };
            marks.write(xml, is_hold || held_on, |xml| ties(xml, "tied"));
        });
    }
    written.notes = notes;
}

fn start_of(event: &Event) -> Option<Start> {
    match event.kind {
        EventKind::Notes { start, .. } => Some(start),
        EventKind::Rest | EventKind::Hold => None,
    }
}

fn is_staccato(event: &Event) -> bool {
    matches!(event.kind, EventKind::Notes { staccato: true, .. })
}

fn write_grace(xml: &mut Xml, grace: &Grace, key: Key, after: Option<Start>) {
    for (at, note) in grace.notes.iter().enumerate() {
        xml.within("note", &[], |xml| {
            xml.empty("grace", &[("slash", "yes")]);
            if at > 0 {
                xml.empty("chord", &[]);
            }
            pitch(xml, note, key);
            xml.leaf("voice", 1);
            xml.leaf("type", "eighth");
            if note.ghost {
                xml.leaf("notehead", "x");
            }
            let marks = Marks {
                note: Some(note),
                begun: if at == 0 { grace.start } else { Start::Plucked },
                onward: after.filter(|_| at == 0).unwrap_or_default(),
                staccato: false,
                accent: false,
                breath: false,
            };
            marks.write(xml, false, |_| {});
        });
    }
}

fn pitch(xml: &mut Xml, note: &Note, key: Key) {
    let spelled = key.spell(note.midi);
    let (step, alter, octave) = written_pitch(spelled.name, spelled.octave);
    xml.within("pitch", &[], |xml| {
        xml.leaf("step", step);
        if alter != 0 {
            xml.leaf("alter", alter);
        }
        xml.leaf("octave", octave);
    });
}

/// Duration, ties, voice, type and what stands between them and the marks.
fn lengths(
    xml: &mut Xml,
    length: Length,
    divisions: i64,
    ties: impl FnOnce(&mut Xml),
    head: impl FnOnce(&mut Xml),
) {
    xml.leaf("duration", in_divisions(length, divisions));
    ties(xml);
    xml.leaf("voice", 1);
    if let Some((name, dots, tuplet)) = drawn(length) {
        xml.leaf("type", name);
        for _ in 0..dots {
            xml.empty("dot", &[]);
        }
        if let Some((actual, normal)) = tuplet {
            xml.within("time-modification", &[], |xml| {
                xml.leaf("actual-notes", actual);
                xml.leaf("normal-notes", normal);
            });
        }
    }
    head(xml);
}

/// What stands at a note.
struct Marks<'a> {
    note: Option<&'a Note>,
    begun: Start,
    /// How the next note is begun.
    onward: Start,
    staccato: bool,
    accent: bool,
    breath: bool,
}

impl Marks<'_> {
    fn write(&self, xml: &mut Xml, tied: bool, ties: impl FnOnce(&mut Xml)) {
        let place = self.note.and_then(|note| note.place);
        let slurred =
            |start: Start| matches!(start, Start::Slurred | Start::Hammered | Start::Pulled);
        let by_hand = |start: Start| matches!(start, Start::Hammered | Start::Pulled);
        let technical = place.is_some() || by_hand(self.begun) || by_hand(self.onward);
        let articulated = self.staccato || self.accent || self.breath;
        let joined = self.begun != Start::Plucked || self.onward != Start::Plucked;
        if !(tied || technical || articulated || joined) {
            return;
        }
        xml.within("notations", &[], |xml| {
            ties(xml);
            for (start, kind) in [(self.begun, "stop"), (self.onward, "start")] {
                if slurred(start) {
                    xml.empty("slur", &[("type", kind), ("number", "1")]);
                }
                if start == Start::Slid {
                    let attributes = [("type", kind), ("number", "1"), ("line-type", "solid")];
                    xml.empty("slide", &attributes);
                }
            }
            if technical {
                xml.within("technical", &[], |xml| self.technical(xml));
            }
            if articulated {
                xml.within("articulations", &[], |xml| {
                    for (given, name) in [
                        (self.accent, "accent"),
                        (self.staccato, "staccato"),
                        (self.breath, "breath-mark"),
                    ] {
                        if given {
                            xml.empty(name, &[]);
                        }
                    }
                });
            }
        });
    }

    fn technical(&self, xml: &mut Xml) {
        for (start, kind) in [(self.begun, "stop"), (self.onward, "start")] {
            let attributes = [("type", kind), ("number", "1")];
            let text = |letter| if kind == "start" { letter } else { "" };
            match start {
                Start::Hammered => xml.leaf_with("hammer-on", &attributes, text("H")),
                Start::Pulled => xml.leaf_with("pull-off", &attributes, text("P")),
                _ => {}
            }
        }
        let Some(note) = self.note else { return };
        if let Some(finger) = note.finger {
            xml.leaf("fingering", finger);
        }
        if let Some(place) = note.place {
            xml.leaf("string", place.string);
            xml.leaf("fret", place.fret);
        }
    }
}

/// Writes a chord symbol, `offset` divisions from here.
pub(super) fn harmony(xml: &mut Xml, symbol: &ChordSymbol, offset: i64) {
    let name = |xml: &mut Xml, step: &str, alter: &str, name: NoteName| {
        xml.leaf(step, format!("{:?}", name.letter));
        if name.alter != 0 {
            xml.leaf(alter, name.alter);
        }
    };
    xml.within("harmony", &[], |xml| {
        let Some(root) = symbol.root() else {
            xml.within("root", &[], |xml| {
                xml.leaf_with("root-step", &[("text", "")], "C")
            });
            xml.leaf_with("kind", &[("text", symbol.text())], "none");
            if offset != 0 {
                xml.leaf("offset", offset);
            }
            return;
        };
        xml.within("root", &[], |xml| {
            name(xml, "root-step", "root-alter", root)
        });
        let quality = symbol.quality();
        let known = KINDS
            .iter()
            .find(|(kind, suffix)| *suffix == quality && !matches!(*kind, "other" | "none"));
        let kind = known.map_or("other", |(kind, _)| kind);
        xml.leaf_with("kind", &[("text", quality)], kind);
        if let Some(bass) = symbol.bass() {
            xml.within("bass", &[], |xml| {
                name(xml, "bass-step", "bass-alter", bass)
            });
        }
        if offset != 0 {
            xml.leaf("offset", offset);
        }
    });
}
