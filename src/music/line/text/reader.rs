//! The reader of `.line` texts: it reads on after a fault, so that all are told at once.

use std::sync::Arc;

use super::bars::BarSpans;
use super::error::{TextError, TextFault};
use super::header::{Header, header_entry, without_colon};
use super::mistakes::{MISTAKES_MAX, TextErrors};
use crate::music::instrument::Instrument;
use crate::music::line::check::{self, Doubts};
use crate::music::line::error::{FaultKind, LineFault};
use crate::music::line::length::Length;
use crate::music::line::meter::Meter;
use crate::music::line::model::{Bar, LineParts};
use crate::music::line::tempo::Tempo;
use crate::music::line::whole::Line;
use crate::music::theory::Key;

/// Where something stands: text line from 1, column and width in characters.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub line: usize,
    pub column: usize,
    pub width: usize,
}

#[derive(Default)]
pub(super) struct Reader<'a> {
    lines: Vec<&'a str>,
    faults: Vec<(Span, TextFault)>,
    /// True when nothing more is read.
    pub(super) stopped: bool,
    pub(super) header: Header,
    /// Entries given since the last bar, with their text line.
    pub(super) given: Vec<(&'static str, Span)>,
    pub(super) instrument: Instrument,
    /// True when the header does not tell the instrument: notes are not held against it.
    pub(super) instrument_in_doubt: bool,
    pub(super) meter: Meter,
    /// True until the next meter that is understood.
    pub(super) meter_in_doubt: bool,
    pub(super) key: Key,
    /// A tempo given between bars, for the next one.
    pub(super) coming_tempo: Option<Tempo>,
    pub(super) length: Length,
    /// True until the next length that is understood.
    pub(super) length_in_doubt: bool,
    pub(super) string: Option<u8>,
    /// True once the string named last may have been named in a word that was not understood.
    pub(super) string_in_doubt: bool,
    pub(super) pickup: bool,
    pub(super) bars: Vec<Bar>,
    pub(super) spans: Vec<BarSpans>,
    pub(super) doubts: Vec<Doubts>,
    pub(super) events: usize,
    /// True once anything in the bars was not understood.
    pub(super) lost: bool,
    /// True once a bar above the first was left out because not a word of it was understood.
    pub(super) lost_bar: bool,
}

/// Reads a line from `.line` text (see the module's documentation for the format).
///
/// # Errors
/// All mistakes, each with its place and how to mend it. No text makes it panic.
pub fn read_text(text: &str) -> Result<Line, TextErrors> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = Reader {
        lines: text.lines().collect(),
        length: Length::QUARTER,
        ..Reader::default()
    };
    for at in 0..reader.lines.len() {
        if !reader.stopped {
            reader.read_text_line(reader.lines[at], at + 1);
        }
    }
    reader.finish()
}

/// The column of `part` in `line`, of which it is a slice.
fn column_of(line: &str, part: &str) -> usize {
    let at = (part.as_ptr() as usize)
        .saturating_sub(line.as_ptr() as usize)
        .min(line.len());
    line.get(..at).map_or(0, |before| before.chars().count()) + 1
}

pub(super) fn span_of(line: &str, number: usize, part: &str) -> Span {
    let trimmed = part.trim();
    let part = if trimmed.is_empty() { part } else { trimmed };
    Span {
        line: number,
        column: column_of(line, part),
        width: part.chars().count().max(1),
    }
}

