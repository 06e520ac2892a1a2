//! A simulated learner: joins that are learnt by playing them and forgotten between the days.
//!
//! The memory is the activation model of Pavlik & Anderson (2005, Cognitive Science 29:559, eqs. 1 to 4), which
//! has the spacing effect in it: each try leaves a trace that fades as a power of its age (Wixted & Ebbesen
//! 1991, Psychol. Sci. 2:409; Anderson & Schooler 1991, Psychol. Sci. 2:396), the faster the more active the join was
//! at that try. Sums of such traces give the power law of practice (Newell & Rosenbloom 1981), which for single
//! learners lies near an exponential (Heathcote, Brown & Mewhort 2000, Psychon. Bull. Rev. 7:185). The values were
//! fitted to vocabulary, not to hands on a neck: what this shows holds for learners of this kind alone.

pub mod records;
pub mod ways;

use seamline::music::expected::JoinKind;
use seamline::progress::record::{Day, JoinDay, LineDay, LineRecord, PractisedJoin};

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

    /// Evenly spread over 0 to 1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Normally spread around 0 with standard deviation 1 (Box & Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// Decay of a trace that finds nothing active, per logarithm of seconds: Pavlik & Anderson (2005).
const DECAY: f64 = 0.177;
/// What activation adds to the decay: Pavlik & Anderson (2005).
const DECAY_SCALE: f64 = 0.217;
/// Activation at which one half of the tries succeed: Pavlik & Anderson (2005).
const THRESHOLD: f64 = -0.704;
/// What is taken off it, for a join is easier than a pair of words; chosen so that a line takes some weeks.
const EASE: f64 = 0.65;
/// Noise of the activation (logistic): Pavlik & Anderson (2005).
const NOISE: f64 = 0.255;
/// Time between sessions counts this share of time within one: Pavlik & Anderson (2005).
const BETWEEN: f64 = 0.025;
/// What the logarithm of the tempo adds to the threshold; chosen: half the tempo asks for 1.4 less activation.
const TEMPO: f64 = 2.0;
/// How far joins differ, as one standard deviation of the threshold; chosen.
const SPREAD: f64 = 0.3;
/// What hard joins add to the threshold, and how many of a line are hard; chosen.
const HARD: (f64, usize) = (0.5, 3);
/// Joins of the line, one to each bar; chosen.
pub const JOINS: usize = 8;
/// Seconds of a bar at the written tempo, and between two passes; chosen.
const BAR_S: f64 = 2.4;
const PAUSE_S: f64 = 2.0;

/// Tries of one day whose traces fade alike, once the day is over: decays are told apart to this much, so that
/// many days are added up in little time.
const ALIKE: f64 = 0.02;

struct Trace {
    at_s: f64,
    decay: f64,
    count: f64,
}

struct Memory {
    threshold: f64,
    old: Vec<Trace>,
    today: Vec<Trace>,
}

impl Memory {
    fn activation(&self, now_s: f64) -> f64 {
        (self.old.iter().chain(&self.today))
            .map(|trace| trace.count * (now_s - trace.at_s).max(1.0).powf(-trace.decay))
            .sum::<f64>()
            .ln()
    }

    fn clean(&self, now_s: f64, share: f64) -> f64 {
        let needed = self.threshold + TEMPO * share.ln();
        1.0 / (1.0 + ((needed - self.activation(now_s)) / NOISE).exp())
    }

    fn practise(&mut self, now_s: f64) {
        let decay = DECAY_SCALE * self.activation(now_s).exp() + DECAY;
        self.today.push(Trace {
            at_s: now_s,
            decay,
            count: 1.0,
        });
    }

    fn sleep(&mut self) {
        self.today.sort_by(|a, b| a.decay.total_cmp(&b.decay));
        let from = self.old.len();
        for trace in self.today.drain(..) {
            match self.old[from..].last_mut() {
                Some(last) if trace.decay - last.decay < ALIKE => last.count += 1.0,
                _ => self.old.push(trace),
            }
        }
    }
}

/// A learner with one line of eight bars, and what the program would have kept of its practice.
pub struct Learner {
    chance: Chance,
    memories: Vec<Memory>,
    learns: bool,
    now_s: f64,
    today: Day,
    /// What was kept.
    pub record: LineRecord,
    /// Passes so far.
    pub passes: usize,
    /// Bars played so far.
    pub bars: usize,
}

