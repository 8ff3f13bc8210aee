//! The low to expect from what the evening shows: two hours after sunset the air, its moisture, the fall since the
//! afternoon, the sky and the wind say more together than the air alone.
//!
//! On clear calm nights a regression on air and dew point is 1 to 3 K too warm, and one fitted to such nights is 2 K too
//! cold on all others. So sky and wind take part, and where a forecast says how both will be until morning, that takes
//! the place of what the evening shows of them.

mod coefficients;
mod low;
mod place;

pub use coefficients::{ALL, LEFT_OUT};
pub use low::{Low, Shape};
pub use place::Place;

use crate::units::{Celsius, MetresPerSecond, Probability};
use crate::weather::{Hour, Site};
use chrono::{DateTime, Duration, Utc};

/// What an evening shows. Only the air is needed; what is missing counts as an ordinary evening's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evening {
    /// When it was read, at most two hours after sunset.
    pub at: DateTime<Utc>,
    pub air: Celsius,
    pub dew_point: Option<Celsius>,
    pub air_two_hours_before: Option<Celsius>,
    pub dew_point_three_hours_before: Option<Celsius>,
    /// Of the twelve hours before.
    pub warmest: Option<Celsius>,
    pub air_a_day_before: Option<Celsius>,
    /// Mean of the three hours before, 0 to 1.
    pub cloud_cover: Option<f64>,
    /// From sunset until now: the night's low is no warmer.
    pub lowest_so_far: Celsius,
    /// From sunset to sunrise, h.
    pub night_hours: f64,
    /// Sky and wind from now until morning, where a forecast says.
    pub outlook: Option<Outlook>,
}

/// Sky and wind from dusk to an hour after sunrise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// Mean.
    pub wind_10m: Option<MetresPerSecond>,
    /// Mean of the second half of the time, 0 to 1: what the evening's cloud kept is lost again once it clears.
    pub cloud_toward_morning: Option<f64>,
}

/// An evening is read two hours after sunset.
pub const DUSK: Duration = Duration::hours(2);
/// A sample older than this says nothing of now. Stations report once an hour, give or take.
const OLDEST: Duration = Duration::minutes(61);
/// Samples are taken for the hour they lie nearest to, up to this far.
const NEAR: Duration = Duration::minutes(61);
/// Fewer samples than this do not show a day's warmth.
const FEWEST_OF_A_DAY: usize = 6;

impl Evening {
    /// What samples up to an instant show, mostly [`DUSK`] after sunset, or `None` where the last hour of them is
    /// missing. `samples` are in order of time; later ones are not looked at.
    pub fn observed(
        samples: &[Hour],
        sunset: DateTime<Utc>,
        sunrise: DateTime<Utc>,
        by: DateTime<Utc>,
    ) -> Option<Evening> {
        let known = &samples[..samples.partition_point(|sample| sample.time <= by)];
        let last = known.last().filter(|last| by - last.time <= OLDEST)?;
        let at = last.time;
        let since = |hours: i64| {
            let from = at - Duration::hours(hours) - Duration::minutes(3);
            &known[known.partition_point(|sample| sample.time < from)..]
        };
        let near = |hours: i64| nearest(known, at - Duration::hours(hours));
        let day = since(12);
        let warmest = day.iter().map(|sample| sample.air_temperature).reduce(Celsius::max);
        let evening = &known[known.partition_point(|sample| sample.time < sunset)..];
        Some(Evening {
            at,
            air: last.air_temperature,
            dew_point: last.dew_point,
            air_two_hours_before: near(2).map(|sample| sample.air_temperature),
            dew_point_three_hours_before: near(3).and_then(|sample| sample.dew_point),
            warmest: warmest.filter(|_| day.len() >= FEWEST_OF_A_DAY),
            air_a_day_before: near(24).map(|sample| sample.air_temperature),
            cloud_cover: mean(since(3).iter().filter_map(|sample| sample.cloud_cover)),
            lowest_so_far: evening.iter().map(|sample| sample.air_temperature).fold(last.air_temperature, Celsius::min),
            night_hours: (sunrise - sunset).num_seconds() as f64 / 3600.0,
            outlook: None,
        })
    }
}

