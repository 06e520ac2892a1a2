//! One row of chords made into the rows that are practised: inversion after inversion, in another
//! key, through all keys.

use super::{From, Item, Settings, StudyError};
use crate::music::theory::{Key, Mode};

/// Flats and sharps of the keys that a round goes through: from six flats to five sharps, so that
/// each of the twelve is named once. Common practice of the circle of fifths, no source.
const FEWEST_FIFTHS: i32 = -6;

/// An item in its key.
pub(super) struct Keyed {
    pub item: Item,
    pub key: Key,
}

/// The items as they are practised, in order.
pub(super) fn expanded(
    items: &[Item],
    found: Key,
    settings: &Settings,
) -> Result<Vec<Keyed>, StudyError> {
    if items.is_empty() {
        return Err(StudyError::Nothing);
    }
    let home = settings.key.unwrap_or(found);
    if home.mode() != found.mode() {
        return Err(StudyError::OtherMode {
            found,
            wanted: home,
            minor: found.mode() == Mode::Minor,
        });
    }
    let keys = match settings.round {
        None => vec![home],
        Some(round) => (0..12)
            .map(|step| moved(home, round.fifths() * step))
            .collect(),
    };
    let mut all = Vec::new();
    for key in keys {
        let by = i32::from(key.fifths()) - i32::from(found.fifths());
        for item in items {
            let item = item.moved(by);
            match (&item, settings.from) {
                (Item::Chord(chord), From::Each) => {
                    let inversions = chord.inversions().into_iter();
                    all.extend(inversions.map(|chord| Keyed {
                        item: Item::Chord(chord),
                        key,
                    }));
                }
                _ => all.push(Keyed { item, key }),
            }
        }
    }
    Ok(all)
}

/// The key `by` fifths further; home keeps its own name, all others have up to six flats or five
/// sharps.
fn moved(home: Key, by: i32) -> Key {
    if by == 0 {
        return home;
    }
    let fifths = i32::from(home.fifths()) + by;
    let named = FEWEST_FIFTHS + (fifths - FEWEST_FIFTHS).rem_euclid(12);
    Key::new(named as i8, home.mode()).unwrap_or(home)
}
