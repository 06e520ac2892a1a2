//! The listening thread: takes what the input has, keeps it, lets the ear hear it, and says what
//! was heard. It owns the ear and the take, and never waits for a dashboard.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::Sender;

use crate::hearing::calibration::KnownString;
use crate::hearing::events::Event;
use crate::hearing::listener::Listener;
use crate::session::live::snapshot::Level;
use crate::sound::block::{Delivery, Source};
use crate::sound::device::losses::BELIEVED_S;
use crate::sound::device::{Capture, DeviceError, Health};
use crate::sound::hum::HumMeter;
use crate::sound::keep::{KeepNews, Keeper};
use crate::sound::{SoundError, SoundNote};
use crate::units::{Decibels, FrameCount, SampleRate};

/// A source that runs by itself and may go away.
pub trait Input: Source {
    /// Frames lost since it was opened.
    fn lost(&self) -> FrameCount;

    /// Whether sound still comes. To be asked several times a second.
    fn is_alive(&mut self, now: Instant) -> bool;

    /// The moment of its first frame in seconds from `zero`, by its own clock; `None` when that
    /// cannot be told.
    fn began_s(&mut self, zero: Instant) -> Option<f64>;

    /// How much faster than its rate it runs, in parts per million.
    fn drift_ppm(&mut self, zero: Instant) -> Option<f64>;

    /// What it is called.
    fn name(&self) -> String;

    /// Whether the system refused to run its callbacks ahead of other work.
    fn priority_refused(&self) -> bool {
        false
    }
}

impl Input for Capture {
    fn priority_refused(&self) -> bool {
        Capture::priority_refused(self)
    }

    fn lost(&self) -> FrameCount {
        Capture::lost(self)
    }

    fn is_alive(&mut self, now: Instant) -> bool {
        self.health(now) == Health::Running
    }

    fn began_s(&mut self, zero: Instant) -> Option<f64> {
        self.clock(zero).offset_s()
    }

    fn drift_ppm(&mut self, zero: Instant) -> Option<f64> {
        self.clock(zero).drift_ppm()
    }

    fn name(&self) -> String {
        Capture::name(self).to_owned()
    }
}

/// Opens the input, or opens it again at the same rate after it was lost.
pub type OpenInput =
    Box<dyn FnMut(Option<SampleRate>) -> Result<Box<dyn Input>, DeviceError> + Send>;

/// What the listening thread says.
#[derive(Debug)]
#[allow(
    clippy::large_enum_variant,
    reason = "an event goes through the channel as it is; a box would allocate for each"
)]
pub enum Heard {
    /// The ear said this.
    Event(Event),
    /// What would be settled besides, were the stream over at this position, in seconds.
    SoFar {
        /// Settled notes and rings.
        events: Vec<Event>,
        /// Position in seconds.
        at_s: f64,
    },
    /// Where the stream is.
    Position(Position),
    /// The input is gone; a whole sentence.
    Lost(String),
    /// It is back; so much was not heard, in seconds.
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
    /// Frames of the stream, gaps included.
    pub frames: FrameCount,
    /// Frames lost of them.
    pub lost: FrameCount,
    /// The largest sample without its sign.
    pub peak: f32,
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

/// How the thread is to run.
pub struct Listening {
    /// The ear.
    pub listener: Listener,
    /// The take, if it is kept.
    pub keeper: Option<Keeper>,
    /// To be opened again when it is lost.
    pub open: OpenInput,
    /// Set from outside: enough.
    pub stop: Arc<AtomicBool>,
    /// The moment from which the common clock counts.
    pub zero: Instant,
    /// How long a lost input is waited for; `None` for ever.
    pub wait: Option<Duration>,
}

/// Without anything new the thread rests this long: short against the blocks of a device.
const REST: Duration = Duration::from_millis(3);
/// The position is said this often, in seconds of the stream.
const POSITION_EVERY_S: f64 = 0.020;
/// The ear is asked what it would say now this often, in seconds of the stream.
const SO_FAR_EVERY_S: f64 = 0.25;
/// ... for so long after a note began, in seconds: after that nothing new can be known.
const SO_FAR_WITHIN_S: f64 = 6.0;
/// Whether the input is alive is looked at this often.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// A lost input is tried again this often.
const TRY_EVERY: Duration = Duration::from_millis(700);
/// A new input's clock is listened to for this long: its first callbacks come in a burst, and what
/// comes meanwhile waits in its ring. Raised, what is heard after a loss is heard later.
const CLOCK_WITHIN: Duration = Duration::from_millis(400);
/// A new input's clock is sure after this long, in seconds: the first two windows of it are left
/// out. Raised, what it lost while it started becomes silence later, further from its place.
const CLOCK_SURE_S: f64 = 5.0;
/// Blocks shorter than this say nothing of the worst share: the clock's own cost is most of it.
const SHARE_FROM_FRAMES: usize = 64;

/// The loudest and the mean power of the last half second, window by window.
struct Meter {
    rate: SampleRate,
    windows: [(f32, f64); Self::WINDOWS],
    at: usize,
    filled: u32,
    hum: HumMeter,
}

impl Meter {
    /// Windows of 50 ms.
    const WINDOWS: usize = 10;

