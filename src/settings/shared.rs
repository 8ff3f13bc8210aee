//! Covers that two or more gardens use together: each must say so, and say the same of them.

use super::garden::COVERS;
use super::reader::Document;
use super::suggest::suggestion;
use super::value::Value;
use super::{Fault, File, GardenSettings};
use crate::beds::{CoverStock, Garden};
use std::collections::BTreeSet;

/// The gardens that `shared_with` names.
pub(super) fn names(value: &Value<'_>) -> Option<Vec<String>> {
    let items = value.list("[\"hillside\"]")?;
    if items.is_empty() {
        let mend = "name the other gardens by their files, like [\"hillside\"], or remove the line";
        value.fault("shared_with names no garden", "", mend);
        return None;
    }
    items.iter().map(|item| item.text().map(str::to_string)).collect()
}

/// What is wrong between gardens that share covers. `gardens` are the files read, in the same order.
pub(super) fn faults(files: &[File], gardens: &[GardenSettings]) -> Vec<Fault> {
    let all: Vec<&Garden> = gardens.iter().map(|settings| &settings.garden).collect();
    let mut faults = Vec::new();
    for (file, garden) in files.iter().zip(&all) {
        if garden.covers.iter().all(|stock| stock.shared_with.is_empty()) {
            continue;
        }
        // Read once more for the places of its values; a file that is no TOML has said so.
        let Ok(document) = Document::parse(&file.0, &file.1) else { continue };
        let tables = document.root().tables(COVERS);
        for (table, stock) in tables.iter().zip(&garden.covers) {
            let Some(value) = table.optional("shared_with") else { continue };
            stock.shared_with.iter().for_each(|other| check(&value, garden, stock, other, &all));
        }
        faults.extend(document.into_faults());
    }
    faults
}

/// One garden that a cover is said to be shared with.
fn check(value: &Value<'_>, garden: &Garden, stock: &CoverStock, other: &str, all: &[&Garden]) {
    let name = &stock.name;
    let why = "One piece would be counted twice, and a bed promised a cover that lies elsewhere.";
    if other == garden.id {
        return value.fault("a garden does not share with itself", "", "name the other gardens only");
    }
    let Some(partner) = all.iter().find(|partner| partner.id == other) else {
        let ids = all.iter().map(|partner| partner.id.as_str()).filter(|id| *id != garden.id);
        let mend = suggestion(other, ids.clone()).unwrap_or_else(|| match ids.collect::<Vec<_>>().join(", ") {
            none if none.is_empty() => "there is no other garden here: remove the line".into(),
            ids => format!("write the name of its file without .toml; there are: {ids}"),
        });
        return value.fault(format!("no garden here is called \"{other}\""), why, mend);
    };
    let Some(twin) = partner.covers.iter().find(|twin| is_same_shelf(&twin.name, name)) else {
        let mend = format!("give it the same name = \"...\" in both files, as on the shelf, or remove {other} here");
        return value.fault(format!("{other} has no cover called \"{name}\""), why, mend);
    };
    if circle(garden, stock) != circle(partner, twin) {
        // Who names more is the likelier to be right.
        let all: BTreeSet<&str> = circle(garden, stock).union(&circle(partner, twin)).copied().collect();
        let others = |of: &Garden| {
            all.iter().filter(|id| **id != of.id).map(|id| format!("\"{id}\"")).collect::<Vec<_>>().join(", ")
        };
        let (here, there) = (others(garden), others(partner));
        let mend = format!("write shared_with = [{here}] here and shared_with = [{there}] in {other}");
        return value.fault(format!("{other} does not share \"{name}\" with the same gardens"), why, mend);
    }
    let of = |stock: &CoverStock| (stock.kind, stock.count, stock.length, stock.width, stock.rests_on_plants);
    if of(stock) != of(twin) {
        let mend = "make kind, count, length_m, width_m and rests_on_plants the same in both files";
        value.fault(format!("\"{name}\" is described otherwise in {other}, and is the same stock"), why, mend);
    }
}

/// Names on a shelf are the same whatever their capitals, as elsewhere in settings.
fn is_same_shelf(one: &str, other: &str) -> bool {
    one.to_lowercase() == other.to_lowercase()
}

/// All gardens that a stock is said to belong to.
fn circle<'g>(garden: &'g Garden, stock: &'g CoverStock) -> BTreeSet<&'g str> {
    stock.shared_with.iter().map(String::as_str).chain([garden.id.as_str()]).collect()
}
