//! From bytes to timed notes and changes.
//!
//! The chunks are walked here, so that a file that was cut short is told from a whole one; the
//! events inside a track are decoded by midly in its strict mode.

use midly::{EventIter, MetaMessage, MidiMessage, TrackEventKind};

use super::error::MidiError;
use crate::music::theory::Key;

/// A note as the file times it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Timed {
    pub start: u64,
    pub end: u64,
    pub midi: u8,
}

/// The notes of one track and channel, in order of start.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// From 1.
    pub track: usize,
    pub name: String,
    /// From 0.
    pub channel: u8,
    pub notes: Vec<Timed>,
}

/// What a file says, with ticks as they stand.
#[derive(Clone, Debug, Default)]
pub(super) struct Song {
    pub per_quarter: u32,
    pub title: String,
    /// Microseconds per quarter.
    pub tempos: Vec<(u64, u32)>,
    /// Beats, and the power of two of the beat unit.
    pub meters: Vec<(u64, u8, u8)>,
    /// Sharps and whether it is minor.
    pub keys: Vec<(u64, i8, bool)>,
    pub parts: Vec<Part>,
}

struct Chunk<'a> {
    kind: &'a [u8],
    /// Byte offset of `data` in the file.
    offset: usize,
    data: &'a [u8],
}

/// The chunk at `offset`, which must have at least its 8 bytes of type and length.
fn chunk_at(bytes: &[u8], offset: usize) -> Result<Chunk<'_>, MidiError> {
    let rest = bytes.get(offset..).unwrap_or_default();
    let Some((&[a, b, c, d, l1, l2, l3, l4], data)) = rest.split_first_chunk::<8>() else {
        return Err(MidiError::CutShort {
            offset,
            expected: 8,
            found: rest.len(),
        });
    };
    let _ = (a, b, c, d);
    let length = u32::from_be_bytes([l1, l2, l3, l4]) as usize;
    let offset = offset + 8;
    match data.get(..length) {
        Some(data) => Ok(Chunk {
            kind: &rest[..4],
            offset,
            data,
        }),
        None => Err(MidiError::CutShort {
            offset,
            expected: length,
            found: data.len(),
        }),
    }
}

/// Reads the whole file.
///
/// # Source
/// Standard MIDI Files 1.0 (1988): chunks of a four-character type and a 32-bit big-endian
/// length, unknown ones skipped; `MThd` with format, tracks and division, bit 15 of which means
/// SMPTE time.
pub(super) fn read_song(bytes: &[u8]) -> Result<Song, MidiError> {
    if !bytes.starts_with(b"MThd") {
        return Err(MidiError::NotMidi);
    }
    let header = chunk_at(bytes, 0)?;
    let &[f1, f2, t1, t2, d1, d2, ..] = header.data else {
        return Err(MidiError::HeaderLength {
            found: header.data.len() as u32,
        });
    };
    let format = u16::from_be_bytes([f1, f2]);
    let promised = u16::from_be_bytes([t1, t2]);
    let division = u16::from_be_bytes([d1, d2]);
    if format > 1 {
        return Err(MidiError::Format { given: format });
    }
    if division & 0x8000 != 0 {
        return Err(MidiError::Smpte);
    }
    if division == 0 {
        return Err(MidiError::NoResolution);
    }
    let mut song = Song {
        per_quarter: u32::from(division),
        ..Song::default()
    };
    let mut names = Vec::new();
    let mut offset = header.offset + header.data.len();
    // What follows the last track promised is not ours to judge.
    while names.len() < usize::from(promised) && offset < bytes.len() {
        let chunk = chunk_at(bytes, offset)?;
        offset = chunk.offset + chunk.data.len();
        if chunk.kind == b"MTrk" {
            let name = read_track(&chunk, names.len() + 1, &mut song)?;
            names.push(name);
        }
    }
    if names.len() < usize::from(promised) {
        return Err(MidiError::MissingTracks {
            promised,
            found: names.len(),
        });
    }
    song.title = title(&names, &song.parts);
    song.tempos.sort_by_key(|&(tick, _)| tick);
    song.meters.sort_by_key(|&(tick, _, _)| tick);
    song.keys.sort_by_key(|&(tick, _, _)| tick);
    Ok(song)
}

