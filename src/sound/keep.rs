//! Keeping a take while it is played: whatever happens to the program, the file can be read.
//!
//! A thread of its own writes 32-bit floats, bit for bit what was listened to, and brings the
//! file's header up to date twice a second, so that a program that is killed leaves all but the
//! last of it. Where frames were lost silence is written, so that time stays true.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, bounded};

use crate::sound::error::SoundError;
use crate::units::{FrameCount, SampleRate};

/// The header is brought up to date after this much sound, in seconds.
const SAFE_EVERY_S: f64 = 0.5;
/// Blocks that may wait to be written: some ten seconds of short ones.
const WAITING: usize = 1024;
/// A WAV file counts its bytes in 32 bits; a little before that is full a new one is begun.
const SAMPLES_MAX: u64 = (u32::MAX as u64 - (1 << 20)) / 4;
/// Silence is written in pieces of this many frames.
const SILENCE_FRAMES: usize = 4096;

type Wav = hound::WavWriter<BufWriter<File>>;

/// A take that is being kept.
pub struct Keeper {
    blocks: Option<Sender<Vec<f32>>>,
    empty: Receiver<Vec<f32>>,
    failure: Receiver<SoundError>,
    thread: Option<JoinHandle<Result<(), SoundError>>>,
    kept: FrameCount,
    path: PathBuf,
    /// Where an older file of that name was put.
    moved: Option<PathBuf>,
}

impl Keeper {
    /// Begins a take at `path`. A file that is there already is put aside under another name.
    ///
    /// # Errors
    /// When the file cannot be made.
    pub fn begin(path: &Path, rate: SampleRate) -> Result<Self, SoundError> {
        let moved = put_aside(path).map_err(|error| failed(path, &error))?;
        let mut writer = Writer {
            path: path.to_owned(),
            rate,
            wav: Some(create(path, rate)?),
            part: 1,
            samples: 0,
            unsafe_samples: 0,
        };
        writer.make_safe()?;
        let (blocks, incoming) = bounded::<Vec<f32>>(WAITING);
        let (back, empty) = bounded(WAITING);
        let (told, failure) = bounded(1);
        let thread = std::thread::Builder::new()
            .name("keep take".to_owned())
            .spawn(move || writer.run(&incoming, &back, &told))
            .map_err(|error| failed(path, &error))?;
        Ok(Self {
            blocks: Some(blocks),
            empty,
            failure,
            thread: Some(thread),
            kept: FrameCount(0),
            path: path.to_owned(),
            moved,
        })
    }

    /// Where it is kept.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Where an older file of that name was put, if there was one.
    pub fn moved(&self) -> Option<&Path> {
        self.moved.as_deref()
    }

    /// Frames handed over so far.
    pub fn kept(&self) -> FrameCount {
        self.kept
    }

    /// Hands over the next mono samples. Waits only when the disk is ten seconds behind.
    pub fn keep(&mut self, mono: &[f32]) {
        let mut block = self.empty.try_recv().unwrap_or_default();
        block.clear();
        block.extend_from_slice(mono);
        self.kept.0 += mono.len() as u64;
        if let Some(blocks) = &self.blocks {
            // A writer that has failed has said so; see `failure`.
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

    /// What went wrong since it was last asked for.
    pub fn failure(&self) -> Option<SoundError> {
        self.failure.try_recv().ok()
    }

    /// Ends the take.
    ///
    /// # Errors
    /// When it could not be written to its end.
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
        // Whoever lets go of a take without a word still wants it whole.
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

/// Gives an ordinary file at `path` another name, `NAME.1.wav` or the next that is free.
fn put_aside(path: &Path) -> std::io::Result<Option<PathBuf>> {
    if !std::fs::metadata(path).is_ok_and(|there| there.is_file()) {
        return Ok(None);
    }
    let mut number = 1;
    loop {
        let aside = numbered(path, ".", number);
        if !aside.exists() {
            std::fs::rename(path, &aside)?;
            return Ok(Some(aside));
        }
        number += 1;
    }
}

/// `take.wav` as `take` + `between` + `number` + `.wav`.
fn numbered(path: &Path, between: &str, number: u32) -> PathBuf {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(format!("{between}{number}"));
    if let Some(extension) = path.extension() {
        name.push(".");
        name.push(extension);
    }
    path.with_file_name(name)
}

fn create(path: &Path, rate: SampleRate) -> Result<Wav, SoundError> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate.0,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    hound::WavWriter::create(path, spec).map_err(|error| failed(path, &error))
}

struct Writer {
    path: PathBuf,
    rate: SampleRate,
    wav: Option<Wav>,
    part: u32,
    samples: u64,
    /// Samples the header does not know of yet.
    unsafe_samples: u64,
}

impl Writer {
    fn run(
        mut self,
        incoming: &Receiver<Vec<f32>>,
        back: &Sender<Vec<f32>>,
        told: &Sender<SoundError>,
    ) -> Result<(), SoundError> {
        let mut broken = None;
        while let Ok(block) = incoming.recv() {
            if broken.is_none()
                && let Err(error) = self.write(&block)
            {
                let reason = error.to_string();
                told.try_send(error).ok();
                broken = Some(reason);
            }
            back.try_send(block).ok();
        }
        let path = self.path.clone();
        let ended = self.wav.take().map_or(Ok(()), hound::WavWriter::finalize);
        match broken {
            Some(reason) => Err(failed(&path, &reason)),
            None => ended.map_err(|error| failed(&path, &error)),
        }
    }

    fn write(&mut self, block: &[f32]) -> Result<(), SoundError> {
        if self.samples + block.len() as u64 > SAMPLES_MAX {
            self.next_part()?;
        }
        let path = &self.path;
        let Some(wav) = &mut self.wav else {
            return Err(failed(path, &"an earlier part could not be ended"));
        };
        for x in block {
            wav.write_sample(*x).map_err(|error| failed(path, &error))?;
        }
        self.samples += block.len() as u64;
        self.unsafe_samples += block.len() as u64;
        if self.unsafe_samples as f64 >= SAFE_EVERY_S * self.rate.hz() {
            self.make_safe()?;
        }
        Ok(())
    }

    fn make_safe(&mut self) -> Result<(), SoundError> {
        self.unsafe_samples = 0;
        let path = &self.path;
        match &mut self.wav {
            Some(wav) => wav.flush().map_err(|error| failed(path, &error)),
            None => Ok(()),
        }
    }

    fn next_part(&mut self) -> Result<(), SoundError> {
        if let Some(wav) = self.wav.take() {
            wav.finalize().map_err(|error| failed(&self.path, &error))?;
        }
        self.part += 1;
        self.samples = 0;
        self.wav = Some(create(&numbered(&self.path, "-", self.part), self.rate)?);
        Ok(())
    }
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
        assert_eq!(keeper.kept(), FrameCount(15_000));
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
