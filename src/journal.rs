//! The journal: what thermometers said, what was really covered, picked, harmed, lost and sown again.
//!
//! An [`Entry`] is never changed. A slip is answered by a second entry that names the first ([`Entry::replaces`]); the
//! first stays and is shown as corrected. Each entry has a [`Key`] made from all it says, so that the same entry is
//! known again wherever it comes from, and an import can be repeated.

mod amount;
pub mod at_risk;
mod belongs;
pub mod doubts;
pub mod event;
pub mod found;
mod key;
pub mod laid;
mod lines;
pub mod log;
pub mod logged_table;
pub mod lying;
mod note;
mod replaces;
pub mod table;
pub mod taken;
pub mod when;
pub mod whose;

use crate::crops::damage::{DamageClass, Usable};
use crate::units::{Celsius, Limits};
use crate::words::words;
use crate::zone::NightOf;
pub use amount::{Amount, HARVEST_GRAMS};
pub use belongs::{bed_of, belongs, crop_in, lost_before, overlap, sowing_in};
use chrono::{DateTime, SubsecRound, Utc};
pub use key::Key;
pub use note::{NOTE_LENGTH, note, photo};
pub use replaces::may_replace;
use serde::{Deserialize, Serialize};
use std::fmt;

/// One thing written down.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// When it was so; of a span its end. Whole seconds.
    pub at: DateTime<Utc>,
    /// When it was written down. Whole seconds.
    pub entered_at: DateTime<Utc>,
    /// Who wrote it, where they said.
    pub by: Option<String>,
    /// The words as they were typed, for whoever doubts what was understood.
    pub as_typed: String,
    /// The entry that this one stands for.
    pub replaces: Option<Key>,
    pub what: What,
}

/// What an entry says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum What {
    Reading(Reading),
    Covered(Covered),
    Uncovered(Uncovered),
    Harvested(Harvested),
    Damage(Damage),
    /// A planting that is gone.
    Lost(Gone),
    /// A planting sown or set out again.
    Resown(Gone),
    /// A thermometer's log that was taken in; its rows name this entry.
    Imported(Imported),
    /// The entry named by [`Entry::replaces`] was a slip, and nothing stands in its place.
    Struck(Struck),
}

/// One reading of a thermometer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    #[serde(flatten)]
    pub place: Place,
    /// Within [`crate::units::READING`].
    pub temperature: Celsius,
    pub dew_point: Option<Celsius>,
    #[serde(flatten)]
    pub of: Sampled,
    pub thermometer: Option<Thermometer>,
    /// Above the ground, m, within [`HEIGHT`]; none where nobody said.
    pub height: Option<f64>,
    /// Whether it is shielded from the sky; none where nobody said.
    pub shielded: Option<bool>,
    /// It looked doubtful, was looked at again, and is right. Absent where it is not so: keys are made from what is there.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub sure: bool,
}

/// Height of a thermometer over the ground.
pub const HEIGHT: Limits =
    Limits { what: "height", low: 0.0, high: 10.0, unit: "m", why: "no garden thermometer hangs there" };

/// Where a thermometer is.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(tag = "place", rename_all = "kebab-case")]
pub enum Place {
    /// The garden's own, in the shade at head height.
    Screen,
    /// In the air at a bed.
    Bed { bed: String },
    /// Under the cover that lies on a bed; which one, where somebody said.
    UnderCover { bed: String, cover: Option<String> },
    /// In the soil of a bed, at root depth.
    Soil { bed: String },
}

impl Place {
    /// The word in files and in the store.
    pub fn word(&self) -> &'static str {
        match self {
            Place::Screen => "screen",
            Place::Bed { .. } => "bed",
            Place::UnderCover { .. } => "under-cover",
            Place::Soil { .. } => "soil",
        }
    }

    /// Its bed; the garden's own thermometer has none.
    pub fn bed(&self) -> Option<&str> {
        match self {
            Place::Screen => None,
            Place::Bed { bed } | Place::UnderCover { bed, .. } | Place::Soil { bed } => Some(bed),
        }
    }

    /// The cover over it, where somebody said which.
    pub fn cover(&self) -> Option<&str> {
        match self {
            Place::UnderCover { cover, .. } => cover.as_deref(),
            Place::Screen | Place::Bed { .. } | Place::Soil { .. } => None,
        }
    }

    /// The place of a word, a bed and a cover, or what is wrong with them.
    pub fn of(word: &str, bed: Option<String>, cover: Option<String>) -> Result<Place, String> {
        let needs = |bed: Option<String>| bed.ok_or_else(|| format!("a place \"{word}\" needs a bed"));
        let place = match word {
            "screen" if bed.is_none() => Place::Screen,
            "screen" => return Err("the garden's screen stands at no bed; write place \"bed\"".into()),
            "bed" => Place::Bed { bed: needs(bed)? },
            "under-cover" => return Ok(Place::UnderCover { bed: needs(bed)?, cover }),
            "soil" => Place::Soil { bed: needs(bed)? },
            other => return Err(format!("\"{other}\" is no place; write screen, bed, under-cover or soil")),
        };
        match cover {
            None => Ok(place),
            Some(_) => Err(format!("a place \"{word}\" has no cover; write place \"under-cover\"")),
        }
    }
}