/// The title: by SMF 1.0 the name of the first track names the sequence; else the part's name.
fn title(names: &[String], parts: &[Part]) -> String {
    let first = names.first().filter(|name| !name.trim().is_empty());
    let part = parts
        .iter()
        .map(|part| &part.name)
        .find(|name| !name.trim().is_empty());
    first.or(part).cloned().unwrap_or_default()
}

/// Text of a meta event: UTF-8, or Latin-1 where it is not.
fn text(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&byte| char::from(byte)).collect(),
    }
}

/// A note that has begun: where in its part's list it will stand.
type Sounding = Option<usize>;

/// Reads one track into `song`; gives its name.
fn read_track(chunk: &Chunk<'_>, track: usize, song: &mut Song) -> Result<String, MidiError> {
    let mut name = String::new();
    let mut tick: u64 = 0;
    let mut notes: Vec<Vec<Timed>> = vec![Vec::new(); 16];
    let mut sounding: Vec<Sounding> = vec![None; 16 * 128];
    let mut events = EventIter::new(chunk.data);
    loop {
        let offset = chunk.offset + chunk.data.len() - events.unread().len();
        let event = match events.next() {
            None => break,
            Some(Ok(event)) => event,
            Some(Err(error)) => {
                let cause = innermost(&error);
                return Err(MidiError::Event {
                    track,
                    offset,
                    tick,
                    cause,
                });
            }
        };
        tick += u64::from(event.delta.as_int());
        match event.kind {
            TrackEventKind::Midi { channel, message } => {
                let channel = usize::from(channel.as_int());
                let (key, begins) = match message {
                    MidiMessage::NoteOn { key, vel } => (key, vel.as_int() > 0),
                    MidiMessage::NoteOff { key, .. } => (key, false),
                    _ => continue,
                };
                let key = key.as_int();
                let slot = &mut sounding[channel * 128 + usize::from(key)];
                // A pitch struck again ends its former note.
                if let Some(index) = slot.take() {
                    notes[channel][index].end = tick;
                }
                if begins {
                    *slot = Some(notes[channel].len());
                    notes[channel].push(Timed {
                        start: tick,
                        end: tick,
                        midi: key,
                    });
                }
            }
            TrackEventKind::Meta(MetaMessage::EndOfTrack) => break,
            TrackEventKind::Meta(meta) => read_meta(&meta, tick, &mut name, song),
            TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => {}
        }
    }
    never_ended(&sounding, &notes, track)?;
    add_parts(notes, track, &name, song);
    Ok(name)
}

/// Refuses a note that still sounds when its track is over.
fn never_ended(sounding: &[Sounding], notes: &[Vec<Timed>], track: usize) -> Result<(), MidiError> {
    let open = sounding
        .iter()
        .enumerate()
        .find_map(|(at, slot)| slot.map(|index| (at, index)));
    let Some((at, index)) = open else {
        return Ok(());
    };
    let note = notes[at / 128][index];
    let name = Key::default().spell(note.midi).to_string();
    Err(MidiError::NeverEnded {
        track,
        tick: note.start,
        note: name,
    })
}

/// Adds the channels that have notes to the song.
fn add_parts(notes: Vec<Vec<Timed>>, track: usize, name: &str, song: &mut Song) {
    for (channel, mut notes) in notes.into_iter().enumerate() {
        // A note without length makes no sound; it comes from a pitch doubled on one tick.
        notes.retain(|note| note.end > note.start);
        if !notes.is_empty() {
            let name = name.to_owned();
            song.parts.push(Part {
                track,
                name,
                channel: channel as u8,
                notes,
            });
        }
    }
}

