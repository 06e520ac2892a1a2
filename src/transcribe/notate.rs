//! Placed notes with their lengths as the bars of a line: rests between them, ties over barlines and
//! where one note value cannot say it.

use super::places::{Places, SIXTEENTH, STEPS, length};
use crate::music::line::{Bar, Event, EventKind, Length, Meter, Note, Start};
use crate::music::theory::Key;

/// Something from one step to another.
#[derive(Clone, Debug)]
pub(crate) struct Stretch {
    /// From this step on.
    pub from: i64,
    /// Up to this one.
    pub to: i64,
    /// What; a rest where there is none.
    pub sound: Option<Sound>,
}

/// A note that is to be written.
#[derive(Clone, Debug)]
pub(crate) struct Sound {
    /// Its heads.
    pub notes: Vec<Note>,
    /// How it is begun.
    pub start: Start,
    /// A staccato dot.
    pub staccato: bool,
    /// A breath behind it.
    pub breath: bool,
}

/// The bars from `first` (a step) on: full bars but for a pick-up at the start.
///
/// `sounds` are in order and do not overlap. With `pickup` the first bar begins with the first
/// sound; else what lies before it in its bar is a rest.
pub(crate) fn bars(
    sounds: &[Stretch],
    places: Places,
    meter: Meter,
    key: Key,
    pickup: bool,
) -> Vec<Bar> {
    let (Some(first), Some(last)) = (sounds.first(), sounds.last()) else {
        return Vec::new();
    };
    let start = if pickup {
        first.from
    } else {
        first.from - places.in_bar(first.from)
    };
    let end = last.to + (places.bar - places.in_bar(last.to)) % places.bar;
    let mut row: Vec<Stretch> = Vec::new();
    let mut at = start;
    let rest = |from: i64, to: i64| Stretch {
        from,
        to,
        sound: None,
    };
    for sound in sounds {
        if sound.from > at {
            row.push(rest(at, sound.from));
        }
        row.push(sound.clone());
        at = sound.to;
    }
    if at < end {
        row.push(rest(at, end));
    }
    let mut bars: Vec<Bar> = Vec::new();
    let mut barline = start;
    for stretch in row {
        let mut pieces = Vec::new();
        cut(stretch.from, stretch.to, places, &mut pieces);
        let count = pieces.len();
        for (k, (from, to)) in pieces.into_iter().enumerate() {
            if from >= barline {
                bars.push(Bar::new(meter, key));
                barline = from - places.in_bar(from) + places.bar;
            }
            let event = event(&stretch, k == 0, k + 1 == count, length(to - from));
            if let Some(bar) = bars.last_mut() {
                bar.events.push(event);
            }
        }
    }
    bars
}

fn event(stretch: &Stretch, opening: bool, closing: bool, length: Length) -> Event {
    let Some(sound) = &stretch.sound else {
        return Event::rest(length);
    };
    let kind = if opening {
        EventKind::Notes {
            notes: sound.notes.clone(),
            start: sound.start,
            staccato: sound.staccato,
        }
    } else {
        EventKind::Hold
    };
    let mut event = Event::new(length, kind);
    event.breath_after = closing && sound.breath;
    event
}

/// Cuts a stretch at barlines and into note values that are written with one sign each.
fn cut(from: i64, to: i64, places: Places, pieces: &mut Vec<(i64, i64)>) {
    if from >= to {
        return;
    }
    let bar_end = from - places.in_bar(from) + places.bar;
    if to > bar_end {
        cut(from, bar_end, places, pieces);
        cut(bar_end, to, places, pieces);
        return;
    }
    let inside = from + 1..to;
    let strongest = inside.max_by_key(|&step| (strength(places, step), step));
    match strongest {
        Some(step) if !is_one_sign(from, to, places) => {
            cut(from, step, places, pieces);
            cut(step, to, places, pieces);
        }
        _ => pieces.push((from, to)),
    }
}

/// How strong a step is: half a bar of four, a beat, an eighth, a sixteenth.
fn strength(places: Places, step: i64) -> u8 {
    let at = places.in_bar(step);
    let halves = places.bar % (2 * places.beat) == 0 && at % (places.bar / 2) == 0;
    match at {
        _ if halves => 4,
        _ if at % places.beat == 0 => 3,
        _ if at % (2 * SIXTEENTH) == 0 => 2,
        _ if at % SIXTEENTH == 0 || at % 4 == 0 => 1,
        _ => 0,
    }
}

/// Whether one note value says it, and says it where it stands as a reader expects. Common practice
/// of notation, no source.
fn is_one_sign(from: i64, to: i64, places: Places) -> bool {
    let at = places.in_bar(from);
    if at == 0 && to - from == places.bar && one_value(places.bar) {
        return true;
    }
    let in_beat = at % places.beat;
    let within = in_beat + (to - from) <= places.beat;
    match to - from {
        // Sixteenths, eighths, dotted eighths.
        3 => true,
        6 => at % SIXTEENTH == 0 && (within || at % 6 == 0),
        9 => within,
        // Syncopated quarters and dotted quarters stand on an eighth.
        12 | 18 => at % 6 == 0,
        24 | 36 => at % STEPS == 0 || (in_beat == 0 && (to - from) % places.beat == 0),
        48 | 72 => in_beat == 0,
        // Triplets stay within their beat.
        2 | 4 | 8 => within && at % 2 == 0,
        _ => false,
    }
}

/// Whether a length is a plain or dotted note value.
fn one_value(steps: i64) -> bool {
    [3, 6, 9, 12, 18, 24, 36, 48, 72, 96].contains(&steps)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(meter: &str, from: i64, to: i64) -> Vec<i64> {
        let places = Places::new(meter.parse().unwrap()).unwrap();
        let mut pieces = Vec::new();
        cut(from, to, places, &mut pieces);
        assert_eq!(pieces.first().map(|piece| piece.0), Some(from));
        assert!(pieces.windows(2).all(|pair| pair[0].1 == pair[1].0));
        pieces.iter().map(|(from, to)| to - from).collect()
    }

    /// Common practice of notation, no source.
    #[test]
    fn lengths_are_cut_where_a_reader_expects() {
        for (meter, from, to, wanted) in [
            ("4/4", 0, 48, vec![48]),
            ("4/4", 6, 18, vec![12]),
            ("4/4", 0, 15, vec![12, 3]),
            ("4/4", 36, 60, vec![12, 12]),
            ("4/4", 9, 15, vec![3, 3]),
            ("4/4", 0, 9, vec![9]),
            ("4/4", 12, 16, vec![4]),
            ("4/4", 16, 24, vec![8]),
            ("4/4", 16, 36, vec![8, 12]),
            ("6/8", 0, 18, vec![18]),
            ("6/8", 0, 36, vec![36]),
            ("3/4", 0, 36, vec![36]),
        ] {
            assert_eq!(pieces(meter, from, to), wanted, "{meter} {from} {to}");
        }
    }
}
