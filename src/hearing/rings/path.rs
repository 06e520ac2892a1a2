//! When a string began to ring and when it stopped: the most likely path through the windows.
//!
//! # Source
//! A. J. Viterbi (1967), *Error bounds for convolutional codes and an asymptotically optimum
//! decoding algorithm*, IEEE Trans. Inf. Theory 13, 260-269, with two states. It runs as the
//! windows come: both states carry the rings of their own best path, and when being silent is far
//! ahead its rings are settled.

use arrayvec::ArrayVec;

use super::evidence::Reading;
use crate::hearing::events::RingFeatures;

/// What it costs a note that was left ringing to ring right after its release, in nats: low,
/// since what is told is weighed once more as a whole. Raised, fewer notes left ringing are told.
const START_AFTER_SOURCE: f64 = -1.5;
/// What it costs a string to begin to ring at the onset of another note, in nats: low, for the
/// same reason. Raised, fewer strings that were set off are told.
const START_AT_ONSET: f64 = 0.0;
/// What it costs a string to begin to ring anywhere else, in nats. Set on recorded takes and on
/// rendered basses; raised, rings that begin within a note are told less often.
const START_IN_NOTE: f64 = 5.0;
/// What it costs a ring to cease at the end of a note, in nats. Set on recorded takes and on
/// rendered basses; raised, rings are told longer.
const END_AT_ONSET: f64 = 0.5;
/// What it costs a ring to cease within a note, in nats. Set on recorded takes and on rendered
/// basses; raised, rings are told longer.
const END_IN_NOTE: f64 = 2.5;
/// Most that one window says against a string, in nats. Lowered, one window without a trace of a
/// string ends its ring.
const LEAST: f64 = -4.0;
/// Most that one window says for a string, in nats. Raised, a single loud window makes a ring.
const MOST: f64 = 5.0;
/// How many times louder than in the window before a string may be and still be the same ring, as a
/// ratio of powers. Beyond it something was set off anew. Raised, a resonance under every note is
/// one long ring.
const SWELL: f64 = 2.0;
/// What a swell beyond that costs the ring that goes on, in nats for each neper. Raised, rings that
/// swell are over sooner.
const SWELL_COSTS: f64 = 2.0;
/// Most nepers of a swell that are charged.
const SWELL_MOST: f64 = 3.0;
/// A string that is heard in one window and not in the next ceased this share of a window before
/// the end of the first: windows overlap by half.
const OVERLAP: f64 = 0.4;
/// Silence this far ahead is settled.
const SETTLED: f64 = 9.0;

/// Where a window lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Its beginning, or the onset that opens it.
    pub from: f64,
    /// Its end.
    pub to: f64,
    /// True for the first window after an onset.
    pub begins: bool,
    /// True for the last window before the next onset or release.
    pub ends: bool,
    /// True for a second look at the last part of the window before.
    pub again: bool,
}

impl Place {
    /// Up to where a string has rung that rings in this window and not in the next: to its end
    /// where a note ends, else to where the next one begins to speak.
    fn heard_to(self) -> f64 {
        if self.ends {
            self.to
        } else {
            self.to - OVERLAP * (self.to - self.from)
        }
    }
}

/// What one window says of one string.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Where it lies.
    pub place: Place,
    /// Evidence that the string has begun to ring; not a number when nothing can be told.
    pub fresh: f64,
    /// Evidence that it still rings.
    pub aged: f64,
    /// What it shows.
    pub reading: Reading,
    /// Power of all that sounds.
    pub all: f64,
    /// How much more likely it is that it carries on the note before than that it does not, in nats.
    pub carried: Option<f64>,
    /// True for a note that may have been left ringing.
    pub left: bool,
    /// True for the first window after that note.
    pub after_source: bool,
}

/// One stretch of ringing.
#[derive(Clone, Copy, Debug)]
pub struct Found {
    /// Its beginning, place in the stream.
    pub from: f64,
    /// Its end.
    pub to: f64,
    /// Power of the string, summed over the windows.
    pub power: f64,
    /// Power of all that sounds, summed over the same windows.
    pub all: f64,
    /// How much more likely than silence, in nats.
    pub evidence: f64,
    /// The window in which it began.
    first: Look,
    /// Sums over the windows: level, clearness, share, own partials, scatter.
    sums: [f64; 5],
    /// Windows that told.
    windows: f64,
}

impl Found {
    fn new(look: &Look, evidence: f64) -> Self {
        let p = look.place;
        let mut found = Self {
            from: p.from,
            to: p.heard_to(),
            power: 0.0,
            all: 0.0,
            evidence,
            first: *look,
            sums: [0.0; 5],
            windows: 0.0,
        };
        found.add(look);
        found
    }

    fn add(&mut self, look: &Look) {
        let r = &look.reading;
        self.power += r.power;
        self.all += look.all;
        let values = [r.level_db, r.clear_db, r.share, r.own, r.scatter_db];
        for (sum, value) in self.sums.iter_mut().zip(values) {
            *sum += value;
        }
        self.windows += 1.0;
    }

