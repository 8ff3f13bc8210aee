//! The list on paper: one page that needs nothing else, prints in black on A4 and on Letter, and has room for what was
//! done and for what the thermometer said.

use super::entries::crops_of;
use super::instructions::instructions;
use super::letter::work_in_words;
use super::{cautions, changes, sentences, work_order};
use crate::plan::order::{WorkOrder, work_order};
use crate::plan::{BedPlan, Measure, Plan};
use crate::units::Minutes;
use askama::Template;

/// Rows for thermometer readings.
const READINGS: usize = 3;

/// One line of the table, in short texts.
struct Row {
    /// Heading over the rows of one kind of work, where it begins.
    heading: Option<&'static str>,
    bed: String,
    crops: String,
    what: Vec<String>,
    by: String,
    minutes: String,
    who: String,
}

#[derive(Template)]
#[template(path = "hand_out.html", config = "src/message/askama.toml")]
struct Page<'a> {
    garden: &'a str,
    title: String,
    lines: Vec<String>,
    rows: Vec<Row>,
    others: String,
    cautions: Vec<&'static str>,
    readings: Vec<usize>,
}

/// The page of a list, as HTML. Everything from settings is escaped.
pub fn hand_out(plan: &Plan<'_>) -> String {
    let order = work_order(plan);
    let zone = &plan.garden.zone;
    let evening = zone.local(plan.deadline);
    let page = Page {
        garden: &plan.garden.name,
        title: format!("Night of {}: {}", evening.format("%A %-d %B %Y"), work_in_words(plan)),
        lines: lines(plan, &order),
        rows: rows(plan, &order),
        others: others(plan),
        cautions: cautions::for_plan(plan),
        readings: (1..=READINGS).collect(),
    };
    // Setting into memory does not fail; were it to, whoever holds an empty page looks into the mail.
    page.render().unwrap_or_default()
}

/// The file's name: of the night alone, so that a later list replaces it wherever it is kept.
pub fn file_name(plan: &Plan<'_>) -> String {
    format!("list-{}.html", plan.of)
}

fn lines(plan: &Plan<'_>, order: &WorkOrder) -> Vec<String> {
    let zone = &plan.garden.zone;
    let made = zone.local(plan.made_at);
    let mut lines = vec![format!(
        "List of {} {}; a later one may have come by mail.",
        made.format("%A, %H:%M"),
        zone.abbreviation(plan.made_at)
    )];
    if let Ok(night) = &plan.night {
        let low = sentences::night(plan, night, plan.garden.shown).into_iter().next();
        lines = vec![lines.into_iter().chain(low).collect::<Vec<_>>().join(" ")];
    }
    // Who does what, and what there is no time for, stands in the table.
    lines.extend(work_order::leave_first(plan, order));
    lines.extend(changes::elsewhere(plan));
    lines
}

fn rows(plan: &Plan<'_>, order: &WorkOrder) -> Vec<Row> {
    let fitting = order.turns.iter().map(|turn| (&turn.task, turn.each, work_order::who(turn), true));
    let others = order.does_not_fit.iter().map(|task| (task, task.minutes, String::new(), false));
    let mut before = None;
    let rows = fitting.chain(others).filter_map(|(task, Minutes(minutes), who, fits)| {
        let bed = plan.beds.get(task.bed)?;
        let beds: Vec<&BedPlan<'_>> = task.beds().filter_map(|bed| plan.beds.get(bed)).collect();
        let section = if fits { heading(bed.measure) } else { Some("Only if more people come") };
        let heading = section.filter(|_| before != section);
        before = section;
        let by = task.do_by.map(|by| plan.garden.zone.local(by).format("%H:%M").to_string()).unwrap_or_default();
        let mut what = instructions(bed);
        if bed.measure == Measure::BringIn {
            what.push("Carry under a roof, against a wall.".into());
        }
        let titles: Vec<String> = beds.iter().map(|bed| bed.risk.bed.title()).collect();
        let piece = if beds.len() > 1 { ", one piece" } else { "" };
        let mut crops: Vec<String> = beds.iter().map(|bed| crops_of(bed)).collect();
        crops.dedup();
        Some(Row {
            heading,
            bed: format!("{}{piece}", titles.join(" and ")),
            crops: crops.join("; "),
            what,
            by,
            minutes: format!("{:.0}", minutes.ceil()),
            who,
        })
    });
    rows.collect()
}

fn heading(measure: Measure) -> Option<&'static str> {
    match measure {
        Measure::Harvest => Some("Cut"),
        Measure::BringIn => Some("Bring in"),
        Measure::Cover => Some("Cover, and weigh the edges down all round"),
        Measure::Leave | Measure::Fine | Measure::Unknown => None,
    }
}

/// What is not worked on, in one line.
fn others(plan: &Plan<'_>) -> String {
    let line = |(measure, words): (Measure, &str)| {
        let beds = plan.beds.iter().filter(|bed| bed.measure == measure);
        let names: Vec<&str> = beds.map(|bed| bed.risk.bed.id.as_str()).collect();
        (!names.is_empty()).then(|| format!("{words}: {}.", names.join(", ")))
    };
    let measures = [
        (Measure::Unknown, "Not known to be safe, look at a thermometer"),
        (Measure::Leave, "At risk, left as they are"),
        (Measure::Fine, "Fine"),
    ];
    measures.into_iter().filter_map(line).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests;
