use super::*;
use crate::beds::sample;
use crate::crops::sample::crop;
use crate::crops::{HarvestHabit, Life, Organ};
use crate::journal::{Covered, Entry, Gone, Uncovered};
use crate::units::Celsius;
use chrono::{NaiveDate, TimeZone};

fn night(day: u32) -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2027, 1, day).expect("a date"))
}

fn at(day: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 1, day, 20, 0, 0).single().expect("an instant")
}

fn written(day: u32, what: What) -> Written {
    let entry = Entry::new(at(day), at(day), "", what);
    Written { id: 1, key: entry.key(), entry, corrected_by: None }
}

fn class(number: u8) -> DamageClass {
    DamageClass::new(number).expect("a class")
}

/// Harm in A1, written for a night and seen two days after.
fn harm(crop: Option<&str>, of: u32, number: u8) -> Written {
    let (crop, night, class) = (crop.map(str::to_string), night(of), class(number));
    let damage = Damage { bed: "A1".into(), crop, sowing: None, night, class, usable: None, note: None, photo: None };
    written(of + 2, What::Damage(damage))
}

fn kale(of: u32, number: u8) -> Written {
    harm(Some("kale"), of, number)
}

fn sown(day: u32, crop: &str) -> Written {
    written(day, What::Resown(Gone { bed: "A1".into(), sowing: None, crop: crop.into(), note: None }))
}

fn covered(day: u32) -> Written {
    written(day, What::Covered(Covered { bed: "A1".into(), cover: None, layers: 1 }))
}

