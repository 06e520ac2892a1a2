//! Who leads a session: which pass runs, what was heard in it, what the band is to play, and what
//! is shown. No thread, no clock and no device: it is told everything, moments included, so that
//! tests can play any session through.

use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::compare::Settings;
use crate::compare::judgement::TimingMode;
use crate::hearing::events::{Event, HeardNote};
use crate::music::line::Line;
use crate::session::live::band::{Beat, Guide, Music, Order, Told, turn_down};
use crate::session::live::listening::{Heard, Position};
use crate::session::live::pass::{Ear, JoinHistory, Judged, Pass, judge};
use crate::session::live::snapshot::{
    Command, LatencyView, Level, NoteView, PassView, Phase, Piece, Snapshot, Sounding,
};
use crate::session::live::{LiveError, LiveSettings};
use crate::session::offline::line_info;
use crate::sound::click::{Beats, ClickPattern, ticks};
use crate::sound::synth::{Performance, Player, Voice, render};
use crate::units::{FrameCount, SampleRate};

/// Notes so much before the click's bar 1 still belong to the pass, in seconds; as much after its
/// end. Half a beat at 120: what is played further off is not meant for it.
const AROUND_S: f64 = 0.25;
/// A player who is silent for this long has stopped, in seconds.
const SILENT_S: f64 = 3.0;
/// The line has been played when its last note has sounded so much longer than it is written, in
/// seconds, or has been stopped for as long.
const AFTER_LAST_S: f64 = 1.0;
/// ... and so many of its notes were heard; else the last one is a chance find.
const PLAYED_SHARE: f64 = 0.5;
/// Judging a pass anew must not take more than this share of the time.
const JUDGING_SHARE: u32 = 5;
/// A tempo is changed by this share of the written one.
const TEMPO_STEP: f64 = 0.05;
/// Slowest and fastest, as shares of the written tempo.
const TEMPO_LIMITS: (f64, f64) = (0.25, 2.0);
/// Digital silence for this long is told, in seconds.
const DEAD_AFTER_S: f64 = 4.0;
/// Nothing above this level for as long is told, in decibels relative to full scale.
const FAINT_DBFS: f64 = -60.0;

/// The line as it is played now.
struct Chosen {
    bars: (u32, u32),
    share: f64,
    line: Line,
    piece: Arc<Piece>,
    /// Seconds from bar 1 to the end.
    length_s: f64,
}

impl Chosen {
    fn of(whole: &Line, bars: (u32, u32), share: f64) -> Result<Self, LiveError> {
        let line = whole
            .bars_range(bars.0..=bars.1)
            .and_then(|line| line.with_tempo_scale(share))
            .map_err(|fault| LiveError::Line(fault.to_string()))?;
        let piece = Arc::new(Piece {
            info: line_info(&line),
            notes: line.expected(line.instrument()),
            line_bars: (whole.first_bar(), whole.last_bar()),
            tempo_share: share,
        });
        Ok(Self {
            bars,
            share,
            length_s: line.quarters_to_seconds(line.end_quarters()),
            line,
            piece,
        })
    }
}

/// Which state the session is in, as the player sees it.
enum Stage {
    /// Waiting for a first note, without a click.
    Waiting,
    /// A pass runs or is counted in.
    Running,
    /// The last pass is played back.
    Replaying,
    /// No more passes.
    Over,
}

/// Leads a session.
pub(super) struct Conductor {
    settings: LiveSettings,
    judging: Settings,
    chosen: Chosen,
    click: bool,
    ear: Ear,
    position: Position,
    stage: Stage,
    pass: Pass,
    /// Where bar 1 of the running pass lies in the output, and the id it was ordered by.
    bar1_frame: Option<u64>,
    order_id: u32,
    began: Option<(f64, Option<f64>)>,
    out_rate: Option<SampleRate>,
    orders: Vec<Order>,
    judged: Option<Judged>,
    /// Something new was heard since the last judgement.
    stale: bool,
    judged_at: Option<Instant>,
    judging_took: Duration,
    views: Vec<Option<NoteView>>,
    history: JoinHistory,
    passes: Vec<PassView>,
    spans: Vec<Pass>,
    sounding: Option<Sounding>,
    /// Starts that no judged note speaks for yet.
    starts_since: Vec<f64>,
    last_start_s: f64,
    heard_anything_s: f64,
    lost: Option<String>,
    out_lost: Option<String>,
    replay_failed: Option<String>,
    extra_notice: Option<String>,
}

