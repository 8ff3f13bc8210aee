//! From a decoder's rows to a [`Forecast`]: what cannot be true is left out and counted, the rest is put in order.

use super::FeedFault;
use crate::units::{
    AIR_TEMPERATURE, Celsius, DEW_POINT, DEW_POINT_EXCESS, ELEVATION, Limits, MetresPerSecond, WIND_SPEED,
};
use crate::weather::humidity::dew_point_from_relative_humidity;
use crate::weather::{Forecast, Hour, IntervalMinimum, Provider};
use chrono::{DateTime, Datelike, Utc};

const CLOUD_COVER: Limits =
    Limits { what: "cloud cover", low: 0.0, high: 1.0, unit: "of the sky", why: "there is one sky" };
/// Up to 105 % is a sensor's or a model's rounding and is cut to 100.
const RELATIVE_HUMIDITY: Limits =
    Limits { what: "relative humidity", low: 0.0, high: 105.0, unit: "%", why: "air holds no more vapour than that" };

/// This many temperatures out of limits and nothing else in the document is believed either.
const TOO_MANY: usize = 3;

/// An hour of another age is a slip of the feed, and arithmetic with it may have no answer.
fn is_of_this_age(time: DateTime<Utc>) -> bool {
    (1900..=2200).contains(&time.year())
}

/// One row of a feed in our units, unchecked. `None` is what the feed left out.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub time: DateTime<Utc>,
    /// °C
    pub air_temperature: Option<f64>,
    /// °C
    pub dew_point: Option<f64>,
    /// Percent, over water; used where there is no dew point.
    pub relative_humidity: Option<f64>,
    /// m/s
    pub wind_10m: Option<f64>,
    /// Fraction
    pub cloud_cover: Option<f64>,
}

impl Row {
    pub(super) fn at(time: DateTime<Utc>, air_temperature: Option<f64>) -> Row {
        Row { time, air_temperature, dew_point: None, relative_humidity: None, wind_10m: None, cloud_cover: None }
    }
}

/// What a document says beside its rows.
#[derive(Clone, Debug)]
pub(super) struct Document {
    pub provider: Provider,
    pub issued: Option<DateTime<Utc>>,
    pub fetched: DateTime<Utc>,
    /// m
    pub cell_elevation: Option<f64>,
    pub rows: Vec<Row>,
    pub minima: Vec<IntervalMinimum>,
}

