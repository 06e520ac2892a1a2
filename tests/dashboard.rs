//! The dashboard: what keys and snapshots change, what the screens look like, and that no value
//! and no size of a terminal can break it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use proptest::prelude::*;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::style::{Color, Modifier};
use seamline::compare::judgement::{BleedKind, Flag, Verdict};
use seamline::music::line::read_bytes;
use seamline::progress::ladder::{Counts, Next, Outcome as Went, Step};
use seamline::session::line_info::{BarSpan, LineInfo};
use seamline::session::live::snapshot::{
    Ahead, Command, Compared, JoinCompared, JoinPlace, JoinView, LadderPass, LadderView,
    LatencyView, Level, NoteView, PassView, Phase, Piece, Rest, RingView, Snapshot, Sounding,
};
use seamline::tui::plain::Teller;
use seamline::tui::state::{Action, App, Outcome, Page, update};
use seamline::tui::theme::{Theme, Tone};
use seamline::tui::view::view;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Compares with the golden file of that name, or writes it when `SEAMLINE_REMAKE` is set.
fn check_golden(name: &str, got: &str) {
    let path: PathBuf = root().join("fixtures/golden").join(name);
    if std::env::var_os("SEAMLINE_REMAKE").is_some() {
        std::fs::write(&path, got).expect("the golden file can be written");
        return;
    }
    let golden = std::fs::read_to_string(&path).expect("the golden file; see its README");
    assert!(golden == got, "{name} differs; it is now\n{got}");
}

/// The study of the demo data, all of it.
fn piece() -> Arc<Piece> {
    let bytes = std::fs::read(root().join("fixtures/lines/two-octaves.line")).expect("the study");
    let line = read_bytes("two-octaves.line", &bytes).expect("a line");
    let bars = (1..=line.last_bar())
        .map(|number| BarSpan {
            number,
            start_quarters: f64::from(number - 1) * 4.0,
            length_quarters: 4.0,
            ..BarSpan::default()
        })
        .collect();
    Arc::new(Piece {
        info: LineInfo {
            title: Some("Up the stairs and down".to_owned()),
            tempo_bpm: 64.0,
            strings: ["G", "D", "A", "E"].map(String::from).to_vec(),
            bars,
            part: false,
        },
        notes: line.expected(line.instrument()),
        line_bars: (1, 4),
        tempo_share: 0.8,
        join: None,
    })
}

fn right(timing_ms: f64) -> NoteView {
    NoteView {
        verdict: Verdict::Right,
        heard_midi: Some(43.0),
        cents: Some(2.0),
        timing_ms: Some(timing_ms),
        gap_ms: Some(0.0),
        flags: Vec::new(),
        settled: true,
        corrected: false,
    }
}

fn waiting() -> Snapshot {
    let piece = piece();
    Snapshot {
        at_s: 2.0,
        phase: Phase::Waiting,
        pass: 1,
        passes_wanted: None,
        place: None,
        click_quarters: None,
        click: false,
        sounding: None,
        notes_of: 1,
        notes: vec![None; piece.notes.len()],
        rings: Vec::new(),
        level: Level {
            peak_dbfs: -42.0,
            rms_dbfs: -60.0,
            clipped: 0,
            hum: None,
        },
        dropped_frames: 0,
        worst: Vec::new(),
        last_pass: None,
        latency: LatencyView::Unmeasured,
        drift_ppm: None,
        take: "/somewhere/takes/two-octaves-0007.wav".to_owned(),
        ladder: None,
        rest: None,
        notices: Vec::new(),
        piece,
    }
}

