//! A session played through without a sound card: what is said live is what a recorded file gives,
//! passes begin and end where they should, and nothing that was played is lost.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use seamline::compare::judgement::{Flag, Judgement};
use seamline::compare::marks::Marks;
use seamline::music::line::{Line, read_bytes};
use seamline::session::live::input::Input;
use seamline::session::live::snapshot::{Command, Phase};
use seamline::session::live::{Devices, EndedBy, LiveError, LiveSettings, Session};
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::sound::block::{Container, Delivery, SampleFormat, Source, SourceFormat};
use seamline::sound::click::ClickPattern;
use seamline::sound::device::{DeviceError, Way};
use seamline::sound::{SoundError, SoundNote, file};
use seamline::units::{FrameCount, STANDARD_A4, SampleRate};

/// Frames per second of the demo takes that are played here.
const RATE: SampleRate = SampleRate(22_050);

/// What a scripted input does next.
#[derive(Clone)]
enum Step {
    /// Delivers these samples, so many frames at a time.
    Sound(Vec<f32>, usize),
    /// Is opened now, its first frame at this moment, in seconds; comes by itself after `Die`.
    Began(f64),
    /// Has lost so many frames.
    Lose(u64),
    /// Is gone for good; when it is opened again its clock says that so many seconds have passed.
    Die(f64),
    /// Breaks down.
    Panic,
}

/// A sound card that plays a script, as fast as it is asked.
struct Scripted {
    format: SourceFormat,
    steps: Arc<std::sync::Mutex<VecDeque<Step>>>,
    /// Frames delivered of the sound that is being delivered.
    at: usize,
    /// Frames of time since it was opened.
    passed: u64,
    began_s: f64,
    dead: bool,
    lost: u64,
}

