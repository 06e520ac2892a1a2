//! The words that reports use for verdicts, flags and findings.

use crate::compare::judgement::{
    Beginning, BleedKind, FindingKind, Flag, Timing, TimingMode, Verdict,
};
use crate::music::expected::JoinKind;
use crate::music::theory::Key;

/// The word for a verdict, as in the report that other programs read; `None` where there is none.
pub(super) fn verdict(verdict: Verdict) -> Option<&'static str> {
    match verdict {
        Verdict::Right => Some("right"),
        Verdict::Wrong => Some("wrong"),
        Verdict::Missed => Some("missed"),
        Verdict::Unreached => None,
    }
}

/// How a pass began, as in the report that other programs read.
pub(super) fn beginning(began: Beginning) -> &'static str {
    match began {
        Beginning::Start => "start",
        Beginning::Loop => "loop",
        Beginning::WentBack => "went back",
        Beginning::WentOn => "went on",
    }
}

/// The word for a flag, as in the report that other programs read.
pub(super) fn flag(flag: Flag) -> &'static str {
    match flag {
        Flag::Early => "early",
        Flag::Late => "late",
        Flag::Gap => "gap",
        Flag::Clipped => "clipped",
        Flag::Bleed => "bleed",
        Flag::Dead => "dead",
        Flag::Sharp => "sharp",
        Flag::Flat => "flat",
    }
}

/// The word for how the take's time was laid over the line.
pub(super) fn mode(mode: TimingMode) -> &'static str {
    match mode {
        TimingMode::Free => "free",
        TimingMode::Click => "click",
    }
}

/// Where the player lay against the click, where that is known: "12 ms ahead of the click, off-beats
/// 20", "4 ms behind the click, off-beats 9 ahead".
pub(super) fn beside_the_click(timing: &Timing) -> Option<String> {
    let side = |ms: f64| match ms {
        ms if ms < 0.0 => "ahead",
        _ => "behind",
    };
    if timing.mode == TimingMode::Free {
        return None;
    }
    let rounded = |ms: Option<f64>| ms.map(f64::round).filter(|ms| ms.is_finite());
    let mean = rounded(timing.mean_ms)?;
    let mut text = if mean == 0.0 {
        "on the click".to_owned()
    } else {
        let of = if mean < 0.0 { " of" } else { "" };
        format!("{} ms {}{of} the click", mean.abs(), side(mean))
    };
    if let Some(off) = rounded(timing.offbeats_ms) {
        text.push_str(&match off {
            0.0 => ", off-beats on it".to_owned(),
            off if mean != 0.0 && side(off) == side(mean) => format!(", off-beats {}", off.abs()),
            off => format!(", off-beats {} {}", off.abs(), side(off)),
        });
    }
    Some(text)
}

/// The words for why a string rang, as in the report that other programs read.
pub(super) fn bleed(kind: BleedKind) -> &'static str {
    match kind {
        BleedKind::OpenString => "open string",
        BleedKind::LeftRinging => "left ringing",
        BleedKind::StruckAlong => "struck along",
    }
}

/// The word a finding is listed under.
pub(super) fn finding(kind: FindingKind) -> &'static str {
    match kind {
        FindingKind::Take => "take",
        FindingKind::Gap => "gap",
        FindingKind::Wrong => "wrong",
        FindingKind::Missed => "missed",
        FindingKind::Extra => "extra",
        FindingKind::Bleed => "bleed",
        FindingKind::Dead => "dead",
        FindingKind::Clipped => "clipped",
        FindingKind::Timing => "timing",
        FindingKind::Tuning => "tuning",
    }
}

/// A beat as it is counted: `3`, `3.5`.
pub(super) fn beat(beat: f64) -> String {
    let text = format!("{beat:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The name of the semitone nearest to `midi`, without its octave; `?` when it is not a number.
///
/// A heard pitch has no spelling of its own, so each black key goes by the name it most often has
/// in the keys up to four accidentals: C#, Eb, F#, Ab, Bb. Common practice, no source.
pub(super) fn pitch(midi: f64) -> &'static str {
    const NAMES: [&str; 12] = [
        "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
    ];
    if !midi.is_finite() {
        return "?";
    }
    NAMES[(midi.round().rem_euclid(12.0)) as usize % 12]
}

/// The same as a key spells it; as [`pitch`] when no key is known.
pub(super) fn spelled(midi: f64, key: Option<Key>) -> String {
    match key {
        Some(key) if midi.is_finite() => {
            let midi = midi.round().clamp(0.0, 127.0) as u8;
            key.spell(midi).name.to_string()
        }
        _ => pitch(midi).to_owned(),
    }
}

/// "bar 3", "bars 3 to 5".
pub(super) fn bars((from, to): (u32, u32)) -> String {
    if from == to {
        format!("bar {from}")
    } else {
        format!("bars {from} to {to}")
    }
}

/// How often: "once", "four times", "12 times".
pub(super) fn times(count: usize) -> String {
    const WORDS: [&str; 8] = [
        "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    ];
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        _ => match count.checked_sub(3).and_then(|at| WORDS.get(at)) {
            Some(word) => format!("{word} times"),
            None => format!("{count} times"),
        },
    }
}

/// The joins of a kind: "shifts", "joins on one place".
pub(super) fn joins(kind: JoinKind) -> &'static str {
    match kind {
        JoinKind::SamePlace => "joins within one place",
        JoinKind::Crossing => "crossings",
        JoinKind::Roll => "rolls",
        JoinKind::Stretch => "stretches",
        JoinKind::Shift => "shifts",
        JoinKind::Open => "joins with an open string",
        JoinKind::Repeat => "repeats",
    }
}

/// `one` or `many`, as the count asks.
pub(super) fn plural<'a>(count: usize, one: &'a str, many: &'a str) -> &'a str {
    if count == 1 { one } else { many }
}

/// A figure with one decimal, without `.0`.
pub(super) fn one_decimal(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sign says the side: late is positive.
    #[test]
    fn where_the_player_lies_is_said_in_words() {
        let told = |mode, mean_ms, offbeats_ms| {
            beside_the_click(&Timing {
                offset_s: None,
                tempo_bpm: None,
                tempo_from_to_bpm: None,
                mode,
                spread_ms: None,
                mean_ms,
                offbeats_ms,
            })
        };
        for (mean_ms, offbeats_ms, words) in [
            (-12.3, Some(-19.6), "12 ms ahead of the click, off-beats 20"),
            (4.0, Some(-9.0), "4 ms behind the click, off-beats 9 ahead"),
            (4.0, Some(0.2), "4 ms behind the click, off-beats on it"),
            (-0.4, Some(7.0), "on the click, off-beats 7 behind"),
            (6.0, None, "6 ms behind the click"),
        ] {
            let got = told(TimingMode::Click, Some(mean_ms), offbeats_ms);
            assert_eq!(got.as_deref(), Some(words));
        }
        assert_eq!(told(TimingMode::Click, None, None), None);
        assert_eq!(told(TimingMode::Free, Some(0.0), None), None);
    }

    /// MIDI 1.0 Detailed Specification: note 60 is middle C; the open strings of a bass are
    /// E A D G (28, 33, 38, 43).
    #[test]
    fn pitches_by_name() {
        for (midi, name) in [
            (60.0, "C"),
            (28.0, "E"),
            (33.0, "A"),
            (38.0, "D"),
            (43.0, "G"),
            (34.4, "Bb"),
            (-0.4, "C"),
        ] {
            assert_eq!(pitch(midi), name, "midi {midi}");
        }
        assert_eq!(pitch(f64::NAN), "?");
    }
}
