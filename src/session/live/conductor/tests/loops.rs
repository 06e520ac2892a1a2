//! Loops: one join alone, passes that follow in time, and each pass beside the ones before it.

use super::*;
use crate::compare::judgement::Judgement;
use crate::hearing::events::EndCause;
use crate::session::judging::Taken;
use crate::session::live::snapshot::{Compared, JoinPlace};
use crate::session::played::{Played, PlayedClick};
use crate::sound::synth::around_join;

/// The tolerance for moments of the click, in seconds: frames of the output and rounding.
const MOMENT_S: f64 = 1e-3;

/// The ear has settled the last note this long behind it, in seconds.
const LAST_S: f64 = 10.0;

/// Settings over the join of [`ALIKE`] at a bar and beat, and its notes from its first beat on.
pub(super) fn join_at(bar: u32, beat: f64) -> (LiveSettings, Vec<ExpectedNote>) {
    let line = line(ALIKE);
    let excerpt = around_join(&line, bar, beat).expect("a join");
    let mut settings = settings(&line, Beats::All);
    settings.loops.join = Some(excerpt.notes[excerpt.before].index);
    settings.bars = Some((bar, excerpt.notes.last().expect("notes").bar));
    (settings, excerpt.notes)
}

impl Run {
    /// Plays notes of a join in the pass with that bar 1; gives where the last one ends.
    pub(super) fn play_join(&mut self, notes: &[ExpectedNote], bar1_s: f64, share: f64) -> f64 {
        self.play(notes, bar1_s + notes[0].onset_s / share, share)
    }

    /// Damps one of the notes that will have been played last, counted from the end, this long before
    /// the next one begins, in seconds.
    pub(super) fn gap(&mut self, from_end: usize, gap_s: f64) {
        let at = self.notes.len() - from_end;
        let next_s = self.notes[at + 1].onset_s;
        let note = &mut self.notes[at];
        note.release_s = next_s - gap_s;
        note.end = EndCause::Damped;
        note.depth_db = 25.0;
    }

    /// The kept take judged anew by what is written beside it.
    pub(super) fn judged_again(&self) -> Judgement {
        let conductor = &self.conductor;
        let click = PlayedClick {
            beats: "all".to_owned(),
            parts: 1,
            alternate: false,
            count_in: 1,
        };
        let mut played = Played::new(String::new(), String::new(), b"", 440.0, click);
        played.tempo_share = conductor.settings.tempo_share;
        played.round_trip_ms = conductor.settings.latency_s.map(|s| 1e3 * s);
        played.bars = conductor.bars();
        played.set_clicks(&conductor.clicks(false));
        let text = serde_json::to_string(&played).expect("a text");
        let played: Played = serde_json::from_str(&text).expect("the same");
        let line = conductor
            .settings
            .line
            .with_tempo_scale(played.tempo_share)
            .expect("a tempo");
        let asked = Asked {
            mode: TimingMode::Free,
            clicks: played.clicks(played.tempo_share),
            bars: played.bars,
            stretches: Vec::new(),
        };
        let taken = Taken {
            file: String::new(),
            rate: RATE,
            counted: Default::default(),
            notes: Vec::new(),
        };
        let judging = conductor.settings.judging(&line);
        judging.result(asked, &conductor.heard, taken).judgement
    }

    /// Every pass of the session is judged the same from the kept take.
    pub(super) fn is_the_same_from_its_file(&self) {
        let again = self.judged_again();
        let counts = |t: crate::compare::judgement::Tally| {
            (
                t.right,
                t.wrong,
                t.missed,
                t.extra,
                t.gaps,
                t.early + t.late,
            )
        };
        let from_file: Vec<_> = again.passes.iter().map(|pass| counts(pass.tally)).collect();
        let live: Vec<_> = self
            .passes()
            .iter()
            .map(|p| (p.right, p.wrong, p.missed, p.extra, p.gaps, p.out_of_time))
            .collect();
        assert_eq!(from_file, live);
    }
}

/// Closed form: at 100 a beat is 0.6 s. The join behind the note at bar 2 beat 3 has two notes on
/// either side, from beat 2.5 to the end of 4: it begins on beat 2 and ends three beats later. A bar is
/// counted in before the first pass, on beats 2, 3, 4 and 1.
#[test]
fn one_join_goes_round_alone_and_is_counted_in_on_its_beat() {
    let (settings, notes) = join_at(2, 3.0);
    assert_eq!(notes.len(), 4);
    let mut run = Run::new(settings);
    assert_eq!(run.conductor.chosen.length_s, 3.0 * 0.6);
    for pass in 0..4 {
        let bar1_s = run.bar1_s(pass);
        let end_s = run.play_join(&notes, bar1_s, 1.0);
        run.until(end_s);
    }
    run.end(run.at_s + LAST_S);
    run.was_flawless(4, 4);
    for pair in run.bars1_s.windows(2) {
        let apart_s = pair[1] - pair[0];
        assert!((apart_s - (3.0 + 4.0) * 0.6).abs() < MOMENT_S, "{apart_s}");
    }
    let place = Some(JoinPlace { bar: 2, beat: 3.0 });
    assert_eq!(run.snapshots[0].piece.join, place);
    let counts = run.snapshots.iter().filter_map(|s| match s.phase {
        Phase::CountIn { click, of } if click > 0 => Some((click, of)),
        _ => None,
    });
    let mut counts: Vec<_> = counts.collect();
    counts.dedup();
    assert_eq!(counts[..4], [(2, 4), (3, 4), (4, 4), (1, 4)]);
    let clicks = run.conductor.clicks(false);
    assert_eq!(clicks[0].clicks_s.len(), 4 + 3);
    run.is_the_same_from_its_file();
}

