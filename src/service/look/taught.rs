//! What the store holds of past nights, put into a garden before its list is made.

use super::mornings;
use crate::beds::Garden;
use crate::journal::event::Written;
use crate::journal::found::reports;
use crate::journal::lying::{Stay, stays};
use crate::journal::{Place, Sampled};
use crate::lessons::figures::{self, Accepts};
use crate::lessons::forecasts::{COLD_ENOUGH, NIGHTS_OF_A_LIST};
use crate::lessons::lows::NightLow;
use crate::lessons::rows::LoggedRows;
use crate::lessons::tolerances::Harmed;
use crate::lessons::{Confirmed, Lessons, covered, left_on, lows, span_of};
use crate::night::screen::Span;
use crate::service::store::{Store, StoreFault};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, NaiveDate, Utc};
use std::collections::BTreeSet;

/// Said where [`teach`] could not.
pub const NOT_TAUGHT: &str = "What this garden's nights have taught could not be read: published figures are used.";

/// Puts into a garden what its nights before one have taught, as far as it acts. Where the store cannot be read the garden
/// stays as its file has it, and the caller says so.
pub async fn teach(store: &Store, garden: &mut Garden, of: NightOf) -> Result<(), StoreFault> {
    let Names { accepts, confirmed } = names(store, garden).await?;
    let mut lessons = newest(store, garden, of, true).await?.1;
    lessons.confirmed.extend(confirmed);
    figures::apply(garden, &lessons, &accepts);
    Ok(())
}

/// Everything that there is to learn from, with what was accepted.
#[derive(Debug)]
pub struct All {
    /// Of the newest nights, at the beds too.
    pub lessons: Lessons,
    /// Of the nights that did harm by somebody's report, however long ago: there are few of them in a winter.
    pub of_harm: Lessons,
    pub accepts: Accepts,
    /// What somebody has confirmed here, and what whoever read it was sure of.
    pub confirmed: Confirmed,
    pub sure: Confirmed,
}

/// Everything that there is to learn from before a night.
pub async fn all_lessons(store: &Store, garden: &Garden, of: NightOf) -> Result<All, StoreFault> {
    let Names { accepts, confirmed } = names(store, garden).await?;
    // All of them: a cover may have lain since before the first of these nights.
    let entries = store.entries(&garden.id, None).await?;
    let stays = stays(garden, &entries, &mornings(store, garden).await?);
    let (nights, lessons) = newest(store, garden, of, false).await?;
    let covered = covered(garden, &stays, &nights.into_iter().collect());
    let mut lessons = Lessons { covered, left_on: left_on(&stays), ..lessons };
    let mut of_harm = nights_of_harm(store, garden, of, &entries, &stays).await?;
    let sure = lessons.confirmed.clone();
    lessons.confirmed.extend(confirmed.clone());
    of_harm.confirmed.extend(confirmed.clone());
    Ok(All { lessons, of_harm, accepts, confirmed, sure })
}

/// Of what was seen of some nights, the lows that [`all_lessons`] sets aside until somebody has said that they are right. Only
/// what was foretold is compared with.
pub(super) async fn doubted(store: &Store, garden: &Garden, mut seen: Lessons) -> Result<Vec<NightLow>, StoreFault> {
    let foretold: BTreeSet<NightOf> = seen.foretold.iter().map(|round| round.night).collect();
    seen.lows.retain(|low| foretold.contains(&low.night));
    if seen.lows.is_empty() {
        return Ok(Vec::new());
    }
    // Dates of four digits, as the store has them, are in the order of their text.
    let ever = NightOf(NaiveDate::from_ymd_opt(9999, 12, 31).unwrap_or(NaiveDate::MAX));
    let listed = store.nights_foretold(&garden.id, ever, Some((NIGHTS_OF_A_LIST, COLD_ENOUGH))).await?;
    seen.confirmed.extend(names(store, garden).await?.confirmed);
    Ok(figures::doubted(garden, &seen, &listed.into_iter().collect()))
}

/// What somebody has accepted and confirmed.
struct Names {
    accepts: Accepts,
    confirmed: Confirmed,
}

