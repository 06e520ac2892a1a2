//! MusicXML 4.0: the reader of scores, plain (`.musicxml`, `.xml`) and compressed (`.mxl`), and the
//! writer.
//!
//! | file | step |
//! |---|---|
//! | `container` | the ZIP archive of a compressed score |
//! | `document` | bytes to an XML tree, and its parts |
//! | `walk`, `attributes` | a part's bars: notes at their places in time, signs, keys, meters |
//! | `note`, `directions`, `harmony` | one note; repeats, jumps, tempos; one chord symbol |
//! | `build`, `mend` | walked bars to the bars of a line; ties over bar lines |
//! | `unkept` | what is not kept, named once |
//! | `writer`, `write_note`, `xml` | a line to a score |
//!
//! What a line does not hold is named once in [`Read::notes`](super::Read). A file may have 16 MB,
//! unpacked too, and two million XML nodes; entities of its own are refused, and nothing outside of
//! it is read.
//!
//! # Source
//! MusicXML 4.0, W3C Music Notation Community Group (2021).

mod attributes;
mod build;
mod container;
mod directions;
mod document;
mod error;
mod harmony;
mod mend;
mod note;
mod unkept;
mod walk;
mod write_note;
mod writer;
mod xml;

pub use error::MusicXmlError;
pub use writer::{write_musicxml, write_mxl};

use super::Read;
use super::check;
use super::model::LineParts;
use super::part::PartChoice;
use super::tempo::Tempo;
use super::whole::Line;
use crate::music::instrument::{DEFAULT_FRETS, DEFAULT_SCALE_MM, Instrument, Tuning};
use document::Part;
use unkept::Unkept;
use walk::{Walked, Walker};

/// Reads a line from the bytes of a compressed score.
///
/// # Errors
/// See [`MusicXmlError`]. No bytes make it panic.
pub fn read_mxl(bytes: &[u8], part: Option<&PartChoice>) -> Result<Read, MusicXmlError> {
    read_musicxml(&container::unpack(bytes)?, part)
}

/// Reads a line from the bytes of a score: one part, by its number or name where several have
/// notes.
///
/// # Errors
/// See [`MusicXmlError`]. No bytes make it panic.
pub fn read_musicxml(bytes: &[u8], part: Option<&PartChoice>) -> Result<Read, MusicXmlError> {
    let limit = container::UNPACKED_BYTES_MAX;
    if bytes.len() as u64 > limit {
        let what = "the file";
        return Err(MusicXmlError::TooLarge { what, limit });
    }
    let text = document::text_of(bytes)?;
    let document = document::parse(&text)?;
    let parts = document::parts(&document)?;
    let chosen = choose(&parts, part)?;
    let mut unkept = Unkept::default();
    let mut walker = Walker::new(&mut unkept);
    let mut walked = Vec::with_capacity(parts[chosen].measures.len());
    for measure in &parts[chosen].measures {
        walked.push(walker.walk(measure)?);
    }
    let mut swing = walker.swing;
    let tuning = std::mem::take(&mut walker.tuning);
    for (at, other) in parts.iter().enumerate() {
        if at != chosen {
            let theirs = take_common(&mut walked, other);
            swing = swing.or(theirs);
        }
    }
    settle_codas(&mut walked);
    let instrument = instrument_of(&walked, &tuning, &mut unkept);
    let built = build::build(&walked, &instrument, &mut unkept)?;
    let mut parts_of_line = check::tidied(LineParts {
        title: document::title_of(document.root_element()),
        instrument,
        tempo: Tempo::default(),
        swing: swing.flatten(),
        first_bar: built.first_bar,
        pickup: built.pickup,
        bars: built.bars,
    });
    let uneven = |bar: &super::model::Bar| !bar.meter.is_in_quarters();
    if parts_of_line.swing.is_some() && parts_of_line.bars.iter().any(uneven) {
        unkept.add("the swing, for bars that are not counted in quarters");
        parts_of_line.swing = None;
    }
    let line = Line::new(parts_of_line)?;
    Ok(Read {
        line,
        notes: unkept.told(),
    })
}

