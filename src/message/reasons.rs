//! Why a bed has its measure, and from which low on it would have another.

use super::entries::names;
use super::sentences::{fine, frame, minutes, parts};
use crate::beds::{OwnFigure, Role};
use crate::crops::{Frame, Harm, Tolerance};
use crate::plan::harvest::better_for_frost;
use crate::plan::turning::{Side, Turning};
use crate::plan::{BedPlan, Measure, Plan, Reason};
use crate::risk::{Left, OrganRisk, PlantingRisk};
use crate::units::{Celsius, Kelvins, Scale};

/// Why a bed has its measure.
pub(super) fn why(plan: &Plan<'_>, bed: &BedPlan<'_>, role: Role) -> Vec<String> {
    let scale = plan.garden.shown;
    if matches!(bed.reason, Reason::NoWeather | Reason::HoursMissing) {
        return tenderest_line(bed, role, scale).into_iter().collect();
    }
    let mut lines = Vec::new();
    if bed.measure == Measure::Fine && matches!(bed.reason, Reason::WithinMargin | Reason::BetterForFrost) {
        let near = bed.deciding().filter(|(_, organ)| role == Role::Manager && organ.open.margin < FAR_FROM_HARM);
        let near = near.map(|(planting, organ)| margin_line(planting, organ, scale));
        return better_line(bed).into_iter().chain(near).collect();
    }
    if let Reason::SmallChance { chance, asks_from } = bed.reason {
        let line = format!(
            "Chance of damage {}: less than the {} from which this garden asks for work.",
            chance.percent(),
            asks_from.percent()
        );
        return better_line(bed).into_iter().chain((role == Role::Manager).then_some(line)).collect();
    }
    if role == Role::Manager {
        let decisive = bed.risk.plantings.iter().filter_map(|planting| Some((planting, planting.deciding()?)));
        let in_danger = decisive.filter(|(_, organ)| organ.open.chance >= plan.garden.caution.fine_below());
        lines.extend(in_danger.map(|(planting, organ)| figures(planting, organ, scale)));
    } else if let Some((planting, organ)) = bed.deciding().filter(|_| says_why(bed)) {
        lines.push(short_why(planting, organ, scale));
    }
    let reason = match &bed.reason {
        Reason::CoverSaves { covered } => {
            (role == Role::Manager).then(|| format!("Under the cover the chance falls to {}.", covered.percent()))
        }
        Reason::WorthLessThanWork { saved, work } => Some(if role == Role::Manager {
            // Only where a loss counts half.
            let counted = if saved > work { ", which counts half here" } else { "" };
            let worth = match saved.0.round() {
                0.0 => "less than a minute".into(),
                whole if whole == work.0.round() && saved <= work => format!("barely {}", minutes(whole)),
                whole => format!("about {}", minutes(whole)),
            };
            format!("Left: {} of work would save {worth} of worth{counted}.", minutes(work.0.max(1.0)))
        } else if saved > work {
            "Left: it would save little for its work.".into()
        } else {
            "Left: the work would be more than what it saves.".into()
        }),
        Reason::CoversTooSmall => {
            Some("Left: a cover would help, but those in the shed are too small or too few for it.".into())
        }
        Reason::NoCoverLeft { to, wanted, at_hand: Some(at_hand) } => {
            let to = to.as_ref().filter(|_| role == Role::Manager);
            let to = to.map_or(String::new(), |bed| format!("; {bed} has one and needs it more"));
            Some(format!(
                "Left: {wanted} would help, but too little of it is left over{to}. What is left, \
                 {at_hand}, would save less than its work."
            ))
        }
        Reason::NoCoverLeft { to: Some(bed), .. } if role == Role::Manager => {
            Some(format!("Left: a cover would help, but none that fits is left over; {bed} has one and needs it more."))
        }
        Reason::NoCoverLeft { .. } => Some("Left: a cover would help, but none that fits is left over.".into()),
        Reason::NoTimeLeft { nobody: true, .. } => Some("Left: nobody comes to work here tonight.".into()),
        Reason::NoTimeLeft { work, left, .. } => {
            let takes = minutes(work.0.max(1.0).ceil());
            // Whole minutes, each to the side on which the sentence stays true.
            let rest = match left.0.floor().max(0.0) as u64 {
                0 => "no time is left for it".into(),
                1 => "1 minute is left".into(),
                left => format!("{left} minutes are left"),
            };
            Some(format!("Left: it takes {takes}, and {rest}."))
        }
        Reason::WaitForThaw => {
            Some("Left: it should be frozen by now. Wait for the thaw; what stands it can be picked then.".into())
        }
        Reason::NothingHelps => Some("Left: nothing at hand would help much.".into()),
        Reason::MinorPart => {
            lines.extend(minor_part(bed));
            better_line(bed)
        }
        Reason::PickedBefore => picked_line(bed),
        Reason::SoilTooCold { soil, begins } => Some(format!(
            "Why: {} at root depth; below {} what grows there breaks down in store.",
            fine(*soil, scale),
            fine(*begins, scale)
        )),
        Reason::SoilKeepsRoots { soil, begins } => Some(format!(
            "Left: the soil should stay {} above what harms the roots. A hand of straw or leaves over the row helps.",
            (*soil - *begins).size(scale)
        )),
        Reason::BetterForFrost
        | Reason::PickBeforeFrost
        | Reason::RootsAndTopsInside
        | Reason::WithinMargin
        | Reason::SmallChance { .. }
        | Reason::HoursMissing
        | Reason::NoWeather => None,
    };
    lines.extend(reason);
    if bed.measure == Measure::Leave {
        lines.extend(picked_line(bed));
    }
    lines.extend(beside(plan, bed, role));
    lines
}

