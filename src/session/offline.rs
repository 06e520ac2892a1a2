//! A take that is already there: judged as fast as it can be read.
//!
//! The way of the sound is the live one (source, listener, events); only the clock is missing.

use crate::compare::clicks::ClickedPass;
use crate::compare::judgement::TimingMode;
use crate::compare::marks::Marks;
use crate::compare::{Settings, judge_with_rings};
use crate::hearing::calibration::KnownString;
use crate::hearing::events::{Event, HeardNote, HeardRing};
use crate::hearing::listener::{ListenError, Listener, ListenerConfig};
use crate::music::instrument::Tuning;
use crate::music::line::{Bar, EventKind, Length, Line, Start};
use crate::music::theory::Key;
use crate::session::instrument_file::KnownInstrument;
use crate::session::result::{BarSpan, LineInfo, NoteSign, Reached, TakeInfo, TakeResult};
use crate::sound::SoundError;
use crate::sound::block::{Delivery, Source};
use crate::units::{Decibels, FrameCount, Hertz, MidiNote, STANDARD_A4, SampleRate};

/// Room above the highest written note that is still listened to, as a ratio of frequencies: a
/// fifth, so that a wrong note up to there is heard as what it is. Raising it costs nothing but
/// rivals for the high notes.
const HEADROOM_RATIO: f64 = 1.5;

/// Room below the lowest open string, as a ratio: two semitones, for a string that is let down.
const FOOTROOM_RATIO: f64 = 0.89;

/// The lowest pitch that can be listened to, in hertz: where hearing a pitch ends, and a little
/// below the low B of a bass.
const LOWEST_HZ: f64 = 20.0;

/// How a take is to be judged.
#[derive(Clone, Debug, PartialEq)]
pub struct ScoreSettings {
    /// The frequency of A4 the instrument is tuned to.
    pub a4: Hertz,
    /// The limits between fine and flagged.
    pub marks: Marks,
    /// What was measured of the instrument and its player before, if anything.
    pub known: KnownInstrument,
    /// Whether the take was played to a click at the line's tempo.
    pub mode: TimingMode,
    /// First and last bar asked for; `None` for the whole line.
    pub bars: Option<(u32, u32)>,
    /// The stretches of the take whose click is known, in order of time.
    pub clicks: Vec<ClickedPass>,
    /// The listener gets at most this many frames at once, at least 1 (0 is taken as 1). It must
    /// not change the result; tests set it.
    pub block_frames: usize,
}

impl Default for ScoreSettings {
    fn default() -> Self {
        Self {
            a4: STANDARD_A4,
            marks: Marks::default(),
            known: KnownInstrument::default(),
            mode: TimingMode::Free,
            bars: None,
            clicks: Vec::new(),
            block_frames: 4096,
        }
    }
}

/// Why a take could not be judged. The messages say how to mend it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SessionError {
    /// The take could not be read to its end.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// The take cannot be listened to.
    #[error("{file}: {cause}")]
    Listen {
        /// The take as the player named it.
        file: String,
        /// Why.
        cause: ListenError,
    },
}

/// Listens to a take to its end and holds it against `line`.
///
/// Input:   `name` is the take as reports call it; `line` is the whole line, placed, set to the
///          tempo that is asked for.
/// Output:  the same for every way the source cuts its blocks, and for every `block_frames`.
/// Memory:  grows with the notes of the take, not with its length.
///
/// # Errors
/// When the source fails on the way, or when its rate or the line's pitches cannot be listened to.
pub fn score_take(
    name: &str,
    source: &mut dyn Source,
    line: &Line,
    settings: &ScoreSettings,
) -> Result<TakeResult, SessionError> {
    let rate = source.format().rate;
    let mut listener =
        listener(line, rate, settings.a4, &settings.known.strings).map_err(|cause| {
            SessionError::Listen {
                file: name.to_owned(),
                cause,
            }
        })?;
    let heard = listen(source, &mut listener, settings.block_frames.max(1))?;
    let loudest = Decibels::from_amplitude(f64::from(heard.peak)).0;
    let expected = line.expected(line.instrument());
    let open = open_midi(line.instrument().tuning());
    let judgement = judge_with_rings(
        &expected,
        &heard.notes,
        Some(&heard.rings),
        &Settings {
            marks: settings.marks.clone(),
            mode: settings.mode,
            clicks: settings.clicks.clone(),
            bars: settings.bars,
            usual: settings.known.usual(&open, settings.a4),
            open_midi: open,
            loudest_dbfs: loudest,
            keys: keys(line),
        },
    );
    Ok(TakeResult {
        line: info_of_bars(line, settings.bars),
        take: TakeInfo {
            file: name.to_owned(),
            sample_rate: rate.0,
            duration_s: heard.frames.to_seconds(rate).0,
            dropped_frames: heard.dropped.0,
            loudest_dbfs: loudest.is_finite().then_some(loudest),
            sound_notes: source.notes().iter().map(ToString::to_string).collect(),
        },
        judgement,
    })
}

