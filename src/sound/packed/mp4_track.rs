//! What the index of an MP4 file (`moov`) says about its sound track.
//!
//! # Source
//! ISO/IEC 14496-12: sections 8.2 to 8.5 (headers, sample descriptions), 8.6.6 (edit list).
//! ISO/IEC 14496-14, section 5.6, and 14496-1, section 7.2.6 (`esds`). *Apple Lossless Magic
//! Cookie Description*. Apple, *QuickTime File Format*, appendix G (priming; the comment
//! `iTunSMPB`).

use super::coder::Packing;
use super::mp4_boxes::{boxes, find, find_path, u16_at, u32_at, u64_at};

/// Frames of priming where the file does not say. Source: Apple, *QuickTime File Format*, appendix
/// G: 2112, the implicit delay of AAC. Coders differ (1024 to 2112); raising it moves such takes
/// ahead.
pub(super) const USUAL_PRIMING: u64 = 2112;

/// A sound track that can be read.
pub(super) struct Track {
    /// Ticks per second of everything in the track.
    pub(super) timescale: u32,
    pub(super) packing: Packing,
    /// The coder's own setup.
    pub(super) setup: Vec<u8>,
    /// Bits of a lossless sample.
    pub(super) bits: u16,
    pub(super) edit: Edit,
    /// Priming, padding and length in frames, as a comment gives them.
    pub(super) comment: Option<(u64, u64)>,
}

/// What the edit list says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Edit {
    /// There is none.
    None,
    /// The recording begins at this tick of the track and ends at the other; `None` to the end.
    /// The end is exact to the last number, in ticks: it is written in the file's coarser ticks.
    From(u64, Option<u64>, u64),
}

/// Why a track is not read.
pub(super) enum Refusal {
    /// What packs it, in words.
    Coder(String),
    /// What is broken.
    Broken(String),
}

/// The first sound track of the index, with the body of its box.
pub(super) fn sound_track(moov: &[u8]) -> Result<(Track, &[u8]), Refusal> {
    let track = boxes(moov)
        .filter(|(name, _)| name == b"trak")
        .find(|(_, body)| {
            let handler = find_path(body, &[b"mdia", b"hdlr"]);
            handler.and_then(|h| h.get(8..12)) == Some(b"soun")
        });
    let Some((_, trak)) = track else {
        return Err(Refusal::Broken("there is no sound track".to_owned()));
    };
    let broken = |what: &str| Refusal::Broken(what.to_owned());
    let timescale = find_path(trak, &[b"mdia", b"mdhd"])
        .and_then(|mdhd| u32_at(mdhd, if mdhd.first() == Some(&1) { 20 } else { 12 }))
        .filter(|ticks| *ticks > 0)
        .ok_or_else(|| broken("the track has no time scale"))?;
    let (name, entry) = find_path(trak, &[b"mdia", b"minf", b"stbl", b"stsd"])
        .and_then(|stsd| boxes(stsd.get(8..)?).next())
        .ok_or_else(|| broken("the track has no sample description"))?;
    let (packing, setup) = description(&name, entry)?;
    let bits = match packing {
        Packing::Alac => setup.get(5).map_or(16, |bits| u16::from(*bits)),
        _ => 0,
    };
    let edit = edit_list(moov, trak, timescale)?;
    let track = Track {
        timescale,
        packing,
        setup,
        bits,
        edit,
        comment: gapless_comment(moov),
    };
    Ok((track, trak))
}

/// The coder and its setup from a sample description.
fn description(name: &[u8; 4], entry: &[u8]) -> Result<(Packing, Vec<u8>), Refusal> {
    // Version 1 of QuickTime has four numbers more.
    let inside_at = if u16_at(entry, 8) == Some(1) { 44 } else { 28 };
    let inside = entry.get(inside_at..).unwrap_or_default();
    match name {
        b"mp4a" => {
            let esds = find(inside, b"esds").or_else(|| find_path(inside, &[b"wave", b"esds"]));
            let esds = esds.ok_or_else(|| Refusal::Broken("AAC without its setup".to_owned()))?;
            aac_setup(esds).map(|setup| (Packing::Aac, setup))
        }
        b"alac" => {
            let cookie = find(inside, b"alac").or_else(|| find_path(inside, &[b"wave", b"alac"]));
            let cookie = cookie.and_then(|c| c.get(4..)).filter(|c| c.len() >= 24);
            let cookie = cookie.ok_or_else(|| Refusal::Broken("ALAC without its setup".into()))?;
            Ok((Packing::Alac, cookie.to_vec()))
        }
        other => Err(Refusal::Coder(coder_name(other))),
    }
}

fn coder_name(name: &[u8; 4]) -> String {
    let known = match name {
        b"samr" | b"sawb" => "AMR (a telephone's speech coder)",
        b"Opus" => "Opus",
        b"fLaC" => "FLAC in MP4",
        b".mp3" => "MP3 in MP4",
        b"ac-3" | b"ec-3" => "Dolby Digital",
        b"lpcm" | b"sowt" | b"twos" | b"in24" | b"in32" | b"fl32" => "PCM in MP4",
        b"enca" | b"drms" => "encrypted",
        _ => return format!("`{}`", name.escape_ascii()),
    };
    known.to_owned()
}

