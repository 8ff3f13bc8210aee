//! Lists beside the rules that people use, on nights of past records: `cargo bench --bench rules -- DIR`.
//!
//! `DIR` as `stations.rs` says. The garden is the demo's: fourteen beds, twenty-seven plantings or so, five covers, three people of
//! thirty minutes. Each night is foretold from its evening with sky and wind known, by coefficients fitted without its
//! station; every rule is given that same low, the list its spread too. What came is the same night at its observed low.
//! Damage and what covers gain are those of the program, so this tells how decisions compare, not how gardens fare.

mod stations;

use chrono::{Datelike, Duration};
use counterpane::beds::{BedKind, Garden};
use counterpane::crops::Catalogue;
use counterpane::night::Night;
use counterpane::night::cover::{Cover, Layers};
use counterpane::night::dusk::taught_for_a_score;
use counterpane::plan::aftermath::{loss_left, picking, walking};
use counterpane::plan::{
    Before, CARRY_PER_POT, HARD_TO_HANDLE, Measure, TOO_WINDY, WIND_FACTOR, cover_minutes, decide,
};
use counterpane::replay::garden::{as_it_stands, night_of_record, with_low};
use counterpane::replay::{foretell, past_nights};
use counterpane::risk::{BedRisk, assess, pieces_for};
use counterpane::service::files::demo;
use counterpane::settings::settings;
use counterpane::units::{Celsius, Kelvins};
use counterpane::zone::NightOf;
use stations::{Record, records};
use std::collections::BTreeMap;
use std::path::Path;

const NAMES: [&str; 7] = [
    "nothing, ever",
    "cover all below 0 C",
    "cover by crop class",
    "2 C margin",
    "2 C margin, and pick what no cover is left for",
    "the list",
    "the list, were the low known",
];
/// Of the rules that people use.
const SIMPLE: std::ops::Range<usize> = 0..5;

/// What one rule does at one bed.
type Done = (Measure, Option<Cover>);

fn main() {
    let Some(folder) = std::env::args().skip(1).find(|argument| !argument.starts_with("--")) else {
        println!("no folder of station records was given; nothing to compare");
        return;
    };
    let all = settings(&demo()).unwrap_or_else(|_| panic!("the demo is sound"));
    let catalogue = &all.catalogue;
    let mut garden = all.gardens[0].garden.clone();
    let demo_night = NightOf("2027-01-16".parse().expect("a date"));
    garden = as_it_stands(&garden, catalogue, demo_night);
    // Of each rule, for every month of every station: worth lost, minutes spent, nights.
    let mut blocks: BTreeMap<(String, i32, u32), Block> = BTreeMap::new();
    for Record { name, site, zone, hours } in records(Path::new(&folder)) {
        (garden.site, garden.zone) = (site, zone.clone());
        let nights = past_nights(&hours.hours, &site, &zone);
        let (taught, _) = taught_for_a_score(&site);
        let foretold = foretell(&nights, taught, true);
        let mut used = 0;
        for night in foretold {
            let Some(known) = night_of_record(&hours, &site, &zone, night.of) else { continue };
            let at = |low: Celsius, spread: f64| with_low(&known, low, Kelvins(spread));
            let (expected, came) = (at(night.low.median(), night.low.spread.0), at(night.observed, 0.05));
            let found = outcomes(&garden, catalogue, &expected, &came);
            let block = blocks.entry((name.clone(), night.of.0.year(), night.of.0.month())).or_default();
            for (sum, (lost, spent)) in block.0.iter_mut().zip(found) {
                (sum.0, sum.1) = (sum.0 + lost, sum.1 + spent);
            }
            block.1 += 1.0;
            used += 1;
        }
        println!("{name}: {used} nights");
    }
    table(&blocks.into_values().collect::<Vec<_>>());
}

