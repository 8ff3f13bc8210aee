//! The morning after: uncover, and write down what the night did.

use super::letter::{Letter, Reader, capitalised, lateness};
use super::{cautions, entries};
use crate::beds::{Garden, Role};
use crate::plan::Measure;
use crate::plan::said::Said;
use crate::units::Scale;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

/// The message of the morning after a night for which something was asked, or of which nothing was known.
pub fn morning_after_letter(
    garden: &Garden,
    night: NightOf,
    said: &Said,
    next_word_by: Option<DateTime<Utc>>,
    late_by: Option<Duration>,
    reader: Reader,
) -> Letter {
    let title = |id: &str| {
        let bed = garden.beds.iter().find(|bed| bed.id == id);
        bed.map_or_else(|| id.to_string(), |bed| bed.title())
    };
    let covered: Vec<String> =
        said.beds.iter().filter_map(|bed| Some(format!("{} ({})", title(&bed.bed), bed.cover.as_ref()?))).collect();
    let inside: Vec<String> =
        said.beds.iter().filter(|bed| bed.measure == Measure::BringIn).map(|bed| title(&bed.bed)).collect();
    let count = covered.len();
    let uncover = match count {
        0 => None,
        1 => Some("uncover 1 bed".to_string()),
        _ => Some(format!("uncover {count} beds")),
    };
    let pots = (!inside.is_empty()).then(|| "pots back out".to_string());
    let what: Vec<String> = uncover.into_iter().chain(pots).collect();
    let what = if what.is_empty() { "Morning after".into() } else { capitalised(&what.join(", ")) };
    let off = "When it is above freezing and the leaves have thawed. Plastic first: it scorches in the sun. Shake off ice, \
               dry the cloth before folding it.";
    let groups = [
        ("Take off the covers", covered, off),
        ("Carry the pots back out", inside, "When the cold is over; those that hate it stay in until it is mild."),
    ];
    let groups = groups.into_iter().filter(|(_, beds, _)| !beds.is_empty()).map(|(heading, beds, how)| {
        let entries = beds.into_iter().map(|title| entries::Entry { title, lines: Vec::new() }).collect();
        entries::Group { heading: heading.into(), is_work: true, note: how.into(), entries }
    });
    let example = if garden.shown == Scale::Fahrenheit { "27F" } else { "-2.8C" };
    let mut closing = vec![
        "What did the thermometer show at its lowest? It is the one thing that makes the next list better. Send it to \
         whoever keeps the log."
            .to_string(),
    ];
    if reader.role == Role::Manager {
        closing = vec![format!(
            "Write down the lowest reading: counterpane reading {example} --garden {} --at \"the time\" (and --bed for \
             one bed).",
            garden.id
        )];
    }
    closing.push(
        "Look at the plants after the thaw today, in three days and in two weeks: harm shows late. Do not prune or pull \
         yet."
            .to_string(),
    );
    if let Some(by) = next_word_by {
        let local = garden.zone.local(by);
        closing.push(format!(
            "The next message comes by {} {}. No message by then means: look yourself.",
            local.format("%A %-d %B, %H:%M"),
            garden.zone.abbreviation(by)
        ));
    }
    let date = night.0.format("%A %-d %B");
    Letter {
        subject: format!("{what} and write down the low ({})", garden.name),
        lead: std::iter::once(format!("The night of {date} is over.")).chain(lateness(late_by)).collect(),
        changes: Vec::new(),
        groups: groups.collect(),
        by_hand: Vec::new(),
        cautions: cautions::for_morning(garden, said),
        quoted: Vec::new(),
        closing,
    }
}
