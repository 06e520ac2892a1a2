//! From walked bars to the bars of a line.

use super::error::MusicXmlError;
use super::mend::mend_signs;
use super::note::{Head, named};
use super::unkept::Unkept;
use super::walk::{Group, Walked};
use crate::music::expected::Place;
use crate::music::instrument::Instrument;
use crate::music::line::check::MAX_FIRST_BAR;
use crate::music::line::length::Length;
use crate::music::line::meter::meter_of;
use crate::music::line::model::{
    Bar, ChordMark, Event, EventKind, Grace, Lacks, MAX_GRACES, Note, Start, TempoMark,
};

/// The bars of a line and what the reader must know of them.
pub(super) struct Built {
    pub bars: Vec<Bar>,
    pub pickup: bool,
    pub first_bar: u32,
    /// Notes of each bar, in order, from which its events were made.
    pub ends: Vec<Vec<u8>>,
    /// Whether all notes a bar begins with are tied from before.
    pub tied_in: Vec<bool>,
}

/// Builds the bars.
pub(super) fn build(
    walked: &[Walked],
    instrument: &Instrument,
    unkept: &mut Unkept,
) -> Result<Built, MusicXmlError> {
    let mut built = Built {
        bars: Vec::with_capacity(walked.len()),
        pickup: false,
        first_bar: walked
            .first()
            .and_then(|first| first.number)
            .unwrap_or(1)
            .min(MAX_FIRST_BAR),
        ends: Vec::with_capacity(walked.len()),
        tied_in: Vec::with_capacity(walked.len()),
    };
    let mut places = Places::default();
    for (index, from) in walked.iter().enumerate() {
        one_voice(from)?;
        let mut bar = Bar::new(from.meter, from.key);
        let known = from.number.filter(|&number| number <= MAX_FIRST_BAR);
        // A bar without a number belongs to the one before it.
        let last = built.bars.last().and_then(|last: &Bar| last.printed);
        bar.printed = known.or(last).or(Some(built.first_bar));
        bar.signs = from.signs.clone();
        let length = settle_length(&mut built, &mut bar, from, index, walked.len(), unkept);
        fill(&mut bar, from, length, instrument, &mut places, unkept);
        let last = from.groups.last().filter(|last| last.end >= length);
        let pitches = |group: &Group| {
            let mut pitches: Vec<u8> = group.heads.iter().map(|head| head.midi).collect();
            pitches.sort_unstable();
            pitches
        };
        built.ends.push(last.map(pitches).unwrap_or_default());
        let first = from
            .groups
            .first()
            .filter(|first| first.start == Length::ZERO);
        let tied_on = |head: &Head| match (head.tied, index.checked_sub(1)) {
            (false, Some(before)) => {
                let before = walked[before].groups.last();
                let from =
                    before.and_then(|group| group.heads.iter().find(|from| from.midi == head.midi));
                from.is_some_and(|from| from.tied_on)
            }
            (tied, _) => tied,
        };
        let tied = first.is_some_and(|first| first.heads.iter().all(tied_on));
        built.tied_in.push(tied);
        built.bars.push(bar);
    }
    if built.pickup {
        built.first_bar = 0;
    }
    places.tell(unkept);
    mend_signs(&mut built.bars, unkept);
    built.tie_bars(unkept);
    Ok(built)
}

