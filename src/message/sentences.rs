//! Sentences for growers: what to do, why, how sure, where it comes from.

use crate::beds::{Applied, Caution, CoverStock, OwnFigure, Role};
use crate::crops::{Frame, Harm, Organ, Tolerance};
use crate::night::cover::Layers;
use crate::night::dusk::dusk_air_before_frost;
use crate::night::{Estimate, FrostKind, Knowledge, Night, Remark};
use crate::plan::harvest::better_for_frost;
use crate::plan::said::{Changes, Elsewhere};
use crate::plan::turning::{Side, Turning};
use crate::plan::{BedPlan, CoverUse, Measure, Pick, Plan, Reason};
use crate::risk::{OrganRisk, PlantingRisk};
use crate::units::{Celsius, Kelvins, Probability, Scale};
use crate::weather::Provider;
use crate::zone::Zone;
use chrono::{DateTime, Utc};

/// In a normal distribution four values in five lie within this many standard deviations of the mean.
const FOUR_IN_FIVE: f64 = 1.281_551_6;

/// The range that holds the value four times in five.
pub(super) fn four_in_five(estimate: Estimate, scale: Scale) -> String {
    let reach = Kelvins(estimate.spread.0 * FOUR_IN_FIVE);
    format!("{} and {}", (estimate.mean - reach).whole(scale), (estimate.mean + reach).whole(scale))
}

/// When silence means trouble.
pub(super) fn next_word(zone: &Zone, by: DateTime<Utc>) -> String {
    format!(
        "The next message comes by {} {}. No message by then means: look yourself.",
        zone.local(by).format("%A %-d %B, %H:%M"),
        zone.abbreviation(by)
    )
}

/// From such a low on, how the cold comes is of no interest.
const NOT_WORTH_WORDS: Celsius = Celsius(8.0);

/// The night in a few lines.
pub(super) fn night(plan: &Plan<'_>, night: &Night, scale: Scale) -> Vec<String> {
    let zone = &plan.garden.zone;
    let at = zone.local(night.coldest_at());
    if night.minimum.mean > NOT_WORTH_WORDS && night.knowledge == Knowledge::Complete {
        let mut lines = vec![format!("Low {} near {}.", night.minimum.mean.whole(scale), at.format("%H:%M"))];
        lines.extend(night.remarks.iter().map(|remark| self::remark(*remark, zone, scale)));
        return lines;
    }
    let kind = match night.kind {
        FrostKind::Radiation => "A clear, still night: plants grow colder than the air, hollows coldest.",
        FrostKind::Advection => "A windy night: covers keep little heat and want heavy weights.",
        FrostKind::Mixed => {
            "Neither clear and still nor windy all night: plants may grow somewhat colder than the air."
        }
    };
    let mut lines = vec![format!(
        "Low {} near {} in the air at head height; four such nights in five end between {}.",
        night.minimum.mean.whole(scale),
        at.format("%H:%M"),
        four_in_five(night.minimum, scale)
    )];
    if !plan.is_quiet() {
        lines.push(kind.into());
    }
    let coldest = plan.beds.iter().filter_map(|bed| Some((bed, bed.risk.night.as_ref()?.tissue.mean)));
    let coldest = coldest.min_by(|(_, a), (_, b)| a.0.total_cmp(&b.0));
    // Where nothing is in danger, or leaves are about as warm as the air, the low has said it.
    let tells = |tissue: Celsius| !plan.is_quiet() && tissue < night.minimum.mean - Kelvins(1.0);
    if let Some((bed, tissue)) = coldest.filter(|(_, tissue)| tells(*tissue)) {
        let place = bed.risk.bed.title();
        lines.push(format!("Uncovered leaves fall to about {} in the coldest bed, {place}.", tissue.whole(scale)));
    }
    if let Knowledge::Incomplete { longest_hole_hours, .. } = night.knowledge {
        lines.push(format!(
            "The forecast lacks hours of this night (up to {:.0} hours between two of them): no bed can be called safe.",
            longest_hole_hours + 1.0
        ));
    }
    lines.extend(night.remarks.iter().map(|remark| self::remark(*remark, zone, scale)));
    lines
}

/// A learned shift that is warmer than is believed.
pub(super) fn capped(learned: Kelvins, used: Kelvins, scale: Scale) -> String {
    format!(
        "learned {}, used {}: warmer than that is not believed; check the thermometer",
        learned.signed(scale),
        used.signed(scale)
    )
}

