//! How hardened a planting is, from the nights and days it has behind it.

use crate::units::Celsius;

/// One night and the day after it, at the bed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayBehind {
    /// The night's lowest air; `None` where it is not known, or the planting did not stand outdoors yet.
    pub low: Option<Celsius>,
    /// Mean air of the 24 hours from that night's sunset to the next.
    pub mean: Option<Celsius>,
}

/// A state of hardening and what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Hardening {
    /// 0 (not at all) to 1 (fully).
    pub degree: f64,
    /// Mean of the last seven lows, unknown ones as mild.
    pub mean_low: Celsius,
    /// The last seven lows, the latest last.
    pub lows: Vec<Option<Celsius>>,
    /// The warmest mean of the last two days, where both are known.
    pub warmest_day: Option<Celsius>,
}

/// Nights whose lows are averaged.
pub const NIGHTS: usize = 7;
/// Days of record that leave nothing to be wished for: the gain from nothing to all takes three steps more.
pub const RECORD: usize = NIGHTS + 3;
/// Mean of lows and degree reached: nothing from 8 °C up, little gain down to 2 °C, large gain below it.
const REACHED: [(f64, f64); 3] = [(8.0, 0.0), (2.0, 0.3), (-2.0, 1.0)];
/// Gained in one day at most.
const A_DAY: f64 = 0.35;
/// A day of this mean takes nothing of the hardening, and one of this mean takes all of it, °C.
const LOSS_BEGINS: f64 = 10.0;
const LOSS_IS_WHOLE: f64 = 18.5;

/// A low that is not known counts as this mild.
pub const MILD: Celsius = Celsius(REACHED[0].0);

/// The state of hardening after a record of nights and days, the oldest first.
///
/// ```text
/// target  = 0 at m7 >= 8 °C, 0.3 at 2 °C, 1 at -2 °C and below, straight lines between
/// kept    = 1 at a day's mean of 10 °C and below, 0 at 18.5 °C and above, a straight line between
/// h(day)  = min(h(day before) + 0.35, target) * kept
/// ```
///
/// | symbol | meaning                                             | unit | accepted range     |
/// |--------|-----------------------------------------------------|------|--------------------|
/// | `m7`   | mean of the last seven nightly lows at the bed      | °C   | any                |
/// | `h`    | degree of hardening, none before the record         | -    | 0 to 1             |
///
/// **Method error.** Not known; the three lines are assumed: losses are as published, gains deliberately slower
/// than published (spinach gained 2 to 4 K within a day or two at 5/2 °C; here a third of it), the tender side. Day length, age and
/// bolting are not in it, nor that a cover kept a plant warmer on some of the nights.
/// **Refuses.** Nothing. A night that is not known counts as mild (8 °C) and a day that is not known as warm, so that
/// without a record the degree is 0: unhardened, the tender side. NaN counts as not known.
/// **Source.** Tamura 2002: tolerance of spinach and komatsuna follows the mean of the previous seven nightly minima,
/// little gain from 8 down to 2 °C, large gain below. Fennell and Li 1985: spinach at 5/2 °C gains most within three
/// days, and at 20/17 °C loses 3 to 5 K, about all, within one. Sasaki 1996: cabbage seedlings lose it after one warm
/// day. Abstracts only were read. The degrees, and that nothing is lost up to 10 °C, are assumed.
/// **Check.** The losses, and that gains are no larger than theirs, in `the_published_gains_and_losses_are_met`.
pub fn hardening(days: &[DayBehind]) -> Hardening {
    let known = |value: Option<Celsius>| value.filter(|celsius| celsius.0.is_finite());
    let mut degree = 0.0_f64;
    let mut lows: Vec<Option<Celsius>> = vec![None; NIGHTS];
    let mut mean_low = MILD;
    for day in days {
        lows.remove(0);
        lows.push(known(day.low));
        mean_low = Celsius(lows.iter().map(|low| low.unwrap_or(MILD).0).sum::<f64>() / NIGHTS as f64);
        let kept = known(day.mean).map_or(0.0, kept);
        degree = (degree + A_DAY).min(target(mean_low)) * kept;
    }
    let last_two = days.iter().rev().take(2).map(|day| known(day.mean));
    let warmest_day = last_two.collect::<Option<Vec<_>>>().and_then(|means| means.into_iter().reduce(Celsius::max));
    Hardening { degree, mean_low, lows, warmest_day }
}

