//! What a list says, once, before it is set as text or HTML.

use super::by_hand::by_hand;
use super::entries::{Entry, Group, groups};
use super::{ahead, cautions, changes, ready, sentences, work_order};
use crate::beds::Role;
use crate::night::Night;
use crate::plan::order::{self, Light, Phase};
use crate::plan::said::{Changes, SayReason};
use crate::plan::spell::Spell;
use crate::plan::{Measure, Plan};
use crate::rounds::{self, NoSunset};
use crate::units::Scale;
use chrono::{DateTime, Duration, Utc};

/// One message, in short texts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Letter {
    pub subject: String,
    /// What matters, first.
    pub lead: Vec<String>,
    pub changes: Vec<String>,
    pub groups: Vec<Group>,
    /// How to decide without a forecast; empty where there is one.
    pub by_hand: Vec<String>,
    pub cautions: Vec<&'static str>,
    /// The nights after this one, a line each.
    pub ahead: Vec<String>,
    /// What is ready to pick and what comes next; for the manager.
    pub ready: Vec<String>,
    /// Another message that is passed on, line by line as it was set; mostly none.
    pub quoted: Vec<String>,
    /// Source, age, the rule for silence, humility.
    pub closing: Vec<String>,
}

/// For whom a message is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reader {
    pub role: Role,
}

/// What a message needs beside its plan.
#[derive(Clone, Copy, Debug)]
pub struct Context<'a> {
    pub reason: SayReason,
    /// What changed since the last message of this night, and when that was sent.
    pub since: Option<(&'a Changes, DateTime<Utc>)>,
    /// The next message comes by then, or something is broken.
    pub next_word_by: Option<DateTime<Utc>>,
    /// How late this look is, where it could not be made in time.
    pub late_by: Option<Duration>,
    /// Tonight and the nights after it, where they are told.
    pub spell: Option<&'a Spell<'a>>,
    /// Trouble with feeds, a sentence each.
    pub troubles: &'a [String],
}

impl Context<'_> {
    /// Of a list that nothing came before, with nothing to be said beside it.
    pub fn new(reason: SayReason) -> Self {
        Context { reason, since: None, next_word_by: None, late_by: None, spell: None, troubles: &[] }
    }
}

/// The message of the evening list, whichever round it comes from.
pub fn evening_letter(plan: &Plan<'_>, context: &Context<'_>, reader: Reader) -> Letter {
    let scale = plan.garden.shown;
    let order = order::work_order(plan);
    let mut lead = vec![headline(plan, context)];
    lead.extend(lateness(context.late_by));
    if context.reason == SayReason::DataMissing && context.since.is_some() {
        lead.push("Keep to the last list until you know better.".into());
    }
    lead.extend(work_line(plan));
    lead.extend(work_order::lines(plan, &order));
    lead.extend(changes::elsewhere(plan));
    lead.extend(context.since.and_then(|(changes, _)| changes::give_back(plan, changes)));
    lead.extend(night_lines(plan, context, scale));
    // Who plans the garden is told what a freeze would leave of it, with the words that come first for a night.
    let plans = reader.role == Role::Manager && plan.night.is_ok();
    let is_first = matches!(context.reason, SayReason::First | SayReason::AllQuiet | SayReason::CalledOff);
    lead.extend((plans && plan.has_work()).then(|| ready::emptied(plan)).flatten());
    lead.extend(context.troubles.iter().cloned());
    let changes = context.since.map(|(changes, at)| changes::changes(plan, changes, at)).unwrap_or_default();
    let by_hand = if plan.count(Measure::Unknown) > 0 { by_hand(plan, reader.role) } else { Vec::new() };
    Letter {
        subject: subject(plan, context),
        lead,
        changes,
        groups: groups(plan, &order, reader),
        by_hand,
        cautions: cautions::for_plan(plan),
        ahead: context.spell.map(|spell| ahead::lines(spell, reader.role)).unwrap_or_default(),
        ready: if plans && is_first { ready::lines(plan) } else { Vec::new() },
        quoted: Vec::new(),
        closing: closing(plan, context, reader),
    }
}

