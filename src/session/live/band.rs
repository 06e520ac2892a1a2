//! The thread that plays to the player: click, guide, backing track, and the take played back.
//!
//! It keeps a little ahead of the device and no more, so that what is asked for is heard soon.
//! It knows frames of its own stream alone; when those are heard by the input is worked out by
//! whoever knows both clocks.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender};

use crate::session::live::replay::read_part;
use crate::session::live::tracks::Tracks;
use crate::sound::backing::{Backing, BackingPart};
use crate::sound::click::{Weight, add_click, click_frames};
use crate::sound::device::DeviceError;
use crate::units::{Decibels, SampleRate};

pub use crate::session::live::output::Output;

/// Opens the output, or opens it again after it was lost.
pub type OpenOutput = Box<dyn FnMut() -> Result<Box<dyn Output>, DeviceError> + Send>;

/// A click of a pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// Seconds from the start of bar 1.
    pub at_s: f64,
    /// How much it stands out.
    pub weight: Weight,
    /// Whether it belongs to the line; the count-in sounds even when the click is off.
    pub in_line: bool,
}

/// The line played by the synth.
#[derive(Clone, Debug, PartialEq)]
pub struct Guide {
    /// Mono samples at the output's rate.
    pub samples: Vec<f32>,
    /// Where bar 1 begins in them, in seconds.
    pub bar1_s: f64,
}

/// A pass to be played to.
#[derive(Clone, Debug, PartialEq)]
pub struct Music {
    /// To know the answer by.
    pub id: u32,
    /// The frame at which bar 1 is to begin; as soon as can be when none is given.
    pub bar1: Option<u64>,
    /// The clicks in order of time.
    pub beats: Vec<Beat>,
    /// The guide, if it is to be heard.
    pub guide: Option<Arc<Guide>>,
    /// The part of the backing track, if there is one.
    pub backing: Option<BackingPart>,
}

/// What the band is asked for.
#[derive(Debug)]
pub enum Order {
    /// Play to this pass, besides what already plays.
    Play(Music),
    /// Whether clicks of the line are heard.
    ClickSounds(bool),
    /// Be silent at once.
    Stop,
    /// Play back this part of a WAV file of 32-bit floats.
    Replay {
        /// The file.
        path: PathBuf,
        /// From, in seconds.
        from_s: f64,
        /// To, in seconds.
        to_s: f64,
    },
}

/// What the band says.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// Bar 1 of the pass with this id begins at this frame.
    Bar1 {
        /// The id of the pass.
        id: u32,
        /// The frame.
        frame: u64,
    },
    /// How the stream lies on the common clock.
    Clock {
        /// The moment of its first frame, in seconds.
        began_s: f64,
        /// How much faster than its rate it runs, in parts per million.
        drift_ppm: Option<f64>,
        /// Frames of silence the device was given because nothing was ready.
        late: u64,
    },
    /// The backing track cannot be played; a whole sentence.
    Backing(String),
    /// The replay is over, or could not be begun (why).
    ReplayOver(Option<String>),
    /// The output is gone; a whole sentence.
    Lost(String),
    /// It is back.
    Back,
}

/// Sound is kept ready this far ahead of the device, in seconds: more than a busy machine is held
/// up as a rule, less than a player notices when asking for something.
const AHEAD_S: f64 = 0.15;
/// The first click comes this long after it was asked for, in seconds.
const LEAD_S: f64 = 0.35;
/// Frames made at once.
const BLOCK_FRAMES: usize = 512;
/// The clock is told this often.
const CLOCK_EVERY: Duration = Duration::from_millis(200);
/// A lost output is tried again this often.
const TRY_EVERY: Duration = Duration::from_secs(1);
/// The guide and a replay peak at this level: below the click's accent, so that neither startles.
const PEAK: Decibels = Decibels(-18.0);

/// A pass waits no longer than this for its backing track, in seconds; after it the track comes in as
/// soon as it is made.
const WAIT_S: f64 = 20.0;

