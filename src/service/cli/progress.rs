//! One line on a terminal that says how far a long piece of work has come; silent elsewhere. Our own, for a bar, a
//! share and a name are a dozen lines.

use std::io::{IsTerminal, Write};

/// How far a file has been worked through.
pub(super) struct Progress {
    shown: bool,
    what: String,
    whole: u64,
    last: Option<u64>,
}

const WIDTH: usize = 24;

impl Progress {
    pub fn new(what: String, whole: u64) -> Progress {
        Progress { shown: std::io::stderr().is_terminal(), what, whole: whole.max(1), last: None }
    }

    /// Shows how much is done; the line is drawn anew for each percent.
    pub fn is_at(&mut self, done: u64) {
        let percent = (done.min(self.whole) * 100) / self.whole;
        if !self.shown || self.last == Some(percent) {
            return;
        }
        self.last = Some(percent);
        // A line that cannot be shown is no reason to stop.
        let _ = write!(std::io::stderr(), "\r{}", line(percent, &self.what));
    }

    pub fn ends(&self) {
        if self.shown {
            let _ = write!(std::io::stderr(), "\r{:78}\r", "");
        }
    }
}

/// The steps of a piece of work, of which each has its name.
pub(super) struct Steps {
    begun: u64,
    progress: Progress,
}

impl Steps {
    pub fn of(count: u64) -> Steps {
        Steps { begun: 0, progress: Progress::new(String::new(), count) }
    }

    /// Shows what is begun, and how much is done by then.
    pub fn next(&mut self, what: &str) {
        self.progress.what = what.into();
        self.progress.is_at(self.begun);
        self.begun += 1;
    }

    pub fn ends(&self) {
        self.progress.ends();
    }
}

/// A name that is shorter than the one before it covers that.
fn line(percent: u64, what: &str) -> String {
    let marks = usize::try_from(percent).unwrap_or_default() * WIDTH / 100;
    format!("[{:<WIDTH$}] {percent:>3} % {what:<26}", "=".repeat(marks))
}
