//! The reader of `.line` texts.

use super::error::{TextError, TextFault};
use super::word::{Said, Word, read_tempo, read_word, words};
use crate::music::instrument::{DEFAULT_FRETS, DEFAULT_SCALE_MM, Instrument, Tuning};
use crate::music::line::check::MAX_FIRST_BAR;
use crate::music::line::error::{FaultKind, LineFault};
use crate::music::line::length::Length;
use crate::music::line::meter::Meter;
use crate::music::line::model::{Bar, ChordMark, Event, EventKind, Line, LineParts, TempoMark};
use crate::music::line::tempo::Tempo;
use crate::music::theory::Key;

/// Most notes and rests in a line, repeats counted out. Ten hours of sixteenths at 120; it keeps
/// a small file of repeat signs from filling the memory.
const MAX_EVENTS: usize = 300_000;

/// Where something stands: text line from 1, column and width in characters.
#[derive(Clone, Copy, Debug)]
struct Span {
    line: usize,
    column: usize,
    width: usize,
}

/// Where a bar and its events stand.
#[derive(Clone, Debug)]
struct BarSpans {
    whole: Span,
    events: Vec<Span>,
}

#[derive(Debug, Default)]
struct Header {
    title: String,
    tempo: Option<Tempo>,
    first_bar: Option<u32>,
    tuning: Tuning,
    frets: Option<u8>,
    scale_mm: Option<f64>,
}

struct Reader<'a> {
    lines: Vec<&'a str>,
    header: Header,
    /// Entries given since the last bar, with their text line.
    given: Vec<(&'static str, Span)>,
    instrument: Instrument,
    meter: Meter,
    key: Key,
    /// A tempo given between bars, for the next one.
    coming_tempo: Option<Tempo>,
    length: Length,
    string: Option<u8>,
    pickup: bool,
    bars: Vec<Bar>,
    spans: Vec<BarSpans>,
    events: usize,
}

type Placed<T> = Result<T, (Span, TextFault)>;

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

/// A header line's entry and value: letters and inner spaces up to a colon.
fn header_entry(line: &str) -> Option<(&str, &str)> {
    let (entry, value) = line.split_once(':')?;
    let entry = entry.trim_start();
    // A single letter is no entry but a slip in a note, such as `E:5`.
    let is_word = entry.len() > 1
        && entry.starts_with(|c: char| c.is_alphabetic())
        && entry.ends_with(|c: char| c.is_alphabetic())
        && entry.chars().all(|c| c.is_alphabetic() || c == ' ');
    is_word.then_some((entry, value))
}

/// The column of `part` in `line`, of which it is a slice.
fn column_of(line: &str, part: &str) -> usize {
    let at = (part.as_ptr() as usize)
        .saturating_sub(line.as_ptr() as usize)
        .min(line.len());
    line.get(..at).map_or(0, |before| before.chars().count()) + 1
}

fn span_of(line: &str, number: usize, part: &str) -> Span {
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
            let known = [
                "title",
                "tempo",
                "meter",
                "key",
                "tuning",
                "frets",
                "scale",
                "first bar",
            ];
            let span = span_of(line, number, entry);
            let Some(&name) = known.iter().find(|&&name| entry.eq_ignore_ascii_case(name)) else {
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
            let value_span = span_of(line, number, if value.is_empty() { entry } else { value });
            return self
                .read_header(name, value.trim())
                .map_err(|fault| (value_span, fault));
        }
        let line_text = without_comment(line);
        if line_text.trim().is_empty() {
            return Ok(());
        }
        if self.bars.is_empty() {
            self.begin_bars()
                .map_err(|fault| (span_of(line, number, line_text), fault))?;
        }
        self.given.clear();
        let mut segments: Vec<&str> = line_text.split('|').collect();
        if segments.len() > 1 && segments.last().is_some_and(|last| last.trim().is_empty()) {
            segments.pop();
        }
        if segments.len() > 1 && segments[0].trim().is_empty() {
            segments.remove(0);
        }
        for segment in segments {
            self.read_bar(line, number, segment)?;
        }
        Ok(())
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

    fn begin_bars(&mut self) -> Result<(), TextFault> {
        self.make_instrument()
    }

    fn read_bar(&mut self, line: &str, number: usize, segment: &str) -> Placed<()> {
        let whole = span_of(line, number, segment);
        let mut bar_words = words(segment, column_of(line, segment));
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
        let mut bar = self.new_bar();
        let mut spans = BarSpans {
            whole,
            events: Vec::new(),
        };
        let mut marks: Vec<(Length, Span)> = Vec::new();
        let mut at = Length::ZERO;
        for word in bar_words {
            let span = word_span(number, word);
            let said = read_word(word.text, &self.instrument, &mut self.string)
                .map_err(|fault| (span, fault))?;
            match said {
                Said::Length(length) => self.length = length,
                Said::Rest => self.push(&mut bar, &mut spans, span, EventKind::Rest, false),
                Said::Hold { breath_after } => {
                    self.push(&mut bar, &mut spans, span, EventKind::Hold, breath_after);
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
                    self.push(&mut bar, &mut spans, span, kind, breath_after);
                }
                Said::Chord { later, symbol } => {
                    let at = at + later;
                    marks.push((at, span));
                    if bar.chords.iter().any(|mark| mark.at == at) {
                        return Err((span, FaultKind::MarksCollide.into()));
                    }
                    bar.chords.push(ChordMark { at, symbol });
                }
                Said::Tempo { later, tempo } => {
                    let at = at + later;
                    marks.push((at, span));
                    if bar.tempos.iter().any(|mark| mark.at == at) {
                        return Err((span, FaultKind::MarksCollide.into()));
                    }
                    bar.tempos.push(TempoMark { at, tempo });
                }
            }
            at = bar.length();
            self.check_size(span)?;
        }
        bar.chords.sort_by_key(|mark| mark.at);
        bar.tempos.sort_by_key(|mark| mark.at);
        if let Some((_, span)) = marks.iter().find(|(mark, _)| *mark >= at) {
            return Err((*span, FaultKind::MarkOutside.into()));
        }
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

    fn push(
        &mut self,
        bar: &mut Bar,
        spans: &mut BarSpans,
        span: Span,
        kind: EventKind,
        breath_after: bool,
    ) {
        bar.events.push(Event {
            length: self.length,
            kind,
            breath_after,
        });
        spans.events.push(span);
        self.events += 1;
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
fn without_comment(line: &str) -> &str {
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