impl Evening {
    /// An evening of which the air alone is known.
    pub fn of_air(air: Celsius, at: DateTime<Utc>, night_hours: f64) -> Evening {
        Evening {
            at,
            air,
            dew_point: None,
            air_two_hours_before: None,
            dew_point_three_hours_before: None,
            warmest: None,
            air_a_day_before: None,
            cloud_cover: None,
            lowest_so_far: air,
            night_hours,
            outlook: None,
        }
    }
}

impl Outlook {
    /// Of the samples after dusk until the end of a night, or `None` where they say nothing of sky and wind.
    pub fn of(samples: &[Hour]) -> Option<Outlook> {
        let toward_morning = &samples[samples.len() / 2..];
        let outlook = Outlook {
            wind_10m: mean(samples.iter().filter_map(|sample| sample.wind_10m.map(|wind| wind.0))).map(MetresPerSecond),
            cloud_toward_morning: mean(toward_morning.iter().filter_map(|sample| sample.cloud_cover)),
        };
        (outlook.wind_10m.is_some() || outlook.cloud_toward_morning.is_some()).then_some(outlook)
    }
}

fn nearest(samples: &[Hour], time: DateTime<Utc>) -> Option<&Hour> {
    let after = samples.partition_point(|sample| sample.time < time);
    let beside = [after.checked_sub(1), Some(after)].into_iter().flatten().filter_map(|index| samples.get(index));
    beside.filter(|sample| (sample.time - time).abs() <= NEAR).min_by_key(|sample| (sample.time - time).abs())
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

/// How many figures of an evening the fall of a night is made of, and how many its spread.
pub const TERMS: usize = 10;
pub const SPREAD_TERMS: usize = 6;

/// In words, for whoever reads the coefficients; in the order of [`Evening::terms`].
pub const TERM_NAMES: [&str; TERMS] = [
    "always",
    "air",
    "dryness",
    "length of the night",
    "fall since the warmest hour",
    "warmer than a day before",
    "fall in the last two hours",
    "drying in the last three hours",
    "cloud now, no outlook",
    "cloud toward morning, most in still air",
];

/// The middle of the evenings that the coefficients were fitted on: what a missing figure counts as.
const ORDINARY: Ordinary = Ordinary { dryness: 7.5, fall: 5.0, last_fall: 1.5, wind: 4.0, cloud: 0.6 };

struct Ordinary {
    dryness: f64,
    fall: f64,
    last_fall: f64,
    wind: f64,
    cloud: f64,
}

impl Evening {
    /// The figures of which a night's fall is made, each about zero and of the size of one. Beyond what was seen when the
    /// coefficients were fitted they stay where they are: a straight line is no guide out there.
    pub fn terms(&self) -> [f64; TERMS] {
        let air = self.air.0;
        let below = |other: Option<Celsius>| other.map(|other| air - other.0);
        let dryness = below(self.dew_point).unwrap_or(ORDINARY.dryness).clamp(0.0, 25.0);
        let fall = below(self.warmest).map_or(ORDINARY.fall, |fall| (-fall).clamp(0.0, 20.0));
        let last_fall = below(self.air_two_hours_before).map_or(ORDINARY.last_fall, |fall| (-fall).clamp(-3.0, 10.0));
        let drying =
            self.dew_point_three_hours_before.zip(self.dew_point).map_or(0.0, |(before, now)| now.0 - before.0);
        let cloud = self.cloud_cover.unwrap_or(ORDINARY.cloud).clamp(0.0, 1.0) - ORDINARY.cloud;
        let (wind_to_come, cloud_to_come) = self.coming();
        // Wind mixes the air whatever the sky does, and after a great fall there is less left for a cloud to keep.
        let kept = cloud_to_come * (-wind_to_come / 4.0).exp() * (-fall / 8.0).exp();
        [
            1.0,
            air.clamp(-25.0, 25.0) / 10.0,
            dryness / 5.0,
            self.night(),
            fall / 5.0 - 1.0,
            self.warmer_than_a_day_before() / 5.0,
            last_fall / 3.0 - 0.5,
            drying.clamp(-10.0, 10.0) / 3.0,
            if self.outlook.is_none() { cloud } else { 0.0 },
            kept,
        ]
    }

    /// The figures that widen or narrow the spread, as the logarithm of its factor.
    pub fn spread_terms(&self) -> [f64; SPREAD_TERMS] {
        let warmer = self.warmer_than_a_day_before();
        let cloud = self.cloud_cover.unwrap_or(ORDINARY.cloud).clamp(0.0, 1.0) - ORDINARY.cloud;
        let (wind_to_come, cloud_to_come) = self.coming();
        let (now, later) = if self.outlook.is_some() { (0.0, 1.0) } else { (1.0, 0.0) };
        [
            self.night(),
            warmer.max(0.0) / 5.0,
            (-warmer - 3.0).max(0.0) / 5.0,
            now * cloud,
            later * (wind_to_come / 5.0 - 0.8),
            later * cloud_to_come,
        ]
    }

    /// Hours of night beyond thirteen; the nights of the fit were 10 to 15 hours long.
    fn night(&self) -> f64 {
        self.night_hours.clamp(9.0, 15.5) - 13.0
    }

    fn warmer_than_a_day_before(&self) -> f64 {
        self.air_a_day_before.map_or(0.0, |before| (self.air.0 - before.0).clamp(-18.0, 18.0))
    }

    /// Wind to come, and cloud toward morning above the ordinary. Without an outlook the ordinary ones.
    fn coming(&self) -> (f64, f64) {
        let Some(outlook) = self.outlook else { return (ORDINARY.wind, 0.0) };
        let wind = outlook.wind_10m.map_or(ORDINARY.wind, |wind| wind.0.clamp(0.0, 15.0));
        let cloud = outlook.cloud_toward_morning.map_or(0.0, |cloud| cloud.clamp(0.0, 1.0) - ORDINARY.cloud);
        (wind, cloud)
    }
}

/// What evenings at some places have taught for a place not seen yet.
///
/// ```text
/// T_n = T_0 + sum_j b_j x_j + s e,    b_j ~ N(mean_j, between_j^2),    s = noise exp(sum_k g_k z_k)
/// ```
///
/// | symbol        | meaning                                                     | unit | accepted range |
/// |---------------|-------------------------------------------------------------|------|----------------|
/// | `T_0`         | air at dusk                                                 | °C   | -45 to 40      |
/// | `x_j`, `z_k`  | [`Evening::terms`], [`Evening::spread_terms`]               | -    | held in bounds |
/// | `mean_j`      | coefficient at an ordinary place                            | K    |                |
/// | `between_j`   | how far places differ in it, one standard deviation         | K    |                |
/// | `e`           | of mean 0 and variance 1, in the form of [`Shape`]          | -    |                |
///
/// **Method error.** On seven US stations, each with coefficients that never saw it, learning as the nights went by:
/// mean absolute error 1.9 K from the evening alone, 1.8 K with sky and wind of the night known, where the FAO regression
/// with imported coefficients has 2.5 K (`cargo bench --bench fit_dusk`; `tests/replay.rs` on an invented record).
/// Airports, no gardens; hourly lows.
/// **Refuses.** Nothing; NaN comes back as NaN.
/// **Source.** Linear regression with coefficients that vary between places (Lindley and Smith 1972, from memory), fitted
/// for this project on 1440 nights, October to April: airport observations of 2013 (Newark, Kennedy, LaGuardia; US
/// National Oceanic and Atmospheric Administration) and TMY3 (Greensboro, Chicago O'Hare, Washington Dulles, Golden; US
/// National Renewable Energy Laboratory), both public.
/// **Check.** The fit is repeated by `cargo bench --bench fit_dusk`; another implementation of it, in numpy, gave the same
/// scores to two digits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taught {
    pub mean: [f64; TERMS],
    pub between: [f64; TERMS],
    /// K.
    pub noise: f64,
    pub widening: [f64; SPREAD_TERMS],
    pub shape: Shape,
    /// The regression on dusk air and dew point alone, fitted on the same nights: what to beat. `a`, `b`, `c`, spread.
    pub regression: [f64; 4],
}

