//! The lines of a folder, and which of them a take is.

use std::path::{Path, PathBuf};

use super::jobs::files_in;
use crate::cli::failure::Failure;
use crate::cli::options::LineOptions;
use crate::cli::output;
use crate::music::line::{Format, Line};
use crate::session::offline::ScoreSettings;
use crate::session::which_line::{Fit, WhichLine, same_notes, which_line};
use crate::sound;
use crate::words;

/// Lines named together at most where several are alike.
const TOLD: usize = 4;

/// The lines of a folder, in the order of their names.
pub(in crate::cli) struct Lines {
    folder: PathBuf,
    lines: Vec<(PathBuf, Line)>,
}

impl Lines {
    /// Reads all lines of a folder, not those of folders in it. What cannot be read as a line is left out
    /// and said; of lines with the same notes the first stands for all.
    pub(in crate::cli) fn read(folder: &Path, options: &LineOptions) -> Result<Self, Failure> {
        let mut paths = files_in(folder)?;
        paths.retain(|path| Format::of(&path.display().to_string()).is_some());
        paths.sort();
        let mut lines: Vec<(PathBuf, Line)> = Vec::new();
        for path in paths {
            let line = match options.read_at_tempo(&path) {
                Ok(part) => part.line,
                Err(failure) => {
                    output::note(&format!("left out: {failure}"));
                    continue;
                }
            };
            match lines.iter().find(|(_, other)| same_notes(other, &line)) {
                Some((other, _)) => output::note(&format!(
                    "left out: {}: the same notes as {}",
                    path.display(),
                    other.display()
                )),
                None => lines.push((path, line)),
            }
        }
        if lines.is_empty() {
            return Err(Failure::new(format!(
                "{}: there is no line in this folder; it needs a .line, MIDI, MusicXML or .csv file",
                folder.display()
            )));
        }
        Ok(Self {
            folder: folder.to_owned(),
            lines,
        })
    }

    /// The files of the lines.
    pub(in crate::cli) fn files(&self) -> impl Iterator<Item = &Path> {
        self.lines.iter().map(|(path, _)| path.as_path())
    }

    /// The file of the line that the take is, or why none can be told.
    ///
    /// # Errors
    /// When the take cannot be listened to.
    pub(in crate::cli) fn pick(
        &self,
        take: &Path,
        settings: &ScoreSettings,
    ) -> Result<Result<PathBuf, String>, Failure> {
        let name = take.display().to_string();
        let mut source = sound::file::open(take).map_err(Failure::of)?;
        let lines: Vec<&Line> = self.lines.iter().map(|(_, line)| line).collect();
        let which = which_line(&name, source.as_mut(), &lines, settings).map_err(Failure::of)?;
        Ok(match which {
            WhichLine::One(fit) => Ok(self.lines[fit.line].0.clone()),
            WhichLine::Alike(fits) => Err(format!(
                "what was played fits {}; name its line with --line or in a class file",
                self.alike(&fits)
            )),
            WhichLine::None(nearest) => Err(format!(
                "this is none of the {} in {}{}; name its line, or record the take again",
                words::count(self.lines.len(), "line"),
                self.folder.display(),
                self.nearest(nearest)
            )),
            WhichLine::Nothing => Err(
                "no note was heard; check the cable, the volume knob and the input level, and record \
                 once more"
                    .to_owned(),
            ),
        })
    }

    /// "a.line (32 notes right, 0 not) and b.line (30, 2) nearly alike".
    fn alike(&self, fits: &[Fit]) -> String {
        let told: Vec<String> = fits
            .iter()
            .take(TOLD)
            .map(|fit| {
                let file = self.lines[fit.line].0.display();
                format!("{file} ({} right, {} not)", fit.right, fit.against)
            })
            .collect();
        let more = match fits.len().saturating_sub(TOLD) {
            0 => String::new(),
            more => format!(" and {} more", words::count(more, "line")),
        };
        format!("{}{more} nearly alike", told.join(" and "))
    }

    fn nearest(&self, nearest: Option<(usize, f64)>) -> String {
        nearest.map_or_else(String::new, |(line, share)| {
            let file = self.lines[line].0.display();
            format!(" (nearest: {file}, {} of it right)", words::percent(share))
        })
    }
}