/// In the middle of a pass with one fault of each kind.
fn playing() -> Snapshot {
    let mut s = waiting();
    s.at_s = 31.5;
    s.phase = Phase::Playing;
    s.pass = 3;
    s.click = true;
    s.place = Some(8);
    s.latency = LatencyView::Measured(21.4);
    s.sounding = Some(Sounding {
        midi: Some(59.07),
        index: Some(8),
        onset_s: 31.2,
    });
    s.level.peak_dbfs = -9.0;
    let mut notes: Vec<NoteView> = [-4.0, 6.0, 41.0, -2.0, 3.0, -33.0, 0.0, 8.0]
        .map(right)
        .to_vec();
    notes[1].verdict = Verdict::Wrong;
    notes[1].heard_midi = Some(51.0);
    notes[2].flags = vec![Flag::Late];
    notes[3].flags = vec![Flag::Gap, Flag::Bleed];
    notes[3].gap_ms = Some(84.0);
    notes[4].verdict = Verdict::Missed;
    notes[4].timing_ms = None;
    notes[4].gap_ms = None;
    notes[5].flags = vec![Flag::Early];
    notes[6].flags = vec![Flag::Dead];
    notes[6].corrected = true;
    notes[7].settled = false;
    for (at, note) in notes.into_iter().enumerate() {
        s.notes[at] = Some(note);
    }
    s.rings = vec![RingView {
        string: Some(3),
        midi: 33.0,
        kind: BleedKind::OpenString,
        level_db: -18.2,
        from_s: 30.1,
        to_s: 31.4,
        during: vec![3, 4],
    }];
    s.worst = vec![JoinView {
        bar: 1,
        beat: 3.5,
        from_midi: 50,
        to_midi: 55,
        kind: s.piece.notes[5].join,
        gaps_ms: vec![Some(119.0), Some(96.0), None],
        flagged: 2,
    }];
    s.last_pass = Some(pass());
    s
}

fn pass() -> PassView {
    PassView {
        number: 2,
        bars: (1, 4),
        tempo_bpm: 64.0,
        notes: 28,
        right: 26,
        wrong: 1,
        missed: 1,
        extra: 0,
        gaps: 1,
        out_of_time: 2,
        bleed: 0,
        spread_ms: Some(11.0),
        recognised: true,
        findings: vec!["bar 1 beat 3.5, shift from D3 to G3: 96 ms of silence".to_owned()],
        compared: None,
        tempo_share: 0.8,
        ladder: None,
    }
}

fn counting_in() -> Snapshot {
    Snapshot {
        phase: Phase::CountIn { click: 2, of: 4 },
        click: true,
        pass: 2,
        ..waiting()
    }
}

fn between() -> Snapshot {
    Snapshot {
        phase: Phase::Waiting,
        pass: 4,
        place: None,
        sounding: None,
        ..playing()
    }
}

/// One join goes round: its fifth pass is counted in.
fn a_join() -> Snapshot {
    let mut s = playing();
    let place = JoinPlace { bar: 1, beat: 2.5 };
    let piece = Arc::make_mut(&mut s.piece);
    piece.join = Some(place);
    piece.info.bars.truncate(2);
    piece.notes = piece.notes[2..6].to_vec();
    s.phase = Phase::CountIn { click: 4, of: 4 };
    s.pass = 5;
    s.notes_of = 4;
    s.place = None;
    s.sounding = None;
    s.notes = vec![
        Some(right(-4.0)),
        Some(right(6.0)),
        Some(right(9.0)),
        Some(right(1.0)),
    ];
    let gap = s.notes[1].as_mut().expect("a note");
    gap.flags = vec![Flag::Gap];
    gap.gap_ms = Some(74.0);
    s.rings.clear();
    s.worst[0] = JoinView {
        beat: 2.5,
        from_midi: s.piece.notes[1].midi,
        to_midi: s.piece.notes[2].midi,
        kind: s.piece.notes[1].join,
        gaps_ms: [110.0, 95.0, 90.0, 74.0].map(Some).to_vec(),
        ..s.worst[0].clone()
    };
    s.last_pass = Some(PassView {
        number: 4,
        bars: (1, 2),
        notes: 4,
        right: 4,
        wrong: 0,
        missed: 0,
        out_of_time: 0,
        findings: vec!["bar 1 beat 2.5, crossing from D2 to G2: 74 ms of silence".to_owned()],
        compared: Some(Compared {
            right: vec![3, 4, 4],
            tempo_share: None,
            join: Some(JoinCompared {
                place,
                kind: s.piece.notes[1].join,
                gap_ms: Some(74.0),
                before_ms: vec![Some(110.0), Some(95.0), Some(90.0)],
            }),
        }),
        ..pass()
    });
    s
}

fn tempo(share: f64) -> Next {
    Next {
        share,
        probe: false,
    }
}

/// The last bar of a pass that may lead up.
fn climbing() -> Snapshot {
    Snapshot {
        ladder: Some(LadderView {
            counts: Counts {
                passes: 8,
                clean: 5,
                faulty: 2,
                broken: 1,
                ..Counts::default()
            },
            target_share: 1.0,
            probe: false,
            decided: None,
            ahead: Some(Ahead::IfClean {
                clean: tempo(0.84),
                otherwise: tempo(0.8),
            }),
        }),
        ..playing()
    }
}

