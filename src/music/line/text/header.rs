//! The header of a `.line` text, and changes between bars.

use super::error::TextFault;
use super::reader::{Reader, Span, span_of, without_comment};
use super::word::read_tempo;
use crate::music::instrument::{DEFAULT_FRETS, DEFAULT_SCALE_MM, Instrument, Tuning};
use crate::music::line::check::MAX_FIRST_BAR;
use crate::music::line::meter::Meter;
use crate::music::line::swing::{SwingRatio, read_swing};
use crate::music::line::tempo::Tempo;

/// The entries there are.
const ENTRIES: [&str; 9] = [
    "title",
    "tempo",
    "meter",
    "key",
    "swing",
    "tuning",
    "frets",
    "scale",
    "first bar",
];

/// Words of a bar that a fret on the string named last may follow, as in `r :5`.
const BAR_WORDS: [&str; 6] = ["r", "pickup", "short", "upbeat", "segno", "coda"];

/// Letters that stand before a note as marks, as in `hx:5`.
const NOTE_MARKS: &str = "ghpx";

/// Letters added, left out, changed or swapped (optimal string alignment) in a word of five
/// letters or more that is still guessed. Two let `tunnings` be `tuning`; with three `times` would
/// be `title`.
const GUESS_DISTANCE: usize = 2;

/// The same in a word of up to four letters: at two `time` would be `title`.
const SHORT_GUESS_DISTANCE: usize = 1;

/// What the header says beyond meter and key.
#[derive(Debug, Default)]
pub(super) struct Header {
    pub title: String,
    pub tempo: Option<Tempo>,
    pub swing: Option<SwingRatio>,
    /// Where the swing stands.
    pub swing_span: Option<Span>,
    pub first_bar: Option<u32>,
    tuning: Tuning,
    frets: Option<u8>,
    scale_mm: Option<f64>,
}

/// A header line's entry and value: a word or two up to a colon, with or without a space before
/// it.
pub(super) fn header_entry(line: &str) -> Option<(&str, &str)> {
    let (before, value) = line.split_once(':')?;
    let before = before.trim_start();
    let entry = before.trim_end();
    // A single letter is no entry but a slip in a note, such as `E:5`.
    let is_word = entry.chars().nth(1).is_some()
        && entry.starts_with(char::is_alphabetic)
        && entry.ends_with(char::is_alphabetic)
        && entry
            .chars()
            .all(|c| c.is_alphabetic() || c.is_whitespace() || c == '-' || c == '_');
    // `r :5` is a rest and a note on the string named last, `r hx:5` is one with marks before it.
    let of_bar = |word: &str| BAR_WORDS.contains(&word);
    let mut words = entry.split_whitespace();
    let is_bar = if entry.len() < before.len() {
        words.any(of_bar)
    } else {
        let last = words.next_back().unwrap_or_default();
        last.chars().all(|c| NOTE_MARKS.contains(c))
    };
    (is_word && !is_bar).then_some((entry, value))
}

/// A header line that has everything but its colon: the entry as written, its name, the value.
pub(super) fn without_colon(line: &str) -> Option<(&str, &'static str, &str)> {
    let line = line.trim();
    ENTRIES.iter().find_map(|&name| {
        let (entry, value) = line.split_at_checked(name.len())?;
        let apart = value.is_empty() || value.starts_with(char::is_whitespace);
        (apart && entry.eq_ignore_ascii_case(name)).then_some((entry, name, value))
    })
}

/// The entry of that name, in either case and with any white space inside.
fn known(entry: &str) -> Option<&'static str> {
    let words = || entry.split_whitespace();
    ENTRIES.into_iter().find(|name| {
        words().count() == name.split(' ').count()
            && words()
                .zip(name.split(' '))
                .all(|(word, known)| word.eq_ignore_ascii_case(known))
    })
}

/// The entry that was probably meant.
fn guess(entry: &str) -> Option<&'static str> {
    // Two letters more than the longest entry are beyond any guess.
    let longest = "first bar".len() + GUESS_DISTANCE;
    if entry.chars().nth(longest).is_some() {
        return None;
    }
    let entry = entry.to_lowercase();
    let near = ENTRIES.into_iter().filter_map(|name| {
        let distance = strsim::osa_distance(name, &entry);
        let short = name.len().min(entry.chars().count()) < 5;
        let most = if short {
            SHORT_GUESS_DISTANCE
        } else {
            GUESS_DISTANCE
        };
        (distance <= most).then_some((distance, name))
    });
    near.min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}

