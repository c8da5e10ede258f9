//! What a terminal shows while somebody waits: nothing before a second has passed, and nothing where standard error is no
//! terminal.

use std::io::{self, IsTerminal};
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Work that is done sooner needs no line.
const SOON: Duration = Duration::from_secs(1);

/// What is shown now: one thing at a time, else each would draw over the other.
static SHOWN: Mutex<Shown> = Mutex::new(Shown {
    bars: 0,
    line: None,
});

struct Shown {
    bars: usize,
    /// That work goes on; it gives way to bars.
    line: Option<ProgressBar>,
}

fn shown() -> MutexGuard<'static, Shown> {
    SHOWN.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shown {
    fn clear_line(&mut self) {
        if let Some(line) = self.line.take() {
            line.finish_and_clear();
        }
    }
}

/// A bar for work that is counted, with what is done and the time left.
pub(super) struct Progress {
    bar: Option<ProgressBar>,
    started: Instant,
}

impl Progress {
    pub(super) fn new(what: &'static str) -> Self {
        let bar = io::stderr().is_terminal().then(|| {
            let bar = hidden("{msg} [{bar:40}] {pos}/{len}, {eta} left");
            bar.set_message(what);
            bar
        });
        Self {
            bar,
            started: Instant::now(),
        }
    }

    pub(super) fn update(&self, done: usize, total: usize) {
        let Some(bar) = &self.bar else {
            return;
        };
        if bar.is_hidden() && self.started.elapsed() > SOON {
            let mut shown = shown();
            shown.clear_line();
            shown.bars += 1;
            bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        bar.set_length(total as u64);
        bar.set_position(done as u64);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            let drawn = !bar.is_hidden();
            bar.finish_and_clear();
            shown().bars -= usize::from(drawn);
        }
    }
}

/// A line for work that is not counted, until something is printed.
pub(super) struct Waiting {
    /// Dropped to end the line.
    stop: Option<Sender<()>>,
    line: Option<JoinHandle<()>>,
}

impl Waiting {
    /// `None` where nobody would see it.
    pub(super) fn begin() -> Option<Self> {
        if !io::stderr().is_terminal() {
            return None;
        }
        let (stop, stopped) = mpsc::channel();
        let wait = move |time| stopped.recv_timeout(time) == Err(RecvTimeoutError::Timeout);
        let begun = Instant::now();
        let line = thread::spawn(move || {
            if wait(SOON) {
                show(begun, wait);
            }
        });
        Some(Self {
            stop: Some(stop),
            line: Some(line),
        })
    }
}

impl Drop for Waiting {
    fn drop(&mut self) {
        self.stop.take();
        if let Some(line) = self.line.take() {
            // It ends at once, and holds nothing that could be lost.
            let _ = line.join();
        }
    }
}

fn show(begun: Instant, wait: impl Fn(Duration) -> bool) {
    loop {
        let mut shown = shown();
        if shown.bars == 0 {
            let line = shown.line.get_or_insert_with(|| {
                let line = hidden("working, {elapsed}").with_elapsed(begun.elapsed());
                line.set_draw_target(ProgressDrawTarget::stderr());
                line
            });
            line.tick();
        }
        drop(shown);
        if !wait(SOON / 4) {
            break;
        }
    }
    shown().clear_line();
}

fn hidden(template: &str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style.progress_chars("=> "));
    }
    bar
}