/// The part to read.
fn choose(parts: &[Part<'_>], choice: Option<&PartChoice>) -> Result<usize, MusicXmlError> {
    let listed = |(at, part): (usize, &Part<'_>)| part.listed(at);
    let with_notes: Vec<usize> = (0..parts.len()).filter(|&at| parts[at].notes > 0).collect();
    if let Some(choice) = choice {
        let names: Vec<&str> = parts.iter().map(|part| part.name.as_str()).collect();
        let at = choice
            .find(&names)
            .ok_or_else(|| MusicXmlError::NoSuchPart {
                given: choice.to_string(),
                parts: parts.iter().enumerate().map(listed).collect(),
            })?;
        if parts[at].notes == 0 {
            let name = parts[at].listed(at);
            return Err(MusicXmlError::PartWithoutNotes { name });
        }
        return Ok(at);
    }
    match with_notes.as_slice() {
        [] => Err(MusicXmlError::NoNotes),
        [one] => Ok(*one),
        several => Err(MusicXmlError::SeveralParts {
            parts: several.iter().map(|&at| parts[at].listed(at)).collect(),
        }),
    }
}

/// Takes what another part says for all of them: repeats, jumps, tempos; gives its swing. Chord
/// symbols are taken where the chosen part has none in that bar.
fn take_common(walked: &mut [Walked], other: &Part<'_>) -> Option<Option<super::SwingRatio>> {
    let mut aside = Unkept::default();
    let mut walker = Walker::new(&mut aside);
    for (bar, measure) in walked.iter_mut().zip(&other.measures) {
        let Ok(common) = walker.walk(measure) else {
            break;
        };
        let (signs, theirs) = (&mut bar.signs, common.signs);
        signs.repeat_start |= theirs.repeat_start;
        signs.repeat_end = signs.repeat_end.or(theirs.repeat_end);
        signs.repeat_again |= theirs.repeat_again;
        if signs.ending.is_empty() {
            signs.ending = theirs.ending;
        }
        signs.ending_end |= theirs.ending_end;
        signs.segno |= theirs.segno;
        signs.coda |= theirs.coda;
        signs.to_coda |= theirs.to_coda;
        signs.fine |= theirs.fine;
        signs.jump = signs.jump.or(theirs.jump);
        bar.coda_sign |= common.coda_sign;
        for (at, tempo) in common.tempos {
            if !bar.tempos.iter().any(|&(known, _)| known == at) {
                bar.tempos.push((at, tempo));
            }
        }
        if bar.harmonies.is_empty() {
            bar.harmonies = common.harmonies;
        }
    }
    walker.swing
}

/// Coda signs that do not say what they are: the first is where the coda is gone to from, the
/// second where it begins. Common practice, no source.
fn settle_codas(walked: &mut [Walked]) {
    let mut gone_to = walked.iter().any(|bar| bar.signs.to_coda);
    let begins = walked.iter().any(|bar| bar.signs.coda);
    for bar in walked.iter_mut().filter(|bar| bar.coda_sign) {
        if !gone_to {
            (bar.signs.to_coda, gone_to) = (true, true);
        } else if !begins {
            bar.signs.coda = true;
        }
    }
}

/// The instrument of a part: that of its tablature staff, else the smallest common one that has all
/// its notes.
fn instrument_of(walked: &[Walked], tuning: &[u8], unkept: &mut Unkept) -> Instrument {
    let groups = || walked.iter().flat_map(|bar| &bar.groups);
    let graces = groups().flat_map(|group| group.graces.iter().flatten());
    let heads = groups().flat_map(|group| &group.heads).chain(graces);
    let pitches: Vec<u8> = heads.map(|head| head.midi).collect();
    let tuned = Tuning::new(tuning).ok().filter(|_| !tuning.is_empty());
    let made = |tuning: &Tuning| Instrument::new(tuning.clone(), DEFAULT_FRETS, DEFAULT_SCALE_MM);
    if let Some(instrument) = tuned.as_ref().and_then(|tuning| made(tuning).ok()) {
        let has_all = pitches
            .iter()
            .all(|&midi| !instrument.places(midi).is_empty());
        if has_all {
            return instrument;
        }
        unkept.say("the tuning of the tablature staff does not have all the notes".to_owned());
    }
    let chords = groups().map(|group| group.heads.iter().map(|head| head.midi).collect());
    let graces = groups().flat_map(|group| group.graces.iter().flatten());
    let struck: Vec<Vec<u8>> = chords.chain(graces.map(|head| vec![head.midi])).collect();
    let (instrument, said) = super::part::instrument_for(&struck);
    unkept.extend(said);
    instrument
}

/// True for a length that no note value with dots has.
pub(super) fn has_no_note_value(length: super::length::Length) -> bool {
    note::type_of(length).is_none()
}