/// The setup within `esds`: descriptors within descriptors, each a kind, a length of seven bits a
/// byte, and a body.
fn aac_setup(esds: &[u8]) -> Result<Vec<u8>, Refusal> {
    let broken = || Refusal::Broken("the setup of AAC is cut".to_owned());
    let stream = descriptor(esds.get(4..).unwrap_or_default(), 3).ok_or_else(broken)?;
    let flags = *stream.get(2).ok_or_else(broken)?;
    let mut at = 3;
    if flags & 0x80 != 0 {
        at += 2;
    }
    if flags & 0x40 != 0 {
        at += 1 + usize::from(*stream.get(at).ok_or_else(broken)?);
    }
    if flags & 0x20 != 0 {
        at += 2;
    }
    let config = descriptor(stream.get(at..).unwrap_or_default(), 4).ok_or_else(broken)?;
    match config.first() {
        Some(0x40 | 0x67) => {}
        Some(0x66 | 0x68) => return Err(Refusal::Coder("AAC of a profile other than LC".into())),
        Some(0x69 | 0x6b) => return Err(Refusal::Coder("MP3 in MP4".into())),
        Some(kind) => return Err(Refusal::Coder(format!("of the kind {kind:#x}"))),
        None => return Err(broken()),
    }
    let setup = descriptor(config.get(13..).unwrap_or_default(), 5).ok_or_else(broken)?;
    // ISO/IEC 14496-3, section 1.6.2.1: five bits of what kind of AAC it is.
    match setup.first().map(|b| b >> 3) {
        Some(2) if setup.len() >= 2 => Ok(setup.to_vec()),
        Some(5 | 29) => Err(Refusal::Coder("HE-AAC".to_owned())),
        Some(kind) if kind != 2 => Err(Refusal::Coder(format!("AAC of kind {kind}, not LC"))),
        _ => Err(broken()),
    }
}

/// The body of the first descriptor, if it is of this kind; a body that is cut is given as it is.
fn descriptor(bytes: &[u8], kind: u8) -> Option<&[u8]> {
    if bytes.first() != Some(&kind) {
        return None;
    }
    let mut length = 0usize;
    for at in 1..5 {
        let byte = *bytes.get(at)?;
        length = length << 7 | usize::from(byte & 0x7f);
        if byte & 0x80 == 0 {
            let body = bytes.get(at + 1..)?;
            return Some(&body[..length.min(body.len())]);
        }
    }
    None
}

/// The edit list. Time that is empty before the sound is passed over: a take begins with its first
/// sample.
fn edit_list(moov: &[u8], trak: &[u8], timescale: u32) -> Result<Edit, Refusal> {
    let Some(list) = find_path(trak, &[b"edts", b"elst"]) else {
        return Ok(Edit::None);
    };
    let broken = |what: &str| Refusal::Broken(format!("the edit list {what}"));
    let movie_scale = find(moov, b"mvhd")
        .and_then(|mvhd| u32_at(mvhd, if mvhd.first() == Some(&1) { 20 } else { 12 }))
        .filter(|ticks| *ticks > 0)
        .ok_or_else(|| broken("has no time scale"))?;
    let long = list.first() == Some(&1);
    let count = u32_at(list, 4).ok_or_else(|| broken("is cut"))?;
    let mut found = Edit::None;
    for i in 0..count as usize {
        let entry = list.get(8 + i * if long { 20 } else { 12 }..);
        let entry = entry.ok_or_else(|| broken("is cut"))?;
        let (length, begin) = if long {
            (u64_at(entry, 0), u64_at(entry, 8).map(|t| t as i64))
        } else {
            let begin = u32_at(entry, 4).map(|t| i64::from(t as i32));
            (u32_at(entry, 0).map(u64::from), begin)
        };
        let (Some(length), Some(begin)) = (length, begin) else {
            return Err(broken("is cut"));
        };
        let Ok(begin) = u64::try_from(begin) else {
            continue;
        };
        if found != Edit::None {
            return Err(broken("joins several pieces, and one alone is read"));
        }
        let in_track = |movie_ticks: u64| {
            let ticks = u128::from(movie_ticks) * u128::from(timescale);
            u64::try_from(ticks / u128::from(movie_scale)).unwrap_or(u64::MAX)
        };
        let end = (length > 0).then(|| begin.saturating_add(in_track(length)));
        found = Edit::From(begin, end, in_track(1) + 1);
    }
    Ok(found)
}

/// Priming and length in frames from the comment `iTunSMPB`: hexadecimal numbers, of which the
/// second is the priming, the third the padding and the fourth the length.
fn gapless_comment(moov: &[u8]) -> Option<(u64, u64)> {
    let meta = find_path(moov, &[b"udta", b"meta"])?;
    // Four bytes of version stand before the boxes, in QuickTime none do.
    let list = find(meta.get(4..)?, b"ilst").or_else(|| find(meta, b"ilst"))?;
    let text = boxes(list)
        .filter(|(name, _)| name == b"----")
        .find_map(|(_, item)| {
            let name = find(item, b"name")?.get(4..)?;
            (name == b"iTunSMPB").then(|| find(item, b"data")?.get(8..))?
        })?;
    let text = std::str::from_utf8(text).ok()?;
    let mut numbers = text.split_whitespace().map(|n| u64::from_str_radix(n, 16));
    let (_, priming, _, length) = (
        numbers.next()?,
        numbers.next()?,
        numbers.next()?,
        numbers.next()?,
    );
    Some((priming.ok()?, length.ok()?)).filter(|(priming, _)| *priming > 0)
}
