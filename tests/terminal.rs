//! The terminal is given back when a thread breaks down, before its message is printed. Needs a
//! terminal: `script` (of util-linux) lends one.

use std::io::Write;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use seamline::tui::terminal::{Screen, is_broken};

/// Set in the process that breaks down on purpose.
const CANARY: &str = "SEAMLINE_TEST_BREAKDOWN";

/// Enters the other screen (ECMA-48, xterm's private mode 1049).
const ENTER: &str = "\x1b[?1049h";
/// Leaves it.
const LEAVE: &str = "\x1b[?1049l";
/// Shows the cursor (ECMA-48, xterm's private mode 25).
const SHOW: &str = "\x1b[?25h";

#[test]
fn a_breakdown_gives_the_terminal_back() {
    if std::env::var_os(CANARY).is_some() {
        let screen = Screen::take().expect("a terminal");
        eprintln!("hushed words of a library");
        let broke = std::thread::spawn(|| panic!("broken on purpose")).join();
        assert!(broke.is_err() && is_broken());
        drop(screen);
        eprintln!("said afterwards");
        return;
    }
    let this = std::env::current_exe().expect("this test");
    let command = format!(
        "{} --exact a_breakdown_gives_the_terminal_back --nocapture",
        this.display()
    );
    let output = Command::new("script")
        .args(["-q", "-e", "-c", &command, "/dev/null"])
        .env(CANARY, "1")
        .env("TERM", "xterm")
        .stdin(Stdio::null())
        .output()
        .expect("`script` of util-linux lends a terminal");
    let shown = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{shown}");
    let at = |text: &str| {
        shown
            .find(text)
            .unwrap_or_else(|| panic!("no {text:?} in {shown:?}"))
    };
    assert!(at(ENTER) < at(LEAVE));
    assert!(at(LEAVE) < at("broken on purpose"), "{shown:?}");
    assert!(at(SHOW) < at("broken on purpose"), "{shown:?}");
    assert!(at("broken on purpose") < at("said afterwards"));
    assert!(!shown.contains("hushed words"), "{shown:?}");
    // Once is enough.
    assert_eq!(shown.matches(LEAVE).count(), 1);
}

/// Set in the process whose terminal is closed: the file in which it says how it ended.
const CLOSED: &str = "SEAMLINE_TEST_CLOSED_TERMINAL";

/// The screen is left without a breakdown when its terminal is gone, standard error with it.
#[test]
fn a_closed_terminal_is_left_without_a_breakdown() {
    if let Some(told) = std::env::var_os(CLOSED) {
        // As the program does: a closed terminal ends nothing by force.
        let asked = Arc::new(AtomicBool::new(false));
        signal_hook::flag::register(signal_hook::consts::SIGHUP, Arc::clone(&asked))
            .expect("a signal");
        let mut screen = Screen::take().expect("a terminal");
        screen.draw(|_| ()).expect("the terminal is there");
        std::fs::write(&told, "ready").expect("written");
        let until = Instant::now() + Duration::from_secs(30);
        while screen
            .draw(|frame| frame.render_widget("x", frame.area()))
            .is_ok()
            && Instant::now() < until
        {
            std::thread::sleep(Duration::from_millis(10));
        }
        drop(screen);
        let gone = writeln!(std::io::stderr(), "nobody reads this").is_err();
        let asked = asked.load(Ordering::Relaxed);
        std::fs::write(&told, format!("left; closed {gone}; asked {asked}")).expect("written");
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let told = folder.path().join("told");
    let this = std::env::current_exe().expect("this test");
    let command = format!(
        "exec {} --exact a_closed_terminal_is_left_without_a_breakdown --nocapture",
        this.display()
    );
    let mut lent = Command::new("script")
        .args(["-q", "-e", "-c", &command, "/dev/null"])
        .env(CLOSED, &told)
        .env("TERM", "xterm")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .spawn()
        .expect("`script` of util-linux lends a terminal");
    let says = |wanted: &str| {
        let until = Instant::now() + Duration::from_secs(60);
        let mut said = String::new();
        while !said.starts_with(wanted) && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(20));
            said = std::fs::read_to_string(&told).unwrap_or_default();
        }
        said
    };
    assert_eq!(says("ready"), "ready");
    lent.kill().expect("the terminal is closed");
    lent.wait().expect("it ends");
    assert_eq!(says("left"), "left; closed true; asked true");
}
