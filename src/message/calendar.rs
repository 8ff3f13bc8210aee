//! The night's work as an entry for the crew's calendars (iCalendar, RFC 5545 and RFC 5546).
//!
//! A later list of the same night replaces its entry: same UID, higher SEQUENCE. Nothing here reads a clock, so the
//! same list gives the same bytes.

use super::letter::{capitalised, work_in_words};
use super::work_order::{leave_first, name};
use crate::plan::Plan;
use crate::plan::order::{WorkOrder, work_order};
use crate::plan::said::CalendarEntry;
use chrono::{DateTime, Duration, DurationRound, Utc};

/// Who sends the entry, as calendar programs are told (RFC 5546 asks for it in whatever is published).
#[derive(Clone, Copy, Debug)]
pub struct Organizer<'a> {
    pub name: &'a str,
    /// `name@place.example`
    pub address: &'a str,
    /// The same as an address of the web, `mailto:name@place.example`.
    pub mailto: &'a str,
}

/// An entry is at least and at most this long, min, in steps of a quarter of an hour (assumed: shorter is overlooked in
/// a calendar, and whoever comes alone does not stay for longer).
const SHORTEST: i64 = 30;
const LONGEST: i64 = 120;
const STEP: i64 = 15;

/// Calendars remind people so long before the work (assumed: time to dress and to get there). RFC 5545 section 3.6.6.
const REMINDED: Duration = Duration::minutes(60);

/// A line of at most this many octets, its end not counted (RFC 5545 section 3.1).
const LINE: usize = 75;

/// One VCALENDAR with lines ending in CR LF. `revision` counts the lists of this night from 1.
pub fn calendar(plan: &Plan<'_>, entry: CalendarEntry, revision: u32, organizer: Organizer<'_>) -> String {
    let order = work_order(plan);
    let (start, end) = hours(plan, &order);
    let host = organizer.address.rsplit('@').next().unwrap_or_default();
    let (summary, description, status) = match entry {
        CalendarEntry::Publish => (capitalised(&work_in_words(plan)), description(plan, &order), "CONFIRMED"),
        CalendarEntry::Cancel => (
            "Called off: no work before tonight".to_string(),
            // A shared cover goes back, and only the mail knows of which beds.
            if plan.garden.covers.iter().any(|stock| !stock.shared_with.is_empty()) {
                "The mail says what becomes of covers that are on already.".to_string()
            } else {
                "What is covered or inside already may stay so until morning.".to_string()
            },
            "CANCELLED",
        ),
    };
    // Whoever hears of it later has the mail in hand.
    let is_ahead = entry == CalendarEntry::Publish && start - plan.made_at > REMINDED;
    let alarm = [
        "BEGIN:VALARM".to_string(),
        "ACTION:DISPLAY".into(),
        format!("TRIGGER:-PT{}M", REMINDED.num_minutes()),
        format!("DESCRIPTION:{}", text(&summary)),
        "END:VALARM".into(),
    ];
    let head = [
        "BEGIN:VCALENDAR".to_string(),
        "VERSION:2.0".into(),
        "PRODID:-//counterpane//list for a cold night//EN".into(),
        "CALSCALE:GREGORIAN".into(),
        format!("METHOD:{}", entry.word()),
        "BEGIN:VEVENT".into(),
        format!("UID:{}.{}@{host}", plan.of, plan.garden.id),
        format!("SEQUENCE:{}", revision.saturating_sub(1)),
        format!("DTSTAMP:{}", utc(plan.made_at)),
        format!("DTSTART:{}", utc(start)),
        format!("DTEND:{}", utc(end)),
        format!("SUMMARY:{}", text(&summary)),
        format!("LOCATION:{}", text(&plan.garden.name)),
        format!("DESCRIPTION:{}", text(&description)),
        format!("ORGANIZER;CN=\"{}\":{}", parameter(organizer.name), organizer.mailto),
        format!("STATUS:{status}"),
    ];
    let alarm = alarm.into_iter().filter(|_| is_ahead);
    let end = ["END:VEVENT".to_string(), "END:VCALENDAR".into()];
    head.into_iter().chain(alarm).chain(end).map(|line| folded(&line)).collect()
}

/// Up to the deadline, as long as the work takes; where that is past, from now on.
fn hours(plan: &Plan<'_>, order: &WorkOrder) -> (DateTime<Utc>, DateTime<Utc>) {
    let end = |turn: &crate::plan::order::Turn| Some(turn.starts_after?.0 + turn.each.0);
    let shared = order.turns.iter().filter_map(end).fold(0.0, f64::max);
    let alone = order.turns.iter().map(|turn| turn.task.minutes.0).sum::<f64>();
    let minutes = if order.party.is_some() { shared } else { alone };
    // Work is bounded by the limits of settings, far inside the range of the type.
    let steps = (minutes / STEP as f64).ceil() as i64;
    let length = Duration::minutes((steps * STEP).clamp(SHORTEST, LONGEST));
    // The sun sets at some second; a calendar goes by minutes.
    let deadline = plan.deadline.duration_trunc(Duration::minutes(1)).unwrap_or(plan.deadline);
    let start = (deadline - length).max(plan.made_at);
    if start < deadline { (start, deadline) } else { (start, start + length) }
}

fn description(plan: &Plan<'_>, order: &WorkOrder) -> String {
    let beds: Vec<String> = order.tasks().map(|task| name(plan, task)).collect();
    let mut lines = vec![format!("In this order: {}.", beds.join(", "))];
    lines.extend(leave_first(plan, order));
    lines.push("What to do at each bed is in the mail.".into());
    lines.join("\n")
}

/// Without fractions of a second: `20270116T180005Z`.
fn utc(at: DateTime<Utc>) -> String {
    at.format("%Y%m%dT%H%M%SZ").to_string()
}

/// A value of type TEXT (RFC 5545 section 3.3.11); it may hold no control character but the end of a line.
fn text(value: &str) -> String {
    let mut escaped = String::with_capacity(value.len());
    for letter in value.chars() {
        match letter {
            '\\' | ';' | ',' => escaped.extend(['\\', letter]),
            '\n' => escaped.push_str("\\n"),
            control if control.is_control() => {}
            letter => escaped.push(letter),
        }
    }
    escaped
}

/// A value of a parameter in quotes, which can hold none itself (RFC 5545 section 3.2).
fn parameter(value: &str) -> String {
    let plain = value.chars().filter(|letter| !letter.is_control());
    plain.map(|letter| if letter == '"' { '\'' } else { letter }).collect()
}

/// A line with its end, cut between characters where it is too long; each further part begins with a space.
fn folded(line: &str) -> String {
    let (mut folded, mut rest, mut room) = (String::with_capacity(line.len() + 2), line, LINE);
    while rest.len() > room {
        let (part, after) = rest.split_at(cut(rest, room));
        folded.push_str(part);
        folded.push_str("\r\n ");
        // The space counts.
        (rest, room) = (after, LINE - 1);
    }
    folded + rest + "\r\n"
}

/// The last place within the room that is no blank's: some readers take those at the edges of a line for its frame.
fn cut(line: &str, room: usize) -> usize {
    let between = |at: &usize| line.is_char_boundary(*at);
    let off_blanks = |at: &usize| {
        let (before, after) = line.split_at(*at);
        !before.ends_with(' ') && !after.starts_with(' ')
    };
    let places = (1..=room).rev().filter(between);
    let first = places.clone().next().unwrap_or(line.len());
    places.into_iter().find(off_blanks).unwrap_or(first)
}

#[cfg(test)]
mod tests;
