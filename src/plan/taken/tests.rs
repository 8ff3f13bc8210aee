use super::*;
use crate::beds::sample::{bed, garden};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, Life, Organ};
use crate::risk::assess;
use How::{Gone, Resown, Spoilt};

const PICK: Option<&str> = Some("Pick it.");

fn catalogue() -> Catalogue {
    use HarvestHabit::{CentralThenSideShoots, CutAndComeAgain, RootAsWanted, Whole};
    let crops = [
        crop("cabbage", Whole, Life::Biennial, &[(Organ::Head, 1.0, PICK)]),
        crop("broccoli", CentralThenSideShoots, Life::Biennial, &[(Organ::Leaf, 0.3, None), (Organ::Head, 0.7, PICK)]),
        crop("chard", CutAndComeAgain, Life::Biennial, &[(Organ::Leaf, 1.0, PICK)]),
        crop("carrot", RootAsWanted, Life::Biennial, &[(Organ::Leaf, 0.1, None), (Organ::Root, 0.9, PICK)]),
        crop("asparagus", CutAndComeAgain, Life::Perennial, &[(Organ::Leaf, 0.9, PICK), (Organ::Crown, 0.1, None)]),
        crop("seedlings", Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]),
    ];
    Catalogue { crops: crops.map(|crop| (crop.id.clone(), crop)).into(), ..Catalogue::default() }
}

fn day(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 1, day).expect("a date")
}

fn taken(crop: &str, on: u32, how: How) -> Taken {
    Taken { bed: "R1".into(), crop: Some(crop.into()), sowing: None, on: day(on), stood_on: day(on), how }
}

fn asked(amount: Picked) -> How {
    How::Picked { amount, asked: true }
}

fn unasked(amount: Picked) -> How {
    How::Picked { amount, asked: false }
}

/// What is left of a bed of 2.88 m² with one crop, which has room for 32 plants, on the night of a day; its worth is 57.6.
/// `None` where nothing stands.
fn left_of(crop: &str, plants: Option<u32>, entries: &[Taken], night: u32) -> Option<(f64, f64, f64)> {
    let (mut garden, catalogue) = (garden(vec![bed("R1", &[(crop, "grown")])], Vec::new()), catalogue());
    garden.beds[0].plantings[0].plants = plants;
    let of = NightOf(day(night));
    let mut risks = assess(&garden, of, None, &catalogue);
    apply(&mut risks, entries, of);
    assert_eq!(risks[0].is_picked(), risks[0].plantings.first().is_none_or(|one| one.left != Left::ALL));
    let round = |value: f64| (value * 100.0).round() / 100.0;
    let left = |one: &PlantingRisk<'_>| (round(one.worth.0), round(one.left.to_pick), round(one.left.of_picked));
    risks[0].plantings.first().map(left)
}

use Picked::{Pieces, Weight};

#[test]
fn what_is_picked_whole_is_gone_and_what_grows_on_keeps_the_rest() {
    let all = Some((57.6, 1.0, 1.0));
    for (crop, how, expected) in [
        // A weight says nothing of how many heads are left.
        ("cabbage", asked(Weight(9000.0)), all),
        ("carrot", asked(Weight(9000.0)), None),
        // The head is cut, and the side shoots follow.
        ("broccoli", asked(Pieces(32)), Some((57.6, 0.0, 0.0))),
        // Half of its leaves are still to come.
        ("chard", asked(Weight(2000.0)), Some((57.6, 0.0, 0.5))),
        // A weight that nobody had asked for, however large, and one that is a meal.
        ("carrot", unasked(Weight(9000.0)), all),
        ("broccoli", unasked(Weight(500.0)), all),
        ("carrot", asked(Weight(250.0)), all),
        ("carrot", asked(Pieces(3)), all),
        ("carrot", unasked(Pieces(30)), all),
        // Heads that are counted, asked for or not.
        ("cabbage", unasked(Pieces(8)), Some((43.2, 1.0, 1.0))),
        ("broccoli", unasked(Pieces(8)), Some((57.6, 0.75, 0.75))),
        ("cabbage", asked(Pieces(8)), Some((43.2, 1.0, 1.0))),
        // Nobody has counted the plants: fewer grow there than there is room for.
        ("cabbage", asked(Pieces(16)), None),
        ("cabbage", unasked(Pieces(16)), Some((28.8, 1.0, 1.0))),
        ("cabbage", unasked(Pieces(32)), None),
        // Of something that is not picked at all.
        ("seedlings", asked(Weight(900.0)), all),
        ("chard", Gone, None),
        ("chard", Spoilt(0.5), Some((57.6, 0.5, 0.75))),
        ("cabbage", Spoilt(1.0), None),
    ] {
        assert_eq!(left_of(crop, None, &[taken(crop, 16, how)], 17), expected, "{crop} {how:?}");
    }
    // Plants that were counted are believed.
    assert_eq!(left_of("cabbage", Some(20), &[taken("cabbage", 16, asked(Pieces(16)))], 17), Some((11.52, 1.0, 1.0)));
    assert_eq!(left_of("cabbage", Some(20), &[taken("cabbage", 16, asked(Pieces(20)))], 17), None);
}

