//! What is said of each note beneath the tab: one mark for each matter.

use super::page::{Tone, paint};
use super::staff::System;
use crate::compare::judgement::{Bleed, ExtraNote, Flag, JudgedNote, Verdict};
use crate::music::theory::{Key, pitch_class_in};
use crate::session::line_info::BarSpan;
use crate::session::result::TakeResult;
use crate::words;

/// The last letter of a text that was too long for its row.
const CUT: char = '~';

/// The mark of a note that is as written.
pub(super) const AS_WRITTEN: &str = ".";

/// The rows beneath the strings, in the order they are printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Matter {
    Heard,
    Extra,
    Sound,
    Gap,
    Time,
    Tune,
    Bleed,
}

/// Whether a mark's text is of a certain sort.
pub(super) type Is = fn(&str) -> bool;

impl Matter {
    pub(super) const ALL: [Self; 7] = [
        Self::Heard,
        Self::Extra,
        Self::Sound,
        Self::Gap,
        Self::Time,
        Self::Tune,
        Self::Bleed,
    ];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Heard => "heard",
            Self::Extra => "extra",
            Self::Sound => "sound",
            Self::Gap => "gap",
            Self::Time => "time",
            Self::Tune => "tune",
            Self::Bleed => "under",
        }
    }

    /// What the marks of this matter mean, told part by part as far as `used` says they appear.
    pub(super) fn legend(self, used: impl Fn(Is) -> bool) -> String {
        let parts: &[(Is, &str)] = match self {
            Self::Heard => &[
                (|text| text == AS_WRITTEN, ". as written"),
                (
                    |text| !". -- ?".contains(text),
                    "a name: what sounded instead",
                ),
                (|text| text.ends_with("va"), "8va: the same an octave up"),
                (|text| text.ends_with("vb"), "8vb: the same an octave down"),
                (|text| text == "?", "? another note without a clear pitch"),
                (|text| text == "--", "-- nothing"),
            ],
            Self::Extra => &[(|_| true, "a note nobody wrote")],
            Self::Sound => &[
                (|text| text == words::DEAD, "dead: no clear tone"),
                (|text| text == "cut", "cut: let go long before its time"),
                (|text| text == words::LOUD, "loud: sticks out"),
                (|text| text == words::SOFT, "soft: falls away"),
                (
                    |text| text == words::BUZZES,
                    "buzzes: the string sounds against a fret",
                ),
            ],
            Self::Gap => &[(|_| true, "milliseconds of silence before the next note")],
            Self::Time => &[(|_| true, "milliseconds early (-) or late (+)")],
            Self::Tune => &[(|_| true, "cents flat (-) or sharp (+)")],
            Self::Bleed => &[(|_| true, "the string that sounds underneath")],
        };
        let told: Vec<&str> = parts
            .iter()
            .filter(|(is, _)| used(*is))
            .map(|&(_, meaning)| meaning)
            .collect();
        told.join("; ")
    }
}

/// A mark at a column.
#[derive(Clone, Debug)]
pub(super) struct Mark {
    pub(super) matter: Matter,
    pub(super) column: usize,
    pub(super) text: String,
    pub(super) tone: Tone,
}

/// A text that is no mark of a note.
pub(super) fn plain(column: usize, text: &str) -> Mark {
    Mark {
        matter: Matter::Heard,
        column,
        text: text.to_owned(),
        tone: Tone::Plain,
    }
}

/// Everything there is to say about the notes of a system.
pub(super) fn of(system: &System, result: &TakeResult) -> Vec<Mark> {
    let notes = &result.judgement.notes;
    let extras = &result.judgement.extras;
    let mut marks = Vec::new();
    for segment in &system.segments {
        let key = segment.bar.key;
        for (at, &(index, column)) in segment.notes.iter().enumerate() {
            let note = &notes[index];
            let mut say = |matter, text: String, tone| {
                marks.push(Mark {
                    matter,
                    column,
                    text,
                    tone,
                });
            };
            note_marks(note, segment.bar, result, &mut say);
            let next = segment.notes[at + 1..]
                .iter()
                .map(|&(_, next)| next)
                .find(|&next| next > column)
                .unwrap_or(segment.column + segment.width - 1);
            let own = extras
                .iter()
                .filter(|extra| extra.after_index == Some(note.expected.index));
            for extra in own {
                let between = column + next.saturating_sub(column).div_ceil(2);
                marks.push(extra_mark(extra, between, key));
            }
        }
        if segment.opens_line {
            for extra in extras.iter().filter(|extra| extra.after_index.is_none()) {
                marks.push(extra_mark(extra, segment.column, key));
            }
        }
    }
    marks
}

fn extra_mark(extra: &ExtraNote, column: usize, key: Option<Key>) -> Mark {
    Mark {
        matter: Matter::Extra,
        column,
        text: extra
            .midi
            .map_or("?".into(), |midi| pitch_class_in(midi, key)),
        tone: Tone::Alarm,
    }
}