impl Conductor {
    /// Ready to begin; `out_rate` is the rate of the output, if there is one.
    pub fn new(settings: LiveSettings, out_rate: Option<SampleRate>) -> Result<Self, LiveError> {
        let whole = (settings.line.first_bar(), settings.line.last_bar());
        let chosen = Chosen::of(
            &settings.line,
            settings.bars.unwrap_or(whole),
            settings.tempo_share,
        )?;
        let judging = Settings {
            marks: settings.marks.clone(),
            mode: TimingMode::Free,
            click_at_s: None,
            open_midi: crate::session::offline::open_midi(settings.line.instrument().tuning()),
            loudest_dbfs: f64::NEG_INFINITY,
        };
        let click = settings.click.beats != Beats::None;
        let mut conductor = Self {
            judging,
            chosen,
            click,
            ear: Ear::default(),
            position: Position {
                at_s: 0.0,
                level: Level::silent(),
                lost: FrameCount(0),
                began_s: None,
                drift_ppm: None,
            },
            stage: Stage::Waiting,
            pass: free_pass(1, 0.0),
            bar1_frame: None,
            order_id: 0,
            began: None,
            out_rate,
            orders: Vec::new(),
            judged: None,
            stale: false,
            judged_at: None,
            judging_took: Duration::ZERO,
            views: Vec::new(),
            history: JoinHistory::default(),
            passes: Vec::new(),
            spans: Vec::new(),
            sounding: None,
            starts_since: Vec::new(),
            last_start_s: f64::NEG_INFINITY,
            heard_anything_s: 0.0,
            lost: None,
            out_lost: None,
            replay_failed: None,
            extra_notice: None,
            settings,
        };
        conductor.begin(1, 0.0, None);
        Ok(conductor)
    }

    /// What the band is to be asked for since this was last called.
    pub fn orders(&mut self) -> Vec<Order> {
        std::mem::take(&mut self.orders)
    }

    /// Whether all passes that were asked for are over.
    pub fn is_over(&self) -> bool {
        matches!(self.stage, Stage::Over)
    }

    /// Passes that are over, with their places in the stream.
    pub fn passes(&self) -> impl Iterator<Item = (&PassView, &Pass)> {
        self.passes.iter().zip(&self.spans)
    }

    /// What was heard in all.
    pub fn ear(&self) -> &Ear {
        &self.ear
    }

    /// How the whole take is to be timed: to a click when all of it was, at one tempo.
    pub fn whole_mode(&self) -> (TimingMode, Option<f64>) {
        let clicked = |pass: &Pass| pass.mode == TimingMode::Click;
        let spans = if self.spans.is_empty() {
            std::slice::from_ref(&self.pass)
        } else {
            &self.spans
        };
        let same = self
            .passes
            .iter()
            .all(|pass| (pass.tempo_bpm - self.chosen.piece.info.tempo_bpm).abs() < 1e-9);
        if spans.iter().all(clicked) && same {
            let last = spans.last().and_then(|pass| pass.click_at_s);
            (TimingMode::Click, last)
        } else {
            (TimingMode::Free, None)
        }
    }

    /// Whether a click or a count-in can be played at all.
    fn has_band(&self) -> bool {
        self.out_rate.is_some() && self.out_lost.is_none()
    }

