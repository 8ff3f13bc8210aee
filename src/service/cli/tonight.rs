//! `counterpane tonight`: the list now, from the same path as the daemon's.

use super::weather::WeatherArguments;
use super::{Configuration, Done, Failure, complain, print};
use crate::beds::Role;
use crate::message::{Context, Reader, document, evening_letter, hand_out, plain_text};
use crate::plan::Measure;
use crate::plan::said::SayReason;
use crate::plan::spell::TOLD;
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub(super) struct Tonight {
    #[command(flatten)]
    configuration: Configuration,
    #[command(flatten)]
    weather: WeatherArguments,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// Tonight, and how many nights in all; the nights after it in a line each
    #[arg(long, value_name = "NUMBER", default_value_t = TOLD, value_parser = clap::value_parser!(u32).range(1..=7))]
    nights: u32,
    /// Print a document for other programs instead of the list
    #[arg(long)]
    json: bool,
    /// Write the list as one page to print, beside what is printed here; a file that is there is written over
    #[arg(long, value_name = "FILE")]
    hand_out: Option<PathBuf>,
}

impl Tonight {
    pub fn run(&self) -> Result<Done, Failure> {
        let mut settings = self.configuration.read(self.weather.now())?;
        let at_hand = self.weather.at_hand(&self.configuration, &mut settings, self.garden.as_deref())?;
        let (spell, troubles) = at_hand.spell(&settings, self.nights)?;
        let plan = &spell.tonight;
        if let Some(file) = &self.hand_out {
            let shown = file.display();
            std::fs::write(file, hand_out::hand_out(plan)).map_err(|error| {
                Failure::Unexpected(format!(
                    "The page {shown} cannot be written: {error}. Choose another place for it."
                ))
            })?;
            // Beside a document for other programs nothing else is printed.
            complain(&format!("The page to print is {shown}."));
        }
        if self.json {
            let document = serde_json::to_string_pretty(&document::of_spell(&spell))
                .map_err(|error| Failure::Unexpected(format!("The document cannot be written: {error}.")))?;
            print(&format!("{document}\n"))?;
        } else {
            let reason = if plan.is_quiet() { SayReason::AllQuiet } else { SayReason::First };
            let context = Context { spell: Some(&spell), troubles, ..Context::new(reason) };
            let letter = evening_letter(plan, &context, Reader { role: Role::Manager });
            print(&format!("{}\n\n{}", letter.subject, plain_text(&letter)))?;
        }
        Ok(if plan.count(Measure::Unknown) > 0 { Done::WithoutWeather } else { Done::Well })
    }
}
