//! A session played through without a sound card: what is said live is what a recorded file gives,
//! passes begin and end where they should, and nothing that was played is lost.

mod live_support;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use seamline::compare::judgement::Flag;
use seamline::session::live::input::Input;
use seamline::session::live::snapshot::{Command, Phase};
use seamline::session::live::{Devices, EndedBy, LiveError, LiveSettings, Session};
use seamline::sound::device::{DeviceError, Way};

use live_support::{
    RATE, Scripted, Stage, Step, begin, demo, line, played, samples, scored, script, settings,
    silence,
};

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
        let steps = vec![Step::Sound(sound.clone(), 441)];
        let live = played(settings(&line, Some(kept.clone())), steps);
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
        steps.push(silence(3, 480));
    }
    let live = played(settings(&line, None), steps);
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
    let steps = vec![Step::Sound(sound, 480), silence(600, 48)];
    let wanted = LiveSettings {
        passes: Some(1),
        ..settings(&line, None)
    };
    let live = played(wanted, steps);
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
        silence(5, 480),
        Step::Sound(samples(&demo("lantern-stairs-clean.wav")), 480),
        silence(600, 48),
    ];
    let settings = LiveSettings {
        passes: Some(1),
        ..settings(&wanted, None)
    };
    let live = played(settings, steps);
    assert_eq!(live.passes.len(), 1, "{:?}", live.passes);
    let (view, _, to_s) = &live.passes[0];
    assert!(!view.recognised, "{view:?}");
    assert!(*to_s > 10.0 && *to_s < 60.0, "{to_s}");
}

#[test]
fn lost_frames_are_silence_in_the_take_and_counted() {
    let stage = Stage::new();
    let sound = &stage.sound;
    let (from, to) = (22_050, 24_050);
    let steps = vec![
        Step::Sound(sound[..from].to_vec(), 100),
        Step::Lose((to - from) as u64),
        Step::Sound(sound[to..].to_vec(), 777),
    ];
    let live = stage.played(steps);
    assert_eq!(live.result.take.dropped_frames, 2000);
    let mut wanted = sound.clone();
    wanted[from..to].fill(0.0);
    assert_eq!(samples(&stage.kept), wanted);
    assert_eq!(live.result.judgement, scored(&stage.kept, &stage.line));
}

#[test]
fn a_device_that_comes_back_goes_on_in_the_same_take() {
    let stage = Stage::new();
    let sound = &stage.sound;
    let half = sound.len() / 2;
    let steps = vec![
        Step::Sound(sound[..half].to_vec(), 480),
        Step::Die(0.0),
        Step::Sound(sound[half..].to_vec(), 480),
    ];
    let live = stage.played(steps);
    assert_eq!(live.by, EndedBy::Passes);
    let take = samples(&stage.kept);
    let gap = take.len() - sound.len();
    assert_eq!(live.result.take.dropped_frames, gap as u64);
    assert_eq!(take[..half], sound[..half]);
    assert!(take[half..half + gap].iter().all(|x| *x == 0.0));
    assert_eq!(take[half + gap..], sound[half..]);
    assert_eq!(live.result.judgement, scored(&stage.kept, &stage.line));
}

/// Closed form: the clocks of the old and the new input say that 7.5 s passed between the last frame
/// and the next one, whenever the loss was noticed.
#[test]
fn an_outage_is_as_long_in_the_take_as_it_was() {
    let stage = Stage::new();
    let sound = &stage.sound;
    let half = sound.len() / 2;
    let steps = vec![
        Step::Sound(sound[..half].to_vec(), 480),
        Step::Lose(100),
        Step::Die(7.5),
        Step::Sound(sound[half..].to_vec(), 480),
        Step::Die(4.0),
        Step::Sound(vec![0.0; 50], 10),
    ];
    let live = stage.played(steps);
    let gone = |s: f64| (s * RATE.hz()).round() as usize;
    let lost = 100 + gone(7.5) + gone(4.0);
    assert_eq!(samples(&stage.kept).len(), sound.len() + lost + 50);
    assert_eq!(live.result.take.dropped_frames, lost as u64);
}

#[test]
fn a_device_that_stays_away_ends_the_session_with_the_take_safe() {
    let stage = Stage::new();
    let sound = &stage.sound;
    let script = script(vec![Step::Sound(sound.clone(), 480), Step::Die(0.0)]);
    let mut opened = false;
    let wanted = LiveSettings {
        wait: Some(Duration::from_millis(50)),
        ..stage.settings()
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
    assert_eq!(&samples(&stage.kept), sound);
    assert_eq!(live.result.judgement.tally.right, stage.line.note_count());
}

#[test]
fn whoever_stops_it_gets_what_was_played_so_far() {
    let line = line("harbour-walk.line");
    let sound = samples(&demo("harbour-walk-clean.wav"));
    for by_command in [true, false] {
        let stop: Arc<AtomicBool> = Arc::default();
        let endless = vec![Step::Sound(sound.clone(), 480), silence(4000, 48)];
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
    let stage = Stage::new();
    let sound = &stage.sound;
    let steps = vec![Step::Sound(sound.clone(), 480), Step::Panic];
    let session = begin(stage.settings(), steps, &Arc::default());
    let error = session.finish().expect_err("it broke down");
    assert!(matches!(error, LiveError::Broke(_)), "{error}");
    assert_eq!(&samples(&stage.kept), sound);
}

#[test]
fn notes_are_shown_while_they_are_played_and_joins_keep_their_history() {
    let line = line("lantern-stairs.line");
    let sound = samples(&demo("lantern-stairs-flawed.wav"));
    let mut steps = Vec::new();
    for _ in 0..2 {
        steps.push(Step::Sound(sound.clone(), 480));
        steps.push(silence(3, 480));
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
