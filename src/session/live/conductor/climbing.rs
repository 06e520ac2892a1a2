//! The tempo ladder in a session: how each pass went, at what tempo the next one is played, and when a
//! rest is due.
//!
//! A pass is judged half a second after its last beat, and what follows is ordered before that. Where
//! the tempo of the next pass hangs on how this one ends, a session that counts in waits for the
//! judgement; one that goes straight on plays the same tempo once more, so that a new tempo is always
//! known a whole pass before it comes.

use super::Conductor;
use super::chosen::Chosen;
use crate::compare::judgement::{TimingMode, Verdict};
use crate::progress::ladder::{Ladder, LadderError, LadderMarks, Next, Outcome, Step};
use crate::session::live::loops::SAME_SHARE;
use crate::session::live::pass::Judged;
use crate::session::live::snapshot::{Ahead, LadderPass, LadderView, NoteView, Phase, Rest};

/// The same bars for longer than this are enough for now, in seconds. Common practice (5 to 8 minutes),
/// no source; that a rest early in a session helps is Cash (2009, J. Res. Music Educ.). Raised, the
/// advice comes later.
const ITEM_S: f64 = 480.0;
/// A player who is silent for this long has rested, in seconds. Common practice, no source. Raised,
/// shorter pauses count as practice.
const RESTED_S: f64 = 60.0;
/// Faulty passes in a row at the slowest tempo from which on a rest is advised. Common practice, no
/// source. Raised, the advice comes later.
const LOW_PASSES: u32 = 3;

/// How the tempo goes up and down in a session.
pub(super) struct Climb {
    ladder: Ladder,
    /// Whether the running pass is a probe.
    pub probe: bool,
    /// What the last pass led to.
    decided: Option<(Step, Next)>,
}

impl Climb {
    /// A ladder that starts at a tempo relative to the written one.
    ///
    /// # Errors
    /// When its marks make no ladder.
    pub fn new(marks: LadderMarks, share: f64) -> Result<Self, LadderError> {
        Ok(Self {
            ladder: Ladder::new(marks, share)?,
            probe: false,
            decided: None,
        })
    }

    /// Where it stands, relative to the written tempo.
    pub fn share(&self) -> f64 {
        self.ladder.share()
    }

    /// Goes on at another tempo, as the player asks; gives the one it goes on at.
    pub fn set(&mut self, share: f64) -> f64 {
        self.ladder.set(share);
        self.decided = None;
        self.probe = false;
        self.ladder.share()
    }

    /// Other bars: everything is counted from the beginning, at the tempo where it stands.
    pub fn begin_anew(&mut self) {
        if let Ok(ladder) = Ladder::new(*self.ladder.marks(), self.ladder.share()) {
            self.ladder = ladder;
        }
        self.decided = None;
        self.probe = false;
    }

    /// What would come next, had a pass at this tempo gone that way.
    fn next_if(&self, outcome: Outcome, share: f64) -> Next {
        let mut ladder = self.ladder.clone();
        ladder.pass(outcome, share);
        ladder.next()
    }

    /// How a pass went.
    fn outcome(&self, judged: &Judged, bars: (u32, u32)) -> Outcome {
        let marks = self.ladder.marks();
        let passes = &judged.judgement.passes;
        let of = |pass| Outcome::of(pass, bars, marks);
        match passes.as_slice() {
            [only] if judged.notes.iter().all(Option::is_some) => of(only),
            // Whoever began anew has not gone through at once, however it ended.
            [_, _, ..] if passes.iter().any(|pass| of(pass) != Outcome::Broken) => Outcome::Faulty,
            _ => Outcome::Broken,
        }
    }

    /// Whether nothing that is known of a pass keeps it from being clean.
    fn is_clean_so_far(&self, views: &[Option<NoteView>]) -> bool {
        let known = || views.iter().flatten().filter(|view| view.settled);
        let flagged = known().filter(|view| !view.flags.is_empty()).count();
        let allowed = (1.0 - self.ladder.marks().clean_share) * views.len() as f64;
        known().all(|view| view.verdict == Verdict::Right) && flagged as f64 <= allowed
    }
}

/// What is known of the next tempo while a pass runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Foretold {
    /// However the pass ends.
    Sure(Next),
    /// It hangs on how it ends.
    Open { clean: Next, otherwise: Next },
}

fn same(a: Next, b: Next) -> bool {
    a.probe == b.probe && (a.share - b.share).abs() < SAME_SHARE
}

impl Conductor {
    /// What comes behind the running pass; `None` without a ladder or without a click.
    pub(super) fn foretold(&self) -> Option<Foretold> {
        let climb = self.climb.as_ref()?;
        if self.pass.mode != TimingMode::Click {
            return None;
        }
        let share = self.pass.share;
        let clean = climb.next_if(Outcome::Clean, share);
        let otherwise = climb.next_if(Outcome::Faulty, share);
        Some(if same(clean, otherwise) {
            Foretold::Sure(clean)
        } else {
            Foretold::Open { clean, otherwise }
        })
    }

