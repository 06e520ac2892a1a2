//! The ear among noise, hum, clicks, talk and broken samples: what is no note is not heard as
//! one, what is one still is, and nothing fails.
//!
//! Where a level stands without a source it is common practice, no source: -60 dBFS hiss is a
//! poor preamplifier, -50 dBFS hum a bad cable.

mod ear_support;

use ear_support::{
    LINE, SURE, add, click, events, found, hiss, hum, midi, notes, settled, squeak, take, talk,
};
use proptest::prelude::*;
use seamline::hearing::events::{Event, HeardNote};
use seamline::hearing::listener::{ListenError, Listener, ListenerConfig};
use seamline::units::{Hertz, SampleRate};
use std::f64::consts::TAU;

/// Frames per second of the takes.
const RATE: SampleRate = SampleRate(44_100);

/// Where the line begins in the takes of this file.
const LEAD_IN_S: f64 = 3.0;

/// Sure, and with a clear pitch: what a player would be told as a note.
fn told(samples: &[f32], rate: SampleRate) -> Vec<HeardNote> {
    let mut all = notes(samples, rate);
    all.retain(|note| note.pitch.is_some_and(|pitch| pitch.clarity > 0.9));
    all
}

fn shown(notes: &[HeardNote]) -> Vec<String> {
    notes
        .iter()
        .map(|note| {
            let clarity = note.pitch.map_or(0.0, |pitch| pitch.clarity);
            format!(
                "{:.3} s: {:.2}, evidence {:.1}, clarity {clarity:.2}, {:.0} dBFS",
                note.onset_s,
                midi(note),
                note.evidence,
                note.level_dbfs
            )
        })
        .collect()
}

/// All twelve notes of the line, as without the disturbance, and at most `extras` others.
fn all_heard(samples: &[f32], rate: SampleRate, extras: usize, about: &str) {
    let mut heard = told(samples, rate);
    heard.retain(|note| note.onset_s > LEAD_IN_S - 0.05);
    let right = found(&heard, LEAD_IN_S);
    assert!(
        right == LINE.len(),
        "{about}: {right} heard of {:#?}",
        shown(&heard)
    );
    assert!(
        heard.len() <= LINE.len() + extras,
        "{about}: {:#?}",
        shown(&heard)
    );
}

#[test]
fn silence_has_no_events() {
    for rate in [8_000, 44_100, 192_000].map(SampleRate) {
        for frames in [0, 1, 2, 100, 3 * rate.0 as usize] {
            let all = events(&vec![0.0; frames], rate);
            assert_eq!(all, [], "{frames} zeros at {} Hz", rate.0);
        }
        for frames in [1, 2, 100] {
            let all = told(&vec![0.5; frames], rate);
            assert_eq!(all, [], "{frames} samples at {} Hz", rate.0);
        }
    }
}

#[test]
fn noise_alone_is_no_note() {
    for level_db in [-90.0, -70.0, -50.0, -30.0, -10.0] {
        for seed in 1..=4 {
            let noise = hiss(6 * RATE.0 as usize, level_db, seed);
            let heard = told(&noise, RATE);
            assert!(heard.is_empty(), "{level_db} dB: {:#?}", shown(&heard));
            // The same, switched on: a start, but no pitch.
            let late = [vec![0.0; 50_000], noise].concat();
            let heard = told(&late, RATE);
            assert!(heard.is_empty(), "{level_db} dB: {:#?}", shown(&heard));
        }
    }
}

#[test]
fn hum_alone_is_no_note() {
    for hz in [50.0, 60.0] {
        for level_db in [-80.0, -60.0, -40.0] {
            let frames = 6 * RATE.0 as usize;
            let mut sound = hum(frames, RATE, hz, level_db);
            let heard = told(&sound, RATE);
            // A take begins somewhere in the hum: its first moment may look like a start, once.
            assert!(heard.len() <= 1, "{hz} Hz: {:#?}", shown(&heard));
            assert!(
                heard.iter().all(|note| note.onset_s < 0.05),
                "{:#?}",
                shown(&heard)
            );
            add(&mut sound, &hiss(frames, level_db - 10.0, 5), 0.0, RATE);
            let heard = told(&sound, RATE);
            assert!(heard.len() <= 1, "{hz} Hz, hiss: {:#?}", shown(&heard));
        }
    }
}

#[test]
fn hum_and_hiss_under_a_line_change_nothing() {
    for (hiss_db, hum_db) in [
        (-70.0, -60.0),
        (-60.0, -50.0),
        (-50.0, -50.0),
        (-45.0, -60.0),
    ] {
        for hz in [50.0, 60.0] {
            let mut sound = take(LEAD_IN_S, RATE);
            let frames = sound.len();
            add(&mut sound, &hiss(frames, hiss_db, 9), 0.0, RATE);
            add(&mut sound, &hum(frames, RATE, hz, hum_db), 0.0, RATE);
            all_heard(
                &sound,
                RATE,
                0,
                &format!("hiss {hiss_db}, hum {hum_db} at {hz} Hz"),
            );
        }
    }
}

