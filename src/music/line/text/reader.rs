//! The reader of `.line` texts.

use super::error::{TextError, TextFault};
use super::header::{Header, header_entry};
use super::word::{Said, Word, read_word, words};
use crate::music::instrument::Instrument;
use crate::music::line::error::{FaultKind, LineFault};
use crate::music::line::length::Length;
use crate::music::line::meter::Meter;
use crate::music::line::model::{Bar, ChordMark, Event, EventKind, Line, LineParts, TempoMark};
use crate::music::line::tempo::Tempo;
use crate::music::theory::{ChordSymbol, Key};

/// Most notes and rests in a line, repeats counted out. Ten hours of sixteenths at 120; it keeps
/// a small file of repeat signs from filling the memory.
const MAX_EVENTS: usize = 300_000;

/// Where something stands: text line from 1, column and width in characters.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub line: usize,
    pub column: usize,
    pub width: usize,
}

/// Where a bar and its events stand.
#[derive(Clone, Debug)]
struct BarSpans {
    whole: Span,
    events: Vec<Span>,
}

/// A bar while it is being read.
struct OpenBar {
    bar: Bar,
    spans: BarSpans,
    /// Where the next event goes.
    at: Length,
    /// Where marks were put, and where they stand in the text.
    marks: Vec<(Length, Span)>,
}

impl OpenBar {
    fn push(&mut self, length: Length, kind: EventKind, breath_after: bool, span: Span) {
        self.bar.events.push(Event {
            length,
            kind,
            breath_after,
        });
        self.spans.events.push(span);
        self.at += length;
    }

    fn add_chord(&mut self, later: Length, symbol: ChordSymbol, span: Span) -> Placed<()> {
        let at = self.at + later;
        if self.bar.chords.iter().any(|mark| mark.at == at) {
            return Err((span, FaultKind::MarksCollide.into()));
        }
        self.marks.push((at, span));
        self.bar.chords.push(ChordMark { at, symbol });
        Ok(())
    }

    fn add_tempo(&mut self, later: Length, tempo: Tempo, span: Span) -> Placed<()> {
        let at = self.at + later;
        if self.bar.tempos.iter().any(|mark| mark.at == at) {
            return Err((span, FaultKind::MarksCollide.into()));
        }
        self.marks.push((at, span));
        self.bar.tempos.push(TempoMark { at, tempo });
        Ok(())
    }

    fn close(mut self) -> Placed<(Bar, BarSpans)> {
        if let Some(&(_, span)) = self.marks.iter().find(|(at, _)| *at >= self.at) {
            return Err((span, FaultKind::MarkOutside.into()));
        }
        self.bar.chords.sort_by_key(|mark| mark.at);
        self.bar.tempos.sort_by_key(|mark| mark.at);
        Ok((self.bar, self.spans))
    }
}

pub(super) struct Reader<'a> {
    lines: Vec<&'a str>,
    pub(super) header: Header,
    /// Entries given since the last bar, with their text line.
    pub(super) given: Vec<(&'static str, Span)>,
    pub(super) instrument: Instrument,
    pub(super) meter: Meter,
    pub(super) key: Key,
    /// A tempo given between bars, for the next one.
    pub(super) coming_tempo: Option<Tempo>,
    length: Length,
    string: Option<u8>,
    pickup: bool,
    pub(super) bars: Vec<Bar>,
    spans: Vec<BarSpans>,
    events: usize,
}

/// A result whose error knows where it stands.
pub(super) type Placed<T> = Result<T, (Span, TextFault)>;

