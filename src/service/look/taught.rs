//! What the store holds of past nights, put into a garden before its list is made.

use crate::beds::Garden;
use crate::lessons::figures::{self, Accepts};
use crate::lessons::forecasts::{COLD_ENOUGH, NIGHTS_OF_A_LIST};
use crate::lessons::{Lessons, covered, lows, span_of};
use crate::night::screen::Span;
use crate::service::store::{Store, StoreFault};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

/// Said where [`teach`] could not.
pub const NOT_TAUGHT: &str = "What this garden's nights have taught could not be read: published figures are used.";

/// Puts into a garden what its nights before one have taught, as far as it acts. Where the store cannot be read the garden
/// stays as its file has it, and the caller says so.
pub async fn teach(store: &Store, garden: &mut Garden, of: NightOf) -> Result<(), StoreFault> {
    let (lessons, accepts) = lessons(store, garden, of, true).await?;
    figures::apply(garden, &lessons, &accepts);
    Ok(())
}

/// Everything that there is to learn from before a night, at the beds too, with what was accepted.
pub async fn all_lessons(store: &Store, garden: &Garden, of: NightOf) -> Result<(Lessons, Accepts), StoreFault> {
    lessons(store, garden, of, false).await
}

async fn lessons(
    store: &Store,
    garden: &Garden,
    of: NightOf,
    screen_alone: bool,
) -> Result<(Lessons, Accepts), StoreFault> {
    let names = store.accepted(&garden.id).await?;
    let of_a_list = screen_alone.then_some((NIGHTS_OF_A_LIST, COLD_ENOUGH));
    let nights = store.nights_foretold(&garden.id, of, of_a_list).await?;
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
    let (Some(first), Some(last)) = (nights.first(), nights.last()) else {
        return Ok((Lessons { confirmed, ..Lessons::default() }, accepts));
    };
    let spans: Vec<Span> = nights.iter().map(|night| span_of(garden, *night)).collect();
    let logged = store.logged_nights(&garden.id, &spans, screen_alone).await?;
    let interval = interval(&spans);
    let entries = store.minima(&garden.id, interval, screen_alone).await?;
    let lows = lows::of(garden, &logged, &entries);
    // Without a low nothing can be learned of a night.
    let foretold = match lows.is_empty() {
        true => Vec::new(),
        false => store.foretold(&garden.id, *first, *last).await?,
    };
    let covered = match screen_alone {
        true => Default::default(),
        false => covered(garden, &store.entries(&garden.id, Some(interval)).await?),
    };
    Ok((Lessons { foretold, lows, confirmed, covered }, accepts))
}

/// From the day before the first night to the noon after the last.
fn interval(spans: &[Span]) -> (DateTime<Utc>, DateTime<Utc>) {
    let first = spans.first().map_or(DateTime::UNIX_EPOCH, |span| span.sunset - Duration::days(1));
    let last = spans.last().map_or(DateTime::UNIX_EPOCH, |span| span.sunrise + Duration::hours(12));
    (first, last)
}
