use super::*;
use crate::beds::sample;
use crate::crops::sample::{crop, staged};
use crate::crops::{Crop, Organ, PastBest};
use crate::units::Minutes;
use CountedFrom::{Division, Seed, Transplant};

fn night() -> NightOf {
    NightOf("2027-01-16".parse().expect("a date"))
}

fn lettuce() -> Crop {
    let parts = [("seedling", -1.1), ("transplant", -1.1), ("leafy", -2.0), ("heading", -2.2)];
    staged("lettuce", &parts, Some((70, 90)), Seed)
}

fn broccoli() -> Crop {
    let parts = [("seedling", -2.2), ("transplant", -2.2), ("leafy", -4.0), ("heading", -2.0)];
    staged("broccoli", &parts, Some((50, 70)), Transplant)
}

fn radish() -> Crop {
    staged("radish", &[("seedling", -1.0), ("leafy", -2.0), ("rooting", -2.0)], Some((21, 35)), Seed)
}

fn cabbage() -> Crop {
    staged("cabbage", &[("transplant", -2.0), ("leafy", -4.0), ("heading", -4.0)], Some((70, 90)), Transplant)
}

fn garlic() -> Crop {
    staged("garlic", &[("dormant", -9.0), ("leafy", -7.0), ("bulbing", -7.0)], Some((240, 270)), Division)
}

fn perennial(harvested: HarvestHabit, counted_from: CountedFrom) -> Crop {
    let mut bush = crop("bush", harvested, Life::Perennial, &[(Organ::Leaf, 1.0, None)]);
    bush.stages = vec!["transplant".into(), "established".into()];
    bush.growing.counted_from = counted_from;
    bush
}

/// A planting on a whole bed of 2.88 m², where a square metre is worth 20 minutes.
fn with(crop: &Crop, stage: &str, days: Option<i64>, change: impl Fn(&mut Garden, &mut Planting)) -> Worth {
    let mut bed = sample::bed("B", &[(&crop.id, stage)]);
    let mut planting = bed.plantings.remove(0);
    planting.stage = Some(stage.to_string()).filter(|stage| !stage.is_empty());
    planting.planted = days.map(|days| night().0 - chrono::Duration::days(days));
    let mut garden = sample::garden(Vec::new(), Vec::new());
    change(&mut garden, &mut planting);
    worth(&garden, &bed, &planting, crop, night())
}

fn minutes(crop: &Crop, stage: &str, days: Option<i64>) -> f64 {
    with(crop, stage, days, |_, _| ()).minutes.0
}

fn factor(crop: &Crop, stage: &str, days: Option<i64>) -> f64 {
    minutes(crop, stage, days) / 57.6
}

#[test]
fn lettuce_ready_to_cut_is_worth_its_ground() {
    let leaf = staged("leaf", &[("seedling", -1.1), ("leafy", -2.0)], Some((45, 60)), Seed);
    assert!((minutes(&leaf, "leafy", None) - 57.6).abs() < 1e-9);
    // Of what no table has the days of nobody knows better.
    let unknown = staged("unknown", &[("leafy", -2.0)], None, Seed);
    assert!((minutes(&unknown, "leafy", None) - 57.6).abs() < 1e-9);
    assert_eq!(with(&unknown, "leafy", None, |_, _| ()).from.word(), "reckoned");
}

/// Days by hand: lettuce takes 80 from seed, so that a seedling (0.1 to 1/3) has 17.3; broccoli 35 in the nursery and 60
/// after, so that one newly set has 35 to 49 and a head all 95; cabbage 115, radish 28, garlic 255.
#[test]
fn each_crop_in_each_stage_is_worth_what_a_gardener_would_say() {
    let of_days = |days: f64| 0.5 + days / 105.0;
    for (crop, stage, days, expected) in [
        (lettuce(), "seedling", None, of_days((8.0 + 80.0 / 3.0) / 2.0)),
        (lettuce(), "heading", None, of_days(80.0)),
        (broccoli(), "seedling", None, of_days((9.5 + 95.0 / 3.0) / 2.0)),
        (broccoli(), "transplant", None, of_days(42.0)),
        (broccoli(), "leafy", None, of_days(55.0)),
        (broccoli(), "heading", None, of_days(95.0)),
        // The date says where in its stage it is, and never more than the stage, nor less.
        (broccoli(), "transplant", Some(3), of_days(38.0)),
        (broccoli(), "transplant", Some(60), of_days(49.0)),
        (broccoli(), "heading", Some(5), of_days(75.0)),
        (broccoli(), "heading", Some(50), of_days(85.0)),
        (broccoli(), "heading", Some(126), of_days(95.0)),
        // The date alone; a date still to come is the day of setting out.
        (broccoli(), "", Some(20), of_days(55.0)),
        (broccoli(), "", Some(-9), of_days(35.0)),
        (lettuce(), "", Some(62), of_days(62.0)),
        (radish(), "rooting", None, of_days(28.0)),
        (cabbage(), "heading", None, of_days(115.0)),
        (garlic(), "dormant", None, 0.5),
        (garlic(), "leafy", Some(90), of_days(90.0)),
        (garlic(), "bulbing", None, 2.0),
        (perennial(HarvestHabit::Snip, Transplant), "transplant", Some(900), 1.5),
        (perennial(HarvestHabit::Snip, Transplant), "established", Some(0), 1.5),
        (perennial(HarvestHabit::Snip, Transplant), "established", None, 3.0),
        (perennial(HarvestHabit::Snip, Division), "established", None, 2.0),
        (perennial(HarvestHabit::Snip, Division), "established", Some(0), 1.0),
        (perennial(HarvestHabit::CutAndComeAgain, Division), "established", None, 3.0),
        (perennial(HarvestHabit::Fruit, Transplant), "established", None, 4.0),
    ] {
        let found = factor(&crop, stage, days);
        assert!((found - expected).abs() < 1e-9, "{} {stage} {days:?}: {found}, not {expected}", crop.id);
    }
    assert!(factor(&radish(), "rooting", None) < factor(&cabbage(), "heading", None));
    // Half a year in the nursery and one in its place.
    let bush = factor(&perennial(HarvestHabit::Snip, Transplant), "established", Some(365));
    assert!((bush - (1.5 + 365.0 / 365.25)).abs() < 1e-9);
}

