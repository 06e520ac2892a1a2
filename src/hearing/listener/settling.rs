//! A judged onset, once the next one has come: its pitch, its end, its chords, and what rang beside
//! it.

use super::{Forming, Listener, Name};
use crate::hearing::arrival;
use crate::hearing::dsp::envelope;
use crate::hearing::events::{Arrived, EndCause, Event, HeardNote, HeardPitch, HeardRing, STRINGS};
use crate::hearing::pitch::Pitch;
use crate::hearing::rings::{PlayedNote, Ring};
use crate::units::Hertz;

/// Chords are looked for after onsets with at least this evidence.
const CHORD_FROM: f64 = -3.0;
/// A note that rings longer than this is settled as it stands.
const LONGEST_NOTE_S: f64 = 9.0;
/// An event with more evidence than this may be a note in the end, so it ends the one before.
const MAYBE: f64 = -3.0;
/// An event ends the note before it only from this long after that note's onset, in seconds: sooner
/// it may be a ripple of the attack. Raised, fast notes of little evidence no longer end the one
/// before.
const MAYBE_AFTER_S: f64 = 0.085;
/// The pitch of an event with less evidence than this is not measured: nobody will ask for it.
const NO_PITCH_BELOW: f64 = -7.0;
/// Silence is what lies this far below the usual level of a note's beginning, in decibels. Raised,
/// fewer stretches are silences.
const SILENCE_DB: f64 = 25.0;
/// In a silence a note's sound is over where the level has come within this of what it stays at, in
/// decibels. Raised, it is over sooner.
const OVER_ABOVE_DB: f64 = 10.0;
/// A silence that lasts at least this long, in seconds, is left out of the look at the note's end;
/// a shorter one is part of it.
const OVER_LONG_S: f64 = 0.400;
/// How much of a note is looked at for its end, in seconds: the last part of it. Raised, listening
/// costs more, and two steps of a natural decay are taken for damping more often.
const LOOKED_AT_S: f64 = 0.9;
/// How much behind the place where the sound is over still belongs to that look, in seconds: the
/// floor it falls to must be seen.
const OVER_TAIL_S: f64 = 0.120;
/// How far an end that was found is in doubt, as a share of what the starts beside it say. Fitted
/// by `tests/tools/gap_uncertainty.py`, together with [`END_DOUBT_LEAST_S`], so that nine of ten
/// true ends lie within 1.645 standard deviations. Raised, ends are more in doubt and fewer gaps
/// are flagged.
const END_DOUBT_SHARE: f64 = 0.8;
/// Least doubt of an end that was found, in seconds; fitted with [`END_DOUBT_SHARE`]. Raised, ends
/// are more in doubt and fewer gaps are flagged.
const END_DOUBT_LEAST_S: f64 = 0.0017;
/// A fall no deeper than this below the natural decay, in decibels, may be that of a string left alone
/// whose decay has two steps, or of a mode of the body: then it is even whether it rang up to the next
/// onset. On recorded strings all but one of the ends of an upright that were none lay below 15, all but
/// one of the damped strings above 20. Raising it puts clear ends in doubt.
const SHALLOW_DB: f64 = 15.0;
/// Step of the level traces in which an end is looked for, in seconds. Raised, ends are placed less
/// finely.
const TRACE_STEP_S: f64 = 0.002;
/// How much of a sound is looked at for a slide, in seconds. Raised, the pitch it came to is told better,
/// and what follows may stand in it.
const SLID_S: f64 = 0.450;
/// The last part of that, from this share on, has the pitch it came to.
const LATE_SHARE: f64 = 0.6;
/// The period over which the level is taken where a note has no pitch, in seconds.
const LEVEL_SPAN_DEFAULT_S: f64 = 0.02;

impl Listener {
    pub(super) fn settle_ready(&mut self, say: &mut dyn FnMut(Event)) {
        let now = self.stream.end() as f64;
        loop {
            let Some(front) = self.forming.front() else {
                return;
            };
            let next = self
                .forming
                .iter()
                .skip(1)
                .find(|f| f.evidence > 0.0)
                .map(|f| f.begins);
            let old = now - front.begins > LONGEST_NOTE_S * self.low_rate_hz;
            if next.is_none() && !old {
                return;
            }
            let position = self.position_s();
            self.settle_front(None, position, say);
        }
    }

