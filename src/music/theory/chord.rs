//! Chord symbols: their tones, spelled, with the degree of each; the text is kept as written.

use std::fmt;
use std::str::FromStr;

use super::chord_words::{self, Unread};
use super::interval::Degree;
use super::{Key, NameError, NoteName, SpelledPitch};

/// A chord symbol above a line, such as `Am7`, `D7/F#` or `N.C.` (no chord).
///
/// ```
/// use seamline::music::theory::ChordSymbol;
///
/// let chord: ChordSymbol = "Gb7".parse()?;
/// let tones: Vec<String> = chord
///     .tones()
///     .iter()
///     .map(|tone| format!("{} {}", tone.degree, tone.name))
///     .collect();
/// assert_eq!(tones, ["R Gb", "3 Bb", "5 Db", "b7 Fb"]);
/// # Ok::<(), seamline::music::theory::NameError>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct ChordSymbol {
    text: String,
    root: Option<NoteName>,
    quality: String,
    tones: Vec<ChordTone>,
    bass: Option<NoteName>,
}

/// A tone of a chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ChordTone {
    /// How it stands to the root.
    pub degree: Degree,
    /// Its name, spelled by its degree.
    pub name: NoteName,
}

/// What a note is to the chord above it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoteDegree {
    /// Its degree; of a note that is no chord tone, within an octave (`2`, `4`, `b6`).
    pub degree: Degree,
    /// Its name as the chord spells it, or the key where it is no chord tone.
    pub name: NoteName,
    /// Whether the symbol names it, as a tone or as the bass behind its slash.
    pub in_chord: bool,
}

impl NoteDegree {
    /// The MIDI note `midi` spelled as the chord spells it: Fb2 in Gb7; `None` when it has another
    /// name altogether.
    pub fn pitch(&self, midi: u8) -> Option<SpelledPitch> {
        let pitch = SpelledPitch::with_name(self.name, midi);
        (pitch.midi() == i32::from(midi)).then_some(pitch)
    }
}

/// The degrees of notes that are no chord tones, where their name in the key gives none that is in
/// use: by semitones above the root. Common practice, no source.
const PASSING: [Degree; 12] = [
    Degree::ROOT,
    Degree::of(2, -1),
    Degree::of(2, 0),
    Degree::of(3, -1),
    Degree::of(3, 0),
    Degree::of(4, 0),
    Degree::of(4, 1),
    Degree::of(5, 0),
    Degree::of(6, -1),
    Degree::of(6, 0),
    Degree::of(7, -1),
    Degree::of(7, 0),
];

impl ChordSymbol {
    /// The symbol as it was written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The root; `None` for `N.C.`.
    pub fn root(&self) -> Option<NoteName> {
        self.root
    }

    /// What stands between root and bass: `m7`, `maj7`, `7b9`, or nothing for a major triad.
    pub fn quality(&self) -> &str {
        &self.quality
    }

    /// The tones the symbol names, from the root up; none for `N.C.`. A bass behind a slash that is
    /// none of them is not here: see [`bass_tone`](Self::bass_tone).
    pub fn tones(&self) -> &[ChordTone] {
        &self.tones
    }

    /// The bass note of a slash chord.
    pub fn bass(&self) -> Option<NoteName> {
        self.bass
    }

    /// The bass of a slash chord with its degree: that of the chord tone it is (an inversion), else
    /// one of its own within an octave of the root.
    pub fn bass_tone(&self) -> Option<ChordTone> {
        let (root, bass) = (self.root?, self.bass?);
        if let Some(tone) = self.tone_at(bass.fifths()) {
            return Some(tone);
        }
        Some(ChordTone {
            degree: foreign(root, bass),
            name: bass,
        })
    }

    /// What the MIDI note `midi` is in this chord; `None` for `N.C.`. `key` spells notes that are no
    /// chord tones.
    pub fn degree_of(&self, midi: u8, key: Key) -> Option<NoteDegree> {
        let root = self.root?;
        let spelled = key.spell(midi).name;
        let named = self.tone_at(spelled.fifths()).or_else(|| {
            self.bass_tone()
                .filter(|bass| same_pitch(bass.name.fifths(), spelled.fifths()))
        });
        if let Some(tone) = named {
            return Some(NoteDegree {
                degree: tone.degree,
                name: tone.name,
                in_chord: true,
            });
        }
        let degree = foreign(root, spelled);
        Some(NoteDegree {
            degree,
            name: degree.above(root),
            in_chord: false,
        })
    }

