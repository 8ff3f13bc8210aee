//! Text of settings and crop files to checked values, or the list of everything that is wrong with them.
//!
//! Pure: the files are read by the service and come in as pairs of name and text, so that every fault of every file
//! is found in one run, before anything starts.

mod crops;
mod fault;
mod garden;
mod reader;
mod service;

pub use fault::{Fault, list};
pub use service::{Delivery, FeedChoice, MailSettings, Mailbox, PasswordPlace, Service, SmtpSettings, Tls};

use crate::beds::Garden;
use crate::crops::Catalogue;
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

/// All settings, or all faults of all files.
pub fn settings(files: &Files) -> Result<Settings, Vec<Fault>> {
    let mut faults = Vec::new();
    let catalogue = keep(catalogue(&files.crops), &mut faults);
    let service = keep(service::read(&files.service), &mut faults);
    let catalogue_for_gardens = catalogue.clone().unwrap_or_default();
    let mut gardens = Vec::new();
    for file in &files.gardens {
        let feeds = service.as_ref().map(|service| service.feeds.as_slice());
        gardens.extend(keep(garden::read(file, feeds, catalogue.as_ref(), &catalogue_for_gardens), &mut faults));
    }
    if files.gardens.is_empty() {
        let mend = "describe one garden in gardens/<name>.toml beside it; the demo garden is an example";
        faults.push(Fault::of_file(&files.service.0, "there is no garden", "Nobody would be warned.", mend));
    }
    match (service, catalogue) {
        (Some(service), Some(catalogue)) if faults.is_empty() => Ok(Settings { service, gardens, catalogue }),
        _ => Err(faults),
    }
}

/// The crop catalogue from its files, or all faults of all of them.
pub fn catalogue(files: &[File]) -> Result<Catalogue, Vec<Fault>> {
    crops::read(files)
}

fn keep<T>(result: Result<T, Vec<Fault>>, faults: &mut Vec<Fault>) -> Option<T> {
    result.map_err(|new| faults.extend(new)).ok()
}

/// Parses one file, reads it with `read`, and gives its value only if the file has no fault at all.
fn read_document<T>(file: &File, read: impl FnOnce(&Document<'_>) -> Option<T>) -> Result<T, Vec<Fault>> {
    let document = Document::parse(&file.0, &file.1);
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
