//! The morning after: uncover, and write down what the night did.

use super::letter::{Letter, Reader, capitalised, lateness};
use super::look_again::{AtRiskOf, TELL, in_the_morning};
use super::{cautions, entries, sentences};
use crate::beds::{Bed, Garden, Role};
use crate::crops::{AfterFrost, Catalogue};
use crate::journal::at_risk::AtRisk;
use crate::plan::Measure;
use crate::plan::said::Said;
use crate::plan::spell::{ByDay, DayAdvice, Kept};
use crate::risk::stage_of;
use crate::units::Scale;
use crate::zone::NightOf;
use chrono::{DateTime, Days, Duration, Utc};

/// A night that is over.
#[derive(Clone, Copy, Debug)]
pub struct NightOver<'a> {
    pub of: NightOf,
    /// What of its lists was out in the morning.
    pub said: &'a Said,
    /// Of its covers and pots, those that the coming night wants again.
    pub kept: &'a Kept,
    /// What it may have harmed.
    pub at_risk: &'a [AtRisk],
}

/// The message of the morning after a night for which something was asked, or of which nothing was known.
pub fn morning_after_letter(
    garden: &Garden,
    catalogue: &Catalogue,
    over: NightOver<'_>,
    next_word_by: Option<DateTime<Utc>>,
    late_by: Option<Duration>,
    reader: Reader,
) -> Letter {
    let NightOver { of: night, said, kept: Kept { covers: kept, inside: stays_inside }, at_risk } = over;
    let title = |id: &str| {
        let bed = garden.beds.iter().find(|bed| bed.id == id);
        bed.map_or_else(|| id.to_string(), |bed| bed.title())
    };
    let covers = |advice: DayAdvice| -> Vec<String> {
        let of = |bed: &str| kept.iter().find(|kept| kept.bed == bed).map_or(DayAdvice::ComesOff, |kept| kept.advice);
        let beds = said.beds.iter().filter(|bed| of(&bed.bed) == advice);
        beds.filter_map(|bed| Some(format!("{} ({})", title(&bed.bed), bed.cover.as_ref()?))).collect()
    };
    let covered = covers(DayAdvice::ComesOff);
    let brought_in = said.beds.iter().filter(|bed| bed.measure == Measure::BringIn).map(|bed| &bed.bed);
    let (stay_in, go_out): (Vec<&String>, Vec<&String>) = brought_in.partition(|bed| stays_inside.contains(bed));
    let [stay_in, go_out] = [stay_in, go_out].map(|beds| beds.into_iter().map(|bed| title(bed)).collect::<Vec<_>>());
    let count = covered.len();
    let uncover = match count {
        0 => None,
        1 => Some("uncover 1 bed".to_string()),
        _ => Some(format!("uncover {count} beds")),
    };
    let pots = (!go_out.is_empty()).then(|| "pots back out".to_string());
    let what: Vec<String> = uncover.into_iter().chain(pots).collect();
    let what = if what.is_empty() { "Morning after".into() } else { capitalised(&what.join(", ")) };
    let off = "When it is above freezing and the leaves have thawed. Plastic first: it scorches in the sun. Shake off ice, \
               dry the cloth before folding it.";
    let stay = "Tonight wants them again, and today does no harm under them. Lift an edge once, for mould and snails.";
    let open = "Tonight wants them again. Open ends or lids while it is light: it gets hot inside. Close before dusk.";
    let again = if kept.iter().any(|kept| kept.advice == DayAdvice::ComesOff) {
        format!("{off} Keep at hand what tonight wants again: {}.", names(kept))
    } else {
        off.to_string()
    };
    let groups = [
        ("Take off the covers", covered, again.as_str()),
        ("Open by day", covers(DayAdvice::Open), open),
        ("Leave covered", covers(DayAdvice::StaysOn), stay),
        ("Leave inside", stay_in, "Tonight wants them in again."),
        ("Carry the pots back out", go_out, "When the cold is over; those that hate it stay in until it is mild."),
    ];
    let groups = groups.into_iter().filter(|(_, beds, _)| !beds.is_empty()).map(|(heading, beds, how)| {
        let entries = beds.into_iter().map(|title| entries::Entry { title, lines: Vec::new() }).collect();
        entries::Group { heading: heading.into(), is_work: true, note: how.into(), entries }
    });
    let asked: AtRiskOf = (night, at_risk.to_vec());
    let groups = groups
        .chain(looks(garden, catalogue, night, said, reader))
        .chain(in_the_morning(garden, catalogue, &asked, reader))
        .collect();
    let example = if garden.shown == Scale::Fahrenheit { "27F" } else { "-2.8C" };
    let low = match reader.role {
        Role::Volunteer => vec![
            "What did the thermometer show at its lowest? It is the one thing that makes the next list better. Send it \
             to whoever keeps the log."
                .to_string(),
        ],
        // A minimum teaches and a single look does not; what names no hour is of the night that is over.
        Role::Manager => vec![
            format!(
                "Write down the lowest of the night today, with what the thermometer shows in place of {example}. For one \
                 that hangs at a bed add --bed and its label."
            ),
            format!("counterpane reading {example} --min --thermometer min-max --garden {}", garden.id),
        ],
    };
    let mut closing = low;
    if let Some(by) = next_word_by {
        closing.push(sentences::next_word(&garden.zone, by));
    }
    let date = night.0.format("%A %-d %B");
    Letter {
        subject: format!("{what} and write down the low ({})", garden.name),
        lead: std::iter::once(format!("The night of {date} is over.")).chain(lateness(late_by)).collect(),
        groups,
        cautions: cautions::for_morning(),
        closing,
        ..Letter::default()
    }
}

