//! `counterpane doctor`: does everything that the service rests on work?

use super::run::{delivery, ping};
use super::{Configuration, Done, Failure, print};
use crate::service::daemon::StoreLock;
use crate::service::doctor::{Doctor, Finding, Mark};
use crate::service::feed::Fetcher;
use crate::service::mail::Mailer;
use crate::service::zones;
use chrono::{DateTime, Utc};
use clap::Args;
use std::time::Duration;

#[derive(Debug, Args)]
pub(super) struct DoctorCommand {
    #[command(flatten)]
    configuration: Configuration,
    /// The longest wait for one weather service, and for the mail server
    #[arg(long, value_name = "SECONDS", default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..=600))]
    patience: u64,
    /// Pretend that it is this time, such as 2027-01-16T13:00:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    now: Option<DateTime<Utc>>,
}

impl DoctorCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let now = self.now.unwrap_or_else(Utc::now);
        let settings = self.configuration.read(now)?;
        super::can_be_written_to(&settings)?;
        let folder = &self.configuration.config;
        let refused = |failure: Failure| Finding {
            mark: Mark::Wrong,
            about: "mail".into(),
            text: failure.to_string(),
            mend: "Where a service manager hands the password over, ask as root while the service runs".into(),
        };
        let fetcher =
            Fetcher::new(&settings.service.operator).map_err(|fault| Failure::Unexpected(fault.to_string()))?;
        let store_path = self.configuration.store_path(&settings);
        let system_zones = zones::system();
        let doctor = Doctor {
            settings: &settings,
            folder,
            store_path: &store_path,
            mailer: delivery(&settings, folder).map(Mailer::new).map_err(refused),
            fetcher: &fetcher,
            system_zones: &system_zones,
            patience: Duration::from_secs(self.patience),
            now,
            clock_is_real: self.now.is_none(),
        };
        let mut findings = super::runtime()?.block_on(doctor.findings());
        // Not called: that would tell a watcher that a round was complete.
        if let Err(failure) = ping(&settings, folder) {
            let (text, mend) = (failure.to_string(), String::new());
            findings.push(Finding { mark: Mark::Wrong, about: "ping".into(), text, mend });
        }
        if store_path.exists() && !StoreLock::is_held(&store_path) {
            let text = format!("no service is running on this store, {}", store_path.display());
            let mend = "Start it, unless a timer calls `counterpane run --once`".into();
            findings.push(Finding { mark: Mark::Note, about: "service".into(), text, mend });
        }
        let shown: String = findings.iter().map(Finding::shown).collect();
        let wrong = findings.iter().filter(|finding| finding.mark == Mark::Wrong).count();
        let end = match wrong {
            0 => "Nothing is wrong.".to_string(),
            1 => "One thing is wrong.".to_string(),
            more => format!("{more} things are wrong."),
        };
        print(&format!("{shown}{end}\n"))?;
        Ok(if wrong == 0 { Done::Well } else { Done::SomethingWrong })
    }
}
