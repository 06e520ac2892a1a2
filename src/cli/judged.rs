//! What `score` writes of a judged take beside its text: the HTML page, its pictures, and why a note
//! got its verdict.

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::options::Target;
use super::output;
use super::written::{self, PAGE_MARK, Planned, ReplaceOption};
use crate::report::html::{self, PageOptions};
use crate::report::json::BY_SCORE;
use crate::report::text::Practise;
use crate::report::why::{self, LinePlace};
use crate::session::result::TakeResult;
use crate::sound;
use crate::sound::block::Delivery;
use crate::sound::output::{WavSamples, wav_bytes};
use crate::words;

/// Longest take whose sound a page holds, in samples of 16 bits: ten minutes at 48 kHz, which make a page
/// of 77 MB. Raising it makes pages that browsers are slow to open.
const EMBEDDED_FRAMES_MAX: usize = 10 * 60 * 48_000;

/// Pages and pictures of a judged take.
#[derive(Args, Debug, Clone)]
pub(super) struct JudgedOptions {
    /// Write the result as one HTML page with pictures, of several takes the table; `-` is standard
    /// output, without the text
    #[arg(long, value_name = "PATH|-")]
    html: Option<PathBuf>,

    /// Put the sound of the take into the page, so that a click on a note plays it
    #[arg(long, requires = "html")]
    embed_sound: bool,

    /// Write each picture of that page as SVG into this folder: bar-1.svg and so on
    #[arg(long, value_name = "DIR")]
    svg: Option<PathBuf>,

    /// Show in place of the report why the notes at a place got their verdicts: `3.2.5` is bar 3 (as
    /// played) beat 2.5, `3` the whole bar
    #[arg(long, value_name = "BAR.BEAT")]
    why: Option<LinePlace>,
}

impl JudgedOptions {
    /// Where the page goes.
    pub(super) fn html(&self) -> Option<Target> {
        self.html.as_deref().map(Target::new)
    }

    /// Whether the text of the report gives way to what goes to standard output.
    pub(super) fn is_in_place_of_text(&self) -> bool {
        self.why.is_some() || matches!(self.html(), Some(Target::Standard))
    }

    /// What can be known to be wrong before anything is read. `several` says whether a table is made,
    /// `others` how many other results go to standard output.
    pub(super) fn check(
        &self,
        takes: &[&Path],
        several: bool,
        others: usize,
    ) -> Result<(), Failure> {
        let asked = [
            (self.embed_sound, "--embed-sound"),
            (self.svg.is_some(), "--svg"),
            (self.why.is_some(), "--why"),
        ];
        let first = asked.iter().find(|(asked, _)| *asked);
        if let Some((_, option)) = first.filter(|_| several) {
            return Err(Failure::new(format!(
                "{option} is about one take, and a table of {} is made here; name one take alone",
                words::count(takes.len(), "take")
            )));
        }
        let own = [
            matches!(self.html(), Some(Target::Standard)),
            self.why.is_some(),
        ];
        if others + own.iter().filter(|goes| **goes).count() > 1 {
            return Err(Failure::new(
                "--json -, --csv -, --summary -, --html - and --why: only one of them can go to \
                 standard output; name files for the others",
            ));
        }
        if self.embed_sound && takes.contains(&Path::new("-")) {
            return Err(Failure::new(
                "--embed-sound: standard input can be read only once; name the take's file",
            ));
        }
        match self.svg.as_deref() {
            Some(folder) if folder == Path::new("-") => Err(Failure::new(
                "--svg: several pictures cannot go to standard output; name a folder",
            )),
            Some(folder) if folder.exists() && !folder.is_dir() => Err(Failure::new(format!(
                "{}: this is no folder; --svg writes several files, name a folder for them",
                folder.display()
            ))),
            _ => Ok(()),
        }
    }

    /// The files that are known before the take is judged.
    pub(super) fn planned(&self) -> Option<Planned<'_>> {
        let path = self.html.as_deref().filter(|path| *path != Path::new("-"));
        path.map(|path| Planned::new(path, BY_SCORE))
    }

    /// Writes and shows what was asked for. `inputs` are read, and never written over.
    pub(super) fn write(
        &self,
        result: &TakeResult,
        practise: &Practise,
        take: &Path,
        (inputs, replace): (&[&Path], ReplaceOption),
    ) -> Result<(), Failure> {
        let mark = format!("{PAGE_MARK}{BY_SCORE}");
        if let Some(target) = self.html() {
            let options = PageOptions {
                mark: mark.clone(),
                practise: Some(practise.clone()),
                sound_wav: self.embed_sound.then(|| sound_of(take)).transpose()?,
            };
            let page = html::page(result, &options);
            match target {
                Target::Standard => output::print(page.as_bytes())?,
                Target::File(path) => output::write_file(&path, page.as_bytes())?,
            }
        }
        if let Some(folder) = &self.svg {
            pictures(result, folder, &mark, (inputs, replace))?;
        }
        if let Some(place) = self.why {
            let told = why::page(result, place, output::columns());
            let told = told.map_err(|what| Failure::new(format!("--why: {what}")))?;
            output::print(told.as_bytes())?;
        }
        Ok(())
    }
}

/// Writes the pictures into a folder, which is made where it is not there.
fn pictures(
    result: &TakeResult,
    folder: &Path,
    mark: &str,
    (inputs, replace): (&[&Path], ReplaceOption),
) -> Result<(), Failure> {
    let pictures = html::pictures(result, mark);
    if pictures.is_empty() {
        output::note("--svg: the take could not be judged, so there is nothing to draw");
        return Ok(());
    }
    let files: Vec<PathBuf> = pictures
        .iter()
        .map(|picture| folder.join(&picture.name))
        .collect();
    let planned: Vec<Planned> = files
        .iter()
        .map(|file| Planned::new(file, BY_SCORE))
        .collect();
    written::check(&planned, inputs, replace)?;
    fs::create_dir_all(folder).map_err(|error| {
        Failure::new(format!(
            "{}: this folder cannot be made ({error}); name another one",
            folder.display()
        ))
    })?;
    for (file, picture) in files.iter().zip(&pictures) {
        output::write_file(file, picture.svg.as_bytes())?;
    }
    output::note(&format!(
        "{}: {}",
        folder.display(),
        words::count(pictures.len(), "picture")
    ));
    Ok(())
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
