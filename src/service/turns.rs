//! When each loop of the daemon last came round, so that one that is stuck is noticed.
//!
//! The time is tokio's, which does not count a sleep of the machine: a computer that wakes up has no loop stuck.

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;
use tokio::time::Instant;

/// The loops that are expected to turn, and their last turns.
#[derive(Debug, Default)]
pub struct Turns {
    loops: Mutex<BTreeMap<String, Turning>>,
}

#[derive(Debug)]
struct Turning {
    longest: Duration,
    last: Instant,
}

impl Turns {
    /// From now on, a loop of this name turns at least this often.
    pub fn expect(&self, name: &str, longest: Duration) {
        self.with(|loops| loops.insert(name.to_string(), Turning { longest, last: Instant::now() }));
    }

    /// The loop has come round. One that is not expected is ignored.
    pub fn turned(&self, name: &str) {
        self.with(|loops| {
            if let Some(turning) = loops.get_mut(name) {
                turning.last = Instant::now();
            }
        });
    }

    /// The loops that have not come round in time.
    pub fn stuck(&self) -> Vec<String> {
        self.stuck_at(Instant::now())
    }

    fn stuck_at(&self, now: Instant) -> Vec<String> {
        let is_stuck = |turning: &Turning| now.duration_since(turning.last) > turning.longest;
        self.with(|loops| loops.iter().filter(|(_, turning)| is_stuck(turning)).map(|(name, _)| name.clone()).collect())
    }

    fn with<T>(&self, work: impl FnOnce(&mut BTreeMap<String, Turning>) -> T) -> T {
        // A panic elsewhere leaves the map whole: each change of it is one call.
        work(&mut self.loops.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loop_that_does_not_come_round_in_its_time_is_stuck_until_it_does() {
        let turns = Turns::default();
        turns.expect("post", Duration::from_secs(60));
        turns.expect("north", Duration::from_secs(600));
        turns.turned("south");
        let after = |seconds| Instant::now() + Duration::from_secs(seconds);
        assert!(turns.stuck().is_empty() && turns.stuck_at(after(50)).is_empty());
        assert_eq!(turns.stuck_at(after(61)), ["post"]);
        assert_eq!(turns.stuck_at(after(601)), ["north", "post"]);
        // As if both had last turned two minutes ago; then the post turns.
        turns.with(|loops| loops.values_mut().for_each(|turning| turning.last -= Duration::from_secs(120)));
        assert_eq!(turns.stuck(), ["post"]);
        turns.turned("post");
        assert!(turns.stuck().is_empty());
    }
}