/// "Left beside it: cabbage (transplant); 8 minutes of work would save about 3 minutes of worth.": of plantings in danger in
/// a bed of which only another is picked.
fn beside(plan: &Plan<'_>, bed: &BedPlan<'_>, role: Role) -> Option<String> {
    let rest = bed.rest.clone()?;
    let left: Vec<String> = bed
        .in_danger_beside(plan.garden.caution.fine_below())
        .map(|(planting, _)| format!("{} ({})", planting.crop.name, planting.stage.name))
        .collect();
    let as_left = BedPlan { measure: Measure::Leave, reason: rest, rest: None, ..bed.clone() };
    let why = why(plan, &as_left, role).pop()?;
    Some(format!("Left beside it: {}; {}", left.join(", "), why.strip_prefix("Left: ")?))
}

/// What the journal has taken off in part; what is gone is named beside the bed.
fn picked_line(bed: &BedPlan<'_>) -> Option<String> {
    let picked = bed.risk.plantings.iter().filter(|planting| planting.left != Left::ALL);
    let picked = names(picked.map(|planting| planting.crop));
    (!picked.is_empty())
        .then(|| format!("By the journal, some or all there was to pick is picked or spoilt: {picked}."))
}

/// A night that would have to be so much colder for a bed to be in danger is another night (assumed).
const NEARBY: Kelvins = Kelvins(3.0);

/// "Cover from a low of 27 F down."
pub(super) fn turning(bed: &BedPlan<'_>, low: Celsius, scale: Scale) -> Option<String> {
    let Some(turning) = bed.turning.as_ref() else { return soil_turning(bed, scale) };
    let is_near = (turning.low - low).0.abs() <= NEARBY.0;
    (bed.measure != Measure::Fine || is_near).then(|| turning_words(turning, bed.measure, low, scale))
}

/// "Lift from 31 F in the soil down.", where no low of the air says when.
pub(super) fn soil_turning(bed: &BedPlan<'_>, scale: Scale) -> Option<String> {
    Some(format!("Lift from {} in the soil down.", bed.turning_of_soil()?.tenths(scale)))
}

/// "Fine from a low of 32 F up."; `now` is the measure on this side, `low` tonight's. What is left beyond means one thing where
/// it is milder and another where it is colder. Where the two lows would read the same they are told apart by a tenth, or the
/// line would seem to contradict the list.
pub(super) fn turning_words(turning: &Turning, now: Measure, low: Celsius, scale: Scale) -> String {
    let (then, joint, side) = match (turning.then, turning.side) {
        (Measure::Leave, Side::Up) => ("Needs no work", "from", " up"),
        (Measure::Leave, Side::Down) if now == Measure::Fine => ("At risk", "from", " down"),
        (Measure::Leave, Side::Down) => ("Given up", "below", ""),
        (then, side) => {
            let then = match then {
                Measure::Cover => "Cover",
                Measure::Harvest => "Harvest",
                Measure::BringIn => "Bring in",
                Measure::Leave | Measure::Fine => "Fine",
                Measure::Unknown => "Not known",
            };
            (then, "from", if side == Side::Down { " down" } else { " up" })
        }
    };
    if fine(turning.low, scale) == fine(low, scale) {
        let (from, expected) = (turning.low.tenths(scale), low.tenths(scale));
        return format!("{then} {joint} a low of {from}{side}; {expected} expected.");
    }
    format!("{then} {joint} a low of {}{side}.", fine(turning.low, scale))
}

/// Where nothing is to be done, or it is done for the soil, the reason alone is enough; of a fine bed a "why" would read as a
/// reason to act.
fn says_why(bed: &BedPlan<'_>) -> bool {
    bed.measure.is_work() && !matches!(bed.reason, Reason::SoilTooCold { .. })
}

/// "Better for a frost: kale, leek (sweeter)."
fn better_line(bed: &BedPlan<'_>) -> Option<String> {
    let better = better_for_frost(&bed.risk);
    let (_, what) = better.first()?;
    let same = better.iter().all(|(_, other)| other == what);
    let crops: Vec<String> =
        better.iter().map(|(crop, what)| if same { (*crop).to_string() } else { format!("{crop} ({what})") }).collect();
    let what = if same { format!(" ({what})") } else { String::new() };
    Some(format!("Better for a frost: {}{what}.", crops.join(", ")))
}

/// A bed with more to spare needs no words.
const FAR_FROM_HARM: Kelvins = Kelvins(5.0);

