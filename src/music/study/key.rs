//! The key of a row of chords and scales.

use super::Item;
use crate::music::theory::{Degree, Key, Mode, NoteName};

/// What a chord on the tonic at the end counts against a tone that lies in the signature. Raising
/// it makes the last chord the tonic more often. Common practice of cadences, no source.
const LAST_IS_TONIC: i32 = 2;
/// The same for the first chord.
const FIRST_IS_TONIC: i32 = 1;

/// The key in which most tones of `items` need no accidental, the last and the first chord counting
/// as its tonic where they can; of several, that with the fewest sharps or flats. Chords on one
/// root alone are in its key, major or minor by their third.
pub(super) fn key_of(items: &[Item]) -> Key {
    let mut roots: Vec<NoteName> = items.iter().filter_map(Item::root).collect();
    roots.dedup();
    let chords_alone = items.iter().all(|item| matches!(item, Item::Chord(_)));
    if let ([root], true) = (roots.as_slice(), chords_alone)
        && let Some(key) = key_on(*root, mode_of(&items[0]))
    {
        return key;
    }
    let mut best = (i32::MIN, Key::default());
    // In order of sharps and flats: the first of equals stays.
    for accidentals in 0..=7_i8 {
        for fifths in [accidentals, -accidentals] {
            for mode in [Mode::Major, Mode::Minor] {
                let Some(key) = Key::new(fifths, mode) else {
                    continue;
                };
                let score = score(items, i32::from(fifths), key, mode);
                if score > best.0 {
                    best = (score, key);
                }
            }
        }
    }
    best.1
}

fn score(items: &[Item], fifths: i32, key: Key, mode: Mode) -> i32 {
    // A signature holds the seven names from one fifth below its major tonic to five above.
    let within = |name: NoteName| (fifths - 1..=fifths + 5).contains(&name.fifths());
    let mut score = 0;
    for item in items {
        let Some(root) = item.root() else { continue };
        let names = item
            .degrees_down()
            .into_iter()
            .map(|degree| degree.above(root));
        score += names.filter(|name| within(*name)).count() as i32;
    }
    let is_tonic = |item: Option<&Item>| {
        item.is_some_and(|item| {
            item.root() == Some(key.tonic()) && mode_of(item) == mode && may_be_tonic(item)
        })
    };
    score
        + LAST_IS_TONIC * i32::from(is_tonic(items.last()))
        + FIRST_IS_TONIC * i32::from(is_tonic(items.first()))
}

/// Whether an item can stand on the tonic of a key: a mode such as dorian stands on another step.
fn may_be_tonic(item: &Item) -> bool {
    let Item::Scale(scale) = item else {
        return true;
    };
    let name = scale.to_string();
    ["major", "minor", "blues"]
        .iter()
        .any(|word| name.contains(word))
}

/// Minor where the third is.
fn mode_of(item: &Item) -> Mode {
    let minor_third = Degree::new(3, -1);
    let minor = item
        .degrees_up()
        .into_iter()
        .any(|degree| Some(degree) == minor_third);
    if minor { Mode::Minor } else { Mode::Major }
}

/// The key on `tonic`; spelled anew where it would have more than seven sharps or flats.
fn key_on(tonic: NoteName, mode: Mode) -> Option<Key> {
    let raised = if mode == Mode::Minor { 3 } else { 0 };
    let fifths = tonic.fifths() - raised;
    [fifths, fifths - 12, fifths + 12]
        .into_iter()
        .find_map(|fifths| Key::new(i8::try_from(fifths).ok()?, mode))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::study::read_items;

    /// Progressions whose key any teacher would name. Common practice, no source.
    #[test]
    fn the_key_of_a_row_of_chords() {
        for (text, key) in [
            ("Dm7 G7 Cmaj7", "C major"),
            ("Dm7 G7/B Cmaj7", "C major"),
            ("Dm7b5 G7 Cm7", "C minor"),
            ("Am7 D7 Gmaj7", "G major"),
            ("Bbmaj7 Gm7 Cm7 F7", "Bb major"),
            ("C7", "C major"),
            ("Am7", "A minor"),
            ("C F G", "C major"),
            ("Em C G D", "E minor"),
            ("D dorian", "C major"),
            ("A natural minor", "A minor"),
            ("A melodic minor", "A minor"),
            ("A harmonic minor", "A minor"),
            ("G blues", "G minor"),
            ("C mixolydian", "F major"),
            ("Eb major", "Eb major"),
            ("F#7", "F# major"),
            ("D#7", "Eb major"),
        ] {
            assert_eq!(
                key_of(&read_items(text).unwrap()).to_string(),
                key,
                "{text}"
            );
        }
    }
}
