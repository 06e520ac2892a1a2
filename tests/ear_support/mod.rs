//! What the tests of the ear share: listening to samples, and disturbances made in code.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::f64::consts::TAU;

use seamline::hearing::events::{Event, HeardNote};
use seamline::hearing::listener::{Listener, ListenerConfig};
use seamline::sound::synth::{Performance, PlayedNote, Voice, render};
use seamline::units::SampleRate;

/// Evidence from which an event is taken for a note: more likely than not (see `HeardNote`).
pub const SURE: f64 = 0.0;

/// All that the listener says about `samples`, delivered in blocks of 512.
pub fn events(samples: &[f32], rate: SampleRate) -> Vec<Event> {
    let mut listener = Listener::new(ListenerConfig::bass(rate)).expect("a rate within the limits");
    let mut all = Vec::new();
    for block in samples.chunks(512) {
        listener.push(block, &mut |event| all.push(event));
    }
    listener.finish(&mut |event| all.push(event));
    all
}

/// The settled events.
pub fn settled(samples: &[f32], rate: SampleRate) -> Vec<HeardNote> {
    events(samples, rate)
        .into_iter()
        .filter_map(|event| match event {
            Event::Settled(note) => Some(note),
            _ => None,
        })
        .collect()
}

/// The settled events that are notes more likely than not.
pub fn notes(samples: &[f32], rate: SampleRate) -> Vec<HeardNote> {
    let mut all = settled(samples, rate);
    all.retain(|note| note.evidence > SURE);
    all
}

/// Pitch of a note as a fractional MIDI number, NaN when it has none.
pub fn midi(note: &HeardNote) -> f64 {
    note.pitch.map_or(f64::NAN, |pitch| pitch.midi)
}

/// A small generator of even spread over -1 to 1 (xorshift64*, Vigna 2016), so that a seed gives
/// the same noise everywhere.
pub struct Noise(u64);