/// Behind that pass, counted in at the new tempo.
fn climbed() -> Snapshot {
    let (step, next) = (
        Step::Up {
            from: 0.8,
            to: 0.84,
            clean_in_a_row: 3,
        },
        tempo(0.84),
    );
    let mut s = Snapshot {
        phase: Phase::CountIn { click: 2, of: 4 },
        pass: 4,
        place: None,
        sounding: None,
        ..climbing()
    };
    Arc::make_mut(&mut s.piece).tempo_share = 0.84;
    let ladder = s.ladder.as_mut().expect("a ladder");
    ladder.ahead = None;
    ladder.decided = Some((step, next));
    ladder.counts.clean = 6;
    let last = s.last_pass.as_mut().expect("a pass");
    last.number = 3;
    last.ladder = Some(LadderPass {
        outcome: Went::Clean,
        probe: false,
        step,
        next,
    });
    s
}

/// The same with a rest that is due.
fn resting() -> Snapshot {
    Snapshot {
        rest: Some(Rest::LongEnough(8)),
        ..climbed()
    }
}

fn lost() -> Snapshot {
    Snapshot {
        phase: Phase::DeviceLost {
            message: "Card sends no more sound. The take is safe; waiting.".to_owned(),
        },
        dropped_frames: 4800,
        level: Level {
            peak_dbfs: f64::NEG_INFINITY,
            rms_dbfs: f64::NEG_INFINITY,
            clipped: 2,
            hum: Some((50.0, -47.0)),
        },
        ..playing()
    }
}

fn ended() -> Snapshot {
    Snapshot {
        phase: Phase::Ended {
            message: "The session is over.".to_owned(),
        },
        notices: vec!["Something to be read.".to_owned()],
        ..playing()
    }
}

fn app(snapshot: Snapshot, theme: Theme) -> App {
    App {
        snapshot: Some(Box::new(snapshot)),
        theme,
        ..App::default()
    }
}

fn screen(app: &App, width: u16, height: u16) -> TestBackend {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a backend");
    terminal.draw(|frame| view(app, frame)).expect("drawn");
    terminal.backend().clone()
}

#[test]
fn golden_screens_are_unchanged() {
    let usual = Theme::default();
    let large = Theme {
        large: true,
        ..usual
    };
    let shown = [
        ("waiting", waiting(), usual),
        ("counting-in", counting_in(), usual),
        ("playing", playing(), usual),
        ("between", between(), usual),
        ("lost", lost(), usual),
        ("ended", ended(), usual),
        ("large", playing(), large),
        ("join", a_join(), usual),
        ("join-large", a_join(), large),
        ("climbing", climbing(), usual),
        ("climbed", climbed(), usual),
        ("rest-large", resting(), large),
    ];
    for (name, snapshot, theme) in shown {
        let app = app(snapshot, theme);
        check_golden(
            &format!("screen-{name}.txt"),
            &screen(&app, 80, 24).to_string(),
        );
    }
    let wide = app(playing(), usual);
    check_golden(
        "screen-playing-wide.txt",
        &screen(&wide, 120, 40).to_string(),
    );
    let tall = app(playing(), usual);
    check_golden(
        "screen-playing-tall.txt",
        &screen(&tall, 80, 50).to_string(),
    );
    let mut help = app(playing(), usual);
    help.page = Page::Help;
    check_golden("screen-help.txt", &screen(&help, 80, 24).to_string());
}

#[test]
fn what_matters_is_on_the_smallest_screen() {
    let text = screen(&app(playing(), Theme::default()), 80, 24).to_string();
    for wanted in [
        "pass 3",
        "click on",
        "[7]",
        "heard",
        "84",
        "+41",
        "-33",
        "RINGS",
        "-18 dB",
        "119 96 ?",
        "Pass 2: 26 of 28 right",
        "-9 dBFS",
        "round trip 21 ms",
        "D3 wanted",
    ] {
        assert!(text.contains(wanted), "`{wanted}` is not in\n{text}");
    }
    let text = screen(&app(lost(), Theme::default()), 80, 24).to_string();
    for wanted in ["NO SOUND", "LOST 4800", "CLIPPED 2", "silence"] {
        assert!(text.contains(wanted), "`{wanted}` is not in\n{text}");
    }
}