impl Learner {
    pub fn new(seed: u64, learns: bool) -> Self {
        let mut chance = Chance(seed);
        // A player who reads has met what is in the line before: one trace an hour old.
        let mut memories: Vec<Memory> = (0..JOINS)
            .map(|_| Memory {
                threshold: THRESHOLD - EASE + SPREAD * chance.normal(),
                old: vec![Trace {
                    at_s: -3600.0,
                    decay: DECAY,
                    count: 1.0,
                }],
                today: Vec::new(),
            })
            .collect();
        for _ in 0..HARD.1 {
            let at = (chance.unit() * JOINS as f64) as usize;
            memories[at].threshold += HARD.0;
        }
        let joins = (0..JOINS as u32).map(|at| PractisedJoin {
            index: at as usize,
            bar: 1 + at,
            beat: 4.0,
            to_bar: (2 + at).min(JOINS as u32),
            kind: Some(if at % 3 == 0 {
                JoinKind::Shift
            } else {
                JoinKind::Crossing
            }),
            days: Vec::new(),
        });
        Self {
            record: LineRecord {
                title: "Made up".to_owned(),
                file: None,
                bars: (1, JOINS as u32),
                tempo_bpm: 100.0,
                takes: 1,
                passes: 0,
                days: Vec::new(),
                joins: joins.collect(),
            },
            chance,
            memories,
            learns,
            now_s: 0.0,
            today: Day(20_000),
            passes: 0,
            bars: 0,
        }
    }

    pub fn today(&self) -> Day {
        self.today
    }

    /// The next day comes.
    pub fn sleep(&mut self) {
        self.now_s += 86_400.0 * BETWEEN;
        self.today.0 += 1;
        self.memories.iter_mut().for_each(Memory::sleep);
    }

    pub fn rest(&mut self, minutes: f64) {
        self.now_s += 60.0 * minutes;
    }

    /// How likely the whole line is clean at the target if it were played now.
    pub fn whole_clean(&self) -> f64 {
        (self.memories.iter())
            .map(|memory| memory.clean(self.now_s, 1.0))
            .product()
    }

    /// Minutes that a pass over these bars takes.
    pub fn pass_minutes(bars: (u32, u32), share: f64) -> f64 {
        (f64::from(bars.1 + 1 - bars.0) * BAR_S / share + PAUSE_S) / 60.0
    }

    /// Plays these bars once at this tempo; whether it was clean.
    pub fn play(&mut self, bars: (u32, u32), share: f64) -> bool {
        let whole = bars == self.record.bars;
        let mut all_clean = true;
        for bar in bars.0..=bars.1 {
            self.now_s += BAR_S / share;
            let at = bar as usize - 1;
            let likely = self.memories[at].clean(self.now_s, share);
            let clean = self.chance.unit() < likely;
            all_clean &= clean;
            if self.learns {
                self.memories[at].practise(self.now_s);
            }
            let days = &mut self.record.joins[at].days;
            if days.last().is_none_or(|day| day.day != self.today) {
                days.push(JoinDay {
                    day: self.today,
                    tries: 0,
                    faulty: 0,
                    first_faulty: !clean,
                    gap_ms: None,
                    clean_share: None,
                });
            }
            if let Some(day) = days.last_mut() {
                day.tries += 1;
                day.faulty += usize::from(!clean);
                if clean {
                    day.clean_share = Some(day.clean_share.map_or(share, |best| best.max(share)));
                }
            }
        }
        self.now_s += PAUSE_S;
        self.passes += 1;
        self.bars += (bars.1 + 1 - bars.0) as usize;
        self.record.passes += 1;
        let days = &mut self.record.days;
        if days.last().is_none_or(|day| day.day != self.today) {
            days.push(LineDay {
                day: self.today,
                passes: 0,
                clean: 0,
                whole: 0,
                whole_clean: 0,
                clean_share: None,
                minutes: 0.0,
            });
        }
        if let Some(day) = days.last_mut() {
            day.passes += 1;
            day.clean += usize::from(all_clean);
            day.whole += usize::from(whole);
            day.whole_clean += usize::from(whole && all_clean);
            day.minutes += Self::pass_minutes(bars, share);
        }
        all_clean
    }
}