/// As it is said in a sentence: "at the garden's screen".
impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Screen => f.write_str("at the garden's screen"),
            Place::Bed { bed } => write!(f, "at bed {bed}"),
            Place::UnderCover { bed, cover: None } => write!(f, "under the cover of bed {bed}"),
            Place::UnderCover { bed, cover: Some(cover) } => write!(f, "under {cover} on bed {bed}"),
            Place::Soil { bed } => write!(f, "in the soil of bed {bed}"),
        }
    }
}

/// What of a stretch of time a reading shows. It ends at [`Entry::at`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(tag = "of", rename_all = "kebab-case")]
pub enum Sampled {
    /// The instant.
    Instant,
    /// The lowest since; none: since the thermometer was last set back.
    Minimum { since: Option<DateTime<Utc>> },
    /// The highest since.
    Maximum { since: Option<DateTime<Utc>> },
}

impl Sampled {
    /// The word in files and in the store.
    pub fn word(self) -> &'static str {
        match self {
            Sampled::Instant => "instant",
            Sampled::Minimum { .. } => "minimum",
            Sampled::Maximum { .. } => "maximum",
        }
    }

    /// When the stretch began, where that is known.
    pub fn since(self) -> Option<DateTime<Utc>> {
        match self {
            Sampled::Instant => None,
            Sampled::Minimum { since } | Sampled::Maximum { since } => since,
        }
    }

    /// The value of a word, or `None`.
    pub fn from_word(word: &str, since: Option<DateTime<Utc>>) -> Option<Sampled> {
        match word {
            "instant" => Some(Sampled::Instant),
            "minimum" => Some(Sampled::Minimum { since }),
            "maximum" => Some(Sampled::Maximum { since }),
            _ => None,
        }
    }
}

/// Kinds of thermometers that err differently.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Thermometer {
    LiquidInGlass,
    MinMax,
    Dial,
    Digital,
    Logger,
    Infrared,
}

words!(Thermometer { LiquidInGlass = "liquid-in-glass", MinMax = "min-max", Dial = "dial", Digital = "digital", Logger = "logger", Infrared = "infrared" });

/// A cover that was really laid, at [`Entry::at`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Covered {
    pub bed: String,
    /// As the shelf calls it, where somebody said.
    pub cover: Option<String>,
    /// 1 or 2.
    pub layers: u8,
}

/// A cover taken off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Uncovered {
    pub bed: String,
}

/// What was picked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Harvested {
    pub bed: String,
    /// A crop of the catalogue.
    pub crop: String,
    /// Which of several sowings of it in that bed, by [`crate::beds::Planting::is_sowing`]; none: all of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sowing: Option<String>,
    pub amount: Amount,
    pub note: Option<String>,
}

/// What a frost did, as somebody saw it at [`Entry::at`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Damage {
    pub bed: String,
    /// A crop of the catalogue; none: all that grows in the bed.
    pub crop: Option<String>,
    /// Which of several sowings of it in that bed, by [`crate::beds::Planting::is_sowing`]; none: all of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sowing: Option<String>,
    /// The night that did it.
    pub night: NightOf,
    pub class: DamageClass,
    /// Whether it can still be used.
    pub usable: Option<Usable>,
    pub note: Option<String>,
    /// A place below the folder of photographs; see [`photo`].
    pub photo: Option<String>,
}

/// A planting that is gone, or that was sown again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Gone {
    pub bed: String,
    /// A crop of the catalogue.
    pub crop: String,
    /// Which of several sowings of it in that bed, by [`crate::beds::Planting::is_sowing`]; none: all of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sowing: Option<String>,
    pub note: Option<String>,
}

/// A thermometer's log that was taken in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Imported {
    /// The file's own name, without its folder.
    pub file: String,
    /// The column, as its header has it.
    pub column: String,
    #[serde(flatten)]
    pub place: Place,
    /// Rows that no other import had brought.
    pub rows: u64,
    pub first: DateTime<Utc>,
    pub last: DateTime<Utc>,
}

/// Why an entry was struck.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Struck {
    pub because: Option<String>,
}

