use super::*;
use crate::beds::Applied;
use crate::beds::sample::{bed, garden};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, Tolerance};
use crate::night::Estimate;
use crate::risk::{Outcome, assess};
use crate::units::{Kelvins, Probability};
use crate::zone::NightOf;
use chrono::NaiveDate;

const PODS: &str = "Pick the pods.";
const HEADS: &str = "Cut the heads.";
const LEAVES: &str = "Cut the leaves.";
const ROOTS: &str = "Lift the roots.";

fn catalogue() -> Catalogue {
    let mut turnip = crop(
        "turnip",
        HarvestHabit::RootAsWanted,
        Life::Biennial,
        &[(Organ::Root, 0.7, Some(ROOTS)), (Organ::Leaf, 0.3, Some(LEAVES))],
    );
    turnip.tolerances[0].frame = Frame::Soil;
    let mut sweet = crop("sweet potato", HarvestHabit::Whole, Life::Annual, &[(Organ::Root, 1.0, Some(ROOTS))]);
    (sweet.tolerances[0].frame, sweet.tolerances[0].harm) = (Frame::Soil, Harm::Chilling);
    let mut pea =
        crop("pea", HarvestHabit::Pods, Life::Annual, &[(Organ::Leaf, 0.3, None), (Organ::Pod, 0.7, Some(PODS))]);
    pea.tolerances[0].damage_begins = Celsius(-3.0);
    let bean = crop("bean", HarvestHabit::Pods, Life::Annual, &[(Organ::Leaf, 1.0, Some(PODS))]);
    let broccoli = crop(
        "broccoli",
        HarvestHabit::CentralThenSideShoots,
        Life::Biennial,
        &[(Organ::Leaf, 0.3, None), (Organ::Head, 0.7, Some(HEADS))],
    );
    let chard = crop("chard", HarvestHabit::CutAndComeAgain, Life::Biennial, &[(Organ::Leaf, 1.0, Some(LEAVES))]);
    let crops = [turnip, sweet, pea, bean, broccoli, chard].map(|crop| (crop.id.clone(), crop));
    Catalogue { crops: crops.into(), ..Catalogue::default() }
}

/// A raised bed of 2.88 m² of these crops; every part has the chance, and the soil lies so far above its threshold.
fn with<T>(crops: &[&str], chance: f64, soil_margin: f64, judge: impl Fn(&BedRisk<'_>) -> T) -> T {
    let named: Vec<(&str, &str)> = crops.iter().map(|crop| (*crop, "grown")).collect();
    let (garden, catalogue) = (garden(vec![bed("R1", &named)], Vec::new()), catalogue());
    let mut risks = assess(&garden, NightOf(NaiveDate::default()), None, &catalogue);
    for planting in &mut risks[0].plantings {
        let organ = |tolerance| organ(tolerance, chance, soil_margin);
        planting.organs = planting.crop.at_stage("grown").map(organ).collect();
    }
    judge(&risks[0])
}

fn organ(tolerance: &Tolerance, chance: f64, soil_margin: f64) -> OrganRisk<'_> {
    let margin = Kelvins(if tolerance.frame == Frame::Soil { soil_margin } else { 0.0 });
    let open = Outcome {
        minimum: Estimate { mean: tolerance.damage_begins + margin, spread: Kelvins(1.0) },
        margin,
        chance: Probability(chance),
        hours_below: 0.0,
        hours_before: 0.0,
        relief: Kelvins(0.0),
    };
    let applied = Applied::published(tolerance);
    let (damage_begins, severe) = (tolerance.damage_begins, tolerance.severe);
    OrganRisk { tolerance, applied, damage_begins, severe, open, covered: Vec::new(), roofed: None }
}

#[test]
fn pods_come_before_heads_heads_before_leaves_and_roots_last() {
    let order = |crops: &[&str]| {
        with(crops, 0.5, -1.0, |risk| picks(risk).iter().map(|pick| pick.organ).collect::<Vec<Organ>>())
    };
    let all = [Organ::Pod, Organ::Head, Organ::Leaf, Organ::Leaf, Organ::Root];
    assert_eq!(order(&["turnip", "chard", "broccoli", "pea"]), all);
    assert_eq!(order(&["pea", "broccoli", "chard", "turnip"]), all);
}

#[test]
fn what_stays_follows_from_how_a_crop_is_taken() {
    for (crop, expected) in [
        ("broccoli", Keeps::Plant),
        ("chard", Keeps::Crown),
        ("pea", Keeps::Plant),
        // Its leaves are what freezes: the plant dies.
        ("bean", Keeps::Nothing),
    ] {
        assert_eq!(with(&[crop], 0.5, -1.0, |risk| picks(risk)[0].keeps), expected, "{crop}");
    }
}

