//! `counterpane harvested`, `damage`, `lost`, `resown`, `correct`: what was picked, what the frost did, and slips.

use super::writing::{Desk, Writing, refused};
use super::{Done, Failure};
use crate::beds::named;
use crate::crops::damage::{DamageClass, Usable};
use crate::journal::event::Written;
use crate::journal::found::{ASKED_WITHIN, Look, contradicting, night_asked};
use crate::journal::when::Speaker;
use crate::journal::{
    Amount, Damage, Gone, Harvested, Kind, Struck, What, bed_of, crop_in, lost_before, note, photo, sowing_in,
};
use crate::plan::taken::is_counted;
use crate::service::look::known;
use crate::service::store::{Open, Store};
use crate::zone::NightOf;
use chrono::{DateTime, Utc};
use clap::Args;

/// What commands about a planting have in common.
#[derive(Debug, Args)]
struct About {
    #[command(flatten)]
    writing: Writing,
    /// When: 17:30, "last night", "yesterday 18:30" or "2027-01-16 06:10"; leave it out for now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Which of several sowings of the crop in that bed: its cultivar, or its date such as "12 September" or 2026-09-12, or
    /// the beginning of either; all for every one of them
    #[arg(long, value_name = "CULTIVAR|DATE")]
    sowing: Option<String>,
    /// A free note of one line
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// It was there, although the settings do not say so (any more)
    #[arg(long)]
    anyway: bool,
}

#[derive(Debug, Args)]
pub(super) struct HarvestedCommand {
    /// The bed, the crop, and how much: 1.2kg, "850 g", 3 lb, or a count such as 14
    #[arg(value_names = ["BED", "CROP", "AMOUNT"], num_args = 3..=8, required = true)]
    words: Vec<String>,
    #[command(flatten)]
    about: About,
}

#[derive(Debug, Args)]
pub(super) struct DamageCommand {
    /// The bed, the crop unless all of the bed is meant, and a class: 0 none, 1 traces, 2 slight, 3 marked, 4 heavy, 5
    /// dead
    #[arg(value_names = ["BED", "CROP", "CLASS"], num_args = 2..=3, required = true)]
    words: Vec<String>,
    #[command(flatten)]
    about: About,
    /// Whether it can still be used: yes, partly or no
    #[arg(long, value_name = "YES|PARTLY|NO", value_parser = usable)]
    usable: Option<Usable>,
    /// The night that did it, by the date of its evening; leave it out for the last one that put it at risk, of the fifteen
    /// before it was seen, or for that of a report no less bad
    #[arg(long, value_name = "DATE")]
    night: Option<String>,
    /// A photograph, by its place in the folder of photographs
    #[arg(long, value_name = "PATH")]
    photo: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct GoneCommand {
    /// The bed, as its label says
    #[arg(value_name = "BED")]
    bed: String,
    /// The crop
    #[arg(value_name = "CROP")]
    crop: String,
    #[command(flatten)]
    about: About,
}

#[derive(Debug, Args)]
pub(super) struct CorrectCommand {
    /// The number of the entry that was a slip; to write another in its place, use that command with --replaces NUMBER
    #[arg(value_name = "NUMBER")]
    number: i64,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
    #[command(flatten)]
    writing: Writing,
}

fn usable(text: &str) -> Result<Usable, String> {
    Usable::from_word(text).ok_or_else(|| "write yes, partly or no".into())
}

impl About {
    /// The note that was typed, else that of the entry which is corrected.
    fn note(&self, desk: &Desk<'_>) -> Result<Option<String>, Failure> {
        let typed = self.note.as_deref().map(note).transpose().map_err(refused)?;
        Ok(typed.unwrap_or_else(|| desk.old.as_ref().and_then(|old| old.what.note()).map(str::to_string)))
    }

    /// The identifier of a crop; with --anyway of any that the catalogue has.
    fn crop(&self, desk: &Desk<'_>, bed: &str, named: &str, on: chrono::NaiveDate) -> Result<String, Failure> {
        let catalogue = &desk.settings.catalogue;
        if self.anyway && catalogue.crops.contains_key(named) {
            return Ok(named.into());
        }
        bed_of(desk.garden, bed).and_then(|bed| crop_in(bed, catalogue, named, on)).map_err(refused)
    }

