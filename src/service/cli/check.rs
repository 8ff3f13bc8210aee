//! `counterpane check`: are the settings sound, and what follows from them.

use super::{Configuration, Done, Failure, print};
use crate::rounds::next_round;
use crate::units::Scale;
use chrono::Utc;
use clap::Args;
use std::fmt::Write;

#[derive(Debug, Args)]
pub(super) struct Check {
    #[command(flatten)]
    configuration: Configuration,
    /// List all crops and their stages, as they are written in the settings
    #[arg(long)]
    crops: bool,
}

impl Check {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.configuration.read()?;
        super::can_be_written_to(&settings)?;
        let mut text = String::new();
        for settings_of in &settings.gardens {
            let garden = &settings_of.garden;
            let plantings: usize = garden.beds.iter().map(|bed| bed.plantings.len()).sum();
            let covers: u32 = garden.covers.iter().map(|stock| stock.count).sum();
            let feeds: Vec<&str> = settings_of.feeds.iter().map(|feed| feed.name.as_str()).collect();
            let scale = if garden.shown == Scale::Fahrenheit { "Fahrenheit" } else { "Celsius" };
            // Writing to a text in memory cannot fail.
            let _ = writeln!(
                text,
                "{} ({}): {} beds, {plantings} plantings, {covers} covers, {} people; feeds {}; shown in {scale}.",
                garden.name,
                garden.id,
                garden.beds.len(),
                garden.people.len(),
                feeds.join(", ")
            );
            let mut after = Utc::now();
            for _ in 0..4 {
                let next = next_round(&settings.service.timetable, &garden.site, &garden.zone, after);
                let Some(round) = next else { break };
                let local = garden.zone.local(round.due);
                let abbreviation = garden.zone.abbreviation(round.due);
                let _ =
                    writeln!(text, "  next: {} {} {abbreviation}", local.format("%A %-d %B %H:%M"), round.kind.word());
                after = round.due;
            }
        }
        if self.crops {
            for crop in settings.catalogue.crops.values() {
                let _ = writeln!(text, "{} ({}): {}", crop.id, crop.name, crop.stages.join(", "));
            }
        }
        print(&format!("{text}The settings are sound. {} crops are known.\n", settings.catalogue.crops.len()))?;
        Ok(Done::Well)
    }
}
