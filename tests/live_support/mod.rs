//! A session without a sound card: an input that does what a script says, and the demo takes it plays.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use seamline::compare::judgement::Judgement;
use seamline::compare::marks::Marks;
use seamline::music::line::{Line, read_bytes};
use seamline::session::live::input::Input;
use seamline::session::live::{Devices, LiveResult, LiveSettings, Session};
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::sound::block::{Container, Delivery, SampleFormat, Source, SourceFormat};
use seamline::sound::click::ClickPattern;
use seamline::sound::{SoundError, SoundNote, file};
use seamline::units::{FrameCount, STANDARD_A4, SampleRate};

/// Frames per second of the demo takes that are played here.
pub const RATE: SampleRate = SampleRate(22_050);

/// What a scripted input does next.
#[derive(Clone)]
pub enum Step {
    /// Delivers these samples, in blocks of this many frames.
    Sound(Vec<f32>, usize),
    /// Is opened now, its first frame at this moment, in seconds; comes by itself after `Die`.
    Began(f64),
    /// Has lost this many frames.
    Lose(u64),
    /// Is gone for good; when it is opened again its clock says that this many seconds have passed.
    Die(f64),
    /// Breaks down.
    Panic,
}

/// What inputs that are opened one after the other do.
pub type Script = Arc<Mutex<VecDeque<Step>>>;

/// `seconds` of silence, in blocks of `block` frames.
pub fn silence(seconds: usize, block: usize) -> Step {
    Step::Sound(vec![0.0; seconds * RATE.0 as usize], block)
}

/// A script of these steps.
pub fn script(steps: Vec<Step>) -> Script {
    Arc::new(Mutex::new(VecDeque::from(steps)))
}

/// A sound card that plays a script, as fast as it is asked.
pub struct Scripted {
    format: SourceFormat,
    steps: Script,
    /// Frames delivered of the sound that is being delivered.
    at: usize,
    /// Frames of time since it was opened.
    passed: u64,
    began_s: f64,
    dead: bool,
    lost: u64,
}

impl Scripted {
    pub fn new(steps: &Script) -> Self {
        let mut next = steps.lock().expect("nobody breaks down holding it");
        let began_s = match next.front() {
            Some(Step::Began(began_s)) => *began_s,
            _ => 0.0,
        };
        next.retain(|step| !matches!(step, Step::Began(_)));
        Self {
            passed: 0,
            began_s,
            format: SourceFormat {
                rate: RATE,
                channels: 1,
                samples: SampleFormat::Float { bits: 32 },
                container: Container::Device,
                frames: None,
            },
            steps: Arc::clone(steps),
            at: 0,
            dead: false,
            lost: 0,
        }
    }
}

impl Source for Scripted {
    fn format(&self) -> &SourceFormat {
        &self.format
    }

    fn next_block(&mut self, into: &mut Vec<f32>) -> Result<Delivery, SoundError> {
        into.clear();
        if self.dead {
            return Ok(Delivery::Nothing);
        }
        let mut steps = self.steps.lock().expect("nobody breaks down holding it");
        match steps.pop_front() {
            None => Ok(Delivery::End),
            Some(Step::Sound(samples, block)) => {
                let to = (self.at + block).min(samples.len());
                into.extend_from_slice(&samples[self.at..to]);
                self.passed += into.len() as u64;
                self.at = to;
                if to < samples.len() {
                    steps.push_front(Step::Sound(samples, block));
                } else {
                    self.at = 0;
                }
                Ok(Delivery::Samples)
            }
            Some(Step::Lose(frames)) => {
                self.lost += frames;
                self.passed += frames;
                Ok(Delivery::Gap(FrameCount(frames)))
            }
            Some(Step::Began(_)) => Ok(Delivery::Nothing),
            Some(Step::Die(away_s)) => {
                let now_s = self.began_s + self.passed as f64 / RATE.hz();
                steps.push_front(Step::Began(now_s + away_s));
                self.dead = true;
                Ok(Delivery::Nothing)
            }
            Some(Step::Panic) => {
                drop(steps);
                panic!("asked for by the script")
            }
        }
    }

    fn notes(&self) -> Vec<SoundNote> {
        Vec::new()
    }
}

impl Input for Scripted {
    fn lost(&self) -> FrameCount {
        FrameCount(self.lost)
    }

    fn is_alive(&mut self, _now: Instant) -> bool {
        !self.dead
    }

    fn began_s(&mut self, _zero: Instant) -> Option<f64> {
        Some(self.began_s)
    }

    fn drift_ppm(&mut self, _zero: Instant) -> Option<f64> {
        None
    }

    fn name(&self) -> String {
        "script".to_owned()
    }
}

/// The path of a demo file.
pub fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("demo-data")
        .join(name)
}

/// A demo line.
pub fn line(name: &str) -> Line {
    let bytes = std::fs::read(demo(name)).expect("a demo line");
    read_bytes(name, &bytes).expect("a line")
}

/// All samples of a take.
pub fn samples(path: &Path) -> Vec<f32> {
    let mut source = file::open(path).expect("a demo take");
    assert_eq!(source.format().rate, RATE);
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while source.next_block(&mut block).expect("read") == Delivery::Samples {
        all.extend_from_slice(&block);
    }
    all
}

/// A session over all of a line until its sound is over.
pub fn settings(line: &Line, keep: Option<PathBuf>) -> LiveSettings {
    LiveSettings {
        line: line.clone(),
        bars: None,
        tempo_share: 1.0,
        a4: STANDARD_A4,
        marks: Marks::default(),
        known: Default::default(),
        passes: None,
        loops: Default::default(),
        click: ClickPattern::default(),
        guide: false,
        backing: None,
        latency_s: None,
        keep,
        reserved: false,
        wait: Some(Duration::from_secs(5)),
        played: None,
    }
}

/// Begins a session in which the input does these steps.
pub fn begin(settings: LiveSettings, steps: Vec<Step>, stop: &Arc<AtomicBool>) -> Session {
    let script = script(steps);
    let devices = Devices {
        input: Box::new(move |_| Ok(Box::new(Scripted::new(&script)) as Box<dyn Input>)),
        output: None,
    };
    Session::begin(settings, devices, Arc::clone(stop)).expect("a session")
}

/// The same take from its file, held against the line.
pub fn scored(path: &Path, line: &Line) -> Judgement {
    let mut source = file::open(path).expect("a take");
    score_take("take", source.as_mut(), line, &ScoreSettings::default())
        .expect("scored")
        .judgement
}

/// Plays a session to its end; gives what came out.
pub fn played(settings: LiveSettings, steps: Vec<Step>) -> LiveResult {
    let session = begin(settings, steps, &Arc::default());
    session.finish().expect("a result")
}

/// A demo line, a clean take of it, and a place where a session keeps what it hears.
pub struct Stage {
    _folder: tempfile::TempDir,
    pub kept: PathBuf,
    pub line: Line,
    pub sound: Vec<f32>,
}

impl Stage {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        Self {
            kept: folder.path().join("kept.wav"),
            _folder: folder,
            line: line("lantern-stairs.line"),
            sound: samples(&demo("lantern-stairs-clean.wav")),
        }
    }

    /// The settings of a session that keeps what it hears.
    pub fn settings(&self) -> LiveSettings {
        settings(&self.line, Some(self.kept.clone()))
    }

    /// Plays such a session to its end; gives what came out.
    pub fn played(&self, steps: Vec<Step>) -> LiveResult {
        played(self.settings(), steps)
    }
}
