//! What the listening thread says to whoever leads.

use crate::hearing::calibration::KnownString;
use crate::hearing::events::Event;
use crate::session::live::snapshot::Level;
use crate::session::pump::Counted;
use crate::sound::keep::KeepNews;
use crate::sound::{SoundError, SoundNote};
use crate::units::FrameCount;

/// What the listening thread says.
#[derive(Debug)]
#[allow(
    clippy::large_enum_variant,
    reason = "an event goes through the channel as it is; a box would allocate for each"
)]
pub enum Said {
    /// The ear said this.
    Event(Event),
    /// What would be settled besides, were the stream over now: notes and rings.
    SoFar(Vec<Event>),
    /// Where the stream is.
    Position(Position),
    /// The input is gone; a whole sentence.
    Lost(String),
    /// It is back; for this long nothing was heard, in seconds.
    Back(f64),
    /// What there is to say of the take that is kept.
    Take(KeepNews),
    /// Nothing more will come.
    Over(Ending),
}

/// Where the stream is.
#[derive(Clone, Copy, Debug)]
pub struct Position {
    /// Its length so far in seconds, gaps included.
    pub at_s: f64,
    /// How loud it comes in.
    pub level: Level,
    /// Frames lost so far.
    pub lost: FrameCount,
    /// The moment of the stream's first frame on the common clock, in seconds.
    pub began_s: Option<f64>,
    /// How much faster than its rate the input runs, in parts per million.
    pub drift_ppm: Option<f64>,
}

/// How the listening ended.
#[derive(Debug, Default)]
pub struct Ending {
    /// What has come of the stream.
    pub counted: Counted,
    /// What there is to say about the sound.
    pub notes: Vec<SoundNote>,
    /// What the ear has learnt of the open strings, in the order in which they were given.
    pub strings: Vec<Option<KnownString>>,
    /// Whether the system refused to run the callbacks ahead of other work.
    pub priority_refused: bool,
    /// What listening cost.
    pub cost: Cost,
    /// What went wrong with the take, if anything did.
    pub take: Option<SoundError>,
    /// Why the input is gone, where it did not come back.
    pub input: Option<String>,
}

/// What listening cost, against the time there was.
#[derive(Clone, Copy, Debug, Default)]
pub struct Cost {
    /// Seconds of computing for all blocks together.
    pub total_s: f64,
    /// The longest a block took, as a share of the block's own length.
    pub worst_share: f64,
    /// The longest a block took, in seconds.
    pub worst_s: f64,
}
