//! The reader of tables of notes.

use std::collections::BTreeMap;

use super::CsvError;
use crate::music::expected::Place;
use crate::music::instrument::Instrument;
use crate::music::line::Read;
use crate::music::line::length::{Length, MAX_QUARTERS};
use crate::music::line::meter::Meter;
use crate::music::line::model::{Bar, Event, EventKind, LineParts, Note, Start};
use crate::music::line::order::MAX_EVENTS;
use crate::music::line::part::instrument_for;
use crate::music::line::swing::read_swing;
use crate::music::line::text::read_tempo_text;
use crate::music::line::whole::Line;
use crate::music::theory::Key;

/// Most bars read from a table.
const MAX_BARS: usize = 24_000;

/// What stands above the table.
#[derive(Default)]
struct Head {
    parts: LineParts,
    key: Key,
    pickup: Length,
    end: Length,
    tuned: bool,
}

/// A note or chord of the table.
struct Row {
    line: u64,
    start: Length,
    length: Length,
    notes: Vec<Note>,
    begun: Start,
    staccato: bool,
    accent: bool,
    breath: bool,
    meter: Option<Meter>,
    /// Where its bar begins, in quarters, as its beat tells.
    bar_start: Option<f64>,
}

/// Reads a line from a table of notes (see the module's documentation).
///
/// # Errors
/// See [`CsvError`]. No text makes it panic.
pub fn read_csv(text: &str) -> Result<Read, CsvError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut head = read_head(text)?;
    let rows = read_rows(text)?;
    let groups: Vec<Vec<u8>> = rows
        .iter()
        .map(|row| row.notes.iter().map(|note| note.midi).collect())
        .collect();
    let mut notes = Vec::new();
    if !head.tuned {
        let (instrument, said) = instrument_for(&groups);
        head.parts.instrument = instrument;
        notes.extend(said);
    }
    head.parts.bars = lay_bars(&head, &rows)?;
    head.parts.pickup = head.pickup.is_positive();
    let line = Line::new(head.parts)?;
    Ok(Read { line, notes })
}

fn read_head(text: &str) -> Result<Head, CsvError> {
    let mut head = Head::default();
    for (at, line) in text.lines().enumerate() {
        let Some(entry) = line.trim_start().strip_prefix('#') else {
            continue;
        };
        let Some((name, value)) = entry.split_once(':') else {
            continue;
        };
        let (name, value) = (name.trim().to_lowercase(), value.trim());
        let read = match name.as_str() {
            "title" => {
                head.parts.title = value.to_owned();
                Ok(())
            }
            "tempo" => read_tempo_text(value).map(|tempo| head.parts.tempo = tempo),
            "key" => value
                .parse()
                .map(|key| head.key = key)
                .map_err(|error: crate::music::theory::NameError| error.to_string()),
            "swing" => read_swing(value)
                .map(|swing| head.parts.swing = swing)
                .map_err(|error| error.to_string()),
            "tuning" => value
                .parse()
                .map(|tuning| {
                    head.parts.instrument = Instrument::with_tuning(tuning);
                    head.tuned = true;
                })
                .map_err(|error: crate::music::instrument::InstrumentError| error.to_string()),
            "pickup" => read_quarters(value).map(|pickup| head.pickup = pickup),
            "end" => read_quarters(value).map(|end| head.end = end),
            _ => Ok(()),
        };
        read.map_err(|what| CsvError::Row {
            line: at as u64 + 1,
            what,
        })?;
    }
    Ok(head)
}

