//! Numbers as reports say them.

use crate::compare::judgement::{Timing, TimingMode};

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

/// A figure with one decimal, without `.0`.
pub(super) fn one_decimal(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
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
}
