//! The order of the work in words: who does what, what is left first, and what there is no time for.

use crate::plan::Plan;
use crate::plan::order::{Task, Turn, WorkOrder};

/// More names than this are no help on a small screen.
const NAMES: usize = 8;
/// For more people than this the list is shared out on the spot.
const PEOPLE: u32 = 6;

/// The lines below the head of a list; none where there is nothing to share out or to leave.
pub(super) fn lines(plan: &Plan<'_>, order: &WorkOrder) -> Vec<String> {
    let mut lines = shares(plan, order);
    if !order.does_not_fit.is_empty() {
        lines.push(format!(
            "More than your time allows; leave these unless more people come: {}.",
            names(plan, &order.does_not_fit)
        ));
    }
    lines.extend(leave_first(plan, order));
    lines
}

/// "If fewer come, leave first: R5, G2."
pub(super) fn leave_first(plan: &Plan<'_>, order: &WorkOrder) -> Option<String> {
    let short = match order.party {
        Some(party) if party.people <= 1 => "If time runs short",
        _ => "If fewer come",
    };
    let leave = !order.leave_first.is_empty();
    leave.then(|| format!("{short}, leave first: {}.", names(plan, &order.leave_first)))
}

/// A line for each person, where they are few.
fn shares(plan: &Plan<'_>, order: &WorkOrder) -> Vec<String> {
    let people = order.party.map_or(0, |party| party.people);
    if !(2..=PEOPLE).contains(&people) {
        return Vec::new();
    }
    let share = |person: u32| {
        let turns: Vec<&Turn> = order.turns.iter().filter(|turn| turn.who.contains(&person)).collect();
        let beds: Vec<String> = turns.iter().map(|turn| with_whom(plan, turn, person)).collect();
        let end = turns.iter().filter_map(|turn| Some(turn.starts_after?.0 + turn.each.0)).fold(0.0, f64::max);
        (!turns.is_empty()).then(|| format!("Person {person}, {}: {}.", minutes(end.round()), beds.join(", ")))
    };
    (1..=people).filter_map(share).collect()
}

fn minutes(count: f64) -> String {
    let noun = if count == 1.0 { "minute" } else { "minutes" };
    format!("{count:.0} {noun}")
}

/// "G3", "R2 with person 3".
fn with_whom(plan: &Plan<'_>, turn: &Turn, person: u32) -> String {
    let others: Vec<String> = turn.who.iter().filter(|who| **who != person).map(u32::to_string).collect();
    let bed = name(plan, &turn.task);
    match others.as_slice() {
        [] => bed,
        [one] => format!("{bed} with person {one}"),
        more => format!("{bed} with persons {}", more.join(" and ")),
    }
}

/// Who does a turn, in a few letters: "1", "1 + 2"; how many it wants where nobody is counted.
pub(super) fn who(turn: &Turn) -> String {
    if turn.who.is_empty() {
        return if turn.task.hands > 1 { format!("{} people", turn.task.hands) } else { String::new() };
    }
    turn.who.iter().map(u32::to_string).collect::<Vec<_>>().join(" + ")
}

/// "R1", "R1 and R2 (one piece)".
pub(super) fn name(plan: &Plan<'_>, task: &Task) -> String {
    let beds: Vec<String> = task.beds().map(|bed| label(plan, bed)).collect();
    let piece = if beds.len() > 1 { " (one piece)" } else { "" };
    format!("{}{piece}", beds.join(" and "))
}

pub(super) fn label(plan: &Plan<'_>, bed: usize) -> String {
    plan.beds.get(bed).map_or_else(String::new, |bed| bed.risk.bed.id.clone())
}

fn names(plan: &Plan<'_>, tasks: &[Task]) -> String {
    let named: Vec<String> = tasks.iter().take(NAMES).map(|task| name(plan, task)).collect();
    let more = match tasks.len().saturating_sub(NAMES) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    format!("{}{more}", named.join(", "))
}

#[cfg(test)]
mod tests {
    #[test]
    fn one_minute_is_no_minutes() {
        assert_eq!([0.0, 1.0, 2.0].map(super::minutes), ["0 minutes", "1 minute", "2 minutes"]);
    }
}
