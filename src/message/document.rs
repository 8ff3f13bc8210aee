//! The list as a JSON document for other programs. Its fields are stable: new ones may be added, none is renamed.

mod order;
pub use order::TurnDocument;

use crate::night::Knowledge;
use crate::plan::ready::{Coming, Look, Next, outlook};
use crate::plan::said::Elsewhere;
use crate::plan::spell::{NightAhead, Spell};
use crate::plan::turning::Side;
use crate::plan::{BedPlan, Measure, Pick, Plan, Reason};
use crate::risk::{OrganRisk, PlantingRisk};
use chrono::{DateTime, SecondsFormat, Utc};
use serde::Serialize;

/// One garden's list for one night.
#[derive(Clone, Debug, Serialize)]
pub struct ListDocument {
    pub garden: String,
    /// Date of the evening.
    pub night: String,
    /// When this list was made, RFC 3339 in UTC.
    pub issued: String,
    /// `null` where there is no forecast.
    pub forecast: Option<ForecastDocument>,
    pub beds: Vec<BedDocument>,
    /// The work in the order in which it is done.
    pub order: Vec<TurnDocument>,
    pub time: TimeDocument,
    /// Shared covers that other gardens have tonight.
    pub covers_elsewhere: Vec<ElsewhereDocument>,
    pub outlook: OutlookDocument,
    /// The nights after this one; empty where they were not asked for.
    pub nights_after: Vec<NightDocument>,
}

/// Pieces of a shared cover that another garden has.
#[derive(Clone, Debug, Serialize)]
pub struct ElsewhereDocument {
    /// By the name on the shelf.
    pub cover: String,
    /// The garden's name.
    pub garden: String,
    pub pieces: u32,
}

/// A night to come, and what the nights before it leave to be done.
#[derive(Clone, Debug, Serialize)]
pub struct NightDocument {
    /// Date of the evening.
    pub night: String,
    /// `null` where there is no forecast.
    pub screen_minimum_c: Option<f64>,
    /// One standard deviation.
    pub spread_c: Option<f64>,
    /// Whether all its hours are known.
    pub complete: bool,
    /// Beds for which somebody goes out on that afternoon.
    pub work: Vec<WorkDocument>,
    /// Person-minutes of that afternoon, walking, fetching and the uncovering after it included.
    pub minutes: f64,
    /// Of these, what is done before the night: people are counted by it.
    pub before_night_minutes: f64,
    /// `null` where settings name no crew.
    pub people: Option<u32>,
    /// Whether picking that the nights before it ask for is left out, as if it were done.
    pub counts_on_picking: bool,
    /// Beds left at risk.
    pub left: usize,
    /// Beds that are not known to be safe.
    pub unknown: usize,
    /// Covers of the night before on the day between.
    pub by_day: Vec<ByDayDocument>,
}

#[derive(Clone, Debug, Serialize)]
pub struct WorkDocument {
    pub bed: String,
    pub measure: &'static str,
}

#[derive(Clone, Debug, Serialize)]
pub struct ByDayDocument {
    pub bed: String,
    pub cover: String,
    /// `stays-on`, `open-by-day` or `comes-off-by-day`.
    pub advice: &'static str,
}

/// What the list takes of people's time.
#[derive(Clone, Debug, Serialize)]
pub struct TimeDocument {
    /// Person-minutes before the night, walking and fetching included.
    pub tonight_minutes: f64,
    pub walking_and_fetching_minutes: f64,
    /// The morning after.
    pub tomorrow_minutes: f64,
    /// What people have; `null` where the garden does not say.
    pub people_minutes: Option<f64>,
    /// By how much, at most, another choice could be better; 0 where this one is proven.
    pub gap_minutes: f64,
}

/// What is ready to pick, what comes, and what tonight takes.
#[derive(Clone, Debug, Serialize)]
pub struct OutlookDocument {
    pub ready: Vec<ReadyDocument>,
    pub coming: Vec<ComingDocument>,
    /// Where each crop that is picked or lost tonight is to be had next.
    pub follows: Vec<FollowsDocument>,
    /// Whether everything that is ready is picked or lost tonight.
    pub emptied_tonight: bool,
}