    /// Begins pass `number`; nothing before `from_s` belongs to it. `after` is the frame of the
    /// output at which what came before ends.
    fn begin(&mut self, number: u32, from_s: f64, after: Option<u64>) {
        self.judged = None;
        self.views.clear();
        self.starts_since.clear();
        self.bar1_frame = None;
        self.pass = free_pass(number, from_s);
        self.stage = Stage::Waiting;
        let between = after.is_some();
        let pattern = ClickPattern {
            beats: if self.click {
                match self.settings.click.beats {
                    Beats::None => Beats::All,
                    chosen => chosen,
                }
            } else {
                Beats::None
            },
            // A bar of click between passes is all that a running pulse needs.
            count_in: if between && self.click {
                self.settings
                    .click
                    .count_in
                    .min(1)
                    .max(u8::from(self.click))
            } else {
                self.settings.click.count_in
            },
            ..self.settings.click
        };
        let wanted = pattern.beats != Beats::None || pattern.count_in > 0 || self.settings.guide;
        if !wanted || !self.has_band() {
            return;
        }
        let beats: Vec<Beat> = ticks(&self.chosen.line, &pattern)
            .into_iter()
            .map(|tick| Beat {
                at_s: tick.at_s,
                weight: tick.weight,
                in_line: tick.at_s >= -self.pickup_s() - 1e-6,
            })
            .collect();
        let opening_s = beats.first().map_or(0.0, |beat| beat.at_s.min(0.0));
        let rate = self.out_rate.map_or(0.0, |rate| rate.hz());
        self.order_id += 1;
        self.stage = Stage::Running;
        // Whatever comes before bar 1 is known to have come is no part of the pass: the count-in
        // itself may be heard.
        self.pass.from_s = f64::INFINITY;
        if self.click {
            self.pass.mode = TimingMode::Click;
        }
        self.orders.push(Order::Play(Music {
            id: self.order_id,
            bar1: after.map(|frame| frame + (-opening_s * rate).round() as u64),
            beats,
            guide: self.guide(),
        }));
    }

    /// Seconds of the pick-up bar.
    fn pickup_s(&self) -> f64 {
        -self
            .chosen
            .line
            .quarters_to_seconds(-self.chosen.line.pickup_length().quarters())
    }

    fn guide(&self) -> Option<Arc<Guide>> {
        let rate = self.out_rate.filter(|_| self.settings.guide)?;
        let player = Player {
            a4: self.settings.a4,
            ..Player::exact()
        };
        let performance = Performance::of_line(&self.chosen.piece.notes, &player);
        let mut samples = render(&performance, &Voice::fingered(), rate);
        turn_down(&mut samples);
        Some(Arc::new(Guide {
            samples,
            bar1_s: performance.bar1_s,
        }))
    }

    /// Takes in what the listening thread said.
    pub fn hear(&mut self, heard: Heard) {
        match heard {
            Heard::Event(event) => self.event(event),
            Heard::SoFar { events, .. } => {
                self.ear.soon_notes.clear();
                self.ear.soon_rings.clear();
                for event in events {
                    match event {
                        Event::Settled(note) => self.ear.soon_notes.push(note),
                        Event::Rang(ring) => self.ear.soon_rings.push(ring),
                        Event::Started { .. } | Event::Named { .. } => {}
                    }
                }
                self.refine_sounding();
                self.stale = true;
            }
            Heard::Position(position) => {
                if position.level.peak_dbfs > FAINT_DBFS {
                    self.heard_anything_s = position.at_s;
                }
                self.position = position;
                self.place_click();
            }
            Heard::Lost(message) => self.lost = Some(message),
            Heard::Back(gone_s) => {
                self.lost = None;
                self.extra_notice = Some(format!(
                    "The device was gone for {gone_s:.1} s; silence stands there in the take."
                ));
                if self.click {
                    self.restart();
                }
            }
            Heard::Over(_) => {
                self.ear.soon_notes.clear();
                self.ear.soon_rings.clear();
                self.stale = true;
            }
        }
    }

    fn event(&mut self, event: Event) {
        match event {
            Event::Started { onset_s, .. } => {
                self.last_start_s = self.last_start_s.max(onset_s);
                self.starts_since.push(onset_s);
                self.sounding = Some(Sounding {
                    midi: None,
                    index: self.place().map(|_| 0).and(self.expected_now()),
                    onset_s,
                });
                if matches!(self.stage, Stage::Waiting) {
                    self.stage = Stage::Running;
                }
            }
            Event::Named { onset_s, midi, .. } => {
                if let Some(sounding) = &mut self.sounding
                    && (sounding.onset_s - onset_s).abs() < 0.001
                {
                    sounding.midi = Some(midi);
                }
            }
            Event::Settled(note) => {
                self.drop_soon(note.onset_s);
                insert_by(&mut self.ear.notes, note, |n| n.onset_s);
                self.stale = true;
            }
            Event::Rang(ring) => {
                insert_by(&mut self.ear.rings, ring, |r| r.from_s);
                self.stale = true;
            }
        }
    }

