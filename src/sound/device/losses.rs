//! Frames that a device dropped by itself, because nobody fetched them in time: it does not say
//! so, and only the clock tells.
//!
//! A callback comes when its frames are there, or later. While a program or its machine is held up
//! callbacks come late, and when it goes on either all that was missing comes at once, and
//! callbacks are as late as ever, or they stay late for good: then the frames for that time are
//! gone. So a loss is what even the soonest callbacks of half a second after a pause are late by.
//! Until it is known whether it is one, nothing behind its place is handed out. Without a pause no
//! frame is dropped: where callbacks come ever later the card is slow or its server is starved, and
//! the sound is whole.
//!
//! # Source
//! The soonest of a window as the best reading of a clock: as in [`clock`](super::clock).

use std::collections::VecDeque;

use crate::sound::device::callback::{Lost, Stamp};

/// A loss is believed from this length on, in seconds. A loaded machine of two cores delivers its
/// soonest callback of half a second within 10 ms of the usual (measured by the rig's busy loops);
/// what a server changes in its buffers while it runs is less than 25 ms. Raised, shorter losses
/// stay unknown; lowered, a server that rearranges its buffers is taken for a loss.
pub const BELIEVED_S: f64 = 0.030;
/// What is missing is given up when nothing of it has come for this long, in seconds: some fifty
/// callbacks. Raised, what is heard after a loss is heard later.
const GIVEN_UP_AFTER_S: f64 = 0.5;
/// Callbacks this close to the soonest are as late as it, in seconds: a usual block and a little.
/// Raised, a loss is put more blocks too early; lowered, jitter alone moves its place.
const SAME_S: f64 = 0.012;
/// Frames are only lost after a pause between two callbacks of this length, in seconds: the sound
/// server of the rig keeps a quarter of a second for a program that does not fetch it. Raised, losses
/// after shorter pauses stay unknown; lowered, a starved server that stutters is taken for a loss.
const PAUSE_S: f64 = 0.2;
/// The first callbacks are passed over, in seconds: while a stream starts they come in bursts.
const STARTING_S: f64 = 0.5;
/// After that the usual lateness is learnt, in seconds; a loss within it stays unknown.
const LEARNING_S: f64 = 1.0;
/// Losses that may wait to be handed out.
const WAITING: usize = 16;

/// Watches when the callbacks of one stream come.
#[derive(Clone, Debug)]
pub struct LossWatch {
    rate_hz: f64,
    /// The moment of the first callback.
    began_s: Option<f64>,
    /// Where the stream's frame 0 lies on the clock when callbacks are no later than usual.
    usual_s: Option<f64>,
    /// From when the least lateness is looked for, and what it is.
    window: Option<(f64, f64)>,
    /// The moment of the last callback.
    last_s: Option<f64>,
    doubt: Option<Doubt>,
    found: VecDeque<Lost>,
    lost: u64,
}

/// Something is missing, and may come yet.
#[derive(Clone, Debug)]
struct Doubt {
    /// How late the soonest callback is, in seconds.
    least_s: f64,
    /// How late the callback was that brought something of it last, in seconds.
    brought_s: f64,
    /// The moment at which it did.
    since_s: f64,
    /// How late the callback before was, in seconds.
    last_s: f64,
    /// Where the missing frames may lie: behind the first callback that was as late as the soonest.
    /// Lateness and frames of the stream, later ones ever less late.
    places: VecDeque<(f64, u64)>,
}

impl Doubt {
    /// The next callback, after which the stream has `frames` frames.
    fn add(&mut self, at_s: f64, late_s: f64, frames: u64) {
        // Held up once more: what is missing now has the same time to come.
        let held_up = late_s > self.last_s + BELIEVED_S;
        self.last_s = late_s;
        if late_s < self.brought_s - SAME_S || held_up {
            (self.brought_s, self.since_s) = (late_s, at_s);
        }
        if late_s < self.least_s {
            self.least_s = late_s;
            self.places.push_back((late_s, frames));
        }
        while self.places.len() > 1 && self.places[0].0 > self.least_s + SAME_S {
            self.places.pop_front();
        }
    }

    /// Frames of the stream before what is missing, as far as it is known.
    fn place(&self) -> u64 {
        self.places.front().map_or(0, |place| place.1)
    }
}

