//! Tasks to turns: sorted, shared out among people, and cut where the time ends.

use super::{Light, Party, Phase, Task, Turn, TurnReason, WorkOrder};
use crate::units::Minutes;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// Who is this much later free than another still takes the bed beside the one just done, min (assumed: the walk, and
/// fetching what is needed there).
const WALK: f64 = 2.0;

/// One person's part in one task.
struct Share {
    who: Vec<u32>,
    starts_after: f64,
    each: f64,
}

/// The order of the work, shared out among a party; without one, only the order and what half of the minutes leave.
/// The same tasks give the same order.
pub fn arrange(mut tasks: Vec<Task>, light: Light, party: Option<Party>) -> WorkOrder {
    sort(&mut tasks, light);
    let Some(party) = party else {
        let leave_first = left_by_half_of_the_minutes(&tasks);
        let turns = tasks.into_iter().map(|task| Turn {
            each: Minutes(task.minutes.0 / f64::from(task.hands.max(1))),
            task,
            reason: TurnReason::OnTheWay,
            who: Vec::new(),
            starts_after: None,
        });
        return WorkOrder { turns: reasoned(turns.collect()), leave_first, ..WorkOrder::default() };
    };
    // Several people have the time together that none of them has alone.
    if share_out(&tasks, party).is_none()
        && let Some(together) = together(&tasks, party)
    {
        tasks = together;
    }
    let (mut kept, too_large): (Vec<Task>, Vec<Task>) =
        tasks.into_iter().partition(|task| share_out(std::slice::from_ref(task), party).is_some());
    let mut out = drop_until_it_fits(&mut kept, party);
    out.extend(too_large);
    // A short task may still find its place beside a long one that did not.
    out.sort_by(most_first);
    out.retain(|task| {
        let mut more = kept.clone();
        more.push(task.clone());
        sort(&mut more, light);
        let fits = share_out(&more, party).is_some();
        if fits {
            kept = more;
        }
        !fits
    });
    let leave_first = match party.people {
        0 | 1 => left_by_half_of_the_minutes(&kept),
        people => drop_until_it_fits(&mut kept.clone(), Party { people: people / 2, ..party }),
    };
    let shares = share_out(&kept, party).unwrap_or_default();
    let turns = kept.into_iter().zip(shares).map(|(task, share)| Turn {
        task,
        reason: TurnReason::OnTheWay,
        who: share.who,
        starts_after: Some(Minutes(share.starts_after)),
        each: Minutes(share.each),
    });
    WorkOrder { party: Some(party), turns: reasoned(turns.collect()), does_not_fit: out, leave_first }
}

/// The tasks with as few of them as need be, the longest first, done by as few people together as need be, so that all fit;
/// `None` where that does not do it. How many of the longest is tried by doubling, for the time that a large list takes.
fn together(tasks: &[Task], party: Party) -> Option<Vec<Task>> {
    let all: f64 = tasks.iter().map(|task| task.minutes.0).sum();
    if all > f64::from(party.people) * party.minutes.0 + 1e-9 {
        return None;
    }
    let each = |task: &Task| task.minutes.0 / f64::from(task.hands.max(1));
    let mut longest: Vec<usize> = (0..tasks.len()).collect();
    longest.sort_by(|a, b| each(&tasks[*b]).total_cmp(&each(&tasks[*a])).then(a.cmp(b)));
    let counts = || std::iter::successors(Some(1), |count| Some(count * 2)).take_while(|count| *count < tasks.len());
    let tries = (2..=party.people).flat_map(|people| counts().chain([tasks.len()]).map(move |count| (people, count)));
    tries.into_iter().find_map(|(people, count)| {
        let mut shared = tasks.to_vec();
        for index in longest.iter().take(count) {
            shared[*index].hands = shared[*index].hands.max(people);
        }
        share_out(&shared, party).is_some().then_some(shared)
    })
}

/// By kind of work, then by place, the one in which something is due first, of equals that in which a minute saves most;
/// then along the walk.
fn sort(tasks: &mut [Task], light: Light) {
    let phases = light.phases();
    let turn = |phase: Phase| phases.iter().position(|other| *other == phase);
    let mut places: BTreeMap<_, (Option<DateTime<Utc>>, f64)> = BTreeMap::new();
    for task in tasks.iter() {
        let (due, saved) = places.entry((task.phase, task.place)).or_insert((task.do_by, 0.0));
        *due = (*due).min(task.do_by);
        *saved = saved.max(task.averted_per_minute());
    }
    let place = |task: &Task| places.get(&(task.phase, task.place)).copied().unwrap_or_default();
    tasks.sort_by(|a, b| {
        let ((a_due, a_saves), (b_due, b_saves)) = (place(a), place(b));
        let by_place = a_due.cmp(&b_due).then(b_saves.total_cmp(&a_saves)).then(a.place.cmp(&b.place));
        turn(a.phase).cmp(&turn(b.phase)).then(by_place).then(a.bed.cmp(&b.bed))
    });
}

