//! `counterpane check`: are the settings sound, and what follows from them.

use super::run::{delivery, ping};
use super::{Configuration, Done, Failure, print};
use crate::crops::age::StageFrom;
use crate::message::{self, growth};
use crate::plan::remarks::remarks as garden_remarks;
use crate::risk::stage_of;
use crate::rounds::{next_round, night_at};
use crate::service::zones::{remarks, system};
use crate::settings::{Delivery, PasswordPlace, Ping, Settings};
use crate::units::Scale;
use crate::zone::Zone;
use chrono::Utc;
use clap::Args;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

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
        let settings = self.configuration.read(Utc::now())?;
        super::can_be_written_to(&settings)?;
        let missing = self.missing(&settings);
        if !missing.is_empty() {
            return Err(Failure::Settings(format!("{}\nNothing was started, nothing was sent.", missing.join("\n"))));
        }
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
            for stock in garden.covers.iter().filter(|stock| !stock.shared_with.is_empty()) {
                let _ = writeln!(
                    text,
                    "  {} ({}) is shared with {}.",
                    stock.name,
                    stock.count,
                    stock.shared_with.join(", ")
                );
            }
            let _ = writeln!(text, "  caution {}.", message::caution(garden.caution));
            let _ = writeln!(
                text,
                "    on how many nights each caution would have asked for covers: counterpane replay --garden {} --out FILE",
                garden.id
            );
            let mut after = Utc::now();
            let of = night_at(&garden.site, &garden.zone, after);
            for (bed, planting) in garden.beds.iter().flat_map(|bed| bed.plantings.iter().map(move |it| (bed, it))) {
                let Some(crop) = settings.catalogue.crops.get(&planting.crop) else { continue };
                let stage = stage_of(garden, planting, crop, of);
                if stage.from != StageFrom::Manager {
                    let _ = writeln!(text, "  {}: {} {}", bed.id, bed.name_of(planting, crop), growth::stage(&stage));
                }
            }
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
        for settings_of in &settings.gardens {
            let garden = &settings_of.garden;
            let today = garden.zone.local(Utc::now()).date_naive();
            for remark in garden_remarks(garden, &settings.catalogue, &settings.service.timetable, today) {
                let _ = writeln!(text, "Remark on {}: {}", garden.id, message::remark(&remark, &garden.zone));
            }
        }
        let zones: BTreeMap<&str, &Zone> =
            settings.gardens.iter().map(|settings| (settings.garden.zone.name(), &settings.garden.zone)).collect();
        let system = system();
        for remark in zones.values().flat_map(|zone| remarks(zone, &system, Utc::now())) {
            let _ = writeln!(text, "{} {}", remark.text, remark.mend);
        }
        if self.crops {
            for crop in settings.catalogue.crops.values() {
                let _ = writeln!(text, "{} ({}): {}", crop.id, crop.listed_as, crop.stages.join(", "));
            }
        }
        print(&format!("{text}The settings are sound. {} crops are known.\n", settings.catalogue.crops.len()))?;
        Ok(Done::Well)
    }

    /// What the settings name and is not there, one sentence each.
    fn missing(&self, settings: &Settings) -> Vec<String> {
        let folder = &self.configuration.config;
        let mut missing = Vec::new();
        let password = match &settings.service.mail.delivery {
            Delivery::Smtp(smtp) => smtp.password.as_ref(),
            Delivery::Folder(_) => None,
        };
        if !password.is_some_and(is_handed_over_at_the_start)
            && let Err(fault) = delivery(settings, folder)
        {
            missing.push(fault.to_string());
        }
        let handed_over =
            matches!(&settings.service.signs.ping, Some(Ping::Kept(place)) if is_handed_over_at_the_start(place));
        if !handed_over && let Err(fault) = ping(settings, folder) {
            missing.push(fault.to_string());
        }
        let store = self.configuration.store_path(settings);
        let store_folder = store.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        // One that may not be looked into may be there all the same.
        if store_folder.try_exists().is_ok_and(|there| !there) {
            let shown = store_folder.display();
            missing.push(format!("The folder of the store, {shown}, does not exist. Create it, or correct store."));
        }
        for feed in &settings.service.feeds {
            let file = feed.address.as_ref().filter(|address| !address.contains("://"));
            if let Some(path) = file.map(|file| folder.join(file)).filter(|path| !path.is_file()) {
                let (name, path) = (&feed.name, path.display());
                missing
                    .push(format!("The file of the feed {name}, {path}, is not there. Create it, or correct address."));
            }
        }
        missing
    }
}

/// A service manager puts secrets here when it starts the service and takes them away at its end.
const CREDENTIALS: &str = "/run/credentials";

fn is_handed_over_at_the_start(place: &PasswordPlace) -> bool {
    matches!(place, PasswordPlace::File(path) if path.starts_with(CREDENTIALS))
}
