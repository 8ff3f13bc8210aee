//! `counterpane demo`: the whole evening of an invented garden, through the same store, outbox and mail as the service.

use super::{Done, Failure, print};
use crate::beds::Role;
use crate::message::{Context, Reader, evening_letter, plain_text, quoted};
use crate::plan::said::SayReason;
use crate::plan::spell::TOLD;
use crate::plan::{Before, turning};
use crate::rounds::night_at;
use crate::service::clock::Clock;
use crate::service::daemon::{Daemon, PATIENCE, Shared};
use crate::service::feed::Fetcher;
use crate::service::files::{DEMO_FORECAST, GARDENS, demo};
use crate::service::look;
use crate::service::mail::{Delivery, Mailer};
use crate::service::store::{Open, Store};
use crate::settings::{FeedChoice, Files, list as fault_list, settings};
use crate::weather::Provider;
use chrono::{DateTime, TimeZone, Utc};
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Where to leave the mail and the store of the demo
    #[arg(long, value_name = "DIR", default_value = "counterpane-demo")]
    out: PathBuf,
}

/// The demo's forecast was issued at 15:00 UTC; the garden's afternoon round comes at 13:00 its time.
fn afternoon() -> Option<DateTime<Utc>> {
    Utc.with_ymd_and_hms(2027, 1, 16, 18, 0, 5).single()
}

impl Demo {
    /// Its settings, for whoever wants to look at them or to begin their own with them. What is there already stays: it
    /// may have been changed.
    fn leave_settings(&self) -> std::io::Result<PathBuf> {
        let folder = self.out.join("settings");
        let Files { service, gardens, .. } = demo();
        let gardens = gardens.into_iter().map(|(name, text)| (format!("{GARDENS}/{name}"), text));
        std::fs::create_dir_all(folder.join(GARDENS))?;
        for (name, text) in std::iter::once(service).chain(gardens) {
            let file = folder.join(name);
            if !file.exists() {
                std::fs::write(file, text)?;
            }
        }
        Ok(folder)
    }

    pub fn run(&self) -> Result<Done, Failure> {
        let mut settings = settings(&demo()).map_err(|faults| Failure::Settings(fault_list(&faults)))?;
        let unexpected = |what: String| Failure::Unexpected(what);
        let now = afternoon().ok_or_else(|| unexpected("The demo's date cannot be read.".into()))?;
        let at_fault = |error: std::io::Error| {
            let out = self.out.display();
            unexpected(format!("The folder {out} cannot be written: {error}. Choose another with --out."))
        };
        std::fs::create_dir_all(&self.out).map_err(at_fault)?;
        let forecast_file = self.out.join("forecast.json");
        std::fs::write(&forecast_file, DEMO_FORECAST).map_err(at_fault)?;
        for garden in &mut settings.gardens {
            let file = FeedChoice {
                name: "demo".into(),
                provider: Provider::NationalWeatherService,
                address: Some("forecast.json".into()),
            };
            garden.feeds = vec![file];
        }
        // Each demo begins anew: the same evening would else be known already and nothing would be said.
        for leftover in ["demo.sqlite", "demo.sqlite-wal", "demo.sqlite-shm"] {
            match std::fs::remove_file(self.out.join(leftover)) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(at_fault(error)),
                _ => {}
            }
        }
        let mail_folder = self.out.join("mail");
        let mailer = Mailer::new(Delivery::Folder(mail_folder.clone()));
        let fetcher = Fetcher::new(&settings.service.operator).map_err(|fault| unexpected(fault.to_string()))?;
        let clock = Clock::starting_at(now);
        let sent = super::runtime()?.block_on(async {
            let store = Store::open(&self.out.join("demo.sqlite"), Open::ReadWrite).await?;
            let daemon = Daemon {
                settings: &settings,
                folder: &self.out,
                store: &store,
                mailer: &mailer,
                fetcher: &fetcher,
                clock: &clock,
                patience: PATIENCE,
                substitute_because: None,
                shared: Shared::default(),
            };
            let faults = daemon.due_rounds().await;
            let delivered = daemon.deliver().await;
            store.close().await;
            match faults.into_iter().next() {
                Some(fault) => Err(unexpected(format!("The demo's round could not be made: {fault}"))),
                None => Ok(delivered?.sent),
            }
        })?;
        let forecast = crate::service::feed::decode(&Provider::NationalWeatherService, DEMO_FORECAST, now)
            .map_err(|fault| unexpected(fault.to_string()))?;
        for garden in &settings.gardens {
            let of = night_at(&garden.garden.site, &garden.garden.zone, now);
            let forecasts = std::slice::from_ref(&forecast);
            let mut spell =
                look::spell(&garden.garden, &settings.catalogue, of, TOLD, forecasts, &[], Before::default(), now);
            turning::find(&mut spell.tonight, &settings.catalogue, Before::default());
            let plan = &spell.tonight;
            let context = Context { spell: Some(&spell), ..Context::new(SayReason::First) };
            let letter = evening_letter(plan, &context, Reader { role: Role::Manager });
            print(&format!("Subject: {}\n\n{}\n", letter.subject, plain_text(&letter)))?;
        }
        let folder = self.leave_settings().map_err(at_fault)?;
        let bed = settings.gardens.iter().flat_map(|garden| &garden.garden.beds).next();
        print(&format!(
            "This is an invented garden on an invented night. {sent} messages, one for each of its people, are in {} as\n\
             .eml files; any mail program opens them. Its settings are in {}. To take a number apart:\n\
             counterpane explain --config {} --feed {} --now {} --bed {}\n",
            mail_folder.display(),
            folder.display(),
            quoted(&folder.display().to_string()),
            quoted(&forecast_file.display().to_string()),
            now.to_rfc3339_opts(chrono::SecondsFormat::Secs, true),
            bed.map_or("R1", |bed| bed.id.as_str())
        ))?;
        if sent == 0 {
            Err(unexpected("No message of the demo was written; that is a fault of the program.".into()))
        } else {
            Ok(Done::Well)
        }
    }
}
