//! Forecast documents for a place in the east of the United States, in the shape of their providers. All values are
//! invented: a straight fall from the warmest hour, 20:00 UTC, to the coldest, 12:00 UTC.

use chrono::{DateTime, Duration, SecondsFormat, Timelike, Utc};
use serde_json::{Value, json};

/// A spell of days that are alike.
#[derive(Clone, Copy, Debug)]
pub struct Weather {
    pub issued: DateTime<Utc>,
    /// °C
    pub low: f64,
    /// From this instant on the days are alike with another low.
    pub later: Option<(DateTime<Utc>, f64)>,
    /// Hours that the document leaves out.
    pub hole: Option<(DateTime<Utc>, i64)>,
    /// The same hours are there, and null.
    pub nulls: bool,
    /// Where the cell of the raw grid lies: longitude and latitude of its middle.
    pub cell_at: Option<(f64, f64)>,
    pub unit: &'static str,
}

impl Weather {
    pub fn of_low(low: f64, issued: DateTime<Utc>) -> Weather {
        Weather { issued, low, later: None, hole: None, nulls: false, cell_at: None, unit: "wmoUnit:degC" }
    }

    pub fn then(self, from: DateTime<Utc>, low: f64) -> Weather {
        Weather { later: Some((from, low)), ..self }
    }

    pub fn without(self, from: DateTime<Utc>, hours: i64) -> Weather {
        Weather { hole: Some((from, hours)), ..self }
    }

    fn knows(&self, time: DateTime<Utc>) -> bool {
        self.hole.is_none_or(|(from, hours)| !(from..from + Duration::hours(hours)).contains(&time))
    }

    fn hours(&self) -> impl Iterator<Item = (DateTime<Utc>, f64)> {
        let weather = *self;
        let start = self.issued - Duration::seconds(i64::from(self.issued.num_seconds_from_midnight() % 3600));
        let is_there = move |time: &DateTime<Utc>| weather.nulls || weather.knows(*time);
        // What changes later is seen whole.
        let hours = if self.later.is_some() { 96 } else { 60 };
        (0..hours).map(move |hour| start + Duration::hours(hour)).filter(is_there).map(move |time| {
            // 0 at the coldest hour, 1 at the warmest.
            let since_low = f64::from((time.hour() + 12) % 24);
            let warmth = if since_low <= 8.0 { since_low / 8.0 } else { (24.0 - since_low) / 16.0 };
            let low = weather.later.filter(|(from, _)| time >= *from).map_or(weather.low, |(_, low)| low);
            (time, low + 12.0 * warmth)
        })
    }

    /// As the US National Weather Service gives its raw grid.
    pub fn nws(&self) -> String {
        let layer = |unit: &str, value: &dyn Fn(f64) -> f64| -> Value {
            let values = self.hours().map(|(time, air)| {
                let known = self.knows(time);
                let time = time.to_rfc3339_opts(SecondsFormat::Secs, false);
                json!({"validTime": format!("{time}/PT1H"), "value": known.then(|| value(air))})
            });
            json!({"uom": unit, "values": values.collect::<Vec<Value>>()})
        };
        let geometry = self.cell_at.map(|(x, y)| {
            let corner = |east: f64, north: f64| json!([x + 0.0125 * east, y + 0.0125 * north]);
            let ring = [corner(-1.0, -1.0), corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0), corner(-1.0, -1.0)];
            json!({"type": "Polygon", "coordinates": [ring]})
        });
        let document = json!({
            "type": "Feature",
            "geometry": geometry,
            "properties": {
                "updateTime": self.issued.to_rfc3339_opts(SecondsFormat::Secs, false),
                "elevation": {"unitCode": "wmoUnit:m", "value": 250.0},
                "temperature": layer(self.unit, &|air| air),
                "dewpoint": layer(self.unit, &|_| self.low - 2.0),
                "skyCover": layer("wmoUnit:percent", &|_| 5.0),
                "windSpeed": layer("wmoUnit:km_h-1", &|_| 3.6),
            }
        });
        document.to_string()
    }

    /// As MET Norway gives it.
    pub fn met_norway(&self) -> String {
        let steps = self.hours().map(|(time, air)| {
            let air = self.knows(time).then_some(air);
            json!({
                "time": time.to_rfc3339_opts(SecondsFormat::Secs, true),
                "data": {"instant": {"details": {
                    "air_temperature": air, "dew_point_temperature": self.low - 2.0, "relative_humidity": 60.0,
                    "cloud_area_fraction": 5.0, "wind_speed": 1.0
                }}}
            })
        });
        let document = json!({
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [-80.0, 36.0, 250.0]},
            "properties": {
                "meta": {
                    "updated_at": self.issued.to_rfc3339_opts(SecondsFormat::Secs, true),
                    "units": {
                        "air_temperature": "celsius", "dew_point_temperature": "celsius", "relative_humidity": "%",
                        "cloud_area_fraction": "%", "wind_speed": "m/s"
                    }
                },
                "timeseries": steps.collect::<Vec<Value>>()
            }
        });
        document.to_string()
    }
}