fn subject(plan: &Plan<'_>, context: &Context<'_>) -> String {
    let scale = plan.garden.shown;
    let low = match &plan.night {
        Ok(night) => {
            let at = plan.garden.zone.local(night.coldest_at()).format("%H:%M");
            format!("low {} near {at}", night.minimum.mean.whole(scale))
        }
        Err(_) => "no forecast".into(),
    };
    let what = match context.reason {
        SayReason::CalledOff => format!("Called off, nothing to do tonight: {low}"),
        SayReason::AllQuiet => format!("All quiet tonight: {low}"),
        _ if plan.night.is_err() => {
            format!("No usable forecast for tonight: decide by hand {}", by_when(plan))
        }
        _ => {
            let worse = match (context.reason, context.since) {
                (SayReason::Worse, Some((changes, _))) if changes.asks_more => "worse: ",
                (SayReason::Worse, _) => "changed: ",
                _ => "",
            };
            let unsure = if plan.count(Measure::Unknown) > 0 { ", hours missing" } else { "" };
            capitalised(&format!("{worse}{}: {low}{unsure}", work_in_words(plan)))
        }
    };
    format!("{what} ({})", plan.garden.name)
}

/// "leave 3 covered, harvest 2, cover 4 by 16:40", or what there is instead of work.
pub(super) fn work_in_words(plan: &Plan<'_>) -> String {
    let count = |measure: Measure, stays: bool| {
        plan.beds.iter().filter(|bed| bed.measure == measure && bed.stays_out() == stays).count()
    };
    let verb = |phase: Phase| match phase {
        Phase::Cut => "harvest",
        Phase::BringIn => "bring in",
        Phase::Cover => "cover",
    };
    let parts: Vec<String> = Light::of(plan)
        .phases()
        .into_iter()
        .map(|phase| (count(phase.measure(), false), verb(phase)))
        .filter(|(count, _)| *count > 0)
        .map(|(count, verb)| format!("{verb} {count}"))
        .collect();
    let stays: Vec<String> = [(Measure::BringIn, "inside"), (Measure::Cover, "covered")]
        .into_iter()
        .map(|(measure, how)| (count(measure, true), how))
        .filter(|(count, _)| *count > 0)
        .map(|(count, how)| format!("leave {count} {how}"))
        .collect();
    if !stays.is_empty() {
        let now = (!parts.is_empty()).then(|| format!("{} {}", parts.join(", "), by_when(plan)));
        return stays.into_iter().chain(now).collect::<Vec<_>>().join(", ");
    }
    let (left, unknown) = (plan.count(Measure::Leave), plan.count(Measure::Unknown));
    match (parts.is_empty(), left) {
        (false, _) => format!("{} {}", parts.join(", "), by_when(plan)),
        (true, _) if unknown > 0 => {
            let beds = if unknown == 1 { "1 bed" } else { &format!("{unknown} beds") };
            format!("{beds} not known to be safe, decide by hand {}", by_when(plan))
        }
        (true, 0) => "nothing to do tonight".into(),
        (true, 1) => "1 bed at risk, left as it is".into(),
        (true, _) => format!("{left} beds at risk, left as they are"),
    }
}

/// Whether somebody has to go out for more than a look at what is out already.
fn asks_for_work(plan: &Plan<'_>) -> bool {
    plan.beds.iter().any(|bed| bed.measure.is_work() && !bed.stays_out())
}

/// The latest hour that still helps: the deadline before dusk, afterwards the first bed's own hour.
fn deadline(plan: &Plan<'_>) -> String {
    let at = plan.beds.iter().filter_map(|bed| bed.do_by).min().unwrap_or(plan.deadline);
    plan.garden.zone.local(at.max(plan.made_at)).format("%H:%M").to_string()
}

