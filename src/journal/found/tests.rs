use super::*;
use crate::crops::damage::DamageClass;
use crate::journal::{Entry, Gone};
use crate::units::Celsius;
use chrono::{NaiveDate, TimeZone, Utc};

fn night(day: u32) -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2027, 1, day).expect("a date"))
}

fn written(seen: u32, what: What) -> Written {
    let at = Utc.with_ymd_and_hms(2027, 1, seen, 21, 0, 0).single().expect("an instant");
    let entry = Entry::new(at, at, "", what);
    Written { id: 1, key: entry.key(), entry, corrected_by: None }
}

/// Harm to kale in A1, seen on a day and written down for a night.
fn harm(of: u32, seen: u32) -> Written {
    of_crop(Some("kale"), of, seen)
}

fn of_crop(crop: Option<&str>, of: u32, seen: u32) -> Written {
    let class = DamageClass::new(2).expect("a class");
    let crop = crop.map(str::to_string);
    let damage =
        Damage { bed: "A1".into(), sowing: None, crop, night: night(of), class, usable: None, note: None, photo: None };
    written(seen, What::Damage(damage))
}

/// Harm to one of several sowings of kale.
fn of_sowing(sowing: &str, of: u32, seen: u32) -> Written {
    let mut written = harm(of, seen);
    if let What::Damage(damage) = &mut written.entry.what {
        damage.sowing = Some(sowing.into());
    }
    written
}

fn measured(low: f64) -> Estimate {
    Estimate { mean: Celsius(low), spread: MEASURED }
}

/// The nights that did it, with these lows.
fn nights(entries: &[Written], lows: &[(u32, f64)]) -> Vec<NightOf> {
    let dangers = lows.iter().map(|(day, low)| (night(*day), measured(*low))).collect();
    reports(entries, &dangers, -80.0).into_iter().map(|report| report.night).collect()
}

#[test]
fn a_second_look_is_no_second_harm() {
    let days = |days: &[u32]| days.iter().map(|day| night(*day)).collect::<Vec<_>>();
    let mild: &[(u32, f64)] = &[(5, -6.0), (9, -1.0), (15, 2.0)];
    for (what, entries, lows, expected) in [
        ("written for a mild night", vec![harm(5, 8), harm(15, 16)], mild, days(&[5, 5])),
        ("a third look", vec![harm(5, 6), harm(5, 8), harm(15, 16)], mild, days(&[5, 5, 5])),
        ("of the whole bed", vec![harm(5, 8), of_crop(None, 15, 16)], mild, days(&[5, 5])),
        ("of another crop", vec![harm(5, 8), of_crop(Some("leek"), 15, 16)], mild, days(&[5, 15])),
        (
            "of another sowing",
            vec![of_sowing("Winterbor", 5, 8), of_sowing("2026-08-01", 15, 16)],
            mild,
            days(&[5, 15]),
        ),
        ("of all sowings", vec![of_sowing("Winterbor", 5, 8), harm(15, 16)], mild, days(&[5, 5])),
        ("as cold a night itself", vec![harm(5, 8), harm(15, 16)], &[(5, -6.0), (15, -5.5)], days(&[5, 15])),
        ("as cold a night between", vec![harm(5, 8), harm(15, 16)], &[(5, -6.0), (9, -7.0), (15, 2.0)], days(&[5, 9])),
        ("not quite as cold", vec![harm(5, 8), harm(15, 16)], &[(5, -6.0), (9, -5.4), (15, 2.0)], days(&[5, 5])),
        ("too late to be the same", vec![harm(5, 8), harm(20, 22)], &[(5, -6.0), (20, 2.0)], days(&[5, 20])),
        ("nothing is known of the one", vec![harm(5, 8), harm(15, 16)], &[(5, -6.0)], days(&[5, 15])),
        ("nor of the other", vec![harm(5, 8), harm(15, 16)], &[(15, 2.0)], days(&[5, 15])),
        ("the first report", vec![harm(15, 16)], mild, days(&[15])),
        ("written in the other order", vec![harm(15, 16), harm(5, 17)], mild, days(&[15, 5])),
    ] {
        assert_eq!(nights(&entries, lows), expected, "{what}");
    }
    // What was only foretold may have been colder, and by that is no milder night.
    let foretold = Estimate { mean: Celsius(-2.0), spread: Kelvins(2.0) };
    for (low, expected) in [(-3.0, 15), (-4.5, 5)] {
        let dangers = Dangers::from([(night(5), measured(low)), (night(15), foretold)]);
        let entries = [harm(5, 8), harm(15, 16)];
        assert_eq!(reports(&entries, &dangers, -80.0)[1].night, night(expected), "{low}");
    }
    let slip = Written { corrected_by: Some(9), ..harm(5, 8) };
    assert_eq!(nights(&[slip, harm(15, 16)], mild), [night(15)]);
    let sown =
        |crop: &str| written(10, What::Resown(Gone { bed: "A1".into(), sowing: None, crop: crop.into(), note: None }));
    assert_eq!(nights(&[harm(5, 8), sown("kale"), harm(15, 16)], mild), [night(5), night(15)]);
    assert_eq!(nights(&[harm(5, 8), sown("leek"), harm(15, 16)], mild), [night(5), night(5)]);
}

#[test]
fn a_night_is_as_dangerous_as_it_was_measured_whole_and_else_as_it_was_seen_or_foretold() {
    let low = |day: u32, place: Place, low: f64| PlaceLow { night: night(day), place, low: Celsius(low) };
    let bed = || Place::Bed { bed: "A1".into() };
    let under = || Place::UnderCover { bed: "A1".into(), cover: None };
    let looks = [low(5, Place::Screen, 1.0), low(6, Place::Screen, -1.0), low(6, bed(), -2.0), low(6, under(), -8.0)];
    let whole = [low(6, Place::Screen, 0.5), low(7, under(), -3.0)];
    let found = dangers(&[], &looks, &whole, -80.0);
    assert_eq!(found, Dangers::from([(night(5), measured(1.0)), (night(6), measured(0.5))]));
}
