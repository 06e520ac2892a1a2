//! A row of chord symbols and scales, read from its text.

use std::fmt;

use super::{ItemError, StudyError};
use crate::music::theory::{ChordSymbol, Degree, NameError, NoteName, Scale};

/// Most words in the name of a scale, its tonic included: `C half whole diminished`.
const SCALE_WORDS: usize = 4;

/// A chord or a scale to be practised.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// A chord.
    Chord(ChordSymbol),
    /// A scale or mode.
    Scale(Scale),
}

impl Item {
    /// The chord symbol that stands above it.
    pub(super) fn symbol(&self) -> Result<ChordSymbol, StudyError> {
        match self {
            Self::Chord(chord) if chord.tones().is_empty() => Err(StudyError::NoTones {
                chord: chord.text().to_owned(),
            }),
            Self::Chord(chord) => Ok(chord.clone()),
            Self::Scale(scale) => Ok(scale.chord()?),
        }
    }

    /// Its degrees from the root up.
    pub(super) fn degrees_up(&self) -> Vec<Degree> {
        match self {
            Self::Chord(chord) => chord.tones().iter().map(|tone| tone.degree).collect(),
            Self::Scale(scale) => scale.degrees_up(),
        }
    }

    /// The degrees it goes down by.
    pub(super) fn degrees_down(&self) -> Vec<Degree> {
        match self {
            Self::Chord(_) => self.degrees_up(),
            Self::Scale(scale) => scale.degrees_down(),
        }
    }

    /// Its root or tonic; `None` for `N.C.`.
    pub(super) fn root(&self) -> Option<NoteName> {
        match self {
            Self::Chord(chord) => chord.root(),
            Self::Scale(scale) => Some(scale.tonic()),
        }
    }

    /// The same moved along the line of fifths.
    pub(super) fn moved(&self, fifths: i32) -> Self {
        match self {
            _ if fifths == 0 => self.clone(),
            Self::Chord(chord) => Self::Chord(chord.moved(fifths)),
            Self::Scale(scale) => Self::Scale(scale.moved(fifths)),
        }
    }
}

impl fmt::Display for Item {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Chord(chord) => chord.fmt(f),
            Self::Scale(scale) => scale.fmt(f),
        }
    }
}

/// A word and its first character, counted from 0.
struct Word<'a> {
    text: &'a str,
    at: usize,
}

fn words(text: &str) -> Vec<Word<'_>> {
    let mut at = 0;
    let mut found = Vec::new();
    for piece in text.split(char::is_whitespace) {
        let chars = piece.chars().count();
        if chars > 0 {
            found.push(Word { text: piece, at });
        }
        at += chars + 1;
    }
    found
}

/// Reads chord symbols and scales with spaces between them: `Dm7 G7/B Cmaj7`, `D dorian`.
///
/// # Errors
/// The first word that is neither, with its place. No text makes it panic.
pub fn read_items(text: &str) -> Result<Vec<Item>, ItemError> {
    let words = words(text);
    let mut items = Vec::new();
    let mut next = 0;
    while next < words.len() {
        let scale = (2..=SCALE_WORDS).rev().find_map(|count| {
            let name: Vec<&str> = words
                .get(next..next + count)?
                .iter()
                .map(|w| w.text)
                .collect();
            Some((name.join(" ").parse::<Scale>().ok()?, count))
        });
        if let Some((scale, count)) = scale {
            items.push(Item::Scale(scale));
            next += count;
            continue;
        }
        match words[next].text.parse() {
            Ok(chord) => items.push(Item::Chord(chord)),
            Err(cause) => return Err(wrong(text, &words, next, cause)),
        }
        next += 1;
    }
    Ok(items)
}

/// The mistake at word `at`: of a scale when it follows a note alone in small letters.
fn wrong(text: &str, words: &[Word<'_>], at: usize, cause: NameError) -> ItemError {
    let word = &words[at];
    let tonic = at
        .checked_sub(1)
        .map(|before| &words[before])
        .filter(|before| {
            let alone = matches!(NoteName::split_from(before.text), Some((_, "")));
            alone
                && word.text.chars().count() > 1
                && word.text.chars().all(|c| c.is_lowercase() || c == '-')
        });
    let end = word.at + word.text.chars().count();
    let (from, cause) = match (tonic, cause) {
        (Some(tonic), _) => {
            let given = format!("{} {}", tonic.text, word.text);
            (tonic.at, NameError::Scale { given })
        }
        (
            None,
            NameError::Chord {
                given,
                unread,
                column,
            },
        ) => {
            let from = word.at + column.saturating_sub(1);
            (
                from,
                NameError::Chord {
                    given,
                    unread,
                    column,
                },
            )
        }
        (None, cause) => (word.at, cause),
    };
    ItemError {
        text: text.to_owned(),
        column: from + 1,
        width: (end - from.min(end)).max(1),
        cause,
    }
}
