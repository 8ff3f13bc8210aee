//! What all commands that write into the journal have in common.

use super::{Configuration, Failure, choose, print};
use crate::beds::Garden;
use crate::journal::when::{Moment, Speaker};
use crate::journal::{Entry, Key, What, belongs, may_replace, note};
use crate::service::store::{Open, Outcome, Store};
use crate::settings::Settings;
use crate::units::{Celsius, Scale};
use chrono::{DateTime, Utc};
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct Writing {
    #[command(flatten)]
    pub configuration: Configuration,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    pub garden: Option<String>,
    /// Who writes this down
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// The number of the entry that this one stands for; the old one stays and is shown as corrected. What is not said
    /// again is as the old one had it
    #[arg(long, value_name = "NUMBER")]
    pub replaces: Option<i64>,
    /// Pretend that it is this time, such as 2027-01-16T18:40:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    now: Option<DateTime<Utc>>,
}

/// A fault of what was typed.
pub(super) fn refused(what: impl std::fmt::Display) -> Failure {
    Failure::Settings(format!("{}. Nothing was written.", what.to_string().trim_end_matches('.')))
}

/// On both scales, so that a slip of the unit is seen.
pub(super) fn both(temperature: Celsius) -> String {
    format!("{} ({})", temperature.tenths(Scale::Fahrenheit), temperature.tenths(Scale::Celsius))
}

/// Somebody at work on one garden's journal.
pub(super) struct Desk<'s> {
    pub settings: &'s Settings,
    pub garden: &'s Garden,
    pub now: DateTime<Utc>,
    /// The entry that is corrected: what is not said again is as it stands there.
    pub old: Option<Entry>,
}

impl Writing {
    pub fn now(&self) -> DateTime<Utc> {
        self.now.unwrap_or_else(Utc::now)
    }

    pub fn settings(&self) -> Result<Settings, Failure> {
        self.configuration.read(self.now())
    }

    pub fn desk<'s>(&self, settings: &'s Settings) -> Result<Desk<'s>, Failure> {
        let garden = &choose(settings, self.garden.as_deref())?.garden;
        let old = self.replaces.map(|number| self.old(settings, garden, number)).transpose()?;
        Ok(Desk { settings, garden, now: self.now(), old })
    }

    /// The entry that is to be corrected.
    fn old(&self, settings: &Settings, garden: &Garden, number: i64) -> Result<Entry, Failure> {
        let path = self.configuration.store_path(settings);
        if !path.exists() {
            return Err(no_entry(number, garden));
        }
        super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ExistingOnly).await?;
            let old = store.entry(&garden.id, number).await?;
            store.close().await;
            old.map(|old| old.entry).ok_or_else(|| no_entry(number, garden))
        })
    }

    /// The same, to strike an entry.
    pub fn striking(&self, number: i64) -> Writing {
        Writing {
            configuration: Configuration { config: self.configuration.config.clone() },
            garden: self.garden.clone(),
            by: self.by.clone(),
            replaces: Some(number),
            now: self.now,
        }
    }

    /// Writes entries down and says so: for each a sentence of what was understood.
    pub fn write(&self, desk: &Desk<'_>, entries: Vec<(Entry, String)>) -> Result<(), Failure> {
        self.write_with(desk, entries, &[])
    }

    /// The same, and behind it remarks that refuse nothing.
    pub fn write_with(
        &self,
        desk: &Desk<'_>,
        entries: Vec<(Entry, String)>,
        remarks: &[String],
    ) -> Result<(), Failure> {
        let by = self.by.as_deref().map(note).transpose().map_err(refused)?.flatten();
        let path = self.configuration.store_path(desk.settings);
        let is_new = !path.exists();
        let (mut echoes, mut rows) = (Vec::new(), Vec::new());
        for (entry, echo) in entries {
            rows.push(Entry { by: by.clone(), ..entry });
            echoes.push(echo);
        }
        let outcomes = super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ReadWrite).await?;
            let replaces = match self.replaces {
                None => None,
                Some(number) => Some(replaced(&store, desk, number, rows.first()).await?),
            };
            if replaces.is_some() && rows.len() > 1 {
                return Err(refused("One entry stands for one other; name one bed"));
            }
            let keyed: Vec<(Key, Entry)> = rows
                .into_iter()
                .map(|entry| Entry { replaces: replaces.clone(), ..entry })
                .map(|entry| (entry.key(), entry))
                .collect();
            let outcomes = store.write(&desk.garden.id, &keyed).await?;
            store.close().await;
            Ok::<_, Failure>(outcomes)
        })?;
        let mut text = String::new();
        for (outcome, echo) in outcomes.iter().zip(&echoes) {
            text.push_str(&match outcome {
                Outcome::New(id) => format!("Written: {echo} It is entry {id}.\n"),
                Outcome::Known(id) => format!("Nothing new: {echo} It was written already as entry {id}.\n"),
            });
        }
        if let Some(number) = self.replaces {
            text.push_str(&format!("It stands for entry {number}, which is kept and shown as corrected.\n"));
        }
        remarks.iter().for_each(|remark| text.push_str(&format!("{remark}\n")));
        // A wrong folder of settings shows here, not when the entry is missed.
        if is_new {
            text.push_str(&format!("A new store was begun: {}.\n", path.display()));
        }
        print(&text)
    }
}