    pub(super) fn settle_front(
        &mut self,
        stream_end: Option<f64>,
        position_s: f64,
        say: &mut dyn FnMut(Event),
    ) {
        let Some(f) = self.forming.pop_front() else {
            return;
        };
        let r = self.low_rate_hz;
        let onset = f.begins;
        let next = self
            .forming
            .iter()
            .find(|n| n.evidence > 0.0)
            .map(|n| n.begins);
        let limit = next
            .or(stream_end)
            .unwrap_or(self.stream.end() as f64)
            .min(onset + LONGEST_NOTE_S * r)
            .max(onset + 1.0);
        // What may be a note of another pitch must not be listened into.
        let soonest = onset + MAYBE_AFTER_S * r;
        let maybe = self
            .forming
            .iter()
            .find(|n| n.evidence > MAYBE && n.begins > soonest)
            .map(|n| n.begins);
        let heard_to = maybe.map_or(limit, |m| m.clamp(onset + 1.0, limit));
        let coarse = (f.evidence > NO_PITCH_BELOW)
            .then(|| self.meter.measure(&self.stream, onset, heard_to))
            .flatten();
        let period = coarse.map_or(LEVEL_SPAN_DEFAULT_S * r, |p| r / p.hz);
        let end = self.end_of(onset, limit, period, next.is_some());
        let pitch = match coarse {
            Some(p) if end.at < onset + 0.48 * r && end.at < heard_to - 0.01 * r => {
                self.meter.measure(&self.stream, onset, end.at).or(Some(p))
            }
            other => other,
        };
        let moves = pitch.and_then(|p| {
            let to = end.at.min(heard_to);
            arrival::moves_cents(&self.stream, r, onset, to, p.hz)
        });
        let arrived = pitch.and_then(|p| self.arrival(onset, end.at.min(heard_to), p.hz));
        let arrived = arrived.map(|at| Arrived {
            at_s: self.to_seconds(at),
            pitch: self
                .meter
                .measure(&self.stream, at, end.at)
                .map(|pitch| self.heard_pitch(pitch)),
        });
        let cause = match (end.depth_db > 0.0, next.is_some(), stream_end.is_some()) {
            (true, _, _) => end.cause,
            (false, true, _) => EndCause::NextOnset,
            (false, false, true) => EndCause::TakeEnded,
            (false, false, false) => EndCause::DiedAway,
        };
        let mut chords = Vec::new();
        if f.evidence > CHORD_FROM {
            let a4 = self.config.a4;
            for wanted in &self.config.chords {
                let hz: Vec<f64> = wanted.iter().map(|h| h.0).collect();
                let heard = self.rings.chord(&self.stream, onset, limit, &hz, a4);
                chords.push(heard.unwrap_or_default());
            }
        }
        let still = match pitch {
            Some(p) if self.config.after_stop && f.evidence > 0.0 => {
                let stopped = (onset, end.at, limit);
                self.rings.still(&self.stream, stopped, p.hz)
            }
            _ => None,
        };
        let mut answers = [None; STRINGS];
        if f.evidence > 0.0 {
            let note = PlayedNote {
                onset,
                release: end.at,
                next: limit,
                pitch: pitch.map(|p| (p.hz, p.inharmonicity)),
            };
            let a4 = self.config.a4;
            self.doubts.clear();
            self.doubts.extend(
                self.forming
                    .iter()
                    .filter(|n| n.evidence > MAYBE && n.begins < limit)
                    .map(|n| n.begins),
            );
            let doubts = &self.doubts;
            self.rings
                .note(&self.stream, note, doubts, &mut |ring| say(rang(ring, a4)));
            answers = self.rings.answers(a4);
        }
        let note_end = (onset + 0.100 * r).min(limit);
        let fall = (limit - onset > 0.130 * r).then_some(f.features.level_fall_db);
        let quality = self.onset_uncertainty_s(&f);
        let pitch = pitch.map(|p| HeardPitch {
            moves_cents: moves.unwrap_or(0.0),
            ..self.heard_pitch(p)
        });
        // What was not named soon is named by its settled pitch.
        let named = f.named.or(pitch.map(|p| Name {
            at_s: position_s,
            midi: p.midi,
        }));
        say(Event::Settled(HeardNote {
            onset_s: self.to_seconds(onset),
            onset_uncertainty_s: quality,
            other_onset: f.jump.other.map(|(at, nats)| (self.to_seconds(at), nats)),
            arrived,
            evidence: f.evidence,
            novelty_db: f64::from(f.novelty_db),
            pitch,
            level_dbfs: self.level_db(onset, note_end),
            loudness_db: self.loudness.note_db(onset, end.at.min(limit), r),
            brightness: self.loudness.brightness(onset, end.at.min(limit), r),
            clipped: self.loudness.is_clipped(onset, end.at.min(limit)),
            quiet_rise_db: self.loudness.quiet_rise_db(end.at, limit, r),
            release_s: self.to_seconds(end.at),
            release_uncertainty_s: end.doubt_s,
            end: cause,
            depth_db: if next.is_some() { end.depth_db } else { 0.0 },
            early_fall_db: fall,
            heard_at_s: f.heard_at_s.min(position_s),
            named_at_s: named.map(|n| n.at_s),
            named_midi: named.map(|n| n.midi),
            features: f.features,
            chords,
            still,
            answers,
        }));
    }