    fn new(rate: SampleRate) -> Self {
        Self {
            rate,
            windows: [(0.0, 0.0); Self::WINDOWS],
            at: 0,
            filled: 0,
            hum: HumMeter::new(rate),
        }
    }

    fn take(&mut self, samples: &[f32]) {
        self.hum.take(samples);
        let window = (self.rate.0 / 20).max(1);
        for x in samples {
            if self.filled == window {
                self.at = (self.at + 1) % Self::WINDOWS;
                self.windows[self.at] = (0.0, 0.0);
                self.filled = 0;
            }
            let (peak, power) = &mut self.windows[self.at];
            *peak = peak.max(x.abs());
            *power += f64::from(*x) * f64::from(*x) / f64::from(window);
            self.filled += 1;
        }
    }

    fn level(&self, clipped: u64) -> Level {
        let peak = self.windows.iter().fold(0.0f32, |top, w| top.max(w.0));
        let power = self.windows.iter().map(|w| w.1).sum::<f64>() / Self::WINDOWS as f64;
        Level {
            peak_dbfs: Decibels::from_amplitude(f64::from(peak)).0,
            rms_dbfs: Decibels::from_power(power).0,
            clipped,
            hum: self.hum.hum().map(|hum| (hum.mains.0, hum.level.0)),
        }
    }
}

/// What the thread carries from block to block.
struct Run<'a> {
    setup: Listening,
    say: &'a Sender<Heard>,
    rate: SampleRate,
    meter: Meter,
    ending: Ending,
    /// Frames of the stream before the input was last opened.
    before: u64,
    /// Frames lost before the input was last opened.
    lost_before: u64,
    /// After an outage: the moment of the take's first frame on the common clock as it was before,
    /// and the frame of the take at which the new input is held against it.
    to_check: Option<(f64, u64)>,
    said_at: f64,
    so_far_at: f64,
    started_at: f64,
}

/// Listens until it is told to stop, the input ends, or it is gone for good. What was heard is
/// said in the order in which it became known; nobody who listens there any longer ends it, too.
pub fn listen(setup: Listening, mut input: Box<dyn Input>, say: &Sender<Heard>) {
    let rate = input.format().rate;
    let mut run = Run {
        setup,
        say,
        rate,
        meter: Meter::new(rate),
        ending: Ending::default(),
        before: 0,
        lost_before: 0,
        to_check: None,
        said_at: 0.0,
        so_far_at: 0.0,
        started_at: f64::NEG_INFINITY,
    };
    while let Some(reason) = run.until_lost(input.as_mut()) {
        run.ending.notes = input.notes();
        let next_s = run.next_frame_s(input.as_mut());
        run.lost_before += input.lost().0;
        let last = Instant::now();
        drop(input);
        run.say(Heard::Lost(reason.clone()));
        match run.wait_for_input() {
            Some(back) => {
                let gone = last.elapsed();
                input = back;
                run.bridge(gone, next_s, input.as_mut());
            }
            None => {
                run.ending.input = Some(reason);
                run.end();
                return;
            }
        }
    }
    run.ending.notes.extend(input.notes());
    run.ending.priority_refused = input.priority_refused();
    run.ending.lost.0 = run.ending.lost.0.max(run.lost_before + input.lost().0);
    drop(input);
    run.end();
}