fn read_meta(meta: &MetaMessage<'_>, tick: u64, name: &mut String, song: &mut Song) {
    match meta {
        MetaMessage::TrackName(bytes) if name.is_empty() => *name = text(bytes),
        MetaMessage::Tempo(microseconds) => song.tempos.push((tick, microseconds.as_int())),
        MetaMessage::TimeSignature(beats, power, _, _) => song.meters.push((tick, *beats, *power)),
        MetaMessage::KeySignature(fifths, minor) => song.keys.push((tick, *fifths, *minor)),
        _ => {}
    }
}

/// The most exact thing the decoder has to say.
fn innermost(error: &midly::Error) -> String {
    let mut message = error.kind().message();
    let mut source = error.source();
    while let Some(inner) = source {
        message = inner.kind().message();
        source = inner.source();
    }
    message.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(track: &[u8]) -> Vec<u8> {
        let mut bytes = b"MThd\0\0\0\x06\0\0\0\x01\x01\xe0MTrk".to_vec();
        bytes.extend((track.len() as u32).to_be_bytes());
        bytes.extend(track);
        bytes
    }

    #[test]
    fn deltas_are_the_quantities_of_the_specification() {
        // Published: Standard MIDI Files 1.0 (1988), table of variable-length quantities.
        let table: [(u64, &[u8]); 12] = [
            (0x0, &[0x00]),
            (0x40, &[0x40]),
            (0x7f, &[0x7f]),
            (0x80, &[0x81, 0x00]),
            (0x2000, &[0xc0, 0x00]),
            (0x3fff, &[0xff, 0x7f]),
            (0x4000, &[0x81, 0x80, 0x00]),
            (0x10_0000, &[0xc0, 0x80, 0x00]),
            (0x1f_ffff, &[0xff, 0xff, 0x7f]),
            (0x20_0000, &[0x81, 0x80, 0x80, 0x00]),
            (0x800_0000, &[0xc0, 0x80, 0x80, 0x00]),
            (0xfff_ffff, &[0xff, 0xff, 0xff, 0x7f]),
        ];
        for (ticks, encoded) in table {
            let mut track = encoded.to_vec();
            track.extend([0x90, 33, 64, 0x60, 33, 0, 0, 0xff, 0x2f, 0]);
            let song = read_song(&file(&track)).unwrap();
            let notes = &song.parts[0].notes;
            assert_eq!(
                notes[..],
                [Timed {
                    start: ticks,
                    end: ticks + 0x60,
                    midi: 33
                }]
            );
        }
        // A fifth byte is not allowed.
        let mut track = vec![0x81, 0x80, 0x80, 0x80, 0x00];
        track.extend([0x90, 33, 64, 0x60, 33, 0, 0, 0xff, 0x2f, 0]);
        assert!(read_song(&file(&track)).is_err());
    }

    #[test]
    fn running_status_is_cancelled_by_meta_events() {
        // SMF 1.0: sysex and meta events cancel any running status.
        let kept = [
            0, 0x90, 33, 64, 0x60, 33, 0, 0, 35, 64, 0x60, 35, 0, 0, 0xff, 0x2f, 0,
        ];
        assert_eq!(read_song(&file(&kept)).unwrap().parts[0].notes.len(), 2);
        let cancelled = [
            0, 0x90, 33, 64, 0, 0xff, 0x01, 1, b'x', 0x60, 33, 0, 0, 0xff, 0x2f, 0,
        ];
        match read_song(&file(&cancelled)) {
            Err(MidiError::Event {
                track: 1, offset, ..
            }) => assert_eq!(offset, 22 + 9),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn unknown_chunks_are_skipped() {
        // SMF 1.0: programs should expect alien chunks and treat them as if not present.
        let whole = file(&[0, 0x90, 33, 64, 0x60, 33, 0, 0, 0xff, 0x2f, 0]);
        let mut bytes = whole[..14].to_vec();
        bytes.extend(b"XFIH\0\0\0\x02ab");
        bytes.extend(&whole[14..]);
        assert_eq!(read_song(&bytes).unwrap().parts.len(), 1);
    }
}
