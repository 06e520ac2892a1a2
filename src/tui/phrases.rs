//! How notes, joins and strings are said in few characters.

use crate::compare::judgement::{Flag, Verdict};
use crate::music::expected::{ExpectedNote, JoinKind};
use crate::music::theory::{Key, pitch_class_in, pitch_in};
use crate::progress::ladder::{Counts, Next, sentence};
use crate::session::live::snapshot::{
    Ahead, Compared, JoinCompared, JoinPlace, LadderPass, NoteView, PassView, Piece, Rest, RingView,
};
use crate::words;

/// Said before the first click sounds.
pub const HEADPHONES: &str = "Wear headphones: a click that the microphone hears is in the way.";

/// The name of the pitch nearest to a fractional MIDI note, as C major spells it, with its octave:
/// `Eb2`; `?` for what is no pitch. For what stands in no line: strings, and what the tuner hears.
pub fn pitch(midi: f64) -> String {
    pitch_in(midi, Some(Key::default()))
}

/// The same without its octave.
pub fn pitch_class(midi: f64) -> String {
    pitch_class_in(midi, Some(Key::default()))
}

/// The same with its octave, as the key of a bar of the line spells it: `C#2` in A major.
pub fn pitch_at(piece: &Piece, bar: u32, midi: f64) -> String {
    pitch_in(midi, piece.info.key_at(bar))
}

/// The same without its octave.
pub fn pitch_class_at(piece: &Piece, bar: u32, midi: f64) -> String {
    pitch_class_in(midi, piece.info.key_at(bar))
}

/// A number of milliseconds, rounded: `84`, `0` and never `-0`; `?` for what is no number.
pub fn ms(ms: f64) -> String {
    if ms.is_finite() {
        format!("{:.0}", ms.clamp(-99_999.0, 99_999.0).round() + 0.0)
    } else {
        words::UNKNOWN.to_owned()
    }
}

/// Early or late in words: `12 ms late`.
pub fn timing(timing_ms: f64) -> String {
    if !timing_ms.is_finite() {
        return "timing unknown".to_owned();
    }
    match timing_ms.round() {
        ms if ms > 0.0 => format!("{ms:.0} ms late"),
        ms if ms < 0.0 => format!("{:.0} ms early", -ms),
        _ => "in time".to_owned(),
    }
}

/// Sharp or flat in words: `4 cents sharp`.
pub fn cents(cents: f64) -> String {
    if !cents.is_finite() {
        return "pitch unclear".to_owned();
    }
    let off = cents.round();
    let unit = if off.abs() == 1.0 { "cent" } else { "cents" };
    match off {
        c if c > 0.0 => format!("{c:.0} {unit} sharp"),
        c if c < 0.0 => format!("{:.0} {unit} flat", -c),
        _ => "in tune".to_owned(),
    }
}

/// The name of a string, or its number where it has none, or the pitch where nobody knows it.
pub fn string_of(piece: &Piece, ring: &RingView) -> String {
    match ring.string {
        Some(string) => string_name(piece, string),
        None => pitch(ring.midi),
    }
}

/// The name of string `string`, from 1.
pub fn string_name(piece: &Piece, string: u8) -> String {
    let names = &piece.info.strings;
    usize::from(string)
        .checked_sub(1)
        .and_then(|at| names.get(at))
        .map_or_else(|| format!("string {string}"), Clone::clone)
}

/// Bar and beat of the note before a join: `2:4.5`.
pub fn join_place(place: JoinPlace) -> String {
    format!("{}:{}", place.bar, words::beat(place.beat))
}

/// A pass beside those before it of the same bars: `pass 4: 7 of 8 right, was 6, 6, 7; shift 2:4.5
/// 74 ms, was 110, 95, 90`; `None` where there were none.
pub fn compared(pass: &PassView) -> Option<String> {
    let Compared {
        right,
        tempo_share,
        join,
    } = pass.compared.as_ref()?;
    let before: Vec<String> = right.iter().map(usize::to_string).collect();
    let tempo = tempo_share.map_or_else(String::new, |share| {
        format!(" at {}", words::percent(share))
    });
    let mut text = format!(
        "pass {}: {} of {} right, was {}{tempo}",
        pass.number,
        pass.right,
        pass.notes,
        before.join(", ")
    );
    if let Some(join) = join {
        text.push_str("; ");
        text.push_str(&join_compared(join));
    }
    Some(text)
}

