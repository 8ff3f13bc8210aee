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
    if order.party.is_some_and(|party| party.people > PEOPLE) && !order.turns.is_empty() {
        lines.push("Who does what stands on the page to print.".into());
    }
    if !order.does_not_fit.is_empty() {
        lines.push(format!(
            "More than your time allows; leave these unless more people come: {}.",
            names(plan, &order.does_not_fit)
        ));
    }
    lines.extend(leave_first(plan, order));
    lines
}

/// "If fewer come, leave first: R5, G2.", or how few can do all of it.
pub(super) fn leave_first(plan: &Plan<'_>, order: &WorkOrder) -> Option<String> {
    let short = match order.party {
        Some(party) if party.people <= 1 => "If time runs short",
        _ => "If fewer come",
    };
    let leave = !order.leave_first.is_empty();
    let leave = leave.then(|| format!("{short}, leave first: {}.", names(plan, &order.leave_first)));
    leave.or_else(|| few_do_all(plan, order))
}

/// Where half of those who come can do all of it, or one of them; walking and fetching included.
fn few_do_all(plan: &Plan<'_>, order: &WorkOrder) -> Option<String> {
    let party = order.party.filter(|party| party.people > 1 && order.does_not_fit.is_empty())?;
    let work = order.turns.iter().map(|turn| turn.task.minutes.0).sum::<f64>();
    let all = work + plan.trips.0;
    let can = |people: u32| all <= f64::from(people) * party.minutes.0 + 1e-9;
    let wants = order.turns.iter().map(|turn| turn.task.hands).max().unwrap_or(1);
    match party.people / 2 {
        _ if work <= 0.0 => None,
        _ if wants <= 1 && can(1) => Some("One person alone can do all of it.".into()),
        half if half >= wants.max(2) && can(half) => Some(format!("If fewer come, {half} can do all of it.")),
        _ => None,
    }
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
    let mut lines: Vec<String> = (1..=people).filter_map(share).collect();
    // Else their minutes do not add up with what is said to be left.
    let trips = plan.trips.0.round();
    if trips > 0.0 && !lines.is_empty() {
        lines.push(format!("Walking and fetching takes {} more, shared among them.", minutes(trips)));
    }
    lines
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
    use crate::beds::Crew;
    use crate::beds::sample::{bed, cloth, garden};
    use crate::crops::Catalogue;
    use crate::night::NoNight;
    use crate::plan::order::work_order;
    use crate::plan::tests::sunset;
    use crate::plan::{Before, Measure, decide};
    use crate::risk::assess;
    use crate::units::Minutes;
    use crate::zone::NightOf;
    use chrono::Duration;

    #[test]
    fn one_minute_is_no_minutes() {
        assert_eq!([0.0, 1.0, 2.0].map(super::minutes), ["0 minutes", "1 minute", "2 minutes"]);
    }

    /// The lines of four beds of 4 minutes each, and 3 minutes of walking and fetching; of pots as large as these where two
    /// are to carry.
    fn lines(people: u32, each: f64, large_pots: bool) -> String {
        let mut beds = vec![bed("R1", &[]), bed("R2", &[]), bed("R3", &[]), bed("R4", &[])];
        if large_pots {
            beds[3].kind = crate::beds::BedKind::Containers { diameter: 0.6, count: 1, movable: true };
        }
        let mut garden = garden(beds, vec![cloth(4)]);
        garden.crew = Some(Crew { people, minutes: Minutes(each) });
        let of = NightOf("2027-01-16".parse().expect("a date"));
        let catalogue = Catalogue::default();
        let risks = assess(&garden, of, None, &catalogue);
        let now = sunset() - Duration::hours(4);
        let mut plan = decide(&garden, of, sunset(), Err(NoNight::NoForecast), risks, Before::default(), now);
        for bed in &mut plan.beds {
            (bed.measure, bed.tonight) = (Measure::BringIn, Minutes(4.0));
        }
        plan.trips = Minutes(3.0);
        super::lines(&plan, &work_order(&plan)).join(" ")
    }

    #[test]
    fn what_persons_do_and_what_they_walk_adds_up() {
        let said = lines(2, 12.0, false);
        assert!(said.contains("Person 1, 8 minutes: R1, R3."), "{said}");
        assert!(said.contains("Walking and fetching takes 3 minutes more, shared among them."), "{said}");
    }

    #[test]
    fn where_few_can_do_all_of_it_that_is_said() {
        // 19 minutes in all.
        for (people, each, large_pots, says) in [
            (2, 19.0, false, "One person alone can do all of it."),
            (2, 18.0, false, ""),
            (2, 12.0, false, "If fewer come, leave first: "),
            (2, 30.0, true, ""),
            (4, 30.0, true, "If fewer come, 2 can do all of it."),
            (4, 10.0, false, "If fewer come, 2 can do all of it."),
        ] {
            let said = lines(people, each, large_pots);
            let found = [
                "One person alone can do all of it.",
                "If fewer come, leave first: ",
                "If fewer come, 2 can do all of it.",
            ];
            let found: Vec<&str> = found.into_iter().filter(|sentence| said.contains(sentence)).collect();
            assert_eq!(found.join(""), says, "{people} people with {each} minutes, large pots {large_pots}: {said}");
        }
    }

    #[test]
    fn for_many_people_the_mail_names_the_page() {
        let named = |people| lines(people, 30.0, false).contains("Who does what stands on the page to print.");
        assert_eq!([6, 7].map(named), [false, true]);
    }
}