#[test]
fn days_and_other_entries_count() {
    let cut = |on| taken("chard", on, asked(Weight(2000.0)));
    assert_eq!(left_of("chard", None, &[cut(9)], 23), Some((57.6, 0.0, 0.5)));
    assert_eq!(left_of("chard", None, &[cut(8)], 23), Some((57.6, 1.0, 1.0)), "it has grown again");
    let spears = |on| taken("asparagus", on, asked(Weight(500.0)));
    assert_eq!(left_of("asparagus", None, &[spears(20)], 23).map(|left| left.1), Some(0.0));
    assert_eq!(left_of("asparagus", None, &[spears(19)], 23).map(|left| left.1), Some(1.0), "spears come in days");
    let head = taken("broccoli", 1, asked(Pieces(32)));
    assert_eq!(left_of("broccoli", None, &[head], 31), Some((57.6, 0.0, 0.0)), "a central head comes once");
    let eight = |on| taken("cabbage", on, unasked(Pieces(8)));
    assert_eq!(left_of("cabbage", None, &[eight(3), eight(5), eight(9)], 17), Some((14.4, 1.0, 1.0)));
    // What is written of a later day, or of another planting, does not count yet, or any more.
    assert_eq!(left_of("cabbage", None, &[eight(18)], 17), Some((57.6, 1.0, 1.0)));
    let again = [taken("cabbage", 3, Gone), taken("cabbage", 5, Resown)];
    assert_eq!(left_of("cabbage", None, &again, 17), Some((57.6, 1.0, 1.0)));
    let of_old =
        Taken { on: day(17) - Duration::days(91), stood_on: day(17) - Duration::days(91), ..taken("cabbage", 1, Gone) };
    assert_eq!(left_of("cabbage", None, &[of_old], 17), Some((57.6, 1.0, 1.0)));
    // A report that names no crop is of all that grows there; one of another bed of none.
    assert_eq!(left_of("cabbage", None, &[Taken { crop: None, ..taken("", 3, Gone) }], 17), None);
    assert_eq!(
        left_of("cabbage", None, &[Taken { bed: "R2".into(), ..taken("cabbage", 3, Gone) }], 17),
        Some((57.6, 1.0, 1.0))
    );
}

#[test]
fn what_was_planted_since_is_another_planting() {
    let (mut garden, catalogue) = (garden(vec![bed("R1", &[("cabbage", "grown"); 2])], Vec::new()), catalogue());
    garden.beds[0].plantings[1].planted = Some(day(10));
    let of = NightOf(day(17));
    let mut risks = assess(&garden, of, None, &catalogue);
    // Sixteen plants have room in each half, and eight of the first are cut.
    apply(&mut risks, &[taken("cabbage", 9, unasked(Pieces(8)))], of);
    let worths: Vec<f64> =
        risks[0].plantings.iter().map(|planting| (planting.worth.0 * 100.0).round() / 100.0).collect();
    assert_eq!(worths, [14.4, 28.8]);
}

/// What was lost or picked on the day on which a planting was set out was the one before it.
#[test]
fn what_is_lost_on_the_day_of_a_planting_was_there_before_it() {
    let (mut garden, catalogue) = (garden(vec![bed("R1", &[("cabbage", "grown")])], Vec::new()), catalogue());
    garden.beds[0].plantings[0].planted = Some(day(10));
    let of = NightOf(day(17));
    for (stood_on, stands) in [(day(9), 1), (day(10), 0)] {
        let mut risks = assess(&garden, of, None, &catalogue);
        apply(&mut risks, &[Taken { stood_on, ..taken("cabbage", 10, Gone) }], of);
        assert_eq!(risks[0].plantings.len(), stands, "{stood_on}");
    }
}

/// What is written of one sowing takes nothing from another; what names none speaks of both.
#[test]
fn of_two_sowings_the_one_that_is_named_is_gone() {
    let crops = [("cabbage", "grown"), ("cabbage", "grown")];
    let (mut garden, catalogue) = (garden(vec![bed("R1", &crops)], Vec::new()), catalogue());
    garden.beds[0].plantings[0].cultivar = Some("January King".into());
    garden.beds[0].plantings[1].planted = Some(day(2));
    let of = NightOf(day(17));
    let stands = |sowing: Option<&str>, how: How| {
        let mut risks = assess(&garden, of, None, &catalogue);
        apply(&mut risks, &[Taken { sowing: sowing.map(str::to_string), ..taken("cabbage", 12, how) }], of);
        risks[0].plantings.iter().map(|one| one.told_apart.clone().unwrap_or_default()).collect::<Vec<_>>()
    };
    assert_eq!(stands(Some("January King"), Gone), ["sown 2 January"]);
    assert_eq!(stands(Some("2027-01-02"), Gone), ["January King"]);
    assert_eq!(stands(None, Gone), [""; 0]);
    // Sixteen plants are all of one sowing, and half of what stands in the bed.
    assert_eq!(stands(Some("January King"), unasked(Pieces(16))), ["sown 2 January"]);
    assert_eq!(stands(None, unasked(Pieces(16))).len(), 2);
}
