//! What a frost did is asked planting by planting: in the morning after it, and days later, for it shows late.

use super::letter::{Letter, Reader};
use super::{cautions, entries};
use crate::beds::{Garden, Role, named};
use crate::crops::Catalogue;
use crate::journal::at_risk::AtRisk;
use crate::zone::NightOf;

/// Plantings that one mail asks about; the rest are found by their night.
const MOST: usize = 12;

/// How an answer is given, in one line.
const ANSWER: &str = "Put one number in place of 0-5: 0 none, 1 traces, 2 slight, 3 marked, 4 heavy, 5 dead. A 0 teaches as \
                      much as a 5.";

/// The same for whoever keeps no log.
pub(super) const TELL: &str = "Tell whoever keeps the log what you saw of each: none, traces, slight, marked, heavy or dead. \"None\" is \
                               worth as much.";

/// Nights with what was at risk in each, the youngest last.
pub type AtRiskOf = (NightOf, Vec<AtRisk>);

/// The plantings in question, each with the last night on which it was at risk, those at the highest chance first.
fn in_question(garden: &Garden, nights: &[AtRiskOf]) -> Vec<(NightOf, AtRisk)> {
    let mut each: Vec<(NightOf, AtRisk)> = Vec::new();
    for (night, plantings) in nights.iter().rev() {
        for planting in plantings.iter().filter(|planting| garden.beds.iter().any(|bed| bed.id == planting.bed)) {
            let is_it = |known: &AtRisk| {
                (&known.bed, &known.crop, &known.sowing) == (&planting.bed, &planting.crop, &planting.sowing)
            };
            if !each.iter().any(|(_, known)| is_it(known)) {
                each.push((*night, planting.clone()));
            }
        }
    }
    let chance = |planting: &AtRisk| planting.chance.map_or(1.0, |chance| chance.0);
    each.sort_by(|(_, a), (_, b)| chance(b).total_cmp(&chance(a)));
    each
}

/// One entry for each bed with a command for each of its plantings, and what is left out. A volunteer gets no command.
fn questions(garden: &Garden, catalogue: &Catalogue, nights: &[AtRiskOf], reader: Reader) -> Vec<entries::Entry> {
    let each = in_question(garden, nights);
    let (each, rest) = each.split_at(each.len().min(MOST));
    let is_manager = reader.role == Role::Manager;
    let mut all: Vec<entries::Entry> = Vec::new();
    for bed in &garden.beds {
        let of_bed: Vec<&(NightOf, AtRisk)> = each.iter().filter(|(_, planting)| planting.bed == bed.id).collect();
        if of_bed.is_empty() {
            continue;
        }
        let name = |crop: &str| catalogue.crops.get(crop).map_or(crop.to_string(), |crop| crop.name.clone());
        let crops: Vec<String> =
            of_bed.iter().map(|(_, planting)| named(&name(&planting.crop), planting.sowing.as_ref())).collect();
        let lines = of_bed.iter().filter(|_| is_manager).map(|(night, planting)| command(garden, *night, planting));
        all.push(entries::Entry { title: format!("{}: {}", bed.title(), crops.join(", ")), lines: lines.collect() });
    }
    for (night, _) in nights {
        let count = rest.iter().filter(|(of, _)| of == night).count();
        if count == 0 {
            continue;
        }
        let lines =
            if is_manager { vec![format!("counterpane event {night} --garden {}", garden.id)] } else { Vec::new() };
        let date = night.0.format("%A %-d %B");
        all.push(entries::Entry { title: format!("and {count} more of the night of {date}"), lines });
    }
    all
}

/// A label as a shell takes it.
pub fn quoted(label: &str) -> String {
    let is_plain = |c: char| c.is_alphanumeric() || "-_./".contains(c);
    if !label.chars().all(is_plain) { format!("\"{label}\"") } else { label.to_string() }
}

/// The command with which an answer is written down, a number in place of `0-5`.
pub(super) fn command(garden: &Garden, night: NightOf, planting: &AtRisk) -> String {
    let sowing = planting.sowing.as_ref().map_or(String::new(), |sowing| format!(" --sowing {}", quoted(sowing)));
    let (bed, crop) = (quoted(&planting.bed), &planting.crop);
    format!("counterpane damage {bed} {crop} 0-5{sowing} --night {night} --garden {}", garden.id)
}

/// The question in the morning after a night, for whoever keeps the log.
pub(super) fn in_the_morning(
    garden: &Garden,
    catalogue: &Catalogue,
    night: &AtRiskOf,
    reader: Reader,
) -> Option<entries::Group> {
    let entries = questions(garden, catalogue, std::slice::from_ref(night), reader);
    (reader.role == Role::Manager && !entries.is_empty()).then(|| entries::Group {
        heading: "What did the frost do?".into(),
        is_work: true,
        note: format!("{ANSWER} You are asked again in three days and after ten."),
        entries,
    })
}