    /// What is settled now is no longer provisional.
    fn drop_soon(&mut self, onset_s: f64) {
        self.ear.soon_notes.retain(|n| n.onset_s > onset_s + 1e-9);
        self.ear.soon_rings.clear();
    }

    /// The settled pitch of what sounds is better than the first name.
    fn refine_sounding(&mut self) {
        let Some(sounding) = &mut self.sounding else {
            return;
        };
        let near = |n: &&HeardNote| (n.onset_s - sounding.onset_s).abs() < 0.04;
        let pitch = self.ear.soon_notes.iter().rev().find(near);
        if let Some(pitch) = pitch.and_then(|n| n.pitch.as_ref()) {
            sounding.midi = Some(pitch.midi);
        }
    }

    /// The note that a start heard now is taken for.
    fn expected_now(&self) -> Option<usize> {
        let after = self.judged.as_ref().and_then(Judged::last_heard);
        let last_s = self.last_judged_s();
        let since = self
            .starts_since
            .iter()
            .filter(|s| **s > last_s + 0.03)
            .count();
        let index = after.map_or(0, |a| a + 1) + since;
        index
            .checked_sub(1)
            .filter(|i| *i < self.chosen.piece.notes.len())
    }

    fn last_judged_s(&self) -> f64 {
        self.judged
            .as_ref()
            .and_then(|judged| {
                let last = judged.last_heard()?;
                judged.judgement.notes[last]
                    .heard
                    .as_ref()
                    .map(|h| h.onset_s)
            })
            .unwrap_or(f64::NEG_INFINITY)
    }

    /// Takes in what the band said.
    pub fn told(&mut self, told: Told) {
        match told {
            Told::Bar1 { id, frame } => {
                if id == self.order_id {
                    self.bar1_frame = Some(frame);
                    self.place_click();
                }
            }
            Told::Clock {
                began_s, drift_ppm, ..
            } => {
                self.began = Some((began_s, drift_ppm));
                self.place_click();
            }
            Told::ReplayOver(failed) => {
                self.replay_failed = failed;
                if matches!(self.stage, Stage::Replaying) {
                    self.begin(self.pass.number, self.position.at_s, None);
                }
            }
            Told::Lost(message) => {
                self.out_lost = Some(message);
                self.bar1_frame = None;
                if self.pass.from_s == f64::INFINITY {
                    self.begin(self.pass.number, self.position.at_s, None);
                }
            }
            Told::Back => {
                self.out_lost = None;
                self.began = None;
                self.restart();
            }
        }
    }

    /// Works out where bar 1 of the click lies in what is heard.
    fn place_click(&mut self) {
        let (Some(frame), Some((out_s, _)), Some(in_s), Some(rate)) = (
            self.bar1_frame,
            self.began,
            self.position.began_s,
            self.out_rate,
        ) else {
            return;
        };
        let at_s = out_s + frame as f64 / rate.hz() - in_s + self.settings.latency_s.unwrap_or(0.0);
        self.pass.click_at_s = Some(at_s);
        self.pass.from_s = at_s - self.pickup_s() - AROUND_S;
    }

    /// Does what the player asked for; `Quit` is not for the conductor.
    pub fn command(&mut self, command: Command) {
        let (first, last) = (
            self.settings.line.first_bar(),
            self.settings.line.last_bar(),
        );
        let (from, to) = self.chosen.bars;
        match command {
            Command::LoopHere => {
                let bar = self.current_bar();
                self.choose((bar, bar), self.chosen.share);
            }
            Command::Widen if to < last => self.choose((from, to + 1), self.chosen.share),
            Command::Widen if from > first => self.choose((from - 1, to), self.chosen.share),
            Command::Narrow if to > from => self.choose((from, to - 1), self.chosen.share),
            Command::WholeLine => self.choose((first, last), self.chosen.share),
            Command::Slower => self.choose((from, to), self.chosen.share - TEMPO_STEP),
            Command::Faster => self.choose((from, to), self.chosen.share + TEMPO_STEP),
            Command::Click => self.switch_click(),
            Command::Restart => self.restart(),
            Command::ListenBack => self.listen_back(),
            Command::Widen | Command::Narrow | Command::Quit => {}
        }
    }

