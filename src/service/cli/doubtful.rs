//! Whether a temperature that somebody is about to write down looks like a slip of hand, beside the forecast of its hour or
//! the lows of the week before.

use super::Failure;
use super::writing::{Desk, both, refused};
use crate::journal::event::{Written, lows_of_readings, night_of, night_of_sample};
use crate::journal::{Place, Reading, Sampled, What};
use crate::learn::doubt::{ASKED_FROM, Doubt, of_temperature};
use crate::night::Estimate;
use crate::night::screen::TOO_WARM;
use crate::service::look::known;
use crate::service::store::{Open, Store};
use crate::units::{Celsius, Kelvins, Scale};
use crate::weather::Forecast;
use chrono::{DateTime, Duration, Utc};
use std::path::Path;

/// Lows of so many nights say what is to be expected where no forecast does.
const NIGHTS: Duration = Duration::days(7);
/// From this much below the coldest of them to this much above the warmest nobody is asked, K (assumed: a cold spell, and
/// the warmth of a day).
const BELOW: f64 = 12.0;
const ABOVE: f64 = 20.0;

/// Two thermometers side by side differ by so much at most, K (assumed: each errs by 0.5 K).
const THERMOMETERS: Kelvins = Kelvins(1.0);

/// What was to be expected, and in words what says so.
struct Expected {
    of: Estimate,
    by: String,
}

/// Asks whether a reading of the air is right, where it looks like a slip. `replaces` is the entry that it stands for.
pub(super) fn ask(
    desk: &Desk<'_>,
    path: &Path,
    reading: &Reading,
    at: DateTime<Utc>,
    typed: Scale,
    replaces: Option<i64>,
) -> Result<(), Failure> {
    let is_under = matches!(reading.place, Place::UnderCover { .. });
    let is_of_air = is_under || matches!(reading.place, Place::Screen | Place::Bed { .. });
    if !is_of_air || matches!(reading.of, Sampled::Maximum { .. }) || !path.exists() {
        return Ok(());
    }
    let (outside, expected) = super::runtime()?.block_on(async {
        let store = Store::open(path, Open::ExistingOnly).await?;
        let outside = if is_under { outside(&store, desk, reading, at).await? } else { None };
        let expected = expected(&store, desk, reading, at, replaces).await;
        store.close().await;
        Ok::<_, Failure>((outside, expected?))
    })?;
    if let Some(Outside { low, place, .. }) = outside.filter(|outside| reading.temperature < outside.least) {
        let by = (reading.temperature - low).size(typed);
        return Err(refused(format!(
            "{} {} is {by} colder than the night's low {place}, {}, and no cover makes it colder. Are the two swapped, or \
             was it off? Write it anew, or add --sure if it is right as it stands",
            both(reading.temperature),
            reading.place,
            both(low),
        )));
    }
    // Under a cover it may be as warm as it likes.
    if is_under && expected.iter().any(|expected| reading.temperature >= expected.of.mean) {
        return Ok(());
    }
    // Where one feed would have it so, it is no slip.
    let doubts: Option<Vec<Doubt>> =
        expected.iter().map(|expected| of_temperature(reading.temperature, expected.of)).collect();
    match (doubts.as_deref(), expected.first()) {
        (Some([doubt, ..]), Some(expected)) => Err(refused(question(reading.temperature, *doubt, expected, typed))),
        _ => Ok(()),
    }
}

/// How cold a night was outside a cover.
struct Outside {
    low: Celsius,
    place: Place,
    /// A thermometer under the cover can hardly have shown less.
    least: Celsius,
}

/// The low outside of the night of a reading: in the air at its bed, else at the garden's screen, from which the bed may
/// differ by its exposure. `None` where no thermometer saw that night through.
async fn outside(
    store: &Store,
    desk: &Desk<'_>,
    reading: &Reading,
    at: DateTime<Utc>,
) -> Result<Option<Outside>, Failure> {
    let garden = desk.garden;
    let Some(bed) = garden.beds.iter().find(|bed| reading.place.bed() == Some(&bed.id)) else { return Ok(None) };
    let night = night_of_sample(at, reading.of, garden.site.longitude);
    let known = known(store, garden, night, night).await?;
    let colder = Kelvins(bed.offset_in_use().0.min(0.0) - bed.exposure.effect().offset_spread.0);
    let places = [(Place::Bed { bed: bed.id.clone() }, Kelvins(0.0)), (Place::Screen, colder)];
    Ok(places.into_iter().find_map(|(place, colder)| {
        let low = known.whole.iter().find(|low| low.place == place)?.low;
        Some(Outside { low, place, least: low + colder - THERMOMETERS })
    }))
}

