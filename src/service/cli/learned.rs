//! `counterpane learned`: what nights have taught, figure by figure, and what of it acts.

use super::{Configuration, Done, Failure, choose, print};
use crate::learn::Learned;
use crate::lessons::figures::{self, Accepted, Accepts, Kind, Row, of_night};
use crate::message::learned::{document, list};
use crate::rounds::night_at;
use crate::service::look::{All, all_lessons};
use crate::service::store::{Open, Store};
use crate::zone::NightOf;
use chrono::{DateTime, NaiveDate, Utc};
use clap::{Args, Subcommand};

#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(super) struct LearnedCommand {
    #[command(subcommand)]
    change: Option<Change>,
    #[command(flatten)]
    about: About,
    /// Print a document for other programs instead of the list
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Args)]
struct About {
    #[command(flatten)]
    configuration: Configuration,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// Pretend that it is this time, such as 2027-01-16T13:00:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    now: Option<DateTime<Utc>>,
}

#[derive(Debug, Subcommand)]
enum Change {
    /// Let learned figures act as they stand now; or say with night:DATE that what was read on a night is right
    Accept {
        /// Names as the list has them, or "all"
        #[arg(value_name = "FIGURE", required = true)]
        figures: Vec<String>,
        #[command(flatten)]
        about: About,
    },
    /// Let the published figures act again
    TakeBack {
        /// Names as the list has them, or "all"
        #[arg(value_name = "FIGURE", required = true)]
        figures: Vec<String>,
        #[command(flatten)]
        about: About,
    },
}

impl LearnedCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let about = match &self.change {
            Some(Change::Accept { about, .. } | Change::TakeBack { about, .. }) => about,
            None => &self.about,
        };
        let now = about.now.unwrap_or_else(Utc::now);
        let settings = about.configuration.read(now)?;
        let garden = &choose(&settings, about.garden.as_deref())?.garden;
        let of = night_at(&garden.site, &garden.zone, now);
        let path = about.configuration.store_path(&settings);
        if !path.exists() {
            return Err(refused(super::nothing_yet(&path)));
        }
        let text = super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ExistingOnly).await?;
            let All { lessons, of_harm, accepts } = all_lessons(&store, garden, of).await?;
            let (rows, aside) = figures::rows(garden, &settings.catalogue, &lessons, &of_harm, &accepts);
            let text = match &self.change {
                None if self.json => format!("{:#}\n", document(&rows, &aside, &lessons.left_on, garden)),
                None => list(&rows, &aside, &lessons.left_on, garden),
                Some(Change::Accept { figures, .. }) => {
                    let (firmer, rows) = match figures.iter().any(|name| name == "all") {
                        true => rows.into_iter().partition(|row| rests_on_more(&accepts, row)),
                        false => (Vec::new(), rows),
                    };
                    let wanted = match to_accept(figures, &rows, &lessons.confirmed) {
                        Err(_) if !firmer.is_empty() && figures.len() == 1 => Wanted::new(),
                        wanted => wanted?,
                    };
                    store.accept(&garden.id, now, &wanted).await?;
                    let kept = firmer.iter().map(|row| {
                        format!("{0} stays as accepted, for that rests on more nights; to replace it, name it: counterpane learned accept {0}.\n", row.name)
                    });
                    done(&wanted, "is accepted and acts from the next list on") + &kept.collect::<String>()
                }
                Some(Change::TakeBack { figures, .. }) => {
                    let names: Vec<String> = accepts.keys().cloned().collect();
                    let names = names.into_iter().chain(lessons.confirmed.iter().map(|night| of_night(*night)));
                    let wanted = to_take_back(figures, &names.collect::<Vec<_>>())?;
                    store.accept(&garden.id, now, &wanted).await?;
                    done(&wanted, "is taken back")
                }
            };
            store.close().await;
            Ok::<_, Failure>(text)
        })?;
        print(&text)?;
        Ok(Done::Well)
    }
}

