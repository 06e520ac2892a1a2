//! Studies: lines built from chord symbols and scales.
//!
//! | file | what lives there |
//! |---|---|
//! | `item` | a text of chord symbols and scales, read with places |
//! | `settings` | what a study is to be like |
//! | `expand` | inversions one after the other, another key, a round through the keys |
//! | `key` | the key of a row of chords |
//! | `ladder` | the tones of a chord or scale along the neck |
//! | `walk` | the order in which they are played |
//! | `symmetric` | the shape of an augmented or diminished chord up the neck |
//! | `rhythm` | notes laid into full bars |
//! | `parts` | bars and notes made, in one place |
//! | `degrees` | the degree of each note of any line in the chord in force |
//!
//! No file, no clock, nothing random: the same text and settings give the same line. Used by `cli`
//! and `report`.

mod degrees;
mod error;
mod expand;
mod item;
mod key;
mod ladder;
mod parts;
mod rhythm;
mod settings;
mod symmetric;
#[cfg(test)]
mod tests;
mod walk;

use super::line::{Length, Line};
use super::theory::Key;
pub use degrees::{chords_in_force, degrees};
pub use error::{ItemError, StudyError};
use expand::{Keyed, expanded};
pub use item::{Item, read_items};
use ladder::Ladder;
use parts::{bar, line};
use rhythm::Grid;
pub use settings::{Direction, From, NoteValue, Octaves, Round, Settings};
use walk::Linked;

/// Most bars of a study: some hours of practice. It keeps a long text with a round through the keys
/// from filling the memory.
const BARS_MAX: usize = 20_000;

/// A study.
#[derive(Clone, Debug, PartialEq)]
pub struct Study {
    /// The line.
    pub line: Line,
    /// The key that the chords were taken to be in, before they were moved to another.
    pub key_found: Key,
}

/// A note to be played, with its place where the study gives it.
pub(super) type Pitch = (u8, Option<super::expected::Place>);

/// Builds the study of `items`, which [`read_items`] gives.
///
/// Output:  a line in full bars; each chord or scale begins at a bar line with its symbol, and its
///          last note is held to the end of its bar.
///
/// # Errors
/// See [`StudyError`]: what cannot be played or written, with the chord and how to mend it.
///
/// ```
/// use seamline::music::study::{Settings, read_items, study};
/// use seamline::music::line::write_text;
///
/// let items = read_items("Dm7 G7/B Cmaj7")?;
/// let text = write_text(&study(&items, &Settings::default())?.line);
/// assert!(text.ends_with(
///     "@Dm7 1/8 D2 F2 A2 C3 D3 C3 A2 F2\n1/1 D2\n\
///      @G7/B 1/8 B1 D2 F2 G2 B2 G2 F2 D2\n1/1 B1\n\
///      @Cmaj7 1/8 C2 E2 G2 B2 C3 B2 G2 E2\n1/1 C2\n"
/// ));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn study(items: &[Item], settings: &Settings) -> Result<Study, StudyError> {
    let grid = Grid::new(settings)?;
    let key_found = key::key_of(items);
    let mut bars = Vec::new();
    let mut linked: Option<Linked> = None;
    for Keyed { item, key } in expanded(items, key_found, settings)? {
        let symbol = item.symbol()?;
        let ladder = Ladder::new(&item, &symbol, settings);
        let patterns: Vec<Vec<Pitch>> = if settings.up_the_neck {
            symmetric::shapes(&ladder, settings)?
        } else if settings.linked {
            let (notes, next) = walk::link(&ladder, settings, linked)?;
            linked = Some(next);
            vec![anywhere(&notes)]
        } else {
            vec![anywhere(&walk::alone(&ladder, settings)?)]
        };
        let mut first = Some(symbol);
        for pattern in patterns {
            for events in grid.bars(&pattern, settings.bars, &item)? {
                let chord = first.take().map(|symbol| (Length::ZERO, symbol));
                bars.push(bar(settings.meter, key, chord, events));
            }
        }
        if bars.len() > BARS_MAX {
            return Err(StudyError::TooLong { most: BARS_MAX });
        }
    }
    Ok(Study {
        line: line(settings, bars)?,
        key_found,
    })
}

/// Notes that the planner of places may put where it likes.
fn anywhere(notes: &[u8]) -> Vec<Pitch> {
    notes.iter().map(|&midi| (midi, None)).collect()
}
