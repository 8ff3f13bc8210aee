//! Does each feed give each garden a forecast of the coming night?

use super::{Doctor, Finding};
use crate::night::screen::{Evidence, expect};
use crate::rounds::night_at;
use crate::service::health::spoken;
use crate::service::look::{Sources, span_of};
use crate::settings::{FeedChoice, GardenSettings};

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
        let evidence = Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, now };
        match expect(&evidence, &span) {
            Ok(_) => Finding::ok(
                about,
                format!("it knows the coming night; its forecast is {} old", spoken(Some(forecast.age(now)))),
            ),
            Err(why) => Finding::wrong(about, format!("it answers, but {why}"), "Name a second feed for this garden"),
        }
    }
}