    /// Which of several sowings of a crop: as typed, else as the entry has it that is corrected. With --anyway one that the
    /// settings do not have is taken as it was typed.
    fn sowing(&self, desk: &Desk<'_>, bed: &str, crop: &str, on: chrono::NaiveDate) -> Result<Option<String>, Failure> {
        let as_typed = || self.sowing.as_deref().map_or(Ok(None), note).map_err(refused);
        let of_same = |old: &&crate::journal::Entry| old.what.bed() == Some(bed) && old.what.crop() == Some(crop);
        if let (None, Some(old)) = (&self.sowing, desk.old.as_ref().filter(of_same)) {
            return Ok(old.what.sowing().map(str::to_string));
        }
        match bed_of(desk.garden, bed) {
            Ok(bed) if bed.plantings_of(crop).next().is_some() => {
                match sowing_in(bed, &desk.settings.catalogue, crop, self.sowing.as_deref(), on) {
                    Err(_) if self.anyway => as_typed(),
                    found => found.map_err(refused),
                }
            }
            _ => as_typed(),
        }
    }

    /// A crop in a bed as it is said back.
    fn named(desk: &Desk<'_>, bed: &str, crop: &str, sowing: Option<&str>) -> String {
        let of_catalogue = desk.settings.catalogue.crops.get(crop);
        let apart = bed_of(desk.garden, bed).ok().zip(sowing).and_then(|(bed, sowing)| {
            let planting = bed.plantings_of(crop).find(|planting| planting.is_sowing(sowing))?;
            bed.told_apart(planting, of_catalogue?)
        });
        named(crop, apart.as_deref().or(sowing))
    }

    /// When it was; a stretch of time is no answer.
    fn moment(&self, desk: &Desk<'_>) -> Result<crate::journal::when::Moment, Failure> {
        let moment = desk.when(self.at.as_deref())?;
        match moment.since {
            None => Ok(moment),
            Some(_) => Err(refused("Say the hour, such as \"this morning 8:00\"; --night names the night")),
        }
    }
}

const HARVEST: &str = "Write the bed, the crop and how much, such as: harvested A2 broccoli 3 lb";

/// The crop and the amount of words that may hold several of each: "leaf lettuce 3 lb".
fn crop_and_amount(words: &[String]) -> Result<(String, String), Failure> {
    let last = |count: usize| {
        let (crop, amount) = words.split_at_checked(words.len().checked_sub(count)?)?;
        (!crop.is_empty()).then(|| (crop.join(" "), amount.join(" ")))
    };
    // A unit alone is no amount, and then its number stands before it.
    let is_amount = |amount: &str| amount.starts_with(|first: char| first.is_ascii_digit());
    let one = last(1).filter(|(_, amount)| is_amount(amount));
    one.or_else(|| last(2)).or_else(|| last(1)).ok_or_else(|| refused(HARVEST))
}

impl HarvestedCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.about.writing.settings()?;
        let desk = self.about.writing.desk(&settings)?;
        let [bed, rest @ ..] = self.words.as_slice() else { return Err(refused(HARVEST)) };
        let (named, typed) = crop_and_amount(rest)?;
        let amount = Amount::parse(&typed).map_err(refused)?;
        let (moment, understood) = desk.evening(self.about.at.as_deref())?;
        let day = desk.garden.zone.local(moment.at).date_naive();
        let crop = self.about.crop(&desk, bed, &named, day)?;
        let sowing = self.about.sowing(&desk, bed, &crop, day)?;
        let of = About::named(&desk, bed, &crop, sowing.as_deref());
        let shown = amount.as_typed(&typed);
        let counts = desk.settings.catalogue.crops.get(&crop).is_some_and(is_counted);
        let by_weight = match amount {
            Amount::Grams(_) if counts => {
                " Lists go by how many plants are cut: say a number, and so many are not asked for again."
            }
            _ => "",
        };
        let echo = format!("{shown} of {of} from bed {bed}, {}{understood}.{by_weight}", desk.echo(&moment));
        let what = Harvested { bed: bed.clone(), crop, sowing, amount, note: self.about.note(&desk)? };
        let as_typed = self.words.join(" ");
        let entry = desk.entry(&moment, as_typed, What::Harvested(what), self.about.anyway)?;
        self.about.writing.write(&desk, vec![(entry, echo)])?;
        Ok(Done::Well)
    }
}

