//! A candidate, some time later: its moment, its features, its evidence; and which candidates are one
//! pluck.
//!
//! # Source
//! The evidence is a logistic regression: D. R. Cox (1958), *The regression analysis of binary
//! sequences*, J. R. Statist. Soc. B 20, 215-242 (from memory). That touches and ripples within 45
//! ms belong to one pluck was measured on recorded strings.

use super::{Candidate, Forming, Listener};
use crate::hearing::events::OnsetFeatures;
use crate::hearing::jump::{APART_S, COPIES, Jump};
use crate::hearing::pluck;
use crate::units::{Hertz, cents};

/// Onsets closer than this belong to one pluck.
const ONE_PLUCK_S: f64 = 0.045;
/// A take that begins in the middle of a sound may begin with a note where the sound is more periodic
/// than this, 0 to 1. Raised, fewer takes begin with a note.
const OPENING_CLARITY: f64 = 0.9;
/// How far the stretch before an onset reaches back whose pitch is compared with the one after it,
/// in seconds. Raised, the note before that one may stand in it.
const TURN_BEFORE_S: f64 = 0.100;
/// How far the stretch after an onset reaches whose pitch is compared with the one before it, in
/// seconds. Raised above the time after which a candidate is judged, it is not there yet.
const TURN_AFTER_S: f64 = 0.110;
/// Periods that must lie in either stretch: a period that was seen hardly twice is no pitch yet.
/// Raised, low notes turn no pitch.
const TURN_PERIODS: f64 = 2.3;
/// A candidate whose novelty is lower than this, in decibels, is only looked into when enough of
/// the sound after it is new ([`FAINT_SHARE`]). Raised, more candidates are held against that, and
/// listening costs less.
const FAINT_DB: f32 = 1.0;
/// Least share of new sound after a faint candidate, 0 to 1. On recorded strings not one of 261
/// faint plucks was below 0.08, four in five ripples were. Raised, faint plucks are lost.
const FAINT_SHARE: f64 = 0.05;
/// The onset of a faint candidate may lie this much later than the candidate, in seconds, so the
/// share of new sound is taken there, too.
const FAINT_LATER_S: f64 = 0.015;
/// What an event added to the sound is looked at only where its evidence is higher than this, in
/// nats. Raised, listening costs less, and faint plucks keep less evidence.
const ADDED_FROM: f64 = -8.0;
/// An event with less evidence than this, in nats, is looked at in that way only where enough of
/// the sound is new ([`ADDED_SHARE`]). Raised, listening costs less, and faint plucks keep less
/// evidence.
const GAINED_FROM: f64 = -3.0;
/// Share of new sound, 0 to 1, from which an event of little evidence is looked at. Raised,
/// listening costs less, and faint plucks keep less evidence.
const ADDED_SHARE: f64 = 0.04;
/// An event of little evidence is looked at a second time, for what grew in it, only where one
/// series explains at least this much of what it added, 0 to 1. Raised, listening costs less.
const ADDED_SCORE: f64 = 0.2;
/// With less evidence than this, in nats, no turn of the pitch could make a note of an onset, so
/// none is looked for. Raised, listening costs less, and turns that would have helped are not seen.
const HOPELESS: f64 = -13.0;
/// With more evidence than this, in nats, an onset needs no turn of the pitch where the string was
/// struck ([`STRUCK_DB`]), so none is looked for. Raised, listening costs more.
const CERTAIN: f64 = 4.0;
/// A string was struck where the prediction error of the lowest copy rises by this much, in
/// decibels. Raised, listening costs more.
const STRUCK_DB: f64 = 5.0;
/// The sound before an event is taken from this long after the last sure onset, in seconds, so that
/// the attack of that note is not in it.
const ADDED_SINCE_S: f64 = 0.010;
/// An event is looked at up to the next candidate whose novelty is higher than this, in decibels. Raised,
/// more of a later onset is taken for what this one brought.
const ADDED_UNTIL_DB: f32 = 4.0;
/// The level that an onset comes to is taken over this long at least, in seconds, also where the next onset
/// is close.
const LATER_LEAST_S: f64 = 0.015;
/// An onset is compared with the sound before it only where there is this much of it, in seconds.
const PAST_S: f64 = 0.040;
/// A moment that has this much more evidence than a touch just before it, in nats, is the pluck's.
/// Raised, plucks stand at their touch more often, which is too early.
const SURER_NATS: f64 = 3.0;
/// How fast the usual level follows a new note.
const USUAL_LEVEL_PACE: f64 = 0.15;

