//! The beds of a list, grouped and ordered as work.

use super::Reader;
use super::instructions::instructions;
use super::reasons;
use crate::beds::Role;
use crate::crops::{Crop, Frame, Tolerance};
use crate::plan::order::{Light, Phase, WorkOrder};
use crate::plan::{BedPlan, Measure, Plan};

/// Beds of one measure.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    pub heading: String,
    /// Whether each bed gets a box to tick.
    pub is_work: bool,
    /// How it is done, for all of them; may be empty.
    pub note: String,
    pub(super) entries: Vec<Entry>,
}

/// One bed.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Label, name and what grows there.
    pub title: String,
    /// What to do and why, a line each.
    pub lines: Vec<String>,
}

/// What needs no order, below the work.
const REST: [Measure; 3] = [Measure::Unknown, Measure::Leave, Measure::Fine];

pub(super) fn groups(plan: &Plan<'_>, work: &WorkOrder, reader: Reader) -> Vec<Group> {
    let by_turn: Vec<usize> = work.beds().collect();
    let phases = Light::of(plan).phases();
    phases
        .map(Phase::measure)
        .into_iter()
        .chain(REST)
        .filter_map(|measure| {
            // Work as it is done; of the rest, what is nearest to harm first.
            let of_measure = |bed: &&BedPlan<'_>| bed.measure == measure;
            let mut beds: Vec<&BedPlan<'_>> = if measure.is_work() {
                by_turn.iter().filter_map(|index| plan.beds.get(*index)).filter(of_measure).collect()
            } else {
                plan.beds.iter().filter(of_measure).collect()
            };
            if beds.is_empty() {
                return None;
            }
            if !measure.is_work() {
                order(&mut beds);
            }
            let (heading, note) = (heading(plan, measure, beds.len()), note(measure).to_string());
            let entries: Vec<Entry> = beds.iter().map(|bed| entry(plan, bed, reader)).collect();
            let entries = if measure.is_work() { entries } else { alike_together(entries) };
            Some(Group { heading, is_work: measure.is_work(), note, entries })
        })
        .collect()
}

/// The bed with the least margin first. Where nothing is known of the night, the tenderest first.
fn order(beds: &mut [&BedPlan<'_>]) {
    let key = |bed: &BedPlan<'_>| {
        let by_margin = bed.margin().map(|margin| margin.0);
        // The soil keeps roots through one night: they come last.
        let in_soil = |tolerance: &Tolerance| if tolerance.frame == Frame::Soil { 1000.0 } else { 0.0 };
        let tenderest = reasons::tenderest(bed).map(|(_, tolerance, begins)| in_soil(tolerance) - begins.0);
        by_margin.or(tenderest).unwrap_or(f64::INFINITY)
    };
    beds.sort_by(|a, b| key(a).total_cmp(&key(b)));
}

fn heading(plan: &Plan<'_>, measure: Measure, count: usize) -> String {
    let beds = if count == 1 { "bed" } else { "beds" };
    match measure {
        Measure::Harvest => format!("Harvest: {count} {beds}"),
        Measure::BringIn => {
            format!("Bring in: {count} {}", if count == 1 { "group of pots" } else { "groups of pots" })
        }
        Measure::Cover => format!("Cover: {count} {beds}"),
        Measure::Unknown => {
            let what = if plan.night.is_ok() { "Not known to be safe" } else { "Unknown" };
            format!("{what}: {count} {beds}, the tenderest first")
        }
        Measure::Leave => format!("At risk, left as they are: {count} {beds}"),
        Measure::Fine => format!("Fine: {count} {beds}"),
    }
}

/// What holds for every bed of a group.
fn note(measure: Measure) -> &'static str {
    match measure {
        Measure::BringIn => "Carry them under a roof, against a wall; back out when the cold is over.",
        Measure::Cover => "Edges down to the ground, weighed down all round.",
        Measure::Leave => "No work here tonight.",
        Measure::Harvest | Measure::Fine | Measure::Unknown => "",
    }
}

/// Beds of which the same is said, in one entry; where nothing is said of them, last.
pub(super) fn alike_together(entries: Vec<Entry>) -> Vec<Entry> {
    let mut together: Vec<Entry> = Vec::new();
    for entry in entries {
        match together.iter_mut().find(|other| other.lines == entry.lines) {
            Some(other) => other.title = format!("{}; {}", other.title, entry.title),
            None => together.push(entry),
        }
    }
    together.sort_by_key(|entry| entry.lines.is_empty());
    together
}

/// "leaf lettuce, spinach (gone by the journal: kale)": a wrong entry must not take a planting from the list unseen.
pub(super) fn crops_of(bed: &BedPlan<'_>) -> String {
    let stand = names(bed.risk.plantings.iter().map(|planting| planting.crop));
    let gone = names(bed.risk.gone.iter().copied());
    match (stand.is_empty(), gone.is_empty()) {
        (false, true) => stand,
        (true, true) => "nothing left".into(),
        (false, false) => format!("{stand} (gone by the journal: {gone})"),
        (true, false) => format!("nothing left (gone by the journal: {gone})"),
    }
}

/// Each once.
pub(super) fn names<'c>(crops: impl Iterator<Item = &'c Crop>) -> String {
    let mut names: Vec<&str> = Vec::new();
    for crop in crops {
        if !names.contains(&crop.name.as_str()) {
            names.push(&crop.name);
        }
    }
    names.join(", ")
}

fn entry(plan: &Plan<'_>, bed: &BedPlan<'_>, reader: Reader) -> Entry {
    let mut lines = instructions(bed);
    lines.extend(reasons::why(plan, bed, reader.role));
    if let (Role::Manager, Ok(night)) = (reader.role, &plan.night) {
        lines.extend(reasons::turning(bed, night.minimum.mean, plan.garden.shown));
    }
    if let Some(do_by) = bed.do_by.filter(|do_by| *do_by > plan.deadline) {
        let by = plan.garden.zone.local(do_by).format("%H:%M");
        lines.extend(match (plan.is_late_for(bed), do_by > plan.made_at) {
            (false, true) => Some(format!("Do it before {by}.")),
            (true, true) => {
                Some(format!("Cold enough for harm here already; what is done before {by} still saves a part."))
            }
            // No hour is left to name.
            (true, false) => Some("Cold enough for harm here already.".into()),
            (false, false) => None,
        });
    }
    Entry { title: format!("{}: {}", bed.risk.bed.title(), crops_of(bed)), lines }
}