#[derive(Clone, Debug, Serialize)]
pub struct ReadyDocument {
    pub bed: String,
    pub crop: String,
    pub since: Option<String>,
    /// `when-convenient`, `every-day` or `past-its-best`.
    pub look: &'static str,
    pub if_left: Option<String>,
    pub goes_tonight: bool,
}

#[derive(Clone, Debug, Serialize)]
pub struct ComingDocument {
    pub bed: String,
    pub crop: String,
    /// `null` where no date is known.
    pub not_before: Option<String>,
}

#[derive(Clone, Debug, Serialize)]
pub struct FollowsDocument {
    pub crop: String,
    /// `null` where no other planting follows.
    pub bed: Option<String>,
    /// `null` where it is ready already, or its day is not known.
    pub not_before: Option<String>,
}

#[derive(Clone, Debug, Serialize)]
pub struct ForecastDocument {
    pub source: String,
    /// When the provider issued it; `null` where it does not say.
    pub issued: Option<String>,
    pub age_minutes: i64,
}

/// One bed: its measure, and the planting that decides over it.
#[derive(Clone, Debug, Serialize)]
pub struct BedDocument {
    pub bed: String,
    pub crop: Option<String>,
    pub stage: Option<String>,
    pub measure: &'static str,
    pub cover: Option<String>,
    /// Covers on each other: 1 or 2.
    pub cover_layers: Option<u32>,
    pub reason: &'static str,
    pub do_by: Option<String>,
    pub screen_minimum_c: Option<f64>,
    pub plant_minimum_c: Option<f64>,
    /// One standard deviation of the deciding organ's lowest temperature.
    pub spread_c: Option<f64>,
    pub chance_of_damage: Option<f64>,
    pub margin_c: Option<f64>,
    /// The neighbour that one piece covers together with this bed.
    pub cover_together_with: Option<String>,
    /// Person-minutes before the night.
    pub tonight_minutes: f64,
    /// The bed that has the cover which is missing here.
    pub cover_went_to: Option<String>,
    /// The low at the garden's screen at which the measure would change, all other beds as they are; `null` where none was
    /// found, or it was not asked for.
    pub changes_at: Option<TurningDocument>,
    /// Where no low of one night would change it, but colder soil would: from which soil down roots are lifted.
    pub changes_at_soil_c: Option<f64>,
    /// What to pick, in order; empty unless the measure is `harvest`.
    pub picks: Vec<PickDocument>,
    /// Every planting of the bed, the deciding one included.
    pub plantings: Vec<PlantingDocument>,
}

#[derive(Clone, Debug, Serialize)]
pub struct TurningDocument {
    pub screen_minimum_c: f64,
    /// `down` where the other measure holds at that low and below, `up` at it and above.
    pub side: &'static str,
    pub measure: &'static str,
}

#[derive(Clone, Debug, Serialize)]
pub struct PickDocument {
    pub crop: String,
    pub organ: &'static str,
    pub instruction: String,
    /// About how many plants, where each is cut by itself.
    pub plants: Option<u32>,
    pub minutes: f64,
    /// What stays of use: `plant`, `crown` or `nothing`.
    pub keeps: &'static str,
}

#[derive(Clone, Debug, Serialize)]
pub struct PlantingDocument {
    pub crop: String,
    pub stage: String,
    /// `manager` or `calendar`.
    pub stage_from: &'static str,
    /// Person-minutes that saving what stands of it is worth.
    pub worth_minutes: f64,
    /// `manager` or `reckoned`.
    pub worth_from: &'static str,
    /// 0 to 1.
    pub hardening: f64,
    /// `manager`, `record`, `just-set-out` or `no-record`.
    pub hardening_from: &'static str,
    pub organ: Option<&'static str>,
    pub harm: Option<&'static str>,
    pub frame: Option<&'static str>,
    pub damage_begins_c: Option<f64>,
    pub expected_c: Option<f64>,
    pub chance_of_damage: Option<f64>,
    pub margin_c: Option<f64>,
    pub hours_below: Option<f64>,
    /// Figures of that part that are the garden's own.
    pub own_figures: Vec<&'static str>,
}