/// Reads `2`, `2.5`, `-1` or `7/3` quarters.
fn read_quarters(text: &str) -> Result<Length, String> {
    let wrong = || {
        let text: String = text.chars().take(40).collect();
        format!("`{text}` is no number of quarter notes; write for example 2, 2.5 or 7/3")
    };
    let (negative, plain) = match text.strip_prefix('-') {
        Some(plain) => (true, plain),
        None => (false, text),
    };
    let (whole, denominator) = plain.split_once('/').unwrap_or((plain, "1"));
    let digits = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
    let (before, after) = whole.split_once('.').unwrap_or((whole, ""));
    if !digits(before) || !(after.is_empty() || digits(after)) || after.len() > 12 {
        return Err(wrong());
    }
    let numerator: u64 = format!("{before}{after}").parse().map_err(|_| wrong())?;
    let scale = 10_u64.pow(after.len() as u32);
    let denominator: u64 = denominator.parse().map_err(|_| wrong())?;
    let denominator = denominator
        .checked_mul(scale)
        .and_then(|d| d.checked_mul(4));
    let length = denominator.and_then(|denominator| Length::of_whole(numerator, denominator));
    let length = length.or_else(|| {
        // A decimal that was rounded, such as 0.333.
        let value: f64 = whole.parse().ok()?;
        let units = value * Length::QUARTER.units() as f64;
        let plain = !plain.contains('/') && value <= MAX_QUARTERS as f64;
        plain.then(|| Length::from_units(units.round() as i64))
    });
    let length = length.ok_or_else(wrong)?;
    Ok(if negative {
        Length::ZERO - length
    } else {
        length
    })
}

fn read_rows(text: &str) -> Result<Vec<Row>, CsvError> {
    let mut table = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let broken = |error: csv::Error| CsvError::Row {
        line: error.position().map_or(1, csv::Position::line),
        what: error.to_string(),
    };
    let columns: BTreeMap<String, usize> = table
        .headers()
        .map_err(broken)?
        .iter()
        .enumerate()
        .map(|(at, name)| (name.to_lowercase(), at))
        .collect();
    for name in ["start", "length", "midi"] {
        if !columns.contains_key(name) {
            return Err(CsvError::NoColumn { name });
        }
    }
    let mut rows: Vec<Row> = Vec::new();
    for record in table.records() {
        let record = record.map_err(broken)?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |name: &str| {
            columns
                .get(name)
                .and_then(|&at| record.get(at))
                .unwrap_or("")
        };
        let row = read_row(line, &cell).map_err(|what| CsvError::Row { line, what })?;
        rows.push(row);
        if rows.len() > MAX_EVENTS {
            let (what, limit) = ("rows", MAX_EVENTS);
            return Err(CsvError::TooLong { what, limit });
        }
    }
    rows.sort_by_key(|row| row.start);
    let mut merged: Vec<Row> = Vec::new();
    for row in rows {
        match merged.last_mut() {
            Some(last) if last.start == row.start && last.length == row.length => {
                last.notes.extend(row.notes);
                last.staccato |= row.staccato;
                last.accent |= row.accent;
                last.breath |= row.breath;
            }
            Some(last) if last.start + last.length > row.start => {
                return Err(CsvError::TwoVoices { line: row.line });
            }
            _ => merged.push(row),
        }
    }
    Ok(merged)
}

fn read_row<'a>(line: u64, cell: &impl Fn(&str) -> &'a str) -> Result<Row, String> {
    let number = |name: &str| -> Result<Option<u8>, String> {
        let text = cell(name);
        if text.is_empty() {
            return Ok(None);
        }
        let number = text.parse().map(Some);
        number.map_err(|_| format!("`{text}` in the column `{name}` is no number from 0 to 255"))
    };
    let midi = number("midi")?.filter(|&midi| midi < 128);
    let midi = midi.ok_or("the column `midi` needs a MIDI note number from 0 to 127")?;
    let length = read_quarters(cell("length"))?;
    if !length.is_positive() {
        return Err("a note has no length".to_owned());
    }
    let place = match (number("string")?, number("fret")?) {
        (Some(string), Some(fret)) => Some(Place { string, fret }),
        (None, None) => None,
        _ => return Err("a string needs a fret and a fret a string".to_owned()),
    };
    let meter = cell("meter");
    let meter: Option<Meter> = match meter {
        "" => None,
        text => Some(text.parse().map_err(|error| format!("{error}"))?),
    };
    let start = read_quarters(cell("start"))?;
    let beat: Option<f64> = cell("beat").parse().ok();
    let before = |beat: f64| meter.map(|meter| (beat - 1.0) * meter.beat_length().quarters());
    let mut row = Row {
        line,
        start,
        bar_start: beat
            .and_then(before)
            .map(|before| start.quarters() - before),
        length,
        notes: vec![Note {
            place,
            finger: number("finger")?,
            ..Note::new(midi)
        }],
        begun: Start::Plucked,
        staccato: false,
        accent: false,
        breath: false,
        meter,
    };
    for mark in cell("marks").split_whitespace() {
        match mark {
            "ghost" => row.notes[0].ghost = true,
            "staccato" => row.staccato = true,
            "accent" => row.accent = true,
            "breath" => row.breath = true,
            "slurred" => row.begun = Start::Slurred,
            "hammered" => row.begun = Start::Hammered,
            "pulled" => row.begun = Start::Pulled,
            "slid" => row.begun = Start::Slid,
            other => {
                return Err(format!(
                    "`{other}` is no mark; marks are ghost, staccato, accent, breath, slurred, hammered, pulled and slid"
                ));
            }
        }
    }
    Ok(row)
}