/// What is being played.
#[derive(Default)]
struct Playing {
    /// What plays to a pass besides click and guide.
    tracks: Tracks,
    /// A pass that begins when its backing track is made.
    waiting: Option<(Music, Instant)>,
    /// Passes with the frames of their first bars.
    music: Vec<(u64, Music)>,
    replay: Option<Replay>,
    muted: bool,
}

impl Playing {
    fn to(backing: Option<Backing>, rate: SampleRate) -> Self {
        Self {
            tracks: Tracks::new(backing, rate),
            ..Self::default()
        }
    }

    /// Whether all that goes with a pass is made, or will never be.
    fn is_ready(&self, music: &Music) -> bool {
        music
            .backing
            .is_none_or(|part| self.tracks.is_settled(&part))
    }

    /// Places a pass and says where.
    fn begin(&mut self, music: Music, output: &dyn Output, say: &Sender<Told>) {
        let opening_s = music.beats.first().map_or(0.0, |beat| beat.at_s.min(0.0));
        let soonest = output.written() + ((LEAD_S - opening_s) * output.rate().hz()) as u64;
        let frame = music.bar1.unwrap_or(soonest);
        let id = music.id;
        self.music.push((frame, music));
        say.send(Told::Bar1 { id, frame }).ok();
    }

    /// Takes in what was made of the backing track, and begins what waited for it.
    fn look(&mut self, output: &dyn Output, say: &Sender<Told>) {
        if let Some(reason) = self.tracks.take_in() {
            say.send(Told::Backing(reason)).ok();
        }
        if let Some((music, since)) = self.waiting.take() {
            if self.is_ready(&music) || since.elapsed().as_secs_f64() > WAIT_S {
                self.begin(music, output, say);
            } else {
                self.waiting = Some((music, since));
            }
        }
    }
}

struct Replay {
    samples: Vec<f32>,
    from: u64,
}

