//! The ear answers to the samples, not to how they are delivered: bit-equal events for every cut
//! into blocks, at every rate.

mod ear_support;

use ear_support::{Noise, found, hiss, hum, take};
use seamline::hearing::events::{Event, HeardNote};
use seamline::hearing::listener::{Listener, ListenerConfig};
use seamline::units::SampleRate;

/// Lowest and highest rate, the usual ones and their halves and doubles.
const RATES: [u32; 7] = [8_000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000];

/// Seed of the random cuts.
const SEED: u64 = 20_260_101;

/// The line on the synth over hum and hiss, loud enough for events that are no notes.
fn sound(rate: SampleRate) -> Vec<f32> {
    let mut sound = take(0.3, rate);
    let frames = sound.len();
    let noise = hiss(frames, -50.0, 3);
    let mains = hum(frames, rate, 50.0, -55.0);
    for ((s, n), m) in sound.iter_mut().zip(noise).zip(mains) {
        *s += n + m;
    }
    sound
}

fn listener(rate: SampleRate) -> Listener {
    Listener::new(ListenerConfig::bass(rate)).expect("a rate within the limits")
}

/// Listens to `samples` cut into the lengths that `next` gives.
fn cut(samples: &[f32], rate: SampleRate, mut next: impl FnMut() -> usize) -> Vec<Event> {
    let mut listener = listener(rate);
    let mut events = Vec::new();
    let mut rest = samples;
    while !rest.is_empty() {
        let (now, later) = rest.split_at(next().min(rest.len()));
        listener.push(now, &mut |event| events.push(event));
        rest = later;
    }
    listener.finish(&mut |event| events.push(event));
    events
}

/// An event to the last bit: the shortest text that reads back as the same float differs when the
/// bits do (Rust's `Debug` of floats), and tells -0 from 0.
fn bits(events: &[Event]) -> Vec<String> {
    events.iter().map(|event| format!("{event:?}")).collect()
}

fn settled(events: &[Event]) -> Vec<HeardNote> {
    events
        .iter()
        .filter_map(|event| match event {
            Event::Settled(note) => Some(note.clone()),
            _ => None,
        })
        .collect()
}

fn same(got: &[Event], wanted: &[String], about: &str) {
    let got = bits(got);
    assert_eq!(got.len(), wanted.len(), "{about}: events");
    for (g, w) in got.iter().zip(wanted) {
        assert_eq!(g, w, "{about}");
    }
}

#[test]
fn the_cut_into_blocks_does_not_show() {
    for rate in RATES.map(SampleRate) {
        let samples = sound(rate);
        let whole = cut(&samples, rate, || usize::MAX);
        let wanted = bits(&whole);
        // The comparison must have something to compare: all three kinds of event, and the line.
        assert!(whole.iter().any(|e| matches!(e, Event::Started { .. })));
        assert!(whole.iter().any(|e| matches!(e, Event::Named { .. })));
        let heard = found(&settled(&whole), 0.3);
        assert!(heard >= 10, "{rate:?}: only {heard} of 12 notes were heard");
        for frames in [1, 7, 64, 441, 512, 4_096] {
            let about = format!("{} Hz, blocks of {frames}", rate.0);
            same(&cut(&samples, rate, || frames), &wanted, &about);
        }
        for seed in SEED..SEED + 3 {
            let mut random = Noise::new(seed);
            let about = format!("{} Hz, random blocks, seed {seed}", rate.0);
            // Empty blocks among them.
            let next = || (random.number() >> 20) as usize % 3_000;
            same(&cut(&samples, rate, next), &wanted, &about);
        }
    }
}

#[test]
fn the_same_input_gives_the_same_events() {
    for rate in [SampleRate(22_050), SampleRate(48_000)] {
        let samples = sound(rate);
        let wanted = bits(&cut(&samples, rate, || 512));
        same(&cut(&samples, rate, || 512), &wanted, "again");
    }
}