impl Scripted {
    fn new(steps: &Arc<std::sync::Mutex<VecDeque<Step>>>) -> Self {
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

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("demo-data")
        .join(name)
}

fn line(name: &str) -> Line {
    let bytes = std::fs::read(demo(name)).expect("a demo line");
    read_bytes(name, &bytes).expect("a line")
}

fn samples(path: &Path) -> Vec<f32> {
    let mut source = file::open(path).expect("a demo take");
    assert_eq!(source.format().rate, RATE);
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while source.next_block(&mut block).expect("read") == Delivery::Samples {
        all.extend_from_slice(&block);
    }
    all
}

fn settings(line: &Line, keep: Option<PathBuf>) -> LiveSettings {
    LiveSettings {
        line: line.clone(),
        bars: None,
        tempo_share: 1.0,
        a4: STANDARD_A4,
        marks: Marks::default(),
        known: Default::default(),
        passes: None,
        click: ClickPattern::default(),
        guide: false,
        latency_s: None,
        keep,
        reserved: false,
        wait: Some(Duration::from_secs(5)),
        played: None,
    }
}

fn begin(settings: LiveSettings, steps: Vec<Step>, stop: &Arc<AtomicBool>) -> Session {
    let script = Arc::new(std::sync::Mutex::new(VecDeque::from(steps)));
    let devices = Devices {
        input: Box::new(move |_| Ok(Box::new(Scripted::new(&script)) as Box<dyn Input>)),
        output: None,
    };
    Session::begin(settings, devices, Arc::clone(stop)).expect("a session")
}

fn scored(path: &Path, line: &Line) -> Judgement {
    let mut source = file::open(path).expect("a take");
    score_take("take", source.as_mut(), line, &ScoreSettings::default())
        .expect("scored")
        .judgement
}

#[test]
fn a_session_says_what_the_file_gives_and_keeps_it_bit_for_bit() {
    let folder = tempfile::tempdir().expect("a folder");
    let kept = folder.path().join("kept.wav");
    for (take, written) in [
        ("lantern-stairs-flawed.wav", "lantern-stairs.line"),
        ("harbour-walk-flawed.wav", "harbour-walk.line"),
    ] {
        let line = line(written);
        let sound = samples(&demo(take));
        let script = vec![Step::Sound(sound.clone(), 441)];
        let stop = Arc::default();
        let session = begin(settings(&line, Some(kept.clone())), script, &stop);
        let live = session.finish().expect("a result");
        assert_eq!(live.by, EndedBy::Passes);
        let offline = scored(&demo(take), &line);
        assert_eq!(live.result.judgement, offline, "{take}");
        assert!(offline.tally.gaps > 0, "a take with faults");
        assert_eq!(samples(&kept), sound);
        assert_eq!(scored(&kept, &line), offline);
    }
}

#[test]
fn a_pass_ends_when_the_line_was_played_and_the_next_one_begins() {
    let line = line("harbour-walk.line");
    let mut steps = Vec::new();
    for take in ["harbour-walk-clean.wav", "harbour-walk-flawed.wav"] {
        steps.push(Step::Sound(samples(&demo(take)), 480));
        steps.push(Step::Sound(vec![0.0; 3 * 22_050], 480));
    }
    let session = begin(settings(&line, None), steps, &Arc::default());
    let live = session.finish().expect("a result");
    let passes: Vec<_> = live.passes.iter().map(|(view, _, _)| view).collect();
    assert_eq!(passes.len(), 2, "{passes:?}");
    let flawed = scored(&demo("harbour-walk-flawed.wav"), &line).tally;
    let clean = scored(&demo("harbour-walk-clean.wav"), &line).tally;
    for (pass, wanted) in passes.iter().zip([clean, flawed]) {
        assert_eq!(
            (pass.right, pass.wrong, pass.missed, pass.gaps),
            (wanted.right, wanted.wrong, wanted.missed, wanted.gaps),
            "{pass:?}"
        );
    }
    assert!(
        live.passes[0].2 <= live.passes[1].1,
        "passes do not overlap"
    );
}

#[test]
fn one_pass_was_asked_for_and_the_rest_is_left() {
    let line = line("harbour-walk.line");
    let sound = samples(&demo("harbour-walk-clean.wav"));
    let length_s = sound.len() as f64 / RATE.hz();
    // As slowly as sound comes, the end of the line is seen before the script is over: many
    // minutes of silence follow it.
    let steps = vec![
        Step::Sound(sound, 480),
        Step::Sound(vec![0.0; 600 * 22_050], 48),
    ];
    let wanted = LiveSettings {
        passes: Some(1),
        ..settings(&line, None)
    };
    let live = begin(wanted, steps, &Arc::default())
        .finish()
        .expect("a result");
    assert_eq!(live.passes.len(), 1);
    assert!(live.passes[0].2 < length_s + 3.5, "{:?}", live.passes);
    assert_eq!(live.result.judgement.tally.right, line.note_count());
}

/// A knock is no pass; another line is one, in which little was right, and ends the same way.
#[test]
fn a_knock_is_no_pass_and_another_line_is_one() {
    let wanted = line("harbour-walk.line");
    let mut knock = vec![0.0f32; 22_050];
    for (n, x) in knock.iter_mut().skip(5_000).take(400).enumerate() {
        *x = 0.3 * (-(n as f32) / 60.0).exp() * if n % 7 < 3 { 1.0 } else { -1.0 };
    }
    let steps = vec![
        Step::Sound(knock, 480),
        Step::Sound(vec![0.0; 5 * 22_050], 480),
        Step::Sound(samples(&demo("lantern-stairs-clean.wav")), 480),
        Step::Sound(vec![0.0; 600 * 22_050], 48),
    ];
    let settings = LiveSettings {
        passes: Some(1),
        ..settings(&wanted, None)
    };
    let live = begin(settings, steps, &Arc::default())
        .finish()
        .expect("a result");
    assert_eq!(live.passes.len(), 1, "{:?}", live.passes);
    let (view, _, to_s) = &live.passes[0];
    assert!(!view.recognised, "{view:?}");
    assert!(*to_s > 10.0 && *to_s < 60.0, "{to_s}");
}

#[test]
fn lost_frames_are_silence_in_the_take_and_counted() {
    let folder = tempfile::tempdir().expect("a folder");
    let kept = folder.path().join("kept.wav");
    let line = line("lantern-stairs.line");
    let sound = samples(&demo("lantern-stairs-clean.wav"));
    let (from, to) = (22_050, 24_050);
    let steps = vec![
        Step::Sound(sound[..from].to_vec(), 100),
        Step::Lose((to - from) as u64),
        Step::Sound(sound[to..].to_vec(), 777),
    ];
    let session = begin(settings(&line, Some(kept.clone())), steps, &Arc::default());
    let live = session.finish().expect("a result");
    assert_eq!(live.result.take.dropped_frames, 2000);
    let mut wanted = sound;
    wanted[from..to].fill(0.0);
    assert_eq!(samples(&kept), wanted);
    assert_eq!(live.result.judgement, scored(&kept, &line));
}

#[test]
fn a_device_that_comes_back_goes_on_in_the_same_take() {
    let folder = tempfile::tempdir().expect("a folder");
    let kept = folder.path().join("kept.wav");
    let line = line("lantern-stairs.line");
    let sound = samples(&demo("lantern-stairs-clean.wav"));
    let half = sound.len() / 2;
    let steps = vec![
        Step::Sound(sound[..half].to_vec(), 480),
        Step::Die(0.0),
        Step::Sound(sound[half..].to_vec(), 480),
    ];
    let session = begin(settings(&line, Some(kept.clone())), steps, &Arc::default());
    let live = session.finish().expect("a result");
    assert_eq!(live.by, EndedBy::Passes);
    let take = samples(&kept);
    let gap = take.len() - sound.len();
    assert_eq!(live.result.take.dropped_frames, gap as u64);
    assert_eq!(take[..half], sound[..half]);
    assert!(take[half..half + gap].iter().all(|x| *x == 0.0));
    assert_eq!(take[half + gap..], sound[half..]);
    assert_eq!(live.result.judgement, scored(&kept, &line));
}

/// Closed form: the clocks of the old and the new input say that 7.5 s passed between the last frame
/// and the next one, whenever the loss was noticed.
#[test]
fn an_outage_is_as_long_in_the_take_as_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let kept = folder.path().join("kept.wav");
    let line = line("lantern-stairs.line");
    let sound = samples(&demo("lantern-stairs-clean.wav"));
    let half = sound.len() / 2;
    let steps = vec![
        Step::Sound(sound[..half].to_vec(), 480),
        Step::Lose(100),
        Step::Die(7.5),
        Step::Sound(sound[half..].to_vec(), 480),
        Step::Die(4.0),
        Step::Sound(vec![0.0; 50], 10),
    ];
    let session = begin(settings(&line, Some(kept.clone())), steps, &Arc::default());
    let live = session.finish().expect("a result");
    let gone = |s: f64| (s * RATE.hz()).round() as usize;
    let lost = 100 + gone(7.5) + gone(4.0);
    assert_eq!(samples(&kept).len(), sound.len() + lost + 50);
    assert_eq!(live.result.take.dropped_frames, lost as u64);
}

