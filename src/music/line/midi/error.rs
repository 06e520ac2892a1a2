//! Why a MIDI file cannot be taken as a line.

use crate::music::line::error::LineFault;
use crate::music::line::meter::MeterError;
use crate::music::line::tempo::TempoError;

/// Why a MIDI file cannot be taken as a line, and where.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MidiError {
    /// No `MThd` at the start.
    #[error("this is not a Standard MIDI File: it does not begin with `MThd`")]
    NotMidi,
    /// A header shorter than its six bytes.
    #[error("the header chunk has {found} bytes instead of 6; the file is damaged")]
    HeaderLength {
        /// Bytes it says it has.
        found: u32,
    },
    /// A chunk that ends before it should.
    #[error(
        "the chunk at byte {offset} should have {expected} bytes but only {found} follow; the file was cut short"
    )]
    CutShort {
        /// Byte offset of the chunk's first content byte.
        offset: usize,
        /// Bytes it says it has.
        expected: usize,
        /// Bytes there are.
        found: usize,
    },
    /// Fewer tracks than the header says.
    #[error(
        "the header promises {promised} tracks but the file has {found}; the file was cut short"
    )]
    MissingTracks {
        /// What the header says.
        promised: u16,
        /// What there is.
        found: usize,
    },
    /// Format 2, or one that does not exist.
    #[error("MIDI file format {given} cannot be read as one line; save it as format 0 or 1")]
    Format {
        /// The format.
        given: u16,
    },
    /// Time in frames instead of beats.
    #[error(
        "the file counts time in SMPTE frames, not in beats, so it has no bars; save it with a resolution in ticks per quarter note"
    )]
    Smpte,
    /// A resolution of 0.
    #[error("the file has a resolution of 0 ticks per quarter note; it is damaged")]
    NoResolution,
    /// Bytes that are no event.
    #[error("track {track}, byte {offset}, tick {tick}: {cause}; the file is damaged")]
    Event {
        /// The track, from 1.
        track: usize,
        /// Byte offset of the event in the file.
        offset: usize,
        /// Ticks from the start of the track to the event before it.
        tick: u64,
        /// What the decoder says.
        cause: String,
    },
    /// A quarter note without length.
    #[error("tick {tick}: a tempo of 0 microseconds to the quarter note; the file is damaged")]
    NoTempo {
        /// Where.
        tick: u64,
    },
    /// A tempo out of range.
    #[error("tick {tick}: {cause}")]
    Tempo {
        /// Where.
        tick: u64,
        /// What is wrong.
        cause: TempoError,
    },
    /// A meter that is none.
    #[error("tick {tick}: {cause}")]
    Meter {
        /// Where.
        tick: u64,
        /// What is wrong.
        cause: MeterError,
    },
    /// A key signature with more than seven sharps or flats.
    #[error(
        "tick {tick}: a key signature of {fifths} sharps (negative: flats); allowed are -7 to 7"
    )]
    Key {
        /// Where.
        tick: u64,
        /// What was given.
        fifths: i8,
    },
    /// A change of meter that is not at a bar line.
    #[error(
        "bar {bar}: the meter changes inside the bar (tick {tick}); move the change to a bar line"
    )]
    MeterInsideBar {
        /// The bar.
        bar: u32,
        /// Where.
        tick: u64,
    },
    /// No note at all.
    #[error("the file has no notes")]
    NoNotes,
    /// Notes in more than one track or channel.
    #[error("the file has {} parts with notes, and a line is one part: {}; choose one with --part NUMBER or --part NAME", parts.len(), parts.join(", "))]
    SeveralParts {
        /// Track, name, channel and number of notes of each.
        parts: Vec<String>,
    },
    /// The part asked for is not there.
    #[error("there is no part `{given}`; the file has {}", if parts.is_empty() { "no notes".to_owned() } else { parts.join(", ") })]
    NoSuchPart {
        /// What was asked for.
        given: String,
        /// Number, name, track, channel and number of notes of each part.
        parts: Vec<String>,
    },
    /// A note that is never ended.
    #[error("track {track}, tick {tick}: the note {note} is never ended; the file is damaged")]
    NeverEnded {
        /// The track, from 1.
        track: usize,
        /// Where it starts.
        tick: u64,
        /// Which.
        note: String,
    },
    /// Two voices at once.
    #[error(
        "bar {bar}, beat {beat}: {first} still sounds when {second} begins, so there are two voices at once; a line has one voice (notes that start and end together are a chord)"
    )]
    TwoVoices {
        /// The bar in which the second note begins.
        bar: u32,
        /// The beat, in the bar's beat unit, rounded to a hundredth.
        beat: f64,
        /// The note that sounds on.
        first: String,
        /// The note that begins.
        second: String,
    },
    /// Notes too close together to be written.
    #[error(
        "bar {bar}: notes follow each other too closely to be written; remove grace notes and doubled notes"
    )]
    TooClose {
        /// The bar.
        bar: u32,
    },
    /// More bars than a line may have.
    #[error("the file lasts longer than {limit} bars; cut it into parts")]
    TooLong {
        /// The limit.
        limit: usize,
    },
    /// What was read breaks the rules of a line.
    #[error(transparent)]
    Line(#[from] LineFault),
}
