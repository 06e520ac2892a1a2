//! The writer of scores: partwise MusicXML 4.0, one part.
//!
//! A bass is written an octave above its sound, in the bass clef, as players read it; strings and
//! frets stand as technical signs.

use super::container;
use super::note::type_of;
use super::write_note::{Written, harmony, write_event};
use super::xml::Xml;
use crate::music::line::endings::Endings;
use crate::music::line::length::{Length, UNITS_PER_QUARTER};
use crate::music::line::model::{Bar, Event, EventKind, Lacks};
use crate::music::line::signs::{JumpTo, Until};
use crate::music::line::swing::SwingRatio;
use crate::music::line::tempo::Tempo;
use crate::music::line::whole::Line;
use crate::music::theory::{Key, Mode, NoteName, SpelledPitch};

/// Semitones from what is written to what sounds. Common practice of bass and guitar, no source.
pub(super) const WRITTEN_ABOVE: u8 = 12;

/// Lowest open string of an instrument that is written in the treble clef: E2, the guitar's.
const TREBLE_FROM: u8 = 40;

const HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"no\"?>\n\
    <!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
    \"http://www.musicxml.org/dtds/partwise.dtd\">\n";

/// Writes a line as a score; `by` stands in a comment above it, so that the file says who wrote it.
///
/// Reading it gives an equal line, but for what a score cannot hold (see `unheld`).
pub fn write_musicxml(line: &Line, by: &str) -> String {
    let by = by.replace("--", "-");
    let mut xml = Xml::new(&format!("{HEAD}<!-- {by} -->\n"));
    let divisions = divisions(line);
    xml.within("score-partwise", &[("version", "4.0")], |xml| {
        if !line.title().is_empty() {
            xml.within("work", &[], |xml| xml.leaf("work-title", line.title()));
        }
        xml.within("identification", &[], |xml| {
            xml.within("encoding", &[], |xml| xml.leaf("software", "seamline"));
        });
        xml.within("part-list", &[], |xml| {
            xml.within("score-part", &[("id", "P1")], |xml| {
                xml.leaf("part-name", if is_treble(line) { "Guitar" } else { "Bass" });
            });
        });
        xml.within("part", &[("id", "P1")], |xml| bars(xml, line, divisions));
    });
    xml.finish()
}

/// Writes a line as a compressed score; else as [`write_musicxml`].
pub fn write_mxl(line: &Line, by: &str) -> Vec<u8> {
    container::pack(&write_musicxml(line, by), by)
}

fn is_treble(line: &Line) -> bool {
    line.instrument().range().0 >= TREBLE_FROM
}

/// Parts of a quarter that every length and every place of a mark is a whole number of.
fn divisions(line: &Line) -> i64 {
    fn gcd(a: i64, b: i64) -> i64 {
        if b == 0 { a.abs() } else { gcd(b, a % b) }
    }
    let mut common = UNITS_PER_QUARTER;
    for bar in line.written_bars() {
        for event in &bar.events {
            common = gcd(common, event.length.units());
        }
        for at in bar
            .chords
            .iter()
            .map(|mark| mark.at)
            .chain(bar.tempos.iter().map(|mark| mark.at))
        {
            common = gcd(common, at.units());
        }
    }
    UNITS_PER_QUARTER / common.max(1)
}

/// A length in divisions.
pub(super) fn in_divisions(length: Length, divisions: i64) -> i64 {
    length.units() / (UNITS_PER_QUARTER / divisions)
}

