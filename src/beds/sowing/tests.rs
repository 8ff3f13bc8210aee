use super::*;
use crate::beds::sample::bed;
use crate::crops::{HarvestHabit, Life, Organ, sample};
use chrono::NaiveDate;

fn day(month: u32, day: u32) -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(2026, month, day)
}

/// A bed of kale and two plantings of beet, and the crop beet.
fn bed_of(first: Planting, second: Planting) -> (Bed, Crop) {
    let mut bed = bed("B3", &[("beet", "rooting"), ("beet", "rooting"), ("kale", "leafy")]);
    bed.plantings.splice(0..2, [first, second]);
    (bed, sample::crop("beet", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]))
}

fn beet(cultivar: Option<&str>, planted: Option<NaiveDate>) -> Planting {
    let mut bed = bed("B3", &[("beet", "rooting")]);
    Planting { cultivar: cultivar.map(str::to_string), planted, ..bed.plantings.remove(0) }
}

/// The names of both beets, and what entries keep of them.
fn names(first: Planting, second: Planting) -> [(String, Option<String>); 2] {
    let (bed, crop) = bed_of(first, second);
    [0, 1].map(|index| (bed.name_of(&bed.plantings[index], &crop), bed.sowing_of(&bed.plantings[index])))
}

fn name(name: &str, sowing: Option<&str>) -> (String, Option<String>) {
    (name.into(), sowing.map(str::to_string))
}

#[test]
fn two_of_a_crop_are_named_by_what_tells_them_apart() {
    let cultivars = names(beet(Some("Boltardy"), day(8, 1)), beet(Some("Cylindra"), None));
    assert_eq!(cultivars, [name("beet (Boltardy)", Some("Boltardy")), name("beet (Cylindra)", Some("Cylindra"))]);
    // Of one cultivar the date tells; and a date does where the other has neither.
    let dates = names(beet(Some("Boltardy"), day(8, 1)), beet(Some("boltardy"), day(9, 12)));
    assert_eq!(
        dates,
        [name("beet (sown 1 August)", Some("2026-08-01")), name("beet (sown 12 September)", Some("2026-09-12"))]
    );
    let transplants = Planting { start: Some(CountedFrom::Transplant), ..beet(None, day(9, 12)) };
    assert_eq!(
        names(transplants, beet(None, None)),
        [name("beet (set out 12 September)", Some("2026-09-12")), name("beet", None)]
    );
    let years = names(beet(None, NaiveDate::from_ymd_opt(2025, 9, 12)), beet(None, day(9, 12)));
    assert_eq!(years.map(|(name, _)| name), ["beet (sown 12 September 2025)", "beet (sown 12 September 2026)"]);
}

#[test]
fn what_stands_once_needs_no_more_than_its_crop_and_what_is_alike_has_no_more() {
    let (bed, mut crop) = bed_of(beet(None, None), beet(None, None));
    assert_eq!(bed.sowing_of(&bed.plantings[0]), None);
    crop.name = "kale".into();
    let kale = Planting { cultivar: Some("Red Russian".into()), ..bed.plantings[2].clone() };
    assert_eq!(bed.name_of(&kale, &crop), "kale");
    let same_day = names(beet(None, day(9, 12)), beet(None, day(9, 12)));
    assert_eq!(same_day, [name("beet", None), name("beet", None)]);
}

#[test]
fn a_sowing_answers_to_its_cultivar_and_its_date() {
    let sown = beet(Some("January King"), day(9, 12));
    for whole in
        ["january king", "2026-09-12", "12 September", "sown 12 september", "September 12", "12 September 2026"]
    {
        assert!(sown.answers_to(whole, true), "{whole}");
    }
    for beginning in ["Jan", "12 Sep", "set out sept"] {
        assert!(!sown.answers_to(beginning, true) && sown.answers_to(beginning, false), "{beginning}");
    }
    for other in ["", "King", "13 September", "2 September"] {
        assert!(!sown.answers_to(other, false), "{other}");
    }
}
