//! A recorded take heard without a line, and written down as one.

use crate::hearing::listener::{ListenError, Listener, ListenerConfig};
use crate::music::instrument::Instrument;
use crate::session::ear;
use crate::session::offline::{SessionError, hear};
use crate::sound::block::Source;
use crate::transcribe::{self, Asked, WriteError, Written};
use crate::units::{Hertz, MidiNote, SampleRate};

/// Room above the highest fret, as a ratio of frequencies: a semitone, for a string that is bent.
const HEADROOM_RATIO: f64 = 1.06;

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
    let ear = listener(source.format().rate, &asked.instrument, a4);
    let ear = ear.map_err(|cause| SessionError::Listen {
        file: name.to_owned(),
        cause,
    })?;
    let heard = hear(source, ear).map_err(SessionError::Sound)?;
    transcribe::write(&heard, asked).map_err(|cause| WriteTakeError::Write {
        file: name.to_owned(),
        cause,
    })
}

/// A listener for all that can be played on an instrument.
fn listener(rate: SampleRate, instrument: &Instrument, a4: Hertz) -> Result<Listener, ListenError> {
    let (_, highest) = instrument.range();
    let top = MidiNote(f64::from(highest)).to_hertz(a4).0 * HEADROOM_RATIO;
    // At a low rate the highest frets cannot be told.
    let needed = ListenerConfig::bass(rate).highest;
    let open = instrument.tuning().open_strings();
    ear::listener(ear::config(rate, open, a4, Hertz(top)), needed)
}
