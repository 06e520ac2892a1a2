//! The listening thread: takes what the input has, keeps it, lets the ear hear it, and says what
//! was heard. It owns the ear and the take, and never waits for a dashboard.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::Sender;

use crate::hearing::events::Event;
use crate::hearing::listener::Listener;
use crate::session::live::input::{Input, OpenInput};
use crate::session::live::meter::Meter;
use crate::session::live::said::{Ending, Position, Said};
use crate::session::pump::{Beside, Pump, Turn};
use crate::sound::SoundNote;
use crate::sound::device::losses::BELIEVED_S;
use crate::sound::keep::Keeper;
use crate::units::{FrameCount, SampleRate};

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
/// The ear is asked that up to this long after a note began, in seconds: after that nothing new
/// can be known of it. Raised, a string that rings on for long costs more to listen to.
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

/// What is done with the sound beside hearing it: it is kept and metered, and what the ear says is
/// handed on.
struct OnTheWay<'a> {
    keeper: Option<Keeper>,
    meter: Meter,
    say: &'a Sender<Said>,
    /// When the last note was heard to start in sound that came, in seconds of the stream.
    started_at: f64,
    /// When the block that is being heard came, and its length in frames; `None` in a gap.
    block: Option<(Instant, usize)>,
}

impl Beside for OnTheWay<'_> {
    fn say(&mut self, event: Event) {
        if let (Event::Started { at_s, .. }, Some(_)) = (&event, &self.block) {
            self.started_at = *at_s;
        }
        self.say.send(Said::Event(event)).ok();
    }

    fn samples(&mut self, block: &[f32]) {
        self.block = Some((Instant::now(), block.len()));
        if let Some(keeper) = &mut self.keeper {
            keeper.keep(block);
        }
        self.meter.take(block);
    }

    fn gap(&mut self, lost: FrameCount) {
        self.block = None;
        if let Some(keeper) = &mut self.keeper {
            keeper.silence(lost);
        }
    }
}

/// What the thread carries from block to block.
struct Run<'a> {
    pump: Pump,
    way: OnTheWay<'a>,
    open: OpenInput,
    stop: Arc<AtomicBool>,
    zero: Instant,
    wait: Option<Duration>,
    rate: SampleRate,
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
}

