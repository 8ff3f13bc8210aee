//! `counterpane explain`: every step of one bed's number.

use super::weather::WeatherArguments;
use super::{Configuration, Done, Failure, print};
use crate::message::explain::explain;
use crate::plan::Measure;
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct Explain {
    #[command(flatten)]
    configuration: Configuration,
    #[command(flatten)]
    weather: WeatherArguments,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// The label of the bed
    #[arg(long, value_name = "BED")]
    bed: String,
}

impl Explain {
    pub fn run(&self) -> Result<Done, Failure> {
        let mut settings = self.configuration.read(self.weather.now())?;
        let at_hand = self.weather.at_hand(&self.configuration, &mut settings, self.garden.as_deref())?;
        let (plan, troubles) = at_hand.list(&settings)?;
        let bed = plan.beds.iter().find(|bed| bed.risk.bed.id == self.bed).ok_or_else(|| {
            let ids: Vec<&str> = plan.garden.beds.iter().map(|bed| bed.id.as_str()).collect();
            Failure::Settings(format!("No bed is labelled \"{}\". There are: {}.", self.bed, ids.join(", ")))
        })?;
        print(&explain(&plan, bed, &settings.catalogue))?;
        for trouble in troubles {
            print(&format!("{trouble}\n"))?;
        }
        Ok(if bed.measure == Measure::Unknown { Done::WithoutWeather } else { Done::Well })
    }
}
