//! The bars of one part, walked from the first to the last: notes at their places in time.

use std::collections::BTreeSet;

use roxmltree::Node;

use super::directions::{self, Said};
use super::document::Measure;
use super::error::MusicXmlError;
use super::harmony;
use super::note::{Head, drawn_length, head_of, pitch_of, slurs};
use super::unkept::Unkept;
use crate::music::line::length::{Length, MAX_QUARTERS, UNITS_PER_QUARTER};
use crate::music::line::meter::Meter;
use crate::music::line::signs::Signs;
use crate::music::line::swing::SwingRatio;
use crate::music::line::tempo::Tempo;
use crate::music::theory::{ChordSymbol, Key};

/// A drawn length counts when the duration is nearer to it than this part of a quarter (and than
/// one division): exporters round the durations of tuplets.
const ROUNDED_PARTS: i64 = 16;

/// Most notes in a bar, chords counted once. A bar of 64 quarters in 64ths has as many.
const NOTES_IN_BAR_MAX: usize = 1024;

/// Notes that begin together.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub start: Length,
    pub end: Length,
    pub heads: Vec<Head>,
    /// Grace notes before them, each with those that sound with it.
    pub graces: Vec<Vec<Head>>,
}

/// A bar as the score has it.
#[derive(Clone, Debug)]
pub(super) struct Walked {
    /// The number as it is printed, in digits if it has any.
    pub label: String,
    pub number: Option<u32>,
    pub length: Length,
    pub meter: Meter,
    pub key: Key,
    pub groups: Vec<Group>,
    /// Where rests begin.
    pub rests: Vec<Length>,
    pub harmonies: Vec<(Length, ChordSymbol)>,
    pub tempos: Vec<(Length, Tempo)>,
    pub signs: Signs,
    /// A coda sign that does not say which of the two it is.
    pub coda_sign: bool,
}

/// What holds from one bar to the next.
pub(super) struct Walker<'u> {
    pub(super) divisions: f64,
    /// Semitones from what is written to what sounds.
    pub(super) chromatic: i32,
    pub(super) meter: Meter,
    pub(super) key: Key,
    slurs: BTreeSet<u8>,
    /// The first swing that is given.
    pub swing: Option<Option<SwingRatio>>,
    /// Open strings of a tablature staff, the lowest line first.
    pub tuning: Vec<u8>,
    pub unkept: &'u mut Unkept,
}

/// A bar while it is walked.
struct Bar {
    cursor: Length,
    end: Length,
    last_start: Length,
    graces: Vec<Vec<Head>>,
    walked: Walked,
}

impl<'u> Walker<'u> {
    pub fn new(unkept: &'u mut Unkept) -> Self {
        Self {
            divisions: 1.0,
            chromatic: 0,
            meter: Meter::default(),
            key: Key::default(),
            slurs: BTreeSet::new(),
            swing: None,
            tuning: Vec::new(),
            unkept,
        }
    }

    /// Walks the next bar.
    pub fn walk(&mut self, measure: &Measure<'_>) -> Result<Walked, MusicXmlError> {
        let label: String = measure
            .head
            .attribute("number")
            .unwrap_or("?")
            .chars()
            .take(12)
            .collect();
        let digits = label.len() - label.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let mut bar = Bar {
            cursor: Length::ZERO,
            end: Length::ZERO,
            last_start: Length::ZERO,
            graces: Vec::new(),
            walked: Walked {
                number: label[..digits].parse().ok(),
                label,
                length: Length::ZERO,
                meter: self.meter,
                key: self.key,
                groups: Vec::new(),
                rests: Vec::new(),
                harmonies: Vec::new(),
                tempos: Vec::new(),
                signs: Signs::default(),
                coda_sign: false,
            },
        };
        for node in measure.content.children().filter(Node::is_element) {
            let step = self.step(node, &mut bar);
            step.map_err(|what| MusicXmlError::Bar {
                line: node.document().text_pos_at(node.range().start).row,
                bar: bar.walked.label.clone(),
                what,
            })?;
        }
        if !bar.graces.is_empty() {
            self.unkept
                .add("grace notes without a note after them in their bar");
        }
        let mut walked = bar.walked;
        walked.length = bar.end;
        walked.meter = self.meter;
        walked.key = self.key;
        walked.groups.sort_by_key(|group| group.start);
        walked.rests.sort_unstable();
        Ok(walked)
    }

    fn step(&mut self, node: Node<'_, '_>, bar: &mut Bar) -> Result<(), String> {
        match node.tag_name().name() {
            "note" => self.note(node, bar)?,
            "backup" => {
                let back = self.duration(node)?.unwrap_or_default();
                bar.cursor = (bar.cursor - back).max(Length::ZERO);
                if bar.cursor < self.division() {
                    bar.cursor = Length::ZERO;
                }
            }
            "forward" => {
                bar.cursor += self.duration(node)?.unwrap_or_default();
                bar.end = bar.end.max(bar.cursor);
            }
            "attributes" => self.attributes(node)?,
            "barline" => directions::barline(node, &mut bar.walked.signs, self.unkept),
            "direction" => {
                let at = self.moved(bar.cursor, node);
                let said = directions::direction(node, &mut bar.walked.signs, self.unkept);
                self.take(said, at, bar);
            }
            "sound" => {
                let at = self.moved(bar.cursor, node);
                let mut said = Said::default();
                directions::sound(node, &mut bar.walked.signs, &mut said, self.unkept);
                self.take(said, at, bar);
            }
            "harmony" => match harmony::symbol_of(node) {
                Ok(symbol) => {
                    let at = self.moved(bar.cursor, node);
                    bar.walked.harmonies.push((at, symbol));
                }
                Err(given) => self.unkept.say(format!(
                    "bar {}: the chord symbol `{given}` is not understood and left out",
                    bar.walked.label
                )),
            },
            "figured-bass" => self.unkept.add("figured bass"),
            _ => {}
        }
        Ok(())
    }