/// A microphone input that does not rest at zero, from the start or from some moment on.
#[test]
fn a_constant_offset_changes_nothing() {
    for offset in [0.01, -0.2, 0.5] {
        let mut sound = take(LEAD_IN_S, RATE);
        sound.iter_mut().for_each(|s| *s += offset);
        all_heard(&sound, RATE, 0, &format!("offset {offset}"));
    }
}

#[test]
fn a_clipped_take_is_still_heard() {
    // 6, 14 and 20 dB into clipping; the last is a square wave to the ear and loses two notes.
    for (limit, least) in [(0.25f32, 12), (0.1, 11), (0.05, 10)] {
        let mut sound = take(LEAD_IN_S, RATE);
        sound.iter_mut().for_each(|s| *s = s.clamp(-limit, limit));
        let heard = told(&sound, RATE);
        let right = found(&heard, LEAD_IN_S);
        assert!(
            right >= least,
            "held at {limit}: {right} of {:#?}",
            shown(&heard)
        );
        assert!(heard.len() <= 13, "held at {limit}: {:#?}", shown(&heard));
    }
}

/// The scale of the samples means nothing: a file of floats may be at any.
#[test]
fn very_loud_and_very_soft_takes_are_heard() {
    for scale in [1e6f32, 1e3, 10.0, 0.1, 0.01] {
        let mut sound = take(LEAD_IN_S, RATE);
        sound.iter_mut().for_each(|s| *s *= scale);
        all_heard(&sound, RATE, 0, &format!("times {scale}"));
    }
}

#[test]
fn a_count_in_before_the_line_changes_nothing() {
    for (hz, level_db) in [
        (1_000.0, -12.0),
        (1_600.0, -20.0),
        (880.0, -6.0),
        (440.0, -12.0),
    ] {
        let mut sound = take(LEAD_IN_S, RATE);
        for beat in 0..4 {
            let accent = if beat == 0 { 1.5 } else { 1.0 };
            add(
                &mut sound,
                &click(RATE, hz * accent, level_db),
                1.4 + 0.4 * f64::from(beat),
                RATE,
            );
        }
        all_heard(&sound, RATE, 0, &format!("clicks at {hz} Hz"));
        let mut before = told(&sound, RATE);
        before.retain(|note| note.onset_s < LEAD_IN_S - 0.05);
        assert!(
            before.is_empty(),
            "clicks at {hz} Hz: {:#?}",
            shown(&before)
        );
    }
}

/// Talk is heard for what it is, or as something: the notes after it are the same either way.
#[test]
fn talk_before_the_line_changes_no_note_of_it() {
    for level_db in [-30.0, -20.0, -10.0] {
        let mut sound = take(LEAD_IN_S, RATE);
        add(&mut sound, &talk(2.2, level_db, RATE), 0.2, RATE);
        all_heard(&sound, RATE, 0, &format!("talk at {level_db} dB"));
    }
}

/// Squeaks in the middle of every note. The lower ones hold only when they are soft: a louder one
/// has the novelty of a pluck.
#[test]
fn squeaks_between_notes_are_no_notes() {
    for (from_hz, level_db) in [
        (1_200.0, -60.0),
        (2_000.0, -50.0),
        (3_000.0, -40.0),
        (5_000.0, -30.0),
    ] {
        let mut sound = take(LEAD_IN_S, RATE);
        for i in 0..11 {
            let at_s = LEAD_IN_S + 0.4 * f64::from(i) + 0.20;
            add(&mut sound, &squeak(RATE, level_db, from_hz), at_s, RATE);
        }
        all_heard(
            &sound,
            RATE,
            0,
            &format!("squeaks from {from_hz} Hz at {level_db} dB"),
        );
    }
}

/// Single broken samples before the line: no numbers, and up to the largest numbers there are. The
/// floor under which nothing is new follows the peak, but no faster than a few decibels a hop.
#[test]
fn broken_samples_do_not_make_the_ear_deaf() {
    for bad in [
        f32::NAN,
        f32::INFINITY,
        f32::NEG_INFINITY,
        1.0,
        -1e3,
        1e4,
        -1e6,
        f32::MAX,
    ] {
        let mut sound = take(LEAD_IN_S, RATE);
        sound[40_000] = bad;
        all_heard(&sound, RATE, 0, &format!("{bad}"));
    }
}

#[test]
fn rates_outside_of_the_limits_are_refused() {
    for given in [0, 1, 4_000, 7_999, 192_001, 384_000, u32::MAX] {
        let refused = Listener::new(ListenerConfig::bass(SampleRate(given))).err();
        assert_eq!(refused, Some(ListenError::Rate { given }));
        let words = ListenError::Rate { given }.to_string();
        for part in [given.to_string().as_str(), "8000", "192000"] {
            assert!(words.contains(part), "{words}");
        }
    }
    for given in [
        8_000, 8_269, 11_025, 12_000, 16_000, 32_000, 88_200, 176_400, 192_000,
    ] {
        assert!(
            Listener::new(ListenerConfig::bass(SampleRate(given))).is_ok(),
            "{given} Hz"
        );
    }
}

