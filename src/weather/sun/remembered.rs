//! Nights that were worked out lately. A daemon asks after the same few nights of a garden at every wake, three times a
//! minute, and working one out takes the sun's place a hundred times over.

use super::SunEvents;
use crate::weather::Site;
use crate::zone::{NightOf, Zone};
use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;
use std::cell::RefCell;

/// Five nights in a row of some fifty gardens, in 20 KiB; of more gardens, some are worked out anew each time.
const PLACES: usize = 256;

/// All that a night follows from: the rules of a zone are those bundled under its name.
type Key = (u64, u64, Tz, NaiveDate);

thread_local! {
    static NIGHTS: RefCell<Vec<Option<(Key, SunEvents)>>> = const { RefCell::new(Vec::new()) };
}

/// The night as it was worked out before on this thread, else as `work_out` has it.
pub(super) fn night(site: &Site, zone: &Zone, night: NightOf, work_out: impl FnOnce() -> SunEvents) -> SunEvents {
    // Bits and not numbers: what is not a number is equal to itself here.
    let key = (site.latitude.to_bits(), site.longitude.to_bits(), zone.tz(), night.0);
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

/// Nights in a row lie in a row, so that those of one garden never drive each other out.
fn place_of((latitude, longitude, _, night): &Key) -> usize {
    let mixed = (latitude ^ longitude.rotate_left(32)).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 32;
    let day = u64::from(night.num_days_from_ce().unsigned_abs());
    usize::try_from((mixed + day) % PLACES as u64).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::sun::{NOON, night_after_noon, night_between};
    use chrono::Duration;

    /// Over more nights and places than are kept, each asked for again while others have taken its place: between two
    /// zones, two sites and two dates nothing is mixed up.
    #[test]
    fn what_is_remembered_is_what_is_worked_out() {
        let first: NaiveDate = "2026-10-25".parse().unwrap_or_default();
        let zones = [Tz::America__New_York, Tz::Pacific__Kiritimati, Tz::UTC].map(Zone::bundled);
        for day in (0..40).chain(0..3) {
            let of = NightOf(first + Duration::days(day));
            for zone in zones.iter().flatten() {
                for (latitude, longitude) in
                    [(36.0, -80.0), (-36.0, -80.0), (36.0, 80.0), (69.65, 18.96), (f64::NAN, 0.0)]
                {
                    let site = Site { latitude, longitude, elevation: 0.0 };
                    let expected = night_after_noon(&site, zone.instant(of.0.and_time(NOON)));
                    for _ in 0..2 {
                        assert_eq!(night_between(&site, zone, of), expected, "{of} {} {site:?}", zone.name());
                    }
                }
            }
        }
    }

    #[test]
    fn a_night_is_worked_out_once() {
        let Some(zone) = Zone::bundled(Tz::UTC) else { panic!("no UTC") };
        let site = Site { latitude: 51.5, longitude: 0.0, elevation: 0.0 };
        let mut times = 0;
        for _ in 0..3 {
            for day in 1..=5 {
                let of = NightOf(NaiveDate::default() + Duration::days(day));
                night(&site, &zone, of, || {
                    times += 1;
                    SunEvents::NeverSets
                });
            }
        }
        assert_eq!(times, 5);
    }
}