fn most_first(a: &Task, b: &Task) -> std::cmp::Ordering {
    let by_saving = b.averted_per_minute().total_cmp(&a.averted_per_minute());
    b.is_first.cmp(&a.is_first).then(by_saving).then(a.bed.cmp(&b.bed))
}

fn reasoned(mut turns: Vec<Turn>) -> Vec<Turn> {
    let mut before: Option<Task> = None;
    let mut due = None;
    for turn in &mut turns {
        let here = &turn.task;
        let before = before.replace(here.clone()).filter(|before| before.phase == here.phase);
        turn.reason = match before {
            Some(before) if before.place == here.place => TurnReason::OnTheWay,
            Some(_) if here.do_by > due => TurnReason::DueLater,
            Some(_) => TurnReason::SavesLess,
            None => TurnReason::SavesMost,
        };
        // Of a place, what is due first.
        due = if turn.reason == TurnReason::OnTheWay { due.min(here.do_by) } else { here.do_by };
    }
    turns
}

/// Takes out what saves least for a minute until the rest fits; gives what was taken out, in that order.
fn drop_until_it_fits(tasks: &mut Vec<Task>, party: Party) -> Vec<Task> {
    let mut dropped = Vec::new();
    while share_out(tasks, party).is_none() {
        let Some(least) = least(tasks) else { break };
        dropped.push(tasks.remove(least));
    }
    dropped
}

fn left_by_half_of_the_minutes(tasks: &[Task]) -> Vec<Task> {
    let minutes = |tasks: &[Task]| tasks.iter().map(|task| task.minutes.0).sum::<f64>();
    let (mut kept, mut left) = (tasks.to_vec(), Vec::new());
    while minutes(&kept) > minutes(tasks) / 2.0 {
        let Some(least) = least(&kept) else { break };
        // One task is not halved.
        if kept.len() == 1 {
            break;
        }
        left.push(kept.remove(least));
    }
    left
}

fn least(tasks: &[Task]) -> Option<usize> {
    tasks.iter().enumerate().max_by(|(_, a), (_, b)| most_first(a, b)).map(|(index, _)| index)
}

/// Gives each task, in this order, to those who are free first, or who are just beside it; `None` where somebody would
/// need more than their time.
fn share_out(tasks: &[Task], party: Party) -> Option<Vec<Share>> {
    let time = party.minutes.0;
    // Free from, and where.
    let mut people: Vec<(f64, Option<usize>)> = vec![(0.0, None); usize::try_from(party.people).ok()?];
    let mut shares = Vec::with_capacity(tasks.len());
    for task in tasks {
        let hands = hands(task, party)?;
        let each = task.minutes.0 / f64::from(hands);
        let free = |walk: f64| {
            let key = |(free, place): &(f64, Option<usize>)| {
                free + if place.is_some_and(|place| place != task.place) { walk } else { 0.0 }
            };
            let mut by_key: Vec<(f64, usize)> = people.iter().map(key).zip(0..).collect();
            by_key.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let chosen: Vec<usize> = by_key.into_iter().map(|(_, index)| index).take(hands as usize).collect();
            let start = chosen.iter().filter_map(|index| people.get(*index)).map(|(free, _)| *free).fold(0.0, f64::max);
            (start + each <= time + 1e-9).then_some((chosen, start))
        };
        let (chosen, starts_after) = free(WALK).or_else(|| free(0.0))?;
        for index in &chosen {
            if let Some(person) = people.get_mut(*index) {
                *person = (starts_after + each, Some(task.place));
            }
        }
        let mut who: Vec<u32> = chosen.into_iter().filter_map(|index| u32::try_from(index + 1).ok()).collect();
        who.sort_unstable();
        shares.push(Share { who, starts_after, each });
    }
    Some(shares)
}

/// As many as it wants and there are; more where so few would need longer than they have.
fn hands(task: &Task, party: Party) -> Option<u32> {
    let wanted = f64::from(task.hands.clamp(1, party.people.max(1)));
    let needed = (task.minutes.0 / party.minutes.0 - 1e-9).ceil().max(wanted);
    // Not a number, where there is neither work nor time, is no crowd either.
    (needed <= f64::from(party.people)).then_some(needed as u32)
}