impl Run<'_> {
    fn say(&self, heard: Heard) {
        // Where nobody listens any longer the session is over.
        if self.say.send(heard).is_err() {
            self.setup.stop.store(true, Ordering::Relaxed);
        }
    }

    fn stopped(&self) -> bool {
        self.setup.stop.load(Ordering::Relaxed)
    }

    fn at_s(&self) -> f64 {
        self.ending.frames.to_seconds(self.rate).0
    }

    /// Pulls the input until it is lost (gives why) or there is an end.
    fn until_lost(&mut self, input: &mut dyn Input) -> Option<String> {
        let mut block = Vec::new();
        let mut looked = Instant::now();
        while !self.stopped() {
            match input.next_block(&mut block) {
                Ok(Delivery::Samples) => self.take(&block),
                Ok(Delivery::Gap(lost)) => self.gap(lost),
                Ok(Delivery::Nothing) => {
                    let now = Instant::now();
                    if now.duration_since(looked) > LOOK_EVERY {
                        looked = now;
                        if !input.is_alive(now) {
                            return Some(format!("{} sends no more sound", input.name()));
                        }
                    }
                    std::thread::sleep(REST);
                }
                Ok(Delivery::End) => return None,
                Err(error) => return Some(error.to_string()),
            }
            self.tell(input);
        }
        None
    }

    fn take(&mut self, block: &[f32]) {
        let began = Instant::now();
        self.ending.frames.0 += block.len() as u64;
        self.ending.peak = block.iter().fold(self.ending.peak, |p, x| p.max(x.abs()));
        if let Some(keeper) = &mut self.setup.keeper {
            keeper.keep(block);
        }
        self.meter.take(block);
        let (say, started) = (self.say, &mut self.started_at);
        self.setup.listener.push(block, &mut |event| {
            if let Event::Started { at_s, .. } = &event {
                *started = *at_s;
            }
            say.send(Heard::Event(event)).ok();
        });
        let took = began.elapsed().as_secs_f64();
        let cost = &mut self.ending.cost;
        cost.total_s += took;
        cost.worst_s = cost.worst_s.max(took);
        if block.len() >= SHARE_FROM_FRAMES {
            let length_s = block.len() as f64 / self.rate.hz();
            cost.worst_share = cost.worst_share.max(took / length_s);
        }
    }

    fn gap(&mut self, lost: FrameCount) {
        self.ending.frames.0 += lost.0;
        self.ending.lost.0 += lost.0;
        if let Some(keeper) = &mut self.setup.keeper {
            keeper.silence(lost);
        }
        let say = self.say;
        self.setup.listener.gap(lost.0, &mut |event| {
            say.send(Heard::Event(event)).ok();
        });
    }

    /// Says where the stream is, and what the ear would say now.
    fn tell(&mut self, input: &mut dyn Input) {
        let at_s = self.at_s();
        if at_s - self.said_at < POSITION_EVERY_S {
            return;
        }
        self.said_at = at_s;
        self.check_time(input);
        let clipped = |note: &SoundNote| match note {
            SoundNote::Clipped { runs, .. } => *runs,
            _ => 0,
        };
        let clipped = input.notes().iter().map(clipped).sum();
        let before_s = self.before as f64 / self.rate.hz();
        self.say(Heard::Position(Position {
            at_s,
            level: self.meter.level(clipped),
            lost: FrameCount(self.lost_before + input.lost().0),
            began_s: input.began_s(self.setup.zero).map(|s| s - before_s),
            drift_ppm: input.drift_ppm(self.setup.zero),
        }));
        let sounding = at_s - self.started_at < SO_FAR_WITHIN_S;
        if sounding && self.setup.listener.is_forming() && at_s - self.so_far_at >= SO_FAR_EVERY_S {
            self.so_far_at = at_s;
            let began = Instant::now();
            let events = self.setup.listener.so_far();
            self.ending.cost.total_s += began.elapsed().as_secs_f64();
            self.say(Heard::SoFar { events, at_s });
        }
        while let Some(news) = self.setup.keeper.as_ref().and_then(Keeper::news) {
            self.say(Heard::Take(news));
        }
    }

    /// Waits for the input to come back; `None` when that takes too long or nobody wants it.
    fn wait_for_input(&mut self) -> Option<Box<dyn Input>> {
        let began = Instant::now();
        loop {
            if self.stopped() || self.setup.wait.is_some_and(|wait| began.elapsed() > wait) {
                return None;
            }
            if let Ok(input) = (self.setup.open)(Some(self.rate))
                && input.format().rate == self.rate
            {
                return Some(input);
            }
            let resting = Instant::now();
            while resting.elapsed() < TRY_EVERY && !self.stopped() {
                std::thread::sleep(Duration::from_millis(20));
            }
        }
    }

    /// The moment on the common clock at which the next frame of this input would have passed.
    fn next_frame_s(&mut self, input: &mut dyn Input) -> Option<f64> {
        let frames = self.ending.frames.0 - self.before;
        let began_s = input.began_s(self.setup.zero)?;
        Some(began_s + frames as f64 / self.rate.hz())
    }

    /// What was missed while the input was gone is silence, so that time stays true: from the last
    /// frame of the old one to the first of the new one by their clocks, and no less than was
    /// waited (`gone`), which leaves out how long it took to notice.
    fn bridge(&mut self, gone: Duration, next_s: Option<f64>, input: &mut dyn Input) {
        let until = Instant::now() + CLOCK_WITHIN;
        let mut began_s = None;
        while next_s.is_some() && Instant::now() < until && !self.stopped() {
            std::thread::sleep(REST);
            began_s = input.began_s(self.setup.zero);
        }
        let by_clock = began_s.zip(next_s).map_or(0.0, |(new, old)| new - old);
        let gone_s = by_clock.max(gone.as_secs_f64());
        let missed = (gone_s * self.rate.hz()).round() as u64;
        self.gap(FrameCount(missed));
        self.lost_before += missed;
        let began_s = next_s.map(|s| s - (self.ending.frames.0 - missed) as f64 / self.rate.hz());
        self.before = self.ending.frames.0;
        let check_at = self.before + (CLOCK_SURE_S * self.rate.hz()) as u64;
        self.to_check = began_s.map(|began_s| (began_s, check_at));
        self.say(Heard::Back(gone_s));
    }

    /// Once a new input has run for a while its clock is sure: what it lost while it started is
    /// silence, too.
    fn check_time(&mut self, input: &mut dyn Input) {
        let Some((began_s, at)) = self.to_check else {
            return;
        };
        if self.ending.frames.0 < at {
            return;
        }
        self.to_check = None;
        let before_s = self.before as f64 / self.rate.hz();
        let late_s = input
            .began_s(self.setup.zero)
            .map(|s| s - before_s - began_s);
        if let Some(late_s) = late_s.filter(|late_s| *late_s > BELIEVED_S) {
            let missed = (late_s * self.rate.hz()).round() as u64;
            self.gap(FrameCount(missed));
            self.lost_before += missed;
            self.before += missed;
        }
    }

    fn end(mut self) {
        let say = self.say;
        self.setup.listener.finish(&mut |event| {
            say.send(Heard::Event(event)).ok();
        });
        self.ending.strings = self.setup.listener.strings();
        if let Some(keeper) = self.setup.keeper.take()
            && let Err(error) = keeper.finish()
        {
            self.ending.take = Some(error);
        }
        let ending = std::mem::take(&mut self.ending);
        self.say(Heard::Over(ending));
    }
}