/// Lays the rows into bars, with rests where nothing sounds.
fn lay_bars(head: &Head, rows: &[Row]) -> Result<Vec<Bar>, CsvError> {
    let last = rows
        .last()
        .map_or(Length::ZERO, |row| row.start + row.length);
    let end = head.end.max(last);
    let mut start = Length::ZERO - head.pickup;
    if let Some(first) = rows.first().filter(|first| first.start < start) {
        return Err(CsvError::Row {
            line: first.line,
            what: "this note begins before bar 1; say how long the pick-up is: `# pickup: 1`"
                .to_owned(),
        });
    }
    let mut meter = Meter::default();
    let mut bars: Vec<Bar> = Vec::new();
    let mut next = 0;
    while start < end || bars.is_empty() {
        let meters = rows[next.min(rows.len())..].iter().take_while(|row| {
            let full = row.meter.unwrap_or(meter).bar_length();
            row.start < start + full
        });
        let is_pickup = bars.is_empty() && head.pickup.is_positive();
        // A beat is rounded to a thousandth.
        let begins_here = |row: &&Row| {
            let bar_start = row.bar_start.filter(|_| !is_pickup);
            bar_start.is_none_or(|at| (at - start.quarters()).abs() < 0.01)
        };
        let mut inside = meters.filter(|row| row.start >= start);
        let given = inside.find(begins_here).and_then(|row| row.meter);
        meter = given.unwrap_or(meter);
        let length = if is_pickup {
            head.pickup
        } else {
            meter.bar_length()
        };
        // The last bar may be short by the pick-up.
        let length = length.min(end.max(start + Length::from_units(1)) - start);
        let mut bar = Bar::new(meter, head.key);
        next = fill(&mut bar, start, start + length, rows, next);
        bars.push(bar);
        if bars.len() > MAX_BARS {
            let (what, limit) = ("bars", MAX_BARS);
            return Err(CsvError::TooLong { what, limit });
        }
        start += length;
    }
    if let Some(last) = bars.last_mut() {
        let missing = last.meter.bar_length() - last.length();
        let completes_pickup = head.pickup.is_positive() && missing == head.pickup;
        if missing.is_positive() && !completes_pickup {
            last.events.push(Event::rest(missing));
        }
    }
    Ok(bars)
}

/// Fills a bar from `from` to `to`; gives the first row that does not end in it.
fn fill(bar: &mut Bar, from: Length, to: Length, rows: &[Row], mut next: usize) -> usize {
    let mut at = from;
    while at < to {
        while rows
            .get(next)
            .is_some_and(|row| row.start + row.length <= at)
        {
            next += 1;
        }
        let (end, mut event) = match rows.get(next) {
            Some(row) if row.start <= at => {
                let mut event = Event::hold(Length::ZERO);
                if row.start == at {
                    event.accent = row.accent;
                    event.kind = EventKind::Notes {
                        notes: row.notes.clone(),
                        start: row.begun,
                        staccato: row.staccato,
                    };
                }
                let end = row.start + row.length;
                event.breath_after = row.breath && end <= to;
                (end, event)
            }
            Some(row) => (row.start, Event::rest(Length::ZERO)),
            None => (to, Event::rest(Length::ZERO)),
        };
        event.length = end.min(to) - at;
        at += event.length;
        bar.events.push(event);
    }
    next
}