/// In time the loop is as long as the join itself; a wrong note is told, and the sentences of the pass
/// speak of nothing outside of it.
#[test]
fn a_join_goes_straight_on_and_its_faults_are_told() {
    let (mut settings, notes) = join_at(2, 3.0);
    settings.loops.straight_on = true;
    let mut run = Run::new(settings);
    for pass in 0..5 {
        let bar1_s = run.bar1_s(pass);
        run.play_join(&notes, bar1_s, 1.0);
        if pass == 2 {
            let pitch = run.notes.last_mut().and_then(|note| note.pitch.as_mut());
            pitch.expect("a pitch").midi += 1.0;
        }
        run.until(bar1_s + 3.0 * 0.6 - 0.7);
    }
    run.end(run.at_s + LAST_S);
    for pair in run.bars1_s[..5].windows(2) {
        assert!((pair[1] - pair[0] - 3.0 * 0.6).abs() < MOMENT_S, "{pair:?}");
    }
    let passes = run.passes();
    let figures: Vec<_> = passes
        .iter()
        .map(|p| (p.right, p.wrong, p.missed))
        .collect();
    let wanted = [(4, 0, 0), (4, 0, 0), (3, 1, 0), (4, 0, 0), (4, 0, 0)];
    assert_eq!(figures[..5], wanted, "{passes:#?}");
    for pass in &passes[..5] {
        assert!(pass.recognised);
        assert!(
            pass.findings.len() <= usize::from(pass.wrong > 0),
            "{pass:#?}"
        );
    }
    run.is_the_same_from_its_file();
}

/// A shift that leaves less silence from pass to pass: each pass says so beside the ones before it.
#[test]
fn each_pass_stands_beside_the_ones_before_it() {
    let (mut settings, notes) = join_at(2, 3.0);
    settings.passes = Some(5);
    let mut run = Run::new(settings);
    for (pass, gap_s) in [0.110, 0.095, 0.090, 0.074, 0.0].into_iter().enumerate() {
        let bar1_s = run.bar1_s(pass);
        let end_s = run.play_join(&notes, bar1_s, 1.0);
        run.gap(3, gap_s);
        run.until(end_s);
    }
    run.end(run.at_s + LAST_S);
    let passes = run.passes();
    assert_eq!(passes[0].compared, None);
    assert_eq!(passes[0].gaps, 1, "{:#?}", passes[0]);
    let Some(Compared {
        right,
        tempo_share: None,
        join: Some(join),
    }) = &passes[3].compared
    else {
        panic!("{:#?}", passes[3]);
    };
    assert_eq!(right, &[4, 4, 4]);
    assert_eq!(join.place, JoinPlace { bar: 2, beat: 3.0 });
    let told: Vec<f64> = join
        .before_ms
        .iter()
        .chain([&join.gap_ms])
        .map(|ms| ms.expect("known"))
        .collect();
    for (told, wanted) in told.iter().zip([110.0, 95.0, 90.0, 74.0]) {
        assert!((told - wanted).abs() < 1.0, "{told} for {wanted}");
    }
    let last = passes[4].compared.as_ref().expect("compared");
    assert_eq!(last.right.len(), 3);
    run.is_the_same_from_its_file();
}

/// The key for the worst join plays it alone, then its bars, then it alone again; without the click its
/// bars.
#[test]
fn a_key_plays_the_worst_join_alone() {
    let (mut run, notes) = session(Beats::All);
    run.conductor.command(Command::LoopWorst);
    assert!(run.conductor.chosen.join.is_none());
    let bar1_s = run.bar1_s(0);
    let end_s = run.play(&notes, bar1_s, 1.0);
    // The join behind bar 2 beat 4.5, over the bar line.
    let at = notes
        .iter()
        .position(|n| (n.bar, n.beat) == (2, 4.5))
        .expect("a note");
    run.gap(notes.len() - at, 0.1);
    run.until(end_s + 1.0);
    let views = run.conductor.snapshot().worst;
    assert_eq!((views.len(), views[0].flagged), (1, 1), "{views:#?}");
    run.conductor.command(Command::LoopWorst);
    let join = run.conductor.chosen.join.as_ref().map(|join| join.index);
    assert_eq!((join, run.conductor.chosen.bars), (Some(at), (2, 3)));
    run.conductor.command(Command::Slower);
    let join = run.conductor.chosen.join.as_ref().map(|join| join.index);
    assert_eq!(join, Some(at));
    assert!((run.conductor.chosen.share - 0.95).abs() < 1e-9);
    run.conductor.command(Command::LoopWorst);
    assert!(run.conductor.chosen.join.is_none());
    assert_eq!(run.conductor.chosen.bars, (2, 3));
    run.conductor.command(Command::LoopWorst);
    assert!(run.conductor.chosen.join.is_some());
    run.conductor.command(Command::Widen);
    assert!(run.conductor.chosen.join.is_none());
    assert_eq!(run.conductor.chosen.bars, (2, 3));
    run.conductor.command(Command::LoopWorst);
    run.conductor.command(Command::Click);
    assert!(run.conductor.chosen.join.is_none(), "without the click");
    assert_eq!(run.conductor.pass.mode, TimingMode::Free);
}