/// The document of a list.
pub fn document(plan: &Plan<'_>) -> ListDocument {
    let night = plan.night.as_ref().ok();
    let forecast = night.and_then(|night| {
        let provider = night.provider.as_ref()?;
        let since = night.issued.or(night.fetched)?;
        Some(ForecastDocument {
            source: provider.key().to_string(),
            issued: night.issued.map(rfc3339),
            age_minutes: (plan.made_at - since).num_minutes().max(0),
        })
    });
    ListDocument {
        garden: plan.garden.id.clone(),
        night: plan.of.to_string(),
        issued: rfc3339(plan.made_at),
        forecast,
        beds: plan.beds.iter().map(bed_document).collect(),
        order: order::documents(plan),
        time: TimeDocument {
            tonight_minutes: hundredths(plan.tonight().0),
            walking_and_fetching_minutes: hundredths(plan.trips.0),
            tomorrow_minutes: hundredths(plan.work().0 - plan.tonight().0),
            people_minutes: plan.minutes.map(|minutes| hundredths(minutes.0)),
            gap_minutes: thousandths(plan.gap.0),
        },
        covers_elsewhere: plan.elsewhere.iter().filter_map(|away| elsewhere_document(plan, away)).collect(),
        outlook: outlook_document(plan),
        nights_after: Vec::new(),
    }
}

fn elsewhere_document(plan: &Plan<'_>, away: &Elsewhere) -> Option<ElsewhereDocument> {
    let cover = plan.garden.covers.get(away.stock)?.name.clone();
    Some(ElsewhereDocument { cover, garden: away.garden.clone(), pieces: away.pieces })
}

/// The document of tonight's list, with the nights after it.
pub fn of_spell(spell: &Spell<'_>) -> ListDocument {
    ListDocument { nights_after: spell.ahead.iter().map(night_document).collect(), ..document(&spell.tonight) }
}

fn night_document(night: &NightAhead<'_>) -> NightDocument {
    let known = night.plan.night.as_ref().ok();
    let work = night.beds.iter().map(|(bed, measure)| WorkDocument { bed: bed.clone(), measure: measure.word() });
    let by_day = night.by_day.iter().map(|by_day| ByDayDocument {
        bed: by_day.bed.clone(),
        cover: by_day.cover.name.clone(),
        advice: by_day.advice.word(),
    });
    NightDocument {
        night: night.plan.of.to_string(),
        screen_minimum_c: known.map(|known| hundredths(known.minimum.mean.0)),
        spread_c: known.map(|known| hundredths(known.minimum.spread.0)),
        complete: known.is_some_and(|known| known.knowledge == Knowledge::Complete),
        work: work.collect(),
        minutes: hundredths(night.minutes.0),
        before_night_minutes: hundredths(night.before_night.0),
        people: night.people,
        counts_on_picking: night.counts_on_picking,
        left: night.plan.count(Measure::Leave),
        unknown: night.plan.count(Measure::Unknown),
        by_day: by_day.collect(),
    }
}

fn outlook_document(plan: &Plan<'_>) -> OutlookDocument {
    let outlook = outlook(plan, plan.of.0);
    let day = |day: &chrono::NaiveDate| day.to_string();
    let coming = |coming: &Coming| ComingDocument {
        bed: coming.bed.clone(),
        crop: coming.crop.clone(),
        not_before: coming.not_before.as_ref().map(day),
    };
    let ready = outlook.ready.iter().map(|ready| ReadyDocument {
        bed: ready.bed.clone(),
        crop: ready.crop.clone(),
        since: ready.since.as_ref().map(day),
        look: match ready.look {
            Look::WhenConvenient => "when-convenient",
            Look::EveryDay => "every-day",
            Look::PastItsBest => "past-its-best",
        },
        if_left: ready.if_left.clone(),
        goes_tonight: ready.goes_tonight,
    });
    let follows = outlook.follows.iter().map(|follows| {
        let (bed, not_before) = match &follows.next {
            Next::ReadyIn(bed) => (Some(bed.clone()), None),
            Next::Comes(coming) => (Some(coming.bed.clone()), coming.not_before.as_ref().map(day)),
            Next::Nothing => (None, None),
        };
        FollowsDocument { crop: follows.crop.clone(), bed, not_before }
    });
    OutlookDocument {
        ready: ready.collect(),
        coming: outlook.coming.iter().map(coming).collect(),
        follows: follows.collect(),
        emptied_tonight: outlook.emptied.is_some(),
    }
}

