//! Everything that the store knows of past nights.

use super::taught::doubted;
use super::{mornings, read_back, span_of};
use crate::beds::Garden;
use crate::journal::event::{ForecastAtRound, Known, PlaceLow, Written, lows_of_readings};
use crate::journal::lying::{Stay, stays};
use crate::lessons::lows::{self, NightLow};
use crate::lessons::{Lessons, covered};
use crate::night::screen::Span;
use crate::service::store::{Store, StoreFault};
use crate::zone::NightOf;

/// Everything that the store knows of the nights from one to another, both included. A low that looks like a slip stands
/// apart until somebody has said that it is right, for whoever asks: `doubted` is what `learned` sets aside.
pub async fn known(store: &Store, garden: &Garden, from: NightOf, to: NightOf) -> Result<Known, StoreFault> {
    // All of them: damage may be written down months later, and a cover have lain there for as long.
    let entries = store.entries(&garden.id, None).await?;
    let mornings = mornings(store, garden).await?;
    let stays = stays(garden, &entries, &mornings);
    let Weather { foretold, lows, whole, doubted } = weather(store, garden, &entries, &stays, from, to).await?;
    let rows = store.said_between(&garden.id, from, to).await?;
    Ok(Known {
        foretold,
        lows,
        whole,
        doubted,
        said: rows.iter().filter_map(|row| Some((row.night, read_back(row)?))).collect(),
        mornings,
        entries,
    })
}

fn place_low(NightLow { night, place, low, .. }: NightLow) -> PlaceLow {
    PlaceLow { night, place, low }
}

/// What was foretold and measured.
struct Weather {
    foretold: Vec<ForecastAtRound>,
    lows: Vec<PlaceLow>,
    whole: Vec<PlaceLow>,
    /// In neither of them.
    doubted: Vec<PlaceLow>,
}

async fn weather(
    store: &Store,
    garden: &Garden,
    entries: &[Written],
    stays: &[Stay],
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
    let mut whole = lows::of(garden, &logged, entries);
    whole.retain(|low| low.is_whole() && (from..=to).contains(&low.night));
    let confirmed = lows::sure(garden, &whole, entries);
    let foretold = store.foretold(&garden.id, from, to).await?;
    let covered = covered(garden, stays, &nights.into_iter().collect());
    let seen = Lessons { foretold, lows: whole, confirmed, covered, ..Lessons::default() };
    let doubted = doubted(store, garden, seen.clone()).await?;
    let Lessons { foretold, lows: whole, .. } = seen;
    let mut whole: Vec<PlaceLow> = whole.into_iter().map(place_low).collect();
    let counts = |low: &PlaceLow| {
        let is_that = |doubted: &NightLow| {
            doubted.night == low.night && doubted.place == lows::without_cover(&low.place) && doubted.low == low.low
        };
        !doubted.iter().any(is_that)
    };
    lows.retain(counts);
    whole.retain(counts);
    Ok(Weather { foretold, lows, whole, doubted: doubted.into_iter().map(place_low).collect() })
}
