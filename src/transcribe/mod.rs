//! What was played becomes a line: rhythm, lengths, key, bars.
//!
//! Pure functions over values: no file, no clock, no device, no environment. Used by `session` and
//! `cli`.
//!
//! | file | what it holds |
//! |---|---|
//! | `candidates` | which heard events may be notes, and which pitch each has |
//! | `places` | the grid of a meter, and what each place costs |
//! | `quantise` | the cheapest way through the grid, with a clock that follows the player |
//! | `clockwork` | when each step was played, looked at from both sides |
//! | `click` | a click that can be heard |
//! | `tempo` | the tempo, when nobody says it |
//! | `swing` | uneven eighths |
//! | `lengths` | how long each note is written |
//! | `key` | which key it is in |
//! | `notate` | bars: rests, ties, note values |
//! | `page` | the line put together |
//! | `doubts` | what may be the one or the other |
//!
//! What a note is was heard already: the ear's evidence and its fitted models decide, and the rhythm
//! breaks ties.

mod candidates;
mod click;
mod clockwork;
mod doubts;
mod error;
mod key;
mod lengths;
mod notate;
mod page;
mod places;
mod quantise;
mod swing;
mod tempo;

use candidates::{Candidate, candidates};
use click::Click;
use clockwork::Clockwork;
pub use doubts::Doubt;
pub use error::WriteError;
use page::Page;
use places::Places;
use quantise::Pulse;
pub use tempo::FoundTempo;

use crate::hearing::events::HeardNote;
use crate::music::instrument::Instrument;
use crate::music::line::{Line, Meter};
use crate::music::theory::Key;

/// How near the tempo given is, one standard deviation as a share: within 6 % it is two.
const GIVEN_SD: f64 = 0.03;
/// A tempo that was found by itself is known this well, one standard deviation as a share.
const FOUND_SD: f64 = 0.015;
/// A click's tempo is known this well, one standard deviation as a share; the player may drift a little
/// against it.
const CLICK_SD: f64 = 0.004;
/// Rounds in which the line is written again with what it was found to be made of.
const ROUNDS: usize = 2;

/// Where the first note stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StartPlace {
    /// The bar; 0 is a pick-up.
    pub bar: u32,
    /// The beat, from 1, in the meter's beat unit.
    pub beat: f64,
}

impl Default for StartPlace {
    /// Bar 1 beat 1.
    fn default() -> Self {
        Self { bar: 1, beat: 1.0 }
    }
}

/// What is known of a take before it is written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Asked {
    /// The tempo in quarters a minute, right within 6 %; `None` where it is to be found.
    pub tempo_bpm: Option<f64>,
    /// The meter.
    pub meter: Meter,
    /// The key to spell by; `None` where it is to be found.
    pub key: Option<Key>,
    /// Where the first note stands.
    pub start: StartPlace,
    /// Whether it was played to a click that can be heard in it.
    pub click: bool,
    /// What it was played on.
    pub instrument: Instrument,
    /// The title of the line.
    pub title: String,
}

/// All that was heard of a take.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Listened {
    /// Heard notes in any order, weak ones included.
    pub notes: Vec<HeardNote>,
    /// For how long the pitch was under way to a note: that note's onset and the time, in seconds.
    pub glides: Vec<(f64, f64)>,
    /// The last note where it is a chord: its onset in seconds, and its pitches from the lowest up.
    pub last_chord: Option<(f64, Vec<u8>)>,
}

/// Where a written note was heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WrittenNote {
    /// Its onset in the take, in seconds.
    pub onset_s: f64,
    /// Its place in quarters from the beginning of the line's first full bar.
    pub quarters: f64,
    /// Its written length in quarters.
    pub length_quarters: f64,
    /// Its pitch, a MIDI note.
    pub midi: u8,
    /// True for a muted string.
    pub ghost: bool,
}

/// A take written down.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// The line, without places on the neck.
    pub line: Line,
    /// Every note, in order of time.
    pub notes: Vec<WrittenNote>,
    /// What is in doubt, in order.
    pub doubts: Vec<Doubt>,
    /// The tempo played, in quarters a minute.
    pub played_bpm: f64,
    /// The tempo as it was found; `None` where it was given.
    pub found_tempo: Option<FoundTempo>,
    /// How many clicks were heard in a take to a click; `None` where none was, or none was looked for.
    pub clicks: Option<usize>,
    /// True where the key was found from the notes.
    pub key_found: bool,
}