/// Listens until it is told to stop, the input ends, or it is gone for good. What was heard is
/// said in the order in which it became known; nobody who listens there any longer ends it, too.
pub fn listen(setup: Listening, mut input: Box<dyn Input>, say: &Sender<Said>) {
    let rate = input.format().rate;
    let mut run = Run {
        pump: Pump::new(setup.listener, usize::MAX),
        way: OnTheWay {
            keeper: setup.keeper,
            meter: Meter::new(rate),
            say,
            started_at: f64::NEG_INFINITY,
            block: None,
        },
        open: setup.open,
        stop: setup.stop,
        zero: setup.zero,
        wait: setup.wait,
        rate,
        ending: Ending::default(),
        before: 0,
        lost_before: 0,
        to_check: None,
        said_at: 0.0,
        so_far_at: 0.0,
    };
    while let Some(reason) = run.until_lost(input.as_mut()) {
        run.ending.notes = input.notes();
        let next_s = run.next_frame_s(input.as_mut());
        run.lost_before += input.lost().0;
        let last = Instant::now();
        drop(input);
        run.say(Said::Lost(reason.clone()));
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
    run.ending.counted.dropped.0 = run.lost_before + input.lost().0;
    drop(input);
    run.end();
}

impl Run<'_> {
    fn say(&self, said: Said) {
        // Where nobody listens any longer the session is over.
        if self.way.say.send(said).is_err() {
            self.stop.store(true, Ordering::Relaxed);
        }
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    fn frames(&self) -> u64 {
        self.pump.counted().frames.0
    }

    fn at_s(&self) -> f64 {
        self.pump.counted().frames.to_seconds(self.rate).0
    }

    /// Pulls the input until it is lost (gives why) or there is an end.
    fn until_lost(&mut self, input: &mut dyn Input) -> Option<String> {
        let mut looked = Instant::now();
        while !self.stopped() {
            match self.pump.turn(input, &mut self.way) {
                Ok(Turn::Heard) => self.count_cost(),
                Ok(Turn::Nothing) => {
                    let now = Instant::now();
                    if now.duration_since(looked) > LOOK_EVERY {
                        looked = now;
                        if !input.is_alive(now) {
                            return Some(format!("{} sends no more sound", input.name()));
                        }
                    }
                    std::thread::sleep(REST);
                }
                Ok(Turn::End) => return None,
                Err(error) => return Some(error.to_string()),
            }
            self.tell(input);
        }
        None
    }

    /// Counts what it cost to hear the block that came last.
    fn count_cost(&mut self) {
        let Some((began, frames)) = self.way.block else {
            return;
        };
        let took = began.elapsed().as_secs_f64();
        let cost = &mut self.ending.cost;
        cost.total_s += took;
        cost.worst_s = cost.worst_s.max(took);
        if frames >= SHARE_FROM_FRAMES {
            let length_s = frames as f64 / self.rate.hz();
            cost.worst_share = cost.worst_share.max(took / length_s);
        }
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
        self.say(Said::Position(Position {
            at_s,
            level: self.way.meter.level(clipped),
            lost: FrameCount(self.lost_before + input.lost().0),
            began_s: input.began_s(self.zero).map(|s| s - before_s),
            drift_ppm: input.drift_ppm(self.zero),
        }));
        let sounding = at_s - self.way.started_at < SO_FAR_WITHIN_S;
        if sounding && self.pump.ear.is_forming() && at_s - self.so_far_at >= SO_FAR_EVERY_S {
            self.so_far_at = at_s;
            let began = Instant::now();
            let events = self.pump.ear.so_far();
            self.ending.cost.total_s += began.elapsed().as_secs_f64();
            self.say(Said::SoFar(events));
        }
        while let Some(news) = self.way.keeper.as_ref().and_then(Keeper::news) {
            self.say(Said::Take(news));
        }
    }

    /// Waits for the input to come back; `None` when that takes too long or nobody wants it.
    fn wait_for_input(&mut self) -> Option<Box<dyn Input>> {
        let began = Instant::now();
        loop {
            if self.stopped() || self.wait.is_some_and(|wait| began.elapsed() > wait) {
                return None;
            }
            if let Ok(input) = (self.open)(Some(self.rate))
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
        let frames = self.frames() - self.before;
        let began_s = input.began_s(self.zero)?;
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
            began_s = input.began_s(self.zero);
        }
        let by_clock = began_s.zip(next_s).map_or(0.0, |(new, old)| new - old);
        let gone_s = by_clock.max(gone.as_secs_f64());
        let missed = (gone_s * self.rate.hz()).round() as u64;
        self.pump.gap(FrameCount(missed), &mut self.way);
        self.lost_before += missed;
        let began_s = next_s.map(|s| s - (self.frames() - missed) as f64 / self.rate.hz());
        self.before = self.frames();
        let check_at = self.before + (CLOCK_SURE_S * self.rate.hz()) as u64;
        self.to_check = began_s.map(|began_s| (began_s, check_at));
        self.say(Said::Back(gone_s));
    }

    /// Once a new input has run for a while its clock is sure: what it lost while it started is
    /// silence, too.
    fn check_time(&mut self, input: &mut dyn Input) {
        let Some((began_s, at)) = self.to_check else {
            return;
        };
        if self.frames() < at {
            return;
        }
        self.to_check = None;
        let before_s = self.before as f64 / self.rate.hz();
        let late_s = input.began_s(self.zero).map(|s| s - before_s - began_s);
        if let Some(late_s) = late_s.filter(|late_s| *late_s > BELIEVED_S) {
            let missed = (late_s * self.rate.hz()).round() as u64;
            self.pump.gap(FrameCount(missed), &mut self.way);
            self.lost_before += missed;
            self.before += missed;
        }
    }

    fn end(mut self) {
        self.way.block = None;
        self.pump.finish(&mut self.way);
        let counted = &mut self.ending.counted;
        let lost = counted.dropped;
        *counted = self.pump.counted();
        counted.dropped = counted.dropped.max(lost);
        self.ending.strings = self.pump.ear.strings();
        if let Some(keeper) = self.way.keeper.take()
            && let Err(error) = keeper.finish()
        {
            self.ending.take = Some(error);
        }
        let ending = std::mem::take(&mut self.ending);
        self.say(Said::Over(ending));
    }
}
