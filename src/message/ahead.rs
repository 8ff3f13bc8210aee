//! The nights after this one, in a line each; what of the covers stays on by day; who is to be asked in time.

use super::letter::{Letter, round_up_to_five};
use super::sentences;
use crate::beds::Role;
use crate::night::{FrostKind, Knowledge};
use crate::plan::Measure;
use crate::plan::spell::{DayAdvice, NightAhead, Spell, ToldAhead};
use crate::units::Celsius;
use chrono::{DateTime, NaiveTime, Utc};

const NOON: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};

/// A line for each night that a manager plans for. Volunteers are told only for which of them people are wanted.
pub(super) fn lines(spell: &Spell<'_>, role: Role) -> Vec<String> {
    let is_manager = role == Role::Manager;
    let told = spell.ahead.iter().filter(|night| is_manager || !night.beds.is_empty());
    let mut lines: Vec<String> = told.map(|night| line(night, is_manager)).collect();
    lines.extend(spell.ahead.iter().flat_map(|night| covers_by_day(night)));
    if is_manager {
        lines.extend(water(spell));
    }
    lines
}

/// A word of its own about a night to come, while there is nothing to do tonight.
/// `before` is what was told of the same night, where this asks for more.
pub fn ahead_letter(
    spell: &Spell<'_>,
    night: &NightAhead<'_>,
    before: Option<&ToldAhead>,
    next_word_by: Option<DateTime<Utc>>,
) -> Letter {
    let garden = night.plan.garden;
    let low = night
        .plan
        .night
        .as_ref()
        .map_or(String::new(), |known| format!(", low {}", known.minimum.mean.whole(garden.shown)));
    let wants = people_wanted(night).unwrap_or_else(|| in_words(night));
    let mut closing =
        vec!["So far ahead a low is known less well than tonight's. The list of that day says what to do.".to_string()];
    if let Some(by) = next_word_by {
        closing.push(sentences::next_word(&garden.zone, by));
    }
    let more = before.map(|before| {
        let low =
            before.low.map_or(String::new(), |low| format!(", sent for a low of {}", Celsius(low).whole(garden.shown)));
        format!("It asks for more than the last word about it{low}.")
    });
    let first = format!("Nothing to do tonight. {} may want work: ask people now.", date(night));
    Letter {
        subject: format!(
            "Look ahead{}: {} {wants}{low} ({})",
            if more.is_some() { ", worse" } else { "" },
            weekday(night),
            garden.name
        ),
        lead: [first].into_iter().chain(more).collect(),
        ahead: lines(spell, Role::Manager),
        closing,
        ..Letter::default()
    }
}

/// "Sunday 17 January: low 31 F (between 26 F and 36 F), cover 3, harvest 1; 25 minutes, 1 person."
fn line(night: &NightAhead<'_>, with_low: bool) -> String {
    let date = date(night);
    let scale = night.plan.garden.shown;
    let known = match &night.plan.night {
        Ok(known) => known,
        Err(_) => return format!("{date}: not known yet."),
    };
    let low = format!(
        "low {} (four in five between {}), ",
        known.minimum.mean.whole(scale),
        sentences::four_in_five(known.minimum, scale)
    );
    let low = if with_low { low.as_str() } else { "" };
    let unsure =
        if matches!(known.knowledge, Knowledge::Incomplete { .. }) { "; some hours are not known yet" } else { "" };
    let work = match night.beds.is_empty() {
        true => String::new(),
        false => format!("; {}", work_of(night.minutes.0, night.before_night.0)),
    };
    let people = people_wanted(night).map_or(String::new(), |people| format!(", {people}"));
    let if_picked =
        if night.counts_on_picking { ", if the picking asked before it is done and written down" } else { "" };
    format!("{date}: {low}{}{work}{people}{if_picked}{unsure}.", in_words(night))
}

/// "about 25 minutes of work, 15 of them before the night": people are counted for these.
fn work_of(all: f64, before_night: f64) -> String {
    let (all, before_night) = (round_up_to_five(all), round_up_to_five(before_night));
    let before = if before_night == all { String::new() } else { format!(", {before_night} of them before the night") };
    format!("about {all} minutes of work{before}")
}

/// "needs 4 people (you count on 3): ask in time".
fn people_wanted(night: &NightAhead<'_>) -> Option<String> {
    let people = night.people.filter(|people| *people > 0)?;
    let counted_on = night.plan.garden.crew?.people;
    let noun = if people == 1 { "1 person".to_string() } else { format!("{people} people") };
    Some(if people > counted_on {
        format!("needs {noun} (you count on {counted_on})")
    } else {
        format!("needs {noun}")
    })
}

fn in_words(night: &NightAhead<'_>) -> String {
    let count = |measure: Measure| night.beds.iter().filter(|(_, known)| *known == measure).count();
    let parts: Vec<String> = [(Measure::Harvest, "harvest"), (Measure::BringIn, "bring in"), (Measure::Cover, "cover")]
        .into_iter()
        .filter(|(measure, _)| count(*measure) > 0)
        .map(|(measure, verb)| format!("{verb} {}", count(measure)))
        .collect();
    let (unknown, left) = (night.plan.count(Measure::Unknown), night.plan.count(Measure::Leave));
    match (parts.is_empty(), unknown, left) {
        (false, _, 0) => parts.join(", "),
        (false, _, left) => format!("{}, {left} at risk", parts.join(", ")),
        (true, 0, 0) if night.plan.is_quiet() => "nothing to do".into(),
        // What lies on the beds, stands inside or is picked already.
        (true, 0, 0) => "no new work".into(),
        (true, 0, left) => format!("nothing to do, {left} at risk"),
        (true, _, _) => "no bed can be called safe yet".into(),
    }
}

fn covers_by_day(night: &NightAhead<'_>) -> Vec<String> {
    let day = weekday(night);
    let beds = |advice: DayAdvice| {
        let beds: Vec<&str> =
            night.by_day.iter().filter(|by_day| by_day.advice == advice).map(|by_day| by_day.bed.as_str()).collect();
        (!beds.is_empty()).then(|| beds.join(", "))
    };
    let stay = beds(DayAdvice::StaysOn).map(|beds| format!("Covers may stay on through {day}: {beds}."));
    let open = beds(DayAdvice::Open).map(|beds| format!("Open by day on {day}, closed before dusk: {beds}."));
    [stay, open].into_iter().flatten().collect()
}

/// Moist soil holds and gives more heat than dry; only radiation nights show it.
fn water(spell: &Spell<'_>) -> Option<String> {
    let zone = &spell.tonight.garden.zone;
    // Only while its noon is to come is a day any use.
    let before = |night: &NightAhead<'_>| {
        let before = night.plan.of.0.pred_opt()?;
        (zone.instant(before.and_time(NOON)) > spell.tonight.made_at).then(|| before.format("%A").to_string())
    };
    let is_radiation = |night: &&NightAhead<'_>| {
        !night.beds.is_empty() && night.plan.night.as_ref().is_ok_and(|night| night.kind == FrostKind::Radiation)
    };
    let before = spell.ahead.iter().filter(is_radiation).find_map(before)?;
    Some(format!(
        "Where the soil is dry, water it by noon on {before}, not the leaves: moist soil gives more heat that night."
    ))
}

fn date(night: &NightAhead<'_>) -> String {
    night.plan.of.0.format("%A %-d %B").to_string()
}

fn weekday(night: &NightAhead<'_>) -> String {
    night.plan.of.0.format("%A").to_string()
}

#[cfg(test)]
mod tests;
