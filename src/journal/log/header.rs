//! The first line of a log: what its columns measure, and on which scale.

use crate::journal::Sampled;
use crate::journal::lines::separated;
use crate::units::Scale;

/// What a column measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Medium {
    Air,
    UnderCover,
    Soil,
}

/// One column of temperatures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// As the header has it.
    pub name: String,
    pub medium: Medium,
    pub sampled: Sampled,
    pub scale: Scale,
}

/// How the header says times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Times {
    Utc,
    Local,
    WithOffset,
}

/// The columns of a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Header {
    pub(super) times: Times,
    pub(super) time_at: usize,
    pub(super) width: usize,
    pub(super) values: Vec<(usize, Column)>,
}

impl Header {
    /// Reads the names of the columns. `passed_over` are those that the user knows and does not want.
    pub fn read(names: &[&str], passed_over: &[String]) -> Result<Header, String> {
        separated(names.iter().copied())?;
        let mut time = None;
        let mut values: Vec<(usize, Column)> = Vec::new();
        for (index, name) in names.iter().enumerate() {
            let name = name.trim().trim_start_matches('\u{feff}');
            let times = match name.to_lowercase().as_str() {
                "time_utc" | "utc_time" => Some(Times::Utc),
                "time_local" | "local_time" => Some(Times::Local),
                "time" | "timestamp" => Some(Times::WithOffset),
                _ => None,
            };
            if let Some(times) = times {
                if time.is_some() {
                    return Err(format!("{name:?} is a second column of times"));
                }
                time = Some((index, times));
            } else if !passed_over.iter().any(|passed| passed == name) {
                if name.is_empty() {
                    return Err(format!(
                        "its column {} has no name; name it like air_c, or leave it out with --ignore \"\"",
                        index + 1
                    ));
                }
                values.push((index, column(name)?));
            }
        }
        let Some((time_at, times)) = time else {
            return Err(
                "it has no column time_utc or time_local, nor time with an offset in every row; name the column of \
                        times so"
                    .into(),
            );
        };
        if values.is_empty() {
            return Err("it has no column of temperatures, such as air_c or soil_f".into());
        }
        for (at, (_, column)) in values.iter().enumerate() {
            let same = |(_, other): &&(usize, Column)| (other.medium, other.sampled) == (column.medium, column.sampled);
            if let Some((_, other)) = values.iter().take(at).find(same) {
                let what = format!(
                    "{:?} and {:?} are temperatures of the same thing; take in one of them with --ignore for the other",
                    other.name, column.name
                );
                return Err(what);
            }
        }
        Ok(Header { times, time_at, width: names.len(), values })
    }

    /// The columns of temperatures, in their order.
    pub fn columns(&self) -> impl Iterator<Item = &Column> {
        self.values.iter().map(|(_, column)| column)
    }

    /// Whether its times are on a wall clock, of which the zone must be known.
    pub fn is_local(&self) -> bool {
        self.times == Times::Local
    }
}

/// What a column name says.
pub(super) fn column(name: &str) -> Result<Column, String> {
    let lower = name.to_lowercase().replace("°", "_");
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let has = |word: &str| words.contains(&word);
    let scale = match words.last() {
        Some(&("c" | "celsius" | "degc")) => Some(Scale::Celsius),
        Some(&("f" | "fahrenheit" | "degf")) => Some(Scale::Fahrenheit),
        _ => None,
    };
    let sampled = match (has("min") || has("minimum"), has("max") || has("maximum")) {
        (true, false) => Sampled::Minimum { since: None },
        (false, true) => Sampled::Maximum { since: None },
        _ => Sampled::Instant,
    };
    let medium = if has("soil") {
        Medium::Soil
    } else if has("cover") || has("undercover") {
        Medium::UnderCover
    } else {
        Medium::Air
    };
    let temperature = ["air", "soil", "cover", "undercover", "temp", "temperature", "min", "minimum", "max", "maximum"];
    let is_temperature = temperature.iter().any(|word| has(word));
    match (scale, is_temperature) {
        (Some(scale), true) => Ok(Column { name: name.into(), medium, sampled, scale }),
        (None, true) => {
            Err(format!("column {name:?} does not say whether it is in C or F; name it {name}_c or {name}_f"))
        }
        _ if has("date") || has("time") || has("timestamp") || has("datetime") => Err(format!(
            "column {name:?} seems to hold the times; name it time_local or time_utc, and write them like 2027-01-16 06:10"
        )),
        _ => Err(format!(
            "nobody knows what column {name:?} is; name it like air_c, soil_f, min_c or under_cover_c, or leave it out \
             with --ignore {name:?}"
        )),
    }
}