fn join_compared(join: &JoinCompared) -> String {
    // An overlap is no silence.
    let silence = |gap_ms: Option<f64>| {
        gap_ms.map_or_else(|| words::UNKNOWN.to_owned(), |gap_ms| ms(gap_ms.max(0.0)))
    };
    let before: Vec<String> = join.before_ms.iter().map(|gap| silence(*gap)).collect();
    format!(
        "{} {} {} ms, was {}",
        join.kind.map_or(words::JOIN, JoinKind::word),
        join_place(join.place),
        silence(join.gap_ms),
        before.join(", ")
    )
}

/// What comes behind the running pass, as far as it is known: `clean so far: next 84 %; else 80 %`.
pub fn ahead(ahead: &Ahead) -> String {
    match ahead {
        Ahead::Known(next) => format!("next: {}", tempo_next(next)),
        Ahead::IfClean { clean, otherwise } => format!(
            "clean so far: next {}; else {}",
            tempo_next(clean),
            tempo_next(otherwise)
        ),
        Ahead::Later { now, later } => {
            format!("next: {}, then {}", tempo_next(now), tempo_next(later))
        }
        Ahead::LaterIfClean { now, clean } => format!(
            "next: {}; this one clean: then {}",
            tempo_next(now),
            tempo_next(clean)
        ),
    }
}

fn tempo_next(next: &Next) -> String {
    let tempo = words::percent(next.share);
    if next.probe {
        format!("{tempo}, a try at the target")
    } else {
        tempo
    }
}

/// What the ladder made of a pass: `tempo 80 %, clean; next: 84 %, after three clean passes in a row`.
pub fn climbed(pass: &PassView, ladder: &LadderPass) -> String {
    let probe = if ladder.probe {
        ", a try at the target"
    } else {
        ""
    };
    format!(
        "tempo {}{probe}, {}; {}",
        words::percent(pass.tempo_share),
        ladder.outcome.word(),
        sentence(&ladder.step, &ladder.next)
    )
}

/// Passes so far: `5 clean, 2 not, 1 broken off`.
pub fn counts(counts: &Counts) -> String {
    let mut text = format!("{} clean, {} not", counts.clean, counts.faulty);
    if counts.broken > 0 {
        text.push_str(&format!(", {} broken off", counts.broken));
    }
    text
}

/// Why a rest is due, and what helps.
pub fn rest(rest: Rest) -> String {
    match rest {
        Rest::AtTheLowest(passes) => format!(
            "{passes} faulty passes in a row at the slowest tempo: rest, or take fewer bars."
        ),
        Rest::LongEnough(minutes) => {
            format!("{minutes} minutes at the same bars: rest a little, or take others.")
        }
    }
}

/// A sentence that begins with a capital.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// A note's verdict and what goes with it, in words; `written` is the note of the line.
pub fn note(view: &NoteView, piece: &Piece, written: &ExpectedNote) -> String {
    let name = |midi: f64| pitch_at(piece, written.bar, midi);
    let written_name = name(f64::from(written.midi));
    let mut parts = vec![match view.verdict {
        Verdict::Right => words::RIGHT.to_owned(),
        Verdict::Wrong => format!(
            "{}: {} for {}",
            words::WRONG,
            view.heard_midi
                .map_or_else(|| "an unclear note".to_owned(), name),
            written_name
        ),
        Verdict::Missed => format!("{} {written_name}", words::MISSED),
        Verdict::Unreached => "not reached".to_owned(),
    }];
    for flag in &view.flags {
        parts.push(match flag {
            Flag::Early | Flag::Late => timing(view.timing_ms.unwrap_or(f64::NAN)),
            Flag::Gap => format!("gap of {} ms after it", ms(view.gap_ms.unwrap_or(f64::NAN))),
            Flag::Clipped => "cut short".to_owned(),
            Flag::Bleed => "another string rings".to_owned(),
            Flag::Dead | Flag::Loud | Flag::Soft | Flag::Buzzes => flag.word().to_owned(),
            Flag::Sharp | Flag::Flat => cents(view.cents.unwrap_or(f64::NAN)),
        });
    }
    parts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_and_numbers() {
        assert_eq!(pitch(28.2), "E1");
        assert_eq!(pitch_class(38.0), "D");
        assert_eq!(pitch(f64::NAN), "?");
        assert_eq!(pitch(-3.0), "?");
        assert_eq!(ms(-0.2), "0");
        assert_eq!(ms(f64::INFINITY), "?");
        assert_eq!(timing(-11.6), "12 ms early");
        assert_eq!(cents(0.3), "in tune");
        assert_eq!(cents(-1.2), "1 cent flat");
    }
}
