//! Which key a row of notes is in, to spell them by.
//!
//! # Source
//! Krumhansl and Kessler (1982), *Tracing the dynamic changes in perceived tonal organization*,
//! Psychological Review 89, 334-368: probe-tone ratings; the key whose ratings agree best with how
//! long each pitch class sounds (Krumhansl 1990, chapter 4; from memory).

use crate::music::theory::{Key, Mode};

/// Ratings of the twelve pitch classes from the keynote up, in a major and in a minor key.
const MAJOR: [f64; 12] = [
    6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88,
];
const MINOR: [f64; 12] = [
    6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17,
];

/// The key of some notes, each a MIDI note and how long it sounds; C major of none.
pub(crate) fn find(notes: &[(u8, f64)]) -> Key {
    let mut sounds = [0.0f64; 12];
    for &(midi, length) in notes {
        sounds[usize::from(midi % 12)] += length;
    }
    if sounds.iter().all(|length| *length <= 0.0) {
        return Key::default();
    }
    let mut best = (f64::NEG_INFINITY, Key::default());
    // Of keys that sound the same the one with fewer signs: five flats to six sharps.
    for fifths in -5..=6i8 {
        for (mode, ratings) in [(Mode::Major, &MAJOR), (Mode::Minor, &MINOR)] {
            let Some(key) = Key::new(fifths, mode) else {
                continue;
            };
            let minor = if mode == Mode::Minor { 9 } else { 0 };
            let tonic = (i32::from(fifths) * 7 + minor).rem_euclid(12) as usize;
            let agreement = correlation(&sounds, ratings, tonic);
            if agreement > best.0 {
                best = (agreement, key);
            }
        }
    }
    best.1
}

fn correlation(sounds: &[f64; 12], ratings: &[f64; 12], tonic: usize) -> f64 {
    let mean = |of: &[f64; 12]| of.iter().sum::<f64>() / 12.0;
    let (a, b) = (mean(sounds), mean(ratings));
    let (mut ab, mut aa, mut bb) = (0.0, 1e-12, 1e-12);
    for step in 0..12 {
        let (x, y) = (sounds[(tonic + step) % 12] - a, ratings[step] - b);
        ab += x * y;
        aa += x * x;
        bb += y * y;
    }
    ab / (aa * bb).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: a scale up to its keynote, which is held, is in its key.
    #[test]
    fn a_scale_is_in_its_key() {
        let scale = |tonic: u8, steps: [u8; 8]| -> Vec<(u8, f64)> {
            let notes = steps.map(|step| (tonic + step, 1.0));
            let mut notes = notes.to_vec();
            notes[7].1 = 3.0;
            notes
        };
        let major = [0, 2, 4, 5, 7, 9, 11, 12];
        let minor = [0, 2, 3, 5, 7, 8, 11, 12];
        for (notes, name) in [
            (scale(36, major), "C major"),
            (scale(34, major), "Bb major"),
            (scale(40, major), "E major"),
            (scale(33, minor), "A minor"),
            (scale(31, minor), "G minor"),
        ] {
            assert_eq!(find(&notes).to_string(), name);
        }
        assert_eq!(find(&[]), Key::default());
    }
}