/// What is this much louder than the usual level, in decibels, shows that nothing was played before it: the
/// noise of a recording that sets in out of digital silence. Raised, that noise stands for notes longer.
const NOT_PLAYED_DB: f64 = 20.0;
/// Quieter than this, in decibels, is no noise of a recording but digital silence: the last of 16 bits. Raised,
/// gaps of takes with very little noise may be lost.
const DIGITAL_SILENCE_DB: f64 = -100.0;

impl Listener {
    /// The floor to which damped notes fall is the quietest that was heard. Digital silence says nothing
    /// of the noise under notes: a recording may begin with it, or a noise gate make it.
    fn learn_floor(&mut self, levels_db: &[f64]) {
        for level in levels_db.iter().filter(|l| **l > DIGITAL_SILENCE_DB) {
            self.quiet_db = self.quiet_db.min(*level);
        }
    }

    pub(super) fn judge(&mut self, c: Candidate) {
        // A faint rise after which nothing sounds that did not sound before is no onset; to see
        // so costs a tenth of looking for its moment.
        let mut new_share = 0.0f64;
        if c.novelty_db < FAINT_DB && c.at > 0 {
            let later = c.at as f64 + FAINT_LATER_S * self.low_rate_hz;
            let fresh = [c.at as f64, later].map(|at| {
                let until = self.until(at);
                self.meter.fresh_share(&self.stream, at, until)
            });
            new_share = fresh[0].max(fresh[1]);
            if new_share < FAINT_SHARE {
                return;
            }
        }
        let jump = self.jumps.find(&self.stream, c.at);
        let r = self.low_rate_hz;
        let at = jump.at;
        // No window reaches into the next onset: what begins there says nothing of this one.
        let until = self.until(at);
        let before = self.level_db(at - 0.028 * r, at - 0.004 * r);
        let after_to = (at + 0.060 * r).min(until);
        let later_to = (at + 0.110 * r).min(until);
        let later_from = (at + 0.060 * r).min(later_to - LATER_LEAST_S * r);
        let after = self.level_db(at + 0.005 * r, after_to);
        let later = self.level_db(later_from, later_to);
        self.learn_floor(&[before, later]);
        let pitch =
            self.meter
                .period_between(&self.stream, at + 0.012 * r, (at + 0.150 * r).min(until));
        let fresh_share = self.meter.fresh_share(&self.stream, at, until);
        // Before the stream there is nothing that an onset could stand out from.
        let has_past = at > PAST_S * r;
        let mut features = OnsetFeatures {
            opens: !has_past,
            novelty_db: f64::from(c.novelty_db),
            jump: jump.height,
            error_rise_db: if has_past {
                jump.error_rise_db
            } else {
                [0.0; COPIES]
            },
            level_rise_db: if has_past { after - before } else { 0.0 },
            level_fall_db: after - later,
            level_db: after,
            relative_level_db: self.usual_level_db.map_or(0.0, |u| after - u),
            relative_novelty: self
                .usual_novelty
                .map_or(1.0, |u| f64::from(c.novelty_db) / u),
            fresh_share,
            new_share: new_share.max(fresh_share),
            gained_midi: 0.0,
            gained_score: 0.0,
            added_midi: 0.0,
            added_score: 0.0,
            added_db: 0.0,
            goes_on: self.continuity.goes_on(
                &self.stream,
                (self.last_sure_at + ADDED_SINCE_S * r, until),
                at,
            ),
            turn: 0.0,
            pitch_step_cents: self.pitch_step(pitch),
            clarity: pitch.map_or(0.0, |p| p.1),
            hz: pitch.map_or(0.0, |p| p.0),
        };
        // Two more periods are only looked for where a turn could change the answer.
        let without = evidence(&features);
        let struck = features.error_rise_db[0] >= STRUCK_DB;
        if without > HOPELESS && !(without > CERTAIN && struck) {
            features.turn = self.turn(at);
        }
        if c.at == 0 && features.clarity < OPENING_CLARITY {
            return;
        }
        let evidence = evidence(&features);
        if evidence > ADDED_FROM {
            self.look_for_added(at, evidence, &mut features);
        }
        // What lies this close together is one pluck: a touch before it, a ripple of its attack.
        let begins = jump.pulses.begins(at, pitch.map(|(hz, _)| r / hz));
        if let Some(last) = self.forming.back()
            && at - last.jump.at < ONE_PLUCK_S * r
        {
            self.merge((jump, begins), features, evidence, c.novelty_db);
            return;
        }
        if evidence > 0.0 {
            let played = |usual: &f64| after < usual + NOT_PLAYED_DB;
            let usual = self.usual_level_db.filter(played).unwrap_or(after);
            self.usual_level_db = Some(usual + USUAL_LEVEL_PACE * (after - usual));
            let usual = self.usual_novelty.unwrap_or(f64::from(c.novelty_db));
            self.usual_novelty = Some(usual + USUAL_LEVEL_PACE * (f64::from(c.novelty_db) - usual));
            self.last_sure_at = at;
            self.last_sure = pitch.or(self.last_sure);
        }
        let onset_s = self.to_seconds(at);
        let said = self
            .said
            .iter()
            .filter(|s| s.at_s > onset_s - 0.004 && s.onset_s < onset_s + 0.045)
            .min_by(|a, b| {
                (a.onset_s - onset_s)
                    .abs()
                    .total_cmp(&(b.onset_s - onset_s).abs())
            })
            .copied();
        self.forming.push_back(Forming {
            jump,
            begins,
            features,
            evidence,
            novelty_db: c.novelty_db,
            heard_at_s: said.map_or(self.position_s(), |s| s.at_s),
            named: said.and_then(|s| s.named),
        });
    }