fn remark(remark: Remark, zone: &Zone, scale: Scale) -> String {
    match remark {
        Remark::WindAssumed => "The forecast has no wind; a still night is assumed.".into(),
        Remark::SkyAssumed => "The forecast has no cloud; a clear sky is assumed.".into(),
        Remark::DewPointAssumed => "The forecast has no humidity; dry air is assumed.".into(),
        Remark::IssueUnknown => "The forecast does not say when it was made; it is trusted less.".into(),
        Remark::Old { hours } => format!("The forecast is {hours:.0} hours old; it is trusted less."),
        Remark::ReadingDisagrees { by } => format!(
            "This evening's thermometer points to a low {} {} than the forecast; both are weighed.",
            by.size(scale),
            if by.0 < 0.0 { "colder" } else { "warmer" }
        ),
        Remark::ReadingLeftOut { at, air, by, more } => {
            let others = match more {
                0 => String::new(),
                1 => ", nor was one more like it".into(),
                more => format!(", nor were {more} more like it"),
            };
            format!(
                "The reading {} at {} was not used{others}: {} warmer than the forecast. If it is right, the night is \
                 milder than this says; if it is a slip, correct it, for nothing warns of frost by it.",
                air.whole(scale),
                zone.local(at).format("%H:%M"),
                by.size(scale)
            )
        }
        Remark::LearnedCapped { learned, used } => {
            format!("What past nights have taught of this forecast: {}.", capped(learned, used, scale))
        }
        Remark::FeedsDisagree { by } => {
            format!("Another feed expects a night {} warmer; the colder one is taken.", by.size(scale))
        }
        Remark::ColderByDay { low, at } => format!(
            "It gets colder by day than in this night: {} on {}. Covers and pots stay as they are until that is over.",
            low.whole(scale),
            zone.local(at).format("%A at %H:%M")
        ),
        Remark::ReadingOnly => "There is no usable forecast: this rests on the evening's thermometer alone.".into(),
        Remark::HandGiven => "This rests on one low given by hand; a clear, still night is assumed.".into(),
    }
}

/// What to do at a bed.
pub(super) fn instructions(bed: &BedPlan<'_>) -> Vec<String> {
    let mut lines: Vec<String> = bed
        .picks
        .iter()
        .map(|pick| {
            let crop = super::letter::capitalised(&pick.crop);
            format!("{crop}: {} {}", uncapitalised(&pick.instruction), size(pick))
        })
        .collect();
    if let Some(cover) = &bed.cover {
        let what = match (cover.layers, cover.pieces_per_layer()) {
            // One piece over two beds: each of them says so.
            _ if cover.together_with.is_some() => cover.title(),
            (Layers::One, 1) | (Layers::Two, 1) => cover.title(),
            (Layers::One, pieces) => format!("{pieces} pieces of {}", cover.name),
            (Layers::Two, pieces) => format!("{}, {pieces} pieces side by side in each", cover.title()),
        };
        let (verb, edges) = if bed.measure == Measure::Harvest {
            ("Then cover with", ", edges down to the ground")
        } else {
            ("Cover with", "")
        };
        lines.push(format!("{verb}: {what}{edges}."));
    }
    // From last night, or laid by day.
    if bed.is_out {
        lines.push(if bed.measure == Measure::BringIn {
            "Inside since last night: leave it there.".into()
        } else {
            "It lies there already: see that it is closed, its edges down.".into()
        });
    }
    lines
}

/// "About 8 plants, 4 minutes."
fn size(pick: &Pick) -> String {
    // Less than a minute is one, by the time the knife is found.
    let time = minutes(pick.work.0.max(1.0).ceil());
    match pick.plants {
        Some(1) => format!("1 plant, {time}."),
        Some(plants) => format!("About {plants} plants, {time}."),
        None => format!("About {time}."),
    }
}

fn uncapitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().chain(letters).collect())
}

