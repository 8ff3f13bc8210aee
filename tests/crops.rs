//! The crop catalogue against its own rules and against what others have published.
//!
//! Failure texts are for somebody who edits only the files in `crops/`; the dictionary is `crops/README.md`.

#[path = "published/crops.rs"]
mod published;

use counterpane::crops::{
    Catalogue, CountedFrom, Crop, Evidence, Frame, Harm, HarvestHabit, Life, Organ, Then, Tolerance,
};
use counterpane::settings::catalogue;
use counterpane::units::{Celsius, parse_temperature};
use published::{FAO_2005_TABLE_4_1, FREEZING_POINTS, Figure, LISTS, State};
use std::collections::BTreeSet;
use std::path::Path;

/// Half of the last digit that the catalogue prints.
const HALF_A_DIGIT: f64 = 0.05;

fn crops_folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("crops")
}

/// Name and text of every data file, in order of name.
fn files() -> Vec<(String, String)> {
    let mut files: Vec<(String, String)> = std::fs::read_dir(crops_folder())
        .expect("the folder crops/ is there")
        .map(|entry| entry.expect("readable").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .map(|path| {
            let name = path.file_name().expect("a file").to_string_lossy().into_owned();
            (name, std::fs::read_to_string(&path).expect("text in UTF-8"))
        })
        .collect();
    files.sort();
    files
}

fn read() -> Catalogue {
    catalogue(&files()).unwrap_or_else(|faults| {
        let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
        panic!("the crop files cannot be read:\n\n{}", texts.join("\n"))
    })
}

fn readme() -> String {
    std::fs::read_to_string(crops_folder().join("README.md")).expect("crops/README.md is there")
}

fn each_tolerance(crops: &Catalogue) -> impl Iterator<Item = (&Crop, &Tolerance)> {
    crops.crops.values().flat_map(|crop| crop.tolerances.iter().map(move |tolerance| (crop, tolerance)))
}

fn place(crop: &Crop, tolerance: &Tolerance) -> String {
    format!("{}.toml, {} at {}", crop.id, tolerance.organ.word(), tolerance.stages.join(" and "))
}

#[track_caller]
fn none(faults: Vec<String>, why: &str) {
    assert!(faults.is_empty(), "\n\n{}\n\n{why}\n", faults.join("\n"));
}

// Form: names, stages, sources.

#[test]
fn every_crop_is_named_after_its_file_in_small_letters() {
    let crops = read();
    let mut faults = Vec::new();
    let names: Vec<String> = files().iter().map(|(name, _)| name.trim_end_matches(".toml").to_string()).collect();
    let is_crop = |id: &&String| *id != "sources" && *id != "after_frost";
    for id in names.iter().filter(is_crop) {
        if !id.chars().all(|c| c.is_ascii_lowercase() || c == '_') {
            faults.push(format!("{id}.toml: rename it; small letters and underscores only"));
        }
        if crops.crops.get(id).is_none_or(|crop| crop.id != *id) {
            faults.push(format!("{id}.toml gives no crop \"{id}\""));
        }
    }
    none(faults, "A bed names its crop by the name of the file.");
    let files = names.iter().filter(is_crop).count();
    assert_eq!(crops.crops.len(), files, "every file but sources.toml and after_frost.toml is one crop");
    assert!(crops.crops.len() >= 65, "{} crops; a garden grows at least 65", crops.crops.len());
}

#[test]
fn every_file_opens_with_one_line_for_gardeners() {
    let faults = files().into_iter().filter(|(_, text)| !text.starts_with("# ")).map(|(name, _)| name).collect();
    none(faults, "Begin the file with a line like: # What to know about this crop in the cold.");
}

#[test]
fn a_name_in_a_sentence_is_short_plain_and_no_other_crops() {
    let crops = read();
    let mut faults = Vec::new();
    for crop in crops.crops.values() {
        if crop.name.contains(['(', ')', ',', ';', ':']) || crop.name.split(' ').count() > 3 {
            faults.push(format!("{}.toml: \"{}\" halts a sentence", crop.id, crop.name));
        }
        let same = |name: &str| crop.name.eq_ignore_ascii_case(name);
        let others = crops.crops.values().filter(|other| other.id != crop.id);
        for other in others.filter(|other| same(&other.name) || same(&other.listed_as) || same(&other.id)) {
            faults.push(format!("{}.toml: \"{}\" is a name of {}.toml too", crop.id, crop.name, other.id));
        }
    }
    none(faults, "Write said_as = \"leaf lettuce\" below the name: it stands in the middle of messages.");
}

#[test]
fn every_crop_says_how_it_stands_right_after_its_stages() {
    let says = |text: &str| {
        let after = text.lines().skip_while(|line| !line.starts_with("stages = ")).nth(1);
        after.is_some_and(|line| line.starts_with("stature = { height_m = "))
    };
    let crops = files().into_iter().filter(|(name, _)| !matches!(name.as_str(), "sources.toml" | "after_frost.toml"));
    let faults = crops.filter(|(_, text)| !says(text)).map(|(name, _)| name).collect();
    none(faults, "Below `stages` write: stature = { height_m = 0.4, leaf_width_m = 0.10 }");
}

#[test]
fn stages_are_words_of_the_readme_in_its_order() {
    let readme = readme();
    let section = readme.split("## Stages").nth(1).and_then(|rest| rest.split("\n## ").next()).unwrap_or_default();
    let words: Vec<&str> = section.lines().filter_map(|line| line.strip_prefix("| `")?.split('`').next()).collect();
    assert!(words.len() > 10, "the table of stages in crops/README.md was not found");
    let crops = read();
    let mut faults = Vec::new();
    for crop in crops.crops.values() {
        let places: Vec<Option<usize>> =
            crop.stages.iter().map(|stage| words.iter().position(|word| word == stage)).collect();
        for (stage, place) in crop.stages.iter().zip(&places) {
            if place.is_none() {
                faults.push(format!("{}.toml: the stage \"{stage}\" is not in the table of crops/README.md", crop.id));
            }
        }
        if !places.is_sorted() {
            faults.push(format!("{}.toml: stages are not in order of growth: {}", crop.id, crop.stages.join(", ")));
        }
    }
    for word in words {
        if !crops.crops.values().any(|crop| crop.stages.iter().any(|stage| stage == word)) {
            faults.push(format!("crops/README.md: no crop has the stage \"{word}\""));
        }
    }
    none(faults, "Volunteers choose the stage by these words: use one of the table, or add a line to it.");
}

#[test]
fn every_stage_is_exercised_by_a_tolerance_and_loses_at_most_everything() {
    let crops = read();
    let mut faults = Vec::new();
    for crop in crops.crops.values() {
        for stage in &crop.stages {
            let share: f64 = crop.at_stage(stage).map(|tolerance| tolerance.share).sum();
            if !(share > 0.0 && share < 1.0 + 1e-9) {
                faults.push(format!("{}.toml: the shares at {stage} add up to {share:.2}", crop.id));
            }
            let parts: Vec<_> = crop.at_stage(stage).map(|tolerance| (tolerance.organ, tolerance.harm)).collect();
            if parts.iter().enumerate().any(|(at, part)| parts[..at].contains(part)) {
                faults.push(format!("{}.toml: the same part has two figures at {stage}", crop.id));
            }
        }
    }
    none(faults, "A planting cannot lose more than all of it, nor nothing, nor one part twice.");
}

#[test]
fn every_source_is_known_and_used() {
    let crops = read();
    let mut used = BTreeSet::new();
    let mut faults = Vec::new();
    for crop in crops.crops.values() {
        used.extend(crop.growing.sources.iter().cloned());
        used.extend(crop.tolerances.iter().flat_map(|tolerance| tolerance.sources.iter().cloned()));
    }
    used.extend(crops.after_frost.iter().flat_map(|class| class.sources.iter().cloned()));
    for key in used.iter().filter(|key| !crops.sources.contains_key(*key)) {
        faults.push(format!("sources.toml has no [{key}], yet a crop names it"));
    }
    for key in crops.sources.keys().filter(|key| !used.contains(*key)) {
        faults.push(format!("sources.toml: no crop uses [{key}]; remove it or name it where it belongs"));
    }
    for (crop, tolerance) in each_tolerance(&crops) {
        for word in tolerance.note.iter().flat_map(|note| note.split(|c: char| !c.is_alphanumeric() && c != '_')) {
            if crops.sources.contains_key(word) && !tolerance.sources.iter().any(|key| key == word) {
                faults.push(format!("{}: the note names {word}, sources does not", place(crop, tolerance)));
            }
        }
    }
    none(faults, "Every figure must be traceable, and the bibliography holds nothing else.");
}

#[test]
fn the_readme_explains_every_word_of_the_files() {
    let readme = readme();
    let words = Organ::ALL.iter().map(|w| w.word()).chain(Harm::ALL.iter().map(|w| w.word()));
    let words = words.chain(Frame::ALL.iter().map(|w| w.word())).chain(Evidence::ALL.iter().map(|w| w.word()));
    let words = words.chain(HarvestHabit::ALL.iter().map(|w| w.word())).chain(Life::ALL.iter().map(|w| w.word()));
    let words = words.chain(Then::ALL.iter().map(|w| w.word()));
    let words = words.chain(CountedFrom::ALL.iter().map(|w| w.word()));
    let missing = words.filter(|word| !readme.contains(&format!("`{word}`"))).map(String::from).collect();
    none(missing, "crops/README.md is the dictionary: it must explain these words.");
}

// Figures among themselves.

#[test]
fn spread_follows_the_evidence_and_grows_with_a_conflict() {
    let mut faults = Vec::new();
    for (crop, tolerance) in each_tolerance(&read()) {
        let by_evidence = match tolerance.evidence.damage_begins {
            Evidence::Published => 1.0,
            Evidence::SecondHand => 1.5,
            Evidence::Memory | Evidence::Assumed | Evidence::CommonPractice => 2.0,
        };
        let conflict = tolerance.note.as_ref().is_some_and(|note| note.starts_with("CONFLICT:"));
        let expected = by_evidence + if conflict { 0.5 } else { 0.0 };
        if (tolerance.spread.0 - expected).abs() > 1e-9 {
            faults.push(format!("{}: spread should be {expected:.1}C", place(crop, tolerance)));
        }
    }
    none(faults, "Spread: 1.0C published, 1.5C second-hand, 2.0C otherwise; 0.5C more where the note begins CONFLICT:");
}

#[test]
fn heavy_loss_is_colder_than_first_harm_and_hardening_never_warms() {
    let mut faults = Vec::new();
    for (crop, tolerance) in each_tolerance(&read()) {
        if tolerance.damage_begins.0 - tolerance.severe.0 < 0.1 - 1e-9 {
            faults.push(format!("{}: severe must be at least 0.1C colder", place(crop, tolerance)));
        }
        let winter_state = tolerance.note.as_ref().is_some_and(|note| note.to_lowercase().contains("winter state"));
        if tolerance.hardened_gain.0 < 0.0 || (winter_state && tolerance.hardened_gain.0 != 0.0) {
            faults.push(format!("{}: hardened_gain is counted twice or negative", place(crop, tolerance)));
        }
        if tolerance.harm == Harm::Chilling && tolerance.exposure_hours.is_none() {
            faults.push(format!("{}: chilling needs exposure_hours", place(crop, tolerance)));
        }
        if tolerance.harm == Harm::Freezing && tolerance.severe.0 > 0.0 {
            faults.push(format!("{}: heavy loss by freezing above 0 C", place(crop, tolerance)));
        }
    }
    none(faults, "See the table of fields in crops/README.md.");
}

#[test]
fn nothing_is_picked_from_plants_that_have_nothing_to_pick() {
    let young = ["emerging", "seedling", "transplant", "dormant"];
    let faults = each_tolerance(&read())
        .filter(|(_, tolerance)| tolerance.pick.is_some())
        .filter(|(_, tolerance)| tolerance.stages.iter().any(|stage| young.contains(&stage.as_str())))
        .map(|(crop, tolerance)| place(crop, tolerance))
        .collect();
    none(faults, "Remove `pick` there: a volunteer would strip young or sleeping plants.");
}

#[test]
fn every_crop_has_advice_for_the_morning_after_that_fits_a_phone() {
    let crops = read();
    let mut faults = Vec::new();
    for crop in crops.crops.values() {
        for stage in crop.stages.iter().filter(|stage| crops.after_frost(crop, stage).is_none()) {
            faults.push(format!("after_frost.toml: no class takes {} at {stage}", crop.id));
        }
    }
    for class in &crops.after_frost {
        if class.short.len() > 110 {
            faults.push(format!(
                "after_frost.toml: [{}] short has {} letters, 110 at most",
                class.class,
                class.short.len()
            ));
        }
        let texts = [Some(&class.short), Some(&class.injury), class.do_not.as_ref(), class.food.as_ref()];
        for text in texts.into_iter().flatten().filter(|text| !text.ends_with('.')) {
            faults.push(format!("after_frost.toml: [{}] ends without a full stop: {text}", class.class));
        }
    }
    // Where frosted produce can make somebody ill.
    for (id, stage) in [("tomato", "fruiting"), ("potato", "rooting"), ("rhubarb", "leafy"), ("lemon", "fruiting")] {
        let class = crops.after_frost(&crops.crops[id], stage);
        if class.is_none_or(|class| class.food.is_none()) {
            faults.push(format!("after_frost.toml: the class of {id} says nothing of food"));
        }
    }
    none(faults, "See \"After a frost\" in crops/README.md.");
    let class = |id: &str, stage: &str| crops.after_frost(&crops.crops[id], stage).map(|class| class.class.as_str());
    for (id, stage, expected) in [
        ("broccoli", "heading", "heads"),
        ("broccoli", "leafy", "leaves"),
        ("broccoli", "transplant", "young_plants"),
        ("tomato", "transplant", "young_plants"),
        ("tomato", "leafy", "tomatoes"),
        ("kale", "leafy", "leaves"),
    ] {
        assert_eq!(class(id, stage), Some(expected), "{id} at {stage}");
    }
}

#[test]
fn a_frost_makes_better_only_what_the_file_says_it_does() {
    let crops = read();
    let mut faults = Vec::new();
    for crop in crops.crops.values() {
        let Some(better) = &crop.harvest.better_after_frost else { continue };
        let stem = better.split([',', ' ']).next().unwrap_or(better);
        let word = match stem {
            "less" => "bitter",
            other => other.trim_end_matches("er"),
        };
        let says = |tolerance: &&Tolerance| tolerance.quality.contains(word) || tolerance.quality.contains("improve");
        if !crop.tolerances.iter().any(|tolerance| says(&tolerance)) {
            faults.push(format!("{}.toml: no quality speaks of {better:?}", crop.id));
        }
    }
    none(faults, "better_after_frost repeats what `quality` of a part says, in a word.");
}

// Figures against the world.

#[test]
fn published_bands_are_met_or_the_departure_has_a_reason() {
    let crops = read();
    let mut faults = Vec::new();
    for list in LISTS {
        for &(id, stage, organ, warm, cold, reason) in list.rows {
            let row = format!("{}: {id}, {} at {stage}, {warm} to {cold}", list.source, organ.word());
            let Some(tolerance) = freezing(&crops, id, stage, organ) else {
                faults.push(format!("{row}: {id}.toml has no such tolerance"));
                continue;
            };
            let degrees = match list.state {
                State::Unhardened => (0.0, 0.0),
                State::Hardened => (1.0, 1.0),
                State::NotSaid => (0.0, 1.0),
            };
            let at = |degree| {
                let (begins, severe) = tolerance.hardened(degree);
                match list.figure {
                    Figure::Begins => begins.0,
                    Figure::Severe => severe.0,
                }
            };
            let (ours_warm, ours_cold) = (at(degrees.0), at(degrees.1));
            let agrees = ours_cold <= celsius(warm) + HALF_A_DIGIT && ours_warm >= celsius(cold) - HALF_A_DIGIT;
            if agrees && !reason.is_empty() {
                faults.push(format!("{row}: agrees now; remove its reason"));
            }
            if !agrees && !reason.starts_with("DIFFERS: ") {
                faults.push(format!("{row}: the catalogue has {ours_warm:.1} to {ours_cold:.1} C"));
            }
        }
    }
    none(
        faults,
        "Either the figure slipped: mend the crop file. Or it departs on purpose: write \"DIFFERS: why\" in the last \
         column of that row in tests/published/crops.rs.",
    );
}

#[test]
fn no_tissue_freezes_above_its_freezing_point() {
    let crops = read();
    let mut faults = Vec::new();
    for (crop, tolerance) in each_tolerance(&crops) {
        if tolerance.harm != Harm::Freezing || tolerance.frame == Frame::ScreenAir {
            continue;
        }
        let known = FREEZING_POINTS.iter().find(|row| row.0 == crop.id && row.1 == tolerance.organ);
        // Without a tabled point: water itself.
        let ceiling = known.map_or(0.0, |row| row.2 + 0.5);
        if tolerance.damage_begins.0 > ceiling + 1e-9 {
            faults.push(format!("{}: damage cannot begin above {ceiling:.1} C", place(crop, tolerance)));
        }
    }
    for &(id, organ, _) in FREEZING_POINTS {
        let met = each_tolerance(&crops)
            .any(|(crop, tolerance)| crop.id == id && tolerance.organ == organ && tolerance.frame != Frame::ScreenAir);
        if !met {
            faults.push(format!("the freezing point of {id}, {} meets no tolerance", organ.word()));
        }
    }
    none(faults, "There is no ice above a tissue's freezing point. An air temperature? Then frame = \"screen-air\".");
}

#[test]
fn produce_that_stands_more_freezes_is_first_harmed_at_colder_temperatures() {
    let crops = read();
    let medians = FAO_2005_TABLE_4_1.map(|group| {
        let mut figures: Vec<f64> = group
            .iter()
            .map(|(id, organ)| {
                let stages = crops.crops.get(*id).map(|crop| crop.stages.as_slice()).unwrap_or_default();
                let last = stages.iter().rev().find_map(|stage| freezing(&crops, id, stage, *organ));
                last.unwrap_or_else(|| panic!("{id}.toml: no {} that freezes", organ.word())).damage_begins.0
            })
            .collect();
        figures.sort_by(f64::total_cmp);
        figures[figures.len() / 2]
    });
    assert!(medians[0] > medians[1] && medians[1] > medians[2], "FAO 2005, Table 4.1: medians {medians:?} C");
}

fn freezing<'a>(crops: &'a Catalogue, id: &str, stage: &'a str, organ: Organ) -> Option<&'a Tolerance> {
    crops.crops.get(id)?.at_stage(stage).find(|tolerance| tolerance.organ == organ && tolerance.harm == Harm::Freezing)
}

fn celsius(text: &str) -> f64 {
    let Celsius(value) = parse_temperature(text).expect("rows carry their unit");
    value
}