async fn names(store: &Store, garden: &Garden) -> Result<Names, StoreFault> {
    let names = store.accepted(&garden.id).await?;
    let confirmed = figures::confirmed(names.iter().map(|(name, _)| name));
    let mut accepts = Accepts::new();
    for (name, document) in names {
        match serde_json::from_str(&document) {
            Ok(accepted) => {
                accepts.insert(name, accepted);
            }
            Err(fault) if !name.starts_with("night:") => {
                tracing::error!(garden = garden.id, name, %fault, "what was accepted cannot be read back");
            }
            Err(_) => {}
        }
    }
    Ok(Names { accepts, confirmed })
}

/// The nights that were foretold; for the screen alone, as for a list, the newest cold ones.
async fn newest(
    store: &Store,
    garden: &Garden,
    of: NightOf,
    screen_alone: bool,
) -> Result<(Vec<NightOf>, Lessons), StoreFault> {
    // Most gardens have no thermometer that sees a whole night, and their lists need not ask after 150.
    if screen_alone && !store.has_lows_of_the_screen(&garden.id).await? {
        return Ok((Vec::new(), Lessons::default()));
    }
    let of_a_list = screen_alone.then_some((NIGHTS_OF_A_LIST, COLD_ENOUGH));
    let nights = store.nights_foretold(&garden.id, of, of_a_list).await?;
    let lessons = seen(store, garden, &nights, screen_alone).await?;
    Ok((nights, lessons))
}

/// The nights of which somebody has reported harm, or that there was none, with those reports.
async fn nights_of_harm(
    store: &Store,
    garden: &Garden,
    of: NightOf,
    entries: &[Written],
    stays: &[Stay],
) -> Result<Lessons, StoreFault> {
    let damage: Vec<Harmed> = reports(entries)
        .map(|report| report.damage)
        .filter(|damage| damage.night < of)
        .map(|damage| Harmed { night: damage.night, damage: damage.clone() })
        .collect();
    let nights: BTreeSet<NightOf> = damage.iter().map(|harm| harm.night).collect();
    let lessons = seen(store, garden, &nights.iter().copied().collect::<Vec<_>>(), false).await?;
    let covered = covered(garden, stays, &nights);
    let rows = rows_about(store, garden, &nights).await?;
    Ok(Lessons { covered, damage, rows, ..lessons })
}

/// The rows of loggers about nights, and about the days before them.
async fn rows_about(store: &Store, garden: &Garden, nights: &BTreeSet<NightOf>) -> Result<Vec<LoggedRows>, StoreFault> {
    let mut all = Vec::new();
    for (number, series) in store.series(&garden.id).await? {
        if series.sampled != Sampled::Instant || matches!(series.place, Place::Soil { .. }) {
            continue;
        }
        for night in nights {
            let (place, span) = (lows::without_cover(&series.place), span_of(garden, *night));
            let rows = store.logged(number, LoggedRows::since(&place, &span), span.end()).await?;
            if !rows.is_empty() {
                all.push(LoggedRows { night: *night, place, rows });
            }
        }
    }
    Ok(all)
}

/// What thermometers showed of nights, in order, and what was foretold of them.
async fn seen(store: &Store, garden: &Garden, nights: &[NightOf], screen_alone: bool) -> Result<Lessons, StoreFault> {
    let (Some(first), Some(last), Some(interval)) = (nights.first(), nights.last(), interval(garden, nights)) else {
        return Ok(Lessons::default());
    };
    let spans: Vec<Span> = nights.iter().map(|night| span_of(garden, *night)).collect();
    let logged = store.logged_nights(&garden.id, &spans, screen_alone).await?;
    let entries = store.minima(&garden.id, interval, screen_alone).await?;
    let lows = lows::of(garden, &logged, &entries);
    // Without a low nothing can be learned of a night.
    let foretold = match lows.is_empty() {
        true => Vec::new(),
        false => store.foretold(&garden.id, *first, *last).await?,
    };
    let confirmed = lows::sure(garden, &lows, &entries);
    Ok(Lessons { foretold, lows, confirmed, ..Lessons::default() })
}

/// From the day before the first night to the noon after the last.
fn interval(garden: &Garden, nights: &[NightOf]) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let first = span_of(garden, *nights.first()?).sunset - Duration::days(1);
    Some((first, span_of(garden, *nights.last()?).sunrise + Duration::hours(12)))
}
