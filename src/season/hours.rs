//! How long a thermometer stood below 0, -2 and -4 °C.

use crate::journal::event::night_of;
use crate::score::Threshold;
use crate::units::Celsius;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::collections::BTreeMap;

/// Hours of one night at one thermometer.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Hours {
    /// Below each of [`Threshold::ALL`], h.
    pub below: [f64; 3],
    /// Between 0 and 7.2 °C, h: chill hours after Weinberger (1950), see `CHILL_HOURS_BELOW`.
    pub chill: f64,
    /// Of which anything is known, h; from noon to noon there are 24.
    pub known: f64,
}

/// Hours from 0 °C up to this one are chill hours. Bennett, J. P. (1949), Temperature and bud rest period, California Agriculture 3
/// (11), 9 and 12; Weinberger, J. H. (1950), Chilling requirements of peach varieties, Proceedings of the American Society for
/// Horticultural Science 56, 122-128; both by way of the manuals of two packages for R that reckon them.
pub const CHILL_HOURS_BELOW: Celsius = Celsius(7.2);

/// Between two rows further apart than this nothing is known (assumed: in an hour air rarely turns twice).
const HOLE: Duration = Duration::hours(1);

/// The hours of each night, from noon to noon by the mean sun, of one thermometer's rows in order of time.
///
/// Between two rows the temperature is taken to go straight from one to the other, as long as they lie at most an hour
/// apart. A stretch counts for the night of its first row.
///
/// **Method error.** Of a course that is smooth, at most that of the straight line between two rows; of a hole none, for
/// it counts as not known. **Refuses.** Nothing; a row that is no number makes the stretches beside it unknown.
/// **Check.** `a_straight_fall_is_below_for_the_part_that_geometry_says`.
pub fn hours_of_nights(rows: &[(DateTime<Utc>, Celsius)], longitude: f64) -> BTreeMap<NightOf, Hours> {
    let mut nights: BTreeMap<NightOf, Hours> = BTreeMap::new();
    for pair in rows.windows(2) {
        let [(from, a), (to, b)] = pair else { continue };
        let stretch = *to - *from;
        if stretch <= Duration::zero() || stretch > HOLE || !(a.0.is_finite() && b.0.is_finite()) {
            continue;
        }
        let hours = stretch.num_seconds() as f64 / 3600.0;
        let night = nights.entry(night_of(*from, longitude)).or_default();
        night.known += hours;
        let share = |below: Celsius| share_below(a.0, b.0, below.0);
        night.chill += hours * (share(CHILL_HOURS_BELOW) - share(Threshold::Zero.celsius()));
        for (below, threshold) in night.below.iter_mut().zip(Threshold::ALL) {
            *below += hours * share_below(a.0, b.0, threshold.celsius().0);
        }
    }
    nights
}

/// The part of a straight way from `a` to `b` that lies below a threshold, 0 to 1.
fn share_below(a: f64, b: f64, threshold: f64) -> f64 {
    let (low, high) = (a.min(b), a.max(b));
    if high < threshold {
        1.0
    } else if low >= threshold {
        0.0
    } else {
        (threshold - low) / (high - low)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeZone;
    use proptest::prelude::*;

    fn at(minutes: i64) -> DateTime<Utc> {
        Utc.with_ymd_and_hms(2027, 1, 15, 12, 0, 0).single().expect("an instant") + Duration::minutes(minutes)
    }

    /// By hand: from 2 to -6 °C in four hours is 2 K an hour. Below 0 three hours, below -2 two, below -4 one.
    #[test]
    fn a_straight_fall_is_below_for_the_part_that_geometry_says() {
        let rows: Vec<_> = (0..=24).map(|step| (at(step * 10), Celsius(2.0 - step as f64 / 3.0))).collect();
        let nights = hours_of_nights(&rows, 0.0);
        let (_, hours) = nights.iter().next().expect("a night");
        assert_eq!(nights.len(), 1);
        for (found, expected) in hours.below.into_iter().chain([hours.known]).zip([3.0, 2.0, 1.0, 4.0]) {
            assert!((found - expected).abs() < 1e-9, "{hours:?}");
        }
    }

    /// By hand: from 9.2 to -2.8 °C at 2 K an hour it lies between 7.2 and 0 °C for 3.6 hours.
    #[test]
    fn chill_hours_lie_between_freezing_and_seven_degrees() {
        let rows: Vec<_> = (0..=36).map(|step| (at(step * 10), Celsius(9.2 - step as f64 / 3.0))).collect();
        let hours: f64 = hours_of_nights(&rows, 0.0).values().map(|hours| hours.chill).sum();
        assert!((hours - 3.6).abs() < 1e-9, "{hours}");
    }

    #[test]
    fn a_hole_is_not_known_and_a_night_ends_at_noon() {
        let rows =
            [(at(-30), Celsius(-1.0)), (at(0), Celsius(-1.0)), (at(61), Celsius(-1.0)), (at(121), Celsius(-5.0))];
        let nights: Vec<(String, Hours)> =
            hours_of_nights(&rows, 0.0).into_iter().map(|(of, hours)| (of.to_string(), hours)).collect();
        let expected = [
            ("2027-01-14".to_string(), Hours { below: [0.5, 0.0, 0.0], chill: 0.0, known: 0.5 }),
            ("2027-01-15".to_string(), Hours { below: [1.0, 0.75, 0.25], chill: 0.0, known: 1.0 }),
        ];
        assert_eq!(nights, expected);
        let spoilt = [(at(0), Celsius(f64::NAN)), (at(10), Celsius(-1.0)), (at(20), Celsius(-1.0))];
        assert_eq!(hours_of_nights(&spoilt, 0.0).values().map(|hours| hours.known).sum::<f64>(), 1.0 / 6.0);
        assert!(hours_of_nights(&spoilt[..1], 0.0).is_empty());
    }

    proptest! {
        #[test]
        fn colder_is_never_below_for_shorter(given in proptest::collection::vec(-12.0f64..8.0, 2..60), by in 0.0f64..5.0) {
            let rows = |less: f64| -> Vec<_> {
                given.iter().enumerate().map(|(n, value)| (at(n as i64 * 10), Celsius(value - less))).collect()
            };
            let total = |less: f64| {
                let nights = hours_of_nights(&rows(less), 0.0);
                nights.values().fold([0.0; 4], |sum, hours| {
                    [sum[0] + hours.below[0], sum[1] + hours.below[1], sum[2] + hours.below[2], sum[3] + hours.known]
                })
            };
            let (warm, cold) = (total(0.0), total(by));
            prop_assert!((0..3).all(|n| cold[n] >= warm[n] - 1e-9), "{warm:?} {cold:?}");
            prop_assert!(warm[3] >= warm[0] - 1e-9 && warm[0] >= warm[1] - 1e-9 && warm[1] >= warm[2] - 1e-9);
        }
    }
}