/// Writes down what was heard.
///
/// Input:   all that was heard of the take.
/// Output:  a line in the meter asked for, with full bars.
///
/// # Errors
/// When nothing was heard, when there is no tempo to be found, or when what was asked for cannot be
/// written.
pub fn write(listened: &Listened, asked: &Asked) -> Result<Written, WriteError> {
    let places = Places::new(asked.meter).ok_or(WriteError::Meter(asked.meter))?;
    let first = first_step(asked, places)?;
    let (lowest, _) = asked.instrument.range();
    let mut heard = listened.notes.clone();
    let click = asked
        .click
        .then(|| click::find(&heard, places, asked.tempo_bpm))
        .flatten();
    if let Some(click) = click {
        click.disbelieve(&mut heard);
    }
    let heard = candidates(&heard, &listened.glides, lowest);
    if heard.is_empty() {
        return Err(WriteError::NothingHeard);
    }
    let (pulse, found) = match click {
        Some(click) => by_click(click, &heard, asked, first),
        None => by_playing(&heard, asked, places, first)?,
    };
    let (mut pulse, mut way) = swing::straight_or_swung(&heard, places, pulse, first, asked.meter);
    let mut places = places;
    for _ in 0..ROUNDS {
        places = places.after(way.notes.iter().map(|note| note.step));
        pulse.swing = None;
        (pulse, way) = swing::straight_or_swung(&heard, places, pulse, first, asked.meter);
    }
    let clockwork = Clockwork::new(&way.notes, &heard, places, pulse);
    let clockwork = clockwork.ok_or(WriteError::NothingHeard)?;
    let lengths = lengths::lengths(&way.notes, &heard, places, &clockwork);
    let page = Page {
        asked,
        places,
        heard: &heard,
        way: &way,
        clockwork: &clockwork,
        lengths: &lengths,
        clicks: click.map(|click| click.heard),
        last_chord: listened.last_chord.as_ref(),
    };
    page.write(pulse, found)
}

/// The pulse of a click: its beat nearest to the first note is the beat on which that note stands, or
/// the one before it.
fn by_click(
    click: Click,
    heard: &[Candidate],
    asked: &Asked,
    first: i64,
) -> (Pulse, Option<FoundTempo>) {
    let bpm = click.bpm();
    let opening = heard.iter().find(|candidate| candidate.nats > 0.0);
    let opening_s = opening.or(heard.first()).map_or(0.0, |c| c.onset_s);
    let step_s = click.period_s / click.steps as f64;
    // The beat of the click that belongs to the first note's own beat.
    let beat = first.div_euclid(click.steps) * click.steps;
    let due_s = opening_s - (first - beat) as f64 * step_s;
    let beat_s = due_s - click.off_s(due_s);
    let pulse = Pulse {
        bpm,
        sd: CLICK_SD,
        swing: None,
        zero_s: Some(beat_s - beat as f64 * step_s),
    };
    let found = asked.tempo_bpm.is_none().then_some(FoundTempo {
        bpm,
        by_click: true,
        share: click.share,
        octave: None,
        other: None,
    });
    (pulse, found)
}

/// The pulse of a take without a click: the tempo given, or the one that is found in it.
fn by_playing(
    heard: &[Candidate],
    asked: &Asked,
    places: Places,
    first: i64,
) -> Result<(Pulse, Option<FoundTempo>), WriteError> {
    let (bpm, sd, found) = match asked.tempo_bpm {
        Some(bpm) => (bpm, GIVEN_SD, None),
        None => {
            let found = tempo::find(heard, places, first).ok_or(WriteError::NoTempo)?;
            (found.bpm, FOUND_SD, Some(found))
        }
    };
    let pulse = Pulse {
        bpm,
        sd,
        swing: None,
        zero_s: None,
    };
    Ok((pulse, found))
}

/// The step of the first note, from the start asked for; step 0 is the beginning of bar 1, or of the
/// bar of the start where that lies further on.
fn first_step(asked: &Asked, places: Places) -> Result<i64, WriteError> {
    let StartPlace { bar, beat } = asked.start;
    let wrong = |why: &'static str| WriteError::Start { bar, beat, why };
    let quarters = (beat - 1.0) * 4.0 / f64::from(asked.meter.unit());
    let exact = quarters * places::STEPS as f64;
    let step = exact.round();
    if !exact.is_finite() || step < 0.0 || step >= places.bar as f64 {
        return Err(wrong("the bar has no such beat; beats count from 1"));
    }
    if (exact - step).abs() > 0.05 || places.cost(step as i64).is_none() {
        return Err(wrong(
            "notes begin on sixteenths and triplets, as in 1:1, 0:4 or 1:2.5",
        ));
    }
    match (bar, step as i64) {
        (0, 0) => Err(wrong("a pick-up is shorter than a bar; say bar 1")),
        (0, step) => Ok(step - places.bar),
        (_, step) => Ok(step),
    }
}