    fn take(&mut self, said: Said, at: Length, bar: &mut Bar) {
        if let Some(tempo) = said.tempo {
            bar.walked.tempos.push((at, tempo));
        }
        bar.walked.coda_sign |= said.coda_sign;
        match (said.swing, self.swing) {
            (Some(given), None) => self.swing = Some(given),
            (Some(given), Some(before)) if given != before => {
                self.unkept
                    .add("changes of the swing, the first of which holds");
            }
            _ => {}
        }
    }

    fn division(&self) -> Length {
        Length::from_units((UNITS_PER_QUARTER as f64 / self.divisions) as i64)
    }

    fn moved(&self, at: Length, node: Node<'_, '_>) -> Length {
        let quarters = directions::offset_of(node) / self.divisions;
        let quarters = quarters.clamp(-1000.0, 1000.0);
        let offset = Length::from_units((quarters * UNITS_PER_QUARTER as f64).round() as i64);
        (at + offset).max(Length::ZERO)
    }

    /// The duration of a note, backup or forward.
    fn duration(&self, node: Node<'_, '_>) -> Result<Option<Length>, String> {
        let Some(given) = node.children().find(|child| child.has_tag_name("duration")) else {
            return Ok(None);
        };
        let text = given.text().unwrap_or_default().trim();
        let divisions = text.parse().ok().filter(|value: &f64| *value >= 0.0);
        let quarters = divisions.map(|value| value / self.divisions);
        match quarters.filter(|quarters| *quarters <= MAX_QUARTERS as f64) {
            Some(quarters) => {
                let units = (quarters * UNITS_PER_QUARTER as f64).round() as i64;
                Ok(Some(Length::from_units(units)))
            }
            None => Err(format!(
                "`{}` is no duration; it is a number of divisions, at most {MAX_QUARTERS} quarters",
                text.chars().take(20).collect::<String>()
            )),
        }
    }

    /// How long a note lasts: its duration, exactly as it is drawn where the two are near.
    fn length(&self, note: Node<'_, '_>) -> Result<Length, String> {
        let near = self.division().min(Length::quarter_over(ROUNDED_PARTS));
        Ok(match (self.duration(note)?, drawn_length(note)) {
            (Some(duration), Some(drawn)) => {
                let apart = (duration - drawn).units().abs();
                if apart < near.units() {
                    drawn
                } else {
                    duration
                }
            }
            (Some(length), None) | (None, Some(length)) => length,
            (None, None) => Length::ZERO,
        })
    }

    fn note(&mut self, note: Node<'_, '_>, bar: &mut Bar) -> Result<(), String> {
        let has = |name| note.children().any(|child| child.has_tag_name(name));
        for lyric in ["lyric", "play"] {
            if has(lyric) {
                self.unkept.add(if lyric == "lyric" {
                    "lyrics"
                } else {
                    "playback hints"
                });
            }
        }
        let pitch = pitch_of(note, self.chromatic, self.unkept)?;
        if has("unpitched") {
            self.unkept.add("notes without a pitch");
        }
        let is_cue = has("cue");
        if is_cue {
            self.unkept.add("cue notes");
        }
        let pitch = pitch.filter(|_| !is_cue);
        let is_grace = has("grace");
        let length = if is_grace {
            Length::ZERO
        } else {
            self.length(note)?
        };
        let start = if has("chord") && !is_grace {
            bar.last_start
        } else {
            bar.cursor
        };
        let slurred = !self.slurs.is_empty();
        if !has("chord") {
            for number in slurs(note, "stop") {
                self.slurs.remove(&number);
            }
        }
        let head = pitch.map(|midi| head_of(note, midi, slurred, self.unkept));
        self.slurs.extend(slurs(note, "start"));
        if has("chord") {
            for number in slurs(note, "stop") {
                self.slurs.remove(&number);
            }
        }
        if is_grace {
            match (head, has("chord"), bar.graces.last_mut()) {
                (Some(head), true, Some(last)) => last.push(head),
                (Some(head), ..) => bar.graces.push(vec![head]),
                _ => {}
            }
            return Ok(());
        }
        let end = start + length;
        if !has("chord") {
            bar.last_start = start;
            bar.cursor = end;
        }
        bar.end = bar.end.max(end);
        if has("rest") {
            bar.walked.rests.push(start);
        }
        if let Some(head) = head
            && length.is_positive()
        {
            if bar.walked.groups.len() >= NOTES_IN_BAR_MAX {
                return Err(format!(
                    "more than {NOTES_IN_BAR_MAX} notes stand in one bar"
                ));
            }
            add_head(bar, start, end, head);
        }
        Ok(())
    }
}

/// Adds a note head where it begins; the same note in two voices or staves is one.
fn add_head(bar: &mut Bar, start: Length, end: Length, head: Head) {
    let graces = std::mem::take(&mut bar.graces);
    let groups = &mut bar.walked.groups;
    // Most notes come in order: look from the end.
    let group = groups
        .iter_mut()
        .rev()
        .find(|group| group.start == start && group.end == end);
    let Some(group) = group else {
        groups.push(Group {
            start,
            end,
            heads: vec![head],
            graces,
        });
        return;
    };
    if group.graces.is_empty() {
        group.graces = graces;
    }
    match group.heads.iter_mut().find(|known| known.midi == head.midi) {
        Some(known) => {
            known.place = known.place.or(head.place);
            known.finger = known.finger.or(head.finger);
            known.tied |= head.tied;
            known.tied_on |= head.tied_on;
        }
        None => group.heads.push(head),
    }
}
