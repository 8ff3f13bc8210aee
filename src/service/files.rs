//! Settings from a folder, or from the demo built into the program.
//!
//! The catalogue is built in; a folder `crops` beside the settings adds crops or replaces whole files by name.

use crate::settings::{Fault, File, Files};
use include_dir::{Dir, include_dir};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

static CROPS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/crops");
// By name: whoever runs the program from this folder must not build a store or a password into it.
const DEMO_SERVICE: &str = include_str!("../../config/counterpane.toml");
const DEMO_GARDEN: &str = include_str!("../../config/gardens/tansyford.toml");

/// The forecast document of the demo.
pub const DEMO_FORECAST: &[u8] = include_bytes!("../../config/demo/forecast.json");

const SERVICE_FILE: &str = "counterpane.toml";
/// The folder of the gardens in one of settings.
pub const GARDENS: &str = "gardens";

/// The files of a settings folder, or why they cannot be read.
pub fn read(folder: &Path) -> Result<Files, Vec<Fault>> {
    if !folder.is_dir() {
        let what = "there is no such folder of settings";
        let mend = "name the folder with --config DIR, or copy the example folder config/ that comes with the program and \
                    put your own garden in it; `counterpane demo` needs no settings";
        return Err(vec![Fault::of_file(&shown(folder), what, "", mend)]);
    }
    let mut faults = Vec::new();
    let service_path = folder.join(SERVICE_FILE);
    let service = read_text(&service_path).unwrap_or_else(|fault| {
        faults.push(fault);
        (shown(&service_path), String::new())
    });
    let gardens = read_folder(&folder.join(GARDENS), &mut faults);
    let mut crops: BTreeMap<String, File> = built_in(&CROPS).into_iter().map(|file| (file.0.clone(), file)).collect();
    let own = folder.join("crops");
    if own.is_dir() {
        for file in read_folder(&own, &mut faults) {
            let name = file.0.rsplit(['/', '\\']).next().unwrap_or_default().to_string();
            crops.insert(name, file);
        }
    }
    if faults.is_empty() { Ok(Files { service, gardens, crops: crops.into_values().collect() }) } else { Err(faults) }
}

/// The demo garden's files.
pub fn demo() -> Files {
    Files {
        service: (SERVICE_FILE.into(), DEMO_SERVICE.into()),
        gardens: vec![("tansyford.toml".into(), DEMO_GARDEN.into())],
        crops: built_in(&CROPS),
    }
}

fn built_in(folder: &Dir<'_>) -> Vec<File> {
    let mut files: Vec<File> = folder
        .files()
        .filter_map(|file| {
            let name = file.path().file_name()?.to_str()?;
            name.ends_with(".toml").then(|| Some((name.to_string(), file.contents_utf8()?.to_string())))?
        })
        .collect();
    files.sort();
    files
}

fn read_folder(folder: &Path, faults: &mut Vec<Fault>) -> Vec<File> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => {
            let mend = "create it, or name the folder of the settings with --config";
            faults.push(Fault::of_file(&shown(folder), format!("this folder cannot be read: {error}"), "", mend));
            return Vec::new();
        }
    };
    let mut paths: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .collect();
    paths.sort();
    paths.iter().filter_map(|path| read_text(path).map_err(|fault| faults.push(fault)).ok()).collect()
}

/// More than any settings file; a wrong path must not fill the memory.
const LARGEST: u64 = 4 << 20;

fn read_text(path: &Path) -> Result<File, Fault> {
    let fault = |what: String, mend: &str| Err(Fault::of_file(&shown(path), what, "", mend));
    match std::fs::metadata(path) {
        Err(error) => {
            return fault(
                format!("this file cannot be read: {error}"),
                "create it, or name the folder of the settings with --config",
            );
        }
        // A pipe would be waited for, and a device has no end. A link to a file is as good as the file.
        Ok(metadata) if !metadata.is_file() => {
            return fault("this is not a plain file".into(), "is it the right file?");
        }
        Ok(metadata) if metadata.len() > LARGEST => {
            return fault("this file is too large for settings".into(), "is it the right file?");
        }
        Ok(_) => {}
    }
    match std::fs::read_to_string(path) {
        Ok(text) => Ok((shown(path), text)),
        Err(error) => fault(format!("this file cannot be read: {error}"), "save it as plain text in UTF-8"),
    }
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}