    /// Where the next onset lies close behind one at `at`, a little before it, in samples of the stream;
    /// infinity where none is known.
    fn until(&self, at: f64) -> f64 {
        let r = self.low_rate_hz;
        let next = self
            .candidates
            .iter()
            .find(|n| n.novelty_db > ADDED_UNTIL_DB && n.at as f64 > at + ONE_PLUCK_S * r);
        next.map_or(f64::INFINITY, |n| n.at as f64 - 0.004 * r)
    }

    /// What the onset added to a sound that rings on, in two ways that must agree. Where little is
    /// new nobody will ask.
    fn look_for_added(&mut self, at: f64, evidence: f64, features: &mut OnsetFeatures) {
        let r = self.low_rate_hz;
        let weak = evidence < GAINED_FROM;
        if weak && features.new_share < ADDED_SHARE {
            return;
        }
        let since = self.last_sure_at + ADDED_SINCE_S * r;
        let until = self.until(at).min(self.stream.end() as f64);
        let a4 = self.config.a4;
        if let Some(added) = self.meter.added(&self.stream, since, at, until) {
            features.added_midi = Hertz(added.hz).to_midi(a4).0;
            features.added_score = added.score;
            features.added_db = added.level_db;
        }
        if weak && features.added_score < ADDED_SCORE {
            return;
        }
        if let Some((hz, score)) = self.meter.gained(&self.stream, at, at + 0.100 * r) {
            features.gained_midi = Hertz(hz).to_midi(a4).0;
            features.gained_score = score;
        }
    }

