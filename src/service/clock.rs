//! The only place that asks what time it is.

use chrono::{DateTime, Duration, Utc};

/// A clock that runs at the normal pace, at the real time or set to another.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    offset: Duration,
}

impl Clock {
    /// The real time.
    pub fn real() -> Clock {
        Clock { offset: Duration::zero() }
    }

    /// A clock that shows `start` now and goes on from there: a demo of a January night in July.
    pub fn starting_at(start: DateTime<Utc>) -> Clock {
        Clock { offset: start - Utc::now() }
    }

    /// Whether it shows the world's time.
    pub fn is_real(&self) -> bool {
        self.offset.is_zero()
    }

    /// The time it shows.
    pub fn now(&self) -> DateTime<Utc> {
        Utc::now() + self.offset
    }
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
}