/// The different chords of the line as MIDI notes, the lowest first.
fn chords(line: &Line) -> Vec<Vec<u8>> {
    let mut chords: Vec<Vec<u8>> = Vec::new();
    for note in line.expected(line.instrument()) {
        match chords.last_mut() {
            Some(chord) if note.with_previous => chord.push(note.midi),
            _ => chords.push(vec![note.midi]),
        }
    }
    chords.retain(|chord| chord.len() > 1);
    chords.iter_mut().for_each(|chord| chord.sort_unstable());
    chords.sort_unstable();
    chords.dedup();
    chords
}

/// The open strings, the thinnest first.
pub(super) fn open_midi(tuning: &Tuning) -> Vec<u8> {
    (1..=tuning.strings())
        .filter_map(|string| tuning.open_midi(string))
        .collect()
}

/// A listener for what can be played on the line's instrument.
pub(super) fn listener(
    line: &Line,
    rate: SampleRate,
    a4: Hertz,
    known_strings: &[KnownString],
) -> Result<Listener, ListenError> {
    let usual = ListenerConfig::bass(rate);
    let open = f64::from(line.instrument().range().0);
    let lowest = MidiNote(open).to_hertz(a4).0 * FOOTROOM_RATIO;
    let top = line
        .expected(line.instrument())
        .iter()
        .map(|note| MidiNote(f64::from(note.midi)).to_hertz(a4).0)
        .fold(0.0, f64::max);
    let hz = |midi: u8| MidiNote(f64::from(midi)).to_hertz(a4);
    let config = ListenerConfig {
        rate,
        a4,
        lowest: Hertz(lowest.max(LOWEST_HZ)),
        highest: Hertz(usual.highest.0.max(top * HEADROOM_RATIO)),
        known_strings: known_strings.to_vec(),
        after_stop: false,
        chords: chords(line)
            .into_iter()
            .map(|chord| chord.into_iter().map(hz).collect())
            .collect(),
        open_strings: open_midi(line.instrument().tuning())
            .into_iter()
            .map(hz)
            .collect(),
    };
    match Listener::new(config.clone()) {
        // The written notes themselves must fit; the room above them may be less than usual.
        Err(ListenError::Range { limit, .. }) if top < limit => Listener::new(ListenerConfig {
            highest: Hertz(limit),
            ..config
        }),
        made => made,
    }
}

/// What came out of a source.
pub(super) struct Heard {
    pub notes: Vec<HeardNote>,
    pub rings: Vec<HeardRing>,
    pub frames: FrameCount,
    pub dropped: FrameCount,
    /// The largest sample without its sign.
    pub peak: f32,
}

/// Pulls the source to its end through the listener.
pub(super) fn listen(
    source: &mut dyn Source,
    listener: &mut Listener,
    block_frames: usize,
) -> Result<Heard, SoundError> {
    let mut heard = Heard {
        notes: Vec::new(),
        rings: Vec::new(),
        frames: FrameCount(0),
        dropped: FrameCount(0),
        peak: 0.0,
    };
    let (mut notes, mut rings) = (Vec::new(), Vec::new());
    let mut settle = |event: Event| match event {
        Event::Settled(note) => notes.push(note),
        Event::Rang(ring) => rings.push(ring),
        Event::Started { .. } | Event::Named { .. } => {}
    };
    let mut block = Vec::new();
    loop {
        match source.next_block(&mut block)? {
            Delivery::Samples => {
                heard.frames.0 += block.len() as u64;
                heard.peak = block.iter().fold(heard.peak, |peak, s| peak.max(s.abs()));
                for part in block.chunks(block_frames) {
                    listener.push(part, &mut settle);
                }
            }
            Delivery::Gap(lost) => {
                heard.frames.0 += lost.0;
                heard.dropped.0 += lost.0;
                listener.gap(lost.0, &mut settle);
            }
            // A file has nothing to wait for.
            Delivery::Nothing | Delivery::End => break,
        }
    }
    listener.finish(&mut settle);
    heard.notes = notes;
    heard.rings = rings;
    Ok(heard)
}

