//! Said at once: that something started, and which note it is as soon as that can be known; and what
//! makes a candidate besides a peak of the novelty.

use super::{Candidate, LINES_SEEN, Listener, Name, Said};
use crate::hearing::dsp::lines::NewLines;
use crate::hearing::events::Event;
use crate::hearing::jump::BROKEN_DB;
use crate::hearing::naming::{self, Waiting};
use crate::units::Hertz;

/// A rise of the novelty beyond this is said at once, in decibels.
const HEARD_DB: f32 = 3.0;
/// A rise of the novelty from this up to [`HEARD_DB`], in decibels, is said only where the lowest
/// copy of the sound breaks off with its past ([`BROKEN_DB`]). Raised, soft onsets of dark strings
/// are said later.
const PERHAPS_DB: f32 = 0.7;
/// How long after such a rise that break is waited for, in seconds. Raised, more ripples are said.
const PERHAPS_FOR_S: f64 = 0.025;
/// New spectral lines make a candidate where they are this share of all lines, 0 to 1. Raised, soft
/// notes without an attack are not seen.
const LINES_SHARE: f32 = 0.12;
/// New lines are passed over where the strongest line lies more than this below the usual level of
/// a note, in decibels. Raised, fainter lines make candidates.
const LINES_QUIET_DB: f64 = 22.0;
/// Where a candidate lies this close to new lines, in seconds, they make no other one.
const LINES_APART_S: f64 = 0.030;
/// What the novelty is taken to be where it has no peak, in decibels.
const LINES_NOVELTY_DB: f32 = 0.5;
/// Time from an onset to the moment at which its rise is seen, in seconds. Raised, the onsets that
/// are said at once lie earlier.
const SEEN_AFTER_S: f64 = 0.0052;
/// Two starts closer than this are one, in seconds.
const STARTS_APART_S: f64 = 0.040;
/// Time between two looks at a note that waits for its name, in seconds. Raised, names come later, and
/// listening costs less.
const LOOKS_APART_S: f64 = 0.020;
/// After this long a note that could not be named at once waits for its settled pitch.
const NAMED_WITHIN_S: f64 = 0.24;
/// Periods that must have been heard of the lag that is named. Raised, names come later.
const NAMED_AFTER_PERIODS: f64 = 1.6;

/// Starts that are remembered.
pub(super) const SAID: usize = 256;

impl Listener {
    pub(super) fn say_soon(&mut self, rise: f32, say: &mut dyn FnMut(Event)) {
        let now_s = self.position_s();
        let end = self.stream.end();
        let since_s = self.said.back().map_or(f64::INFINITY, |s| now_s - s.at_s);
        if since_s <= STARTS_APART_S {
            self.perhaps = None;
        } else if rise >= HEARD_DB {
            self.perhaps = None;
            self.start(end, say);
        } else if let Some((seen, past)) = self.perhaps {
            let waited_s = (end - seen) as f64 / self.low_rate_hz;
            let breaks_db = past.and_then(|past| self.jumps.breaks_db(&self.stream, &past));
            if breaks_db > Some(BROKEN_DB) {
                self.perhaps = None;
                self.start(seen, say);
            } else if waited_s > PERHAPS_FOR_S {
                self.perhaps = None;
            }
        } else if rise >= PERHAPS_DB {
            self.perhaps = Some((end, self.jumps.past(&self.stream, end)));
        }
        let Some((s, w)) = &mut self.waiting else {
            return;
        };
        let s = *s;
        if w.reading_hz.is_none() {
            w.reading_hz = naming::name(
                &self.stream,
                self.low_rate_hz,
                self.config.lowest.0,
                self.config.highest.0,
                w,
                &mut self.work,
            );
        }
        let heard_s = (end as f64 - w.onset) / self.low_rate_hz;
        if heard_s >= w.look_at_s {
            w.look_at_s += LOOKS_APART_S;
            let pitch = self.meter.measure(&self.stream, w.onset, end as f64);
            if let Some(hz) = pitch.and_then(|pitch| w.confirmed(&pitch)) {
                let midi = Hertz(hz).to_midi(self.config.a4).0;
                say(Event::Named {
                    onset_s: s.onset_s,
                    midi,
                    at_s: now_s,
                });
                if let Some(last) = self.said.iter_mut().rev().find(|x| x.at_s == s.at_s) {
                    last.named = Some(Name { at_s: now_s, midi });
                }
                self.waiting = None;
                return;
            }
        }
        if now_s - s.at_s > NAMED_WITHIN_S {
            self.waiting = None;
        }
    }

    /// Says that something started which was seen when the stream ended at `seen`.
    fn start(&mut self, seen: i64, say: &mut dyn FnMut(Event)) {
        let at_s = self.position_s();
        let ago_s = (self.stream.end() - seen) as f64 / self.low_rate_hz + SEEN_AFTER_S;
        let onset_s = at_s - self.latency_s - ago_s;
        let s = Said {
            onset_s,
            at_s,
            named: None,
        };
        self.said.push_back(s);
        if self.said.len() > SAID {
            self.said.pop_front();
        }
        say(Event::Started { onset_s, at_s });
        let onset = seen as f64 - SEEN_AFTER_S * self.low_rate_hz;
        self.waiting = Some((s, Waiting::new(onset, NAMED_AFTER_PERIODS)));
    }

    /// A peak of the new lines is a candidate, too, where the novelty has none.
    pub(super) fn watch_lines(&mut self, new: NewLines) {
        self.new_lines.push_back(new);
        if self.new_lines.len() > LINES_SEEN {
            self.new_lines.pop_front();
        }
        if self.new_lines.len() < LINES_SEEN {
            return;
        }
        let middle = self.new_lines[LINES_SEEN / 2];
        let top = self.new_lines.iter().enumerate().all(|(i, n)| {
            if i < LINES_SEEN / 2 {
                n.share < middle.share
            } else {
                n.share <= middle.share
            }
        });
        let quiet = self
            .usual_level_db
            .is_none_or(|usual| f64::from(middle.top_db) < usual - LINES_QUIET_DB);
        if !top || middle.share < LINES_SHARE || quiet {
            return;
        }
        let near = (LINES_APART_S * self.low_rate_hz) as i64;
        let known = self
            .candidates
            .iter()
            .any(|c| (c.at - middle.at).abs() < near);
        let place = self.candidates.partition_point(|c| c.at <= middle.at);
        if !known {
            self.candidates.insert(
                place,
                Candidate {
                    at: middle.at,
                    novelty_db: LINES_NOVELTY_DB,
                },
            );
        }
    }
}
