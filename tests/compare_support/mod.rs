//! Invented lines and a seeded player, for the tests of the comparison.
//!
//! The player is a closed form with chance in it: it knows what it did to each note, so that a
//! test can ask for exactly those verdicts.

#![allow(dead_code)]

use seamline::compare::judgement::Verdict;
use seamline::hearing::events::{EndCause, HeardNote, HeardPitch, OnsetFeatures, STRINGS};
use seamline::music::expected::{ExpectedNote, JoinKind, Place};

/// A small generator with a fixed seed: Steele, Lea & Flood (2014), OOPSLA, SplitMix64.
pub struct Chance(pub u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Even between two figures.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn happens(&mut self, share: f64) -> bool {
        self.between(0.0, 1.0) < share
    }

    pub fn one_of<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.next() % of.len() as u64) as usize]
    }

    /// Bell-shaped with the given standard deviation, cut off at 2.5 of them (sum of twelve).
    pub fn spread(&mut self, sd: f64) -> f64 {
        let sum: f64 = (0..12).map(|_| self.between(-0.5, 0.5)).sum();
        sd * sum.clamp(-2.5, 2.5)
    }
}

/// The kinds of invented lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Steps of a scale up and down in quarters and eighths.
    Scale,
    /// The same pitch struck again and again, changing every bar or so.
    Repeated,
    /// Broken chords in mixed lengths.
    Broken,
    /// Sixteenths.
    Fast,
}

/// All kinds.
pub const KINDS: [Kind; 4] = [Kind::Scale, Kind::Repeated, Kind::Broken, Kind::Fast];

/// An invented line in 4/4, every join legato.
pub fn line(kind: Kind, bars: u32, bpm: f64, chance: &mut Chance) -> Vec<ExpectedNote> {
    const SCALE: [u8; 11] = [28, 30, 32, 33, 35, 37, 39, 40, 42, 44, 45];
    let mut notes: Vec<ExpectedNote> = Vec::new();
    let mut step: i32 = 3;
    let mut up = 1;
    for bar in 1..=bars {
        let mut beat = 0.0;
        if kind == Kind::Repeated {
            step = (step + chance.one_of(&[-2, 1, 2, 3])).rem_euclid(11);
        }
        while beat < 4.0 - 1e-9 {
            let length: f64 = match kind {
                Kind::Scale => chance.one_of(&[1.0, 0.5, 0.5]),
                Kind::Repeated => chance.one_of(&[0.5, 0.5, 0.5, 1.0]),
                Kind::Broken => chance.one_of(&[1.0, 1.5, 0.5, 0.5, 0.25]),
                Kind::Fast => 0.25,
            };
            let length = length.min(4.0 - beat);
            match kind {
                Kind::Scale | Kind::Fast => {
                    if !(0..11).contains(&(step + up)) || chance.happens(0.1) {
                        up = -up;
                    }
                    step = (step + up).rem_euclid(11);
                }
                Kind::Broken => step = (step + chance.one_of(&[-4, -2, 2, 3, 4])).rem_euclid(11),
                Kind::Repeated => {}
            }
            let midi = SCALE[step as usize];
            let string = if midi >= 43 { 1 } else { 4 - (midi - 28) / 5 };
            let quarters = 4.0 * f64::from(bar - 1) + beat;
            notes.push(ExpectedNote {
                index: notes.len(),
                bar,
                printed_bar: bar,
                beat: beat + 1.0,
                onset_quarters: quarters,
                length_quarters: length,
                onset_s: quarters * 60.0 / bpm,
                length_s: length * 60.0 / bpm,
                midi,
                place: Some(Place {
                    string,
                    fret: midi - (28 + 5 * (4 - string)),
                }),
                legato_next: true,
                join: Some(JoinKind::SamePlace),
                staccato: false,
                slurred_into: false,
                slid_into: false,
                with_previous: false,
                swings: beat.fract() == 0.5,
                ghost: false,
                accent: false,
                graces: Vec::new(),
            });
            beat += length;
        }
    }
    if let Some(last) = notes.last_mut() {
        last.legato_next = false;
        last.join = None;
    }
    notes
}

