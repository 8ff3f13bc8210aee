//! `crops/after_frost.toml`: what to do after a frost, by class of crops.

use super::super::reader::Table;
use super::super::suggest::suggestion;
use super::super::{Fault, File, read_document};
use super::read_source_keys;
use crate::crops::{AfterFrost, Catalogue, Evidence, HarvestHabit, Then};

/// Reads all classes. `at_fault` are crops whose own files say what is wrong with them.
pub(super) fn read_classes(
    file: &File,
    catalogue: &Catalogue,
    at_fault: &[String],
) -> Result<Vec<AfterFrost>, Vec<Fault>> {
    read_document(file, |document| {
        let root = document.root();
        let mut claimed: Vec<(String, String)> = Vec::new();
        let classes: Vec<AfterFrost> = root
            .named_tables()
            .into_iter()
            .filter_map(|(heading, table)| read_class(heading.key.clone(), table, catalogue, at_fault, &mut claimed))
            .collect();
        Some(classes)
    })
}

fn read_class(
    class: String,
    table: Table<'_>,
    catalogue: &Catalogue,
    at_fault: &[String],
    claimed: &mut Vec<(String, String)>,
) -> Option<AfterFrost> {
    let mut crops = Vec::new();
    for item in table.optional("crops").and_then(|value| value.list("[\"broccoli\"]")).unwrap_or_default() {
        let Some(id) = item.text() else { continue };
        if !catalogue.crops.contains_key(id) && !at_fault.iter().any(|other| other == id) {
            let names = catalogue.crops.keys().map(String::as_str);
            let mend = suggestion(id, names).unwrap_or_else(|| "write the name of a file of crops/".into());
            item.fault(format!("no crop is called \"{id}\""), "", mend);
        } else if let Some((_, other)) = claimed.iter().find(|(crop, _)| crop == id) {
            item.fault(format!("{id} stands under [{other}] already"), "", "name it in one class only");
        } else {
            claimed.push((id.to_string(), class.clone()));
        }
        crops.push(id.to_string());
    }
    let harvested = table.optional("harvested").and_then(|value| value.list("[\"cut-and-come-again\"]"));
    let harvested = harvested.unwrap_or_default().into_iter();
    let harvested = harvested.filter_map(|value| value.word(HarvestHabit::ALL, HarvestHabit::word)).collect();
    let stages = table.optional("stages").and_then(|value| value.list("[\"heading\"]")).unwrap_or_default();
    let known = |stage: &str| catalogue.crops.values().any(|crop| crop.stages.iter().any(|known| known == stage));
    let stages = stages.into_iter().filter_map(|value| {
        let stage = value.text()?;
        if !known(stage) {
            let mend = "write a stage that `counterpane check --crops` lists";
            value.fault(format!("no crop has a stage \"{stage}\""), "", mend);
        }
        Some(stage.to_string())
    });
    let stages: Vec<String> = stages.collect();
    let then = table.required("then", "then = \"wait\" (or \"pick\", \"pull\", \"resow\")");
    let then = then.and_then(|value| value.word(Then::ALL, Then::word));
    let optional = |key: &'static str| table.optional(key).and_then(|value| value.text()).map(str::to_string);
    let required = |key: &'static str| {
        table.required(key, &format!("{key} = \"...\"")).and_then(|value| value.text()).map(str::to_string)
    };
    let (short, injury) = (required("short"), required("injury"));
    let (do_not, food, look_again) = (optional("do_not"), optional("food"), optional("look_again"));
    let evidence = table.required("evidence", "evidence = \"common-practice\"");
    let evidence = evidence.and_then(|value| value.word(Evidence::ALL, Evidence::word));
    let sources = read_source_keys(&table, &catalogue.sources);
    table.finish();
    Some(AfterFrost {
        class,
        crops,
        harvested,
        stages,
        then: then?,
        short: short?,
        injury: injury?,
        do_not,
        food,
        look_again,
        evidence: evidence?,
        sources,
    })
}