/// The bar that comes next is on the screen from the middle of the one before it on; behind the last one
/// that is the first one again.
#[test]
fn the_next_bar_is_in_sight_before_its_bar_line() {
    let notes = piece().notes.clone();
    let last_bar = notes.last().expect("notes").bar;
    for (width, height) in [(80, 24), (120, 40), (80, 50)] {
        for place in 0..notes.len() {
            let mut s = playing();
            s.place = Some(place);
            s.notes = vec![None; notes.len()];
            let bar = notes[place].bar;
            let of_bar: Vec<usize> = (0..notes.len())
                .filter(|at| notes[*at].bar == bar)
                .collect();
            if 2 * (place - of_bar[0] + 1) <= of_bar.len() {
                continue;
            }
            let next = if bar == last_bar {
                notes[0].bar
            } else {
                bar + 1
            };
            let text = screen(&app(s, Theme::default()), width, height).to_string();
            // Bar numbers stand alone above the strings: lines of nothing but digits.
            let numbers: Vec<u32> = text
                .lines()
                .map(|line| line.trim_matches('"'))
                .filter(|line| {
                    line.chars().all(|c| c == ' ' || c.is_ascii_digit()) && !line.trim().is_empty()
                })
                .flat_map(str::split_whitespace)
                .filter_map(|number| number.parse().ok())
                .collect();
            assert!(
                numbers.contains(&bar) && numbers.contains(&next),
                "bars {bar} and {next} of {numbers:?} at {width}x{height}\n{text}"
            );
        }
    }
}

/// After a pass the bars with faults are shown, not the first ones.
#[test]
fn after_a_pass_the_bars_with_faults_are_shown() {
    let mut s = between();
    s.notes = s.notes.iter().map(|_| Some(right(3.0))).collect();
    let at = s
        .piece
        .notes
        .iter()
        .position(|note| note.bar == 3)
        .expect("a bar 3");
    s.notes[at].as_mut().expect("a note").verdict = Verdict::Missed;
    let text = screen(&app(s, Theme::default()), 80, 24).to_string();
    let heard = text
        .lines()
        .find(|line| line.contains("heard"))
        .expect("a tab");
    assert!(heard.contains("--"), "{text}");
    // Bars far from each other stand side by side, and those without room are counted.
    let mut s = between();
    s.notes = s.notes.iter().map(|_| Some(right(3.0))).collect();
    for (note, view) in s.piece.notes.iter().zip(&mut s.notes) {
        if note.beat == 1.0 && note.bar != 3 {
            view.as_mut().expect("a note").verdict = Verdict::Missed;
        }
    }
    let text = screen(&app(s, Theme::default()), 80, 24).to_string();
    let numbers = text
        .lines()
        .map(|line| line.trim_matches('"').trim())
        .find(|line| line.starts_with("1 "))
        .expect("bar numbers");
    let numbers: Vec<&str> = numbers.split_whitespace().collect();
    assert_eq!(numbers, ["1", "2", "…", "1", "more"], "{text}");
}

/// What a high screen has to spare goes to the findings, not to empty rows behind the line.
#[test]
fn a_high_screen_shows_more_of_what_was_found() {
    let mut s = between();
    let mut long = pass();
    long.findings = (1..=20).map(|n| format!("Finding {n}.")).collect();
    s.last_pass = Some(long);
    let text = screen(&app(s, Theme::default()), 200, 50).to_string();
    let found = text.lines().filter(|line| line.contains("Finding")).count();
    assert_eq!(found, 20, "{text}");
}

#[test]
fn what_is_cut_says_so() {
    let mut s = playing();
    s.notices = vec!["A notice that is far too long for a screen of eighty columns. ".repeat(3)];
    let text = screen(&app(s, Theme::default()), 80, 24).to_string();
    let notice = text
        .lines()
        .find(|line| line.contains("A notice"))
        .expect("it");
    assert!(notice.trim_matches('"').ends_with('…'), "{notice}");
}