    /// When a sound that begins at `onset` and is over at `end` came to rest on its last pitch; see
    /// [`arrival`](crate::hearing::arrival). `hz` is its pitch over all of it, which need not be that one.
    fn arrival(&mut self, onset: f64, end: f64, hz: f64) -> Option<f64> {
        let r = self.low_rate_hz;
        arrival::glides(&self.stream, r, onset, end, hz).then_some(())?;
        let length = (end - onset).min(SLID_S * r);
        let late = onset + LATE_SHARE * length;
        let (last_hz, _) = self
            .meter
            .period_between(&self.stream, late, onset + length)?;
        arrival::arrival(&self.stream, r, onset, end, last_hz)
    }

    fn onset_uncertainty_s(&self, f: &Forming) -> f64 {
        (f.jump.width_s * 0.5).clamp(0.0005, 0.010)
    }

    fn heard_pitch(&self, p: Pitch) -> HeardPitch {
        HeardPitch {
            midi: Hertz(p.hz).to_midi(self.config.a4).0,
            uncertainty_cents: p.uncertainty_cents,
            moves_cents: 0.0,
            clarity: p.clarity,
            rivals: p
                .rivals
                .map(|rival| rival.map(|(hz, nats)| (Hertz(hz).to_midi(self.config.a4).0, nats))),
        }
    }

    /// Where a note's sound is over for good, if it is over well before `stop`: a long silence after
    /// a note says nothing of how the note ended and is left out of the look at it.
    fn end_of_sound(&self, onset: f64, stop: f64) -> f64 {
        let r = self.low_rate_hz;
        let (span, step) = (0.020 * r, 0.010 * r);
        let low = self.level_db(stop - 2.0 * span, stop);
        if self
            .usual_level_db
            .is_none_or(|usual| low > usual - SILENCE_DB)
        {
            return stop;
        }
        let mut at = stop;
        while at - span > onset + span && self.level_db(at - span, at) < low + OVER_ABOVE_DB {
            at -= step;
        }
        if stop - at < OVER_LONG_S * r {
            return stop;
        }
        at + OVER_TAIL_S * r
    }

    fn end_of(&mut self, onset: f64, limit: f64, period: f64, cut: bool) -> End {
        let r = self.low_rate_hz;
        let step = ((TRACE_STEP_S * r).round() as usize).max(1);
        let guard = 0.5 * period + 0.004 * r;
        let stop = if cut { limit - guard } else { limit };
        let stop = self.end_of_sound(onset, stop);
        // Where a stop is waited for, what sounds on after it may last longer than that.
        let looked_at = if self.config.after_stop {
            LONGEST_NOTE_S
        } else {
            LOOKED_AT_S
        };
        // What ends within the guard is not told from what rings on: its end lies anywhere in it.
        let rang_on = End {
            at: limit,
            doubt_s: cut.then_some(guard / r / 3.0f64.sqrt()),
            depth_db: 0.0,
            cause: EndCause::NextOnset,
        };
        let start = (onset + 0.020 * r).max(stop - looked_at * r).min(stop);
        let half = 0.5 * period;
        let from = (start - half).round() as i64;
        let to = (stop + half).round() as i64;
        envelope::level_db(
            self.stream.range(from, to),
            period.round() as usize,
            step,
            &mut self.ends,
            &mut self.trace,
        );
        let lead = (half / step as f64).round() as usize;
        let inner = self.trace.len().saturating_sub(lead);
        if inner <= lead + 6 {
            return rang_on;
        }
        let step_s = step as f64 / r;
        let floor = self.quiet_db;
        let looked_at = &self.trace[lead..inner];
        match envelope::release(looked_at, (step_s, period / r), floor, &mut self.ends) {
            Some(found) => {
                let at = (from as f64 + (lead as f64 + found.at) * step as f64).min(limit);
                let measured_s = END_DOUBT_LEAST_S.hypot(END_DOUBT_SHARE * found.at_sd * step_s);
                let perhaps_none_s = if found.depth_db < SHALLOW_DB {
                    0.5f64.sqrt() * (limit - at) / r
                } else {
                    0.0
                };
                End {
                    at,
                    doubt_s: Some(measured_s.hypot(perhaps_none_s)),
                    depth_db: found.depth_db,
                    cause: EndCause::Damped,
                }
            }
            None => rang_on,
        }
    }
}

/// What the rings say, in the words of the events.
pub(super) fn rang(ring: Ring, a4: Hertz) -> Event {
    Event::Rang(HeardRing {
        midi: Hertz(ring.hz).to_midi(a4).0,
        source_onset_s: ring.source_onset_s,
        from_s: ring.from_s,
        to_s: ring.to_s,
        level_db: ring.level_db,
        evidence: ring.evidence,
        features: ring.features,
    })
}

struct End {
    at: f64,
    /// One standard deviation of `at`, in seconds.
    doubt_s: Option<f64>,
    depth_db: f64,
    cause: EndCause,
}