fn no_entry(number: i64, garden: &Garden) -> Failure {
    refused(format!("There is no entry {number} in the journal of {}", garden.name))
}

/// The key of an entry that may be replaced by another.
async fn replaced(store: &Store, desk: &Desk<'_>, number: i64, by: Option<&Entry>) -> Result<Key, Failure> {
    let Some(old) = store.entry(&desk.garden.id, number).await? else {
        return Err(no_entry(number, desk.garden));
    };
    if let Some(later) = old.corrected_by {
        let by = store.entry(&desk.garden.id, later).await?;
        if by.is_some_and(|by| matches!(by.entry.what, What::Struck(_))) {
            return Err(refused(format!(
                "Entry {number} was struck by entry {later} and counts no more; write what is right anew, without --replaces"
            )));
        }
    }
    let later = old.corrected_by.map(|later| format!("entry {later}"));
    let named = format!("Entry {number}");
    by.map_or(Ok(()), |by| may_replace(&named, &old.entry, later.as_deref(), by)).map_err(refused)?;
    Ok(old.key)
}

impl Desk<'_> {
    pub fn speaker(&self) -> Speaker<'_> {
        Speaker { zone: &self.garden.zone, site: &self.garden.site, now: self.now }
    }

    /// When, as it was typed; where nothing was, as the corrected entry has it, else now.
    pub fn when(&self, text: Option<&str>) -> Result<Moment, Failure> {
        match (text, &self.old) {
            (None, Some(old)) => Ok(Moment { at: old.at, since: None, twice: false }),
            (text, _) => self.speaker().moment(text.unwrap_or("now")).map_err(refused),
        }
    }

    /// When work of an evening was done: of "last night" it is the hour by which the garden's work was to be done. With the
    /// words that say so.
    pub fn evening(&self, text: Option<&str>) -> Result<(Moment, String), Failure> {
        let moment = self.when(text)?;
        Ok(match (moment.since, text) {
            (Some(sunset), Some(text)) => {
                let at = sunset - self.garden.finish_before_sunset;
                let said = format!(" (\"{}\": by that hour the evening's work is to be done)", text.trim());
                (Moment { at, since: None, ..moment }, said)
            }
            _ => (moment, String::new()),
        })
    }

    /// An instant as it is said back, and that the clock showed it twice.
    pub fn echo(&self, moment: &Moment) -> String {
        let speaker = self.speaker();
        let wall = speaker.zone.local(moment.at).naive_local();
        let which = if speaker.zone.instants(wall).first() == Some(&moment.at) { "first" } else { "last" };
        let twice = if moment.twice {
            format!(", the {which} of the two times that the clock showed it")
        } else {
            String::new()
        };
        match moment.since {
            None => format!("{}{twice}", speaker.echo(moment.at)),
            Some(since) => format!("from {} to {}", speaker.echo(since), speaker.echo(moment.at)),
        }
    }

    /// The entry, once its bed and planting have been found in the garden.
    pub fn entry(&self, moment: &Moment, as_typed: String, what: What, anyway: bool) -> Result<Entry, Failure> {
        let entry = Entry::new(moment.at, self.now, as_typed, what);
        if anyway {
            let is_plain = |bed: &str| note(bed).is_ok_and(|text| text.as_deref() == Some(bed));
            if let Some(bed) = entry.what.bed().filter(|bed| !is_plain(bed)) {
                return Err(refused(format!("{bed:?} is no label of a bed; write it as one line of plain text")));
            }
        } else {
            belongs(&entry, self.garden, &self.settings.catalogue).map_err(refused)?;
        }
        Ok(entry)
    }
}
