//! One look at one garden: the best forecast at hand, the evening's readings, and the list that follows from them.

mod sources;

pub use sources::{Gathered, Sources};

use super::store::{Store, StoreFault};
use crate::beds::Garden;
use crate::crops::Catalogue;
use crate::night::past::PastDay;
use crate::night::screen::{Evidence, Span, expect, past};
use crate::night::{Knowledge, Night, NoNight, Remark};
use crate::plan::said::Said;
use crate::plan::{Plan, decide};
use crate::risk::assess;
use crate::rounds::night_hours;
use crate::units::Kelvins;
use crate::weather::{Forecast, Reading};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

/// The stretch of a night at a garden.
pub fn span_of(garden: &Garden, of: NightOf) -> Span {
    let (sunset, sunrise) = night_hours(&garden.site, &garden.zone, of);
    Span { of, sunset, sunrise }
}

fn is_whole(night: &Night) -> bool {
    night.knowledge == Knowledge::Complete
}

/// Whether a night's forecast knows all its hours and is not old: the one that a list is made from first.
pub fn is_whole_and_young(night: &Night) -> bool {
    is_whole(night) && !night.remarks.iter().any(|remark| matches!(remark, Remark::Old { .. }))
}

/// Feeds whose lows are further apart than this speak of different nights, K (a first choice).
const DISAGREEMENT: Kelvins = Kelvins(3.0);

/// The list of a night of which nothing was said yet; see [`list_after`].
pub fn list<'a>(
    garden: &'a Garden,
    catalogue: &'a Catalogue,
    of: NightOf,
    forecasts: &[Forecast],
    readings: &[Reading],
    now: DateTime<Utc>,
) -> Plan<'a> {
    list_after(garden, catalogue, of, forecasts, readings, None, now)
}

/// The list of a night: from the first forecast that knows the whole night and is not old, else from the first that
/// knows it all, else from the first that knows any of it, else from readings alone, else a list that says that nothing
/// is known. A feed that was passed over for its holes or its age and is much colder is believed all the same. `last` is
/// what was last said of this night, which does not change for little.
pub fn list_after<'a>(
    garden: &'a Garden,
    catalogue: &'a Catalogue,
    of: NightOf,
    forecasts: &[Forecast],
    readings: &[Reading],
    last: Option<&Said>,
    now: DateTime<Utc>,
) -> Plan<'a> {
    let span = span_of(garden, of);
    let night_from = |forecast: Option<&Forecast>| {
        expect(&Evidence { forecast, readings, garden_offset: garden.offset, now }, &span)
    };
    let mut nights: Vec<_> = forecasts.iter().map(|forecast| night_from(Some(forecast))).collect();
    nights.push(night_from(None));
    // Where a forecast is of no use, the evening's thermometer has answered in its place. It stands last: a forecast
    // with holes still says more, and is refined by a reading too.
    let from_forecast = |night: &Result<Night, NoNight>, is_good: fn(&Night) -> bool| {
        night.as_ref().is_ok_and(|night| night.provider.is_some() && is_good(night))
    };
    let first = |is_good: fn(&Night) -> bool| nights.iter().position(|night| from_forecast(night, is_good));
    let best = first(is_whole_and_young)
        .or_else(|| first(is_whole))
        .or_else(|| first(|_| true))
        .or_else(|| nights.iter().position(Result::is_ok));
    // Nothing usable: the first feed's reason is the one worth telling.
    let best = best.unwrap_or(0);
    let low = |night: &Result<Night, NoNight>| night.as_ref().ok().map(|night| night.minimum.mean);
    let colder = low(&nights[best]).and_then(|chosen| {
        let forecasts = nights.iter().enumerate().filter(|(_, night)| from_forecast(night, |_| true));
        let others = forecasts.filter_map(|(index, night)| Some((index, low(night)?)));
        let coldest = others.min_by(|(_, a), (_, b)| a.0.total_cmp(&b.0))?;
        (chosen - coldest.1 > DISAGREEMENT).then_some((coldest.0, chosen - coldest.1))
    });
    let mut night = nights.swap_remove(colder.map_or(best, |(index, _)| index));
    if let (Ok(night), Some((_, by))) = (&mut night, colder) {
        night.remarks.push(Remark::FeedsDisagree { by });
    }
    if let Ok(night) = &mut night {
        // Plants remember what the feed that speaks tonight may not: the fullest record counts, its own where it is one.
        let fullest =
            forecasts.iter().map(|forecast| past(forecast, &span, garden.offset)).max_by_key(|past| known_lows(past));
        if let Some(fullest) = fullest.filter(|fullest| known_lows(fullest) > known_lows(&night.past)) {
            night.past = fullest;
        }
    }
    let risks = assess(garden, of, night.as_ref().ok(), catalogue);
    decide(garden, of, span.sunset, night, risks, last, now)
}

/// Of how many past nights the low is known.
fn known_lows(past: &[PastDay]) -> usize {
    past.iter().filter(|day| day.low(Kelvins(0.0)).is_some()).count()
}

/// Readings of an evening, each with the offset of the place where its thermometer hangs.
pub async fn readings(store: &Store, garden: &Garden, of: NightOf) -> Result<Vec<Reading>, StoreFault> {
    let span = span_of(garden, of);
    let rows = store.readings(&garden.id, span.sunset - Duration::hours(1), span.end()).await?;
    let readings = rows.iter().map(|row| {
        let bed = row.bed.as_ref().and_then(|id| garden.beds.iter().find(|bed| bed.id == *id));
        let offset = bed.map_or(Kelvins(0.0), |bed| bed.offset.unwrap_or(bed.exposure.effect().offset));
        Reading { at: row.at, air: row.temperature, dew_point: row.dew_point, offset }
    });
    Ok(readings.collect())
}