fn headline(plan: &Plan<'_>, context: &Context<'_>) -> String {
    let zone = &plan.garden.zone;
    let date = zone.local(plan.deadline).format("%A %-d %B");
    let night = format!("Night of {date}");
    match context.reason {
        SayReason::CalledOff => {
            let what = format!("{night}: called off. What the last list asked for is not needed");
            // Shared covers have a line of their own.
            let (mut other, mut shared) = (true, false);
            if let Some((changes, _)) = context.since {
                let back: Vec<&str> =
                    changes::given_back(plan, changes).into_iter().flat_map(|(_, beds)| beds).collect();
                shared = !back.is_empty();
                let asked = changes.better.iter().filter(|(_, before)| before.is_work());
                other = asked.map(|(bed, _)| bed.as_str()).any(|bed| !back.contains(&bed)) || !shared;
            }
            match (other, shared) {
                (true, true) => format!("{what}; what else is covered or inside already may stay so until morning."),
                (true, false) => format!("{what}; what is covered or inside already may stay so until morning."),
                (false, _) => format!("{what}."),
            }
        }
        SayReason::AllQuiet => format!("{night}: all quiet, every bed stands it."),
        _ if plan.night.is_err() => {
            let zone = if is_late(plan) { String::new() } else { format!(" {}", zone.abbreviation(plan.deadline)) };
            let by = by_when(plan);
            format!(
                "{night}: there is no usable forecast. This is not an all-clear. Decide by hand {by}{zone}, as below."
            )
        }
        _ if !asks_for_work(plan) || is_late(plan) => format!("{night}: {}.", work_in_words(plan)),
        _ => format!("{night}: {} {}.", work_in_words(plan), zone.abbreviation(plan.deadline)),
    }
}

pub(super) fn lateness(late_by: Option<Duration>) -> Option<String> {
    let late = late_by.filter(|late| *late >= Duration::minutes(20))?;
    let text = if late >= Duration::minutes(90) {
        format!("{} hours", (late.num_minutes() + 30) / 60)
    } else {
        format!("{} minutes", late.num_minutes())
    };
    Some(format!("This message is {text} late: the service could not look earlier."))
}

/// How long the work takes, and what light there is for it.
fn work_line(plan: &Plan<'_>) -> Option<String> {
    if !plan.has_work() {
        return None;
    }
    let minutes = round_up_to_five(plan.work().0);
    let covers = plan.beds.iter().any(|bed| bed.cover.is_some());
    let tomorrow = if covers { ", taking covers off tomorrow included" } else { "" };
    let work = format!("It is about {minutes} minutes of work for one person{tomorrow}.");
    let no_sunset = rounds::no_sunset(&plan.garden.site, &plan.garden.zone, plan.of);
    let in_the_dark = in_the_dark(plan);
    let sunset = plan.garden.zone.local(sunset(plan)).format("%H:%M");
    Some(if is_late(plan) {
        format!("{} {work}{in_the_dark}", how_late(plan, no_sunset))
    } else if plan.light_until() != Some(plan.deadline) {
        format!("The best hour has passed; late still helps. {work}")
    } else {
        match no_sunset {
            None => format!("The sun sets at {sunset}. {work}"),
            Some(NoSunset::NeverSets) => {
                format!("The sun does not set here now; the list counts from {sunset}. {work}")
            }
            Some(NoSunset::NeverRises) => {
                format!("The sun does not rise here now; the list counts from {sunset}. {work}{in_the_dark}")
            }
        }
    })
}

/// Pots first: that is safe by lamp light, and no cover is worth a fall. The same order as the list, see [`Light::phases`].
fn in_the_dark(plan: &Plan<'_>) -> String {
    if Light::of(plan) == Light::Day {
        return String::new();
    }
    let has_covers = plan.beds.iter().any(|bed| bed.cover.is_some());
    let (has_pots, has_picking) = (plan.count(Measure::BringIn) > 0, plan.count(Measure::Harvest) > 0);
    let mut parts = Vec::new();
    parts.extend((has_pots && (has_covers || has_picking)).then_some("pots first"));
    parts.extend(has_covers.then_some("lay covers only where there is light to see by"));
    parts.extend(has_picking.then_some(if has_pots || has_covers {
        "pick last"
    } else {
        "pick only where there is light to see by"
    }));
    if parts.is_empty() { String::new() } else { format!(" {}.", capitalised(&parts.join("; "))) }
}

