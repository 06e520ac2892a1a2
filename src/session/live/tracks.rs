//! The backing track for the pass that plays and the one that comes: made by a thread of its own, ahead
//! of where it is heard.

use std::sync::Arc;

use crossbeam_channel::{Receiver, Sender, bounded};

use crate::session::live::band::Guide;
use crate::sound::backing::{Backing, BackingPart};
use crate::units::SampleRate;

/// Parts that are kept: what plays, what comes, and one to go back to. Raised, more memory is held.
const KEPT: usize = 3;

/// The parts of a track that are made.
#[derive(Default)]
pub(super) struct Tracks {
    maker: Option<Maker>,
    made: Vec<(BackingPart, Arc<Guide>)>,
    asked: Vec<BackingPart>,
    refused: Vec<BackingPart>,
}

struct Maker {
    ask: Sender<BackingPart>,
    made: Receiver<(BackingPart, Result<Guide, String>)>,
}

impl Tracks {
    /// Of this track, for an output at `rate`; the thread ends with what this gives.
    pub fn new(backing: Option<Backing>, rate: SampleRate) -> Self {
        let maker = backing.and_then(|backing| {
            let (ask, asked) = bounded::<BackingPart>(16);
            let (say, made) = bounded(16);
            let make = move || {
                while let Ok(part) = asked.recv() {
                    let guide = backing.render(&part, rate).map(|samples| Guide {
                        samples,
                        bar1_s: (part.bar1_s - part.from_s) / part.share,
                    });
                    if say.send((part, guide.map_err(|e| e.to_string()))).is_err() {
                        return;
                    }
                }
            };
            let thread = std::thread::Builder::new().name("backing".to_owned());
            thread.spawn(make).ok().map(|_| Maker { ask, made })
        });
        Self {
            maker,
            ..Self::default()
        }
    }

    /// Asks for a part, once.
    pub fn ask(&mut self, part: BackingPart) {
        let known = self.of(&part).is_some() || self.asked.contains(&part);
        if let (Some(maker), false) = (&self.maker, known || self.refused.contains(&part))
            && maker.ask.try_send(part).is_ok()
        {
            self.asked.push(part);
        }
    }

    /// Whether nothing more will come of a part that was asked for.
    pub fn is_settled(&self, part: &BackingPart) -> bool {
        !self.asked.contains(part)
    }

    /// The part, where it is made.
    pub fn of(&self, part: &BackingPart) -> Option<&Arc<Guide>> {
        let mut made = self.made.iter();
        made.find(|(known, _)| known == part)
            .map(|(_, guide)| guide)
    }

    /// Takes in what has been made since; gives why something could not be.
    pub fn take_in(&mut self) -> Option<String> {
        let mut failed = None;
        let come = self
            .maker
            .as_ref()
            .map(|maker| maker.made.try_iter().collect::<Vec<_>>());
        for (part, guide) in come.unwrap_or_default() {
            self.asked.retain(|asked| *asked != part);
            match guide {
                Ok(guide) => {
                    self.made.push((part, Arc::new(guide)));
                    if self.made.len() > KEPT {
                        self.made.remove(0);
                    }
                }
                Err(reason) => {
                    self.refused.push(part);
                    failed = Some(format!("The backing track is silent: {reason}"));
                }
            }
        }
        failed
    }
}