/// The kinds of entries, in the order of their tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Reading,
    Covered,
    Uncovered,
    Harvested,
    Damage,
    Lost,
    Resown,
    Imported,
    Struck,
}

words!(Kind { Reading = "reading", Covered = "covered", Uncovered = "uncovered", Harvested = "harvested", Damage = "damage", Lost = "lost", Resown = "resown", Imported = "imported", Struck = "struck" });

impl What {
    pub fn kind(&self) -> Kind {
        match self {
            What::Reading(_) => Kind::Reading,
            What::Covered(_) => Kind::Covered,
            What::Uncovered(_) => Kind::Uncovered,
            What::Harvested(_) => Kind::Harvested,
            What::Damage(_) => Kind::Damage,
            What::Lost(_) => Kind::Lost,
            What::Resown(_) => Kind::Resown,
            What::Imported(_) => Kind::Imported,
            What::Struck(_) => Kind::Struck,
        }
    }

    /// What somebody added to it in words of their own.
    pub fn note(&self) -> Option<&str> {
        match self {
            What::Harvested(Harvested { note, .. })
            | What::Damage(Damage { note, .. })
            | What::Lost(Gone { note, .. })
            | What::Resown(Gone { note, .. }) => note.as_deref(),
            What::Struck(Struck { because }) => because.as_deref(),
            What::Reading(_) | What::Covered(_) | What::Uncovered(_) | What::Imported(_) => None,
        }
    }

    /// The sowing that it names, where it names one.
    pub fn sowing(&self) -> Option<&str> {
        match self {
            What::Harvested(Harvested { sowing, .. })
            | What::Damage(Damage { sowing, .. })
            | What::Lost(Gone { sowing, .. })
            | What::Resown(Gone { sowing, .. }) => sowing.as_deref(),
            What::Reading(_) | What::Covered(_) | What::Uncovered(_) | What::Imported(_) | What::Struck(_) => None,
        }
    }

    /// The crop it is about; none where it is about no planting, or about a whole bed.
    pub fn crop(&self) -> Option<&str> {
        match self {
            What::Harvested(Harvested { crop, .. })
            | What::Lost(Gone { crop, .. })
            | What::Resown(Gone { crop, .. }) => Some(crop),
            What::Damage(Damage { crop, .. }) => crop.as_deref(),
            What::Reading(_) | What::Covered(_) | What::Uncovered(_) | What::Imported(_) | What::Struck(_) => None,
        }
    }

    /// The bed it is about.
    pub fn bed(&self) -> Option<&str> {
        match self {
            What::Reading(reading) => reading.place.bed(),
            What::Covered(Covered { bed, .. })
            | What::Uncovered(Uncovered { bed })
            | What::Harvested(Harvested { bed, .. })
            | What::Damage(Damage { bed, .. })
            | What::Lost(Gone { bed, .. })
            | What::Resown(Gone { bed, .. }) => Some(bed),
            What::Imported(imported) => imported.place.bed(),
            What::Struck(_) => None,
        }
    }
}

impl Entry {
    /// An entry in whole seconds, as the store keeps them. Control characters in what was typed, and in the names of a
    /// log's file and column, become blanks: a table of the journal has none.
    pub fn new(at: DateTime<Utc>, entered_at: DateTime<Utc>, as_typed: impl Into<String>, what: What) -> Entry {
        let (at, entered_at) = (at.trunc_subsecs(0), entered_at.trunc_subsecs(0));
        let plain = |text: &str| text.replace(char::is_control, " ").trim().to_string();
        let mut what = what;
        if let What::Imported(imported) = &mut what {
            (imported.file, imported.column) = (plain(&imported.file), plain(&imported.column));
        }
        if let What::Reading(Reading { of: Sampled::Minimum { since } | Sampled::Maximum { since }, .. }) = &mut what {
            *since = since.map(|since| since.trunc_subsecs(0));
        }
        Entry { at, entered_at, by: None, as_typed: plain(&as_typed.into()), replaces: None, what }
    }

    /// What it says beyond the columns all entries share, as JSON text.
    pub fn document(&self) -> String {
        // Numbers were checked to be finite, and all keys are text: nothing here can refuse.
        serde_json::to_string(&self.what).unwrap_or_default()
    }

    /// The same for the same entry, in every store and release.
    pub fn key(&self) -> Key {
        let replaces = self.replaces.as_ref().map_or("", Key::as_str);
        let by = self.by.as_deref().unwrap_or_default();
        let (at, entered_at) = (self.at.timestamp().to_string(), self.entered_at.timestamp().to_string());
        Key::of(&[&at, &entered_at, by, &self.as_typed, replaces, &self.document()])
    }
}

#[cfg(test)]
mod tests;