/// The question some days after one or more nights, the youngest last. Each planting that was at risk is asked about once,
/// for the last night on which it was. `None` where no such bed is there any more.
pub fn look_again_letter(
    garden: &Garden,
    catalogue: &Catalogue,
    nights: &[AtRiskOf],
    last_look: bool,
    reader: Reader,
) -> Option<Letter> {
    let entries = questions(garden, catalogue, nights, reader);
    let date = |night: &NightOf| night.0.format("%A %-d %B").to_string();
    let frosts = match nights {
        [] => return None,
        [(only, _)] => format!("the night of {}", date(only)),
        [(first, _), .., (last, _)] => format!("the nights from {} to {}", date(first), date(last)),
    };
    if entries.is_empty() {
        return None;
    }
    let why = if last_look {
        "Now it shows what stays: growing points, stems and roots that looked sound may be dead, and leaves may have come again."
    } else {
        "Harm that could not be seen on the first morning shows by now: leaves that turned glassy, brown or limp."
    };
    let answer = match reader.role {
        Role::Manager => format!("{ANSWER} `counterpane damage --help` says more."),
        Role::Volunteer => TELL.to_string(),
    };
    let each = in_question(garden, nights);
    let more = if each.len() > MOST { " and more" } else { "" };
    let mut beds: Vec<&str> = each.iter().take(MOST).map(|(_, planting)| planting.bed.as_str()).collect();
    beds.sort_unstable();
    beds.dedup();
    let beds = if beds.len() == 1 { format!("1 bed{more}") } else { format!("{} beds{more}", beds.len()) };
    Some(Letter {
        subject: format!("What did the frost do? Look at {beds} ({})", garden.name),
        lead: vec![format!("It is some days after {frosts}."), why.into()],
        groups: vec![entries::Group { heading: "Look at".into(), is_work: true, note: answer, entries }],
        cautions: cautions::for_a_look(),
        ..Letter::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beds::sample::{bed, garden};
    use crate::units::Probability;
    use chrono::{Duration, NaiveDate};

    fn night(day: i64) -> NightOf {
        NightOf(NaiveDate::default() + Duration::days(day))
    }

    fn at_risk(plantings: &[(&str, &str, f64)]) -> Vec<AtRisk> {
        let planting = |(bed, crop, chance): &(&str, &str, f64)| AtRisk {
            bed: (*bed).into(),
            crop: (*crop).into(),
            sowing: None,
            chance: Some(Probability(*chance)),
        };
        plantings.iter().map(planting).collect()
    }

    fn asked(nights: &[AtRiskOf], role: Role) -> Option<Letter> {
        let garden = garden(
            vec![bed("R1", &[("kale", "leafy"), ("pea", "leafy")]), bed("R 2", &[("leek", "leafy")])],
            Vec::new(),
        );
        look_again_letter(&garden, &Catalogue::default(), nights, false, Reader { role })
    }

    fn lines(letter: &Letter) -> Vec<&str> {
        letter.groups[0].entries().iter().flat_map(|entry| &entry.lines).map(String::as_str).collect()
    }

    #[test]
    fn each_planting_at_risk_is_asked_about_once_for_its_last_night() {
        let nights = [
            (night(0), at_risk(&[("R1", "kale", 0.9), ("R 2", "leek", 0.3)])),
            (night(1), at_risk(&[("R1", "pea", 0.5), ("R1", "kale", 0.2), ("X9", "pea", 0.9)])),
        ];
        let letter = asked(&nights, Role::Manager).expect("two beds");
        assert_eq!(letter.subject, "What did the frost do? Look at 2 beds (The plot)");
        assert_eq!(
            lines(&letter),
            [
                "counterpane damage R1 pea 0-5 --night 1970-01-02 --garden plot",
                "counterpane damage R1 kale 0-5 --night 1970-01-02 --garden plot",
                "counterpane damage \"R 2\" leek 0-5 --night 1970-01-01 --garden plot",
            ]
        );
        let volunteers = asked(&nights, Role::Volunteer).expect("two beds");
        assert_eq!(volunteers.groups[0].entries()[0].title, "R1: pea, kale");
        assert!(lines(&volunteers).is_empty() && !format!("{volunteers:?}").contains("counterpane damage"));
    }

    /// One answer for both sowings would teach nothing of either.
    #[test]
    fn a_crop_that_stands_twice_is_asked_about_by_sowings() {
        let mut plantings = at_risk(&[("R1", "kale", 0.9), ("R1", "kale", 0.5)]);
        plantings[0].sowing = Some("Red Russian".into());
        plantings[1].sowing = Some("1969-12-03".into());
        let letter = asked(&[(night(9), plantings)], Role::Manager).expect("a bed");
        assert_eq!(
            lines(&letter),
            [
                "counterpane damage R1 kale 0-5 --sowing \"Red Russian\" --night 1970-01-10 --garden plot",
                "counterpane damage R1 kale 0-5 --sowing 1969-12-03 --night 1970-01-10 --garden plot",
            ]
        );
    }

    #[test]
    fn nobody_is_asked_about_nothing() {
        assert_eq!(asked(&[], Role::Manager), None);
        // Gone from the garden since.
        assert_eq!(asked(&[(night(0), at_risk(&[("X9", "kale", 1.0)]))], Role::Manager), None);
        assert_eq!(asked(&[(night(0), Vec::new())], Role::Manager), None);
    }

    /// However much was at risk a mail stays short, and begins with what was most.
    #[test]
    fn many_plantings_are_asked_about_by_their_chance() {
        let crops: Vec<String> = (0..40).map(|number| format!("crop_{number}")).collect();
        let plantings: Vec<(&str, &str, f64)> =
            (0..40).map(|number| ("R1", crops[number].as_str(), number as f64 / 40.0)).collect();
        let letter = asked(&[(night(0), at_risk(&plantings))], Role::Manager).expect("a bed");
        let lines = lines(&letter);
        assert_eq!(lines.len(), MOST + 1, "{lines:?}");
        assert!(lines[0].contains("crop_39 ") && lines[MOST - 1].contains("crop_28 "), "{lines:?}");
        assert_eq!(lines[MOST], "counterpane event 1970-01-01 --garden plot");
        assert_eq!(letter.groups[0].entries()[1].title, "and 28 more of the night of Thursday 1 January");
        assert_eq!(letter.subject, "What did the frost do? Look at 1 bed and more (The plot)");
    }
}
