//! A line as a file: the format that its name asks for, and what that format cannot hold.

use std::path::Path;

use super::failure::Failure;
use super::options::Target;
use super::output;
use crate::music::line::{Format, Line, unheld, write_bytes};

/// The format that the ending of `path` names.
pub(super) fn format_of(path: &Path) -> Result<Format, Failure> {
    let name = path.display().to_string();
    Format::of(&name).ok_or_else(|| {
        Failure::new(format!(
            "{name}: the ending says no format; it is one of .line, .mid, .musicxml, .xml, .mxl \
             and .csv"
        ))
    })
}

/// Writes the line to `target` as a file that says that the command `written_by` wrote it; what
/// `format` cannot hold is said.
pub(super) fn write(
    line: &Line,
    target: &Target,
    format: Format,
    written_by: &str,
) -> Result<(), Failure> {
    let bytes = write_bytes(line, format, written_by);
    let name = match target {
        Target::Standard => {
            output::print(&bytes)?;
            "standard output".to_owned()
        }
        Target::File(path) => {
            output::write_file(path, &bytes)?;
            path.display().to_string()
        }
    };
    let lost = unheld(line, format);
    if !lost.is_empty() {
        output::note(&format!("{name} cannot hold:"));
        for what in lost {
            output::note(&format!("  {what}"));
        }
    }
    Ok(())
}
