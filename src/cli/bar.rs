//! How far many takes have come: a bar on standard error, where that is a terminal.
//!
//! Without a terminal nothing is drawn, so that logs and pipes hold lines alone. The bar has no colour,
//! whatever `NO_COLOR` says. What is said meanwhile stands above it: see [`above`].

use std::sync::Mutex;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// The bar that is drawn now; there is one standard error.
static DRAWN: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// Redrawn at least this often, so that a long take does not look like a standstill.
const REDRAWN: Duration = Duration::from_millis(500);

/// A bar while it is drawn. It goes when this is dropped.
pub(super) struct Bar(ProgressBar);

impl Bar {
    /// Of `takes` takes.
    pub(super) fn of(takes: usize) -> Self {
        let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        let target = match dumb {
            true => ProgressDrawTarget::hidden(),
            // Hidden by itself where standard error is no terminal.
            false => ProgressDrawTarget::stderr(),
        };
        let bar = ProgressBar::with_draw_target(Some(takes as u64), target);
        let style = ProgressStyle::with_template("{pos} of {len} takes [{wide_bar}] {eta} left");
        if let Ok(style) = style {
            bar.set_style(style.progress_chars("=> "));
        }
        if !bar.is_hidden() {
            bar.enable_steady_tick(REDRAWN);
        }
        *drawn() = Some(bar.clone());
        Self(bar)
    }

    /// One take more is done.
    pub(super) fn done(&self) {
        self.0.inc(1);
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        *drawn() = None;
        self.0.finish_and_clear();
    }
}

/// Writes something to the terminal with the bar out of the way.
pub(super) fn above<T>(write: impl FnOnce() -> T) -> T {
    let bar = drawn().clone();
    match bar {
        Some(bar) => bar.suspend(write),
        None => write(),
    }
}

fn drawn() -> std::sync::MutexGuard<'static, Option<ProgressBar>> {
    // What it holds is whole at any time.
    DRAWN.lock().unwrap_or_else(|broken| broken.into_inner())
}
