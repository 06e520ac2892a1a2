//! The terminal is given back when a thread breaks down, before its message is printed. Needs a
//! terminal: `script` (of util-linux) lends one.

use std::process::{Command, Stdio};

use seamline::tui::terminal::{Screen, is_broken};

/// Set in the process that breaks down on purpose.
const CANARY: &str = "SEAMLINE_TEST_BREAKDOWN";

/// Enters and leaves the other screen, and shows the cursor (ECMA-48, and xterm's private modes
/// 1049 and 25).
const ENTER: &str = "\x1b[?1049h";
const LEAVE: &str = "\x1b[?1049l";
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