/// "even: work is asked from a chance of damage of 10 % on, and a minute of worth lost counts as much as one of work".
pub fn caution(caution: Caution) -> String {
    let counts = match caution {
        Caution::Sparing => "half as much as",
        Caution::Even => "as much as",
        Caution::Careful => "twice as much as",
    };
    let from = caution.fine_below().percent();
    let word = caution.word();
    format!(
        "{word}: work is asked from a chance of damage of {from} on, and a minute of worth lost counts {counts} one of work"
    )
}

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
            let (work, saved) = (minutes(work.0), minutes(saved.0));
            let saved = match saved {
                _ if saved == work => "no more than that".into(),
                saved if saved.starts_with("0 ") => "nothing".into(),
                saved => format!("about {saved} of worth"),
            };
            format!("Left: {work} of work would save {saved}{counted}.")
        } else if saved > work {
            "Left: it would save little for its work.".into()
        } else {
            "Left: the work would be more than what it saves.".into()
        }),
        Reason::CoversTooSmall => {
            Some("Left: a cover would help, but those in the shed are too small or too few for it.".into())
        }
        Reason::NoCoverLeft { to: Some(bed) } if role == Role::Manager => {
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
        Reason::NothingHelps => Some("Left: nothing at hand would help much.".into()),
        Reason::MinorPart => {
            lines.extend(minor_part(bed));
            better_line(bed)
        }
        Reason::PickedBefore => Some("By the journal, what this night would take is picked or gone.".into()),
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
    lines
}

/// A night that would have to be so much colder for a bed to be in danger is another night (assumed).
const NEARBY: Kelvins = Kelvins(3.0);

/// "Cover from a low of 27 F down."
pub(super) fn turning(bed: &BedPlan<'_>, low: Celsius, scale: Scale) -> Option<String> {
    let turning = bed.turning.as_ref()?;
    let is_near = (turning.low - low).0.abs() <= NEARBY.0;
    (bed.measure != Measure::Fine || is_near).then(|| turning_words(turning, low, scale))
}

/// "Fine from a low of 32 F up."; `low` is tonight's. Where the two would read the same they are told apart by a tenth, or the
/// line would seem to contradict the list.
pub(super) fn turning_words(turning: &Turning, low: Celsius, scale: Scale) -> String {
    let then = match turning.then {
        Measure::Cover => "Cover",
        Measure::Harvest => "Harvest",
        Measure::BringIn => "Bring in",
        Measure::Leave => "Left as it is",
        Measure::Fine => "Fine",
        Measure::Unknown => "Not known",
    };
    let side = match turning.side {
        Side::Down => "down",
        Side::Up => "up",
    };
    if fine(turning.low, scale) == fine(low, scale) {
        let (from, expected) = (turning.low.tenths(scale), low.tenths(scale));
        return format!("{then} from a low of {from} {side}; {expected} expected.");
    }
    format!("{then} from a low of {} {side}.", fine(turning.low, scale))
}

/// Where nothing is to be done, or it is done for the soil, the reason alone is enough.
fn says_why(bed: &BedPlan<'_>) -> bool {
    bed.measure != Measure::Leave && !matches!(bed.reason, Reason::SoilTooCold { .. })
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
    let (crop, parts) = (&planting.crop.name, parts(organ.tolerance.organ));
    format!("Nearest to harm: {crop} {parts}, {} to spare.", organ.open.margin.size(scale))
}

fn minutes(count: f64) -> String {
    match count.round() {
        1.0 => "a minute".into(),
        count => format!("{count:.0} minutes"),
    }
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
        planting.crop.name,
        parts(tolerance.organ),
        fine(begins, scale),
        frame(tolerance.frame)
    ))
}

/// "Chance of damage 66 %: harm to broccoli heads (heading) begins at 28 F in the air; 24 F expected, margin -3.6 F."
fn figures(planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>, scale: Scale) -> String {
    let (crop, parts, stage) = (&planting.crop.name, parts(organ.tolerance.organ), planting.stage.name);
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
        planting.crop.name,
        parts(organ.tolerance.organ),
        fine(organ.damage_begins, scale),
        fine(organ.open.minimum.mean, scale)
    )
}

/// Two temperatures that are compared want steps of about half a kelvin; a whole degree Celsius is too coarse.
fn fine(temperature: Celsius, scale: Scale) -> String {
    match scale {
        Scale::Celsius => temperature.tenths(scale),
        Scale::Fahrenheit => temperature.whole(scale),
    }
}