#[test]
fn a_device_that_stays_away_ends_the_session_with_the_take_safe() {
    let folder = tempfile::tempdir().expect("a folder");
    let kept = folder.path().join("kept.wav");
    let line = line("lantern-stairs.line");
    let sound = samples(&demo("lantern-stairs-clean.wav"));
    let script = Arc::new(std::sync::Mutex::new(VecDeque::from(vec![
        Step::Sound(sound.clone(), 480),
        Step::Die(0.0),
    ])));
    let mut opened = false;
    let wanted = LiveSettings {
        wait: Some(Duration::from_millis(50)),
        ..settings(&line, Some(kept.clone()))
    };
    let devices = Devices {
        input: Box::new(move |_| {
            if std::mem::replace(&mut opened, true) {
                return Err(DeviceError::NoDevice {
                    way: Way::In,
                    host: "script".to_owned(),
                });
            }
            Ok(Box::new(Scripted::new(&script)) as Box<dyn Input>)
        }),
        output: None,
    };
    let session = Session::begin(wanted, devices, Arc::default()).expect("begun");
    let mut lost = false;
    let mut ended = false;
    while let Ok(snapshot) = session.snapshots.recv() {
        lost |= matches!(snapshot.phase, Phase::DeviceLost { .. });
        ended |= matches!(snapshot.phase, Phase::Ended { .. });
    }
    assert!(lost || ended);
    let live = session.finish().expect("a result");
    assert!(matches!(live.by, EndedBy::InputGone(_)), "{:?}", live.by);
    assert_eq!(samples(&kept), sound);
    assert_eq!(live.result.judgement.tally.right, line.note_count());
}

