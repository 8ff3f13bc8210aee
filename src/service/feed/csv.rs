//! A plain table of hours, for a garden with its own source of weather.
//!
//! The first line names the columns, in any order: `utc_time` and `temp_c`, and if wanted `dew_point_c`, `wind_ms` and
//! `cloud_fraction`. A person has made this table, so nothing in it is guessed or skipped: a fault is named with its
//! line. Only a blank field is a missing value.

use super::FeedFault;
use super::plausible::{Document, Row, believe};
use crate::weather::{Forecast, Provider};
use chrono::{DateTime, NaiveDateTime, Utc};

#[derive(Clone, Copy, PartialEq, Eq)]
enum Column {
    Time,
    AirTemperature,
    DewPoint,
    Wind,
    CloudCover,
}

const COLUMNS: [(&str, Column); 5] = [
    ("utc_time", Column::Time),
    ("temp_c", Column::AirTemperature),
    ("dew_point_c", Column::DewPoint),
    ("wind_ms", Column::Wind),
    ("cloud_fraction", Column::CloudCover),
];

/// The forecast in such a table. It does not say when it was made, so its age counts from the fetch.
pub fn decode(body: &[u8], fetched: DateTime<Utc>) -> Result<Forecast, FeedFault> {
    let text = std::str::from_utf8(body).map_err(|_| FeedFault::not_the_format("the table is not UTF-8 text"))?;
    let mut lines = text.trim_start_matches('\u{feff}').lines().map(str::trim).enumerate();
    let Some((_, header)) = lines.find(|(_, line)| !line.is_empty()) else { return Err(FeedFault::Empty) };
    let columns = columns(header)?;

    let mut rows: Vec<Row> = Vec::new();
    for (index, line) in lines.filter(|(_, line)| !line.is_empty()) {
        let number = index + 1;
        let row = row(&columns, line).map_err(|what| FeedFault::not_the_format(format!("line {number}: {what}")))?;
        match rows.last() {
            Some(last) if last.time == row.time => {
                return Err(FeedFault::not_the_format(format!("line {number}: the same time twice")));
            }
            Some(last) if last.time > row.time => {
                return Err(FeedFault::not_the_format(format!("line {number}: earlier than the line before")));
            }
            _ => rows.push(row),
        }
    }
    believe(Document { provider: Provider::Csv, issued: None, fetched, cell_elevation: None, rows, minima: Vec::new() })
}

/// Whether a line names the columns of such a table.
pub(super) fn is_header(line: &str) -> bool {
    line.split(',').any(|name| name.trim() == "utc_time")
}

fn columns(header: &str) -> Result<Vec<Column>, FeedFault> {
    let mut columns = Vec::new();
    for name in header.split(',').map(str::trim) {
        let Some((_, column)) = COLUMNS.iter().find(|(known, _)| *known == name) else {
            let known = COLUMNS.map(|(known, _)| known).join(", ");
            return Err(FeedFault::not_the_format(format!("unknown column {name:?} in the header; known: {known}")));
        };
        if columns.contains(column) {
            return Err(FeedFault::not_the_format(format!("column {name:?} twice in the header")));
        }
        columns.push(*column);
    }
    for (name, column) in &COLUMNS[..2] {
        if !columns.contains(column) {
            return Err(FeedFault::not_the_format(format!("no column {name} in the header")));
        }
    }
    Ok(columns)
}

fn row(columns: &[Column], line: &str) -> Result<Row, String> {
    let fields: Vec<&str> = line.split(',').map(str::trim).collect();
    if fields.len() != columns.len() {
        return Err(format!("{} fields for {} columns", fields.len(), columns.len()));
    }
    let field =
        |column: Column| columns.iter().zip(&fields).find(|(known, _)| **known == column).map(|(_, text)| *text);
    let value = |column: Column| field(column).filter(|text| !text.is_empty()).map(number).transpose();
    Ok(Row {
        dew_point: value(Column::DewPoint)?,
        wind_10m: value(Column::Wind)?,
        cloud_cover: value(Column::CloudCover)?,
        ..Row::at(time(field(Column::Time).unwrap_or_default())?, value(Column::AirTemperature)?)
    })
}

/// A number, refusing NaN and the infinities, which the parser of the standard library knows.
fn number(text: &str) -> Result<f64, String> {
    text.parse::<f64>().ok().filter(|value| value.is_finite()).ok_or_else(|| format!("{text:?} is not a number"))
}

fn time(text: &str) -> Result<DateTime<Utc>, String> {
    if let Ok(time) = DateTime::parse_from_rfc3339(text) {
        return Ok(time.to_utc());
    }
    match NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M") {
        Ok(time) => Ok(time.and_utc()),
        Err(_) => Err(format!("{text:?} is not a UTC time such as 2026-01-16 05:00 or 2026-01-16T05:00:00Z")),
    }
}

#[cfg(test)]
mod tests;
