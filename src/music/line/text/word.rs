//! The words of a bar, one at a time.

use super::error::TextFault;
use crate::music::expected::Place;
use crate::music::instrument::Instrument;
use crate::music::line::error::FaultKind;
use crate::music::line::length::Length;
use crate::music::line::model::{Grace, Note, Start};
use crate::music::line::tempo::Tempo;
use crate::music::theory::{ChordSymbol, SpelledPitch};

/// A word and where it stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Word<'a> {
    pub text: &'a str,
    /// In characters, from 1.
    pub column: usize,
}

/// Splits text at white space; `column` is that of its first character.
pub(super) fn words(text: &str, column: usize) -> Vec<Word<'_>> {
    let mut found = Vec::new();
    let mut start: Option<(usize, usize)> = None;
    for (position, (at, c)) in text.char_indices().enumerate() {
        match (c.is_whitespace(), start) {
            (false, None) => start = Some((at, position)),
            (true, Some((from, first))) => {
                found.push(Word {
                    text: &text[from..at],
                    column: column + first,
                });
                start = None;
            }
            _ => {}
        }
    }
    if let Some((from, first)) = start {
        found.push(Word {
            text: &text[from..],
            column: column + first,
        });
    }
    found
}

/// What a word says.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Said {
    Length(Length),
    Rest,
    Hold {
        breath_after: bool,
    },
    Notes {
        notes: Vec<Note>,
        start: Start,
        staccato: bool,
        accent: bool,
        breath_after: bool,
    },
    Grace(Grace),
    Chord {
        later: Length,
        symbol: ChordSymbol,
    },
    Tempo {
        later: Length,
        tempo: Tempo,
    },
}

/// How a note is begun, and the mark before it that says so; `>>` before `>`, of which it is two.
pub(super) const START_MARKS: [(&str, Start); 4] = [
    (">>", Start::Slid),
    (">", Start::Slurred),
    ("h", Start::Hammered),
    ("p", Start::Pulled),
];

/// Reads one word. `string` is the string named last and is set to the one named here.
pub(super) fn read_word(
    word: &str,
    instrument: &Instrument,
    string: &mut Option<u8>,
) -> Result<Said, TextFault> {
    if let Some(mark) = word.strip_prefix('@') {
        return read_mark(mark, word);
    }
    match word {
        "r" => return Ok(Said::Rest),
        "=" => {
            return Ok(Said::Hold {
                breath_after: false,
            });
        }
        "=," => return Ok(Said::Hold { breath_after: true }),
        _ => {}
    }
    let given = || word.to_owned();
    if word.starts_with(['r', '=']) && word[1..].chars().all(|c| "!,(>^".contains(c)) {
        let why = "a rest takes no marks, a hold takes only `,`";
        return Err(TextFault::Mark {
            given: given(),
            why,
        });
    }
    if word.starts_with(|c: char| c.is_ascii_digit()) && !word.contains(':') {
        return read_length(word).map(Said::Length);
    }
    read_notes(word, instrument, string)
}

/// What a word that was not understood may have been.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unread {
    /// A chord symbol or a tempo.
    Mark,
    /// A length.
    Length,
    /// A note, a rest or a hold.
    Sound,
}

/// What a word that was not understood may have been, by its looks.
pub(super) fn unread(word: &str) -> Unread {
    let number = word.trim_end_matches(['.', 't', ',']);
    let is_length = word.starts_with(|c: char| c.is_ascii_digit())
        && !word.contains(':')
        && (word.contains('/') || ["1", "2", "4", "8", "16", "32", "64"].contains(&number));
    if word.starts_with('@') {
        Unread::Mark
    } else if is_length {
        Unread::Length
    } else {
        Unread::Sound
    }
}

/// The string named last, after a word that was not understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum StringAfter {
    /// The word names none.
    Same,
    /// It names this one.
    Named(u8),
    /// It names one, but which cannot be told.
    Unknown,
}

/// The string named last, after a word that was not understood, on an instrument of `strings`.
pub(super) fn string_after(word: &str, strings: u8) -> StringAfter {
    let notes = word.rsplit('&');
    let named = notes
        .filter_map(|note| note.split_once(':'))
        .map(|(string, _)| string.trim_start_matches(['>', 'g', 'h', 'p', 'x']))
        .find(|string| !string.is_empty());
    match named.map(str::parse::<u8>) {
        None => StringAfter::Same,
        Some(Ok(string)) if (1..=strings).contains(&string) => StringAfter::Named(string),
        Some(_) => StringAfter::Unknown,
    }
}

/// Reads `1/8`, `1/4.`, `1/4..`, `1/8t`.
pub(super) fn read_length(text: &str) -> Result<Length, TextFault> {
    let wrong = || TextFault::LengthForm {
        given: text.to_owned(),
    };
    let (numerator, rest) = text.split_once('/').ok_or_else(wrong)?;
    let digits = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    let (denominator, marks) = rest.split_at(digits);
    let number = |text: &str| {
        let plain = !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
        plain
            .then(|| text.parse::<u64>().ok())
            .flatten()
            .filter(|&n| n > 0)
            .ok_or_else(wrong)
    };
    let (numerator, denominator) = (number(numerator)?, number(denominator)?);
    // Times 3/2 for a dot, 7/4 for two, 2/3 for one of three in the time of two.
    let (times, over) = match marks {
        "" => (1, 1),
        "." => (3, 2),
        ".." => (7, 4),
        "t" => (2, 3),
        _ => return Err(wrong()),
    };
    let numerator = numerator.checked_mul(times).ok_or_else(wrong)?;
    let denominator = denominator.checked_mul(over).ok_or_else(wrong)?;
    Length::of_whole(numerator, denominator).ok_or_else(wrong)
}

