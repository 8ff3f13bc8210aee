//! `counterpane tonight`: the list now, from the same path as the daemon's.

use super::weather::WeatherArguments;
use super::{Configuration, Done, Failure, choose, print};
use crate::beds::Role;
use crate::message::{Context, Reader, document, evening_letter, plain_text};
use crate::plan::Measure;
use crate::plan::said::SayReason;
use crate::rounds::night_at;
use crate::service::look::list;
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct Tonight {
    #[command(flatten)]
    configuration: Configuration,
    #[command(flatten)]
    weather: WeatherArguments,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// Print a document for other programs instead of the list
    #[arg(long)]
    json: bool,
}

impl Tonight {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.configuration.read()?;
        let garden = choose(&settings, self.garden.as_deref())?;
        let now = self.weather.now();
        let of = night_at(&garden.garden.site, &garden.garden.zone, now);
        let (gathered, readings) = self.weather.gather(&self.configuration, &settings, garden, of)?;
        let plan = list(&garden.garden, &settings.catalogue, of, &gathered.forecasts, &readings, now);
        if self.json {
            let document = serde_json::to_string_pretty(&document::document(&plan))
                .map_err(|error| Failure::Unexpected(format!("The document cannot be written: {error}.")))?;
            print(&format!("{document}\n"))?;
        } else {
            let reason = if plan.is_quiet() { SayReason::AllQuiet } else { SayReason::First };
            let context =
                Context { reason, since: None, next_word_by: None, late_by: None, troubles: &gathered.troubles };
            let letter = evening_letter(&plan, &context, Reader { role: Role::Manager });
            print(&format!("{}\n\n{}", letter.subject, plain_text(&letter)))?;
        }
        Ok(if plan.count(Measure::Unknown) > 0 { Done::WithoutWeather } else { Done::Well })
    }
}