/// A bed of kale and leek that both begin to suffer at -2 C; leek gains eight degrees by hardening.
fn plot(planted: Option<u32>) -> (Garden, Catalogue) {
    let crop = |name: &str, gain: f64| {
        let mut crop = crop(name, HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
        crop.tolerances[0].hardened_gain = Kelvins(gain);
        (name.to_string(), crop)
    };
    let bed = sample::bed("A1", &[("kale", "grown"), ("leek", "grown")]);
    let mut garden = sample::garden(vec![bed], Vec::new());
    garden.beds[0].plantings.iter_mut().for_each(|planting| planting.hardened = None);
    garden.beds[0].plantings[0].planted = planted.map(|day| night(day).0);
    (garden, Catalogue { crops: [crop("kale", 0.0), crop("leek", 8.0)].into(), ..Catalogue::default() })
}

/// What the garden's thermometer saw of these nights.
fn known(entries: Vec<Written>, lows: &[(u32, f64)]) -> Known {
    let low = |(day, low): &(u32, f64)| PlaceLow { night: night(*day), place: Place::Screen, low: Celsius(*low) };
    let lows: Vec<PlaceLow> = lows.iter().map(low).collect();
    Known { entries, whole: lows.clone(), lows, ..Known::default() }
}

/// The day of the night that a look on the 16th speaks of.
fn asked(planted: Option<u32>, known: &Known, crop: Option<&str>, number: u8) -> u32 {
    let (garden, catalogue) = plot(planted);
    let look = Look { bed: "A1", crop, class: class(number), at: at(16) };
    let found = night_asked(&garden, &catalogue, known, &look, night(15));
    u32::try_from((found.0 - night(1).0).num_days() + 1).expect("a day of January")
}

#[test]
fn a_second_look_is_no_second_harm() {
    let mild: &[(u32, f64)] = &[(5, -6.0), (9, -1.0), (15, 2.0)];
    let both: &[(u32, f64)] = &[(5, -6.0), (9, -6.0), (15, 2.0)];
    let slip = Written { corrected_by: Some(9), ..kale(5, 2) };
    let of_bed = harm(None, 5, 2);
    for (what, entries, lows, number, expected) in [
        ("no report before", vec![], both, 2, 9),
        ("no worse", vec![kale(5, 2)], both, 2, 5),
        ("milder", vec![kale(5, 3)], both, 1, 5),
        ("worse, and as cold since", vec![kale(5, 2)], both, 4, 9),
        ("worse, and mild since", vec![kale(5, 2)], mild, 4, 5),
        ("nothing to see", vec![kale(5, 2)], both, 0, 9),
        ("nothing to see then", vec![kale(5, 0)], both, 2, 9),
        ("a third look", vec![kale(5, 2), kale(9, 4)], both, 4, 9),
        ("the worse one of two", vec![kale(5, 3), kale(9, 1)], both, 2, 5),
        ("of the whole bed", vec![of_bed], both, 2, 5),
        ("of another crop", vec![harm(Some("leek"), 5, 2)], both, 2, 9),
        ("a slip", vec![slip], both, 2, 9),
        ("not quite as cold", vec![kale(5, 2)], &[(5, -6.0), (9, -5.4)], 4, 5),
        ("just as cold", vec![kale(5, 2)], &[(5, -6.0), (9, -5.5)], 4, 9),
        ("colder between", vec![kale(5, 2)], &[(5, -6.0), (9, -7.0), (12, -4.0)], 4, 9),
        ("nothing is known of the first", vec![kale(5, 2)], &[(9, -5.0)], 4, 9),
        (
            "covered then, and open since",
            vec![covered(5), written(6, off()), kale(5, 2)],
            &[(5, -6.0), (9, -4.5)],
            4,
            9,
        ),
        ("open then, and covered since", vec![kale(5, 2), covered(9)], both, 4, 5),
        ("sown again since", vec![sown(8, "kale"), kale(5, 2)], both, 2, 9),
        ("sown again before it", vec![sown(5, "kale"), kale(5, 2)], both, 2, 5),
        ("another crop sown again", vec![sown(8, "leek"), kale(5, 2)], both, 2, 5),
    ] {
        let mut entries = entries;
        entries.sort_by_key(|written| written.entry.at);
        assert_eq!(asked(None, &known(entries, lows), Some("kale"), number), expected, "{what}");
    }
    let of_both = known(vec![kale(5, 2)], both);
    assert_eq!(asked(Some(8), &of_both, Some("kale"), 2), 9, "set out since");
    assert_eq!(asked(Some(5), &of_both, Some("kale"), 2), 5, "set out before");
}

fn off() -> What {
    What::Uncovered(Uncovered { bed: "A1".into() })
}

#[test]
fn a_night_that_somebody_names_is_believed() {
    let entries = [kale(5, 2), kale(9, 2), kale(9, 4), Written { corrected_by: Some(9), ..kale(9, 5) }];
    let nights: Vec<NightOf> = reports(&entries).map(|report| report.damage.night).collect();
    assert_eq!(nights, [night(5), night(9), night(9)]);
}

#[test]
fn the_night_is_the_last_one_that_put_this_planting_at_risk() {
    let hard = known(Vec::new(), &[(5, -14.0), (9, -4.0), (15, 2.0)]);
    assert_eq!(asked(None, &hard, Some("kale"), 2), 9);
    assert_eq!(asked(None, &hard, None, 2), 9);
    assert_eq!(asked(None, &hard, Some("leek"), 2), 5, "-4 C harms no leek that is hardened");
    let bed = known(Vec::new(), &[(9, -4.0), (15, 2.0)]);
    assert_eq!(asked(None, &bed, Some("leek"), 2), 9, "its bed's");
    assert_eq!(asked(None, &known(Vec::new(), &[(9, 2.0)]), Some("leek"), 2), 15, "last night");
    assert_eq!(asked(None, &known(Vec::new(), &[]), Some("kale"), 2), 15);
}

#[test]
fn a_night_is_as_dangerous_as_it_was_measured_whole_and_else_as_it_was_seen_or_foretold() {
    let measured = |low: f64| Estimate { mean: Celsius(low), spread: MEASURED };
    let low = |day: u32, place: Place, low: f64| PlaceLow { night: night(day), place, low: Celsius(low) };
    let bed = || Place::Bed { bed: "A1".into() };
    let under = || Place::UnderCover { bed: "A1".into(), cover: None };
    let looks = [low(5, Place::Screen, 1.0), low(6, Place::Screen, -1.0), low(6, bed(), -2.0), low(6, under(), -8.0)];
    let whole = [low(6, Place::Screen, 0.5), low(7, under(), -3.0)];
    let found = dangers(&[], &looks, &whole, -80.0);
    assert_eq!(found, Dangers::from([(night(5), measured(1.0)), (night(6), measured(0.5))]));
}