impl Noise {
    /// Another seed is another noise.
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    /// The next whole number.
    pub fn number(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    /// The next value, -1 to 1.
    pub fn next(&mut self) -> f32 {
        (self.number() >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    }
}

/// An amplitude from decibels.
pub fn gain(db: f64) -> f32 {
    10.0f64.powf(db / 20.0) as f32
}

/// White noise of `level_db` (root of the mean square) against full scale. An even spread over
/// ±a has a root of the mean square of a / sqrt(3).
pub fn hiss(frames: usize, level_db: f64, seed: u64) -> Vec<f32> {
    let mut noise = Noise::new(seed);
    let reach = gain(level_db) * 3.0f32.sqrt();
    (0..frames).map(|_| reach * noise.next()).collect()
}

/// Mains hum as rectified mains gives it: the fundamental's amplitude at `level_db`, harmonics
/// falling 6 dB per octave, up to the tenth.
pub fn hum(frames: usize, rate: SampleRate, hz: f64, level_db: f64) -> Vec<f32> {
    let amplitude = f64::from(gain(level_db));
    (0..frames)
        .map(|i| {
            let phase = TAU * hz * i as f64 / rate.hz();
            let sum: f64 = (1..=10)
                .map(|k| (phase * f64::from(k) + f64::from(k)).sin() / f64::from(k))
                .sum();
            (amplitude * sum) as f32
        })
        .collect()
}

/// Adds `what` to `to` from second `at_s` on.
pub fn add(to: &mut [f32], what: &[f32], at_s: f64, rate: SampleRate) {
    let at = (at_s * rate.hz()).round() as usize;
    for (sample, more) in to.iter_mut().skip(at).zip(what) {
        *sample += more;
    }
}

/// A metronome's click: 20 ms of a tone at `hz` that dies away within 4 ms.
pub fn click(rate: SampleRate, hz: f64, level_db: f64) -> Vec<f32> {
    let amplitude = f64::from(gain(level_db));
    (0..(0.020 * rate.hz()) as usize)
        .map(|i| {
            let t = i as f64 / rate.hz();
            (amplitude * (-t / 0.004).exp() * (TAU * hz * t).sin()) as f32
        })
        .collect()
}

/// Speech-like sound: a train of glottal pulses, 110 to 140 Hz, through two resonators at vowel
/// formants (Peterson & Barney 1952, J. Acoust. Soc. Am. 24, 175-184, means for men: i 270 2290,
/// a 730 1090, u 300 870, E 530 1840 Hz), in syllables of 0.17 s with pauses and a hiss for the
/// consonant before each.
pub fn talk(length_s: f64, level_db: f64, rate: SampleRate) -> Vec<f32> {
    const VOWELS: [(f64, f64); 4] = [
        (270.0, 2290.0),
        (730.0, 1090.0),
        (300.0, 870.0),
        (530.0, 1840.0),
    ];
    let frames = (length_s * rate.hz()) as usize;
    let consonants = hiss(frames, -12.0, 77);
    let mut out = vec![0.0f64; frames];
    let mut states = [[0.0f64; 2]; 2];
    let mut phase = 0.0;
    for i in 0..frames {
        let t = i as f64 / rate.hz();
        let syllable = (t / 0.23) as usize;
        let within = t - syllable as f64 * 0.23;
        let (f1, f2) = VOWELS[syllable % VOWELS.len()];
        let voiced = (0.04..0.17).contains(&within);
        let pitch_hz = 125.0 + 15.0 * (TAU * 0.7 * t).sin() - 40.0 * within;
        phase += pitch_hz / rate.hz();
        let mut x = 0.0;
        if phase >= 1.0 {
            phase -= 1.0;
            x = if voiced { 1.0 } else { 0.0 };
        }
        if within < 0.04 {
            x += 0.02 * f64::from(consonants[i]);
        }
        // Two-pole resonators of 80 Hz bandwidth in parallel.
        for (state, hz) in states.iter_mut().zip([f1, f2]) {
            let r = (-std::f64::consts::PI * 80.0 / rate.hz()).exp();
            let y = x + 2.0 * r * (TAU * hz / rate.hz()).cos() * state[0] - r * r * state[1];
            *state = [y, state[0]];
            out[i] += y;
        }
    }
    let top = out.iter().fold(0.0f64, |top, v| top.max(v.abs()));
    let scale = f64::from(gain(level_db)) / top.max(1e-9);
    out.iter().map(|v| (v * scale) as f32).collect()
}

/// A finger sliding along a wound string: a sweep of 80 ms up to nearly twice `from_hz`, with its
/// octave and a soft start and end.
pub fn squeak(rate: SampleRate, level_db: f64, from_hz: f64) -> Vec<f32> {
    let frames = (0.080 * rate.hz()) as usize;
    let amplitude = f64::from(gain(level_db));
    let mut phase = 0.0f64;
    (0..frames)
        .map(|i| {
            let part = i as f64 / frames as f64;
            phase += TAU * from_hz * (1.0 + 0.9 * part) / rate.hz();
            let swell = (std::f64::consts::PI * part).sin().powi(2);
            (amplitude * swell * (phase.sin() + 0.4 * (2.0 * phase).sin())) as f32
        })
        .collect()
}

/// A bass line for tests: string 4 is E1. Onset, MIDI note, string, fret; each rings to the next.
pub const LINE: [(u8, u8, u8); 12] = [
    (33, 3, 0),
    (36, 3, 3),
    (40, 2, 2),
    (43, 2, 5),
    (45, 2, 7),
    (43, 1, 0),
    (40, 2, 2),
    (38, 2, 0),
    (36, 3, 3),
    (33, 3, 0),
    (31, 4, 3),
    (28, 4, 0),
];

/// Seconds between the notes of [`played`].
pub const STEP_S: f64 = 0.4;

/// [`LINE`] played evenly from `lead_in_s` on, as the synth plays it.
pub fn played(lead_in_s: f64) -> Performance {
    let notes = LINE
        .iter()
        .enumerate()
        .map(|(i, (midi, string, fret))| {
            let onset_s = lead_in_s + i as f64 * STEP_S;
            PlayedNote {
                index: Some(i),
                ..PlayedNote::plain(*midi, *string, *fret, onset_s, onset_s + STEP_S)
            }
        })
        .collect();
    Performance {
        notes,
        bar1_s: lead_in_s,
        seed: 5,
        ..Performance::default()
    }
}

/// [`played`] as sound.
pub fn take(lead_in_s: f64, rate: SampleRate) -> Vec<f32> {
    render(&played(lead_in_s), &Voice::fingered(), rate)
}

/// How many of the played notes were heard: a sure event within 50 ms whose pitch is within
/// 50 cents, each event for one note (mir_eval's tolerances for transcription).
pub fn found(heard: &[HeardNote], lead_in_s: f64) -> usize {
    let mut used = vec![false; heard.len()];
    let mut right = 0;
    for (i, (wanted, _, _)) in LINE.iter().enumerate() {
        let onset_s = lead_in_s + i as f64 * STEP_S;
        let fits = |note: &HeardNote| {
            (note.onset_s - onset_s).abs() < 0.050 && (midi(note) - f64::from(*wanted)).abs() < 0.5
        };
        if let Some(k) = (0..heard.len()).find(|k| !used[*k] && fits(&heard[*k])) {
            used[k] = true;
            right += 1;
        }
    }
    right
}