fn outcomes(garden: &Garden, catalogue: &Catalogue, expected: &Night, came: &Night) -> [(f64, f64); NAMES.len()] {
    let of = expected.of;
    let truth = assess(garden, of, Some(came), catalogue);
    let planned = assess(garden, of, Some(expected), catalogue);
    let judged = |planned: &[BedRisk<'_>], done: &[Done], spent: f64| -> (f64, f64) {
        let beds = planned.iter().zip(done).zip(&truth);
        (beds.map(|((planned, (measure, cover)), came)| loss_left(planned, *measure, *cover, came).0).sum(), spent)
    };
    let mut found = [(0.0, 0.0); NAMES.len()];
    for (index, found) in found.iter_mut().enumerate() {
        *found = if SIMPLE.contains(&index) {
            let (done, spent) = simple(index, garden, &planned, expected);
            judged(&planned, &done, spent)
        } else {
            let night = if index == 5 { expected } else { came };
            let risks = assess(garden, of, Some(night), catalogue);
            let now = night.sunset - Duration::hours(4);
            let plan = decide(garden, of, night.sunset, Ok(night.clone()), risks, Before::default(), now);
            let cover = |bed: &counterpane::plan::BedPlan<'_>| {
                let used = bed.cover.as_ref()?;
                Some(garden.covers[used.stock].cover(used.layers))
            };
            let done: Vec<Done> = plan.beds.iter().map(|bed| (bed.measure, cover(bed))).collect();
            let spent = plan.work().0;
            let planned: Vec<BedRisk<'_>> = plan.beds.iter().map(|bed| bed.risk.clone()).collect();
            judged(&planned, &done, spent)
        };
    }
    found
}

/// What a rule does, bed by bed in its own order while covers and people last, and the minutes that it takes, with walking
/// and fetching as the list counts them.
fn simple(rule: usize, garden: &Garden, risks: &[BedRisk<'_>], night: &Night) -> (Vec<Done>, f64) {
    let low = night.minimum.mean.0;
    let begins = |risk: &BedRisk<'_>| {
        let tenderest = risk.plantings.iter().filter_map(|planting| planting.tenderest());
        tenderest.map(|(_, begins)| begins.0).fold(f64::NEG_INFINITY, f64::max)
    };
    let acts = |risk: &BedRisk<'_>| match rule {
        1 => low < 0.0,
        // Tender, half-hardy and hardy, as gardeners sort crops (common practice).
        2 => {
            low < if begins(risk) > -2.2 {
                0.0
            } else if begins(risk) > -5.0 {
                -2.2
            } else {
                -5.0
            }
        }
        3 | 4 => low <= begins(risk) + 2.0,
        _ => false,
    };
    let mut order: Vec<usize> = (0..risks.len()).filter(|index| acts(&risks[*index])).collect();
    if rule > 1 {
        order.sort_by(|a, b| begins(&risks[*b]).total_cmp(&begins(&risks[*a])));
    }
    let mut left: Vec<u32> = garden.covers.iter().map(|stock| stock.count).collect();
    let mut minutes = garden.crew.map_or(f64::INFINITY, |crew| crew.person_minutes().0);
    let winds = night.winds();
    let wind = winds.laying.0.max(winds.at_the_low.0);
    let stretch = if winds.laying.0 > HARD_TO_HANDLE { WIND_FACTOR } else { 1.0 };
    let (mut done, mut spent): (Vec<Done>, f64) = (vec![(Measure::Leave, None); risks.len()], 0.0);
    for index in order {
        let risk = &risks[index];
        // What this bed adds to the walking.
        let so_far: Vec<(Measure, bool)> = done.iter().map(|(measure, cover)| (*measure, cover.is_some())).collect();
        let walk = |measure: Measure, has_cover: bool| {
            walking(so_far.iter().copied().chain([(measure, has_cover)])).0 - walking(so_far.iter().copied()).0
        };
        if let BedKind::Containers { count, movable: true, .. } = risk.bed.kind {
            let (one_way, walk) = (CARRY_PER_POT * f64::from(count), walk(Measure::BringIn, false));
            if one_way + walk <= minutes {
                (minutes, spent) = (minutes - one_way - walk, spent + 2.0 * one_way + walk);
                done[index].0 = Measure::BringIn;
            }
            continue;
        }
        let walk_to_cover = walk(Measure::Cover, true);
        let laid = garden.covers.iter().enumerate().find_map(|(at, stock)| {
            let pieces = pieces_for(risk.bed, stock);
            let (lay, take_off) = cover_minutes(risk.bed.area(), pieces, Layers::One.times());
            let (tonight, tomorrow) = (lay * stretch + walk_to_cover, take_off * stretch);
            (wind <= TOO_WINDY && pieces <= left[at] && tonight <= minutes).then_some((at, pieces, tonight, tomorrow))
        });
        let work = picking(risk).0;
        let with_walk = work + walk(Measure::Harvest, false);
        if let Some((at, pieces, tonight, tomorrow)) = laid {
            left[at] -= pieces;
            (minutes, spent) = (minutes - tonight, spent + tonight + tomorrow);
            done[index] = (Measure::Cover, Some(garden.covers[at].cover(Layers::One)));
        } else if rule == 4 && work > 0.0 && with_walk <= minutes {
            (minutes, spent, done[index].0) = (minutes - with_walk, spent + with_walk, Measure::Harvest);
        }
    }
    (done, spent)
}

