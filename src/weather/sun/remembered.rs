//! Nights that were worked out lately. A daemon asks after the same few nights of a garden at every wake, three times a
//! minute, and working one out takes the sun's place seven times over.

use super::SunEvents;
use crate::weather::Site;
use chrono::{DateTime, Utc};
use std::cell::RefCell;

/// Five nights in a row of some fifty gardens, in 20 KiB; of more gardens, some are worked out anew each time.
const PLACES: usize = 256;

/// All that a night follows from: latitude and longitude, and the noon before it.
type Key = (u64, u64, DateTime<Utc>);

thread_local! {
    static NIGHTS: RefCell<Vec<Option<(Key, SunEvents)>>> = const { RefCell::new(Vec::new()) };
}

/// The night as it was worked out before on this thread, else as `work_out` has it.
pub(super) fn night(site: &Site, noon: DateTime<Utc>, work_out: impl FnOnce() -> SunEvents) -> SunEvents {
    // Bits and not numbers: what is not a number is equal to itself here.
    let key = (site.latitude.to_bits(), site.longitude.to_bits(), noon);
    let place = place_of(&key);
    let known = NIGHTS.with_borrow(|nights| nights.get(place).copied().flatten());
    if let Some((_, events)) = known.filter(|(known, _)| *known == key) {
        return events;
    }
    let events = work_out();
    NIGHTS.with_borrow_mut(|nights| {
        nights.resize(PLACES, None);
        if let Some(slot) = nights.get_mut(place) {
            *slot = Some((key, events));
        }
    });
    events
}

/// Nights in a row lie in a row, so that those of one garden seldom drive each other out.
fn place_of((latitude, longitude, noon): &Key) -> usize {
    let mixed = (latitude ^ longitude.rotate_left(32)).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 32;
    let day = (noon.timestamp() / 86_400).unsigned_abs();
    usize::try_from((mixed + day) % PLACES as u64).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::sun::{night_after_noon, sun_events};
    use chrono::Duration;

    fn noon(day: i64, hour: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + Duration::days(20_000 + day) + Duration::hours(hour)
    }

    /// Over more nights than are kept, and the first of them once more: between two noons and two sites nothing is mixed
    /// up.
    #[test]
    fn what_is_remembered_is_what_is_worked_out() {
        for day in (0..40).chain(0..3) {
            for hour in [12, 17, 18] {
                for (latitude, longitude) in
                    [(36.0, -80.0), (-36.0, -80.0), (36.0, 80.0), (69.65, 18.96), (f64::NAN, 0.0)]
                {
                    let (site, noon) = (Site { latitude, longitude, elevation: 0.0 }, noon(day, hour));
                    let expected = sun_events(&site, noon).unwrap_or(SunEvents::NeverRises);
                    for _ in 0..2 {
                        assert_eq!(night_after_noon(&site, noon), expected, "{noon} {site:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_night_is_worked_out_once() {
        let site = Site { latitude: 51.5, longitude: 0.0, elevation: 0.0 };
        let mut times = 0;
        for _ in 0..3 {
            for day in 0..5 {
                night(&site, noon(day, 12), || {
                    times += 1;
                    SunEvents::NeverSets
                });
            }
        }
        assert_eq!(times, 5);
    }
}