    fn current_bar(&self) -> u32 {
        let place = self.place().or(self.expected_now()).unwrap_or(0);
        let notes = &self.chosen.piece.notes;
        notes
            .get(place.min(notes.len().saturating_sub(1)))
            .map_or(self.chosen.bars.0, |note| note.bar)
    }

    fn choose(&mut self, bars: (u32, u32), share: f64) {
        // To whole steps, so that up and down lead back to where one was.
        let steps = (share / TEMPO_STEP).round() * TEMPO_STEP;
        let share = if share == self.chosen.share {
            share
        } else {
            steps
        };
        let share = share.clamp(TEMPO_LIMITS.0, TEMPO_LIMITS.1);
        match Chosen::of(&self.settings.line, bars, share) {
            Ok(chosen) => {
                self.chosen = chosen;
                self.restart();
            }
            Err(error) => self.extra_notice = Some(error.to_string()),
        }
    }

    fn switch_click(&mut self) {
        if !self.has_band() {
            self.extra_notice = Some("No click: there is no output device.".to_owned());
            return;
        }
        self.click = !self.click;
        self.orders.push(Order::ClickSounds(self.click));
        // A pulse that runs is only silenced; one that does not must be counted in.
        if self.click && self.pass.mode == TimingMode::Free {
            self.restart();
        }
    }

    fn restart(&mut self) {
        self.orders.push(Order::Stop);
        self.orders.push(Order::ClickSounds(true));
        self.begin(self.pass.number, self.position.at_s, None);
    }

    fn listen_back(&mut self) {
        if matches!(self.stage, Stage::Replaying) {
            self.restart();
            return;
        }
        let (Some(path), true) = (self.settings.keep.clone(), self.has_band()) else {
            self.extra_notice = Some(
                "Nothing can be played back: it needs an output device and a take that is kept."
                    .to_owned(),
            );
            return;
        };
        let running = self.judged.as_ref().is_some_and(|j| j.heard() > 0);
        let (from_s, to_s) = match self.spans.last() {
            Some(span) if !running => (span.from_s, span.to_s.min(self.position.at_s)),
            _ => (self.pass.from_s, self.position.at_s),
        };
        self.stage = Stage::Replaying;
        self.orders.push(Order::Stop);
        self.orders.push(Order::Replay {
            path,
            from_s: from_s.max(0.0),
            to_s,
        });
    }

    /// Looks at everything anew; to be called some fifty times a second with the moment it is.
    pub fn tick(&mut self, now: Instant) {
        let rested = self
            .judged_at
            .is_none_or(|at| now.duration_since(at) >= self.judging_took * JUDGING_SHARE);
        if self.stale && rested && matches!(self.stage, Stage::Running) {
            self.judge_now();
            self.judged_at = Some(now);
        }
        if matches!(self.stage, Stage::Running)
            && let Some(end_s) = self.pass_end()
        {
            self.end_pass(end_s);
        }
    }

    fn judge_now(&mut self) {
        let began = Instant::now();
        let judged = judge(&self.ear, &self.pass, &self.chosen.piece, &self.judging);
        self.views = judged.views(false, &self.views);
        let last_s = judged
            .last_heard()
            .and_then(|last| judged.judgement.notes[last].heard.as_ref())
            .map(|heard| heard.onset_s);
        if let Some(last_s) = last_s {
            self.starts_since.retain(|s| *s > last_s + 0.03);
        }
        self.judged = Some(judged);
        self.stale = false;
        self.judging_took = began.elapsed();
    }

    /// Where the running pass has ended, if it has, in seconds of the stream.
    fn pass_end(&self) -> Option<f64> {
        let now_s = self.position.at_s;
        if self.pass.mode == TimingMode::Click {
            let end_s = self.pass.click_at_s? + self.chosen.length_s + AROUND_S;
            return (now_s >= end_s + AFTER_CLICK_S).then_some(end_s);
        }
        let judged = self.judged.as_ref()?;
        if let Some(end_s) = self.line_played(judged) {
            return Some(end_s);
        }
        // Silence: nothing began and nothing has sounded for so long.
        let last = self.ear.soon_notes.iter().chain(self.ear.notes.last());
        let sounded_s = last
            .filter(|note| note.onset_s >= self.pass.from_s)
            .map(|note| note.release_s)
            .fold(self.last_start_s, f64::max);
        let quiet = now_s - sounded_s >= SILENT_S && judged.heard() > 0;
        quiet.then_some(now_s)
    }