fn bars(xml: &mut Xml, line: &Line, divisions: i64) {
    let bars = line.written_bars();
    let endings = Endings::of(bars).ok();
    let mut number = line.first_bar();
    let mut opening = Written::default();
    for (index, bar) in bars.iter().enumerate() {
        number = bar.printed.unwrap_or(number);
        let label = number.to_string();
        let is_short = index == 0 && line.has_pickup() || bar.lacks != Lacks::Nothing;
        let mut attributes = vec![("number", label.as_str())];
        if is_short {
            attributes.push(("implicit", "yes"));
        }
        let ending = endings.as_ref().and_then(|endings| endings.of_bar[index]);
        let ends = ending.is_some_and(|ending| ending.last == index);
        let times = ending.and_then(|_| {
            bars[..=index]
                .iter()
                .rev()
                .map(|bar| &bar.signs.ending)
                .find(|times| !times.is_empty())
        });
        let times = times.map(|times| {
            times
                .iter()
                .map(u8::to_string)
                .collect::<Vec<_>>()
                .join(", ")
        });
        xml.within("measure", &attributes, |xml| {
            left_edge(xml, bar, times.as_deref());
            let before = index.checked_sub(1).map(|before| &bars[before]);
            head(xml, line, bar, before, divisions);
            if index == 0 {
                tempo(xml, line.tempo(), 0);
                if let Some(swing) = line.swing() {
                    write_swing(xml, swing);
                }
            }
            let next_start = next_start(bars, index);
            notes(xml, bar, divisions, &mut opening, next_start);
            right_edge(xml, bar, times.as_deref().filter(|_| ends));
        });
        number = number.saturating_add(1);
    }
}

/// How the first note of the next bar is begun: what a slur over the bar line needs to know.
fn next_start(bars: &[Bar], index: usize) -> Option<&Event> {
    bars.get(index + 1).and_then(|bar| bar.events.first())
}

fn head(xml: &mut Xml, line: &Line, bar: &Bar, before: Option<&Bar>, divisions: i64) {
    let new_key = before.is_none_or(|before| before.key != bar.key);
    let new_meter = before.is_none_or(|before| before.meter != bar.meter);
    if !new_key && !new_meter {
        return;
    }
    xml.within("attributes", &[], |xml| {
        if before.is_none() {
            xml.leaf("divisions", divisions);
        }
        if new_key {
            xml.within("key", &[], |xml| {
                xml.leaf("fifths", bar.key.fifths());
                xml.leaf(
                    "mode",
                    if bar.key.mode() == Mode::Minor {
                        "minor"
                    } else {
                        "major"
                    },
                );
            });
        }
        if new_meter {
            xml.within("time", &[], |xml| {
                xml.leaf("beats", bar.meter.beats());
                xml.leaf("beat-type", bar.meter.unit());
            });
        }
        if before.is_some() {
            return;
        }
        xml.within("clef", &[], |xml| {
            let (sign, at) = if is_treble(line) { ("G", 2) } else { ("F", 4) };
            xml.leaf("sign", sign);
            xml.leaf("line", at);
        });
        xml.within("staff-details", &[], |xml| {
            let strings = line.instrument().tuning().open_strings();
            for (at, &midi) in strings.iter().rev().enumerate() {
                let SpelledPitch { name, octave } = Key::default().spell(midi);
                xml.within("staff-tuning", &[("line", &(at + 1).to_string())], |xml| {
                    xml.leaf("tuning-step", format!("{:?}", name.letter));
                    if name.alter != 0 {
                        xml.leaf("tuning-alter", name.alter);
                    }
                    xml.leaf("tuning-octave", octave);
                });
            }
        });
        xml.within("transpose", &[], |xml| {
            xml.leaf("diatonic", 0);
            xml.leaf("chromatic", 0);
            xml.leaf("octave-change", -1);
        });
    });
}

fn left_edge(xml: &mut Xml, bar: &Bar, times: Option<&str>) {
    let signs = &bar.signs;
    let begins = times.filter(|_| !signs.ending.is_empty());
    if signs.repeat_start || begins.is_some() {
        xml.within("barline", &[("location", "left")], |xml| {
            if let Some(times) = begins {
                xml.empty("ending", &[("number", times), ("type", "start")]);
            }
            if signs.repeat_start {
                xml.empty("repeat", &[("direction", "forward")]);
            }
        });
    }
    if signs.segno {
        sign(xml, |xml| xml.empty("segno", &[]), &[("segno", "segno")]);
    }
    if signs.coda {
        sign(xml, |xml| xml.empty("coda", &[]), &[("coda", "coda")]);
    }
}