    /// Takes a candidate close behind the last one into it: the pluck keeps the best evidence of
    /// both, the moment that was the pluck's, and the other one to be told.
    fn merge(
        &mut self,
        (jump, begins): (Jump, f64),
        features: OnsetFeatures,
        evidence: f64,
        novelty_db: f32,
    ) {
        let moved = self.moved_later(&features, jump.height, evidence);
        let Some(last) = self.forming.back_mut() else {
            return;
        };
        let (chosen, passed) = if moved {
            (jump, last.jump)
        } else {
            (last.jump, jump)
        };
        let nats = chosen.height - passed.height;
        let nearer = (passed.at - chosen.at).abs() >= APART_S * self.low_rate_hz
            && chosen.other.is_none_or(|(_, other)| nats < other);
        if moved || evidence > last.evidence {
            last.features = features;
        }
        if moved {
            last.begins = begins;
        }
        last.jump = chosen;
        if nearer {
            last.jump.other = Some((passed.at, nats));
        }
        last.evidence = last.evidence.max(evidence);
        last.novelty_db = last.novelty_db.max(novelty_db);
    }

    /// Whether a candidate close behind the last one is the moment of the pluck of which that was
    /// the touch: a touch is heard but leaves the string's own low partials alone.
    fn moved_later(&self, new: &OnsetFeatures, height: f64, evidence: f64) -> bool {
        let Some(last) = self.forming.back() else {
            return true;
        };
        let (before, after) = (last.features.error_rise_db[0], new.error_rise_db[0]);
        let gain = height - last.jump.height;
        let surer = evidence - last.evidence;
        (surer > SURER_NATS && before < 3.0 && gain > -3.0)
            || (gain > 2.0 && after > before + 3.0)
            || (gain > -2.0 && before < 2.0 && after > before + 4.0)
    }

    /// How clearly the pitch turns at `at`; see [`OnsetFeatures::turn`].
    fn turn(&mut self, at: f64) -> f64 {
        let r = self.low_rate_hz;
        let from = (at - TURN_BEFORE_S * r).max(self.last_sure_at + 0.010 * r);
        let before = self
            .meter
            .period_between(&self.stream, from, at - 0.006 * r);
        let after = self
            .meter
            .period_between(&self.stream, at + 0.010 * r, at + TURN_AFTER_S * r);
        let (Some((f, a)), Some((g, b))) = (before, after) else {
            return 0.0;
        };
        // A period that was seen hardly twice is no pitch yet.
        if (at - from) * f < TURN_PERIODS * r || TURN_AFTER_S * g < TURN_PERIODS {
            return 0.0;
        }
        let semitones = 12.0 * (g / f).log2();
        let same = [0.0, 12.0, 19.0, 24.0]
            .iter()
            .any(|h| (semitones.abs() - h).abs() < 0.7);
        if same { 0.0 } else { a.min(b) }
    }

    /// Distance of `pitch` from the last sure note's, in cents; 0 when either is unclear.
    fn pitch_step(&self, pitch: Option<(f64, f64)>) -> f64 {
        let clear = |c: f64| c > 0.75;
        match (pitch, self.last_sure) {
            (Some((new, now)), Some((hz, before))) if clear(now) && clear(before) => {
                cents(new, hz).abs()
            }
            _ => 0.0,
        }
    }
}

/// The evidence is lower than the fitted model's by this, in nats: a ripple taken for a note costs more
/// than a soft note that the line then brings to light. Lowered, more soft notes and more ripples are
/// found.
const RIPPLE_NATS: f64 = 0.7;

fn evidence(f: &OnsetFeatures) -> f64 {
    // Nothing sounded before that could ripple.
    let ripple = if f.opens { 0.0 } else { RIPPLE_NATS };
    pluck::nats(f) - ripple
}
