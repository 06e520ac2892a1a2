//! Sessions played through with an ear that is never wrong and knows of a note when the real one
//! does: what is said while somebody plays must not depend on what is known only later.

mod heard;
mod ladder;
mod loops;

use super::*;
use crate::compare::judgement::Verdict;
use crate::compare::test_support::heard;
use crate::hearing::events::{Event, HeardNote};
use crate::music::expected::ExpectedNote;
use crate::music::line::{Line, read_bytes};
use crate::session::live::band::Told;
use crate::session::live::said::Said;
use crate::session::live::snapshot::{Command, PassView, Phase, Snapshot};
use crate::sound::click::ClickPattern;

/// Bars that begin alike, repeat, and differ by one note: four places fit the first notes.
const ALIKE: &str = "\
title: Quay steps
tempo: 100
meter: 4/4

1/8 4:0 4:0 4:3 3:0 3:2 3:0 4:3 4:0
1/8 4:0 4:0 4:3 3:0 3:2 3:5 3:2 3:0
1/8 4:0 4:0 4:3 3:0 3:2 3:0 4:3 4:0
1/8 4:0 4:0 4:3 3:0 3:1 3:0 4:3 4:2
1/8 3:0 3:0 3:3 3:5 2:2 3:5 3:3 3:0
1/8 4:0 4:0 4:3 3:0 3:2 3:0 4:3 3:5
";

fn line(text: &str) -> Line {
    read_bytes("quay.line", text.as_bytes()).expect("a line")
}

/// Frames per second of the output.
const RATE: SampleRate = SampleRate(48_000);

fn settings(line: &Line, beats: Beats) -> LiveSettings {
    LiveSettings {
        line: line.clone(),
        bars: None,
        tempo_share: 1.0,
        a4: crate::units::STANDARD_A4,
        marks: Default::default(),
        known: Default::default(),
        passes: None,
        loops: Default::default(),
        click: ClickPattern {
            beats,
            count_in: u8::from(beats != Beats::None),
            ..ClickPattern::default()
        },
        guide: false,
        backing: None,
        latency_s: Some(0.02),
        keep: None,
        reserved: false,
        wait: None,
        played: None,
    }
}

/// A session over [`ALIKE`], and the notes of that line.
fn session(beats: Beats) -> (Run, Vec<ExpectedNote>) {
    let line = line(ALIKE);
    let notes = line.expected(line.instrument());
    (Run::new(settings(&line, beats)), notes)
}

/// A session with its own clock.
struct Run {
    conductor: Conductor,
    zero: Instant,
    at_s: f64,
    /// Everything that is played, in order of time.
    notes: Vec<HeardNote>,
    started: usize,
    named: usize,
    settled: usize,
    snapshots: Vec<Snapshot>,
    ticks: u32,
    jitter: u32,
    /// Where bar 1 of each pass lies by the click, in seconds of the stream.
    bars1_s: Vec<f64>,
}

impl Run {
    /// There is an output where something is clicked.
    fn new(settings: LiveSettings) -> Self {
        let clicks = settings.click.beats != Beats::None;
        let conductor = Conductor::new(settings, clicks.then_some(RATE)).expect("a session");
        Self {
            conductor,
            zero: Instant::now(),
            at_s: 0.0,
            notes: Vec::new(),
            started: 0,
            named: 0,
            settled: 0,
            snapshots: Vec::new(),
            ticks: 0,
            jitter: 7,
            bars1_s: Vec::new(),
        }
    }

    /// Some 8 ms to either side, the same in each run.
    fn jitter_s(&mut self) -> f64 {
        self.jitter = self
            .jitter
            .wrapping_mul(1_664_525)
            .wrapping_add(1_013_904_223);
        0.016 * (f64::from(self.jitter >> 8) / f64::from(1 << 24) - 0.5)
    }

    /// Adds notes of the line, the first at `from_s`, at a tempo relative to the written one.
    fn play(&mut self, notes: &[ExpectedNote], from_s: f64, share: f64) -> f64 {
        let first_s = notes[0].onset_s;
        let mut end_s = from_s;
        for note in notes {
            let onset_s = from_s + (note.onset_s - first_s) / share + self.jitter_s();
            end_s = from_s + (note.onset_s + note.length_s - first_s) / share;
            if let Some(last) = self.notes.last_mut()
                && last.release_s > onset_s - 0.1
            {
                last.release_s = onset_s;
            }
            let mut heard = heard(onset_s, f64::from(note.midi));
            heard.release_s = end_s;
            self.notes.push(heard);
        }
        end_s
    }

    /// Lets the session run up to a moment.
    fn until(&mut self, to_s: f64) {
        while self.at_s < to_s {
            self.at_s += 0.01;
            self.say();
            if self.ticks.is_multiple_of(25) {
                self.so_far();
            }
            self.step();
        }
    }