fn bed_document(bed: &BedPlan<'_>) -> BedDocument {
    let deciding = bed.deciding();
    let first = bed.risk.plantings.first();
    let planting = deciding.map(|(planting, _)| planting).or(first);
    let organ = deciding.map(|(_, organ)| organ);
    let night = bed.risk.night.as_ref();
    BedDocument {
        bed: bed.risk.bed.id.clone(),
        crop: planting.map(|planting| planting.crop.id.clone()),
        stage: planting.map(|planting| planting.stage.name.to_string()),
        measure: bed.measure.word(),
        cover: bed.cover.as_ref().map(|cover| cover.name.clone()),
        cover_layers: bed.cover.as_ref().map(|cover| cover.layers.times()),
        reason: bed.reason.word(),
        do_by: bed.do_by.map(rfc3339),
        screen_minimum_c: night.map(|night| hundredths(night.screen.mean.0)),
        plant_minimum_c: night.map(|night| hundredths(night.tissue.mean.0)),
        spread_c: organ.map(|organ| hundredths(organ.open.minimum.spread.0)),
        chance_of_damage: organ.map(|organ| thousandths(organ.open.chance.0)),
        margin_c: organ.map(|organ| hundredths(organ.open.margin.0)),
        cover_together_with: bed.cover.as_ref().and_then(|cover| cover.together_with.clone()),
        tonight_minutes: hundredths(bed.tonight.0),
        cover_went_to: match &bed.reason {
            Reason::NoCoverLeft { to, .. } => to.clone(),
            _ => None,
        },
        changes_at_soil_c: bed.turning_of_soil().map(|soil| hundredths(soil.0)),
        changes_at: bed.turning.as_ref().map(|turning| TurningDocument {
            screen_minimum_c: hundredths(turning.low.0),
            side: match turning.side {
                Side::Down => "down",
                Side::Up => "up",
            },
            measure: turning.then.word(),
        }),
        picks: bed.picks.iter().map(pick_document).collect(),
        plantings: bed.risk.plantings.iter().map(planting_document).collect(),
    }
}

fn pick_document(pick: &Pick) -> PickDocument {
    PickDocument {
        crop: pick.crop.clone(),
        organ: pick.organ.word(),
        instruction: pick.instruction.clone(),
        plants: pick.plants,
        minutes: hundredths(pick.work.0),
        keeps: pick.keeps.word(),
    }
}

fn planting_document(planting: &PlantingRisk<'_>) -> PlantingDocument {
    let organ: Option<&OrganRisk<'_>> = planting.deciding();
    PlantingDocument {
        crop: planting.crop.id.clone(),
        stage: planting.stage.name.to_string(),
        stage_from: planting.stage.from.word(),
        worth_minutes: hundredths(planting.worth.0),
        worth_from: planting.whole_worth.from.word(),
        hardening: hundredths(planting.hardening.degree),
        hardening_from: planting.hardening.from.word(),
        organ: organ.map(|organ| organ.tolerance.organ.word()),
        harm: organ.map(|organ| organ.tolerance.harm.word()),
        frame: organ.map(|organ| organ.tolerance.frame.word()),
        damage_begins_c: organ.map(|organ| hundredths(organ.damage_begins.0)),
        expected_c: organ.map(|organ| hundredths(organ.open.minimum.mean.0)),
        chance_of_damage: organ.map(|organ| thousandths(organ.open.chance.0)),
        margin_c: organ.map(|organ| hundredths(organ.open.margin.0)),
        hours_below: organ.map(|organ| hundredths(organ.open.hours_below)),
        own_figures: organ.map_or(Vec::new(), |organ| organ.applied.own.iter().map(|figure| figure.word()).collect()),
    }
}

fn rfc3339(instant: DateTime<Utc>) -> String {
    instant.to_rfc3339_opts(SecondsFormat::Secs, true)
}

fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}
