//! What `score` writes of a judged take beside its text: the HTML page, its pictures, and why a note
//! got its verdict.

use std::path::Path;

use clap::Args;

use super::failure::Failure;
use super::options::Target;
use super::output;
use super::pages::{PagesOptions, mark};
use super::written::{Planned, ReplaceOption};
use crate::report::html::{self, PageOptions};
use crate::report::json::BY_SCORE;
use crate::report::text::Practise;
use crate::report::why::{self, LinePlace};
use crate::session::curves::curves;
use crate::session::result::{Curves, TakeResult};
use crate::sound;
use crate::sound::block::Delivery;
use crate::sound::output::{WavSamples, wav_bytes};
use crate::units::Hertz;
use crate::words;

/// Longest take whose sound a page holds, in samples of 16 bits: ten minutes at 48 kHz, which make a page
/// of 77 MB. Raising it makes pages that browsers are slow to open.
const EMBEDDED_FRAMES_MAX: usize = 10 * 60 * 48_000;

/// The page of a judged take with its pictures and its sound.
#[derive(Args, Debug, Clone)]
pub(super) struct TakePages {
    #[command(flatten)]
    pages: PagesOptions,

    /// Put the sound of the take into the page, so that a click on a note plays it
    #[arg(long, requires = "html")]
    embed_sound: bool,
}

/// Pages and pictures of a judged take, and its explanation.
#[derive(Args, Debug, Clone)]
pub(super) struct JudgedOptions {
    #[command(flatten)]
    pages: TakePages,

    /// Show in place of the report why the notes at a place got their verdicts: `3.2.5` is bar 3 (as
    /// played) beat 2.5, `3` the whole bar
    #[arg(long, value_name = "BAR.BEAT")]
    why: Option<LinePlace>,
}

/// A take that was judged, and how it was played.
#[derive(Clone, Copy)]
pub(super) struct JudgedTake<'a> {
    /// What was found out.
    pub(super) result: &'a TakeResult,
    /// The file of its sound.
    pub(super) take: &'a Path,
    /// How to practise it.
    pub(super) practise: &'a Practise,
    /// Frequency of A4.
    pub(super) a4: Hertz,
}

impl JudgedTake<'_> {
    /// How pitch and level move within its notes; `None` where that cannot be told, with a word why.
    fn curves(&self) -> Result<Option<Curves>, Failure> {
        if !self.result.judgement.is_judged() {
            return Ok(None);
        }
        if self.take == Path::new("-") {
            output::note("no curves of pitch: standard input can be read only once");
            return Ok(None);
        }
        let mut source = sound::file::open(self.take).map_err(Failure::of)?;
        let drawn = curves(source.as_mut(), self.result, self.a4).map_err(Failure::of)?;
        if drawn.is_none() {
            output::note("no curves of pitch: the take is too long for them");
        }
        Ok(drawn)
    }
}

impl TakePages {
    /// The options of the page and the pictures alone.
    pub(super) fn pages(&self) -> &PagesOptions {
        &self.pages
    }

    /// Writes what was asked for; `by` may write it again. The first of `guarded` are read, and never written over.
    pub(super) fn write(
        &self,
        judged: JudgedTake,
        by: &'static str,
        guarded: (&[&Path], ReplaceOption),
    ) -> Result<(), Failure> {
        let page = || {
            let options = PageOptions {
                mark: mark(by),
                practise: Some(judged.practise.clone()),
                sound_wav: self
                    .embed_sound
                    .then(|| sound_of(judged.take))
                    .transpose()?,
                curves: judged.curves()?,
            };
            Ok(html::page(judged.result, &options))
        };
        let pictures = || html::pictures(judged.result, &mark(by));
        self.pages.write(page, pictures, by, guarded)
    }
}

impl JudgedOptions {
    /// Where the page goes; of several takes it is that of the table.
    pub(super) fn html(&self) -> Option<Target> {
        self.pages.pages.html()
    }

    /// Whether the text of the report gives way to what goes to standard output.
    pub(super) fn is_in_place_of_text(&self) -> bool {
        self.why.is_some() || self.pages.pages.is_to_standard()
    }

    /// What can be known to be wrong before anything is read. `several` says whether a table is made,
    /// `others` how many other results go to standard output.
    pub(super) fn check(
        &self,
        takes: &[&Path],
        several: bool,
        others: usize,
    ) -> Result<(), Failure> {
        let pages = &self.pages.pages;
        let asked = [
            (self.pages.embed_sound, "--embed-sound"),
            (pages.svg().is_some(), "--svg"),
            (self.why.is_some(), "--why"),
        ];
        let first = asked.iter().find(|(asked, _)| *asked);
        if let Some((_, option)) = first.filter(|_| several) {
            return Err(Failure::new(format!(
                "{option} is about one take, and a table of {} is made here; name one take alone",
                words::count(takes.len(), "take")
            )));
        }
        let own = [pages.is_to_standard(), self.why.is_some()];
        if others + own.iter().filter(|goes| **goes).count() > 1 {
            return Err(Failure::new(
                "--json -, --csv -, --summary -, --html - and --why: only one of them can go to \
                 standard output; name files for the others",
            ));
        }
        if self.pages.embed_sound && takes.contains(&Path::new("-")) {
            return Err(Failure::new(
                "--embed-sound: standard input can be read only once; name the take's file",
            ));
        }
        pages.check()
    }

    /// The files that are known before the take is judged.
    pub(super) fn planned(&self) -> Option<Planned<'_>> {
        self.pages.pages.planned(BY_SCORE)
    }

    /// Writes and shows what was asked for. The first of `guarded` are read, and never written over.
    pub(super) fn write(
        &self,
        judged: JudgedTake,
        guarded: (&[&Path], ReplaceOption),
    ) -> Result<(), Failure> {
        self.pages.write(judged, BY_SCORE, guarded)?;
        if let Some(place) = self.why {
            let curves = judged.curves()?;
            let told = why::page(judged.result, place, output::columns(), curves.as_ref());
            let told = told.map_err(|what| Failure::new(format!("--why: {what}")))?;
            output::print(told.as_bytes())?;
        }
        Ok(())
    }
}

/// The take as the ear hears it, mono, as the bytes of a 16-bit WAV file. What was lost on the way in
/// is silence, so that times are those of the report.
fn sound_of(take: &Path) -> Result<Vec<u8>, Failure> {
    let mut source = sound::file::open(take).map_err(Failure::of)?;
    let rate = source.format().rate;
    let mut samples = Vec::new();
    let mut block = Vec::new();
    loop {
        match source.next_block(&mut block).map_err(Failure::of)? {
            Delivery::Samples => samples.extend_from_slice(&block),
            Delivery::Gap(lost) => {
                let lost = usize::try_from(lost.0).unwrap_or(usize::MAX);
                let room = EMBEDDED_FRAMES_MAX.saturating_sub(samples.len()) + 1;
                samples.resize(samples.len() + lost.min(room), 0.0);
            }
            Delivery::Nothing => {}
            Delivery::End => break,
        }
        if samples.len() > EMBEDDED_FRAMES_MAX {
            return Err(Failure::new(format!(
                "{}: too long for --embed-sound, which takes {:.0} minutes at {} Hz; leave it out, or \
                 judge a part of the take",
                take.display(),
                EMBEDDED_FRAMES_MAX as f64 / f64::from(rate.0) / 60.0,
                rate.0
            )));
        }
    }
    wav_bytes(rate, WavSamples::Integer16, &samples).map_err(Failure::of)
}
