//! A page and its pictures as files: which are asked for, whether they may be written, and writing them.

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::options::Target;
use super::output;
use super::written::{self, PAGE_MARK, Planned, ReplaceOption};
use crate::report::html::Picture;
use crate::words;

/// A page with pictures, and the pictures alone.
#[derive(Args, Debug, Clone)]
pub(super) struct PagesOptions {
    /// Write the result as one HTML page with pictures; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    html: Option<PathBuf>,

    /// Write each picture of that page as SVG into this folder
    #[arg(long, value_name = "DIR")]
    svg: Option<PathBuf>,
}

/// The first words of a page or a picture that `by` wrote.
pub(super) fn mark(by: &str) -> String {
    format!("{PAGE_MARK}{by}")
}

impl PagesOptions {
    /// Where the page goes, where one is asked for.
    pub(super) fn html(&self) -> Option<Target> {
        self.html.as_deref().map(Target::new)
    }

    /// Where the pictures go, where they are asked for.
    pub(super) fn svg(&self) -> Option<&Path> {
        self.svg.as_deref()
    }

    /// Whether the text gives way to the page.
    pub(super) fn is_to_standard(&self) -> bool {
        matches!(self.html(), Some(Target::Standard))
    }

    /// What can be known to be wrong before anything is read.
    pub(super) fn check(&self) -> Result<(), Failure> {
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

    /// The same where `json` may go to standard output, too.
    pub(super) fn check_beside(&self, json: Option<&Target>) -> Result<(), Failure> {
        if self.is_to_standard() && matches!(json, Some(Target::Standard)) {
            return Err(Failure::new(
                "--json - and --html -: only one of them can go to standard output; name a file for the other",
            ));
        }
        self.check()
    }

    /// The file that is known before anything is read; `by` may write it again.
    pub(super) fn planned(&self, by: &'static str) -> Option<Planned<'_>> {
        let path = self.html.as_deref().filter(|path| *path != Path::new("-"));
        path.map(|path| Planned::new(path, by))
    }

    /// Writes what was asked for of a page and its pictures, each made only where it is.
    ///
    /// # Errors
    /// A picture that must not be written (`inputs` are read); no picture is written then.
    pub(super) fn write(
        &self,
        page: impl FnOnce() -> Result<String, Failure>,
        pictures: impl FnOnce() -> Vec<Picture>,
        by: &'static str,
        (inputs, replace): (&[&Path], ReplaceOption),
    ) -> Result<(), Failure> {
        match self.html() {
            Some(Target::Standard) => output::print(page()?.as_bytes())?,
            Some(Target::File(path)) => output::write_file(&path, page()?.as_bytes())?,
            None => {}
        }
        match &self.svg {
            Some(folder) => write_pictures(&pictures(), folder, by, (inputs, replace)),
            None => Ok(()),
        }
    }
}

/// Writes pictures into a folder, which is made where it is not there.
fn write_pictures(
    pictures: &[Picture],
    folder: &Path,
    by: &'static str,
    (inputs, replace): (&[&Path], ReplaceOption),
) -> Result<(), Failure> {
    if pictures.is_empty() {
        output::note("--svg: nothing was judged, so there is nothing to draw");
        return Ok(());
    }
    let files: Vec<PathBuf> = pictures
        .iter()
        .map(|picture| folder.join(&picture.name))
        .collect();
    let planned: Vec<Planned> = files.iter().map(|file| Planned::new(file, by)).collect();
    written::check(&planned, inputs, replace)?;
    fs::create_dir_all(folder).map_err(|error| {
        Failure::new(format!(
            "{}: this folder cannot be made ({error}); name another one",
            folder.display()
        ))
    })?;
    for (file, picture) in files.iter().zip(pictures) {
        output::write_file(file, picture.svg.as_bytes())?;
    }
    output::note(&format!(
        "{}: {}",
        folder.display(),
        words::count(pictures.len(), "picture")
    ));
    Ok(())
}