/// Decides the meter of a bar and what it lacks, from its length; gives the length.
fn settle_length(
    built: &mut Built,
    bar: &mut Bar,
    from: &Walked,
    index: usize,
    count: usize,
    unkept: &mut Unkept,
) -> Length {
    let full = bar.meter.bar_length();
    let near = Length::quarter_over(64);
    let apart = from.length - full;
    // An empty bar is a bar of rest, and tuplets that do not add up are rounded.
    if !from.length.is_positive() || apart.units().abs() < near.units() {
        return full;
    }
    if apart.is_positive() {
        match meter_of(from.length, bar.meter.unit()) {
            Some(meter) => {
                unkept.say(format!(
                    "bar {} is longer than its meter {}; it is read as {meter}",
                    from.label, bar.meter
                ));
                bar.meter = meter;
                return from.length;
            }
            None => {
                unkept.say(format!(
                    "bar {} is longer than its meter and is cut to {}",
                    from.label, bar.meter
                ));
                return full;
            }
        }
    }
    if index == 0 && count > 1 {
        built.pickup = true;
        return from.length;
    }
    let before = built
        .bars
        .last()
        .filter(|before| before.lacks == Lacks::End);
    let completes = before.is_some_and(|before| before.length() + from.length == full);
    let after_repeat = built
        .bars
        .last()
        .is_some_and(|before| before.signs.repeat_end.is_some());
    let closes_pickup =
        built.pickup && index + 1 == count && built.bars[0].length() + from.length == full;
    if !closes_pickup {
        let begins = completes || bar.signs.repeat_start || after_repeat;
        bar.lacks = if begins { Lacks::Beginning } else { Lacks::End };
    }
    from.length
}

/// Refuses notes that overlap.
fn one_voice(from: &Walked) -> Result<(), MusicXmlError> {
    for pair in from.groups.windows(2) {
        let (first, second) = (&pair[0], &pair[1]);
        if first.end > second.start {
            let name = |group: &Group| group.heads.first().map_or(String::new(), |h| named(h.midi));
            let beat = 1.0 + from.meter.beats_in(second.start);
            return Err(MusicXmlError::TwoVoices {
                bar: from.label.clone(),
                beat: (beat * 100.0).round() / 100.0,
                first: name(first),
                second: name(second),
            });
        }
    }
    Ok(())
}

/// What became of the strings and frets that are written.
#[derive(Default)]
struct Places {
    dropped: usize,
    fingers: usize,
}

impl Places {
    fn note(&mut self, head: &Head, instrument: &Instrument) -> Note {
        let place = head.place.map(|(string, fret)| Place { string, fret });
        let gives = place.filter(|&place| instrument.midi_at(place) == Some(head.midi));
        self.dropped += usize::from(place.is_some() && gives.is_none());
        let fretted = gives.is_some_and(|place| place.fret > 0);
        let finger = head.finger.filter(|_| fretted);
        self.fingers += usize::from(head.finger.is_some() && finger.is_none() && gives.is_none());
        Note {
            place: gives,
            finger,
            ghost: head.ghost,
            ..Note::new(head.midi)
        }
    }

    fn tell(&self, unkept: &mut Unkept) {
        if self.dropped > 0 {
            unkept.say(format!(
                "{} notes have a string and fret that do not give their pitch; their places are chosen anew",
                self.dropped
            ));
        }
        if self.fingers > 0 {
            unkept.say(format!(
                "{} fingers stand at notes without string and fret and are left out",
                self.fingers
            ));
        }
    }
}

/// Lays groups and rests into a bar.
fn fill(
    bar: &mut Bar,
    from: &Walked,
    length: Length,
    instrument: &Instrument,
    places: &mut Places,
    unkept: &mut Unkept,
) {
    let mut at = Length::ZERO;
    let mut before: Option<&Group> = None;
    for group in &from.groups {
        let end = group.end.min(length);
        if end <= group.start {
            continue;
        }
        if group.start > at {
            rest(bar, from, at, group.start);
            before = None;
        }
        bar.events.push(event(
            group,
            end - group.start,
            before,
            places,
            instrument,
            from,
            unkept,
        ));
        at = end;
        before = Some(group);
    }
    if length > at {
        rest(bar, from, at, length);
    }
    for (at, symbol) in &from.harmonies {
        let known = bar.chords.iter().any(|mark| mark.at == *at);
        if *at < length && !known {
            let symbol = symbol.clone();
            bar.chords.push(ChordMark { at: *at, symbol });
        } else {
            let label = &from.label;
            unkept.say(format!(
                "bar {label}: the chord symbol {symbol} has no place of its own"
            ));
        }
    }
    bar.chords.sort_by_key(|mark| mark.at);
    for &(at, tempo) in &from.tempos {
        if at < length {
            bar.tempos.retain(|mark| mark.at != at);
            bar.tempos.push(TempoMark { at, tempo });
        }
    }
    bar.tempos.sort_by_key(|mark| mark.at);
}