/// What still helps after sunset, and until when.
fn how_late(plan: &Plan<'_>, no_sunset: Option<NoSunset>) -> String {
    let zone = &plan.garden.zone;
    let work = || plan.beds.iter().filter(|bed| bed.measure.is_work());
    let (late, all) = (work().filter(|bed| plan.is_late_for(bed)).count(), work().count());
    let coldest = plan.night.as_ref().map(Night::coldest_at).ok().filter(|at| *at > plan.made_at);
    let safely = if no_sunset == Some(NoSunset::NeverSets) { "" } else { ", if you can work safely in the dark" };
    let first = format!("The best hour has passed; late still helps{safely}.");
    let from = format!("From about {} {} it is too late", deadline(plan), zone.abbreviation(plan.made_at));
    let Some(coldest) = coldest.map(|at| zone.local(at).format("%H:%M")) else {
        return "The best hour has passed, and the coldest too: going out saves little now.".into();
    };
    match late {
        0 => format!("{first} {from} for the first of them."),
        _ if late == all => format!(
            "{first} It is cold enough for harm already: what is done before the coldest hour, near {coldest}, still \
             saves a part."
        ),
        _ => format!(
            "{first} At {late} of {all} beds it is cold enough for harm already: what is done there before the coldest \
             hour, near {coldest}, still saves a part. {from} for the first of the others."
        ),
    }
}

fn sunset(plan: &Plan<'_>) -> DateTime<Utc> {
    plan.deadline + plan.garden.finish_before_sunset
}

/// Whether sunset is past, or the hour that stands for it.
fn is_late(plan: &Plan<'_>) -> bool {
    plan.made_at >= sunset(plan)
}

/// "by 16:40"; after sunset "now": an hour of the night would read as if there were time until then.
fn by_when(plan: &Plan<'_>) -> String {
    if is_late(plan) { "now".into() } else { format!("by {}", deadline(plan)) }
}

fn night_lines(plan: &Plan<'_>, context: &Context<'_>, scale: Scale) -> Vec<String> {
    match &plan.night {
        Ok(night) => sentences::night(plan, night, scale),
        // A feed that was no use has said so itself, with its name.
        Err(why) if context.troubles.iter().any(|trouble| trouble.contains(&why.to_string())) => Vec::new(),
        Err(why) => vec![format!("Why: {why}.")],
    }
}

fn closing(plan: &Plan<'_>, context: &Context<'_>, reader: Reader) -> Vec<String> {
    let zone = &plan.garden.zone;
    let mut lines = Vec::new();
    if let Ok(night) = &plan.night {
        lines.push(sentences::provenance(plan, night));
    }
    if let Some(by) = context.next_word_by {
        lines.push(sentences::next_word(zone, by));
    }
    lines.push(
        "A forecast can be wrong, and a hollow colder than its garden: believe a thermometer at the bed before this list."
            .to_string(),
    );
    if reader.role == Role::Manager {
        lines.push(format!(
            "Any number here can be taken apart: counterpane explain --garden {} --bed <label>.",
            plan.garden.id
        ));
    }
    lines
}

/// Work is guessed in steps of five minutes; a finer figure would pretend to be known.
pub(super) fn round_up_to_five(minutes: f64) -> u64 {
    // Work is bounded by the limits of settings, far inside the range of the type.
    ((minutes / 5.0).ceil() * 5.0) as u64
}

pub(super) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

impl Letter {
    /// Whether the hand-made decision comes before the beds: where there is a list of work, that comes first.
    pub fn by_hand_first(&self) -> bool {
        !self.groups.iter().any(|group| group.is_work)
    }
}

impl Group {
    /// Entries of a group, for templates.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }
}

#[cfg(test)]
mod tests;