impl DamageCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.about.writing.settings()?;
        let desk = self.about.writing.desk(&settings)?;
        let (bed, crop, class) = match self.words.as_slice() {
            [bed, crop, class] => (bed, Some(crop), class),
            [bed, class] => (bed, None, class),
            _ => return Err(refused("Write the bed, the crop and the class, such as: damage A1 kale 2")),
        };
        let number = class.parse::<u8>().map_err(|_| refused(format!("\"{class}\" is no class from 0 to 5")))?;
        let class = DamageClass::new(number).map_err(refused)?;
        // "last night" is the night that did it, and was seen to have done so by now.
        let of_night = desk.when(self.about.at.as_deref())?.since.is_some();
        let moment = if of_night { desk.when(None)? } else { self.about.moment(&desk)? };
        let old = match desk.old.as_ref().map(|old| &old.what) {
            Some(What::Damage(old)) => Some(old),
            _ => None,
        };
        let night = match (&self.night, old) {
            (None, Some(old)) => old.night,
            (Some(night), _) => desk.speaker().night(night).map_err(refused)?,
            (None, None) if of_night => desk.speaker().night("last night").map_err(refused)?,
            (None, None) => self.night_asked(&desk, bed, crop, class, moment.at)?,
        };
        let crop = match (crop, old) {
            (Some(crop), _) => Some(self.about.crop(&desk, bed, crop, night.0)?),
            (None, Some(old)) if old.bed == *bed => old.crop.clone(),
            (None, _) => None,
        };
        let sowing = match &crop {
            Some(crop) => self.about.sowing(&desk, bed, crop, night.0)?,
            None if self.about.sowing.is_some() => return Err(refused("Name the crop whose sowing it is")),
            None => None,
        };
        let photo = match &self.photo {
            Some(typed) => photo(typed).map_err(refused)?,
            None => old.and_then(|old| old.photo.clone()),
        };
        let named = |crop: &String| format!("{} in ", About::named(&desk, bed, crop, sowing.as_deref()));
        let of = crop.as_ref().map_or(String::new(), named);
        let usable = self.usable.or(old.and_then(|old| old.usable));
        let how_usable = usable.map_or(String::new(), |usable| format!(", usable: {}", usable.word()));
        let echo = format!(
            "damage class {} ({}) to {of}bed {bed} by the night of {}{how_usable}, seen {}.",
            class.number(),
            class.words(),
            night.0.format("%A %-d %B %Y"),
            desk.echo(&moment)
        );
        let is_dead = DamageClass::all().last() == Some(class);
        let echo = if is_dead { echo + UNTIL_SOWN } else { echo };
        let note = self.about.note(&desk)?;
        let what = Damage { bed: bed.clone(), crop, sowing, night, class, usable, note, photo };
        let entries = self.entries(&desk)?;
        if !self.about.anyway {
            was_there(&desk, &what, &entries)?;
        }
        let replaced = self.about.writing.replaces;
        let contradicting: Vec<String> = contradicting(&what, moment.at, &desk.garden.zone, &entries)
            .into_iter()
            .filter(|(other, _)| Some(other.id) != replaced)
            .map(|(other, damage)| {
                let (number, class) = (other.id, damage.class.number());
                let by = other.entry.by.as_ref().map_or(String::new(), |by| format!(" ({by})"));
                format!(
                    "Entry {number}{by} says class {class} of it; both count, the worse decides. If one is a slip: \
                     --replaces {number}."
                )
            })
            .collect();
        let entry = desk.entry(&moment, self.words.join(" "), What::Damage(what), self.about.anyway)?;
        self.about.writing.write_with(&desk, vec![(entry, echo)], &contradicting)?;
        Ok(Done::Well)
    }
}

