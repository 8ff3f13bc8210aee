//! `counterpane event`: the cold nights with figures, and the whole story of one.

use super::{Configuration, Done, Failure, choose, print};
use crate::beds::Garden;
use crate::journal::at_risk::{NightBehind, at_risk};
use crate::journal::event::{Known, PlaceLow, cold_nights, lows_of_readings};
use crate::lessons::lows::{self, NightLow};
use crate::lessons::span_of;
use crate::message::cold_night::{list_of_cold_nights, story};
use crate::night::screen::Span;
use crate::plan::said::Said;
use crate::service::store::{Open, Store};
use crate::zone::NightOf;
use chrono::{DateTime, NaiveDate, Utc};
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct EventCommand {
    /// The date of the night's evening; leave it out for a list of all cold nights
    #[arg(value_name = "DATE", value_parser = super::date)]
    date: Option<NaiveDate>,
    #[command(flatten)]
    configuration: Configuration,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// Of a list: from this evening on
    #[arg(long, value_name = "DATE", value_parser = super::date, conflicts_with = "date")]
    from: Option<NaiveDate>,
    /// Of a list: up to this evening
    #[arg(long, value_name = "DATE", value_parser = super::date, conflicts_with = "date")]
    to: Option<NaiveDate>,
    /// Pretend that it is this time, such as 2027-01-16T18:40:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    now: Option<DateTime<Utc>>,
}

impl EventCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let now = self.now.unwrap_or_else(Utc::now);
        let settings = self.configuration.read(now)?;
        let garden = &choose(&settings, self.garden.as_deref())?.garden;
        let path = self.configuration.store_path(&settings);
        let today = garden.zone.local(now).date_naive();
        let first = self.date.or(self.from).or(NaiveDate::from_ymd_opt(1970, 1, 2)).unwrap_or_default();
        let last = self.date.or(self.to).unwrap_or(today);
        let span = (NightOf(first), NightOf(last));
        let known = super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ExistingOnly).await?;
            let known = known(&store, garden, span.0, span.1).await?;
            store.close().await;
            Ok::<_, Failure>(known)
        })?;
        let nights = cold_nights(garden, &settings.catalogue, &known);
        print(&match self.date {
            Some(date) => {
                let of = NightOf(date);
                let said: Vec<Said> = known.said.iter().map(|(_, said)| said.clone()).collect();
                let foretold = known.foretold.iter().rfind(|round| round.is_of_its_day(garden.site.longitude));
                let night = NightBehind { of, said: &said, foretold, lows: &known.lows };
                let is_over = span_of(garden, of).sunrise <= now;
                let at_risk = if is_over { at_risk(garden, &settings.catalogue, night) } else { Vec::new() };
                story(of, nights.iter().find(|night| night.of.0 == date), &known, &at_risk, garden)
            }
            None => list_of_cold_nights(&nights, garden),
        })?;
        Ok(Done::Well)
    }
}

/// Everything that the store knows of the nights from one to another, both included.
pub(super) async fn known(store: &Store, garden: &Garden, from: NightOf, to: NightOf) -> Result<Known, Failure> {
    // All of them: damage may be written down months later, and a cover have lain there for as long.
    let entries = store.entries(&garden.id, None).await?;
    let mut lows = store.lows_of_logs(&garden.id, garden.site.longitude, from, to).await?;
    let typed = lows_of_readings(&entries, garden.site.longitude);
    lows.extend(typed.into_iter().filter(|low| (from..=to).contains(&low.night)));
    lows.sort_by(|a, b| (a.night, &a.place).cmp(&(b.night, &b.place)).then(a.low.0.total_cmp(&b.low.0)));
    // Of a place with several thermometers the coldest counts.
    lows.dedup_by(|next, first| next.night == first.night && next.place == first.place);
    let mut nights: Vec<NightOf> = lows.iter().map(|low| low.night).collect();
    nights.dedup();
    let spans: Vec<Span> = nights.iter().map(|night| span_of(garden, *night)).collect();
    let logged = store.logged_nights(&garden.id, &spans, false).await?;
    let is_whole = |low: &NightLow| low.is_whole() && (from..=to).contains(&low.night);
    let whole = lows::of(garden, &logged, &entries).into_iter().filter(is_whole);
    let whole = whole.map(|NightLow { night, place, low, .. }| PlaceLow { night, place, low }).collect();
    let mut said = Vec::new();
    for row in store.said_between(&garden.id, from, to).await? {
        match serde_json::from_str(&row.document) {
            Ok(document) => said.push((row.night, document)),
            Err(fault) => tracing::error!(night = %row.night, %fault, "what was said cannot be read back"),
        }
    }
    Ok(Known { foretold: store.foretold(&garden.id, from, to).await?, lows, whole, said, entries })
}