    /// Where the line has been played to its end.
    fn line_played(&self, judged: &Judged) -> Option<f64> {
        let notes = &judged.judgement.notes;
        let last = notes.last()?;
        let heard = last.heard.as_ref()?;
        if (judged.heard() as f64) < PLAYED_SHARE * notes.len() as f64 {
            return None;
        }
        let stretch = judged
            .judgement
            .timing
            .tempo_bpm
            .map_or(1.0, |bpm| self.chosen.piece.info.tempo_bpm / bpm);
        let written_s = heard.onset_s + last.expected.length_s * stretch;
        let due_s = written_s.min(heard.release_s.max(heard.onset_s)) + AFTER_LAST_S;
        // A player who goes straight on has ended the pass, too.
        let next = self
            .ear
            .notes
            .iter()
            .rev()
            .take_while(|n| n.onset_s > heard.onset_s + 0.05)
            .filter(|n| n.evidence > 0.0 && n.onset_s > written_s - 0.2)
            .last();
        match next {
            Some(next) if next.onset_s < due_s => Some(next.onset_s - 0.03),
            _ => (self.position.at_s >= due_s).then_some(due_s),
        }
    }

    fn end_pass(&mut self, end_s: f64) {
        self.pass.to_s = end_s;
        let judged = judge(&self.ear, &self.pass, &self.chosen.piece, &self.judging);
        let heard = judged.heard() > 0;
        if heard {
            self.views = judged.views(true, &self.views);
            self.history.add(&judged);
            self.passes
                .push(judged.over(&self.pass, &self.chosen.piece));
            self.spans.push(self.pass.clone());
        }
        let done = self
            .settings
            .passes
            .is_some_and(|wanted| self.spans.len() >= wanted as usize);
        if done {
            self.judged = Some(judged);
            self.stage = Stage::Over;
            self.orders.push(Order::Stop);
            return;
        }
        let number = self.pass.number + u32::from(heard);
        let after = self.out_rate.zip(self.bar1_frame).filter(|_| self.click);
        let after = after.map(|(rate, bar1)| bar1 + (self.chosen.length_s * rate.hz()) as u64);
        let views = std::mem::take(&mut self.views);
        self.begin(number, end_s, after);
        // What was said of the last pass stays to be read until the next one begins.
        self.views = views;
        self.stale = true;
    }

    /// The session is over: judges what runs, so that nothing played is left out.
    pub fn close(&mut self) {
        if matches!(self.stage, Stage::Running) && !self.is_over() {
            self.ear.soon_notes.clear();
            self.ear.soon_rings.clear();
            let judged = judge(&self.ear, &self.pass, &self.chosen.piece, &self.judging);
            if judged.heard() > 0 {
                self.pass.to_s = self.position.at_s;
                self.views = judged.views(true, &self.views);
                self.history.add(&judged);
                self.passes
                    .push(judged.over(&self.pass, &self.chosen.piece));
                self.spans.push(self.pass.clone());
            }
        }
        self.stage = Stage::Over;
    }

    /// The note to be played next, or being played.
    fn place(&self) -> Option<usize> {
        let notes = &self.chosen.piece.notes;
        if let (TimingMode::Click, Some(click_s)) = (self.pass.mode, self.pass.click_at_s) {
            let at = self.position.at_s - click_s;
            let next = notes.partition_point(|note| note.onset_s <= at);
            return next.checked_sub(1).filter(|i| *i < notes.len());
        }
        self.expected_now()
    }

    fn phase(&self) -> Phase {
        if let Some(message) = &self.lost {
            let message = format!("{message}. The take is safe; waiting.");
            return Phase::DeviceLost { message };
        }
        match self.stage {
            Stage::Waiting => Phase::Waiting,
            Stage::Replaying => Phase::ListeningBack,
            Stage::Over => Phase::Ended {
                message: "The session is over.".to_owned(),
            },
            Stage::Running => match self.pass.click_at_s {
                None if self.pass.from_s == f64::INFINITY => Phase::CountIn { clicks_left: 0 },
                Some(click_s) => {
                    let to_go = click_s - self.pickup_s() - self.position.at_s;
                    if to_go > 0.0 {
                        let meter = self.chosen.line.bars().first().map(|bar| bar.meter);
                        let beat = meter.map_or(1.0, crate::sound::click::beat_quarters);
                        let beat_s = self.chosen.line.quarters_to_seconds(beat).max(0.05);
                        Phase::CountIn {
                            clicks_left: (to_go / beat_s).ceil() as u32,
                        }
                    } else {
                        Phase::Playing
                    }
                }
                _ => Phase::Playing,
            },
        }
    }