#[test]
fn whoever_stops_it_gets_what_was_played_so_far() {
    let line = line("harbour-walk.line");
    let sound = samples(&demo("harbour-walk-clean.wav"));
    for by_command in [true, false] {
        let stop: Arc<AtomicBool> = Arc::default();
        let endless = vec![
            Step::Sound(sound.clone(), 480),
            Step::Sound(vec![0.0; 4000 * 22_050], 48),
        ];
        let session = begin(settings(&line, None), endless, &stop);
        // The first pass is over once a snapshot says so.
        while let Ok(snapshot) = session.snapshots.recv() {
            if snapshot.last_pass.is_some() {
                break;
            }
        }
        if by_command {
            session.commands.send(Command::Quit).expect("it listens");
        } else {
            stop.store(true, Ordering::Relaxed);
        }
        let live = session.finish().expect("a result");
        let wanted = if by_command {
            EndedBy::Player
        } else {
            EndedBy::Stopped
        };
        assert_eq!(live.by, wanted);
        assert_eq!(live.result.judgement.tally.right, line.note_count());
    }
}

#[test]
fn a_breakdown_while_listening_is_told_and_the_take_is_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    let kept = folder.path().join("kept.wav");
    let line = line("lantern-stairs.line");
    let sound = samples(&demo("lantern-stairs-clean.wav"));
    let steps = vec![Step::Sound(sound.clone(), 480), Step::Panic];
    let session = begin(settings(&line, Some(kept.clone())), steps, &Arc::default());
    let error = session.finish().expect_err("it broke down");
    assert!(matches!(error, LiveError::Broke(_)), "{error}");
    assert_eq!(samples(&kept), sound);
}

#[test]
fn notes_are_shown_while_they_are_played_and_joins_keep_their_history() {
    let line = line("lantern-stairs.line");
    let sound = samples(&demo("lantern-stairs-flawed.wav"));
    let mut steps = Vec::new();
    for _ in 0..2 {
        steps.push(Step::Sound(sound.clone(), 480));
        steps.push(Step::Sound(vec![0.0; 3 * 22_050], 480));
    }
    let session = begin(settings(&line, None), steps, &Arc::default());
    let mut last = None;
    while let Ok(snapshot) = session.snapshots.recv() {
        assert_eq!(snapshot.notes.len(), snapshot.piece.notes.len());
        last = Some(snapshot);
    }
    let last = last.expect("snapshots");
    let worst = last.worst.first().expect("joins with gaps");
    assert_eq!(worst.gaps_ms.len(), 2, "{worst:?}");
    assert_eq!(worst.flagged, 2);
    let flagged = last
        .notes
        .iter()
        .flatten()
        .filter(|n| n.flags.contains(&Flag::Gap));
    let live = session.finish().expect("a result");
    assert_eq!(flagged.count(), live.passes[1].0.gaps);
}
