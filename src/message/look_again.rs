//! Days after a frost: what it did shows late, and is asked about bed by bed.

use super::letter::{Letter, Reader};
use super::{cautions, entries};
use crate::beds::{Bed, Garden, Planting, Role};
use crate::crops::Catalogue;
use crate::plan::said::Said;
use crate::zone::NightOf;
use chrono::NaiveDate;

/// The question some days after one or more nights, the youngest last. Each bed that was at risk is asked about once, for
/// the last night on which it was. `None` where no such bed is there any more.
pub fn look_again_letter(
    garden: &Garden,
    catalogue: &Catalogue,
    nights: &[(NightOf, Said)],
    last_look: bool,
    reader: Reader,
) -> Option<Letter> {
    let entries: Vec<entries::Entry> = garden
        .beds
        .iter()
        .filter_map(|bed| {
            let (night, _) = nights.iter().rfind(|(_, said)| said.was_out(&bed.id))?;
            let lines = match reader.role {
                Role::Manager => of_which(bed, night.0)
                    .iter()
                    .map(|(crop, sowing)| {
                        let (bed, of) = (quoted(&bed.id), &garden.id);
                        format!("counterpane damage --garden {of} {bed}{crop} <0 to 5>{sowing} --night {night}")
                    })
                    .collect(),
                Role::Volunteer => Vec::new(),
            };
            Some(entries::Entry { title: title(bed, catalogue), lines })
        })
        .collect();
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
        Role::Manager => {
            "One number for each bed: 0 none, 1 traces, 2 slight, 3 marked, 4 heavy, 5 dead. A 0 teaches as much as a 5. \
             `counterpane damage --help` says more."
        }
        Role::Volunteer => {
            "Tell whoever keeps the log, for each bed: none, traces, slight, marked, heavy or dead. \"None\" is worth as much."
        }
    };
    let count = entries.len();
    let beds = if count == 1 { "1 bed".to_string() } else { format!("{count} beds") };
    Some(Letter {
        subject: format!("What did the frost do? Look at {beds} ({})", garden.name),
        lead: vec![format!("It is some days after {frosts}."), why.into()],
        groups: vec![entries::Group { heading: "Look at".into(), is_work: true, note: answer.into(), entries }],
        cautions: cautions::for_a_look(),
        ..Letter::default()
    })
}

/// Of which plantings of a bed an answer is wanted, as it is typed before and behind the class: of the whole bed in one,
/// and where it has a crop twice of each planting by itself, for one answer would teach nothing of either.
fn of_which(bed: &Bed, on: NaiveDate) -> Vec<(String, String)> {
    let there = || bed.plantings.iter().filter(|planting| planting.planted.is_none_or(|planted| planted <= on));
    let is_twice = |planting: &Planting| there().filter(|other| other.crop == planting.crop).count() > 1;
    if !there().any(|planting| is_twice(planting) && bed.sowing_of(planting).is_some()) {
        return vec![(String::new(), String::new())];
    }
    let mut which = Vec::new();
    for planting in there() {
        let sowing = bed.sowing_of(planting).filter(|_| is_twice(planting));
        let sowing = sowing.map_or(String::new(), |sowing| format!(" --sowing {}", quoted(&sowing)));
        // What nothing tells apart from the others cannot be typed by itself.
        if is_twice(planting) && sowing.is_empty() {
            continue;
        }
        which.push((format!(" {}", planting.crop), sowing));
    }
    which
}

fn quoted(text: &str) -> String {
    if text.contains(|letter: char| !letter.is_ascii_alphanumeric() && letter != '-' && letter != '_') {
        format!("\"{text}\"")
    } else {
        text.into()
    }
}

fn title(bed: &Bed, catalogue: &Catalogue) -> String {
    let mut crops: Vec<&str> = Vec::new();
    for planting in &bed.plantings {
        let name = catalogue.crops.get(&planting.crop).map_or(planting.crop.as_str(), |crop| crop.name.as_str());
        if !crops.contains(&name) {
            crops.push(name);
        }
    }
    format!("{}: {}", bed.title(), crops.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beds::sample::{bed, garden};
    use crate::plan::Measure;
    use crate::plan::said::SaidBed;
    use chrono::{DateTime, Duration};

    fn night(day: i64) -> NightOf {
        NightOf(NaiveDate::default() + Duration::days(day))
    }

    fn said(beds: &[(&str, Measure)]) -> Said {
        let bed = |(bed, measure): &(&str, Measure)| {
            let text = format!(
                r#"{{"bed":"{bed}","measure":"{}","cover":null,"chance":0.5}}"#,
                measure.word().replace('-', "_")
            );
            serde_json::from_str::<SaidBed>(&text).expect("a bed")
        };
        Said { at: DateTime::UNIX_EPOCH, beds: beds.iter().map(bed).collect(), ..Said::default() }
    }

    fn asked(nights: &[(NightOf, Said)], role: Role) -> Option<Letter> {
        let garden = garden(vec![bed("R1", &[("kale", "leafy")]), bed("R 2", &[("leek", "leafy")])], Vec::new());
        look_again_letter(&garden, &Catalogue::default(), nights, false, Reader { role })
    }

    #[test]
    fn each_bed_at_risk_is_asked_about_once_for_its_last_night() {
        use Measure::{Cover, Fine, Leave};
        let nights =
            [(night(0), said(&[("R1", Cover), ("R 2", Leave)])), (night(1), said(&[("R1", Leave), ("R 2", Fine)]))];
        let letter = asked(&nights, Role::Manager).expect("two beds");
        assert_eq!(letter.subject, "What did the frost do? Look at 2 beds (The plot)");
        let lines: Vec<&str> =
            letter.groups[0].entries().iter().flat_map(|entry| &entry.lines).map(String::as_str).collect();
        assert_eq!(
            lines,
            [
                "counterpane damage --garden plot R1 <0 to 5> --night 1970-01-02",
                "counterpane damage --garden plot \"R 2\" <0 to 5> --night 1970-01-01",
            ]
        );
        let volunteers = asked(&nights, Role::Volunteer).expect("two beds");
        assert!(volunteers.groups[0].entries().iter().all(|entry| entry.lines.is_empty()));
        assert!(!format!("{volunteers:?}").contains("counterpane damage"));
    }

    /// One answer for both sowings would teach nothing of either.
    #[test]
    fn a_crop_that_stands_twice_is_asked_about_by_sowings() {
        let mut bed = bed("R1", &[("kale", "leafy"), ("kale", "leafy"), ("leek", "leafy")]);
        let answers = |bed: &Bed| {
            of_which(bed, night(9).0).into_iter().map(|(crop, sowing)| format!("{crop} 2{sowing}")).collect::<Vec<_>>()
        };
        assert_eq!(answers(&bed), [" 2"]);
        bed.plantings[0].cultivar = Some("Red Russian".into());
        bed.plantings[1].planted = Some(night(2).0);
        assert_eq!(answers(&bed), [" kale 2 --sowing \"Red Russian\"", " kale 2 --sowing 1970-01-03", " leek 2"]);
        // Of one that was not there yet nobody is asked.
        bed.plantings[1].planted = Some(night(12).0);
        assert_eq!(answers(&bed), [" 2"]);
    }

    #[test]
    fn nobody_is_asked_about_nothing() {
        use Measure::{BringIn, Fine};
        assert_eq!(asked(&[], Role::Manager), None);
        // Fine, inside, or gone from the garden since.
        let nights = [(night(0), said(&[("R1", Fine), ("R 2", BringIn), ("X9", Measure::Cover)]))];
        assert_eq!(asked(&nights, Role::Manager), None);
    }
}