/// What a report needs to know of the line, with the bars that were asked for.
pub(super) fn info_of_bars(line: &Line, bars: Option<(u32, u32)>) -> LineInfo {
    let mut info = line_info(line);
    if let Some((from, to)) = bars {
        let whole = info.bars.len();
        info.bars.retain(|bar| (from..=to).contains(&bar.number));
        info.part = info.bars.len() < whole;
    }
    info
}

/// The keys of a line, each with the bar from which on it holds.
pub(super) fn keys(line: &Line) -> Vec<(u32, Key)> {
    let mut keys: Vec<(u32, Key)> = Vec::new();
    for (number, bar) in (line.first_bar()..).zip(line.bars()) {
        if keys.last().is_none_or(|(_, key)| *key != bar.key) {
            keys.push((number, bar.key));
        }
    }
    keys
}

/// What a report needs to know of the line.
pub(super) fn line_info(line: &Line) -> LineInfo {
    let tuning = line.instrument().tuning();
    let strings = (1..=tuning.strings())
        .filter_map(|string| tuning.open_midi(string))
        // Strings go by their names in C, whatever the line's key: no E string is an F flat one.
        .map(|midi| Key::default().spell(midi).name.to_string())
        .collect();
    let mut start_quarters = -line.pickup_length().quarters();
    let mut bars = Vec::new();
    for (number, bar) in (line.first_bar()..).zip(line.bars()) {
        let length_quarters = bar.length().quarters();
        let offset = if bars.is_empty() && line.has_pickup() {
            bar.meter.bar_length() - bar.length()
        } else {
            Length::ZERO
        };
        bars.push(BarSpan {
            number,
            start_quarters,
            length_quarters,
            beat_quarters: bar.meter.beat_length().quarters(),
            first_beat: 1.0 + bar.meter.beats_in(offset),
            key: Some(bar.key),
            rests: rests(bar),
            signs: signs(bar),
            chords: bar
                .chords
                .iter()
                .map(|mark| (mark.at.quarters(), mark.symbol.text().to_owned()))
                .collect(),
        });
        start_quarters += length_quarters;
    }
    LineInfo {
        title: (!line.title().is_empty()).then(|| line.title().to_owned()),
        tempo_bpm: line.tempo().quarters_per_minute(),
        strings,
        bars,
        part: false,
    }
}

/// Where a bar's rests begin, in quarter notes from its start.
fn rests(bar: &Bar) -> Vec<f64> {
    let mut at = Length::ZERO;
    let mut rests = Vec::new();
    for event in &bar.events {
        if event.kind == EventKind::Rest {
            rests.push(at.quarters());
        }
        at += event.length;
    }
    rests
}

/// What is written beside a bar's notes.
fn signs(bar: &Bar) -> Vec<NoteSign> {
    let mut at = Length::ZERO;
    let mut signs = Vec::new();
    for event in &bar.events {
        if let EventKind::Notes { notes, start, .. } = &event.kind {
            signs.extend(notes.iter().map(|note| NoteSign {
                at: at.quarters(),
                midi: note.midi,
                finger: note.finger,
                reached: match start {
                    Start::Plucked => Reached::Pluck,
                    Start::Slurred => Reached::Slur,
                    Start::Slid => Reached::Slide,
                },
                triplet: is_triplet(event.length),
            }));
        }
        at += event.length;
    }
    signs
}

/// Whether a length is one of three in the place of two: a third of a plain or dotted one.
fn is_triplet(length: Length) -> bool {
    /// The shortest plain length, as parts of a quarter: a 256th note.
    const PARTS: f64 = 64.0;
    let whole = |parts: f64| (parts - parts.round()).abs() < 1e-6;
    let parts = length.quarters() * PARTS;
    !whole(parts) && whole(3.0 * parts)
}