/// Worth lost and minutes spent of each rule, and the nights.
type Block = ([(f64, f64); NAMES.len()], f64);

fn table(blocks: &[Block]) {
    let per_hundred = |drawn: &[&Block], of: &dyn Fn(&Block) -> f64| {
        100.0 * drawn.iter().map(|block| of(block)).sum::<f64>() / drawn.iter().map(|block| block.1).sum::<f64>()
    };
    let whole: Vec<&Block> = blocks.iter().collect();
    let total = |rule: usize| move |block: &Block| block.0[rule].0 + block.0[rule].1;
    // SplitMix64, as of `score::resample`; the same draws for every rule.
    let mut state = 7_u64;
    let mut next = || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    };
    let draws: Vec<Vec<&Block>> =
        (0..2_000).map(|_| blocks.iter().map(|_| &blocks[(next() % blocks.len() as u64) as usize]).collect()).collect();
    let interval = |of: &dyn Fn(&[&Block]) -> f64| {
        let mut values: Vec<f64> = draws.iter().map(|drawn| of(drawn)).collect();
        values.sort_by(f64::total_cmp);
        (values[50], values[1_949])
    };
    let nights: f64 = blocks.iter().map(|block| block.1).sum();
    println!("\n{nights} nights, {} months. Person-minutes per 100 nights, [95 %, months drawn anew]:", blocks.len());
    println!("{:<48}{:>9}{:>9}{:>9}", "", "lost", "spent", "both");
    for (rule, name) in NAMES.iter().enumerate() {
        let (lost, spent) =
            (per_hundred(&whole, &|block| block.0[rule].0), per_hundred(&whole, &|block| block.0[rule].1));
        let (low, high) = interval(&|drawn| per_hundred(drawn, &total(rule)));
        println!("{name:<48}{lost:>9.0}{spent:>9.0}{:>9.0}  [{low:.0}, {high:.0}]", lost + spent);
    }
    let best = SIMPLE.min_by(|a, b| per_hundred(&whole, &total(*a)).total_cmp(&per_hundred(&whole, &total(*b))));
    let best = best.expect("a rule");
    let change = |drawn: &[&Block]| 100.0 * (per_hundred(drawn, &total(5)) / per_hundred(drawn, &total(best)) - 1.0);
    let (low, high) = interval(&change);
    println!("The list beside \"{}\": {:+.1} % [{low:.1}, {high:.1}]", NAMES[best], change(&whole));
}