impl LossWatch {
    /// For a stream that should run at `rate_hz` frames per second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            began_s: None,
            usual_s: None,
            window: None,
            last_s: None,
            doubt: None,
            found: VecDeque::with_capacity(WAITING),
            lost: 0,
        }
    }

    /// The next callback, at `at_s` seconds.
    pub fn add(&mut self, at_s: f64, stamp: &Stamp) {
        let frames = stamp.frames + stamp.block;
        let began_s = *self.began_s.get_or_insert(at_s);
        let pause_s = at_s - self.last_s.replace(at_s).unwrap_or(at_s);
        if at_s - began_s < STARTING_S {
            return;
        }
        let offset_s = at_s - frames as f64 / self.rate_hz;
        let usual_s = self.usual_s.get_or_insert(offset_s);
        *usual_s = usual_s.min(offset_s);
        let late_s = offset_s - *usual_s;
        if at_s - began_s < STARTING_S + LEARNING_S {
            return;
        }
        let paused = self.doubt.is_some() || pause_s >= PAUSE_S;
        if late_s <= BELIEVED_S || !paused {
            self.doubt = None;
            self.follow(at_s, late_s);
            return;
        }
        let doubt = self.doubt.get_or_insert_with(|| Doubt {
            least_s: late_s,
            brought_s: late_s,
            since_s: at_s,
            last_s: late_s,
            places: VecDeque::from([(late_s, stamp.frames)]),
        });
        doubt.add(at_s, late_s, frames);
        if at_s - doubt.since_s >= GIVEN_UP_AFTER_S {
            self.give_up();
        }
    }

    /// What is missing is lost; callbacks are as late as this from now on.
    fn give_up(&mut self) {
        let Some(doubt) = self.doubt.take() else {
            return;
        };
        let frames = (doubt.least_s * self.rate_hz).round() as u64;
        if let Some(usual_s) = &mut self.usual_s {
            *usual_s += doubt.least_s;
        }
        self.window = None;
        self.lost += frames;
        self.found.push_back(Lost {
            at: doubt.place(),
            frames,
        });
    }

    /// A clock that runs slow makes callbacks later and later: that is no loss, and usual from now on.
    fn follow(&mut self, at_s: f64, late_s: f64) {
        let (from_s, least_s) = self.window.get_or_insert((at_s, late_s));
        *least_s = least_s.min(late_s);
        let length_s = at_s - *from_s;
        if length_s >= LEARNING_S {
            if let Some(usual_s) = &mut self.usual_s {
                *usual_s += *least_s;
            }
            self.window = None;
        }
    }

    /// Whether something is missing that may come yet.
    pub fn in_doubt(&self) -> bool {
        self.doubt.is_some()
    }

    /// Frames found to be lost so far, handed out or not.
    pub fn lost(&self) -> u64 {
        self.lost
    }

    /// How many frames of the stream may be handed out, counted as the callbacks count them;
    /// `None` for all there are.
    pub fn until(&self) -> Option<u64> {
        let known = self.found.front().map(|lost| lost.at);
        known.or_else(|| self.doubt.as_ref().map(Doubt::place))
    }

    /// Hands out the loss that lies after `passed` frames of the stream, if there is one.
    pub fn due(&mut self, passed: u64) -> Option<u64> {
        let due = self.found.front().is_some_and(|lost| lost.at <= passed);
        due.then(|| self.found.pop_front())
            .flatten()
            .map(|lost| lost.frames)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 48_000.0;
    const BLOCK: u64 = 480;

    /// A made-up device whose blocks of 10 ms come `late_s` late, each by up to `jitter_s` more.
    struct Device {
        watch: LossWatch,
        frames: u64,
        /// The moment at which the next block is complete.
        due_s: f64,
        jitter_s: f64,
        /// How much faster than its rate it runs.
        fast: f64,
        seed: u64,
    }

    impl Device {
        fn new(jitter_s: f64, fast: f64) -> Self {
            Self {
                watch: LossWatch::new(RATE),
                frames: 0,
                due_s: 7.0,
                jitter_s,
                fast,
                seed: 5,
            }
        }

        fn block(&mut self, at_s: f64) {
            let stamp = Stamp {
                frames: self.frames,
                block: BLOCK,
                at_ns: 0,
            };
            self.frames += BLOCK;
            self.watch.add(at_s, &stamp);
        }

        /// Goes on for this long, in seconds.
        fn run(&mut self, length_s: f64) {
            let end_s = self.due_s + length_s;
            while self.due_s < end_s {
                self.due_s += BLOCK as f64 / RATE / (1.0 + self.fast);
                self.seed = self
                    .seed
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                let late = ((self.seed >> 40) % 1000) as f64 * 1e-3;
                self.block(self.due_s + late * self.jitter_s);
            }
        }

        /// Is held up for `length_s` seconds, with room for `room_s`: what is kept comes at once
        /// afterwards.
        fn hold_up(&mut self, length_s: f64, room_s: f64) {
            let on_s = self.due_s + length_s;
            let kept = (room_s.min(length_s) * RATE) as u64 / BLOCK;
            for k in 0..kept {
                self.block(on_s + k as f64 * 2e-5);
            }
            self.due_s = on_s;
        }

        fn found(&mut self) -> Vec<u64> {
            std::iter::from_fn(|| self.watch.due(u64::MAX)).collect()
        }
    }

    /// Closed form: with room for 2 s, of 3 s one is lost, behind what was kept.
    #[test]
    fn what_found_no_room_is_lost_at_its_place() {
        for (held_s, room_s) in [
            (3.0, 2.0),
            (3.0, 0.04),
            (0.3, 0.25),
            (5.0, 0.0),
            (0.25, 0.0),
        ] {
            let mut device = Device::new(0.008, 40e-6);
            device.run(10.0);
            let before = device.frames;
            device.hold_up(held_s, room_s);
            let place = device.frames;
            device.run(0.3);
            assert!(device.watch.in_doubt());
            let until = device.watch.until().expect("the rest is held back");
            assert!(
                until.abs_diff(place) <= 2 * BLOCK,
                "{until} {place} {before}"
            );
            device.run(1.2);
            assert!(!device.watch.in_doubt());
            let lost = device.watch.lost() as f64 / RATE;
            assert!(
                (lost - (held_s - room_s)).abs() < 0.009,
                "{held_s} {room_s}: {lost}"
            );
            let told = device.watch.until().expect("not handed out yet");
            assert!(told.abs_diff(place) <= 2 * BLOCK, "{told} {place}");
            assert_eq!(device.watch.due(told - 1), None);
            assert_eq!(device.watch.due(told), Some(device.watch.lost()));
            assert_eq!(device.watch.until(), None);
            // Nothing follows, and the next one is found as well.
            device.run(30.0);
            assert_eq!(device.found(), [0u64; 0]);
            device.hold_up(1.0, 0.5);
            device.run(2.0);
            assert_eq!(device.found().len(), 1);
        }
    }

    /// Blocks that come late, all of them, lose nothing, and neither does a clock that is off.
    #[test]
    fn lateness_alone_is_no_loss() {
        for jitter_s in [0.0, 0.009, 0.060, 0.100] {
            for fast in [0.0, 200e-6, -200e-6] {
                let mut device = Device::new(jitter_s, fast);
                device.run(20.0);
                for held_s in [0.02, 0.05, 0.4, 3.0] {
                    device.hold_up(held_s, 10.0);
                    device.run(3.0);
                }
                device.run(200.0);
                assert_eq!(device.found(), [0u64; 0], "{jitter_s} {fast}");
                assert_eq!(device.watch.lost(), 0);
            }
        }
    }

    /// Just below and above what is believed, and what is a pause.
    #[test]
    fn a_loss_is_believed_from_a_length_on() {
        for (held_s, room_s, found) in [
            (0.30, 0.28, 0),
            (0.30, 0.26, 1),
            (0.18, 0.0, 0),
            (0.20, 0.0, 1),
        ] {
            let mut device = Device::new(0.001, 0.0);
            device.run(10.0);
            device.hold_up(held_s, room_s);
            device.run(2.0);
            assert_eq!(device.found().len(), found, "{held_s} {room_s}");
        }
    }

    /// A starved server falls behind bit by bit, by a quarter of the time: its sound is whole. What
    /// is lost afterwards is found all the same.
    #[test]
    fn a_server_that_falls_behind_loses_nothing() {
        let mut device = Device::new(0.004, 0.0);
        device.run(5.0);
        for _ in 0..60 {
            device.run(0.35);
            device.hold_up(0.13, 0.0);
        }
        assert_eq!(device.found(), [0u64; 0]);
        device.run(5.0);
        device.hold_up(1.0, 0.5);
        device.run(2.0);
        let lost = device.watch.lost() as f64 / RATE;
        assert_eq!(device.found().len(), 1);
        assert!((lost - 0.5).abs() < 0.009, "{lost}");
    }

    /// A stream begins with bursts and with blocks that are late: nothing is lost by that.
    #[test]
    fn a_stream_may_begin_as_it_likes() {
        let mut device = Device::new(0.004, 0.0);
        device.hold_up(0.3, 0.3);
        device.hold_up(0.1, 0.0);
        device.run(20.0);
        assert_eq!(device.found(), [0u64; 0]);
    }
}