#[test]
fn nothing_rests_on_colour() {
    let mono = Theme {
        tone: Tone::Mono,
        ..Theme::default()
    };
    let plain = screen(&app(playing(), mono), 80, 24);
    let buffer = plain.buffer();
    assert!(
        buffer
            .content
            .iter()
            .all(|cell| cell.fg == Color::Reset && cell.bg == Color::Reset),
        "a colour where none is wanted"
    );
    // The place is marked by brackets and by reverse.
    let marked: String = buffer
        .content
        .iter()
        .filter(|cell| cell.modifier.contains(Modifier::REVERSED))
        .map(ratatui::buffer::Cell::symbol)
        .collect();
    assert_eq!(marked, "[7]");
    for tone in [Tone::Normal, Tone::Dim] {
        let theme = Theme {
            tone,
            ..Theme::default()
        };
        let coloured = screen(&app(playing(), theme), 80, 24);
        assert_eq!(coloured.to_string(), plain.to_string(), "the same words");
    }
}

fn press(app: &mut App, code: KeyCode) -> Outcome {
    update(app, Action::Key(KeyEvent::new(code, KeyModifiers::NONE)))
}

#[test]
fn keys_change_the_state_or_ask_the_session() {
    let mut app = app(playing(), Theme::default());
    assert_eq!(
        press(&mut app, KeyCode::Char('b')),
        Outcome::Ask(Command::LoopHere)
    );
    assert_eq!(
        press(&mut app, KeyCode::Right),
        Outcome::Ask(Command::Widen)
    );
    assert!(!app.quitting);
    assert_eq!(press(&mut app, KeyCode::Esc), Outcome::Ask(Command::Quit));
    assert!(app.quitting);
    assert_eq!(press(&mut app, KeyCode::Char('?')), Outcome::None);
    assert_eq!(app.page, Page::Help);
    // Any key leaves the page, and does nothing else.
    assert_eq!(press(&mut app, KeyCode::Char('q')), Outcome::None);
    assert_eq!(app.page, Page::Session);
    press(&mut app, KeyCode::Char('d'));
    assert_eq!(app.theme.tone, Tone::Dim);
    press(&mut app, KeyCode::Char('D'));
    assert_eq!(app.theme.tone, Tone::Normal);
    press(&mut app, KeyCode::Char('l'));
    assert!(app.theme.large);
    let interrupt = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
    assert_eq!(update(&mut app, Action::Key(interrupt)), Outcome::Interrupt);
    assert_eq!(press(&mut app, KeyCode::Char('#')), Outcome::None);
    update(&mut app, Action::Snapshot(Box::new(ended())));
    assert_eq!(press(&mut app, KeyCode::Char('c')), Outcome::Leave);
}

#[test]
fn golden_plain_lines_are_unchanged() {
    let mut teller = Teller::default();
    let mut text = String::new();
    for snapshot in [
        waiting(),
        counting_in(),
        playing(),
        playing(),
        lost(),
        between(),
        a_join(),
        climbing(),
        climbed(),
        resting(),
        ended(),
    ] {
        for line in teller.lines(&snapshot) {
            text.push_str(&line);
            text.push('\n');
        }
        text.push_str("--\n");
    }
    check_golden("plain-lines.txt", &text);
    // Nothing new, nothing said.
    assert!(teller.lines(&ended()).is_empty());
}

/// What was said of a note is remembered while it is not sure, so that it is taken back in words.
#[test]
fn what_is_taken_back_is_taken_back_in_words() {
    let mut teller = Teller::default();
    let mut s = playing();
    let at = 1;
    let place = |s: &Snapshot| {
        let note = &s.piece.notes[at];
        format!("bar {} beat {}", note.bar, seamline::words::beat(note.beat))
    };
    let wrong = format!("{}: wrong: ", place(&s));
    let first = teller.lines(&s);
    assert!(
        first.iter().any(|line| line.starts_with(&wrong)),
        "{first:?}"
    );
    s.notes[at] = None;
    assert!(teller.lines(&s).is_empty());
    s.notes[at] = Some(right(2.0));
    assert_eq!(
        teller.lines(&s),
        [format!("corrected: {}: right", place(&s))]
    );
    assert!(teller.lines(&s).is_empty());
    // Of the next pass everything is news.
    s.notes_of += 1;
    let again = teller.lines(&s);
    assert!(
        again.contains(&format!("{}: right", place(&s))),
        "{again:?}"
    );
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -1e3..1e3f64,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(f64::NEG_INFINITY),
        1 => Just(1e300),
        1 => Just(-0.0),
    ]
}

