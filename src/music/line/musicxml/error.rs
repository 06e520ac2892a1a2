//! Why a MusicXML file cannot be taken as a line.

use crate::music::line::error::LineFault;

/// Why a MusicXML file cannot be taken as a line, and where.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MusicXmlError {
    /// Bytes that are no text.
    #[error(
        "this is not text: byte {offset} belongs to no character; save it again as UTF-8 MusicXML"
    )]
    NotText {
        /// The first wrong byte, from 0.
        offset: usize,
    },
    /// Entities are declared in the file.
    #[error(
        "the file declares entities of its own (`<!ENTITY`), which could unfold without bound; no score needs them: save it again without"
    )]
    Entities,
    /// Not well-formed XML.
    #[error("this is not well-formed XML: {cause}")]
    Xml {
        /// What the parser says, with line and column.
        cause: String,
    },
    /// XML of another kind.
    #[error(
        "the outermost element is `{root}`; a MusicXML score begins with `score-partwise` or `score-timewise`"
    )]
    OtherXml {
        /// The outermost element.
        root: String,
    },
    /// The file is larger than any score.
    #[error("{what} is larger than {limit} bytes; no score is, so it is not read")]
    TooLarge {
        /// The file, or a file in the archive.
        what: &'static str,
        /// The limit.
        limit: u64,
    },
    /// A compressed score that cannot be opened.
    #[error("the compressed score (.mxl) cannot be opened: {cause}; save it again or uncompressed")]
    Container {
        /// What is wrong with it.
        cause: String,
    },
    /// No part with notes of a pitch.
    #[error("no part of the score has notes with a pitch")]
    NoNotes,
    /// A part that has no notes of a pitch.
    #[error("the part {name} has no notes with a pitch")]
    PartWithoutNotes {
        /// The part.
        name: String,
    },
    /// Several parts, and none was chosen.
    #[error("the score has {} parts with notes, and a line is one part: {}; choose one with --part NUMBER or --part NAME", parts.len(), parts.join(", "))]
    SeveralParts {
        /// Number, name and number of notes of each.
        parts: Vec<String>,
    },
    /// The part asked for is not there.
    #[error("there is no part `{given}`; the score has {}", parts.join(", "))]
    NoSuchPart {
        /// What was asked for.
        given: String,
        /// Number, name and number of notes of each part.
        parts: Vec<String>,
    },
    /// Something in a bar that cannot be read.
    #[error("line {line} of the file, bar {bar}: {what}")]
    Bar {
        /// The text line in the file, from 1.
        line: u32,
        /// The bar's number as it is printed.
        bar: String,
        /// What is wrong, and how to mend it.
        what: String,
    },
    /// Two voices at once.
    #[error(
        "bar {bar}, beat {beat}: {first} and {second} sound together but do not begin and end together, so there are two voices at once; a line has one voice (notes that begin and end together are a chord)"
    )]
    TwoVoices {
        /// The bar's number as it is printed.
        bar: String,
        /// The beat, in the bar's beat unit, rounded to a hundredth.
        beat: f64,
        /// The note that began first.
        first: String,
        /// The other.
        second: String,
    },
    /// More bars than a line may have.
    #[error("the score has more than {limit} bars; cut it into parts")]
    TooManyBars {
        /// The limit.
        limit: usize,
    },
    /// What was read breaks the rules of a line.
    #[error(transparent)]
    Line(#[from] LineFault),
}