    /// What is played behind the running pass before it is judged: `Err` when that must be waited for.
    pub(super) fn next_unjudged(&self) -> Result<Option<Next>, ()> {
        match self.foretold() {
            None => Ok(None),
            Some(Foretold::Sure(next)) => Ok(Some(next)),
            Some(Foretold::Open { .. }) if self.counts_in => Err(()),
            Some(Foretold::Open { .. }) => Ok(self.climb.as_ref().map(|climb| Next {
                share: climb.share(),
                probe: false,
            })),
        }
    }

    /// What is chosen at another tempo; `None` where it is the same, or where the line cannot be played
    /// so fast or so slowly.
    pub(super) fn at_tempo(&mut self, next: Next) -> Option<Chosen> {
        if (next.share - self.chosen.share).abs() < SAME_SHARE {
            return None;
        }
        let join = self.chosen.join.as_ref().map(|join| join.index);
        match Chosen::of(&self.settings.line, self.chosen.bars, join, next.share) {
            Ok(chosen) => Some(chosen),
            Err(error) => {
                self.extra_notice = Some(error.to_string());
                None
            }
        }
    }

    /// Takes a pass that is over into the ladder.
    pub(super) fn climb(&mut self, judged: &Judged) -> Option<LadderPass> {
        if self.pass.mode != TimingMode::Click {
            return None;
        }
        let (bars, share) = (self.pass.bars, self.pass.share);
        let climb = self.climb.as_mut()?;
        let outcome = climb.outcome(judged, bars);
        let step = climb.ladder.pass(outcome, share);
        let next = climb.ladder.next();
        climb.decided = Some((step, next));
        Some(LadderPass {
            outcome,
            probe: climb.probe,
            step,
            next,
        })
    }

    /// Goes over to the tempo of the next pass where nothing was ordered before; gives whether the click
    /// has to be started anew for it.
    pub(super) fn take_tempo(&mut self) -> bool {
        if self.ahead.is_some() || self.pass.mode != TimingMode::Click {
            return false;
        }
        let Some(climb) = &mut self.climb else {
            return false;
        };
        let next = climb.ladder.next();
        climb.probe = next.probe;
        if let Some(chosen) = self.at_tempo(next) {
            self.chosen = chosen;
        }
        true
    }

    /// Whether a rest is due behind the pass that is over.
    pub(super) fn look_for_rest(&mut self, step: Option<Step>) {
        let at_s = self.position.at_s;
        self.rest = match step {
            Some(Step::Lowest { faulty_in_a_row }) if faulty_in_a_row == LOW_PASSES => {
                Some(Rest::AtTheLowest(faulty_in_a_row))
            }
            _ if at_s - self.item_since_s >= ITEM_S => {
                // Told once, and again after as long a time.
                self.item_since_s = at_s;
                Some(Rest::LongEnough((ITEM_S / 60.0).round() as u32))
            }
            _ => None,
        };
    }

    /// Something else is played from now on.
    pub(super) fn new_item(&mut self) {
        self.item_since_s = self.position.at_s;
        self.rest = None;
        if let Some(climb) = &mut self.climb {
            climb.begin_anew();
        }
    }

    /// A note has begun: after a long silence the player has rested.
    pub(super) fn note_began(&mut self, onset_s: f64) {
        if onset_s - self.last_start_s >= RESTED_S {
            self.item_since_s = onset_s;
            self.rest = None;
        }
    }

    /// What is shown of the ladder.
    pub(super) fn ladder_view(&self) -> Option<LadderView> {
        let climb = self.climb.as_ref()?;
        Some(LadderView {
            counts: climb.ladder.counts(),
            target_share: climb.ladder.marks().target_share,
            probe: climb.probe,
            // While the next pass runs already it is no longer the next one; going straight on it is.
            decided: climb
                .decided
                .filter(|_| !self.counts_in || !matches!(self.phase(), Phase::Playing)),
            ahead: self.ahead_view(climb),
        })
    }

    /// What is known of the next pass while the last bar of this one runs.
    fn ahead_view(&self, climb: &Climb) -> Option<Ahead> {
        let at_s = self.position.at_s - self.pass.click_at_s?;
        if !(self.chosen.last_bar_s()..=self.chosen.length_s).contains(&at_s) {
            return None;
        }
        let views: &[_] = if self.views_of == self.pass.number {
            &self.views
        } else {
            &[]
        };
        let clean = climb.is_clean_so_far(views);
        Some(match self.foretold()? {
            Foretold::Sure(next) => Ahead::Known(next),
            Foretold::Open { otherwise, .. } if !clean => match self.counts_in {
                true => Ahead::Known(otherwise),
                false => Ahead::Later {
                    now: self.next_unjudged().ok().flatten()?,
                    later: otherwise,
                },
            },
            Foretold::Open { clean, otherwise } => match self.counts_in {
                true => Ahead::IfClean { clean, otherwise },
                false => Ahead::LaterIfClean {
                    now: self.next_unjudged().ok().flatten()?,
                    clean,
                },
            },
        })
    }
}
