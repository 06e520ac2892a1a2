//! A recorded take heard without a line, and written down as one.
//!
//! | file | what it holds |
//! |---|---|
//! | `kept` | what is kept of a take while it is heard |
//! | `last_chord` | whether the last note is a chord |

mod kept;
mod last_chord;

use kept::Kept;

use crate::hearing::events::HeardNote;
use crate::hearing::listener::{ListenError, Listener, ListenerConfig};
use crate::music::instrument::Instrument;
use crate::session::ear;
use crate::session::offline::SessionError;
use crate::session::pump::{Beside as _, Pump, Turn};
use crate::sound::block::Source;
use crate::transcribe::{self, Asked, Listened, WriteError, Written};
use crate::units::{Hertz, MidiNote, SampleRate};

/// Room above the highest fret, as a ratio of frequencies: a semitone, for a string that is bent.
const HEADROOM_RATIO: f64 = 1.06;
/// Silence that the ear hears before a take, in seconds: a first note that the recording cuts off
/// begins with the take, and is heard to begin.
const BEFORE_S: f64 = 0.5;

/// Why a take could not be written. The messages say how to mend it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteTakeError {
    /// The take could not be heard to its end.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// What was heard could not be written.
    #[error("{file}: {cause}")]
    Write {
        /// The take as the player named it.
        file: String,
        /// Why.
        cause: WriteError,
    },
}

/// Listens to a take to its end and writes down what was played.
///
/// Input:   `name` is the take as messages call it; `a4` the frequency that the bass is tuned to.
/// Output:  the same for every way in which the source cuts its blocks.
///
/// # Errors
/// When the source fails on the way, when its rate or the instrument's pitches cannot be listened to,
/// or when nothing could be written.
pub fn write_take(
    name: &str,
    source: &mut dyn Source,
    asked: &Asked,
    a4: Hertz,
) -> Result<Written, WriteTakeError> {
    let rate = source.format().rate;
    let config = config(rate, &asked.instrument, a4);
    let ear = listener(&config).map_err(|cause| SessionError::Listen {
        file: name.to_owned(),
        cause,
    })?;
    let heard = listen(source, ear, asked, a4).map_err(SessionError::Sound)?;
    transcribe::write(&heard, asked).map_err(|cause| WriteTakeError::Write {
        file: name.to_owned(),
        cause,
    })
}

/// Listens to a take to its end.
fn listen(
    source: &mut dyn Source,
    ear: Listener,
    asked: &Asked,
    a4: Hertz,
) -> Result<Listened, crate::sound::SoundError> {
    let rate = source.format().rate;
    let mut kept = Kept::new(rate, a4);
    let mut pump = Pump::new(ear, usize::MAX);
    let silence = vec![0.0f32; (BEFORE_S * rate.hz()) as usize];
    let before_s = silence.len() as f64 / rate.hz();
    kept.samples(&silence);
    pump.ear.push(&silence, &mut |event| kept.say(event));
    // A file has nothing to wait for.
    while pump.turn(source, &mut kept)? == Turn::Heard {}
    pump.finish(&mut kept);
    let mut notes = kept.heard.notes;
    let config = config(rate, &asked.instrument, a4);
    let last_chord = kept.last.as_ref().and_then(|last| {
        let chord = last_chord::find(last, &config, asked.instrument.range(), &notes)?;
        Some((last.note.onset_s - before_s, chord))
    });
    notes.iter_mut().for_each(|note| earlier(note, before_s));
    let glides = kept.glides.into_iter();
    Ok(Listened {
        notes,
        glides: glides.map(|(onset_s, s)| (onset_s - before_s, s)).collect(),
        last_chord,
    })
}

/// Takes the silence before the take out of a note's times.
fn earlier(note: &mut HeardNote, by_s: f64) {
    note.onset_s -= by_s;
    note.release_s -= by_s;
    note.heard_at_s -= by_s;
    if let Some(named_at_s) = &mut note.named_at_s {
        *named_at_s -= by_s;
    }
    if let Some((other_s, _)) = &mut note.other_onset {
        *other_s -= by_s;
    }
    if let Some(arrived) = &mut note.arrived {
        arrived.at_s -= by_s;
    }
}

/// What the ear must know for all that can be played on an instrument.
fn config(rate: SampleRate, instrument: &Instrument, a4: Hertz) -> ListenerConfig {
    let (_, highest) = instrument.range();
    let top = MidiNote(f64::from(highest)).to_hertz(a4).0 * HEADROOM_RATIO;
    let open = instrument.tuning().open_strings();
    ear::config(rate, open, a4, Hertz(top))
}

/// The ear.
fn listener(config: &ListenerConfig) -> Result<Listener, ListenError> {
    // At a low rate the highest frets cannot be told.
    let needed = ListenerConfig::bass(config.rate).highest;
    ear::listener(config.clone(), needed)
}