    /// The same chord moved by `fifths` steps on the line of fifths (2 is a whole tone up, -5 a
    /// semitone up), with another text. Names beyond one sharp or flat are spelled anew.
    pub fn moved(&self, fifths: i32) -> Self {
        let Some(root) = self.root else {
            return self.clone();
        };
        let mut by = fifths;
        // Twelve fifths are the same pitch: B## is C#.
        while NoteName::from_fifths(root.fifths() + by).alter > 1 {
            by -= 12;
        }
        while NoteName::from_fifths(root.fifths() + by).alter < -1 {
            by += 12;
        }
        let moved = |name: NoteName| NoteName::from_fifths(name.fifths() + by);
        let bass = self.bass.map(moved);
        let slash = bass.map(|bass| format!("/{bass}")).unwrap_or_default();
        let root = moved(root);
        // Behind a root without an accidental a quality's own would be read as the root's: D(b5).
        let mistaken = root.alter == 0 && self.quality.starts_with(['b', '#', '♭', '♯']);
        let quality = if mistaken {
            format!("({})", self.quality)
        } else {
            self.quality.clone()
        };
        Self {
            text: format!("{root}{quality}{slash}"),
            root: Some(root),
            quality,
            tones: self
                .tones
                .iter()
                .map(|tone| ChordTone {
                    degree: tone.degree,
                    name: moved(tone.name),
                })
                .collect(),
            bass,
        }
    }

    /// The same chord over each of its tones in turn, from the root: C, C/E, C/G. A bass of its own
    /// is left out.
    pub fn inversions(&self) -> Vec<Self> {
        let Some(root) = self.root else {
            return Vec::new();
        };
        let over = |tone: &ChordTone| {
            let bass = (tone.degree != Degree::ROOT).then_some(tone.name);
            let slash = bass.map(|bass| format!("/{bass}")).unwrap_or_default();
            Self {
                text: format!("{root}{}{slash}", self.quality),
                bass,
                ..self.clone()
            }
        };
        self.tones.iter().map(over).collect()
    }

    /// The tone that sounds like the name at a place on the line of fifths.
    fn tone_at(&self, fifths: i32) -> Option<ChordTone> {
        let here = |tone: &&ChordTone| same_pitch(tone.name.fifths(), fifths);
        self.tones.iter().find(here).copied()
    }
}

/// Whether two places on the line of fifths sound the same: twelve fifths are seven octaves.
fn same_pitch(a: i32, b: i32) -> bool {
    (a - b).rem_euclid(12) == 0
}

/// The degree of a note that is no chord tone: by its name, if that gives one in use.
fn foreign(root: NoteName, name: NoteName) -> Degree {
    let semitones = ((name.fifths() - root.fifths()) * 7).rem_euclid(12);
    let by_name = Degree::between(root, name).filter(|degree| {
        matches!(
            (degree.number(), degree.alter()),
            (_, 0) | (2 | 3 | 5 | 6 | 7, -1) | (2 | 4 | 5, 1)
        )
    });
    by_name.unwrap_or(PASSING[semitones as usize])
}

impl fmt::Display for ChordSymbol {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl FromStr for ChordSymbol {
    type Err = NameError;

    /// Reads a chord symbol without spaces.
    ///
    /// # Errors
    /// `NameError::Chord`, naming the part that is not understood and where it begins.
    fn from_str(text: &str) -> Result<Self, NameError> {
        // What is unread is always the end of the text; of a text that breaks off its last character.
        let wrong = |unread: &str| {
            let last = text.char_indices().next_back().map_or(0, |(at, _)| at);
            let unread = if unread.is_empty() {
                &text[last..]
            } else {
                unread
            };
            NameError::Chord {
                given: text.to_owned(),
                unread: unread.to_owned(),
                column: text.chars().count() + 1 - unread.chars().count().min(text.chars().count()),
            }
        };
        if matches!(text, "N.C." | "NC") {
            return Ok(Self {
                text: text.to_owned(),
                root: None,
                quality: String::new(),
                tones: Vec::new(),
                bass: None,
            });
        }
        let (root, after_root) = NoteName::split_simple_from(text).ok_or_else(|| wrong(text))?;
        let (degrees, rest) =
            chord_words::read(after_root).map_err(|Unread(unread)| wrong(unread))?;
        let bass = match rest.strip_prefix('/') {
            None => None,
            Some(name) => match NoteName::split_from(name) {
                Some((bass, "")) => Some(bass),
                _ => return Err(wrong(rest)),
            },
        };
        Ok(Self {
            text: text.to_owned(),
            root: Some(root),
            quality: after_root[..after_root.len() - rest.len()].to_owned(),
            tones: degrees
                .into_iter()
                .map(|degree| ChordTone {
                    degree,
                    name: degree.above(root),
                })
                .collect(),
            bass,
        })
    }
}