/// The organs of many plants, as growers say it.
fn parts(organ: Organ) -> &'static str {
    match organ {
        Organ::Leaf => "leaves",
        Organ::Head => "heads",
        Organ::Curd => "curds",
        Organ::Pod => "pods",
        Organ::Flower => "blossom",
        Organ::Fruit => "fruit",
        Organ::Bulb => "bulbs",
        Organ::Root => "roots",
        Organ::Tuber => "tubers",
        Organ::Crown => "crowns",
    }
}

/// Where a threshold is felt, as a grower says it.
pub(super) fn frame(frame: Frame) -> &'static str {
    match frame {
        Frame::ScreenAir => "air",
        Frame::Tissue => "plant",
        Frame::Soil => "soil",
    }
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

/// Hours of a winter night of the middle latitudes: the rule of hand is for any night of the season (assumed).
const NIGHT_FOR_THE_RULE_OF_HAND: f64 = 13.5;

/// How to decide without a forecast: what evenings lead to, turned round.
pub(super) fn by_hand(plan: &Plan<'_>, role: Role) -> Vec<String> {
    let scale = plan.garden.shown;
    let dusk = plan.garden.zone.local(plan.deadline + plan.garden.finish_before_sunset + crate::rounds::DUSK);
    let hours = NIGHT_FOR_THE_RULE_OF_HAND;
    let even = dusk_air_before_frost(Probability(0.5), hours);
    let one_in_ten = dusk_air_before_frost(Probability(0.1), hours);
    let mut lines = if plan.night.is_err() {
        vec![
            "Clear and still, or already near freezing? Take it for a frost. Work from the top of the list down: pots \
             under a roof, ripe things picked, covers on while they last, edges down and weighed."
                .to_string(),
            "Not sure? Do the same: a cover for nothing costs minutes, a frost the crop.".to_string(),
        ]
    } else {
        vec![
            "Covers left over, and the sky clear? Cover the beds that are not known to be safe too, from the top down."
                .to_string(),
        ]
    };
    lines.push(format!(
        "A thermometer in the open, at the height of the plants, tells more. Under a clear, still sky, less than {} at \
         {} means that frost is as likely as not; up to {} it still comes one night in ten.",
        even.whole(scale),
        dusk.format("%H:%M"),
        one_in_ten.whole(scale)
    ));
    if role == Role::Manager {
        let (reading, low) = if scale == Scale::Fahrenheit { ("38F", "27F") } else { ("3.5C", "-3C") };
        let id = &plan.garden.id;
        lines.push(format!(
            "Give the service what it shows and ask for the list: counterpane reading {reading} --garden {id}, then \
             counterpane tonight --garden {id}. Or give a low you trust: counterpane tonight --low {low} --garden {id}."
        ));
    }
    lines
}

/// Source and age.
pub(super) fn provenance(plan: &Plan<'_>, night: &Night) -> String {
    let zone = &plan.garden.zone;
    let provider = match &night.provider {
        None => return "Source: the garden's own thermometer.".into(),
        Some(Provider::HandGivenLow) => return "Source: a low given by hand.".into(),
        Some(provider) => provider,
    };
    let issued = match (night.issued, night.fetched) {
        (Some(issued), _) => {
            let age = (plan.made_at - issued).num_minutes().max(0);
            let at = zone.local(issued).format("%A %H:%M");
            format!("issued {at} {}, {} old", zone.abbreviation(issued), age_in_words(age))
        }
        (None, Some(fetched)) => {
            let age = (plan.made_at - fetched).num_minutes().max(0);
            format!("fetched {} ago", age_in_words(age))
        }
        (None, None) => "age unknown".into(),
    };
    format!("Forecast: {provider}, {issued}.")
}

fn age_in_words(minutes: i64) -> String {
    match minutes {
        ..=1 => "a minute".into(),
        2..=119 => format!("{minutes} minutes"),
        _ => format!("{} hours", (minutes + 30) / 60),
    }
}

/// Evidence of a threshold, as one clause.
pub(super) fn evidence(tolerance: &Tolerance, applied: &Applied) -> String {
    let mark = |figure, word| match applied.learned {
        _ if applied.is_own(figure) => "your figure",
        Some(_) => "learned here",
        None => word,
    };
    format!(
        "{} / {}, {}",
        mark(OwnFigure::DamageBegins, tolerance.evidence.damage_begins.word()),
        mark(OwnFigure::Severe, tolerance.evidence.severe.word()),
        tolerance.sources.join(", ")
    )
}