/// What is said about one note: its pitch always, all else only when it is flagged.
fn note_marks(
    note: &JudgedNote,
    bar: &BarSpan,
    result: &TakeResult,
    say: &mut impl FnMut(Matter, String, Tone),
) {
    let heard = note.heard.as_ref();
    match note.verdict {
        Verdict::Right => say(Matter::Heard, AS_WRITTEN.into(), Tone::Plain),
        Verdict::Missed => say(Matter::Heard, "--".into(), Tone::Alarm),
        Verdict::Unreached => {}
        Verdict::Wrong => {
            let midi = heard.and_then(|heard| heard.midi);
            let name = instead(note.expected.midi, midi, bar.key);
            say(Matter::Heard, name, Tone::Alarm);
        }
    }
    let figure = |value: Option<f64>| value.filter(|v| v.is_finite()).map(|v| v.round() as i64);
    let signed = |value| figure(value).map_or("?".to_owned(), |v| format!("{v:+}"));
    for flag in &note.flags {
        match flag {
            Flag::Early | Flag::Late => {
                let text = signed(heard.and_then(|heard| heard.timing_ms));
                say(Matter::Time, text, Tone::Care);
            }
            Flag::Gap => {
                let ms = figure(heard.and_then(|heard| heard.gap_ms));
                say(
                    Matter::Gap,
                    ms.map_or("?".into(), |ms| ms.to_string()),
                    Tone::Care,
                );
            }
            Flag::Sharp | Flag::Flat => {
                let text = signed(heard.and_then(|heard| heard.cents));
                say(Matter::Tune, text, Tone::Care);
            }
            Flag::Dead => say(Matter::Sound, words::DEAD.into(), Tone::Alarm),
            Flag::Loud | Flag::Soft | Flag::Buzzes => {
                say(Matter::Sound, flag.word().into(), Tone::Care);
            }
            Flag::Clipped => say(Matter::Sound, "cut".into(), Tone::Care),
            Flag::Bleed => say(Matter::Bleed, ringing(note, bar.key, result), Tone::Care),
        }
    }
}

/// The strings that ring under a note, by name; by pitch where the string is not known.
fn ringing(note: &JudgedNote, key: Option<Key>, result: &TakeResult) -> String {
    let under = |ring: &&Bleed| ring.during.contains(&note.expected.index);
    let rings = result.judgement.bleed.iter().flatten().filter(under);
    let mut names: Vec<String> = rings
        .map(|ring| {
            let at = ring
                .string
                .and_then(|string| usize::from(string).checked_sub(1));
            let name = at.and_then(|at| result.line.strings.get(at));
            name.map_or_else(
                || pitch_class_in(ring.midi, key),
                |name| super::page::clean(name),
            )
        })
        .collect();
    names.dedup();
    if names.is_empty() {
        "?".to_owned()
    } else {
        names.join("+")
    }
}

/// What sounded in the place of `written`. An octave of it has the trade's own names.
fn instead(written: u8, heard: Option<f64>, key: Option<Key>) -> String {
    let Some(heard) = heard else {
        return "?".to_owned();
    };
    match (heard - f64::from(written)).round() {
        12.0 => "8va".to_owned(),
        -12.0 => "8vb".to_owned(),
        24.0 => "15ma".to_owned(),
        -24.0 => "15mb".to_owned(),
        _ => pitch_class_in(heard, key),
    }
}

/// Marks of one matter as lines of `room` columns: each beneath its note, and one that finds no
/// room in a line goes to the next. Only the first line carries the name.
pub(super) fn rows(name: &str, marks: &[&Mark], room: usize, colour: bool) -> Vec<String> {
    let mut left: Vec<&Mark> = marks.to_vec();
    left.sort_by_key(|mark| mark.column);
    let mut lines = Vec::new();
    while !left.is_empty() {
        let label = if lines.is_empty() { name } else { "" };
        let mut line = format!(" {label:>5}  ");
        let mut used = 0;
        let mut over = Vec::new();
        for mark in left {
            let text = fitted(&mark.text, room);
            let column = mark.column.min(room.saturating_sub(text.chars().count()));
            if column < used {
                over.push(mark);
                continue;
            }
            let taken = used.saturating_sub(usize::from(used > 0));
            line.push_str(&" ".repeat(column - taken));
            line.push_str(&paint(&text, mark.tone, colour));
            used = column + text.chars().count() + 1;
        }
        lines.push(line);
        left = over;
    }
    lines
}

/// A text of at most `room` letters; a longer one ends with a mark that it was cut.
pub(super) fn fitted(text: &str, room: usize) -> String {
    if text.chars().count() <= room {
        return text.to_owned();
    }
    let mut short: String = text.chars().take(room.saturating_sub(1)).collect();
    short.push(CUT);
    short
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_octave_is_called_so() {
        assert_eq!(instead(40, Some(52.1), None), "8va");
        assert_eq!(instead(40, Some(27.9), None), "8vb");
        assert_eq!(instead(40, Some(41.0), None), "F");
        assert_eq!(instead(40, None, None), "?");
    }

    #[test]
    fn marks_that_collide_go_to_a_second_line() {
        let marks = [
            plain(0, "+123"),
            plain(4, "-45"),
            plain(5, "x"),
            plain(71, words::DEAD),
        ];
        let lines = rows("time", &marks.iter().collect::<Vec<_>>(), 72, false);
        let gap = " ".repeat(62);
        assert_eq!(lines[0], format!("  time  +123 x{gap}dead"));
        assert_eq!(lines[1], "            -45");
        assert!(lines.iter().all(|line| line.chars().count() <= 80));
    }

    #[test]
    fn what_is_cut_is_marked() {
        assert_eq!(fitted("Esus4", 5), "Esus4");
        assert_eq!(fitted("Esus4(add9)", 5), "Esus~");
        assert_eq!(fitted("Esus4", 0), "~");
    }
}
