//! A day that turns too hot or too bright for covers that were to stay on.

use super::entries;
use super::letter::Letter;
use crate::beds::Garden;
use crate::night::day::Day;
use crate::plan::spell::{DayAdvice, TooHot};
use chrono::{DateTime, Utc};

/// What to do at once with covers that the word of the morning had left on; `until` is when they are to be on again.
pub fn too_hot_letter(garden: &Garden, hot: &[TooHot], day: &Day, until: DateTime<Utc>) -> Letter {
    let of = |advice: DayAdvice| hot.iter().filter(move |cover| cover.advice == advice);
    let labels = |advice: DayAdvice| of(advice).map(|cover| cover.bed.as_str()).collect::<Vec<_>>().join(", ");
    let parts = [("uncover", DayAdvice::ComesOff), ("open", DayAdvice::Open)].map(|(verb, advice)| {
        let beds = labels(advice);
        (!beds.is_empty()).then(|| format!("{verb} {beds}"))
    });
    let what = parts.into_iter().flatten().collect::<Vec<_>>().join(", ");
    let title = |id: &str| {
        let bed = garden.beds.iter().find(|bed| bed.id == id);
        bed.map_or_else(|| id.to_string(), |bed| bed.title())
    };
    let by = garden.zone.local(until).format("%H:%M");
    let off = format!(
        "Keep them at hand: if tonight wants them again, the next list says so, and they are to be on by {by}."
    );
    let open = format!("Ends or lids, while it is light: it gets hot inside. Close by {by}.");
    let groups = [("Take off now", DayAdvice::ComesOff, off), ("Open now", DayAdvice::Open, open)];
    let groups =
        groups.into_iter().filter(|(_, advice, _)| of(*advice).next().is_some()).map(|(heading, advice, note)| {
            let entry = |cover: &TooHot| entries::Entry {
                title: format!("{} ({})", title(&cover.bed), cover.cover),
                lines: Vec::new(),
            };
            entries::Group { heading: heading.into(), is_work: true, note, entries: of(advice).map(entry).collect() }
        });
    let warmest = day.warmest.whole(garden.shown);
    Letter {
        subject: format!("Too hot under covers, now: {what} ({})", garden.name),
        lead: vec![
            format!(
                "Today turns warmer or brighter than the word of this morning had it: up to {warmest} in the shade."
            ),
            "Under what was to stay covered it gets too hot for the plants.".into(),
        ],
        groups: groups.collect(),
        ..Letter::default()
    }
}