/// Rests from one place to another, as many as the score draws.
fn rest(bar: &mut Bar, from: &Walked, mut at: Length, to: Length) {
    let first = from.rests.partition_point(|&rest| rest <= at);
    for &next in &from.rests[first..] {
        if next >= to {
            break;
        }
        if next > at {
            bar.events.push(Event::rest(next - at));
            at = next;
        }
    }
    bar.events.push(Event::rest(to - at));
}

/// One group as an event; a tie within the bar becomes a hold.
fn event(
    group: &Group,
    length: Length,
    before: Option<&Group>,
    places: &mut Places,
    instrument: &Instrument,
    from: &Walked,
    unkept: &mut Unkept,
) -> Event {
    // Some files leave out where a tie ends.
    let tied_on = |head: &Head| {
        let from =
            before.and_then(|before| before.heads.iter().find(|from| from.midi == head.midi));
        from.is_some_and(|from| from.tied_on)
    };
    let tied = group
        .heads
        .iter()
        .filter(|head| head.tied || tied_on(head))
        .count();
    let all = tied == group.heads.len();
    let breath = group.heads.iter().any(|head| head.breath);
    if tied > 0 && group.start.is_positive() {
        let same = before.is_some_and(|before| {
            let has = |head: &Head| before.heads.iter().any(|other| other.midi == head.midi);
            before.heads.len() == group.heads.len() && group.heads.iter().all(has)
        });
        if all && same {
            let mut event = Event::hold(length);
            event.breath_after = breath;
            return event;
        }
        struck_anew(from, unkept);
    } else if tied > 0 && !all {
        struck_anew(from, unkept);
    }
    let mut event = Event::notes(length, Vec::new());
    event.breath_after = breath;
    event.accent = group.heads.iter().any(|head| head.accent);
    let notes: Vec<Note> = group
        .heads
        .iter()
        .map(|head| places.note(head, instrument))
        .collect();
    let mut graces: Vec<Grace> = Vec::new();
    for heads in group.graces.iter().take(MAX_GRACES) {
        let notes = heads
            .iter()
            .map(|head| places.note(head, instrument))
            .collect();
        let from_start = graces.is_empty() && before.is_none();
        let start = if from_start {
            Start::Plucked
        } else {
            start_of(heads, None)
        };
        graces.push(Grace { notes, start });
    }
    if group.graces.len() > MAX_GRACES {
        unkept.add("more than 16 grace notes before one note");
    }
    let sounds_before = before.is_some() || !graces.is_empty() || !group.start.is_positive();
    let start = start_of(&group.heads, before.filter(|_| graces.is_empty()));
    event.graces = graces;
    event.kind = EventKind::Notes {
        notes,
        start: if sounds_before { start } else { Start::Plucked },
        staccato: group.heads.iter().any(|head| head.staccato),
    };
    event
}

fn struck_anew(from: &Walked, unkept: &mut Unkept) {
    let label = &from.label;
    unkept.say(format!(
        "bar {label}: a tie without the same notes before it, or of a part of a chord; they are struck anew"
    ));
}

/// How notes are begun; a slur to the pitch before is no slur.
fn start_of(heads: &[Head], before: Option<&Group>) -> Start {
    let start = heads
        .iter()
        .map(|head| head.start)
        .find(|&start| start != Start::Plucked);
    let start = start.unwrap_or_default();
    let repeats = before.is_some_and(|before| {
        before
            .heads
            .iter()
            .map(|head| head.midi)
            .eq(heads.iter().map(|head| head.midi))
    });
    if start == Start::Slurred && repeats {
        Start::Plucked
    } else {
        start
    }
}