    /// Lets the session run up to a moment, and ends it.
    fn end(&mut self, to_s: f64) {
        self.until(to_s);
        self.conductor.close();
    }

    /// Lets the session run until the click of a pass, counted from 0, is ordered; gives where its
    /// bar 1 lies in the stream, in seconds.
    fn bar1_s(&mut self, pass: usize) -> f64 {
        while self.bars1_s.len() <= pass {
            self.until(self.at_s + 0.05);
        }
        self.bars1_s[pass]
    }

    /// Says where the stream is, and looks at what is shown.
    fn step(&mut self) {
        self.ticks += 1;
        self.conductor.hear(Said::Position(Position {
            at_s: self.at_s,
            level: Level::silent(),
            lost: FrameCount(0),
            began_s: Some(0.0),
            drift_ppm: None,
        }));
        self.conductor
            .tick(self.zero + Duration::from_secs_f64(self.at_s));
        for order in self.conductor.orders() {
            if let Order::Play(music) = order {
                let opening_s = music.beats.first().map_or(0.0, |beat| beat.at_s.min(0.0));
                let soon = ((self.at_s + 0.3 - opening_s) * RATE.hz()) as u64;
                let frame = music.bar1.unwrap_or(soon);
                self.bars1_s.push(frame as f64 / RATE.hz() + 0.02);
                self.conductor.told(Told::Clock {
                    began_s: 0.0,
                    drift_ppm: None,
                    late: 0,
                });
                let id = music.id;
                self.conductor.told(Told::Bar1 { id, frame });
            }
        }
        if self.ticks.is_multiple_of(4) {
            self.snapshots.push(self.conductor.snapshot());
        }
    }

    /// What the ear says by now.
    fn say(&mut self) {
        while let Some(note) = self.notes.get(self.started)
            && note.onset_s + 0.01 <= self.at_s
        {
            let onset_s = note.onset_s;
            let at_s = self.at_s;
            self.conductor
                .hear(Said::Event(Event::Started { onset_s, at_s }));
            self.started += 1;
        }
        while let Some(note) = self.notes.get(self.named)
            && note.onset_s + 0.05 <= self.at_s
        {
            let (onset_s, at_s) = (note.onset_s, self.at_s);
            let midi = note.pitch.as_ref().map_or(0.0, |pitch| pitch.midi);
            self.conductor.hear(Said::Event(Event::Named {
                onset_s,
                midi,
                at_s,
            }));
            self.named += 1;
        }
        while let Some(note) = self.notes.get(self.settled)
            && self
                .notes
                .get(self.settled + 1)
                .map_or(note.onset_s + 9.0, |next| next.onset_s + 0.17)
                <= self.at_s
        {
            let note = note.clone();
            self.conductor.hear(Said::Event(Event::Settled(note)));
            self.settled += 1;
        }
    }

    /// What would be settled, were the stream over now.
    fn so_far(&mut self) {
        let events = self.notes[self.settled..self.started]
            .iter()
            .filter(|note| note.onset_s + 0.06 <= self.at_s)
            .map(|note| {
                let mut note = note.clone();
                note.release_s = note.release_s.min(self.at_s);
                Event::Settled(note)
            })
            .collect();
        self.conductor.hear(Said::SoFar(events));
    }

    /// Every fault that stood in any snapshot, in words.
    fn accusations(&self) -> Vec<String> {
        let mut said = Vec::new();
        for snapshot in &self.snapshots {
            for (at, view) in snapshot.notes.iter().enumerate() {
                if let Some(view) = view
                    && (view.verdict != Verdict::Right || !view.flags.is_empty())
                {
                    said.push(format!(
                        "{:.2} s, pass {}, note {at}: {:?} {:?}",
                        snapshot.at_s, snapshot.pass, view.verdict, view.flags
                    ));
                }
            }
        }
        said
    }

    /// The passes that are over.
    fn passes(&self) -> Vec<&PassView> {
        self.conductor.passes().map(|(view, _)| view).collect()
    }

    /// No fault stood in any snapshot.
    fn was_never_accused(&self, what: &str) {
        let said = self.accusations();
        let some = &said[..said.len().min(12)];
        assert!(said.is_empty(), "{what}: {} of them: {some:#?}", said.len());
    }

    /// All passes that are over had every one of `notes` notes right, and no fault was shown.
    fn was_flawless(&self, passes: usize, notes: usize) {
        self.was_never_accused("flawless passes");
        let views = self.passes();
        assert_eq!(views.len(), passes, "{views:#?}");
        assert!(views.iter().all(|pass| pass.right == notes), "{views:#?}");
    }
}

