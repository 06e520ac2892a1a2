//! The line as tab, with what became of each note beneath it.
//!
//! A system is as many bars as fit side by side. A note stands at a column proportional to its
//! time, and everything said about it stands beneath that column, in a row for each matter, so
//! that a row can be read along and a note can be read down. A row without anything to say is
//! left out.

use super::page::{COLUMNS, Tone, paint};
use super::staff::{Segment, System, systems};
use super::words;
use crate::compare::judgement::{ExtraNote, Flag, JudgedNote, Verdict};
use crate::session::result::{LineInfo, TakeResult};

/// Columns left of the first bar line: a row's name and a space on either side.
const GUTTER: usize = 7;

/// Columns right of the first bar line.
const BODY: usize = COLUMNS - GUTTER - 1;

/// The rows beneath the strings, in the order they are printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Matter {
    Heard,
    Extra,
    Sound,
    Gap,
    Time,
    Tune,
    Bleed,
}

/// Whether a mark's text is of a certain sort.
type Is = fn(&str) -> bool;

impl Matter {
    const ALL: [Self; 7] = [
        Self::Heard,
        Self::Extra,
        Self::Sound,
        Self::Gap,
        Self::Time,
        Self::Tune,
        Self::Bleed,
    ];

    fn name(self) -> &'static str {
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
    fn legend(self, used: impl Fn(Is) -> bool) -> String {
        let parts: &[(Is, &str)] = match self {
            Self::Heard => &[
                (|text| text == ".", ". as written"),
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
                (|text| text == "dead", "dead: no clear tone"),
                (|text| text == "cut", "cut: let go long before its time"),
            ],
            Self::Gap => &[(|_| true, "milliseconds of silence before the next note")],
            Self::Time => &[(|_| true, "milliseconds early (-) or late (+)")],
            Self::Tune => &[(|_| true, "cents flat (-) or sharp (+)")],
            Self::Bleed => &[(|_| true, "rings: another string sounds underneath")],
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
struct Mark {
    matter: Matter,
    column: usize,
    text: String,
    tone: Tone,
}

/// The tab of a take, and what the names of its rows and the marks in them mean.
pub(super) struct Tab {
    pub(super) lines: Vec<String>,
    pub(super) legend: Vec<(&'static str, String)>,
}

/// Sets the whole line of `result` in systems, an empty line before each.
pub(super) fn tab(result: &TakeResult, colour: bool) -> Tab {
    let mut lines = Vec::new();
    let mut seen: Vec<Mark> = Vec::new();
    for system in systems(&result.line.bars, &result.judgement.notes, BODY) {
        let marks = marks(&system, &result.judgement.notes, &result.judgement.extras);
        lines.push(String::new());
        lines.extend(head(&system));
        lines.extend(strings(&result.line, &system, &result.judgement.notes));
        for matter in Matter::ALL {
            let own: Vec<&Mark> = marks.iter().filter(|mark| mark.matter == matter).collect();
            lines.extend(rows(matter.name(), &own, colour));
        }
        seen.extend(marks);
    }
    let legend = Matter::ALL
        .iter()
        .filter(|&&matter| seen.iter().any(|mark| mark.matter == matter))
        .map(|&matter| {
            let own = seen.iter().filter(|mark| mark.matter == matter);
            let used = |is: Is| own.clone().any(|mark| is(&mark.text));
            (matter.name(), matter.legend(used))
        })
        .collect();
    Tab { lines, legend }
}

/// Bar numbers, and above the strings the chord symbols where there are any.
fn head(system: &System) -> Vec<String> {
    let numbers: Vec<Mark> = system
        .segments
        .iter()
        .map(|segment| plain(segment.column + 1, &segment.title()))
        .collect();
    let chords: Vec<Mark> = system
        .segments
        .iter()
        .flat_map(Segment::chords)
        .map(|(column, symbol)| plain(column, &super::page::clean(symbol)))
        .collect();
    let mut lines = rows("bar", &numbers.iter().collect::<Vec<_>>(), false);
    lines.extend(rows("", &chords.iter().collect::<Vec<_>>(), false));
    lines
}

fn plain(column: usize, text: &str) -> Mark {
    Mark {
        matter: Matter::Heard,
        column,
        text: text.to_owned(),
        tone: Tone::Plain,
    }
}

/// One line for each string, and one for notes that have no place on the neck.
fn strings(line: &LineInfo, system: &System, notes: &[JudgedNote]) -> Vec<String> {
    let placed: Vec<(usize, &JudgedNote)> = system
        .segments
        .iter()
        .flat_map(|segment| segment.notes.iter())
        .map(|&(index, column)| (column, &notes[index]))
        .collect();
    let on_neck = |note: &JudgedNote| {
        note.expected
            .place
            .filter(|place| (1..=line.strings.len()).contains(&usize::from(place.string)))
    };
    let mut lines = Vec::new();
    if placed.is_empty() || placed.iter().any(|(_, note)| on_neck(note).is_some()) {
        for (number, name) in (1..).zip(&line.strings) {
            let frets = placed.iter().filter_map(|&(column, note)| {
                let place = on_neck(note).filter(|place| usize::from(place.string) == number)?;
                Some((column, place.fret.to_string()))
            });
            lines.push(string_line(name, system, frets));
        }
    }
    let names: Vec<Mark> = placed
        .iter()
        .filter(|(_, note)| on_neck(note).is_none())
        .map(|&(column, note)| plain(column, words::pitch(f64::from(note.expected.midi))))
        .collect();
    lines.extend(rows("note", &names.iter().collect::<Vec<_>>(), false));
    lines
}

/// A string with its frets between the bar lines.
fn string_line(
    name: &str,
    system: &System,
    frets: impl Iterator<Item = (usize, String)>,
) -> String {
    let mut body: Vec<char> = vec!['-'; system.width];
    for segment in &system.segments {
        if let Some(end) = body.get_mut(segment.column + segment.width - 1) {
            *end = '|';
        }
    }
    for (column, fret) in frets {
        for (cell, digit) in body.iter_mut().skip(column).zip(fret.chars()) {
            *cell = digit;
        }
    }
    let name: String = super::page::clean(name).chars().take(GUTTER - 2).collect();
    let body: String = body.into_iter().collect();
    format!(" {name:>5} |{body}")
}

/// Everything there is to say about the notes of a system.
fn marks(system: &System, notes: &[JudgedNote], extras: &[ExtraNote]) -> Vec<Mark> {
    let mut marks = Vec::new();
    for segment in &system.segments {
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
            note_marks(note, &mut say);
            let next = segment.notes[at + 1..]
                .iter()
                .map(|&(_, next)| next)
                .find(|&next| next > column)
                .unwrap_or(segment.column + segment.width - 1);
            for extra in extras
                .iter()
                .filter(|extra| extra.after_index == Some(index))
            {
                marks.push(extra_mark(
                    extra,
                    column + next.saturating_sub(column).div_ceil(2),
                ));
            }
        }
        if segment.opens_line {
            for extra in extras.iter().filter(|extra| extra.after_index.is_none()) {
                marks.push(extra_mark(extra, segment.column));
            }
        }
    }
    marks
}

fn extra_mark(extra: &ExtraNote, column: usize) -> Mark {
    Mark {
        matter: Matter::Extra,
        column,
        text: extra.midi.map_or("?", words::pitch).to_owned(),
        tone: Tone::Alarm,
    }
}

/// What is said about one note: its pitch always, all else only when it is flagged.
fn note_marks(note: &JudgedNote, say: &mut impl FnMut(Matter, String, Tone)) {
    let heard = note.heard.as_ref();
    match note.verdict {
        Verdict::Right => say(Matter::Heard, ".".into(), Tone::Plain),
        Verdict::Missed => say(Matter::Heard, "--".into(), Tone::Alarm),
        Verdict::Unreached => {}
        Verdict::Wrong => {
            let name = instead(note.expected.midi, heard.and_then(|heard| heard.midi));
            say(Matter::Heard, name.to_owned(), Tone::Alarm);
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
            Flag::Dead => say(Matter::Sound, "dead".into(), Tone::Alarm),
            Flag::Clipped => say(Matter::Sound, "cut".into(), Tone::Care),
            Flag::Bleed => say(Matter::Bleed, "rings".into(), Tone::Care),
        }
    }
}

/// What sounded in the place of `written`. An octave of it has the trade's own names.
fn instead(written: u8, heard: Option<f64>) -> &'static str {
    let Some(heard) = heard else { return "?" };
    match (heard - f64::from(written)).round() {
        12.0 => "8va",
        -12.0 => "8vb",
        24.0 => "15ma",
        -24.0 => "15mb",
        _ => words::pitch(heard),
    }
}

/// Marks of one matter as lines: each beneath its note, and one that finds no room in a line goes
/// to the next. Only the first line carries the name.
fn rows(name: &str, marks: &[&Mark], colour: bool) -> Vec<String> {
    let mut left: Vec<&Mark> = marks.to_vec();
    left.sort_by_key(|mark| mark.column);
    let mut lines = Vec::new();
    while !left.is_empty() {
        let label = if lines.is_empty() { name } else { "" };
        let mut line = format!(" {label:>5}  ");
        let mut used = 0;
        let mut over = Vec::new();
        for mark in left {
            let room = BODY.saturating_sub(mark.text.chars().count());
            let column = mark.column.min(room);
            if column < used {
                over.push(mark);
                continue;
            }
            let taken = used.saturating_sub(usize::from(used > 0));
            line.push_str(&" ".repeat(column - taken));
            let text: String = mark.text.chars().take(BODY).collect();
            line.push_str(&paint(&text, mark.tone, colour));
            used = column + text.chars().count() + 1;
        }
        lines.push(line);
        left = over;
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_octave_is_called_so() {
        assert_eq!(instead(40, Some(52.1)), "8va");
        assert_eq!(instead(40, Some(27.9)), "8vb");
        assert_eq!(instead(40, Some(41.0)), "F");
        assert_eq!(instead(40, None), "?");
    }

    #[test]
    fn marks_that_collide_go_to_a_second_line() {
        let marks = [
            plain(0, "+123"),
            plain(4, "-45"),
            plain(5, "x"),
            plain(71, "dead"),
        ];
        let lines = rows("time", &marks.iter().collect::<Vec<_>>(), false);
        let gap = " ".repeat(62);
        assert_eq!(lines[0], format!("  time  +123 x{gap}dead"));
        assert_eq!(lines[1], "            -45");
        assert!(lines.iter().all(|line| line.chars().count() <= COLUMNS));
    }
}
