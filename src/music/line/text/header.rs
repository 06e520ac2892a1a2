//! The header of a `.line` text, and changes between bars.

use super::error::TextFault;
use super::reader::{Placed, Reader, Span, span_of, without_comment};
use super::word::read_tempo;
use crate::music::instrument::{DEFAULT_FRETS, DEFAULT_SCALE_MM, Instrument, Tuning};
use crate::music::line::check::MAX_FIRST_BAR;
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

/// What the header says beyond meter and key.
#[derive(Debug, Default)]
pub(super) struct Header {
    pub title: String,
    pub tempo: Option<Tempo>,
    pub swing: Option<SwingRatio>,
    pub first_bar: Option<u32>,
    tuning: Tuning,
    frets: Option<u8>,
    scale_mm: Option<f64>,
}

/// A header line's entry and value: letters and inner spaces up to a colon.
pub(super) fn header_entry(line: &str) -> Option<(&str, &str)> {
    let (entry, value) = line.split_once(':')?;
    let entry = entry.trim_start();
    // A single letter is no entry but a slip in a note, such as `E:5`.
    let is_word = entry.len() > 1
        && entry.starts_with(|c: char| c.is_alphabetic())
        && entry.ends_with(|c: char| c.is_alphabetic())
        && entry.chars().all(|c| c.is_alphabetic() || c == ' ');
    is_word.then_some((entry, value))
}

impl Reader<'_> {
    /// Reads `entry: value`, which stands in `line`, text line `number`.
    pub(super) fn read_header_line(
        &mut self,
        line: &str,
        number: usize,
        entry: &str,
        value: &str,
    ) -> Placed<()> {
        let span = span_of(line, number, entry);
        let Some(&name) = ENTRIES
            .iter()
            .find(|&&name| entry.eq_ignore_ascii_case(name))
        else {
            return Err((
                span,
                TextFault::UnknownHeader {
                    given: entry.to_owned(),
                },
            ));
        };
        let value = if name == "title" {
            value
        } else {
            without_comment(value)
        };
        self.note_header(name, span)?;
        let value_span = if value.trim().is_empty() {
            span
        } else {
            span_of(line, number, value)
        };
        self.read_header(name, value.trim())
            .map_err(|fault| (value_span, fault))
    }

    /// Refuses an entry that stands twice or too late.
    fn note_header(&mut self, name: &'static str, span: Span) -> Placed<()> {
        let may_change = matches!(name, "tempo" | "meter" | "key");
        if !self.bars.is_empty() && !may_change {
            return Err((span, TextFault::HeaderTooLate { name }));
        }
        if let Some((_, first)) = self.given.iter().find(|(given, _)| *given == name) {
            return Err((
                span,
                TextFault::HeaderTwice {
                    name,
                    first_line: first.line,
                },
            ));
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
            "meter" => self.meter = value.parse()?,
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
            self.make_instrument()?;
        }
        Ok(())
    }

    fn make_instrument(&mut self) -> Result<(), TextFault> {
        let frets = self.header.frets.unwrap_or(DEFAULT_FRETS);
        let scale_mm = self.header.scale_mm.unwrap_or(DEFAULT_SCALE_MM);
        self.instrument = Instrument::new(self.header.tuning.clone(), frets, scale_mm)?;
        Ok(())
    }
}