impl DamageCommand {
    /// The whole journal so far.
    fn entries(&self, desk: &Desk<'_>) -> Result<Vec<Written>, Failure> {
        let (garden, path) = (desk.garden, self.about.writing.configuration.store_path(desk.settings));
        if !path.exists() {
            return Ok(Vec::new());
        }
        super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ExistingOnly).await?;
            let entries = store.entries(&garden.id, None).await?;
            store.close().await;
            Ok(entries)
        })
    }

    /// Where nobody names a night: the one that people were asked about when they looked.
    fn night_asked(
        &self,
        desk: &Desk<'_>,
        bed: &str,
        crop: Option<&String>,
        class: DamageClass,
        seen: DateTime<Utc>,
    ) -> Result<NightOf, Failure> {
        let (garden, path) = (desk.garden, self.about.writing.configuration.store_path(desk.settings));
        let last_night = Speaker { now: seen, ..desk.speaker() }.night("last night").map_err(refused)?;
        if !path.exists() {
            return Ok(last_night);
        }
        let first = NightOf(last_night.0 - ASKED_WITHIN);
        let known = super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ExistingOnly).await?;
            let known = known(&store, garden, first, last_night).await?;
            store.close().await;
            Ok::<_, Failure>(known)
        })?;
        // What grows there by no setting was put at risk in no night that is known; it is refused where its night is.
        let crop = crop.and_then(|named| self.about.crop(desk, bed, named, last_night.0).ok());
        let look = Look { bed, crop: crop.as_deref(), class, at: seen };
        Ok(night_asked(garden, &desk.settings.catalogue, &known, &look, last_night))
    }
}

/// Asks about damage to what was written down as lost before that night.
fn was_there(desk: &Desk<'_>, damage: &Damage, entries: &[Written]) -> Result<(), Failure> {
    let Some(lost) = lost_before(damage, desk.garden, entries) else { return Ok(()) };
    let day = desk.garden.zone.local(lost.entry.at).date_naive();
    let crop = damage.crop.as_deref().unwrap_or_default();
    let crop = About::named(desk, &damage.bed, crop, damage.sowing.as_deref());
    Err(refused(format!(
        "{crop} in bed {} was lost on {day}, before the night of {}, by entry {}; was it another night? If it was there \
         all the same, write it down as resown, or add --anyway",
        damage.bed, damage.night, lost.id
    )))
}

/// What follows for lists from a planting that is gone.
const UNTIL_SOWN: &str = " Lists ask nothing for it until it is written down as sown again (counterpane resown).";

impl GoneCommand {
    pub fn lost(&self) -> Result<Done, Failure> {
        self.write(Kind::Lost)
    }

    pub fn resown(&self) -> Result<Done, Failure> {
        self.write(Kind::Resown)
    }

    fn write(&self, kind: Kind) -> Result<Done, Failure> {
        let settings = self.about.writing.settings()?;
        let desk = self.about.writing.desk(&settings)?;
        let moment = self.about.moment(&desk)?;
        let day = desk.garden.zone.local(moment.at).date_naive();
        // What is sown anew need not stand in the settings yet.
        let is_new = kind == Kind::Resown && desk.settings.catalogue.crops.contains_key(&self.crop);
        let crop = match is_new {
            true => self.crop.clone(),
            false => self.about.crop(&desk, &self.bed, &self.crop, day)?,
        };
        let how = if kind == Kind::Lost { "is lost" } else { "was sown or set out again" };
        let sowing = self.about.sowing(&desk, &self.bed, &crop, day)?;
        let of = About::named(&desk, &self.bed, &crop, sowing.as_deref());
        let silent = if kind == Kind::Lost { UNTIL_SOWN } else { "" };
        let echo = format!("{of} in bed {} {how}, {}.{silent}", self.bed, desk.echo(&moment));
        let gone = Gone { bed: self.bed.clone(), crop, sowing, note: self.about.note(&desk)? };
        let as_typed = format!("{} {}", self.bed, self.crop);
        let what = if kind == Kind::Lost { What::Lost(gone) } else { What::Resown(gone) };
        let entry = desk.entry(&moment, as_typed, what, self.about.anyway)?;
        self.about.writing.write(&desk, vec![(entry, echo)])?;
        Ok(Done::Well)
    }
}

impl CorrectCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.writing.settings()?;
        let desk = self.writing.desk(&settings)?;
        let because = self.because.as_deref().map(note).transpose().map_err(refused)?.flatten();
        let moment = desk.when(None)?;
        let as_typed = self.number.to_string();
        let entry = desk.entry(&moment, as_typed, What::Struck(Struck { because }), false)?;
        let echo = format!("entry {} was a slip and does not count.", self.number);
        self.writing.striking(self.number).write(&desk, vec![(entry, echo)])?;
        Ok(Done::Well)
    }
}
