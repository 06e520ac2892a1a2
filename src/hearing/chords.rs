//! Notes that should sound *together*: which members of a chord are there, how high, how long.
//!
//! The opposite of `rings` with the same ear: each member is looked for by the partials that the
//! other members leave free. The chords come from outside as plain values; a member that shares
//! all its partials with another (an octave above it) is said to be undecidable.
//!
//! # Source
//! As in `rings`: Fletcher (1964) for the partials, `dsp::free_partial` for the fit.

use super::dsp::free_partial::FreePartial;
use super::dsp::history::History;
use super::events::{HeardChord, HeardMember, MEMBERS};
use super::rings::{
    Rings, SHORTEST_S, SKIP_S, Shown, Spread, Template, WINDOW_S, evidence, fit_all, windows,
};
use crate::units::Hertz;

/// A member is there from this evidence on, in nats.
const THERE: f64 = 0.0;
/// The evidence is that of a string that rings beside another one, less this, in nats: a string
/// that was struck is louder. Raised, members that were hardly struck are missing.
const STRUCK: f64 = 1.5;
/// A member that has fallen by this much from what it was at first is over, in decibels. Raised,
/// members are held for longer.
const OVER_DB: f64 = 15.0;
/// How many of a member's partials tell its pitch: the first ones that are free and clear. Raised,
/// higher partials take part, which lie off where the stiffness is not known well.
const PITCH_PARTIALS: usize = 6;
/// A partial tells the pitch only where the other members leave this share of it free, 0 to 1.
/// Raised, fewer partials take part.
const PITCH_FREE: f64 = 0.6;
/// A partial tells the pitch only where it stands this far above the noise, in decibels. Raised,
/// fewer partials take part.
const PITCH_CLEAR_DB: f64 = 12.0;
/// A peak is a member's within this many cents of the wanted pitch.
const PITCH_CENTS: f64 = 60.0;

impl Rings {
    /// Looks for the members of a chord between an onset and `end`, places in the stream.
    ///
    /// Output: `None` when there is too little to be heard. `wanted`: fundamentals in hertz.
    pub fn chord(
        &mut self,
        stream: &History,
        onset: f64,
        end: f64,
        wanted: &[f64],
        a4: Hertz,
    ) -> Option<HeardChord> {
        let r = self.rate_hz;
        let start = onset + SKIP_S * r;
        let length = (end - start).min(WINDOW_S * r);
        if length < SHORTEST_S * r {
            return None;
        }
        let members = wanted.len().min(MEMBERS);
        let templates: Vec<Template> = wanted[..members]
            .iter()
            .map(|f1| self.template(*f1))
            .collect();
        let spreads: Vec<Spread> = templates
            .iter()
            .map(|t| Spread::new(&t.db[..t.count], &t.hz[..t.count], 0.0))
            .collect();
        let mut chord = HeardChord::default();
        for (to, hz) in chord.wanted_midi.iter_mut().zip(wanted) {
            *to = Some(Hertz(*hz).to_midi(a4).0);
        }
        let mut first_db = [f64::NEG_INFINITY; MEMBERS];
        let mut over = [false; MEMBERS];
        for (step, (from, _)) in windows(start, end, length).enumerate() {
            let Some(power) = self.analyse_window(stream, from, length) else {
                break;
            };
            for i in 0..members {
                let others: Vec<f64> = (0..members)
                    .filter(|j| *j != i)
                    .flat_map(|j| templates[j].hz[..templates[j].count].iter().copied())
                    .collect();
                let t = &templates[i];
                let on = self.on();
                let seen = fit_all(&self.peeler, on, &t.hz[..t.count], &others, |_| true);
                let seen = &seen[..t.count];
                let shown = Shown::new(seen, on.length_s, power);
                let reading = evidence(&shown, &spreads[i]);
                if reading.nats.is_nan() {
                    continue;
                }
                let (found, level) = (reading.nats - STRUCK, reading.power);
                let db = 10.0 * level.max(1e-16).log10();
                let member = chord.members[i].get_or_insert(HeardMember {
                    midi: None,
                    evidence: found,
                    level_db: 10.0 * (level / power).max(1e-9).log10(),
                    release_s: onset / r,
                });
                if step <= 1 {
                    member.evidence = member.evidence.max(found);
                    first_db[i] = first_db[i].max(db);
                }
                if step == 0 {
                    member.midi = self.member_pitch(seen, t).map(|hz| Hertz(hz).to_midi(a4).0);
                }
                let still = found > THERE && db > first_db[i] - OVER_DB;
                if still && !over[i] {
                    member.release_s = (from + length) / r;
                } else {
                    over[i] = true;
                }
            }
        }
        chord.members.iter().any(Option::is_some).then_some(chord)
    }

    /// The fundamental that the free partials of a member tell.
    fn member_pitch(&self, seen: &[FreePartial], t: &Template) -> Option<f64> {
        let (mut sum, mut weight) = (0.0, 0.0);
        for (seen, hz) in seen.iter().zip(t.hz).take(PITCH_PARTIALS) {
            let clear = 10.0 * (seen.power / seen.noise.max(1e-16)).max(1e-9).log10();
            if seen.free < PITCH_FREE || clear < PITCH_CLEAR_DB {
                continue;
            }
            let reach = hz * (PITCH_CENTS / 1200.0).exp2() - hz;
            let Some(peak) = self.peak_between(hz - reach, hz + reach) else {
                continue;
            };
            let w = seen.power.sqrt();
            sum += w * (peak / hz).ln();
            weight += w;
        }
        (weight > 0.0).then(|| t.hz[0] * (sum / weight).exp())
    }
}