/// Whether what was accepted of a figure rests on more nights than what is learned of it now.
fn rests_on_more(accepts: &Accepts, row: &Row) -> bool {
    accepts.get(&row.name).is_some_and(|accepted| accepted.nights > row.learned.nights.len())
}

fn done(figures: &[(String, Option<String>)], what: &str) -> String {
    figures.iter().map(|(name, _)| format!("{name} {what}.\n")).collect()
}

fn refused(what: String) -> Failure {
    Failure::Settings(format!("{what}\nNothing was written."))
}

type Wanted = Vec<(String, Option<String>)>;

/// What is accepted, each with its value as JSON.
fn to_accept(
    names: &[String],
    rows: &[Row],
    confirmed: &std::collections::BTreeSet<NightOf>,
) -> Result<Wanted, Failure> {
    let as_json = |learned: &Learned| -> Result<Option<String>, Failure> {
        let Some(accepted) = Accepted::of(learned) else { return Ok(None) };
        serde_json::to_string(&accepted).map(Some).map_err(|error| Failure::Unexpected(error.to_string()))
    };
    let can_act = |row: &&Row| {
        !matches!(row.kind, Kind::Forecast { .. })
            && row.in_use != figures::InUse::File
            && !row.learned.nights.is_empty()
    };
    let mut wanted = Wanted::new();
    for name in names {
        if name == "all" {
            for row in rows.iter().filter(can_act) {
                wanted.push((row.name.clone(), as_json(&row.learned)?));
            }
            if wanted.is_empty() {
                return Err(refused("Nothing has been learned that waits to be accepted.".into()));
            }
            continue;
        }
        if let Some(night) = name.strip_prefix("night:") {
            let night = night.parse::<NaiveDate>().map(NightOf);
            let night = night.map_err(|_| refused(format!("\"{name}\" names no night; write night:2027-01-15.")))?;
            let is_asked =
                figures::asked(rows).any(|(_, asked)| asked.night == night && asked.doubt.can_be_confirmed());
            if !is_asked && !confirmed.contains(&night) {
                return Err(refused(format!("Nothing that can be confirmed is asked about the night of {night}.")));
            }
            wanted.push((of_night(night), Some("true".into())));
            continue;
        }
        let known: Vec<&str> = rows.iter().map(|row| row.name.as_str()).collect();
        let row = rows.iter().find(|row| row.name == *name).ok_or_else(|| unknown(name, &known))?;
        if matches!(row.kind, Kind::Forecast { .. }) {
            return Err(refused(format!("{name} acts already: what nights say of a forecast waits for nobody.")));
        }
        if row.in_use == figures::InUse::File {
            let mend = "take its line out of the garden's file first";
            return Err(refused(format!(
                "The garden's file has a figure of its own for {name}, which goes before; {mend}."
            )));
        }
        let Some(document) = as_json(&row.learned)? else {
            return Err(refused(format!("Nothing has been learned of {name} yet.")));
        };
        wanted.push((name.clone(), Some(document)));
    }
    Ok(wanted)
}

fn to_take_back(names: &[String], accepted: &[String]) -> Result<Wanted, Failure> {
    let mut wanted = Wanted::new();
    for name in names {
        if name == "all" {
            wanted.extend(accepted.iter().filter(|name| !name.starts_with("night:")).map(|name| (name.clone(), None)));
            if wanted.is_empty() {
                return Err(refused("Nothing is accepted.".into()));
            }
            continue;
        }
        if !accepted.contains(name) {
            let known: Vec<&str> = accepted.iter().map(String::as_str).collect();
            return Err(match known.is_empty() {
                true => refused("Nothing is accepted.".into()),
                false => refused(format!("\"{name}\" is not accepted. What is: {}.", known.join(", "))),
            });
        }
        wanted.push((name.clone(), None));
    }
    Ok(wanted)
}

fn unknown(name: &str, known: &[&str]) -> Failure {
    match known.is_empty() {
        true => refused(format!("Nothing has been learned yet, so there is no figure \"{name}\".")),
        false => refused(format!("No learned figure is called \"{name}\". There are: {}.", known.join(", "))),
    }
}
