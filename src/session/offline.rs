//! A take that is already there: judged as fast as it can be read.
//!
//! The way of the sound is the live one (source, listener, events); only the clock is missing.

use crate::compare::clicks::ClickedPass;
use crate::compare::judgement::TimingMode;
use crate::compare::marks::Marks;
use crate::hearing::events::{Event, HeardNote, HeardRing};
use crate::hearing::listener::{ListenError, Listener};
use crate::music::line::Line;
use crate::session::heard::Heard;
use crate::session::judging::{Asked, Judging, Taken};
use crate::session::known::KnownInstrument;
use crate::session::pump::{Beside, Pump, Turn};
use crate::session::result::TakeResult;
use crate::sound::SoundError;
use crate::sound::block::Source;
use crate::units::{Hertz, STANDARD_A4};

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
    /// The stretches of them that were asked for, where they do not touch; empty for all.
    pub stretches: Vec<(u32, u32)>,
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
            stretches: Vec::new(),
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
    let judging = Judging {
        line,
        a4: settings.a4,
        marks: &settings.marks,
        known: &settings.known,
    };
    let ear = judging.ear(rate).map_err(|cause| SessionError::Listen {
        file: name.to_owned(),
        cause,
    })?;
    let (heard, pump) = listen(source, ear, settings.block_frames)?;
    let asked = Asked {
        mode: settings.mode,
        clicks: settings.clicks.clone(),
        bars: settings.bars,
        stretches: settings.stretches.clone(),
    };
    let taken = Taken {
        file: name.to_owned(),
        rate,
        counted: pump.counted(),
        notes: source.notes(),
    };
    Ok(judging.result(asked, &heard, taken))
}

impl Beside for Heard {
    fn say(&mut self, event: Event) {
        self.take(event);
    }
}

/// Listens to a take to its end.
///
/// Output: the settled notes, weak ones included, in order of onset.
///
/// # Errors
/// When the source fails on the way.
pub fn hear(source: &mut dyn Source, ear: Listener) -> Result<Vec<HeardNote>, SoundError> {
    let (heard, _) = listen(source, ear, usize::MAX)?;
    Ok(heard.notes)
}

/// The same with the strings that rang beside the notes, in order of their beginning.
///
/// # Errors
/// When the source fails on the way.
pub fn hear_with_rings(
    source: &mut dyn Source,
    ear: Listener,
) -> Result<(Vec<HeardNote>, Vec<HeardRing>), SoundError> {
    let (heard, _) = listen(source, ear, usize::MAX)?;
    Ok((heard.notes, heard.rings))
}

/// Pulls a source that is all there to its end through the ear; gives what was heard, and the pump
/// with the ear and what was counted.
pub(super) fn listen(
    source: &mut dyn Source,
    ear: Listener,
    block_frames: usize,
) -> Result<(Heard, Pump), SoundError> {
    let mut heard = Heard::default();
    let mut pump = Pump::new(ear, block_frames);
    // A file has nothing to wait for.
    while pump.turn(source, &mut heard)? == Turn::Heard {}
    pump.finish(&mut heard);
    Ok((heard, pump))
}