/// Reads `96` or `64 per 1/4.`, with or without spaces.
pub(super) fn read_tempo(text: &str) -> Result<Tempo, TextFault> {
    let wrong = || TextFault::TempoForm {
        given: text.trim().to_owned(),
    };
    let (bpm, beat) = match text.split_once("per") {
        Some((bpm, beat)) => (bpm.trim(), read_length(beat.trim())?),
        None => (text.trim(), Length::QUARTER),
    };
    // A number as a player writes it: no sign, no exponent, no `inf`.
    let unsigned = bpm.strip_prefix('-').unwrap_or(bpm);
    if unsigned.is_empty() || !unsigned.chars().all(|c| c.is_ascii_digit() || c == '.') {
        return Err(wrong());
    }
    let bpm = bpm.parse().map_err(|_| wrong())?;
    Ok(Tempo::new(bpm, beat)?)
}

/// Reads what follows an `@`: a chord symbol or a tempo, here or some length later.
fn read_mark(mark: &str, word: &str) -> Result<Said, TextFault> {
    let (later, mark) = match mark.split_once(':') {
        Some((later, mark)) => (read_length(later)?, mark),
        None => (Length::ZERO, mark),
    };
    if let Some(tempo) = mark.strip_prefix("tempo=") {
        return Ok(Said::Tempo {
            later,
            tempo: read_tempo(tempo)?,
        });
    }
    if mark.is_empty() {
        let why = "a chord symbol or `tempo=` follows the @, without a space";
        return Err(TextFault::Mark {
            given: word.to_owned(),
            why,
        });
    }
    Ok(Said::Chord {
        later,
        symbol: mark.parse()?,
    })
}

fn read_notes(
    word: &str,
    instrument: &Instrument,
    string: &mut Option<u8>,
) -> Result<Said, TextFault> {
    let (is_grace, rest) = match word.strip_prefix('g') {
        Some(rest) => (true, rest),
        None => (false, word),
    };
    let (start, rest) = START_MARKS
        .iter()
        .find_map(|&(mark, start)| rest.strip_prefix(mark).map(|rest| (start, rest)))
        .unwrap_or((Start::Plucked, rest));
    let (rest, breath_after) = match rest.strip_suffix(',') {
        Some(rest) => (rest, true),
        None => (rest, false),
    };
    let (mut staccato, mut accent) = (false, false);
    let mut rest = rest;
    loop {
        if let Some(before) = rest.strip_suffix('!').filter(|_| !staccato) {
            (rest, staccato) = (before, true);
        } else if let Some(before) = rest.strip_suffix('^').filter(|_| !accent) {
            (rest, accent) = (before, true);
        } else {
            break;
        }
    }
    let notes: Vec<Note> = rest
        .split('&')
        .map(|note| read_note(note, word, instrument, string))
        .collect::<Result<_, _>>()?;
    if !is_grace {
        return Ok(Said::Notes {
            notes,
            start,
            staccato,
            accent,
            breath_after,
        });
    }
    if staccato || accent || breath_after {
        return Err(TextFault::Mark {
            given: word.to_owned(),
            why: "a grace note takes no `!`, `^` or `,`",
        });
    }
    Ok(Said::Grace(Grace { notes, start }))
}

fn read_note(
    note: &str,
    word: &str,
    instrument: &Instrument,
    string: &mut Option<u8>,
) -> Result<Note, TextFault> {
    let (ghost, note) = match note.strip_prefix('x') {
        Some(note) => (true, note),
        None => (false, note),
    };
    let (pitch, finger) = match note.split_once('(') {
        Some((pitch, finger)) => (pitch, Some(read_finger(finger)?)),
        None => (note, None),
    };
    if let Some((at, fret)) = pitch.split_once(':') {
        let number = |text: &str| {
            let plain = !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
            let wrong = || TextFault::PlaceForm {
                given: pitch.to_owned(),
            };
            plain
                .then(|| text.parse::<u8>().ok())
                .flatten()
                .ok_or_else(wrong)
        };
        let on = match (at, *string) {
            ("", Some(string)) => string,
            ("", None) => {
                return Err(TextFault::NoStringYet {
                    given: pitch.to_owned(),
                });
            }
            (at, _) => number(at)?,
        };
        let place = Place {
            string: on,
            fret: number(fret)?,
        };
        let (strings, frets) = (instrument.strings(), instrument.frets());
        let no_such = FaultKind::NoSuchPlace {
            place,
            strings,
            frets,
        };
        let midi = instrument.midi_at(place).ok_or(no_such)?;
        *string = Some(on);
        return Ok(Note {
            finger,
            ghost,
            ..Note::at(midi, place)
        });
    }
    if !pitch.starts_with(|c: char| c.is_ascii_uppercase()) {
        return Err(TextFault::Word {
            given: word.to_owned(),
        });
    }
    let spelled: SpelledPitch = pitch.parse()?;
    // The parser keeps to 0..=127.
    let midi = u8::try_from(spelled.midi()).unwrap_or(u8::MAX);
    Ok(Note {
        finger,
        ghost,
        ..Note::new(midi)
    })
}

/// Reads `2)`, what follows the opening bracket.
fn read_finger(text: &str) -> Result<u8, TextFault> {
    match text {
        "1)" => Ok(1),
        "2)" => Ok(2),
        "3)" => Ok(3),
        "4)" => Ok(4),
        _ => Err(TextFault::FingerForm {
            given: format!("({text}"),
        }),
    }
}