/// How the player plays and the ear hears.
#[derive(Clone, Debug)]
pub struct Player {
    /// Time of the first bar in the take, in seconds.
    pub starts_s: f64,
    /// Played seconds per written second at the start and at the end.
    pub stretch: (f64, f64),
    /// Standard deviation of the onsets, in seconds.
    pub jitter_s: f64,
    /// Shares of wrong, missed and extra notes.
    pub wrong: f64,
    pub missed: f64,
    pub extra: f64,
    /// Share of notes so soft that the ear is not sure of them.
    pub soft: f64,
    /// Share of notes that the ear reads an octave off, with the right reading as a rival.
    pub octave: f64,
    /// Weak spurious events for each note.
    pub ripples: f64,
    /// Clicks, hum, talk and open strings before the line.
    pub lead_in: bool,
}

impl Player {
    pub fn good() -> Self {
        Self {
            starts_s: 2.0,
            stretch: (1.0, 1.0),
            jitter_s: 0.006,
            wrong: 0.0,
            missed: 0.0,
            extra: 0.0,
            soft: 0.0,
            octave: 0.0,
            ripples: 0.0,
            lead_in: false,
        }
    }

    /// Up to a fifth of the notes go wrong, the ear has its doubts, and there is noise before.
    pub fn erring() -> Self {
        Self {
            wrong: 0.08,
            missed: 0.06,
            extra: 0.05,
            soft: 0.04,
            octave: 0.01,
            ripples: 0.5,
            lead_in: true,
            ..Self::good()
        }
    }
}

/// A take and what was done in it.
pub struct Played {
    pub heard: Vec<HeardNote>,
    pub verdicts: Vec<Verdict>,
    /// Onsets of the extras.
    pub extras_s: Vec<f64>,
    /// Onset of each note, where it was played.
    pub onsets_s: Vec<Option<f64>>,
}

/// One event as the ear says it.
pub fn event(onset_s: f64, midi: Option<f64>, evidence: f64) -> HeardNote {
    HeardNote {
        onset_s,
        onset_uncertainty_s: 0.0015,
        arrived: None,
        other_onset: None,
        evidence,
        novelty_db: (evidence + 4.0).max(1.0),
        pitch: midi.map(|midi| HeardPitch {
            midi,
            uncertainty_cents: 3.0,
            moves_cents: 0.0,
            clarity: 0.97,
            rivals: [None; 3],
        }),
        level_dbfs: -20.0,
        loudness_db: Some(-20.0),
        quiet_rise_db: None,
        brightness: None,
        clipped: false,
        release_s: onset_s + 0.1,
        release_uncertainty_s: None,
        end: EndCause::NextOnset,
        depth_db: 0.0,
        early_fall_db: Some(2.0),
        heard_at_s: onset_s + 0.008,
        named_at_s: Some(onset_s + 0.04),
        named_midi: midi,
        features: if evidence > 0.0 {
            pluck(midi)
        } else {
            ripple()
        },
        chords: Vec::new(),
        still: None,
        answers: [None; STRINGS],
    }
}

/// What a pluck beside a ringing note looks like: medians of 684 accidental plucks of recorded basses.
fn pluck(midi: Option<f64>) -> OnsetFeatures {
    OnsetFeatures {
        added_midi: midi.unwrap_or(0.0),
        added_score: 0.20,
        added_db: -9.4,
        gained_midi: midi.unwrap_or(0.0),
        gained_score: 0.39,
        error_rise_db: [16.4, 10.1, 8.0],
        new_share: 0.22,
        clarity: 0.85,
        goes_on: Some(0.69),
        level_rise_db: 0.9,
        level_fall_db: 1.0,
        ..OnsetFeatures::default()
    }
}

/// What a ripple of a ringing note looks like: medians of 16812 of recorded basses.
fn ripple() -> OnsetFeatures {
    OnsetFeatures {
        error_rise_db: [1.4, -0.1, -0.9],
        new_share: 0.03,
        clarity: 0.99,
        goes_on: Some(0.97),
        level_rise_db: -0.2,
        level_fall_db: 0.6,
        ..OnsetFeatures::default()
    }
}