#[test]
fn pitch_ranges_that_cannot_be_listened_to_are_refused() {
    for (lowest, highest) in [
        (0.0, 400.0),
        (19.9, 400.0),
        (100.0, 100.0),
        (400.0, 100.0),
        (30.0, 5_000.0),
        (f64::NAN, 400.0),
        (30.0, f64::NAN),
        (f64::NEG_INFINITY, f64::INFINITY),
    ] {
        let config = ListenerConfig {
            lowest: Hertz(lowest),
            highest: Hertz(highest),
            ..ListenerConfig::bass(RATE)
        };
        let refused = Listener::new(config).err();
        assert!(
            matches!(refused, Some(ListenError::Range { .. })),
            "{lowest} to {highest} Hz: {refused:?}"
        );
    }
}

/// Up to here every answer is a number: 300 dB over full scale. Beyond it nothing fails, but a
/// pitch may be none.
const LARGEST: f32 = 1e15;

/// Every number of an event is one.
fn are_numbers(all: &[Event]) -> Result<(), TestCaseError> {
    for event in all {
        let numbers = match event {
            Event::Started { onset_s, at_s } => vec![*onset_s, *at_s],
            Event::Named {
                onset_s,
                midi,
                at_s,
            } => vec![*onset_s, *midi, *at_s],
            Event::Rang(ring) => {
                let mut numbers = vec![
                    ring.midi,
                    ring.from_s,
                    ring.to_s,
                    ring.level_db,
                    ring.evidence,
                ];
                numbers.extend(ring.source_onset_s);
                numbers
            }
            Event::Settled(note) => {
                let mut numbers = vec![
                    note.onset_s,
                    note.onset_uncertainty_s,
                    note.evidence,
                    note.novelty_db,
                    note.level_dbfs,
                    note.release_s,
                    note.depth_db,
                    note.heard_at_s,
                ];
                numbers.extend(note.early_fall_db);
                numbers.extend(note.named_at_s);
                numbers.extend(note.named_midi);
                numbers.extend(note.release_uncertainty_s);
                if let Some(pitch) = note.pitch {
                    numbers.extend([pitch.midi, pitch.uncertainty_cents, pitch.clarity]);
                }
                numbers
            }
        };
        prop_assert!(numbers.iter().all(|v| v.is_finite()), "{event:?}");
    }
    Ok(())
}

/// Stretches of sound of every kind, joined: what a fuzzer would find only after a long time.
fn stretch() -> impl Strategy<Value = Vec<f32>> {
    let length = 1usize..6_000;
    prop_oneof![
        // Any bits at all: huge, tiny, infinite, no numbers.
        prop::collection::vec(any::<u32>().prop_map(f32::from_bits), 1..600),
        // Within full scale.
        prop::collection::vec(-1.0f32..1.0, 1..2_000),
        (length.clone(), -2.0f32..2.0).prop_map(|(n, v)| vec![v; n]),
        (length.clone(), 0.001f64..0.5, -6.0f64..6.0).prop_map(|(n, f, power)| {
            let amplitude = 10.0f64.powf(power);
            (0..n)
                .map(|i| (amplitude * (TAU * f * i as f64).sin()) as f32)
                .collect()
        }),
        (length, any::<u64>(), -100.0f64..0.0).prop_map(|(n, seed, db)| hiss(n, db, seed)),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever comes, at whatever rate, nothing fails; unless it is absurd, every answer is a
    /// number.
    #[test]
    fn nothing_fails_on_any_samples(
        rate in prop_oneof![Just(8_000u32), Just(22_050), Just(44_100), Just(192_000), 8_000u32..=192_000],
        stretches in prop::collection::vec(stretch(), 0..8),
    ) {
        let samples = stretches.concat();
        let all = events(&samples, SampleRate(rate));
        // Squares of what is larger do not fit into single precision. Infinite samples and no
        // numbers are silence.
        if samples.iter().all(|s| !s.is_finite() || s.abs() < LARGEST) {
            are_numbers(&all)?;
        }
        let end_s = samples.len() as f64 / f64::from(rate);
        for event in &all {
            if let Event::Settled(note) = event {
                prop_assert!(note.release_s <= end_s + 0.05, "{note:?} after {end_s} s");
                prop_assert!(note.onset_s <= end_s + 0.05, "{note:?} after {end_s} s");
            }
        }
    }
}

/// The undisturbed take itself, so that a failure above is the disturbance's.
#[test]
fn the_undisturbed_take_is_heard() {
    let sound = take(LEAD_IN_S, RATE);
    all_heard(&sound, RATE, 0, "clean");
    assert!(
        settled(&sound, RATE)
            .iter()
            .filter(|n| n.evidence > SURE)
            .count()
            >= LINE.len()
    );
}