/// A bed that stands the night is worth one line, about what is nearest to harm.
fn margin_line(planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>, scale: Scale) -> String {
    let (crop, parts) = (planting.name(), parts(organ.tolerance.organ));
    format!("Nearest to harm: {crop} {parts}, {} to spare.", organ.open.margin.size(scale))
}

fn minor_part(bed: &BedPlan<'_>) -> Option<String> {
    let organs = bed.risk.plantings.iter().flat_map(|planting| &planting.organs);
    let likeliest = organs.max_by(|a, b| a.likelier(b))?;
    Some(format!(
        "Its {} may suffer ({}), which is little of its worth.",
        parts(likeliest.tolerance.organ),
        likeliest.open.chance.percent()
    ))
}

/// The planting to watch first when nothing is known of the night; roots only where nothing else grows.
pub(super) fn tenderest<'p, 'a>(bed: &'p BedPlan<'a>) -> Option<(&'p PlantingRisk<'a>, &'a Tolerance, Celsius)> {
    let plantings = bed.risk.plantings.iter().filter_map(|planting| {
        let (tolerance, begins) = planting.tenderest()?;
        Some((planting, tolerance, begins))
    });
    plantings.max_by(|(_, a, a_begins), (_, b, b_begins)| {
        (a.frame != Frame::Soil).cmp(&(b.frame != Frame::Soil)).then(a_begins.0.total_cmp(&b_begins.0))
    })
}

fn tenderest_line(bed: &BedPlan<'_>, role: Role, scale: Scale) -> Option<String> {
    let (planting, tolerance, begins) = tenderest(bed)?;
    let stage = if role == Role::Manager { format!(" ({})", planting.stage.name) } else { String::new() };
    Some(format!(
        "Harm to {} {}{stage} begins at {} in the {}.",
        planting.name(),
        parts(tolerance.organ),
        fine(begins, scale),
        frame(tolerance.frame)
    ))
}

/// "Chance of damage 66 %: harm to broccoli heads (heading) begins at 28 F in the air; 24 F expected, margin -3.6 F."
fn figures(planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>, scale: Scale) -> String {
    let (crop, parts, stage) = (planting.name(), parts(organ.tolerance.organ), planting.stage.name);
    let (begins, place) = (fine(organ.damage_begins, scale), frame(organ.tolerance.frame));
    let own = match organ.applied.learned {
        _ if organ.applied.is_own(OwnFigure::DamageBegins) => " (your figure)",
        Some(_) => " (learned here)",
        None => "",
    };
    let chance = organ.open.chance.percent();
    match organ.tolerance.harm {
        Harm::Freezing => format!(
            "Chance of damage {chance}: harm to {crop} {parts} ({stage}) begins at {begins} in the {place}{own}; {} \
             expected, margin {}.",
            fine(organ.open.minimum.mean, scale),
            organ.open.margin.signed(scale)
        ),
        Harm::Chilling => {
            let before = match organ.open.hours_before {
                hours if hours >= 0.5 => format!(" after {hours:.0} hours on the nights before"),
                _ => String::new(),
            };
            format!(
                "Chance of chilling injury {chance}: {crop} {parts} ({stage}) suffer below {begins} in the {place}{own}, \
                 without any frost; {:.0} hours of it tonight{before}.",
                organ.open.hours_below
            )
        }
    }
}

fn short_why(planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>, scale: Scale) -> String {
    let place = match organ.tolerance.frame {
        Frame::ScreenAir => "",
        Frame::Tissue => " in the plant",
        Frame::Soil => " in the soil",
    };
    // Else the two figures would seem to say that nothing can happen.
    let colder = if organ.open.margin > Kelvins(0.0) {
        format!(", and it may get colder (chance of damage {})", organ.open.chance.percent())
    } else {
        String::new()
    };
    let harm = match organ.tolerance.harm {
        Harm::Freezing => "harm",
        Harm::Chilling => "chilling without frost",
    };
    format!(
        "Why: {harm} to {} {} begins at {}{place}; {} expected{colder}.",
        planting.name(),
        parts(organ.tolerance.organ),
        fine(organ.damage_begins, scale),
        fine(organ.open.minimum.mean, scale)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// "Left as it is" said that a bed is out of danger, that it is given up, and that danger begins.
    #[test]
    fn what_is_left_is_said_by_what_it_means() {
        let words = |now, then, side| {
            let turning = Turning { low: Celsius(-6.0), side, then };
            turning_words(&turning, now, Celsius(-3.0), Scale::Celsius)
        };
        for (now, then, side, says) in [
            (Measure::Cover, Measure::Leave, Side::Up, "Needs no work from a low of -6.0 C up."),
            (Measure::Cover, Measure::Leave, Side::Down, "Given up below a low of -6.0 C."),
            (Measure::Fine, Measure::Leave, Side::Down, "At risk from a low of -6.0 C down."),
            (Measure::Leave, Measure::Fine, Side::Up, "Fine from a low of -6.0 C up."),
            (Measure::Fine, Measure::Cover, Side::Down, "Cover from a low of -6.0 C down."),
        ] {
            assert_eq!(words(now, then, side), says);
        }
    }
}