/// Plays a line.
pub fn play(line: &[ExpectedNote], player: &Player, chance: &mut Chance) -> Played {
    let total_s = line.last().map_or(1.0, |note| note.onset_s).max(1e-3);
    let (a, b) = player.stretch;
    let time = |u: f64| player.starts_s + a * u + (b - a) * u * u / (2.0 * total_s);
    let mut played = Played {
        heard: vec![],
        verdicts: vec![],
        extras_s: vec![],
        onsets_s: vec![],
    };
    if player.lead_in {
        lead_in(player.starts_s, line, chance, &mut played.heard);
    }
    let mut extra_before = false;
    for (k, note) in line.iter().enumerate() {
        let place_s = time(note.onset_s);
        let next_s = line
            .get(k + 1)
            .map_or(time(note.onset_s + note.length_s), |n| time(n.onset_s));
        let missed_before = matches!(played.verdicts.last(), Some(Verdict::Missed));
        // Nor is the note after an extra missed, for the reason given there.
        if !std::mem::take(&mut extra_before) && chance.happens(player.missed) {
            played.verdicts.push(Verdict::Missed);
            played.onsets_s.push(None);
            continue;
        }
        let onset_s = place_s + chance.spread(player.jitter_s);
        let mut midi = f64::from(note.midi);
        let mut verdict = Verdict::Right;
        if chance.happens(player.wrong) {
            midi += chance.one_of(&[-2.0, -1.0, 1.0, 2.0, 5.0, -5.0, 12.0]);
            verdict = Verdict::Wrong;
        }
        // A soft note of another pitch at the end of a line is no different from noise.
        let soft = chance.happens(player.soft) && verdict == Verdict::Right;
        let evidence = if soft { -0.3 } else { chance.between(3.0, 9.0) };
        let mut heard = event(onset_s, Some(midi + chance.spread(0.03)), evidence);
        if verdict == Verdict::Right
            && chance.happens(player.octave)
            && let Some(pitch) = &mut heard.pitch
        {
            pitch.rivals[0] = Some((pitch.midi, 0.4));
            pitch.midi += 12.0;
        }
        played.heard.push(heard);
        played.verdicts.push(verdict);
        played.onsets_s.push(Some(onset_s));
        // An extra beside a missed note could as well be that note, out of time.
        if !missed_before && k + 1 < line.len() && chance.happens(player.extra) {
            let between_s = onset_s + (next_s - onset_s) * chance.between(0.45, 0.55);
            let other = f64::from(chance.one_of(&[28_u8, 33, 35, 38, 41, 43]));
            played
                .heard
                .push(event(between_s, Some(other), chance.between(3.0, 7.0)));
            played.extras_s.push(between_s);
            extra_before = true;
        }
        if chance.happens(player.ripples) {
            let at_s = onset_s + (next_s - onset_s) * chance.between(0.1, 0.98);
            let reading = chance.one_of(&[Some(midi), None, Some(midi + 12.0), Some(31.4)]);
            let mut ripple = event(at_s, reading, chance.between(-6.0, -2.5));
            // A pitch that is neither the note's nor its octave's is read from noise.
            if let Some(pitch) = ripple.pitch.as_mut().filter(|pitch| pitch.midi == 31.4) {
                pitch.clarity = 0.48;
            }
            played.heard.push(ripple);
        }
    }
    finish(&mut played.heard);
    played
}

/// Orders the events and lets each ring up to the next.
pub fn finish(heard: &mut [HeardNote]) {
    heard.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
    for k in 1..heard.len() {
        heard[k - 1].release_s = heard[k].onset_s;
    }
    if let Some(last) = heard.last_mut() {
        last.release_s = last.onset_s + 1.0;
        last.end = EndCause::DiedAway;
    }
}

/// What is heard before a take: a count-in, hum, talk, an open string or two.
fn lead_in(until_s: f64, line: &[ExpectedNote], chance: &mut Chance, heard: &mut Vec<HeardNote>) {
    let beat_s = line
        .first()
        .map_or(0.5, |note| note.length_s / note.length_quarters);
    for click in 1..=3 {
        let at_s = until_s - beat_s * f64::from(click);
        if at_s > 0.0 {
            heard.push(event(at_s, None, 1.0));
        }
    }
    let mut at_s = 0.1;
    while at_s < until_s - 1.2 * beat_s {
        let kind = chance.one_of(&[0, 1, 2]);
        heard.push(match kind {
            0 => event(at_s, Some(34.2), chance.between(-2.0, 1.0)),
            1 => event(at_s, None, chance.between(-3.0, 2.0)),
            _ => event(
                at_s,
                Some(f64::from(chance.one_of(&[28_u8, 33, 38, 43]))),
                5.0,
            ),
        });
        at_s += chance.between(0.15, 0.6);
    }
}

/// Plays a line exactly, from `starts_s` on at the written tempo.
pub fn exactly(line: &[ExpectedNote], starts_s: f64) -> Vec<HeardNote> {
    let sound = |n: &ExpectedNote| event(starts_s + n.onset_s, Some(f64::from(n.midi)), 6.0);
    let mut heard: Vec<HeardNote> = line.iter().map(sound).collect();
    finish(&mut heard);
    heard
}