/// Evenings with and without an outlook have coefficients of their own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TaughtPair {
    /// The stations that took no part.
    pub without: &'static [(&'static str, f64, f64)],
    pub evening: Taught,
    pub outlook: Taught,
}

/// Coefficients for a place: all that is known, unless the place is one of those that taught it; then those which never
/// saw it, with its name, so that a score is honest.
pub fn taught_for_a_score(site: &Site) -> (&'static TaughtPair, Option<&'static str>) {
    for pair in LEFT_OUT {
        for (name, latitude, longitude) in pair.without {
            // About 15 km: an airport and the ground beside it.
            if (site.latitude - latitude).hypot((site.longitude - longitude) * latitude.to_radians().cos()) < 0.14 {
                return (pair, Some(name));
            }
        }
    }
    (&ALL, None)
}

/// The air two hours after sunset from which, under a clear, still sky, a low at or below 0 °C has a given chance: the
/// answer to "is it cold enough to worry?" for whoever has nothing but a thermometer.
///
/// `chance` lies between 0 and 1, `night_hours` between 9 and 15.5. The air's moisture is taken as five kelvins below it.
/// The warmer the evening the smaller the chance, so a search by halves finds it, between 0 and 30 °C.
pub fn dusk_air_before_frost(chance: Probability, night_hours: f64) -> Celsius {
    let at = DateTime::UNIX_EPOCH;
    let place = Place::new(&ALL.outlook);
    let clear_and_still = Outlook { wind_10m: Some(MetresPerSecond(1.0)), cloud_toward_morning: Some(0.0) };
    let chance_from = |air: f64| {
        let evening = Evening::of_air(Celsius(air), at, night_hours);
        let evening = Evening { dew_point: Some(Celsius(air - 5.0)), outlook: Some(clear_and_still), ..evening };
        place.expect(&evening).chance_at_or_below(Celsius(0.0)).0
    };
    let (mut low, mut high) = (0.0, 30.0);
    for _ in 0..40 {
        let middle = (low + high) / 2.0;
        if chance_from(middle) > chance.0 { low = middle } else { high = middle }
    }
    Celsius((low + high) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Kelvins;
    use proptest::prelude::*;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + Duration::hours(hours)
    }

    fn hour(time: i64, air: f64) -> Hour {
        Hour { time: at(time), air_temperature: Celsius(air), dew_point: None, wind_10m: None, cloud_cover: None }
    }

    /// Sunset at hour 40, sunrise at hour 54; one kelvin colder each hour from 50 C at hour 0.
    fn falling() -> Vec<Hour> {
        (0..60).map(|time| Hour { dew_point: Some(Celsius(1.0)), ..hour(time, 50.0 - time as f64) }).collect()
    }

    #[test]
    fn an_evening_looks_back_by_the_clock_and_not_ahead() -> Result<(), &'static str> {
        let evening = Evening::observed(&falling(), at(40), at(54), at(42)).ok_or("no evening")?;
        assert_eq!((evening.at, evening.air, evening.night_hours), (at(42), Celsius(8.0), 14.0));
        assert_eq!(evening.air_two_hours_before, Some(Celsius(10.0)));
        assert_eq!(evening.air_a_day_before, Some(Celsius(32.0)));
        assert_eq!(evening.warmest, Some(Celsius(20.0)));
        assert_eq!(evening.lowest_so_far, Celsius(8.0));
        // What comes later changes nothing.
        let mut later = falling();
        later.iter_mut().filter(|hour| hour.time > at(42)).for_each(|hour| hour.air_temperature = Celsius(-40.0));
        assert_eq!(Evening::observed(&later, at(40), at(54), at(42)), Some(evening));
        Ok(())
    }

    #[test]
    fn what_is_missing_stays_missing() -> Result<(), &'static str> {
        // A gap of a day and more before the evening: no yesterday, and too few hours for a day.
        let evening = Evening::observed(&falling()[38..], at(40), at(54), at(42)).ok_or("no evening")?;
        assert_eq!((evening.air_a_day_before, evening.warmest), (None, None));
        // Nothing in the last hour: no evening.
        assert_eq!(Evening::observed(&falling()[..40], at(40), at(54), at(42)), None);
        assert_eq!(Evening::observed(&[], at(40), at(54), at(42)), None);
        Ok(())
    }

    #[test]
    fn an_outlook_looks_at_the_sky_toward_morning() {
        let cloudy = |time: i64, cloud: f64| Hour { cloud_cover: Some(cloud), ..hour(time, 0.0) };
        let clearing = Outlook::of(&[cloudy(0, 1.0), cloudy(1, 0.8), cloudy(2, 0.2), cloudy(3, 0.0)]);
        assert_eq!(clearing.and_then(|outlook| outlook.cloud_toward_morning), Some(0.1));
        assert_eq!(Outlook::of(&[hour(0, 1.0), hour(1, 1.0)]), None);
    }

    #[test]
    fn a_station_is_never_scored_with_what_it_taught() {
        let site = |latitude, longitude| Site { latitude, longitude, elevation: 0.0 };
        for pair in LEFT_OUT {
            for (name, latitude, longitude) in pair.without {
                let (taught, left_out) = taught_for_a_score(&site(*latitude + 0.01, *longitude));
                assert!(left_out == Some(*name) && taught.without == pair.without, "{name}: {left_out:?}");
            }
        }
        assert_eq!(taught_for_a_score(&site(52.0, 5.0)).1, None);
    }

    #[test]
    fn the_rule_of_hand_is_colder_for_the_likelier_frost() {
        let air = [0.9, 0.5, 0.2, 0.1].map(|chance| dusk_air_before_frost(Probability(chance), 13.5).0);
        assert!(air.is_sorted() && air[0] > 0.0 && air[3] < 20.0, "{air:?}");
    }

    fn evening() -> impl Strategy<Value = Evening> {
        let air = (-20.0f64..20.0, 0.0f64..20.0, 0.0f64..15.0, -15.0f64..15.0, -1.0f64..6.0);
        let sky = (0.0f64..=1.0, 9.0f64..15.0, proptest::option::of((0.0f64..12.0, 0.0f64..=1.0)));
        (air, sky).prop_map(|((air, dry, fall, warmer, last), (cloud, night_hours, outlook))| Evening {
            dew_point: Some(Celsius(air - dry)),
            air_two_hours_before: Some(Celsius(air + last)),
            dew_point_three_hours_before: Some(Celsius(air - dry)),
            warmest: Some(Celsius(air + fall)),
            air_a_day_before: Some(Celsius(air - warmer)),
            cloud_cover: Some(cloud),
            lowest_so_far: Celsius(air),
            outlook: outlook.map(|(wind, cloud)| Outlook {
                wind_10m: Some(MetresPerSecond(wind)),
                cloud_toward_morning: Some(cloud),
            }),
            ..Evening::of_air(Celsius(air), DateTime::UNIX_EPOCH, night_hours)
        })
    }

    fn low(evening: &Evening) -> Celsius {
        let taught = if evening.outlook.is_some() { &ALL.outlook } else { &ALL.evening };
        Place::new(taught).expect(evening).mean
    }

    proptest! {
        /// Physics that the coefficients must not contradict, over all evenings they may meet.
        #[test]
        fn longer_drier_and_clearer_nights_are_colder(evening in evening()) {
            let longer = Evening { night_hours: evening.night_hours + 1.0, ..evening };
            prop_assert!(low(&longer) <= low(&evening) + Kelvins(1e-9));
            let drier = Evening { dew_point: evening.dew_point.map(|dew_point| dew_point - Kelvins(2.0)),
                dew_point_three_hours_before: evening.dew_point_three_hours_before.map(|dew_point| dew_point - Kelvins(2.0)), ..evening };
            prop_assert!(low(&drier) <= low(&evening) + Kelvins(1e-9));
            if let Some(outlook) = evening.outlook {
                let cleared = outlook.cloud_toward_morning.map(|cloud| (cloud - 0.3).max(0.0));
                let cleared = Outlook { cloud_toward_morning: cleared, ..outlook };
                // Under a clear sky wind mixes warmer air down: stiller is no warmer.
                let clear = Outlook { cloud_toward_morning: Some(0.2), ..outlook };
                let stiller = Outlook { wind_10m: outlook.wind_10m.map(|wind| MetresPerSecond(wind.0 / 2.0)), ..clear };
                let [clear, stiller] = [clear, stiller].map(|outlook| low(&Evening { outlook: Some(outlook), ..evening }));
                prop_assert!(stiller <= clear + Kelvins(1e-9));
                let cleared = Evening { outlook: Some(cleared), ..evening };
                prop_assert!(low(&cleared) <= low(&evening) + Kelvins(1e-9));
            } else {
                let cleared = Evening { cloud_cover: evening.cloud_cover.map(|cloud| (cloud - 0.3).max(0.0)), ..evening };
                prop_assert!(low(&cleared) <= low(&evening) + Kelvins(1e-9));
            }
        }

        /// A warmer evening, all else alike, is not followed by a colder night.
        #[test]
        fn a_warmer_evening_gives_a_warmer_low(evening in evening(), by in 0.1f64..3.0) {
            let up = |temperature: Option<Celsius>| temperature.map(|temperature| temperature + Kelvins(by));
            let warmer = Evening { air: evening.air + Kelvins(by), dew_point: up(evening.dew_point),
                air_two_hours_before: up(evening.air_two_hours_before), warmest: up(evening.warmest),
                dew_point_three_hours_before: up(evening.dew_point_three_hours_before),
                air_a_day_before: up(evening.air_a_day_before), ..evening };
            prop_assert!(low(&warmer) > low(&evening));
        }

        #[test]
        fn an_estimate_of_a_low_agrees_with_its_samples(mean in -8.0f64..8.0, spread in 0.5f64..4.0, above in -2.0f64..6.0) {
            let shape = ALL.evening.shape;
            let cut = mean + above;
            let low = Low { mean: Celsius(mean), spread: Kelvins(spread), shape, lowest_so_far: Celsius(cut) };
            // Quantiles in equal steps stand for the distribution.
            let quantile = |p: f64| {
                let (mut a, mut b) = (-9.0, 9.0);
                for _ in 0..50 { let m = (a + b) / 2.0; if shape.cdf(m) < p { a = m } else { b = m } }
                (mean + spread * a).min(cut)
            };
            let values: Vec<f64> = (0..2000).map(|index| quantile((f64::from(index) + 0.5) / 2000.0)).collect();
            let expected = values.iter().sum::<f64>() / 2000.0;
            let variance = values.iter().map(|value| (value - expected).powi(2)).sum::<f64>() / 2000.0;
            let estimate = low.estimate();
            prop_assert!((estimate.mean.0 - expected).abs() < 0.01 * spread, "{} {expected}", estimate.mean.0);
            prop_assert!((estimate.spread.0 - variance.sqrt()).abs() < 0.02 * spread, "{} {}", estimate.spread.0, variance.sqrt());
        }
    }
}
