//! The tones of a chord or scale along the neck of an instrument.

use super::{From, Item, Octaves, Settings, StudyError};
use crate::music::theory::{ChordSymbol, Degree, Key, NoteName};

/// A chord or scale laid along the neck.
pub(super) struct Ladder<'a> {
    item: &'a Item,
    symbol: &'a ChordSymbol,
    settings: &'a Settings,
    root: NoteName,
    up: Vec<Degree>,
    down: Vec<Degree>,
}

/// The notes of a chord or scale from where it starts to where it ends, from the lowest up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Span {
    /// Those upwards.
    pub up: Vec<u8>,
    /// Those downwards.
    pub down: Vec<u8>,
}

impl<'a> Ladder<'a> {
    pub(super) fn new(item: &'a Item, symbol: &'a ChordSymbol, settings: &'a Settings) -> Self {
        Self {
            item,
            symbol,
            settings,
            root: item.root().unwrap_or(NoteName::from_fifths(0)),
            up: item.degrees_up(),
            down: item.degrees_down(),
        }
    }

    /// How the chord or scale is called in messages.
    pub(super) fn name(&self) -> String {
        self.item.to_string()
    }

    /// The degrees that make it up.
    pub(super) fn degrees(&self) -> &[Degree] {
        &self.up
    }

    /// The octaves it goes; two for chords with a ninth or beyond where none were asked for.
    pub(super) fn octaves(&self) -> Octaves {
        let wide = self.up.iter().any(|degree| degree.number() > 8);
        let usual = if wide { Octaves::Two } else { Octaves::One };
        self.settings.octaves.unwrap_or(usual)
    }

    /// The degree it starts on, if that was asked for or stands behind a slash.
    fn start_degree(&self) -> Result<Option<Degree>, StudyError> {
        let bass = self.symbol.bass_tone().map(|tone| tone.degree);
        let bass = bass.filter(|_| matches!(self.item, Item::Chord(_)));
        let From::Degree(wanted) = self.settings.from else {
            return Ok(bass);
        };
        let exact = self.up.iter().find(|degree| **degree == wanted);
        let by_number = || {
            let same = |degree: &&Degree| degree.number() == wanted.number();
            self.up.iter().filter(|_| wanted.alter() == 0).find(same)
        };
        match exact.or_else(by_number) {
            Some(degree) => Ok(Some(*degree)),
            None => {
                let tones: Vec<String> = self.up.iter().map(Degree::to_string).collect();
                Err(StudyError::NoSuchTone {
                    chord: self.name(),
                    degree: wanted.to_string(),
                    tones: tones.join(" "),
                })
            }
        }
    }

    /// The semitones above a root, 0 to 23, at which tones lie in two octaves. In the second one a
    /// ninth stands for the root, an eleventh for the third and a thirteenth for the fifth, as the
    /// thirds of the chord are stacked; `within_octave` puts all tones into each octave.
    fn steps(&self, degrees: &[Degree], within_octave: bool) -> Vec<i32> {
        let stands_for = |number| match number {
            1 => 9,
            2..=4 => 11,
            5 => 13,
            _ => 0,
        };
        let above = |degree: &Degree| degree.number() > 8;
        let mut steps = Vec::new();
        for degree in degrees {
            let step = degree.semitones().rem_euclid(12);
            let replaced = degrees
                .iter()
                .any(|other| other.number() == stands_for(degree.number()));
            if within_octave || !above(degree) {
                steps.push(step);
            }
            if within_octave || above(degree) || !replaced {
                steps.push(step + 12);
            }
        }
        // A bass that is no chord tone belongs to every octave.
        if let (Some(bass), Item::Chord(_)) = (self.symbol.bass_tone(), self.item) {
            let step = bass.degree.semitones().rem_euclid(12);
            if !degrees
                .iter()
                .any(|degree| degree.semitones().rem_euclid(12) == step)
            {
                steps.extend([step, step + 12]);
            }
        }
        steps.sort_unstable();
        steps.dedup();
        steps
    }

    /// The tones from `low` to `high`, both included, counted from a root at `base`.
    fn tones(&self, degrees: &[Degree], base: i32, low: i32, high: i32, within: bool) -> Vec<u8> {
        let steps = self.steps(degrees, within);
        (low..=high)
            .filter(|midi| steps.contains(&(midi - base).rem_euclid(24)))
            .filter_map(|midi| u8::try_from(midi).ok())
            .collect()
    }

    /// Lowest and highest note of the instrument.
    fn range(&self) -> (i32, i32) {
        let (low, high) = self.settings.instrument.range();
        (i32::from(low), i32::from(high))
    }

    /// The lowest note of the instrument with the pitch class of `degree`.
    fn lowest(&self, degree: Degree) -> i32 {
        let (low, _) = self.range();
        let class = self.root.fifths() * 7 + degree.semitones();
        low + (class - low).rem_euclid(12)
    }

    /// The notes of the chord or scale over the octaves it goes, in the lowest octave in which it
    /// begins.
    pub(super) fn span(&self) -> Result<Span, StudyError> {
        let start_degree = self.start_degree()?;
        let degree = start_degree.unwrap_or(Degree::ROOT);
        let start = self.lowest(degree);
        let (low, high) = self.range();
        let octaves = match self.octaves() {
            Octaves::One => 1,
            Octaves::Two => 2,
            Octaves::Neck => {
                let root = self.lowest(Degree::ROOT);
                let from = if start_degree.is_some() { start } else { low };
                return Ok(Span {
                    up: self.tones(&self.up, root, from, high, false),
                    down: self.tones(&self.down, root, from, high, false),
                });
            }
        };
        let end = start + 12 * octaves;
        if end > high {
            return Err(self.off_the_neck(degree));
        }
        let base = start - degree.semitones();
        let within = octaves == 1;
        Ok(Span {
            up: self.tones(&self.up, base, start, end, within),
            down: self.tones(&self.down, base, start, end, within),
        })
    }

    /// All its tones on the neck, each in every octave.
    pub(super) fn whole_neck(&self) -> Span {
        let (low, high) = self.range();
        let root = self.lowest(Degree::ROOT);
        Span {
            up: self.tones(&self.up, root, low, high, true),
            down: self.tones(&self.down, root, low, high, true),
        }
    }

    /// The message for what ends beyond the neck.
    pub(super) fn off_the_neck(&self, degree: Degree) -> StudyError {
        let instrument = &self.settings.instrument;
        let (_, highest) = instrument.range();
        StudyError::OffTheNeck {
            chord: self.name(),
            octaves: match self.octaves() {
                Octaves::One => "one octave up",
                Octaves::Two => "two octaves up",
                Octaves::Neck => "over the neck",
            },
            degree: if degree == Degree::ROOT {
                "root".to_owned()
            } else {
                degree.to_string()
            },
            highest: Key::default().spell(highest).to_string(),
            range: format!("{}, {} frets", instrument.tuning(), instrument.frets()),
        }
    }
}