/// Lost frames are silence: a gap gives what as many zeros give, inside a note and between notes.
#[test]
fn a_gap_is_as_many_zeros() {
    for rate in [SampleRate(11_025), SampleRate(44_100), SampleRate(96_000)] {
        let samples = sound(rate);
        for (at_s, lost_s) in [(0.0, 0.5), (1.07, 0.003), (1.2, 0.4), (2.31, 1.7)] {
            let (before, after) = samples.split_at((at_s * rate.hz()) as usize);
            let lost = (lost_s * rate.hz()) as usize;
            let zeros = [before, &vec![0.0; lost], after].concat();
            let wanted = bits(&cut(&zeros, rate, || 512));
            let mut listener = listener(rate);
            let mut events = Vec::new();
            listener.push(before, &mut |event| events.push(event));
            listener.gap(lost as u64, &mut |event| events.push(event));
            listener.push(after, &mut |event| events.push(event));
            listener.finish(&mut |event| events.push(event));
            let about = format!("{} Hz, {lost_s} s lost at {at_s} s", rate.0);
            same(&events, &wanted, &about);
        }
    }
}

/// What is no number is silence, sample by sample.
#[test]
fn what_is_no_number_is_zero() {
    let rate = SampleRate(44_100);
    let mut samples = sound(rate);
    let mut zeroed = samples.clone();
    for (i, bad) in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY]
        .into_iter()
        .cycle()
        .take(200)
        .enumerate()
    {
        samples[i * 997 + 5] = bad;
        zeroed[i * 997 + 5] = 0.0;
    }
    let wanted = bits(&cut(&zeroed, rate, || 512));
    same(&cut(&samples, rate, || 512), &wanted, "no numbers");
}

/// Time passes in frames: a second of silence before the take moves every onset by a second.
/// Not to the bit, since hops then fall elsewhere on the sound; within 2 ms, what an onset may be
/// off.
#[test]
fn silence_before_moves_everything_by_its_length() {
    let rate = SampleRate(44_100);
    let samples = take(0.3, rate);
    let later = [vec![0.0; 44_100 + 317], samples.clone()].concat();
    let moved_s = (44_100.0 + 317.0) / 44_100.0;
    let sure = |samples: &[f32]| {
        let mut notes = settled(&cut(samples, rate, || 512));
        notes.retain(|note| note.evidence > 0.0);
        notes
    };
    let (soon, late) = (sure(&samples), sure(&later));
    assert_eq!(soon.len(), late.len());
    for (a, b) in soon.iter().zip(&late) {
        let off_s = b.onset_s - a.onset_s - moved_s;
        assert!(off_s.abs() < 0.002, "{:.3} s: {off_s}", a.onset_s);
    }
}

/// Being asked what it would say now changes nothing of what it says later, and what it says then
/// is what it would have said at the end.
#[test]
fn asking_meanwhile_changes_nothing() {
    let rate = SampleRate(22_050);
    let sound = sound(rate);
    let whole = cut(&sound, rate, || 512);
    let mut asked = listener(rate);
    let mut events = Vec::new();
    for (n, block) in sound.chunks(512).enumerate() {
        asked.push(block, &mut |event| events.push(event));
        if n % 20 == 0 {
            let soon = settled(&asked.so_far());
            let to = ((n + 1) * 512).min(sound.len());
            let ended = settled(&cut(&sound[..to], rate, || 512));
            let rest = &ended[settled(&events).len()..];
            assert_eq!(soon, rest, "after {to} frames");
        }
    }
    asked.finish(&mut |event| events.push(event));
    assert_eq!(bits(&events), bits(&whole));
}

/// The first name of a settled note is the one that was said soon, to the bit, and no other note has
/// it; a note that was named when it was settled has its settled pitch.
#[test]
fn the_first_name_is_the_one_that_was_said() {
    for rate in [SampleRate(22_050), SampleRate(48_000)] {
        let events = cut(&sound(rate), rate, || 512);
        let said: Vec<(f64, f64)> = events
            .iter()
            .filter_map(|event| match event {
                Event::Named { midi, at_s, .. } => Some((*at_s, *midi)),
                _ => None,
            })
            .collect();
        let mut named_soon = Vec::new();
        for note in settled(&events) {
            let Some(name) = note.named_at_s.zip(note.named_midi) else {
                assert_eq!((note.named_at_s, note.named_midi), (None, None));
                continue;
            };
            if said.contains(&name) {
                named_soon.push(name.0);
            } else {
                let pitch = note.pitch.expect("a note named late has its settled pitch");
                assert_eq!(name.1, pitch.midi, "the note at {} s", note.onset_s);
            }
        }
        let count = named_soon.len();
        named_soon.dedup();
        assert_eq!(named_soon.len(), count, "one name for two notes");
        assert!(count >= 10, "{rate:?}: {count} of 12 notes named soon");
    }
}
