//! The expected notes: a line laid out flat, one entry for each note to be plucked, ready to be
//! compared with what was heard or to be rendered by the synth.

use crate::words;

/// A place on the neck.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// The string, 1 for the thinnest (MusicXML's count).
    pub string: u8,
    /// The fret, 0 for the open string.
    pub fret: u8,
}

/// The way from one note to the next. Common practice of the trade, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum JoinKind {
    /// Same string, hand still, another finger.
    SamePlace,
    /// Another string, hand still.
    Crossing,
    /// One finger flattened over two strings at the same fret.
    Roll,
    /// Finger 1 or 4 leaves the one-finger-per-fret frame.
    Stretch,
    /// The hand moves along the neck.
    Shift,
    /// An open string on either side.
    Open,
    /// Same string and fret struck again.
    Repeat,
}

impl JoinKind {
    /// Every kind there is.
    pub const ALL: [Self; 7] = [
        Self::SamePlace,
        Self::Crossing,
        Self::Roll,
        Self::Stretch,
        Self::Shift,
        Self::Open,
        Self::Repeat,
    ];

    /// The word of the trade for it, as reports print it.
    pub fn word(self) -> &'static str {
        self.words().0
    }

    /// Several joins of the kind: "shifts", "joins within one place".
    pub fn plural(self) -> &'static str {
        self.words().1
    }

    fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::SamePlace => words::SAME_PLACE,
            Self::Crossing => words::CROSSING,
            Self::Roll => words::ROLL,
            Self::Stretch => words::STRETCH,
            Self::Shift => words::SHIFT,
            Self::Open => words::OPEN,
            Self::Repeat => words::REPEAT,
        }
    }
}

/// One note that the player should play. Tied notes are one expected note.
///
/// More fields may come: take the others from `..ExpectedNote::default()`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ExpectedNote {
    /// Its number in the line, from 0, in order of onset (chord members from the lowest up).
    pub index: usize,
    /// The bar it starts in, from 1, counted as played; a pick-up bar is 0.
    pub bar: u32,
    /// The number printed for that bar: another one where the line has repeats.
    pub printed_bar: u32,
    /// The beat it starts on, from 1, in the beat unit of the bar's meter (its denominator).
    pub beat: f64,
    /// Onset in quarter notes from the start of bar 1 (negative in a pick-up bar).
    pub onset_quarters: f64,
    /// Written length in quarter notes, ties included.
    pub length_quarters: f64,
    /// Onset in seconds at the written tempo, from the start of bar 1 (negative in a pick-up bar).
    pub onset_s: f64,
    /// Length in seconds at the written tempo.
    pub length_s: f64,
    /// The written pitch as a MIDI note number.
    pub midi: u8,
    /// Where it lies on the neck; always filled in once the line has been placed.
    pub place: Option<Place>,
    /// True when the note should ring up to the next note: there is a next note, no rest, no
    /// staccato and no breath between them.
    pub legato_next: bool,
    /// The way from this note to the next one; `None` for the last note or an unplaced line.
    pub join: Option<JoinKind>,
    /// True when the written length is cut short on purpose (a staccato dot).
    pub staccato: bool,
    /// True when it is reached without a pluck: slurred (hammered or pulled) or slid into.
    pub slurred_into: bool,
    /// True when it is slid into.
    pub slid_into: bool,
    /// True when it sounds together with the note before it in the list (a chord).
    pub with_previous: bool,
    /// True when it begins at exactly the half of a quarter-note beat with no tuplet in it: the
    /// off-beat eighth that swing moves, whether the line is swung or not. False in meters that
    /// are not counted in quarters (6/8, 7/8).
    pub swings: bool,
    /// True for a ghost note: a muted string, struck without a pitch of its own.
    pub ghost: bool,
    /// True when it is accented.
    pub accent: bool,
    /// Pitches of the grace notes written before it, as MIDI notes: they are not judged.
    pub graces: Vec<u8>,
}

impl ExpectedNote {
    /// The number of its bar in words: "3", "7 (printed 3)" where the line's repeats make them two.
    pub fn bar_words(&self) -> String {
        words::bar_number(self.bar, self.printed_bar)
    }

    /// Its place in words: "bar 2 beat 3", "bar 7 (printed 3) beat 2".
    pub fn place_words(&self) -> String {
        format!("bar {} beat {}", self.bar_words(), words::beat(self.beat))
    }
}