    /// What it looked like.
    pub fn features(&self) -> RingFeatures {
        let mean = self.sums.map(|sum| sum / self.windows);
        RingFeatures {
            first_db: self.first.reading.level_db,
            level_db: mean[0],
            clear_db: mean[1],
            share: mean[2],
            own: mean[3],
            scatter_db: mean[4],
            carried: self.first.carried,
            at_onset: self.first.place.begins,
        }
    }
}

/// Rings that wait to be told; nothing is allocated while sound comes in. A path settles after a
/// second or two of silence, in which few rings begin; were there more, the oldest would go.
type FoundList = ArrayVec<Found, FOUND>;

/// Room for the rings that wait on one path.
const FOUND: usize = 12;

/// The two best paths: silent now, or ringing now.
#[derive(Clone, Debug, Default)]
pub struct Path {
    silent: f64,
    silent_found: FoundList,
    ringing: Option<(f64, FoundList, Found)>,
    told: FoundList,
    last_ended: bool,
    /// Power in the last window that could tell.
    last_power: f64,
}

impl Path {
    /// The next window.
    pub fn look(&mut self, look: Look) {
        let p = look.place;
        // Windows that can tell nothing keep what is.
        let told = look.fresh.is_finite();
        let clip = |e: f64| if told { e.clamp(LEAST, MOST) } else { 0.0 };
        let (fresh, aged) = (clip(look.fresh), clip(look.aged));
        let start = match (look.after_source, p.begins) {
            (true, _) => START_AFTER_SOURCE,
            (false, true) if !look.left => START_AT_ONSET,
            _ => START_IN_NOTE,
        };
        let begun = told.then(|| {
            let found = Found::new(&look, fresh - start);
            (self.silent + fresh - start, found)
        });
        let kept = self.ringing.take();
        let end = if p.begins || self.last_ended {
            END_AT_ONSET
        } else {
            END_IN_NOTE
        };
        // Silent now.
        if let Some((score, found, ring)) = &kept
            && score - end > self.silent
        {
            self.silent_now(score - end, found.clone(), *ring);
        }
        // Ringing now.
        let going = kept.map(|(score, found, ring)| {
            // A string that rings on only dies away: what swells when another note begins is that
            // note's own, or the body's.
            let swell = look.reading.power / self.last_power.max(1e-20);
            let aged = if told && self.last_power > 0.0 && swell > SWELL {
                aged - SWELL_COSTS * swell.ln().min(SWELL_MOST)
            } else {
                aged
            };
            let mut ring = Found {
                to: p.heard_to(),
                evidence: ring.evidence + aged,
                ..ring
            };
            if told {
                ring.add(&look);
            }
            (score + aged, found, ring)
        });
        self.ringing = match (going, begun) {
            (Some(g), Some((score, ring))) if score > g.0 => {
                Some((score, self.silent_found.clone(), ring))
            }
            (Some(g), _) => Some(g),
            (None, Some((score, ring))) => Some((score, self.silent_found.clone(), ring)),
            (None, None) => None,
        };
        self.last_ended = p.ends;
        if told {
            self.last_power = look.reading.power;
        }
        self.settle();
    }

    fn silent_now(&mut self, score: f64, mut found: FoundList, ring: Found) {
        push(&mut found, ring);
        self.silent = score;
        self.silent_found = found;
    }

    /// It cannot ring beyond `at`: the string itself is played, or the stream is over.
    pub fn close(&mut self, at: f64) {
        if let Some((score, found, mut ring)) = self.ringing.take()
            && score - END_AT_ONSET > self.silent
        {
            ring.to = ring.to.min(at);
            self.silent_now(score - END_AT_ONSET, found, ring);
        }
        self.tell_silent();
        self.silent = 0.0;
        self.last_ended = true;
        self.last_power = 0.0;
    }

    fn tell_silent(&mut self) {
        for found in self.silent_found.drain(..) {
            push(&mut self.told, found);
        }
    }

    fn settle(&mut self) {
        let ahead = match &self.ringing {
            Some((score, _, _)) => self.silent - score,
            None => f64::INFINITY,
        };
        if ahead > SETTLED {
            self.tell_silent();
            self.silent = 0.0;
            self.ringing = None;
        }
    }

    /// True while it may still be ringing.
    pub fn is_open(&self) -> bool {
        !self.silent_found.is_empty()
            || self
                .ringing
                .as_ref()
                .is_some_and(|(score, _, _)| *score > self.silent - SETTLED)
    }

    /// The rings that were settled since the last time.
    pub fn take(&mut self) -> FoundList {
        std::mem::take(&mut self.told)
    }
}
/// Adds a ring; the oldest goes where there is no room.
fn push(list: &mut FoundList, found: Found) {
    if list.is_full() {
        list.remove(0);
    }
    list.push(found);
}