    fn click_quarters(&self) -> Option<f64> {
        let at_s = self.position.at_s - self.pass.click_at_s?;
        self.bar1_frame?;
        let bpm = self.chosen.piece.info.tempo_bpm;
        // Backwards and forwards from the notes about: the tempo may change within the line.
        let mut spans = self.chosen.piece.notes.windows(2);
        let within = spans.find(|pair| pair[0].onset_s <= at_s && at_s < pair[1].onset_s);
        Some(match within {
            Some([a, b]) => {
                let share = (at_s - a.onset_s) / (b.onset_s - a.onset_s);
                a.onset_quarters + share * (b.onset_quarters - a.onset_quarters)
            }
            _ => at_s * bpm / 60.0,
        })
    }

    fn notices(&self) -> Vec<String> {
        let mut notices = Vec::new();
        let at_s = self.position.at_s;
        let silent_s = at_s - self.heard_anything_s;
        if silent_s > DEAD_AFTER_S && self.lost.is_none() {
            if self.position.level.peak_dbfs == f64::NEG_INFINITY {
                notices.push(
                    "The input is digital silence: check the cable and the input's switch, or \
                     choose another with --device or --channel."
                        .to_owned(),
                );
            } else if silent_s > 3.0 * DEAD_AFTER_S && self.ear.notes.is_empty() {
                notices.push(format!(
                    "Nothing above {FAINT_DBFS:.0} dBFS comes in: turn the instrument or the \
                     input up."
                ));
            }
        }
        notices.extend(self.out_lost.clone());
        notices.extend(self.replay_failed.clone());
        notices.extend(self.extra_notice.clone());
        notices
    }

    /// What is to be shown now.
    pub fn snapshot(&self) -> Snapshot {
        let judged = self.judged.as_ref();
        Snapshot {
            at_s: self.position.at_s,
            phase: self.phase(),
            piece: Arc::clone(&self.chosen.piece),
            pass: self.pass.number,
            passes_wanted: self.settings.passes,
            place: self.place(),
            click_quarters: self.click_quarters(),
            click: self.click,
            sounding: self.sounding,
            notes: if self.views.len() == self.chosen.piece.notes.len() {
                self.views.clone()
            } else {
                vec![None; self.chosen.piece.notes.len()]
            },
            rings: judged.map(Judged::rings).unwrap_or_default(),
            level: self.position.level,
            dropped_frames: self.position.lost.0,
            worst: self.history.worst(),
            last_pass: self.passes.last().cloned(),
            latency: match (self.out_rate, self.settings.latency_s) {
                (None, _) => LatencyView::None,
                (_, None) => LatencyView::Unmeasured,
                (_, Some(s)) => LatencyView::Measured(1000.0 * s),
            },
            drift_ppm: self
                .began
                .and_then(|(_, out)| Some(out? - self.position.drift_ppm?)),
            take: self
                .settings
                .keep
                .as_ref()
                .map_or_else(String::new, |path| path.display().to_string()),
            notices: self.notices(),
        }
    }
}

/// The last note of a pass with a click is waited for so long after its end, in seconds: until
/// the ear has said what it would say now.
const AFTER_CLICK_S: f64 = 0.45;

fn free_pass(number: u32, from_s: f64) -> Pass {
    Pass {
        number,
        from_s,
        to_s: f64::INFINITY,
        mode: TimingMode::Free,
        click_at_s: None,
    }
}

fn insert_by<T>(list: &mut Vec<T>, item: T, at: impl Fn(&T) -> f64) {
    let moment = at(&item);
    let place = list
        .iter()
        .rposition(|x| at(x) <= moment)
        .map_or(0, |p| p + 1);
    list.insert(place, item);
}
