//! A bar for work that takes its time: on a terminal, after a second; elsewhere nothing.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::sync::mpsc::{self, Sender};
use std::time::Duration;

/// Work that is done sooner shows nothing.
const PATIENCE: Duration = Duration::from_secs(1);
const TICK: Duration = Duration::from_millis(120);

/// The steps of a command. What is shown goes with it.
pub struct Progress {
    bar: ProgressBar,
    /// Tells the clock that the work is done.
    done: Option<Sender<()>>,
}

impl Progress {
    /// So many steps, each begun by `step`.
    pub fn new(steps: u64) -> Progress {
        let bar = hidden("{bar:24} {pos} of {len}  {msg} {elapsed}", Some(steps));
        let done = show_later(&bar);
        Progress { bar, done: Some(done) }
    }

    /// Begins a step.
    pub fn step(&self, what: &str) {
        if !self.bar.message().is_empty() {
            self.bar.inc(1);
        }
        self.bar.set_message(what.to_string());
    }

    /// Lets something be said while the bar is there.
    pub fn aside(&self, say: impl FnOnce()) {
        self.bar.suspend(say);
    }

    /// Takes the bar away, before anything else is said.
    pub fn finish(&mut self) {
        self.done = None;
        self.bar.finish_and_clear();
    }
}

/// A bar that is not shown yet.
fn hidden(template: &str, all: Option<u64>) -> ProgressBar {
    let style = ProgressStyle::with_template(template)
        .map_or_else(|_| ProgressStyle::default_bar(), |style| style.progress_chars("=>-"));
    ProgressBar::with_draw_target(all, ProgressDrawTarget::hidden()).with_style(style)
}

/// Shows a bar after a while, where a person looks on. It is not shown any more once what is given is dropped.
fn show_later(bar: &ProgressBar) -> Sender<()> {
    let (done, clock) = mpsc::channel::<()>();
    let shown = bar.clone();
    let wait = move || {
        if clock.recv_timeout(PATIENCE) == Err(mpsc::RecvTimeoutError::Timeout) && !shown.is_finished() {
            shown.set_draw_target(ProgressDrawTarget::stderr());
            shown.enable_steady_tick(TICK);
        }
    };
    if std::io::stderr().is_terminal() {
        // Without a thread it is not shown.
        let _ = std::thread::Builder::new().spawn(wait);
    }
    done
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.finish();
    }
}

/// How many things are done, of how many, and how long the rest will take.
pub struct Count {
    bar: ProgressBar,
    done: Option<Sender<()>>,
}

impl Count {
    /// `all` is `None` where nobody knows yet.
    pub fn new(what: &str, all: Option<u64>) -> Count {
        let template = match all {
            Some(_) => "{bar:24} {human_pos} of {human_len} {msg}, {eta} left",
            None => "{spinner} {human_pos} {msg}",
        };
        let bar = hidden(template, all);
        bar.set_message(what.to_string());
        let done = show_later(&bar);
        Count { bar, done: Some(done) }
    }

    /// One more is done.
    pub fn step(&self) {
        self.bar.inc(1);
    }

    /// Lets something be said while the bar is there.
    pub fn aside<R>(&self, say: impl FnOnce() -> R) -> R {
        self.bar.suspend(say)
    }

    /// Takes the bar away, before anything else is said.
    pub fn finish(self) {}
}

impl Drop for Count {
    fn drop(&mut self) {
        self.done = None;
        self.bar.finish_and_clear();
    }
}