fn right_edge(xml: &mut Xml, bar: &Bar, ended: Option<&str>) {
    let signs = &bar.signs;
    let words = |xml: &mut Xml, text: &str, sound: (&str, &str)| {
        sign(xml, |xml| xml.leaf("words", text), &[sound]);
    };
    if signs.to_coda {
        words(xml, "To Coda", ("tocoda", "coda"));
    }
    if signs.fine {
        words(xml, "Fine", ("fine", "yes"));
    }
    if let Some(jump) = signs.jump {
        let (name, sound) = match jump.to {
            JumpTo::Start => ("D.C.", ("dacapo", "yes")),
            JumpTo::Segno => ("D.S.", ("dalsegno", "segno")),
        };
        let until = match jump.until {
            Some(Until::Fine) => " al Fine",
            Some(Until::Coda) => " al Coda",
            None => "",
        };
        words(xml, &format!("{name}{until}"), sound);
    }
    if ended.is_none() && signs.repeat_end.is_none() {
        return;
    }
    xml.within("barline", &[("location", "right")], |xml| {
        if let Some(times) = ended {
            xml.empty("ending", &[("number", times), ("type", "stop")]);
        }
        if let Some(times) = signs.repeat_end {
            let times = times.to_string();
            let mut attributes = vec![("direction", "backward")];
            if times != "2" {
                attributes.push(("times", &times));
            }
            if signs.repeat_again {
                attributes.push(("after-jump", "yes"));
            }
            xml.empty("repeat", &attributes);
        }
    });
}

fn sign(xml: &mut Xml, drawn: impl FnOnce(&mut Xml), sound: &[(&str, &str)]) {
    xml.within("direction", &[], |xml| {
        xml.within("direction-type", &[], drawn);
        xml.empty("sound", sound);
    });
}

/// A tempo, `offset` divisions from here.
fn tempo(xml: &mut Xml, tempo: Tempo, offset: i64) {
    xml.within("direction", &[("placement", "above")], |xml| {
        xml.within("direction-type", &[], |xml| match type_of(tempo.beat()) {
            Some((unit, dots)) => xml.within("metronome", &[], |xml| {
                xml.leaf("beat-unit", unit);
                for _ in 0..dots {
                    xml.empty("beat-unit-dot", &[]);
                }
                xml.leaf("per-minute", tempo.bpm());
            }),
            None => xml.leaf("words", format!("{tempo}")),
        });
        if offset != 0 {
            xml.leaf("offset", offset);
        }
        xml.empty(
            "sound",
            &[("tempo", &tempo.quarters_per_minute().to_string())],
        );
    });
}

fn write_swing(xml: &mut Xml, swing: SwingRatio) {
    let (first, second) = swing.whole_numbers();
    xml.within("sound", &[], |xml| {
        xml.within("swing", &[], |xml| {
            xml.leaf("first", first);
            xml.leaf("second", second);
            xml.leaf("swing-type", "eighth");
        });
    });
}

fn notes<'a>(
    xml: &mut Xml,
    bar: &'a Bar,
    divisions: i64,
    written: &mut Written,
    next_start: Option<&'a Event>,
) {
    let mut at = Length::ZERO;
    for (index, event) in bar.events.iter().enumerate() {
        let end = at + event.length;
        let within = |place: Length| at <= place && place < end;
        let offset = |place: Length| in_divisions(place - at, divisions);
        for mark in bar.tempos.iter().filter(|mark| within(mark.at)) {
            tempo(xml, mark.tempo, offset(mark.at));
        }
        for mark in bar.chords.iter().filter(|mark| within(mark.at)) {
            harmony(xml, &mark.symbol, offset(mark.at));
        }
        let next = bar.events.get(index + 1).or(next_start);
        let held_on = next.is_some_and(|next| next.kind == EventKind::Hold);
        write_event(xml, event, bar.key, divisions, written, next, held_on);
        at = end;
    }
}

/// The letter, alteration and octave of a pitch as it is written.
pub(super) fn written_pitch(name: NoteName, octave: i8) -> (String, i8, i8) {
    let above = (WRITTEN_ABOVE / 12) as i8;
    (format!("{:?}", name.letter), name.alter, octave + above)
}
