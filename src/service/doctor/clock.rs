//! Is the computer's clock sane? Rounds, leases and the age of everything go by it.

use super::{Doctor, Finding};
use crate::service::store::Store;
use crate::service::zones;
use chrono::{Datelike, Duration};

/// Two writers' clocks and whole seconds; more is a clock that was set back.
const AHEAD: Duration = Duration::minutes(2);

const MEND: &str = "Set it, and switch on network time: sudo timedatectl set-ntp true";

impl Doctor<'_> {
    pub(super) async fn clock(&self, store: Option<&Store>) -> Vec<Finding> {
        let shown = self.now.format("%Y-%m-%d %H:%M UTC");
        let made: Option<i32> = zones::edition().get(..4).and_then(|year| year.parse().ok());
        if made.is_some_and(|year| self.now.year() < year) {
            return vec![Finding::wrong("clock", format!("it shows {shown}, before this program was made"), MEND)];
        }
        let latest = match store {
            Some(store) => store.latest_instant().await.ok().flatten(),
            None => None,
        };
        match latest {
            Some(latest) if latest > self.now + AHEAD => {
                let latest = latest.format("%Y-%m-%d %H:%M UTC");
                let text = format!("it shows {shown}, and something was written down at {latest}");
                vec![Finding::wrong("clock", text, MEND)]
            }
            _ => vec![Finding::ok("clock", format!("it shows {shown}"))],
        }
    }
}
