//! What is other than in the last message, and where shared covers are.

use crate::beds::CoverStock;
use crate::plan::said::{Changes, Elsewhere};
use crate::plan::{CoverUse, Measure, Plan};
use chrono::{DateTime, Utc};

/// "3 of 5 pieces of medium cloth are at Hillside tonight.", where something wants covering.
pub(super) fn elsewhere(plan: &Plan<'_>) -> Vec<String> {
    if plan.is_quiet() {
        return Vec::new();
    }
    let known = plan.elsewhere.iter().filter_map(|away| Some((away, plan.garden.covers.get(away.stock)?)));
    let line = |(away, stock): (&Elsewhere, &CoverStock)| {
        let (name, garden) = (&stock.name, &away.garden);
        match (away.pieces, stock.count) {
            (1, 1) => format!("The only piece of {name} is at {garden} tonight."),
            (1, all) => format!("1 of {all} pieces of {name} is at {garden} tonight."),
            (pieces, 2) if pieces >= 2 => format!("Both pieces of {name} are at {garden} tonight."),
            (pieces, all) if pieces >= all => format!("All {all} pieces of {name} are at {garden} tonight."),
            (pieces, all) => format!("{pieces} of {all} pieces of {name} are at {garden} tonight."),
        }
    };
    known.map(line).collect()
}

/// Shared covers that are to go back, with their beds: while there is light. Later they stay until morning, and no other
/// garden counts on them.
pub(super) fn given_back<'a>(plan: &'a Plan<'_>, changes: &'a Changes) -> Vec<(&'a str, Vec<&'a str>)> {
    if plan.made_at > plan.deadline {
        return Vec::new();
    }
    let shared = plan.garden.covers.iter().filter(|stock| !stock.shared_with.is_empty());
    let freed = shared.map(|stock| {
        let is_it = |cover: &str| CoverUse::name_in(cover).to_lowercase() == stock.name.to_lowercase();
        let beds = changes.freed.iter().filter(|(_, cover)| is_it(cover)).map(|(bed, _)| bed.as_str());
        (stock.name.as_str(), beds.collect::<Vec<_>>())
    });
    freed.filter(|(_, beds)| !beds.is_empty()).collect()
}

/// "Shared covers that are on already go back to the shed, as another garden may want them tonight: cloth from R1, R2."
pub(super) fn give_back(plan: &Plan<'_>, changes: &Changes) -> Option<String> {
    let covers = given_back(plan, changes);
    let covers: Vec<String> = covers.iter().map(|(name, beds)| format!("{name} from {}", beds.join(", "))).collect();
    let what = "Shared covers that are on already go back to the shed, as another garden may want them tonight";
    (!covers.is_empty()).then(|| format!("{what}: {}.", covers.join("; ")))
}

/// What changed since the last message.
pub(super) fn changes(plan: &Plan<'_>, changes: &Changes, at: DateTime<Utc>) -> Vec<String> {
    let last = plan.garden.zone.local(at).format("%H:%M");
    let title = |id: &str| {
        let bed = plan.beds.iter().find(|bed| bed.risk.bed.id == id);
        bed.map_or_else(|| (id.to_string(), Measure::Fine), |bed| (bed.risk.bed.title(), bed.measure))
    };
    let given_back = given_back(plan, changes);
    let mut lines = Vec::new();
    for (id, before) in changes.worse.iter().chain(&changes.better) {
        // Where all is fine, it matters only to whoever was asked to do something.
        if plan.is_quiet() && !before.is_work() {
            continue;
        }
        let (title, now) = title(id);
        let is_given_back = given_back.iter().any(|(_, beds)| beds.contains(&id.as_str()));
        let stays = if before.is_work() && !now.is_work() && now != Measure::Fine && !is_given_back {
            " What has been done already stays done."
        } else {
            ""
        };
        lines.push(format!("{title}: was {}, now {}.{stays}", measure_word(*before), measure_word(now)));
    }
    for id in &changes.riskier {
        lines.push(format!("{}: as before, but harm has become likelier.", title(id).0));
    }
    for id in &changes.again {
        lines.push(format!("{}: its cover is off since; lay it again.", title(id).0));
    }
    for id in &changes.other_cover {
        let is_given_back = given_back.iter().any(|(_, beds)| beds.contains(&id.as_str()));
        let on = if is_given_back { "the shared one goes back" } else { "one that is on already may stay" };
        lines.push(format!("{}: another cover than before; {on}.", title(id).0));
    }
    if lines.is_empty() {
        return Vec::new();
    }
    lines.insert(0, format!("Since the message of {last}:"));
    lines
}

fn measure_word(measure: Measure) -> &'static str {
    match measure {
        Measure::Cover => "cover",
        Measure::Harvest => "harvest",
        Measure::BringIn => "bring in",
        Measure::Leave => "left at risk",
        Measure::Fine => "fine",
        Measure::Unknown => "unknown",
    }
}
