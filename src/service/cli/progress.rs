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

const WIDTH: u64 = 24;

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
        let marks = usize::try_from(percent * WIDTH / 100).unwrap_or_default();
        let bar = format!("{:<width$}", "=".repeat(marks), width = 24);
        // A line that cannot be shown is no reason to stop.
        let _ = write!(std::io::stderr(), "\r[{bar}] {percent:>3} % {}", self.what);
    }

    pub fn ends(&self) {
        if self.shown {
            let _ = write!(std::io::stderr(), "\r{:78}\r", "");
        }
    }
}