fn question(value: Celsius, doubt: Doubt, expected: &Expected, typed: Scale) -> String {
    let other = match (doubt, typed) {
        (Doubt::LooksLikeFahrenheit { would_be }, Scale::Celsius) => {
            format!("Is it {:.1} F ({})", value.0, would_be.tenths(Scale::Celsius))
        }
        (Doubt::LooksLikeCelsius { would_be }, Scale::Fahrenheit) => {
            format!("Is it {:.1} C ({})", value.fahrenheit(), would_be.tenths(Scale::Fahrenheit))
        }
        _ => "Is the number right".into(),
    };
    let off = value - expected.of.mean;
    let than = if off.0 > 0.0 { "warmer" } else { "colder" };
    format!(
        "{} is {} {than} than {}. {other}? Write it anew, or add --sure if it is right as it stands",
        both(value),
        off.size(typed),
        expected.by
    )
}

/// What each feed had for that hour, or that stretch; where none had, what the lows of the week before lead to expect.
async fn expected(
    store: &Store,
    desk: &Desk<'_>,
    reading: &Reading,
    at: DateTime<Utc>,
    replaces: Option<i64>,
) -> Result<Vec<Expected>, Failure> {
    let offset = desk.garden.offset.unwrap_or(Kelvins(0.0));
    let since = match reading.of {
        Sampled::Minimum { since } => since,
        _ => None,
    };
    let foretold: Vec<Expected> = store
        .forecasts(&desk.garden.id)
        .await?
        .iter()
        .filter_map(|forecast| lowest(forecast, since.unwrap_or(at), at))
        .map(|air| air + offset)
        .map(|air| Expected {
            of: Estimate { mean: air, spread: Kelvins(TOO_WARM.0 / ASKED_FROM) },
            by: format!("the forecast had it, {}", both(air)),
        })
        .collect();
    if !foretold.is_empty() {
        return Ok(foretold);
    }
    let longitude = desk.garden.site.longitude;
    let (first, last) = (night_of(at - NIGHTS, longitude), night_of(at, longitude));
    // What a thermometer shows at some hour is no low; and what is about to be replaced is no measure of anything.
    let is_a_low = |written: &Written| match &written.entry.what {
        What::Reading(of) => matches!(of.of, Sampled::Minimum { .. }) && Some(written.id) != replaces,
        _ => false,
    };
    let mut entries = store.entries(&desk.garden.id, Some((at - NIGHTS, at + Duration::days(1)))).await?;
    entries.retain(is_a_low);
    let mut lows = store.lows_of_logs(&desk.garden.id, longitude, first, last).await?;
    lows.extend(lows_of_readings(&entries, longitude));
    let air = lows.iter().filter(|low| matches!(low.place, Place::Screen | Place::Bed { .. })).map(|low| low.low);
    let foretold = store.foretold(&desk.garden.id, first, last).await?;
    let lows: Vec<Celsius> = air.chain(foretold.iter().map(|round| round.low.mean)).collect();
    let (Some(coldest), Some(warmest)) =
        (lows.iter().copied().reduce(Celsius::min), lows.iter().copied().reduce(Celsius::max))
    else {
        return Ok(Vec::new());
    };
    let half = ((warmest - coldest).0 + BELOW + ABOVE) / 2.0;
    Ok(vec![Expected {
        of: Estimate { mean: coldest + Kelvins(half - BELOW), spread: Kelvins(half / ASKED_FROM) },
        by: format!("is to be expected after lows of {} to {}", both(coldest), both(warmest)),
    }])
}

/// The lowest that a forecast had from one instant to another, where it knew both.
fn lowest(forecast: &Forecast, from: DateTime<Utc>, to: DateTime<Utc>) -> Option<Celsius> {
    let ends = forecast.air_at(from)?.min(forecast.air_at(to)?);
    Some(forecast.between(from, to).iter().map(|hour| hour.air_temperature).fold(ends, Celsius::min))
}
