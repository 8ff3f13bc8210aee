//! Text of settings and crop files to checked values, or the list of everything that is wrong with them.
//!
//! Pure: the files are read by the service and come in as pairs of name and text, so that every fault of every file
//! is found in one run, before anything starts.

mod bed;
mod crops;
mod fault;
mod garden;
mod own_figures;
mod planting;
mod reader;
mod service;
mod shared;
mod signs;
mod stature;
mod suggest;
mod syntax;
mod value;

pub use fault::{Fault, list};
pub use service::{Delivery, FeedChoice, MailSettings, Mailbox, PasswordPlace, Service, SmtpSettings, Tls};
pub use signs::{Ping, SignsOfLife, ping_fault};

use crate::beds::Garden;
use crate::crops::Catalogue;
use chrono::{DateTime, Utc};
use reader::Document;

/// One file: its name as shown to the reader, and its text.
pub type File = (String, String);

/// Everything the service is told.
#[derive(Clone, Debug)]
pub struct Settings {
    pub service: Service,
    pub gardens: Vec<GardenSettings>,
    pub catalogue: Catalogue,
}

/// One garden and the feeds it trusts, best first.
#[derive(Clone, Debug)]
pub struct GardenSettings {
    pub garden: Garden,
    pub feeds: Vec<FeedChoice>,
}

/// The files of one installation, read but not yet understood.
#[derive(Clone, Debug, Default)]
pub struct Files {
    pub service: File,
    pub gardens: Vec<File>,
    /// Crop files and the bibliography `sources.toml`.
    pub crops: Vec<File>,
}

/// All settings, or all faults of all files. Whether a date lies in the future is not asked.
pub fn settings(files: &Files) -> Result<Settings, Vec<Fault>> {
    settings_at(files, None)
}

/// The same at an instant: what was planted after it is a fault.
pub fn settings_at(files: &Files, now: Option<DateTime<Utc>>) -> Result<Settings, Vec<Fault>> {
    let (crops, mut faults) = crops::read(&files.crops);
    let (service, feeds, service_faults) = service::read(&files.service);
    faults.extend(service_faults);
    let mut gardens: Vec<GardenSettings> = Vec::new();
    let known = Known { feeds: feeds.as_deref(), crops: &crops, now };
    for (number, file) in files.gardens.iter().enumerate() {
        match garden::read(file, &known) {
            Ok(garden) => gardens.push(garden),
            Err(new) => faults.extend(new),
        }
        faults.extend(garden::name_fault(&file.0));
        let id = garden::id_of(&file.0).to_lowercase();
        if let Some(twin) = files.gardens[..number].iter().find(|other| garden::id_of(&other.0).to_lowercase() == id) {
            let what = format!("{} describes a garden of the same name", twin.0);
            let why = "Nobody could tell the two apart on a list.";
            faults.push(Fault::of_file(&file.0, what, why, "rename one of the two files"));
        }
    }
    // A garden at fault may be the very one that shares.
    if gardens.len() == files.gardens.len() {
        faults.extend(shared::faults(&files.gardens, &gardens));
    }
    if files.gardens.is_empty() {
        let mend = "describe one garden in gardens/<name>.toml beside it; the demo garden is an example";
        faults.push(Fault::of_file(&files.service.0, "there is no garden", "Nobody would be warned.", mend));
    }
    match service {
        Some(service) if faults.is_empty() => Ok(Settings { service, gardens, catalogue: crops.catalogue }),
        _ => Err(faults),
    }
}

/// The crop catalogue from its files, or all faults of all of them.
pub fn catalogue(files: &[File]) -> Result<Catalogue, Vec<Fault>> {
    let (crops, faults) = crops::read(files);
    if faults.is_empty() { Ok(crops.catalogue) } else { Err(faults) }
}

/// What a garden may name. Things that are at fault in their own files are known by name, so that nothing wrong is said
/// of them in the garden's.
struct Known<'k> {
    /// `None` where the file that has them is no TOML.
    feeds: Option<&'k [KnownFeed]>,
    crops: &'k KnownCrops,
    now: Option<DateTime<Utc>>,
}

/// A feed by its name; without a choice where it is at fault.
struct KnownFeed {
    name: String,
    choice: Option<FeedChoice>,
}

/// The crops that could be read, and the names of those that could not.
struct KnownCrops {
    catalogue: Catalogue,
    at_fault: Vec<String>,
}

/// Parses one file, reads it with `read`, and gives its value only if the file has no fault at all.
fn read_document<T>(file: &File, read: impl FnOnce(&Document<'_>) -> Option<T>) -> Result<T, Vec<Fault>> {
    let document = Document::parse(&file.0, &file.1)?;
    let value = read(&document);
    let faults = document.into_faults();
    match value {
        Some(value) if faults.is_empty() => Ok(value),
        _ if faults.is_empty() => {
            let mend = "report this as a fault of the program, with the file";
            Err(vec![Fault::of_file(&file.0, "this file could not be understood", "", mend)])
        }
        _ => Err(faults),
    }
}