/// Reads a line from `.line` text (see the module's documentation for the format).
///
/// # Errors
/// The first mistake, with its place and how to mend it. No text makes it panic.
pub fn read_text(text: &str) -> Result<Line, TextError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = Reader {
        lines: text.lines().collect(),
        header: Header::default(),
        given: Vec::new(),
        instrument: Instrument::default(),
        meter: Meter::default(),
        key: Key::default(),
        coming_tempo: None,
        length: Length::QUARTER,
        string: None,
        pickup: false,
        bars: Vec::new(),
        spans: Vec::new(),
        events: 0,
    };
    let quote = |lines: &[&str], (span, fault): (Span, TextFault)| TextError {
        line: span.line,
        column: span.column,
        width: span.width,
        text: lines
            .get(span.line - 1)
            .map(|&line| line.to_owned())
            .unwrap_or_default(),
        fault,
    };
    for at in 0..reader.lines.len() {
        let line = reader.lines[at];
        reader
            .read_text_line(line, at + 1)
            .map_err(|error| quote(&reader.lines, error))?;
    }
    let lines = std::mem::take(&mut reader.lines);
    reader
        .finish(lines.len())
        .map_err(|error| quote(&lines, error))
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
    fn read_text_line(&mut self, line: &str, number: usize) -> Placed<()> {
        if let Some((entry, value)) = header_entry(line) {
            return self.read_header_line(line, number, entry, value);
        }
        let line_text = without_comment(line);
        if line_text.trim().is_empty() {
            return Ok(());
        }
        self.given.clear();
        let segments: Vec<&str> = line_text.split('|').collect();
        let last = segments.len() - 1;
        let mut column = 1;
        for (at, segment) in segments.into_iter().enumerate() {
            // A bar line before the first bar or after the last shuts nothing in.
            let at_edge = last > 0 && (at == 0 || at == last);
            if !(at_edge && segment.trim().is_empty()) {
                self.read_bar(number, segment, column)?;
            }
            column += segment.chars().count() + 1;
        }
        Ok(())
    }

    /// Reads the bar in `segment`, which begins at `column` of text line `number`.
    fn read_bar(&mut self, number: usize, segment: &str, column: usize) -> Placed<()> {
        let mut bar_words = words(segment, column);
        let whole = match (bar_words.first(), bar_words.last()) {
            (Some(first), Some(last)) => Span {
                line: number,
                column: first.column,
                width: last.column - first.column + last.text.chars().count(),
            },
            _ => Span {
                line: number,
                column,
                width: segment.chars().count().max(1),
            },
        };
        if bar_words.first().is_some_and(|word| word.text == "pickup") {
            if !self.bars.is_empty() {
                return Err((word_span(number, bar_words[0]), TextFault::PickupNotFirst));
            }
            self.pickup = true;
            bar_words.remove(0);
        }
        if bar_words.is_empty() {
            return Err((whole, TextFault::EmptyBar));
        }
        if let Some(repeat) = bar_words.iter().find(|word| word.text == "%") {
            let span = word_span(number, *repeat);
            if bar_words.len() > 1 {
                return Err((span, TextFault::RepeatNotAlone));
            }
            return self.repeat_bar(span);
        }
        let spans = BarSpans {
            whole,
            events: Vec::new(),
        };
        let mut open = OpenBar {
            bar: self.new_bar(),
            spans,
            at: Length::ZERO,
            marks: Vec::new(),
        };
        for word in bar_words {
            let span = word_span(number, word);
            let said = read_word(word.text, &self.instrument, &mut self.string)
                .map_err(|fault| (span, fault))?;
            match said {
                Said::Length(length) => self.length = length,
                Said::Rest => open.push(self.length, EventKind::Rest, false, span),
                Said::Hold { breath_after } => {
                    open.push(self.length, EventKind::Hold, breath_after, span);
                }
                Said::Notes {
                    notes,
                    start,
                    staccato,
                    breath_after,
                } => {
                    let kind = EventKind::Notes {
                        notes,
                        start,
                        staccato,
                    };
                    open.push(self.length, kind, breath_after, span);
                }
                Said::Chord { later, symbol } => open.add_chord(later, symbol, span)?,
                Said::Tempo { later, tempo } => open.add_tempo(later, tempo, span)?,
            }
        }
        self.events += open.bar.events.len();
        self.check_size(whole)?;
        let (bar, spans) = open.close()?;
        self.bars.push(bar);
        self.spans.push(spans);
        Ok(())
    }

    /// An empty bar with what is in force, and a tempo given since the last bar.
    fn new_bar(&mut self) -> Bar {
        let coming = self.coming_tempo.take();
        let tempos = coming.map(|tempo| TempoMark {
            at: Length::ZERO,
            tempo,
        });
        Bar {
            meter: self.meter,
            key: self.key,
            chords: Vec::new(),
            tempos: tempos.into_iter().collect(),
            events: Vec::new(),
        }
    }

    fn check_size(&self, span: Span) -> Placed<()> {
        if self.events > MAX_EVENTS {
            return Err((span, TextFault::TooManyEvents { limit: MAX_EVENTS }));
        }
        Ok(())
    }

    fn repeat_bar(&mut self, span: Span) -> Placed<()> {
        let first_full = usize::from(self.pickup);
        let Some(last) = self
            .bars
            .get(first_full..)
            .and_then(|bars| bars.last())
            .cloned()
        else {
            return Err((span, TextFault::NothingToRepeat));
        };
        self.events += last.events.len();
        self.check_size(span)?;
        let mut bar = self.new_bar();
        let spans = BarSpans {
            whole: span,
            events: vec![span; last.events.len()],
        };
        bar.chords = last.chords;
        bar.events = last.events;
        self.bars.push(bar);
        self.spans.push(spans);
        Ok(())
    }

    fn finish(self, text_lines: usize) -> Placed<Line> {
        let end = Span {
            line: text_lines.max(1),
            column: 1,
            width: 1,
        };
        if self.bars.is_empty() {
            return Err((end, FaultKind::NoNotes.into()));
        }
        if let Some((_, span)) = self.given.first() {
            return Err((*span, TextFault::ChangeWithoutBar));
        }
        let spans = self.spans;
        let parts = LineParts {
            title: self.header.title,
            instrument: self.instrument,
            tempo: self.header.tempo.unwrap_or_default(),
            swing: self.header.swing,
            first_bar: self.header.first_bar.unwrap_or(1),
            pickup: self.pickup,
            bars: self.bars,
        };
        Line::new(parts)
            .map_err(|fault| (fault_span(&fault, &spans).unwrap_or(end), fault.kind.into()))
    }
}

fn word_span(number: usize, word: Word<'_>) -> Span {
    Span {
        line: number,
        column: word.column,
        width: word.text.chars().count().max(1),
    }
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