fn target(mean_low: Celsius) -> f64 {
    let [(mild, none), (cool, some), (cold, all)] = REACHED;
    let line = |(warm, less): (f64, f64), (cold, more): (f64, f64)| {
        less + (more - less) * ((warm - mean_low.0) / (warm - cold)).clamp(0.0, 1.0)
    };
    if mean_low.0 >= cool { line((mild, none), (cool, some)) } else { line((cool, some), (cold, all)) }
}

fn kept(mean: Celsius) -> f64 {
    ((LOSS_IS_WHOLE - mean.0) / (LOSS_IS_WHOLE - LOSS_BEGINS)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn days(count: usize, low: f64, mean: f64) -> Vec<DayBehind> {
        vec![DayBehind { low: Some(Celsius(low)), mean: Some(Celsius(mean)) }; count]
    }

    fn degree(parts: &[Vec<DayBehind>]) -> f64 {
        hardening(&parts.concat()).degree
    }

    #[test]
    fn the_published_gains_and_losses_are_met() {
        // Tamura 2002: little gain from 8 down to 2 C, large gain below.
        let after = |low: f64| degree(&[days(RECORD, low, 5.0)]);
        assert_eq!(after(8.0), 0.0);
        assert!((after(2.0) - 0.3).abs() < 1e-12 && (after(-2.0) - 1.0).abs() < 1e-12);
        assert!(after(-2.0) - after(2.0) > 2.0 * (after(2.0) - after(8.0)));
        // Fennell and Li 1985: back at 20/17 C, 3 to 5 K are lost within one day; spinach has a gain of 5 K.
        let lost = 5.0 * (after(-2.0) - degree(&[days(RECORD, -2.0, 3.0), days(1, 17.0, 18.5)]));
        assert!((3.0..=5.0).contains(&lost), "{lost}");
        // Sasaki 1996: cabbage seedlings at 5 C are tolerant, and after one warm day they are not.
        assert_eq!(degree(&[days(RECORD, 1.0, 5.0), days(1, 17.0, 20.0)]), 0.0);
        // Rife 2003: restored within a week of cold.
        assert!(degree(&[days(RECORD, -2.0, 3.0), days(2, 12.0, 18.0), days(7, -2.0, 3.0)]) > 0.9);
    }

    #[test]
    fn it_is_gained_slowly() {
        let mut mild_then_cold = days(RECORD, 9.0, 12.0);
        let mut last = 0.0;
        for _ in 0..NIGHTS {
            mild_then_cold.push(days(1, -4.0, 2.0)[0]);
            let now = hardening(&mild_then_cold).degree;
            assert!(now >= last && now - last <= A_DAY + 1e-12, "{last} to {now}");
            last = now;
        }
        assert_eq!(last, 1.0);
    }

    #[test]
    fn what_is_not_known_never_hardens() {
        assert_eq!(hardening(&[]).degree, 0.0);
        let cold = days(RECORD, -4.0, 2.0);
        let full = hardening(&cold).degree;
        for unknown in [None, Some(Celsius(f64::NAN))] {
            for at in 0..RECORD {
                for part in 0..2 {
                    let mut doubtful = cold.clone();
                    if part == 0 {
                        doubtful[at].low = unknown
                    } else {
                        doubtful[at].mean = unknown
                    }
                    let found = hardening(&doubtful).degree;
                    assert!(found <= full && found.is_finite(), "{at} {part}: {found}");
                }
            }
            let last = RECORD - 1;
            let mut today_unknown = cold.clone();
            today_unknown[last].mean = unknown;
            assert_eq!(hardening(&today_unknown).degree, 0.0);
        }
        // A first week that is not over: three cold nights are not seven.
        assert!(degree(&[days(3, -2.0, 3.0)]) < 0.5);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]

        /// A warmer night or day at any time never leaves a plant harder.
        #[test]
        fn warmth_never_hardens(
            record in proptest::collection::vec((-12.0f64..15.0, -8.0f64..25.0), 1..14),
            at in 0usize..14,
            warmer in (0.0f64..6.0, 0.0f64..6.0),
        ) {
            let build = |by: (f64, f64)| {
                let days = record.iter().enumerate().map(|(index, (low, mean))| {
                    let by = if index == at { by } else { (0.0, 0.0) };
                    DayBehind { low: Some(Celsius(low + by.0)), mean: Some(Celsius(mean + by.1)) }
                });
                hardening(&days.collect::<Vec<_>>()).degree
            };
            let (before, after) = (build((0.0, 0.0)), build(warmer));
            prop_assert!(after <= before + 1e-12 && (0.0..=1.0).contains(&after));
        }
    }
}
