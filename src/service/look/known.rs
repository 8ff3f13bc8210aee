//! Everything that the store knows of past nights.

use super::{mornings, read_back, span_of};
use crate::beds::Garden;
use crate::journal::event::{ForecastAtRound, Known, PlaceLow, Written, lows_of_readings};
use crate::lessons::lows::{self, NightLow};
use crate::night::screen::Span;
use crate::service::store::{Store, StoreFault};
use crate::zone::NightOf;

/// Everything that the store knows of the nights from one to another, both included.
pub async fn known(store: &Store, garden: &Garden, from: NightOf, to: NightOf) -> Result<Known, StoreFault> {
    // All of them: damage may be written down months later, and a cover have lain there for as long.
    let entries = store.entries(&garden.id, None).await?;
    let Weather { foretold, lows, whole } = weather(store, garden, &entries, from, to).await?;
    let rows = store.said_between(&garden.id, from, to).await?;
    Ok(Known {
        foretold,
        lows,
        whole,
        said: rows.iter().filter_map(|row| Some((row.night, read_back(row)?))).collect(),
        mornings: mornings(store, garden).await?,
        entries,
    })
}

/// What was foretold and measured.
struct Weather {
    foretold: Vec<ForecastAtRound>,
    lows: Vec<PlaceLow>,
    whole: Vec<PlaceLow>,
}

async fn weather(
    store: &Store,
    garden: &Garden,
    entries: &[Written],
    from: NightOf,
    to: NightOf,
) -> Result<Weather, StoreFault> {
    let mut lows = store.lows_of_logs(&garden.id, garden.site.longitude, from, to).await?;
    let typed = lows_of_readings(entries, garden.site.longitude);
    lows.extend(typed.into_iter().filter(|low| (from..=to).contains(&low.night)));
    lows.sort_by(|a, b| (a.night, &a.place).cmp(&(b.night, &b.place)).then(a.low.0.total_cmp(&b.low.0)));
    // Of a place with several thermometers the coldest counts.
    lows.dedup_by(|next, first| next.night == first.night && next.place == first.place);
    let mut nights: Vec<NightOf> = lows.iter().map(|low| low.night).collect();
    nights.dedup();
    let spans: Vec<Span> = nights.iter().map(|night| span_of(garden, *night)).collect();
    let logged = store.logged_nights(&garden.id, &spans, false).await?;
    let is_whole = |low: &NightLow| low.is_whole() && (from..=to).contains(&low.night);
    let whole = lows::of(garden, &logged, entries).into_iter().filter(is_whole);
    let whole = whole.map(|NightLow { night, place, low, .. }| PlaceLow { night, place, low }).collect();
    Ok(Weather { foretold: store.foretold(&garden.id, from, to).await?, lows, whole })
}
