//! `counterpane event`: the cold nights with figures, and the whole story of one.

use super::{Configuration, Done, Failure, choose, nothing_yet, print};
use crate::journal::at_risk::{NightBehind, at_risk};
use crate::journal::event::cold_nights;
use crate::journal::taken::taken;
use crate::lessons::span_of;
use crate::message::cold_night::{list_of_cold_nights, story};
use crate::plan::said::Said;
use crate::service::look;
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
        if !path.exists() {
            print(&(nothing_yet(&path) + "\n"))?;
            return Ok(Done::Well);
        }
        let today = garden.zone.local(now).date_naive();
        let first = self.date.or(self.from).or(NaiveDate::from_ymd_opt(1970, 1, 2)).unwrap_or_default();
        let last = self.date.or(self.to).unwrap_or(today);
        let span = (NightOf(first), NightOf(last));
        let known = super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ExistingOnly).await?;
            let known = look::known(&store, garden, span.0, span.1).await?;
            store.close().await;
            Ok::<_, Failure>(known)
        })?;
        let nights = cold_nights(garden, &settings.catalogue, &known);
        print(&match self.date {
            Some(date) => {
                let of = NightOf(date);
                let said: Vec<Said> = known.said.iter().map(|(_, said)| said.clone()).collect();
                let foretold = known.foretold.iter().rfind(|round| round.is_of_its_day(garden.site.longitude));
                let taken = taken(garden, &known.entries, &[], of);
                let night = NightBehind { of, said: &said, foretold, taken: &taken, lows: &known.lows };
                let is_over = span_of(garden, of).sunrise <= now;
                let at_risk = if is_over { at_risk(garden, &settings.catalogue, night) } else { Vec::new() };
                story(of, nights.iter().find(|night| night.of.0 == date), &known, &at_risk, garden, now)
            }
            None => list_of_cold_nights(&nights, &known, garden),
        })?;
        Ok(Done::Well)
    }
}
