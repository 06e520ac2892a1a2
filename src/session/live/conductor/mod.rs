//! Who leads a session: which pass runs, what was heard in it, what the band is to play, and what
//! is shown. No thread, no clock and no device: it is told everything, moments included, so that
//! tests can play any session through.

mod asked;
mod chosen;
mod climbing;
mod hearing;
mod ordering;
mod passing;
mod shown;
#[cfg(test)]
mod tests;

use std::time::{Duration, Instant};

use crate::compare::Settings;
use crate::compare::clicks::ClickedPass;
use crate::compare::judgement::TimingMode;
use crate::session::heard::Heard;
use crate::session::judging::Asked;
use crate::session::live::band::{Music, Order};
use crate::session::live::conductor::chosen::Chosen;
use crate::session::live::conductor::climbing::Climb;
use crate::session::live::joins::JoinHistory;
use crate::session::live::pass::{Judged, Pass, judge};
use crate::session::live::pass_history::PassHistory;
use crate::session::live::said::Position;
use crate::session::live::snapshot::{Level, NoteView, PassView, Rest, Sounding};
use crate::session::live::{LiveError, LiveSettings};
use crate::sound::click::Beats;
use crate::units::{FrameCount, SampleRate};

/// Notes up to this long before the click's bar 1 belong to the pass, and notes up to this long
/// after its end, in seconds. Half a beat at 120: what is played further off is not meant for it.
const AROUND_S: f64 = 0.25;
/// Where a pass follows the one before without a count-in, notes this long before its bar 1 belong
/// to it, in seconds: early first notes are rarer than late last ones end.
const STRAIGHT_ON_S: f64 = 0.12;
/// An input that stays below this level for seconds is said to be too faint, in decibels relative
/// to full scale. Raised, soft players are told to turn up.
const FAINT_DBFS: f64 = -60.0;

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

/// A pass that is ordered and has not begun.
struct Ahead {
    music: Music,
    /// At another tempo than the pass before.
    chosen: Option<Chosen>,
    /// Whether it is a probe of the ladder.
    probe: bool,
    /// Where its bar 1 lies in the output, once the band has said so.
    frame: Option<u64>,
}

/// Leads a session.
pub(super) struct Conductor {
    settings: LiveSettings,
    judging: Settings,
    chosen: Chosen,
    click: bool,
    heard: Heard,
    position: Position,
    stage: Stage,
    pass: Pass,
    /// Where bar 1 of the running pass lies in the output, and the id it was ordered by.
    bar1_frame: Option<u64>,
    order_id: u32,
    /// The id that was given last.
    last_id: u32,
    /// What plays after the running pass, where that was ordered.
    ahead: Option<Ahead>,
    began: Option<(f64, Option<f64>)>,
    out_rate: Option<SampleRate>,
    orders: Vec<Order>,
    judged: Option<Judged>,
    /// The pass that `views` speaks of.
    views_of: u32,
    passes_changed: bool,
    /// Whether passes are counted in.
    counts_in: bool,
    /// Something new was heard since the last judgement.
    stale: bool,
    judged_at: Option<Instant>,
    judging_took: Duration,
    views: Vec<Option<NoteView>>,
    history: JoinHistory,
    past: PassHistory,
    climb: Option<Climb>,
    /// Since when the same bars are practised without a rest, in seconds of the stream.
    item_since_s: f64,
    rest: Option<Rest>,
    passes: Vec<PassView>,
    spans: Vec<Pass>,
    sounding: Option<Sounding>,
    /// What has started and has no steady name yet, and since when it has the one it has.
    forming: Option<(Sounding, f64)>,
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
        let marks = settings.loops.ladder;
        let climb = marks
            .map(|marks| Climb::new(marks, settings.tempo_share))
            .transpose()
            .map_err(|error| LiveError::Line(error.to_string()))?;
        let chosen = Chosen::of(
            &settings.line,
            settings.bars.unwrap_or(whole),
            settings.loops.join,
            climb.as_ref().map_or(settings.tempo_share, Climb::share),
        )?;
        let judging = settings
            .judging(&settings.line)
            .settings(Asked::WHOLE_LINE, f64::NEG_INFINITY);
        let click = settings.click.beats != Beats::None;
        let mut conductor = Self {
            judging,
            click,
            heard: Heard::default(),
            position: Position {
                at_s: 0.0,
                level: Level::silent(),
                lost: FrameCount(0),
                began_s: None,
                drift_ppm: None,
            },
            stage: Stage::Waiting,
            pass: free_pass(1, 0.0, &chosen),
            chosen,
            bar1_frame: None,
            order_id: 0,
            last_id: 0,
            ahead: None,
            began: None,
            out_rate,
            orders: Vec::new(),
            judged: None,
            views_of: 1,
            passes_changed: true,
            counts_in: !settings.loops.straight_on,
            stale: false,
            judged_at: None,
            judging_took: Duration::ZERO,
            views: Vec::new(),
            history: JoinHistory::default(),
            past: PassHistory::default(),
            climb,
            item_since_s: 0.0,
            rest: None,
            passes: Vec::new(),
            spans: Vec::new(),
            sounding: None,
            forming: None,
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
    pub fn heard(&self) -> &Heard {
        &self.heard
    }

    /// What is known of the clicks the take was played to, against the line at the tempo it was
    /// begun with; `running` adds the pass that is not over yet.
    pub fn clicks(&self, running: bool) -> Vec<ClickedPass> {
        let measured = self.settings.latency_s.is_some();
        let clicked = |pass: &Pass| pass.clicked(self.settings.tempo_share, measured);
        let now = Some(&self.pass).filter(|_| running && !matches!(self.stage, Stage::Over));
        self.spans.iter().chain(now).filter_map(clicked).collect()
    }

    /// The bars asked for, and all that were played since.
    pub fn bars(&self) -> Option<(u32, u32)> {
        let hull =
            |bars: (u32, u32), pass: &Pass| (bars.0.min(pass.bars.0), bars.1.max(pass.bars.1));
        self.settings
            .bars
            .map(|bars| self.spans.iter().fold(bars, hull))
    }

    /// Whether a pass has begun or is over since this was last asked.
    pub fn changed_passes(&mut self) -> bool {
        std::mem::take(&mut self.passes_changed)
    }

    /// Judges the running pass.
    fn judge(&self) -> Judged {
        judge(
            &self.heard,
            &self.pass,
            &self.chosen.piece,
            &self.chosen.whole,
            &self.judging,
            self.settings.latency_s.is_some(),
        )
    }

    /// Whether a click or a count-in can be played at all.
    fn has_band(&self) -> bool {
        self.out_rate.is_some() && self.out_lost.is_none()
    }
}

fn free_pass(number: u32, from_s: f64, chosen: &Chosen) -> Pass {
    Pass {
        number,
        from_s,
        to_s: f64::INFINITY,
        mode: TimingMode::Free,
        click_at_s: None,
        ticks_s: Vec::new(),
        share: chosen.share,
        bars: chosen.bars,
        notes: chosen.notes(),
        start_s: chosen.start_s,
    }
}
