//! Compressed scores (.mxl): a ZIP archive with the score in it.

use std::io::{Cursor, Read, Write};

use zip::ZipArchive;
use zip::write::SimpleFileOptions;

use super::document::{child, children, parse, text_of};
use super::error::MusicXmlError;

/// Largest file taken from an archive, unpacked, in bytes: as much as an uncompressed score may
/// have. Raising it lets a small file fill more memory.
pub(super) const UNPACKED_BYTES_MAX: u64 = 16 << 20;

/// Largest `META-INF/container.xml`, in bytes; one that names a score has a few hundred.
const CONTAINER_BYTES_MAX: u64 = 1 << 16;

/// Most files in an archive that are looked at.
const FILES_MAX: usize = 1000;

const CONTAINER: &str = "META-INF/container.xml";

fn broken(cause: impl ToString) -> MusicXmlError {
    let cause = cause.to_string();
    MusicXmlError::Container { cause }
}

/// The score in a compressed file, unpacked.
///
/// # Source
/// MusicXML 4.0, *Compressed .MXL files*: `META-INF/container.xml` names the score as its first
/// `rootfile`.
pub(super) fn unpack(bytes: &[u8]) -> Result<Vec<u8>, MusicXmlError> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(broken)?;
    if archive.len() > FILES_MAX {
        return Err(broken(format!("it holds more than {FILES_MAX} files")));
    }
    let path = match file(&mut archive, CONTAINER, CONTAINER_BYTES_MAX)? {
        Some(container) => Some(root_file(&container)?),
        None => None,
    };
    let is_score = |name: &str| {
        let name = name.to_ascii_lowercase();
        (name.ends_with(".xml") || name.ends_with(".musicxml")) && !name.starts_with("meta-inf/")
    };
    let named = || {
        let names = archive.file_names().filter_map(Result::ok);
        names
            .map(|name| name.into_owned())
            .find(|name| is_score(name))
    };
    let path = path
        .or_else(named)
        .ok_or_else(|| broken("it holds no score"))?;
    file(&mut archive, &path, UNPACKED_BYTES_MAX)?
        .ok_or_else(|| broken(format!("it names the score `{path}` but does not hold it")))
}

/// The path of the score, as the container names it.
fn root_file(container: &[u8]) -> Result<String, MusicXmlError> {
    let text = text_of(container)?;
    let document = parse(&text)?;
    let files = child(document.root_element(), "rootfiles");
    let path = files
        .and_then(|files| children(files, "rootfile").next())
        .and_then(|file| file.attribute("full-path"));
    path.map(str::to_owned)
        .ok_or_else(|| broken("its container names no score"))
}

/// A file of the archive, if it is there and not larger than `limit`.
fn file(
    archive: &mut ZipArchive<Cursor<&[u8]>>,
    path: &str,
    limit: u64,
) -> Result<Option<Vec<u8>>, MusicXmlError> {
    let mut entry = match archive.by_name(path) {
        Ok(entry) => entry,
        Err(zip::result::ZipError::FileNotFound) => return Ok(None),
        Err(error) => return Err(broken(error)),
    };
    let mut bytes = Vec::new();
    // What the archive says of the size is not believed.
    let read = entry.by_ref().take(limit + 1).read_to_end(&mut bytes);
    read.map_err(broken)?;
    if bytes.len() as u64 > limit {
        let what = "a file in the archive";
        return Err(MusicXmlError::TooLarge { what, limit });
    }
    Ok(Some(bytes))
}

/// A compressed score that holds `score`; `by` is the archive's comment.
pub(super) fn pack(score: &str, by: &str) -> Vec<u8> {
    // Writing to memory fails for archives of 4 GB alone.
    try_pack(score, by).unwrap_or_default()
}

fn try_pack(score: &str, by: &str) -> Result<Vec<u8>, zip::result::ZipError> {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    archive.set_comment(by)?;
    // The same line gives the same bytes: entries carry no time of their own.
    let options = SimpleFileOptions::default();
    let stored = options.compression_method(zip::CompressionMethod::Stored);
    archive.start_file("mimetype", stored)?;
    archive.write_all(b"application/vnd.recordare.musicxml")?;
    archive.start_file(CONTAINER, options)?;
    archive.write_all(
        b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container>\n  <rootfiles>\n    <rootfile \
          full-path=\"score.musicxml\" media-type=\"application/vnd.recordare.musicxml+xml\"/>\n  \
          </rootfiles>\n</container>\n",
    )?;
    archive.start_file("score.musicxml", options)?;
    archive.write_all(score.as_bytes())?;
    Ok(archive.finish()?.into_inner())
}