#[test]
fn roots_stay_while_the_soil_is_warmer_than_their_threshold() {
    let of_roots =
        |soil: f64| with(&["turnip"], 0.3, soil, |risk| picks(risk).iter().any(|pick| pick.organ == Organ::Root));
    assert!(!of_roots(0.1));
    assert!(of_roots(0.0));
    // The greens are in danger as well: it is not only the soil's business.
    assert!(with(&["turnip"], 0.05, 0.1, |risk| soil_keeps(risk, Caution::Even).is_none()), "nothing is in danger");
    assert!(with(&["broccoli"], 0.3, 0.1, |risk| soil_keeps(risk, Caution::Even).is_none()), "heads are in no soil");
}

#[test]
fn roots_that_cold_soil_breaks_down_are_dug_however_small_the_chance_in_one_night() {
    assert!(with(&["sweet potato"], 0.0, 0.5, |risk| soil_too_cold(risk).is_none()));
    let reason = with(&["sweet potato"], 0.0, -0.5, soil_too_cold).map(|reason| reason.word());
    assert_eq!(reason, Some("soil-too-cold"));
    // Soil at a freezing point is another matter.
    assert!(with(&["turnip"], 0.5, -0.5, |risk| soil_too_cold(risk).is_none()));
}

/// 2.88 m² with 0.3 m a plant are 32 plants of half a minute; leaves take 3 minutes a square metre, digging 6.
#[test]
fn the_work_follows_from_plants_or_from_area() {
    let works = |crops: &[&str]| {
        with(crops, 0.5, -1.0, |risk| {
            picks(risk).iter().map(|pick| (pick.plants, (pick.work.0 * 100.0).round() / 100.0)).collect::<Vec<_>>()
        })
    };
    assert_eq!(works(&["broccoli"]), [(Some(32), 16.0)]);
    assert_eq!(works(&["chard"]), [(None, 8.64)]);
    assert_eq!(works(&["turnip"]), [(None, 8.64), (None, 17.28)]);
    // Two plantings of one crop are one instruction.
    assert_eq!(works(&["broccoli", "broccoli"]), [(Some(32), 16.0)]);
    // Only what is picked counts.
    let half = with(&["broccoli", "turnip"], 0.5, 1.0, |risk| work(risk).0);
    assert!((half - (8.0 + 4.32)).abs() < 1e-9, "{half}");
}

#[test]
fn plants_that_were_counted_are_believed() {
    let (mut garden, catalogue) = (garden(vec![bed("R1", &[("broccoli", "grown")])], Vec::new()), catalogue());
    garden.beds[0].plantings[0].plants = Some(8);
    let mut risks = assess(&garden, NightOf(NaiveDate::default()), None, &catalogue);
    let planting = &mut risks[0].plantings[0];
    planting.organs = planting.crop.at_stage("grown").map(|tolerance| organ(tolerance, 0.5, 0.0)).collect();
    let picks = picks(&risks[0]);
    assert_eq!((picks[0].plants, picks[0].work.0), (Some(8), 4.0));
}

#[test]
fn of_several_sowings_those_to_pick_are_named_where_others_stay() {
    let of = |chances: [f64; 2], apart: [Option<&str>; 2]| {
        with(&["chard", "chard"], 0.9, 0.0, |risk| {
            let mut risk = risk.clone();
            for ((planting, chance), apart) in risk.plantings.iter_mut().zip(chances).zip(apart) {
                planting.organs[0].open.chance = Probability(chance);
                planting.told_apart = apart.map(str::to_string);
            }
            let picks = picks(&risk);
            let is_of = risk.plantings.iter().map(|one| picks.iter().any(|pick| pick.is_of(one))).collect::<Vec<_>>();
            (picks.into_iter().flat_map(|pick| pick.sowings).collect::<Vec<_>>(), is_of)
        })
    };
    let named = [Some("Lucullus"), Some("sown 12 September")];
    assert_eq!(of([0.9, 0.0], named), (vec!["Lucullus".into()], vec![true, false]));
    assert_eq!(of([0.0, 0.9], named), (vec!["sown 12 September".into()], vec![false, true]));
    assert_eq!(of([0.9, 0.9], named), (vec![], vec![true, true]));
    // What nothing tells apart is picked with the rest, rather than forgotten.
    assert_eq!(of([0.0, 0.9], [Some("Lucullus"), None]), (vec![], vec![true, true]));
}