/// The beds whose covers come off today and are wanted again before dusk.
fn names(kept: &[ByDay]) -> String {
    let off = kept.iter().filter(|kept| kept.advice == DayAdvice::ComesOff).map(|kept| kept.bed.as_str());
    off.collect::<Vec<_>>().join(", ")
}

/// The beds that were out in the cold and in danger, or of which nothing was known: when to look at them, what to look
/// for and what then. Beds of which the same is said stand together.
fn looks(
    garden: &Garden,
    catalogue: &Catalogue,
    night: NightOf,
    said: &Said,
    reader: Reader,
) -> Option<entries::Group> {
    let beds = garden.beds.iter().filter(|bed| said.was_out(&bed.id));
    let entries: Vec<entries::Entry> = beds
        .flat_map(|bed| {
            let was_picked = said.beds.iter().any(|said| said.bed == bed.id && said.measure == Measure::Harvest);
            by_class(garden, bed, catalogue, night).into_iter().map(move |entry| (was_picked, entry))
        })
        .map(|(was_picked, (title, class))| {
            let picked = was_picked.then(|| "Of what was not picked last evening:".to_string());
            entries::Entry { title, lines: picked.into_iter().chain(advice(class, reader)).collect() }
        })
        .collect();
    if entries.is_empty() {
        return None;
    }
    let day = |days: u64| night.0.checked_add_days(Days::new(days));
    // A date at the end of the calendar has no third day after it; then the words alone must do.
    let when = match (day(4), day(11), day(15)) {
        (Some(third), Some(tenth), Some(fourteenth)) => format!(
            "again on {}, and between {} and {}",
            third.format("%A"),
            tenth.format("%-d %B"),
            fourteenth.format("%-d %B")
        ),
        _ => "again in three days and in two weeks".into(),
    };
    Some(entries::Group {
        heading: "Look at the plants".into(),
        is_work: true,
        note: match reader.role {
            Role::Manager => format!("After the thaw today, {when}: harm shows late."),
            Role::Volunteer => format!("After the thaw today, {when}: harm shows late. {TELL}"),
        },
        entries: entries::alike_together(entries),
    })
}

/// The crops of a bed by what is said of them: a title for each, and the advice.
fn by_class<'c>(garden: &Garden, bed: &Bed, catalogue: &'c Catalogue, night: NightOf) -> Vec<(String, &'c AfterFrost)> {
    let mut classes: Vec<(Vec<&str>, &AfterFrost)> = Vec::new();
    for planting in &bed.plantings {
        let Some(crop) = catalogue.crops.get(&planting.crop) else { continue };
        let Some(class) = catalogue.after_frost(crop, stage_of(garden, planting, crop, night).name) else { continue };
        match classes.iter_mut().find(|(_, other)| other.class == class.class) {
            Some((crops, _)) if crops.contains(&crop.name.as_str()) => {}
            Some((crops, _)) => crops.push(&crop.name),
            None => classes.push((vec![&crop.name], class)),
        }
    }
    classes.into_iter().map(|(crops, class)| (format!("{}: {}", bed.title(), crops.join(", ")), class)).collect()
}

/// Everybody is told the sign, the step and what may be eaten; the manager the rest.
fn advice(class: &AfterFrost, reader: Reader) -> Vec<String> {
    let mut lines = vec![class.short.clone()];
    if reader.role == Role::Manager {
        lines.push(format!("Signs: {}", class.injury));
        lines.extend(class.do_not.clone());
        lines.extend(class.look_again.clone());
    }
    lines.extend(class.food.clone());
    lines
}

#[cfg(test)]
mod tests;