/// The forecast in a document. Rows without an air temperature are missing hours; of two rows for one instant the
/// colder is kept.
pub(super) fn believe(document: Document) -> Result<Forecast, FeedFault> {
    let Document { provider, issued, fetched, cell_elevation, rows, mut minima } = document;
    let mut hours = Vec::with_capacity(rows.len());
    let mut implausible_hours = 0;
    let mut unbelieved = Vec::new();
    minima.retain(|minimum| is_of_this_age(minimum.from) && is_of_this_age(minimum.to));
    for row in rows.into_iter().filter(|row| is_of_this_age(row.time)) {
        let Some(t) = row.air_temperature else { continue };
        if !AIR_TEMPERATURE.allow(t) {
            unbelieved.push(t);
            continue;
        }
        let mut doubtful = false;
        let mut within = |value: Option<f64>, limits: &Limits| match value {
            Some(value) if !limits.allow(value) => {
                doubtful = true;
                None
            }
            kept => kept,
        };
        let humidity = within(row.relative_humidity, &RELATIVE_HUMIDITY);
        let from_humidity = || {
            let fraction = humidity?.min(100.0) / 100.0;
            Some(dew_point_from_relative_humidity(Celsius(t), fraction).ok()?.0)
        };
        let dew_point = row.dew_point.or_else(from_humidity);
        let dew_point = within(dew_point, &DEW_POINT);
        let excess = within(dew_point.map(|t_d| t_d - t), &DEW_POINT_EXCESS);
        hours.push(Hour {
            time: row.time,
            air_temperature: Celsius(t),
            dew_point: dew_point.filter(|_| excess.is_some()).map(Celsius),
            wind_10m: within(row.wind_10m, &WIND_SPEED).map(MetresPerSecond),
            cloud_cover: within(row.cloud_cover, &CLOUD_COVER),
        });
        implausible_hours += usize::from(doubtful);
    }
    minima.retain(|minimum| {
        let believed = AIR_TEMPERATURE.allow(minimum.low.0);
        if !believed {
            unbelieved.push(minimum.low.0);
        }
        believed
    });
    if let (true, Some(example)) = (unbelieved.len() >= TOO_MANY, unbelieved.first()) {
        return Err(FeedFault::Implausible { values: unbelieved.len(), example: *example });
    }
    if hours.is_empty() {
        return Err(FeedFault::Empty);
    }
    hours.sort_by(|a, b| a.time.cmp(&b.time).then(a.air_temperature.0.total_cmp(&b.air_temperature.0)));
    hours.dedup_by_key(|hour| hour.time);
    minima.sort_by_key(|minimum| (minimum.from, minimum.to));
    Ok(Forecast {
        provider,
        issued,
        fetched,
        hours,
        minima,
        implausible_hours: implausible_hours + unbelieved.len(),
        cell_elevation: cell_elevation.filter(|metres| ELEVATION.allow(*metres)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(hour: u32, t: f64) -> Row {
        let time = DateTime::UNIX_EPOCH + chrono::Duration::hours(hour.into());
        Row { dew_point: Some(t - 2.0), wind_10m: Some(1.0), cloud_cover: Some(0.5), ..Row::at(time, Some(t)) }
    }

    fn of(rows: Vec<Row>) -> Result<Forecast, FeedFault> {
        believe(Document {
            provider: Provider::Csv,
            issued: None,
            fetched: DateTime::UNIX_EPOCH,
            cell_elevation: Some(f64::NAN),
            rows,
            minima: Vec::new(),
        })
    }

    #[test]
    fn two_bad_hours_are_missing_and_three_are_a_fault() -> Result<(), FeedFault> {
        let forecast = of(vec![at(0, 1.0), at(1, 4000.0), at(2, f64::NAN), at(3, -2.0)])?;
        assert_eq!((forecast.hours.len(), forecast.implausible_hours), (2, 2));
        let fault = of(vec![at(0, 1.0), at(1, 4000.0), at(2, -61.0), at(3, 60.1)]);
        assert_eq!(fault, Err(FeedFault::Implausible { values: 3, example: 4000.0 }));
        Ok(())
    }

    #[test]
    fn a_bad_companion_value_is_left_out_and_the_hour_stays() -> Result<(), FeedFault> {
        let rows = vec![
            Row { dew_point: Some(1.6), ..at(0, 1.0) },
            Row { wind_10m: Some(-1.0), cloud_cover: Some(1.5), ..at(1, 1.0) },
            Row { dew_point: None, relative_humidity: Some(106.0), ..at(2, 1.0) },
            Row { dew_point: None, relative_humidity: Some(104.0), cloud_cover: Some(-0.0), ..at(3, 1.0) },
            Row { dew_point: None, wind_10m: None, cloud_cover: None, ..at(4, 1.0) },
        ];
        let forecast = of(rows)?;
        assert_eq!((forecast.hours.len(), forecast.implausible_hours), (5, 3));
        assert_eq!(forecast.hours[0].dew_point, None);
        assert_eq!((forecast.hours[1].wind_10m, forecast.hours[1].cloud_cover), (None, None));
        assert_eq!(forecast.hours[2].dew_point, None);
        assert!(forecast.hours[3].dew_point.is_some_and(|t_d| (t_d.0 - 1.0).abs() < 1e-9));
        assert_eq!(forecast.cell_elevation, None);
        Ok(())
    }

    #[test]
    fn of_two_rows_for_one_hour_the_colder_is_kept_whole() -> Result<(), FeedFault> {
        let forecast = of(vec![at(5, 1.0), at(3, 2.0), at(5, -1.0), at(5, 0.0)])?;
        let kept: Vec<_> = forecast.hours.iter().map(|hour| (hour.air_temperature, hour.dew_point)).collect();
        assert_eq!(kept, [(Celsius(2.0), Some(Celsius(0.0))), (Celsius(-1.0), Some(Celsius(-3.0)))]);
        Ok(())
    }

    #[test]
    fn no_temperature_at_all_is_an_empty_feed() {
        assert_eq!(of(vec![Row::at(DateTime::UNIX_EPOCH, None)]), Err(FeedFault::Empty));
    }
}
