//! Where the player lies against a click, with a click that is heard in the take and with one whose
//! moments are known. The takes are put together from exact moments, so that what must come out is
//! closed form.

mod compare_support;

use compare_support::{Chance, Kind, event, exactly, finish, line};
use seamline::compare::clicks::ClickedPass;
use seamline::compare::judgement::{Judgement, TimingMode};
use seamline::compare::{Settings, judge};
use seamline::hearing::events::HeardNote;
use seamline::music::expected::ExpectedNote;

/// A beat at 100 to the minute, in seconds.
const BEAT_S: f64 = 0.6;
/// Where bar 1 lies by the click, in seconds of the take.
const ZERO_S: f64 = 4.0;
/// How far the player lies ahead of the click on the beats, in seconds.
const AHEAD_S: f64 = 0.012;
/// How far the notes between the beats lie ahead of the half beats, in seconds.
const OFFBEATS_AHEAD_S: f64 = 0.020;

fn eighths() -> Vec<ExpectedNote> {
    line(Kind::Scale, 6, 100.0, &mut Chance(5))
}

/// The line, its off-beats behind the beat by this share of it, ahead of the click.
fn played(line: &[ExpectedNote], place: f64) -> Vec<HeardNote> {
    let mut heard = exactly(line, ZERO_S);
    for (note, written) in heard.iter_mut().zip(line) {
        note.onset_s += if written.swings {
            (place - 0.5) * BEAT_S - OFFBEATS_AHEAD_S
        } else {
            -AHEAD_S
        };
        // A note adds its own to what rings, a click next to nothing.
        note.features.fresh_share = 0.5;
    }
    heard
}

/// Four clicks before the first bar, as the ear has them: they die at once and have no pitch.
fn counted_in(heard: &mut Vec<HeardNote>) {
    for beat in 1..=4 {
        let mut click = event(ZERO_S - f64::from(beat) * BEAT_S, None, -1.0);
        click.early_fall_db = Some(25.0);
        click.level_dbfs = -50.0;
        heard.push(click);
    }
}

fn clicked() -> Settings {
    Settings {
        mode: TimingMode::Click,
        ..Settings::default()
    }
}

fn assert_lies(judgement: &Judgement, place: f64, about: &str) {
    let timing = &judgement.passes[0].timing;
    let mean_ms = timing.mean_ms.unwrap_or(f64::NAN);
    // The mean is that of all notes where the off-beats are not taken to be swung.
    assert!((-20.1..=-11.9).contains(&mean_ms), "{about}: {timing:?}");
    let offbeats_ms = timing.offbeats_ms.unwrap_or(f64::NAN);
    let wanted_ms = 1e3 * ((place - 0.5) * BEAT_S - OFFBEATS_AHEAD_S);
    assert!((offbeats_ms - wanted_ms).abs() < 0.1, "{about}: {timing:?}");
}

/// A click that is heard says where the player lies, straight or swung.
#[test]
fn a_click_that_is_heard_tells_where_the_player_lies() {
    let line = eighths();
    for ratio in [1.0, 1.6, 2.0] {
        let place = ratio / (1.0 + ratio);
        let mut heard = played(&line, place);
        counted_in(&mut heard);
        finish(&mut heard);
        let judgement = judge(&line, &heard, &clicked());
        assert_eq!(judgement.tally.right, line.len(), "{ratio} : 1");
        assert_lies(&judgement, place, &format!("{ratio} : 1"));
    }
}

/// So does a click whose moments are known, when the way from click to ear was measured.
#[test]
fn a_known_click_tells_where_the_player_lies() {
    let line = eighths();
    for (measured, ratio) in [(true, 1.0), (true, 1.6), (false, 1.0)] {
        let place = ratio / (1.0 + ratio);
        let mut heard = played(&line, place);
        finish(&mut heard);
        let settings = Settings {
            clicks: vec![ClickedPass {
                from_s: 0.0,
                to_s: 60.0,
                zero_s: ZERO_S,
                stretch: 1.0,
                measured,
                clicks_s: Vec::new(),
                notes: None,
            }],
            ..clicked()
        };
        let judgement = judge(&line, &heard, &settings);
        if measured {
            assert_lies(&judgement, place, &format!("{ratio} : 1"));
        } else {
            let timing = &judgement.passes[0].timing;
            assert_eq!((timing.mean_ms, timing.offbeats_ms), (None, None));
        }
    }
}

/// Without a click, or with none that was heard, nothing is said; nor of fewer than six off-beats.
#[test]
fn what_cannot_be_told_is_not() {
    let line = eighths();
    let mut heard = played(&line, 0.5);
    finish(&mut heard);
    let free = judge(&line, &heard, &Settings::default());
    let unheard = judge(&line, &heard, &clicked());
    assert_eq!(free.timing.offbeats_ms, None);
    assert_eq!(
        (unheard.timing.mean_ms, unheard.timing.offbeats_ms),
        (None, None)
    );
    for (offbeats, told) in [(5, false), (6, true)] {
        let last = line.iter().filter(|note| note.swings).nth(offbeats - 1);
        let short = &line[..=last.expect("off-beats enough").index];
        let mut heard = played(short, 0.5);
        counted_in(&mut heard);
        finish(&mut heard);
        let judgement = judge(short, &heard, &clicked());
        assert!(judgement.timing.mean_ms.is_some(), "{offbeats}");
        assert_eq!(judgement.timing.offbeats_ms.is_some(), told, "{offbeats}");
    }
}
