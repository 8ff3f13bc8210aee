//! Time counts beside the lowest temperature, where a source says how long the cold must last.

use super::growth::offset_of;
use crate::beds::{Bed, Planting};
use crate::crops::{Frame, Harm};
use crate::night::bed::BedNight;
use crate::night::past::PastDay;
use crate::units::{Celsius, Kelvins, Probability};

/// How much less a short frost counts, as degrees that the night is milder: half of the way from first harm to heavy
/// loss where no hour is below, nothing where all the hours are.
///
/// ```text
/// r = (begins - severe) / 2 * (1 - min(1, t / t_e))                      K; t, t_e in h
/// ```
///
/// | symbol            | meaning                                                               | unit | accepted range |
/// |-------------------|-----------------------------------------------------------------------|------|----------------|
/// | `begins, severe`  | first harm and heavy loss                                             | °C   | begins above   |
/// | `t`               | hours below `begins` on a night one standard deviation colder than expected | h | 0 and above |
/// | `t_e`             | hours that the source of the figures speaks of                        | h    | above 0        |
///
/// **Method error.** Not known: sources say that a short dip is milder, none says by how much. The half is assumed, so
/// that a dip down to `severe`, however short, still counts as half the loss. The hours are counted on a colder night,
/// because the cold nights of the distribution are the long ones too.
/// **Refuses.** Nothing: hours that are not above zero, or NaN, give no relief.
/// **Source.** Citrus and lettuce figures of four hours (UC_CITRUS, LSU_CITRUS, NOLTE); the form is assumed. Figures of
/// thirty minutes (buds) are left on the cold side.
/// **Check.** None known. `a_short_frost_is_milder_and_never_warmer_than_half_way` holds what must be so.
pub fn relief(begins: Celsius, severe: Celsius, hours_below: f64, exposure_hours: f64) -> Kelvins {
    let part = hours_below / exposure_hours;
    if exposure_hours > 0.0 && part.is_finite() {
        Kelvins((begins - severe).0.max(0.0) / 2.0 * (1.0 - part.clamp(0.0, 1.0)))
    } else {
        Kelvins(0.0)
    }
}

/// Of the hours that chilling takes, a night with the nights before it counts that has this part of them (assumed).
const GOOD_PART_OF_A_CHILL: f64 = 0.5;

/// The chance of chilling injury: in proportion to the hours, of the nights in a row and this one, that it takes; none
/// before a good part of them has come together.
pub(super) fn chilled(chance: Probability, tonight: f64, before: f64, exposure_hours: f64) -> Probability {
    // A night that adds nothing does not do it.
    let hours = if tonight > 0.0 { tonight + before } else { 0.0 };
    let part = (hours / exposure_hours).min(1.0);
    Probability(if part >= GOOD_PART_OF_A_CHILL { chance.0 * part } else { 0.0 })
}

/// Hours of chill that a planting has behind it: of the days and nights in a row before this one, back to the first
/// that is known to be without any. Leaves are by night as much below the air as tonight, and soil goes with the mean of a day (assumed).
pub(super) fn chilled_before(
    bed: &Bed,
    planting: &Planting,
    harm: Harm,
    frame: Frame,
    threshold: Celsius,
    night: &BedNight,
    past: &[PastDay],
) -> f64 {
    if harm != Harm::Chilling {
        return 0.0;
    }
    let offset = offset_of(bed);
    let below_air = match frame {
        Frame::Tissue => night.screen.mean - night.tissue.mean,
        Frame::ScreenAir | Frame::Soil => Kelvins(0.0),
    };
    let stood = |day: &&PastDay| planting.planted.is_none_or(|planted| day.of.0 >= planted);
    let hours = past.iter().rev().take_while(stood).map(|day| {
        let mean = day.mean()?;
        Some(match frame {
            Frame::Soil => {
                if mean < threshold {
                    24.0
                } else {
                    0.0
                }
            }
            Frame::ScreenAir | Frame::Tissue => day.hours_below(threshold, offset, below_air),
        })
    });
    // A day of which too little is known adds nothing, but it does not end a spell either: it may well have been cold.
    hours.take_while(|hours| hours.is_none_or(|hours| hours > 0.0)).flatten().sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]

        #[test]
        fn a_short_frost_is_milder_and_never_warmer_than_half_way(
            begins in -8.0f64..2.0, width in 0.1f64..9.0, hours in 0.0f64..14.0, more in 0.0f64..3.0, needed in 0.1f64..24.0
        ) {
            let severe = Celsius(begins - width);
            let at = |hours| relief(Celsius(begins), severe, hours, needed).0;
            prop_assert!(at(hours + more) <= at(hours) && at(hours) <= width / 2.0 && at(hours) >= 0.0);
            // A night with hours to spare is judged by its lowest temperature alone.
            prop_assert_eq!(at(needed + more), 0.0);
        }
    }

    #[test]
    fn what_cannot_be_counted_gives_no_relief() {
        for (hours, needed) in [(f64::NAN, 4.0), (2.0, f64::NAN), (2.0, 0.0), (0.0, 0.0)] {
            assert_eq!(relief(Celsius(-2.0), Celsius(-4.0), hours, needed), Kelvins(0.0), "{hours} {needed}");
        }
        // Twenty minutes of four hours: eleven twelfths of one kelvin.
        assert!((relief(Celsius(-2.0), Celsius(-4.0), 1.0 / 3.0, 4.0).0 - 11.0 / 12.0).abs() < 1e-12);
    }

    #[test]
    fn chill_adds_up_over_nights_and_needs_this_one() {
        let chance = |tonight, before| chilled(Probability(0.6), tonight, before, 24.0).0;
        assert_eq!(chance(11.0, 0.0), 0.0);
        assert!((chance(12.0, 0.0) - 0.3).abs() < 1e-12);
        assert!((chance(11.0, 11.0) - 0.55).abs() < 1e-12);
        assert!((chance(12.0, 40.0) - 0.6).abs() < 1e-12);
        assert_eq!(chance(0.0, 40.0), 0.0);
    }
}