fn note() -> impl Strategy<Value = Option<NoteView>> {
    let verdict = prop_oneof![
        Just(Verdict::Right),
        Just(Verdict::Wrong),
        Just(Verdict::Missed)
    ];
    let flags = prop::collection::vec(
        prop_oneof![
            Just(Flag::Early),
            Just(Flag::Late),
            Just(Flag::Gap),
            Just(Flag::Bleed),
            Just(Flag::Dead),
            Just(Flag::Sharp),
            Just(Flag::Clipped)
        ],
        0..4,
    );
    let one = (verdict, flags, number(), number(), any::<bool>()).prop_map(
        |(verdict, flags, a, b, settled)| NoteView {
            verdict,
            heard_midi: Some(a),
            cents: Some(b),
            timing_ms: Some(b),
            gap_ms: Some(a),
            flags,
            settled,
            corrected: settled,
        },
    );
    prop::option::of(one)
}

prop_compose! {
    fn any_snapshot()(
        strings in 0usize..7,
        bars in 0usize..5,
        kept in 0usize..29,
        views in prop::collection::vec(note(), 0..40),
        numbers in prop::collection::vec(number(), 12),
        place in prop::option::of(0usize..40),
        phase in 0u8..6,
        string in prop::option::of(any::<u8>()),
    ) -> Snapshot {
        let mut s = playing();
        let piece = Arc::make_mut(&mut s.piece);
        piece.info.strings.truncate(strings);
        while piece.info.strings.len() < strings {
            piece.info.strings.push("a very long name".to_owned());
        }
        piece.info.bars.truncate(bars);
        piece.notes.truncate(kept);
        for note in &mut piece.notes {
            note.beat = numbers[0];
        }
        piece.info.tempo_bpm = numbers[1];
        piece.tempo_share = numbers[2];
        s.notes = views;
        s.place = place;
        s.at_s = numbers[3];
        s.level.peak_dbfs = numbers[4];
        s.latency = LatencyView::Measured(numbers[5]);
        s.drift_ppm = Some(numbers[6]);
        s.sounding = Some(Sounding { midi: Some(numbers[7]), index: place, onset_s: 0.0 });
        s.rings[0].level_db = numbers[8];
        s.rings[0].midi = numbers[9];
        s.rings[0].string = string;
        s.worst[0].gaps_ms = numbers.iter().map(|n| Some(*n)).collect();
        s.rest = Some(Rest::AtTheLowest(u32::MAX));
        s.ladder = Some(LadderView {
            counts: Counts { clean: u32::MAX, faulty: u32::MAX, broken: u32::MAX, ..Counts::default() },
            target_share: numbers[0],
            probe: place.is_some(),
            decided: Some((Step::Broken, tempo(numbers[1]))),
            ahead: place.map(|_| Ahead::LaterIfClean { now: tempo(numbers[2]), clean: tempo(numbers[3]) }),
        });
        let place = JoinPlace { bar: u32::MAX, beat: numbers[10] };
        s.last_pass.as_mut().expect("a pass").compared = Some(Compared {
            right: vec![usize::MAX; 3],
            tempo_share: Some(numbers[11]),
            join: Some(JoinCompared {
                place,
                kind: None,
                gap_ms: Some(numbers[0]),
                before_ms: numbers.iter().map(|n| Some(*n)).collect(),
            }),
        });
        s.phase = match phase {
            0 => Phase::Waiting,
            1 => Phase::CountIn {
                click: u32::MAX,
                of: u32::MAX,
            },
            2 => Phase::Playing,
            3 => Phase::ListeningBack,
            4 => Phase::DeviceLost { message: "gone".repeat(60) },
            _ => Phase::Ended { message: String::new() },
        };
        s
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn no_value_and_no_size_breaks_a_screen(
        snapshot in any_snapshot(),
        width in 0u16..140,
        height in 0u16..60,
        large: bool,
        help: bool,
    ) {
        let theme = Theme { large, tone: Tone::Mono };
        let mut app = app(snapshot.clone(), theme);
        if help {
            app.page = Page::Help;
        }
        for (w, h) in [(width, height), (width % 4, height % 4)] {
            screen(&app, w, h);
        }
        let mut teller = Teller::default();
        teller.lines(&waiting());
        teller.lines(&snapshot);
    }
}