#[test]
fn a_plant_set_out_brings_the_days_of_its_nursery_with_it() {
    let set_out = with(&lettuce(), "", Some(10), |_, planting| planting.start = Some(Transplant));
    let WorthFrom::Reckoned { grown: Grown::Days { grown, in_all }, .. } = set_out.from else { panic!("{set_out:?}") };
    // 35 to 62 of its 70 to 90 days are left.
    assert_eq!((grown, in_all), (80.0 - 48.5 + 10.0, 80.0));
}

#[test]
fn the_managers_word_wins_and_zero_stays_zero() {
    let own = with(&lettuce(), "seedling", None, |garden, planting| {
        garden.worth_per_square_metre = Minutes(0.0);
        planting.worth = Some(Minutes(7.5));
    });
    assert_eq!(own, Worth { minutes: Minutes(7.5), from: WorthFrom::Manager });
    let mut garden = sample::garden(Vec::new(), Vec::new());
    let mut pots = sample::bed("P", &[("bush", "established")]);
    pots.kind = BedKind::Containers { diameter: 0.3, count: 4, movable: true };
    (pots.length, pots.width) = (1.2, 0.3);
    let bush = perennial(HarvestHabit::Snip, Transplant);
    let of = |garden: &Garden| worth(garden, &pots, &pots.plantings[0], &bush, night()).minutes.0;
    // Four times 0.6 m², not 0.36 m².
    assert!((of(&garden) - 20.0 * 2.4 * 3.0).abs() < 1e-9);
    garden.worth_per_square_metre = Minutes(0.0);
    assert_eq!(of(&garden), 0.0);
}

#[test]
fn what_is_past_its_best_is_worth_half() {
    let mut turnip = radish();
    turnip.harvest.past_best = Some(PastBest { days: 10, what: "turns woody".into() });
    // Ripe after 35 days at most, good for ten more; November to February count for nothing.
    let dark = 76;
    let ripe = factor(&turnip, "rooting", Some(dark + 45));
    assert!((ripe - (0.5 + 28.0 / 105.0)).abs() < 1e-9, "{ripe}");
    assert!((factor(&turnip, "rooting", Some(dark + 46)) - ripe / 2.0).abs() < 1e-9);
    assert!((factor(&turnip, "rooting", None) - ripe).abs() < 1e-9);
}

/// Every crop, stage and date, however odd: within its bounds, never less for a day more.
#[test]
fn more_days_are_never_worth_less() {
    let crops = [lettuce(), broccoli(), radish(), cabbage(), garlic(), perennial(HarvestHabit::Fruit, Transplant)];
    for crop in &crops {
        let named = crop.stages.iter().map(String::as_str);
        for stage in named.chain([""]) {
            for start in [Seed, Transplant, Division] {
                for own in [None, Some((1, 1)), Some((1, 365)), Some((365, 365))] {
                    let mut last = 0.0;
                    for days in [-400, -1, 0, 1, 2, 5, 9, 13, 14, 15, 30, 55, 80, 120, 200, 366, 900, 40_000] {
                        let found = with(crop, stage, Some(days), |garden, planting| {
                            planting.start = Some(start);
                            garden.own_figures.extend(own.map(|days| crate::beds::OwnFigures {
                                crop: crop.id.clone(),
                                days_to_maturity: Some(days),
                                ..Default::default()
                            }));
                        });
                        let found = found.minutes.0 / 57.6;
                        let what = format!("{} {stage} {start:?} {own:?} {days}: {found}", crop.id);
                        assert!((0.5 - 1e-9..=4.0 + 1e-9).contains(&found) && found >= last - 1e-9, "{what}");
                        last = found;
                    }
                }
            }
        }
    }
}
