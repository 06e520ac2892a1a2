//! A judged take put into the record of practice. The record never changes what a command says of a take
//! nor its exit code: what cannot be kept is one warning.

use std::fs::File;
use std::path::{Path, PathBuf};

use clap::Args;

use super::clock;
use super::data::DataOptions;
use super::failure::Failure;
use super::options::Part;
use super::output;
use crate::music::line::Line;
use crate::progress::ladder::{LadderMarks, Tried, start_share};
use crate::progress::rows::{self, LineRow, PassRow, TakeRow, sound_hash};
use crate::progress::store::Store;
use crate::session::result::TakeResult;

/// Passes that the start of a ladder is found from. Raised, what was played weeks ago counts longer.
const TRIED: u32 = 60;
/// Longest name of a player or an instrument, in bytes.
const NAME_BYTES_MAX: usize = 80;

/// Who plays on what, and whether it is remembered.
#[derive(Args, Debug, Clone)]
pub(super) struct RecordOptions {
    /// Who plays: each player's practice is remembered apart
    #[arg(long, value_name = "NAME", value_parser = name)]
    pub(super) player: Option<String>,

    /// Which instrument is played, by the name you give it
    #[arg(long, value_name = "NAME", value_parser = name)]
    pub(super) instrument: Option<String>,

    /// Keep nothing of this in the record of practice
    #[arg(long)]
    pub(super) no_record: bool,

    /// Copy the sound into the data folder as well
    #[arg(long)]
    pub(super) keep_sound: bool,
}

/// A name: not empty, without what a terminal takes for orders.
pub(super) fn name(text: &str) -> Result<String, String> {
    let text = text.trim();
    match text {
        "" => Err("a name is not empty".to_owned()),
        _ if text.len() > NAME_BYTES_MAX => Err(format!("longer than {NAME_BYTES_MAX} bytes")),
        _ if text.chars().any(char::is_control) => {
            Err("no control characters in a name".to_owned())
        }
        _ => Ok(text.to_owned()),
    }
}

/// A judged take, and where it came from.
pub(super) struct Practised<'a> {
    /// The whole line, at some tempo.
    pub(super) line: &'a Line,
    /// Its written tempo, in quarters per minute.
    pub(super) tempo_bpm: f64,
    /// The line's file.
    pub(super) line_file: &'a Path,
    /// The part taken from it.
    pub(super) part: Option<String>,
    /// The sound; `-` is standard input.
    pub(super) take: &'a Path,
    /// What was found out.
    pub(super) result: &'a TakeResult,
    /// The devices it was played with.
    pub(super) rig: Option<String>,
    /// When it was played, as the file beside it says.
    pub(super) date: Option<&'a str>,
}

impl RecordOptions {
    /// Whether the player was named.
    pub(super) fn names_player(&self) -> bool {
        self.player.is_some()
    }

    /// Puts the take in, unless that is not wanted; says what cannot be kept.
    pub(super) fn keep(&self, data: &DataOptions, practised: &Practised) {
        if self.no_record {
            return;
        }
        if let Err(failure) = self.try_keep(data, practised) {
            output::note(&format!("not kept in the record: {failure}"));
        }
    }

    /// The tempo at which a ladder starts, relative to the written one: where these bars came out clean in 85
    /// of 100 passes as far as the record tells. Says what it rests on.
    pub(super) fn start(&self, data: &DataOptions, part: &Part, marks: &LadderMarks) -> f64 {
        let tried = match self.no_record {
            true => Vec::new(),
            false => self.tried(data, part).unwrap_or_else(|failure| {
                output::note(&format!("the record is not used: {failure}"));
                Vec::new()
            }),
        };
        let share = start_share(&tried, marks);
        let rests_on = match tried.len() {
            0 => "nothing is known of these bars yet".to_owned(),
            1 => "by one pass in the record".to_owned(),
            passes => format!("by {passes} passes in the record"),
        };
        output::note(&format!(
            "the ladder starts at {:.0} %: {rests_on}",
            100.0 * share
        ));
        share
    }

    /// The last passes over these bars in the record, the oldest first.
    fn tried(&self, data: &DataOptions, part: &Part) -> Result<Vec<Tried>, Failure> {
        let Some(store) = Store::open_there(&data.folder()?).map_err(Failure::of)? else {
            return Ok(Vec::new());
        };
        let line = &part.line;
        let (first, last) = part.bars.unwrap_or((line.first_bar(), line.last_bar()));
        let bars = (line.printed_bar(first), line.printed_bar(last));
        let player = self.player.as_deref().unwrap_or_default();
        store
            .tried(player, &rows::content(line), bars, TRIED)
            .map_err(Failure::of)
    }

    fn try_keep(&self, data: &DataOptions, practised: &Practised) -> Result<(), Failure> {
        let folder = data.folder()?;
        let mut store = Store::open(&folder).map_err(Failure::of)?;
        let line = LineRow::of(
            practised.line,
            practised.tempo_bpm,
            Some(whole_path(practised.line_file)),
            practised.part.clone(),
        );
        let take = practised.take;
        let is_file = take != Path::new("-") && take.is_file();
        let sound = match is_file {
            true => Some(hash(take)?),
            false => None,
        };
        let kept = match &sound {
            Some(sound) if self.keep_sound => Some(copy(take, &folder, sound)?),
            _ => None,
        };
        let told = practised.date.and_then(clock::told_s);
        let written = || clock::written_s(take).filter(|_| is_file);
        let at_s = told.or_else(written).unwrap_or_else(clock::now_s);
        let judgement = &practised.result.judgement;
        let clean_share = LadderMarks::default().clean_share;
        let passes = judgement
            .passes
            .iter()
            .filter_map(|pass| PassRow::of(pass, practised.line, practised.tempo_bpm, clean_share));
        let row = TakeRow {
            player: self.player.clone().unwrap_or_default(),
            line: line.content.clone(),
            sound,
            file: is_file.then(|| whole_path(take)),
            kept,
            instrument: self.instrument.clone(),
            rig: practised.rig.clone(),
            at_s,
            ahead_s: clock::ahead_s(at_s),
            duration_s: practised.result.take.duration_s,
            passes: passes.collect(),
        };
        store.add(&line, &row).map_err(Failure::of)?;
        Ok(())
    }
}

/// From the root of the file system, where the system tells.
fn whole_path(path: &Path) -> String {
    let whole = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    whole.display().to_string()
}

fn hash(take: &Path) -> Result<String, Failure> {
    File::open(take).and_then(sound_hash).map_err(|error| {
        Failure::new(format!(
            "{}: cannot be read again ({error})",
            take.display()
        ))
    })
}

/// Copies a take into the data folder under a name that its sound gives it.
fn copy(take: &Path, folder: &Path, sound: &str) -> Result<String, Failure> {
    let sounds = folder.join("sounds");
    let mut to: PathBuf = sounds.join(sound);
    if let Some(ending) = take.extension() {
        to.set_extension(ending);
    }
    if !to.exists() {
        let part = to.with_extension("part");
        let copied = std::fs::create_dir_all(&sounds)
            .and_then(|()| std::fs::copy(take, &part))
            .and_then(|_| std::fs::rename(&part, &to));
        copied.map_err(|error| {
            Failure::new(format!(
                "{}: the sound cannot be copied ({error})",
                to.display()
            ))
        })?;
    }
    Ok(whole_path(&to))
}