/// Plays until nobody asks any longer, and to this backing track, if there is one.
pub fn play(
    mut open: OpenOutput,
    mut output: Box<dyn Output>,
    backing: Option<Backing>,
    orders: &Receiver<Order>,
    say: &Sender<Told>,
    zero: Instant,
) {
    let mut playing = Playing::to(backing.clone(), output.rate());
    let mut told = Instant::now();
    loop {
        match orders.recv_timeout(Duration::from_millis(5)) {
            Ok(order) => obey(order, &mut playing, output.as_ref(), say),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
        playing.look(output.as_ref(), say);
        fill(&mut playing, output.as_mut(), say);
        let now = Instant::now();
        if now.duration_since(told) > CLOCK_EVERY {
            told = now;
            if !output.is_alive(now) {
                let name = output.name();
                say.send(Told::Lost(format!(
                    "{name} takes no more sound; the click is silent"
                )))
                .ok();
                match again(&mut open, orders) {
                    Some(back) => output = back,
                    None => return,
                }
                playing = Playing::to(backing.clone(), output.rate());
                say.send(Told::Back).ok();
            } else if let Some(began_s) = output.began_s(zero) {
                let clock = Told::Clock {
                    began_s,
                    drift_ppm: output.drift_ppm(zero),
                    late: output.late(),
                };
                say.send(clock).ok();
            }
        }
    }
}

/// Waits for the output to come back; `None` when nobody asks any longer.
fn again(open: &mut OpenOutput, orders: &Receiver<Order>) -> Option<Box<dyn Output>> {
    loop {
        if let Ok(output) = open() {
            return Some(output);
        }
        let until = Instant::now() + TRY_EVERY;
        loop {
            match orders.recv_deadline(until) {
                Ok(_) => {}
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => return None,
            }
        }
    }
}

fn obey(order: Order, playing: &mut Playing, output: &dyn Output, say: &Sender<Told>) {
    let rate = output.rate();
    match order {
        Order::Play(music) => {
            if let Some(part) = music.backing {
                playing.tracks.ask(part);
            }
            // What follows a pulse cannot wait.
            let waits = music.bar1.is_none() && !playing.is_ready(&music);
            if waits {
                playing.waiting = Some((music, Instant::now()));
            } else {
                playing.begin(music, output, say);
            }
        }
        Order::ClickSounds(on) => playing.muted = !on,
        Order::Stop => {
            playing.music.clear();
            playing.waiting = None;
            playing.replay = None;
        }
        Order::Replay { path, from_s, to_s } => match read_part(&path, from_s, to_s, rate) {
            Ok(samples) => {
                playing.music.clear();
                playing.waiting = None;
                playing.replay = Some(Replay {
                    samples,
                    from: output.written(),
                });
            }
            Err(reason) => {
                let reason = format!("{}: cannot be played back ({reason})", path.display());
                say.send(Told::ReplayOver(Some(reason))).ok();
            }
        },
    }
}

/// Makes what the device will soon ask for.
fn fill(playing: &mut Playing, output: &mut dyn Output, say: &Sender<Told>) {
    let rate = output.rate();
    let ahead = (AHEAD_S * rate.hz()) as u64;
    while output.written() < output.played() + ahead {
        let from = output.written();
        let mut block = [0.0f32; BLOCK_FRAMES];
        for (bar1, music) in &playing.music {
            add_music(&mut block, from, *bar1, music, playing.muted, rate);
            let track = music.backing.as_ref();
            if let Some(track) = track.and_then(|part| playing.tracks.of(part)) {
                add_guide(&mut block, *bar1 as i64 - from as i64, track, rate);
            }
        }
        if let Some(replay) = &playing.replay {
            let at = (from - replay.from) as usize;
            match replay.samples.get(at..) {
                Some(rest) if !rest.is_empty() => {
                    block.iter_mut().zip(rest).for_each(|(x, y)| *x += y);
                }
                _ => {
                    playing.replay = None;
                    say.send(Told::ReplayOver(None)).ok();
                }
            }
        }
        block.iter_mut().for_each(|x| *x = x.clamp(-1.0, 1.0));
        if output.write(&block) < block.len() {
            return;
        }
        let written = output.written();
        playing.music.retain(|(bar1, music)| {
            let last_s = music.beats.last().map_or(0.0, |beat| beat.at_s);
            let guide_s = music
                .guide
                .as_ref()
                .map_or(0.0, |g| g.samples.len() as f64 / rate.hz() - g.bar1_s);
            let track_s = music
                .backing
                .map_or(0.0, |part| (part.to_s - part.bar1_s) / part.share);
            let end = *bar1 as f64 + last_s.max(guide_s).max(track_s) * rate.hz();
            (written as f64) < end + click_frames(rate) as f64
        });
    }
}

fn add_music(
    block: &mut [f32],
    from: u64,
    bar1: u64,
    music: &Music,
    muted: bool,
    rate: SampleRate,
) {
    let bar1 = bar1 as i64 - from as i64;
    for beat in &music.beats {
        let start = bar1 + (beat.at_s * rate.hz()).round() as i64;
        let near = start < block.len() as i64 && start + click_frames(rate) as i64 > 0;
        if near && !(muted && beat.in_line) {
            add_click(block, start, beat.weight, rate);
        }
    }
    if let Some(guide) = &music.guide {
        add_guide(block, bar1, guide, rate);
    }
}

/// Adds what plays along; its bar 1 lies `bar1` frames behind the first of the block.
fn add_guide(block: &mut [f32], bar1: i64, guide: &Guide, rate: SampleRate) {
    let start = bar1 - (guide.bar1_s * rate.hz()).round() as i64;
    for (n, sample) in block.iter_mut().enumerate() {
        let at = usize::try_from(n as i64 - start).ok();
        *sample += at.and_then(|at| guide.samples.get(at)).unwrap_or(&0.0);
    }
}

/// Turns samples down so that they peak at the level of what is played.
pub fn turn_down(samples: &mut [f32]) {
    let top = samples.iter().fold(0.0f32, |top, x| top.max(x.abs()));
    let wanted = PEAK.to_amplitude() as f32;
    if top > wanted {
        samples.iter_mut().for_each(|x| *x *= wanted / top);
    }
}