impl Reader<'_> {
    /// Reads `entry: value`, which stands in `line`, text line `number`.
    pub(super) fn read_header_line(&mut self, line: &str, number: usize, entry: &str, value: &str) {
        let span = span_of(line, number, entry);
        let Some(name) = known(entry) else {
            let guess = guess(entry);
            let given = entry.to_owned();
            self.fault(span, TextFault::UnknownHeader { given, guess });
            match guess {
                Some(name) => self.take_as_meant(name, value),
                // Whatever it is called in another language, a meter is one.
                None if without_comment(value).parse::<Meter>().is_ok() => {
                    self.doubt_of("meter");
                }
                None => {}
            }
            return;
        };
        if let Err(fault) = self.note_header(name, span) {
            self.fault(span, fault);
            self.doubt_of(name);
            return;
        }
        let value = plain_value(name, value);
        let value_span = if value.trim().is_empty() {
            span
        } else {
            span_of(line, number, value)
        };
        if name == "swing" {
            self.header.swing_span = Some(value_span);
        }
        if let Err(fault) = self.read_header(name, value.trim()) {
            self.fault(value_span, fault);
            self.doubt_of(name);
        }
    }

    /// Refuses a header entry without its colon; what it says is taken all the same.
    pub(super) fn refuse_without_colon(
        &mut self,
        line: &str,
        number: usize,
        (entry, name, value): (&str, &'static str, &str),
    ) {
        self.fault(span_of(line, number, entry), TextFault::NoColon { name });
        self.take_as_meant(name, value);
    }

    /// Takes the value of an entry that was refused as it stood, so that what follows is read as
    /// its writer meant it.
    fn take_as_meant(&mut self, name: &'static str, value: &str) {
        let too_late = !self.bars.is_empty() && !may_change(name);
        if too_late
            || self
                .read_header(name, plain_value(name, value).trim())
                .is_err()
        {
            self.doubt_of(name);
        }
    }

    /// After a fault in the entry `name`, nothing that hangs on it is blamed on what follows.
    fn doubt_of(&mut self, name: &str) {
        match name {
            "meter" => self.meter_in_doubt = true,
            "tuning" | "frets" => {
                self.instrument_in_doubt = true;
                if let Some(anything) = stand_in() {
                    self.instrument = anything;
                }
            }
            _ => {}
        }
    }

    /// Refuses an entry that stands twice or too late.
    fn note_header(&mut self, name: &'static str, span: Span) -> Result<(), TextFault> {
        if !self.bars.is_empty() && !may_change(name) {
            return Err(TextFault::HeaderTooLate { name });
        }
        if let Some((_, first)) = self.given.iter().find(|(given, _)| *given == name) {
            let first_line = first.line;
            return Err(TextFault::HeaderTwice { name, first_line });
        }
        self.given.push((name, span));
        Ok(())
    }

    fn read_header(&mut self, name: &'static str, value: &str) -> Result<(), TextFault> {
        let number = |allowed| TextFault::Number {
            name,
            given: value.to_owned(),
            allowed,
        };
        match name {
            "title" => self.header.title = value.to_owned(),
            "tempo" => {
                let tempo = read_tempo(value)?;
                if self.bars.is_empty() {
                    self.header.tempo = Some(tempo);
                } else {
                    self.coming_tempo = Some(tempo);
                }
            }
            "meter" => {
                self.meter = value.parse()?;
                self.meter_in_doubt = false;
            }
            "key" => self.key = value.parse()?,
            "swing" => self.header.swing = read_swing(value)?,
            "tuning" => self.header.tuning = value.parse()?,
            "frets" => {
                self.header.frets = Some(value.parse().map_err(|_| number("1 to 36"))?);
            }
            "scale" => {
                let scale = value
                    .parse()
                    .map_err(|_| number("300 to 1500 (millimetres)"))?;
                self.header.scale_mm = Some(scale);
            }
            _ => {
                let first = value.parse().ok().filter(|&first| first <= MAX_FIRST_BAR);
                self.header.first_bar = Some(first.ok_or_else(|| number("0 to 1000000"))?);
            }
        }
        if matches!(name, "tuning" | "frets" | "scale") {
            self.make_instrument(name)?;
        }
        Ok(())
    }

    /// The instrument of what the header says so far.
    fn make_instrument(&mut self, name: &str) -> Result<(), TextFault> {
        let frets = self.header.frets.unwrap_or(DEFAULT_FRETS);
        let scale_mm = self.header.scale_mm.unwrap_or(DEFAULT_SCALE_MM);
        let made = Instrument::new(self.header.tuning.clone(), frets, scale_mm);
        if made.is_err() {
            // The entries that come later must not be blamed for this one.
            match name {
                "frets" => self.header.frets = None,
                _ => self.header.scale_mm = None,
            }
        }
        let made = made?;
        if !self.instrument_in_doubt {
            self.instrument = made;
        }
        Ok(())
    }
}

/// Only these may stand between bars.
fn may_change(name: &str) -> bool {
    matches!(name, "tempo" | "meter" | "key")
}

/// The value without a comment; a title has none.
fn plain_value<'a>(name: &str, value: &'a str) -> &'a str {
    if name == "title" {
        value
    } else {
        without_comment(value)
    }
}

/// An instrument with every string and fret there may be, for reading on when the one that was
/// meant is not known.
fn stand_in() -> Option<Instrument> {
    let open: Vec<u8> = (0..12).map(|string| 20 + 5 * string).collect();
    Instrument::new(Tuning::new(&open).ok()?, 36, DEFAULT_SCALE_MM).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_of_the_finger_are_guessed_and_other_words_are_not() {
        for (entry, name) in [
            ("tepmo", "tempo"),
            ("Metre", "meter"),
            ("titel", "title"),
            ("TUNIGN", "tuning"),
            ("fret", "frets"),
            ("first-bar", "first bar"),
            ("firstbar", "first bar"),
            ("keys", "key"),
            ("scael", "scale"),
            ("swign", "swing"),
        ] {
            assert_eq!(guess(entry), Some(name), "{entry}");
        }
        for entry in ["speed", "time", "bpm", "chord", "composer", "words", "kind"] {
            assert_eq!(guess(entry), None, "{entry}");
        }
        assert_eq!(guess(&"tempo".repeat(100_000)), None);
        assert_eq!(known("FIRST \t Bar"), Some("first bar"));
        assert_eq!(known("first"), None);
    }

    #[test]
    fn rests_before_a_fret_are_no_header() {
        for bar in [
            "r :5",
            "r r\t:7",
            "pickup :5",
            "pickup r :5",
            "E:5",
            "3:5",
            "gx:5",
            "r h:5",
            "segno :5",
        ] {
            assert_eq!(header_entry(bar), None, "{bar}");
        }
        assert_eq!(header_entry(" Tempo : 96"), Some(("Tempo", " 96")));
        assert_eq!(without_colon("swing 2:1"), Some(("swing", "swing", " 2:1")));
        assert_eq!(without_colon("tempos 96"), None);
    }
}
