//! The ear for an instrument, with a line and without one.

use crate::hearing::listener::{ListenError, Listener, ListenerConfig};
use crate::units::{Hertz, MidiNote, SampleRate};

/// Room below the lowest open string, as a ratio: two semitones, for a string that is let down.
const FOOTROOM_RATIO: f64 = 0.89;

/// The lowest pitch that can be listened to, in hertz: where hearing a pitch ends, and a little
/// below the low B of a bass.
const LOWEST_HZ: f64 = 20.0;

/// What a listener is told of an instrument: its open strings, and pitches from a little below the
/// lowest of them up to `highest`, or to what is usual for a bass where that is higher.
///
/// Input: `open` holds the open strings as MIDI notes.
pub(super) fn config(rate: SampleRate, open: &[u8], a4: Hertz, highest: Hertz) -> ListenerConfig {
    let hz = |midi: u8| MidiNote(f64::from(midi)).to_hertz(a4);
    let usual = ListenerConfig::bass(rate);
    let lowest = open.iter().min().map_or(usual.lowest, |&midi| hz(midi));
    ListenerConfig {
        a4,
        lowest: Hertz((lowest.0 * FOOTROOM_RATIO).max(LOWEST_HZ)),
        highest: Hertz(usual.highest.0.max(highest.0)),
        open_strings: open.iter().map(|&midi| hz(midi)).collect(),
        ..usual
    }
}

/// A listener; at a low rate the highest pitches may be left out, as long as `needed` is among those
/// that can be told.
///
/// # Errors
/// When the rate or the pitches cannot be listened to.
pub(super) fn listener(config: ListenerConfig, needed: Hertz) -> Result<Listener, ListenError> {
    match Listener::new(config.clone()) {
        Err(ListenError::Range { limit, .. }) if needed.0 < limit => {
            Listener::new(ListenerConfig {
                highest: Hertz(limit),
                ..config
            })
        }
        made => made,
    }
}