#[test]
fn twenty_flawless_passes_without_a_click_are_never_accused() {
    let (mut run, notes) = session(Beats::None);
    let mut at_s = 1.0;
    for pass in 0..20 {
        let share = 0.8 + 0.02 * f64::from(pass % 10);
        at_s = run.play(&notes, at_s, share);
        // Some follow in time, some after a rest.
        at_s += [0.0, 1.7, 4.5][pass as usize % 3];
    }
    run.end(at_s + 5.0);
    run.was_flawless(20, notes.len());
}

#[test]
fn twenty_flawless_passes_with_a_click_are_never_accused() {
    let (mut run, notes) = session(Beats::All);
    let beat_s = 60.0 / 100.0;
    for pass in 0..20 {
        let at_s = run.bar1_s(pass);
        let end_s = run.play(&notes, at_s, 1.0);
        // In some passes the click leaks from the headphones, between the notes as well.
        if pass % 4 == 3 {
            let first = run.notes.len() - notes.len();
            for beat in 0..24 {
                let mut click = heard(at_s + beat_s * f64::from(beat) + 0.004, 90.0);
                click.level_dbfs = -40.0;
                click.release_s = click.onset_s + 0.03;
                click.pitch = click.pitch.filter(|_| beat % 2 == 0);
                run.notes.push(click);
            }
            run.notes[first..].sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
        }
        run.until(end_s);
    }
    run.end(run.at_s + 3.0);
    run.was_flawless(20, notes.len());
    let passes = run.passes();
    assert!(passes.iter().all(|pass| pass.extra == 0), "{passes:#?}");
    let clicks = run.conductor.clicks(false);
    assert_eq!(clicks.len(), 20);
    for (click, wanted_s) in clicks.iter().zip(&run.bars1_s) {
        assert!((click.zero_s - wanted_s).abs() < 1e-3);
        assert_eq!(click.clicks_s.len(), 4 + 24);
    }
}

#[test]
fn a_loop_without_a_count_in_goes_straight_on() {
    let (mut run, notes) = session(Beats::All);
    run.conductor.command(Command::CountIn);
    let length_s = 6.0 * 4.0 * 0.6;
    for pass in 0..3 {
        let bar1_s = run.bar1_s(pass);
        assert!(run.at_s < bar1_s, "ordered too late");
        run.play(&notes, bar1_s, 1.0);
        run.until(bar1_s + length_s - 0.7);
    }
    run.end(run.at_s + 3.0);
    for pair in run.bars1_s[..3].windows(2) {
        assert!((pair[1] - pair[0] - length_s).abs() < 1e-3, "{pair:?}");
    }
    run.was_never_accused("a loop");
    let rights = run.passes().into_iter().map(|pass| pass.right);
    assert_eq!(rights.take(3).collect::<Vec<_>>(), [notes.len(); 3]);
}

#[test]
fn a_wrong_note_is_told_and_told_once() {
    let (mut run, notes) = session(Beats::None);
    let end_s = run.play(&notes, 1.0, 0.9);
    let pitch = run.notes[20].pitch.as_mut().expect("a pitch");
    pitch.midi += 2.0;
    run.until(end_s + 5.0);
    let told = |snapshot: &Snapshot| -> Vec<usize> {
        let wrong = |at: &usize| {
            snapshot.notes[*at]
                .as_ref()
                .is_some_and(|view| view.verdict != Verdict::Right)
        };
        (0..notes.len()).filter(wrong).collect()
    };
    let mut seen = false;
    for snapshot in &run.snapshots {
        let told = told(snapshot);
        assert!(told.is_empty() || told == [20], "{told:?}");
        assert!(!seen || told == [20], "taken back");
        seen |= told == [20] && matches!(snapshot.phase, Phase::Playing);
    }
    assert!(seen);
}

#[test]
fn two_bars_over_and_over_and_a_step_back_are_passes() {
    let (mut run, notes) = session(Beats::None);
    let bars = |from: u32, to: u32| -> Vec<ExpectedNote> {
        let inside = |note: &&ExpectedNote| (from..=to).contains(&note.bar);
        notes.iter().filter(inside).cloned().collect()
    };
    // Bars 4 and 5 three times round, a stop, then bar 5 to the end after a false start.
    let mut at_s = 1.0;
    for _ in 0..3 {
        at_s = run.play(&bars(4, 5), at_s, 0.9);
    }
    at_s = run.play(&bars(4, 6)[..10], at_s + 4.0, 0.9);
    at_s = run.play(&bars(4, 6), at_s + 2.0, 0.9);
    run.end(at_s + 5.0);
    run.was_never_accused("two bars");
    let passes = run.passes().into_iter();
    let bars: Vec<_> = passes.map(|p| (p.bars, p.right, p.notes)).collect();
    let loops = ((4, 5), 16, 16);
    let wanted = [loops, loops, loops, ((4, 5), 10, 10), ((4, 6), 24, 24)];
    assert_eq!(bars, wanted);
}
