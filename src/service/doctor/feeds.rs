//! Does each feed give each garden a forecast of the coming night?

use super::{Doctor, Finding};
use crate::night::screen::{Evidence, expect};
use crate::night::{Knowledge, Remark};
use crate::rounds::night_at;
use crate::service::health::spoken;
use crate::service::look::{Sources, is_whole_and_young, span_of};
use crate::settings::{FeedChoice, GardenSettings};
use crate::weather::Forecast;
use crate::zone::Zone;
use chrono::{DateTime, Duration, Utc};

const SECOND_FEED: &str = "Name a second feed for this garden";

/// The stretches of more than an hour of which a forecast has no hour, by the garden's clock.
fn missing(forecast: &Forecast, from: DateTime<Utc>, to: DateTime<Utc>, zone: &Zone) -> Vec<String> {
    let known = forecast.between(from, to).iter().map(|hour| hour.time);
    let instants: Vec<_> = std::iter::once(from).chain(known).chain([to]).collect();
    let pairs = instants.iter().zip(instants.iter().skip(1));
    let holes = pairs.filter(|(start, end)| **end - **start > Duration::minutes(61));
    let shown = |at: DateTime<Utc>| zone.local(at).format("%H:%M");
    holes.map(|(start, end)| format!("{} to {}", shown(*start), shown(*end))).collect()
}

impl Doctor<'_> {
    pub(super) async fn feeds(&self) -> Vec<Finding> {
        let mut findings = Vec::new();
        for settings in &self.settings.gardens {
            // One after another: a weather service counts the requests of all our gardens together.
            for choice in &settings.feeds {
                findings.push(self.feed(settings, choice).await);
            }
        }
        findings
    }

    async fn feed(&self, settings: &GardenSettings, choice: &FeedChoice) -> Finding {
        let (garden, now) = (&settings.garden, self.now);
        let about = format!("feed {} for {}", choice.name, garden.id);
        let sources = Sources {
            fetcher: self.fetcher,
            store: None,
            folder: self.folder,
            patience: self.patience,
            spread: std::time::Duration::ZERO,
            clock_is_real: self.clock_is_real,
        };
        let forecast = match sources.ask(garden, choice, now).await {
            Ok(forecast) => forecast,
            Err(fault) => return Finding::of_fault(about, &fault.to_string()),
        };
        if forecast.issued.is_some() && forecast.issued_before(now).is_none() {
            let mend = "Compare the computer's clock with another one; if it is right, wait for the feed's next issue";
            return Finding::wrong(about, "its forecast was issued in the future", mend);
        }
        let span = span_of(garden, night_at(&garden.site, &garden.zone, now));
        let evidence = Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, learned: None, now };
        match expect(&evidence, &span) {
            Ok(night) if !is_whole_and_young(&night) => {
                let mut short = Vec::new();
                if night.knowledge != Knowledge::Complete {
                    let missing = missing(&forecast, span.sunset.max(now), span.end(), &garden.zone);
                    short.push(format!("of the coming night it lacks {}", missing.join(", ")));
                }
                if night.remarks.iter().any(|remark| matches!(remark, Remark::Old { .. })) {
                    short.push(format!("its forecast is {} old", spoken(Some(forecast.age(now)))));
                }
                Finding::wrong(about, format!("it answers, but {}", short.join(", and ")), SECOND_FEED)
            }
            Ok(_) => Finding::ok(
                about,
                format!("it knows the coming night; its forecast is {} old", spoken(Some(forecast.age(now)))),
            ),
            Err(why) => Finding::wrong(about, format!("it answers, but {why}"), SECOND_FEED),
        }
    }
}
