//! The hours of light between two nights: what they would do to a cover that stays on.

use crate::units::{Celsius, Kelvins};
use crate::weather::Forecast;
use chrono::{DateTime, Duration, Utc};

/// One day, from the morning's uncovering to the evening's deadline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// The warmest hour at the garden's screen.
    pub warmest: Celsius,
    /// The coldest hour at the garden's screen.
    pub coldest: Celsius,
    /// Mean of the hours whose sky is known, 0 to 1; `None` where that is known of fewer than three.
    pub cloud_cover: Option<f64>,
}

/// A day with a longer hole than this is not known: its warmest hour may lie in it (assumed).
const LONGEST_HOLE: Duration = Duration::hours(3);
/// Fewer hours of sky than this say nothing of a day (assumed).
const FEW_SKIES: usize = 3;

impl Day {
    /// The day as a forecast has it; `None` where too little of it is known, or it ends before it begins.
    pub fn between(
        forecast: &Forecast,
        morning: DateTime<Utc>,
        evening: DateTime<Utc>,
        garden_offset: Option<Kelvins>,
    ) -> Option<Day> {
        let hours = forecast.between(morning, evening);
        let times = hours.iter().map(|hour| hour.time);
        let stops: Vec<DateTime<Utc>> = std::iter::once(morning).chain(times).chain(std::iter::once(evening)).collect();
        if morning >= evening || stops.windows(2).any(|pair| pair[1] - pair[0] > LONGEST_HOLE) {
            return None;
        }
        let air = || hours.iter().map(|hour| hour.air_temperature + garden_offset.unwrap_or(Kelvins(0.0)));
        let skies: Vec<f64> = hours.iter().filter_map(|hour| hour.cloud_cover).collect();
        let cloud_cover = (skies.len() >= FEW_SKIES).then(|| skies.iter().sum::<f64>() / skies.len() as f64);
        Some(Day { warmest: air().reduce(Celsius::max)?, coldest: air().reduce(Celsius::min)?, cloud_cover })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::{Hour, Provider};

    fn at(hour: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + Duration::days(20_835) + Duration::hours(hour)
    }

    /// Hours from 8 to 17 that warm by a degree each from 1 °C; without those that are left out.
    fn forecast(left_out: &[i64], sky: Option<f64>) -> Forecast {
        let hours = (8..=17).filter(|hour| !left_out.contains(hour)).map(|hour| Hour {
            time: at(hour),
            air_temperature: Celsius(hour as f64 - 7.0),
            dew_point: None,
            wind_10m: None,
            cloud_cover: sky,
        });
        Forecast {
            provider: Provider::Csv,
            issued: None,
            fetched: at(0),
            hours: hours.collect(),
            minima: Vec::new(),
            implausible_hours: 0,
            cell_elevation: None,
        }
    }

    #[test]
    fn a_day_has_its_warmest_and_coldest_hour_and_its_sky() {
        let day = Day::between(&forecast(&[], Some(0.3)), at(9), at(16), Some(Kelvins(-1.0)));
        let Some(Day { warmest, coldest, cloud_cover: Some(cloud) }) = day else { panic!("{day:?}") };
        assert_eq!((warmest, coldest), (Celsius(8.0), Celsius(1.0)));
        assert!((cloud - 0.3).abs() < 1e-12);
    }

    #[test]
    fn what_is_not_known_of_a_day_is_not_guessed() {
        assert!(Day::between(&forecast(&[11, 12], None), at(9), at(16), None).is_some());
        assert_eq!(Day::between(&forecast(&[11, 12, 13], None), at(9), at(16), None), None);
        // The end counts as well as the middle.
        assert_eq!(Day::between(&forecast(&[], None), at(9), at(21), None), None);
        assert_eq!(Day::between(&forecast(&[], None), at(16), at(9), None), None);
        let day = Day::between(&forecast(&[], None), at(9), at(16), None);
        assert_eq!(day.and_then(|day| day.cloud_cover), None);
    }
}
