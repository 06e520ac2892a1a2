//! Keeping a take while it is played: whatever happens to the program, the file can be read.
//!
//! A thread of its own writes 32-bit floats, bit for bit what was listened to, and brings the
//! file's header up to date twice a second, so that a program that is killed leaves all but the
//! last of it. Where frames were lost silence is written, so that time stays true.

use std::io;
use std::path::{Path, PathBuf};
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, bounded};

use crate::sound::error::SoundError;
pub use crate::sound::take_file::KeepNews;
use crate::sound::take_file::{Bytes, TakeFile};
use crate::sound::take_name::{make, numbered};
use crate::units::{FrameCount, SampleRate};

/// Blocks that may wait to be written: some ten seconds of short ones.
const WAITING: usize = 1024;
/// Silence is written in pieces of this many frames.
const SILENCE_FRAMES: usize = 4096;
/// Words about the take that may wait to be said: more are left out.
const NEWS: usize = 64;

/// A take that is being kept.
pub struct Keeper {
    blocks: Option<Sender<Vec<f32>>>,
    empty: Receiver<Vec<f32>>,
    news: Receiver<KeepNews>,
    thread: Option<JoinHandle<Result<(), SoundError>>>,
    path: PathBuf,
    /// Where an older file of that name was put.
    moved: Option<PathBuf>,
}

impl Keeper {
    /// Begins a take at `path`. A file that is there already is put aside under another name.
    ///
    /// # Errors
    /// When the file cannot be made, or another program keeps its take there.
    pub fn begin(path: &Path, rate: SampleRate) -> Result<Self, SoundError> {
        Self::begin_at(path, rate, false)
    }

    /// Begins a take in the empty file at `path`, which was made to keep the name.
    ///
    /// # Errors
    /// When the file cannot be written, or another program keeps its take there.
    pub fn begin_reserved(path: &Path, rate: SampleRate) -> Result<Self, SoundError> {
        Self::begin_at(path, rate, true)
    }

    fn begin_at(path: &Path, rate: SampleRate, reserved: bool) -> Result<Self, SoundError> {
        let (file, moved) = make(path, reserved)?;
        let parts = path.to_owned();
        let next_part = move |number| {
            make(&numbered(&parts, "-", number), false)
                .map(|(file, _)| Box::new(file) as Box<dyn Bytes>)
                .map_err(io::Error::other)
        };
        let name = path.display().to_string();
        let file = TakeFile::begin(&name, rate, Box::new(file), Box::new(next_part))?;
        let (blocks, incoming) = bounded::<Vec<f32>>(WAITING);
        let (back, empty) = bounded(WAITING);
        let (told, news) = bounded(NEWS);
        let thread = std::thread::Builder::new()
            .name("keep take".to_owned())
            .spawn(move || write(file, &incoming, &back, &told))
            .map_err(|error| failed(path, &error))?;
        Ok(Self {
            blocks: Some(blocks),
            empty,
            news,
            thread: Some(thread),
            path: path.to_owned(),
            moved,
        })
    }

    /// Where an older file of that name was put, if there was one.
    pub fn moved(&self) -> Option<&Path> {
        self.moved.as_deref()
    }

    /// Hands over the next mono samples. Waits only when the disk is ten seconds behind.
    pub fn keep(&mut self, mono: &[f32]) {
        let mut block = self.empty.try_recv().unwrap_or_default();
        block.clear();
        block.extend_from_slice(mono);
        if let Some(blocks) = &self.blocks {
            // A writer that is gone is told at the end.
            blocks.send(block).ok();
        }
    }

    /// Hands over silence for frames that were lost.
    pub fn silence(&mut self, frames: FrameCount) {
        const SILENCE: [f32; SILENCE_FRAMES] = [0.0; SILENCE_FRAMES];
        let mut rest = frames.0;
        while rest > 0 {
            let now = rest.min(SILENCE_FRAMES as u64);
            self.keep(&SILENCE[..now as usize]);
            rest -= now;
        }
    }

    /// What there is to say of the take since it was last asked for.
    pub fn news(&self) -> Option<KeepNews> {
        self.news.try_recv().ok()
    }

    /// Ends the take.
    ///
    /// # Errors
    /// When some of it could not be written.
    pub fn finish(mut self) -> Result<(), SoundError> {
        self.blocks = None;
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok(result)) => result,
            Some(Err(_)) => Err(failed(&self.path, &"the writer broke down")),
            None => Ok(()),
        }
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        // A take that is dropped without `finish` is written to its end all the same.
        self.blocks = None;
        if let Some(thread) = self.thread.take() {
            thread.join().ok();
        }
    }
}

fn failed(path: &Path, reason: &dyn std::fmt::Display) -> SoundError {
    SoundError::Write {
        file: path.display().to_string(),
        reason: reason.to_string(),
    }
}

/// The thread: writes what comes, and hands the empty blocks back.
fn write(
    mut file: TakeFile,
    incoming: &Receiver<Vec<f32>>,
    back: &Sender<Vec<f32>>,
    told: &Sender<KeepNews>,
) -> Result<(), SoundError> {
    while let Ok(block) = incoming.recv() {
        if let Some(news) = file.write(&block) {
            told.try_send(news).ok();
        }
        back.try_send(block).ok();
    }
    file.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(path: &Path) -> Vec<f32> {
        hound::WavReader::open(path)
            .expect("a readable take")
            .into_samples()
            .collect::<Result<_, _>>()
            .expect("samples")
    }

    #[test]
    fn a_take_is_readable_while_it_is_kept_and_whole_at_the_end() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("take.wav");
        let rate = SampleRate(8000);
        let mut keeper = Keeper::begin(&path, rate).expect("begun");
        assert!(read(&path).is_empty());
        let sound: Vec<f32> = (0..10_000).map(|n| n as f32 * 1e-5).collect();
        for block in sound.chunks(333) {
            keeper.keep(block);
        }
        keeper.silence(FrameCount(5000));
        // All but the last half second is there at once: what a killed program leaves.
        let wanted = 15_000 - 4000;
        while read(&path).len() < wanted {
            std::thread::yield_now();
        }
        keeper.finish().expect("ended");
        let mut all = sound;
        all.resize(15_000, 0.0);
        assert_eq!(read(&path), all);
    }

    #[test]
    fn an_older_take_is_put_aside() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("take.wav");
        for (n, aside) in [(1, None), (2, Some("take.1.wav")), (3, Some("take.2.wav"))] {
            let mut keeper = Keeper::begin(&path, SampleRate(8000)).expect("begun");
            let moved = keeper.moved().and_then(Path::file_name);
            assert_eq!(moved.and_then(std::ffi::OsStr::to_str), aside);
            keeper.keep(&vec![0.1; n]);
            drop(keeper);
        }
        assert_eq!(read(&path).len(), 3);
        assert_eq!(read(&folder.path().join("take.1.wav")).len(), 1);
    }

    #[test]
    fn a_folder_that_is_not_there_is_told() {
        let error = Keeper::begin(Path::new("no/such/folder/take.wav"), SampleRate(8000))
            .err()
            .expect("no folder");
        assert!(error.to_string().contains("no/such/folder"), "{error}");
    }
}
