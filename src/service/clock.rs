//! The only place that asks what time it is.

use chrono::{DateTime, Duration, Utc};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use tokio::sync::Notify;

/// A clock that goes on by this much more than it should has leapt; less is how time servers mend one.
const A_LEAP: Duration = Duration::minutes(5);

/// A clock: at the real time, set to another and running on, or moved by hand.
#[derive(Clone, Debug)]
pub struct Clock(Kind);

#[derive(Clone, Debug)]
enum Kind {
    /// Runs at the normal pace, this far from the real time.
    Running(Duration),
    /// Shows these seconds since 1970 UTC until it is set again.
    ByHand(Arc<Hand>),
}

#[derive(Debug)]
struct Hand {
    seconds: AtomicI64,
    moved: Notify,
}

impl Clock {
    /// The real time.
    pub fn real() -> Clock {
        Clock(Kind::Running(Duration::zero()))
    }

    /// A clock that shows `start` now and goes on from there: a demo of a January night in July.
    pub fn starting_at(start: DateTime<Utc>) -> Clock {
        Clock(Kind::Running(start - Utc::now()))
    }

    /// A clock that stands still until it is [`Clock::set`]: a winter in a minute. Its copies show the same time.
    pub fn by_hand(start: DateTime<Utc>) -> Clock {
        let seconds = AtomicI64::new(start.timestamp());
        Clock(Kind::ByHand(Arc::new(Hand { seconds, moved: Notify::new() })))
    }

    /// Sets a clock that is moved by hand, to the second. One that runs by itself stays as it is.
    pub fn set(&self, now: DateTime<Utc>) {
        if let Kind::ByHand(hand) = &self.0 {
            hand.seconds.store(now.timestamp(), Ordering::SeqCst);
            hand.moved.notify_waiters();
        }
    }

    /// Waits so long; by a clock that is moved by hand, until it is moved, as somebody who is woken.
    pub async fn sleep(&self, time: std::time::Duration) {
        match &self.0 {
            Kind::Running(_) => tokio::time::sleep(time).await,
            Kind::ByHand(hand) => hand.moved.notified().await,
        }
    }

    /// Whether it went on by more than it should have, `passed`, since it showed `then`: somebody set it, or the machine
    /// slept. By a clock that is moved by hand, never.
    pub fn leapt(&self, then: DateTime<Utc>, passed: std::time::Duration) -> bool {
        let passed = Duration::from_std(passed).unwrap_or(Duration::MAX);
        matches!(self.0, Kind::Running(_)) && (self.now() - then).checked_sub(&passed).is_some_and(|leap| leap > A_LEAP)
    }

    /// Whether it shows the world's time.
    pub fn is_real(&self) -> bool {
        matches!(&self.0, Kind::Running(offset) if offset.is_zero())
    }

    /// The time it shows.
    pub fn now(&self) -> DateTime<Utc> {
        match &self.0 {
            Kind::Running(offset) => Utc::now() + *offset + moved(),
            Kind::ByHand(hand) => DateTime::from_timestamp(hand.seconds.load(Ordering::SeqCst), 0).unwrap_or_default(),
        }
    }
}

/// The environment variable that names a file with seconds.
#[cfg(debug_assertions)]
const MOVED_BY: &str = "COUNTERPANE_CLOCK_MOVED_BY";

/// How far a test has moved the clock of a program that runs, as somebody, a time server or a sleep of the machine does.
/// In a release build nobody has, whatever the environment says.
#[cfg(debug_assertions)]
fn moved() -> Duration {
    let file = std::env::var_os(MOVED_BY);
    let seconds = file.and_then(|file| std::fs::read_to_string(file).ok()?.trim().parse().ok());
    Duration::seconds(seconds.unwrap_or_default())
}

#[cfg(not(debug_assertions))]
fn moved() -> Duration {
    Duration::zero()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shifted_clock_starts_where_it_is_set_and_goes_on() {
        let start = DateTime::UNIX_EPOCH + Duration::days(20_000);
        let clock = Clock::starting_at(start);
        let first = clock.now();
        let second = clock.now();
        assert!(first >= start && second >= first);
        assert!(second - start < Duration::seconds(5));
    }

    #[test]
    fn a_clock_leaps_where_it_goes_on_by_more_than_time_does() {
        let hour = std::time::Duration::from_secs(3600);
        let clock = Clock::real();
        let ago = |minutes| clock.now() - Duration::minutes(minutes);
        assert!(clock.leapt(ago(66), hour) && !clock.leapt(ago(64), hour));
        assert!(!clock.leapt(ago(-90), hour), "one that was set back is no leap");
        assert!(!Clock::by_hand(ago(0)).leapt(ago(600), hour));
    }

    #[test]
    fn a_clock_moved_by_hand_stands_still_between() {
        let start = DateTime::UNIX_EPOCH + Duration::days(20_000);
        let clock = Clock::by_hand(start);
        let copy = clock.clone();
        assert_eq!((clock.now(), clock.is_real()), (start, false));
        clock.set(start - Duration::days(1));
        assert_eq!(copy.now(), start - Duration::days(1));
    }
}