impl Reader<'_> {
    /// Notes a fault; reading stops when there are too many.
    pub(super) fn fault(&mut self, span: Span, fault: TextFault) {
        if self.faults.len() < MISTAKES_MAX {
            self.faults.push((span, fault));
        }
        self.stopped |= self.faults.len() >= MISTAKES_MAX;
    }

    fn read_text_line(&mut self, line: &str, number: usize) {
        if let Some((entry, value)) = header_entry(line) {
            return self.read_header_line(line, number, entry, value);
        }
        let line_text = without_comment(line);
        if line_text.trim().is_empty() {
            return;
        }
        if let Some(entry) = without_colon(line_text) {
            return self.refuse_without_colon(line, number, entry);
        }
        self.given.clear();
        let segments: Vec<&str> = line_text.split('|').collect();
        let last = segments.len() - 1;
        let mut column = 1;
        for (at, &segment) in segments.iter().enumerate() {
            let repeat_before = at > 0 && is_repeat_end(segments[at - 1]);
            let repeat_after = segments
                .get(at + 1)
                .is_some_and(|next| is_repeat_start(next));
            // A bar line before the first bar or after the last shuts nothing in, nor do the two
            // of `:| |:`.
            let at_edge = last > 0 && (at == 0 || at == last);
            let is_edge = (at_edge || repeat_before && repeat_after) && segment.trim().is_empty();
            if !self.stopped && !is_edge {
                self.read_bar(number, segment, column);
            }
            column += segment.chars().count() + 1;
        }
    }

    fn finish(mut self) -> Result<Line, TextErrors> {
        let end = Span {
            line: self.lines.len().max(1),
            column: 1,
            width: 1,
        };
        let parts = check::tidied(LineParts {
            title: std::mem::take(&mut self.header.title),
            instrument: self.instrument.clone(),
            tempo: self.header.tempo.unwrap_or_default(),
            swing: self.header.swing,
            first_bar: self.header.first_bar.unwrap_or(1),
            pickup: self.pickup,
            bars: std::mem::take(&mut self.bars),
        });
        if !self.stopped {
            self.check(&parts, end);
        }
        if self.instrument_in_doubt {
            self.faults
                .retain(|(_, fault)| !fault.depends_on_instrument());
        }
        if self.faults.is_empty() {
            return Ok(Line::of_checked(parts));
        }
        let lines = self.lines;
        // One copy of a text line, whatever the number of its faults.
        let mut quoted: Option<(usize, Arc<str>)> = None;
        self.faults.sort_by_key(|(span, _)| span.line);
        let errors = self.faults.into_iter().map(|(span, fault)| {
            let text = match &quoted {
                Some((line, text)) if *line == span.line => text.clone(),
                _ => Arc::from(lines.get(span.line - 1).copied().unwrap_or_default()),
            };
            quoted = Some((span.line, text.clone()));
            TextError {
                line: span.line,
                column: span.column,
                width: span.width,
                text,
                fault,
            }
        });
        Err(TextErrors::new(errors.collect()))
    }

    /// What only the whole line tells.
    fn check(&mut self, parts: &LineParts, end: Span) {
        if parts.bars.is_empty() {
            if !self.lost {
                self.fault(end, FaultKind::NoNotes.into());
            }
            return;
        }
        for (_, span) in std::mem::take(&mut self.given) {
            self.fault(span, TextFault::ChangeWithoutBar);
        }
        for fault in check::faults(parts, &self.doubts, MISTAKES_MAX) {
            // Words that were not understood may be the notes.
            if self.lost && (fault.kind == FaultKind::NoNotes || fault.kind.is_of_signs()) {
                continue;
            }
            let at = match fault.kind {
                FaultKind::SwingMeter { .. } => self.header.swing_span,
                _ => fault_span(&fault, &self.spans),
            };
            self.fault(at.unwrap_or(end), fault.kind.into());
        }
    }
}

/// Whether a bar's text ends in the colon of a `:|`.
fn is_repeat_end(segment: &str) -> bool {
    let last = segment.split_whitespace().next_back();
    last.is_some_and(|word| word == ":" || word.starts_with(":x"))
}

/// Whether a bar's text begins with the colon of a `|:`.
fn is_repeat_start(segment: &str) -> bool {
    segment.split_whitespace().next() == Some(":")
}

/// Text before a comment.
pub(super) fn without_comment(line: &str) -> &str {
    line.split_once(';').map_or(line, |(text, _)| text)
}

/// Where a fault of the whole line stands in the text.
fn fault_span(fault: &LineFault, spans: &[BarSpans]) -> Option<Span> {
    let bar = spans.get(fault.bar_index?)?;
    fault
        .event
        .and_then(|event| bar.events.get(event).copied())
        .or(Some(bar.whole))
}
