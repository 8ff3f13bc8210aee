use super::*;
use crate::beds::{Hardened, OwnFigures, sample};
use crate::crops::damage::DamageClass;
use crate::crops::{HarvestHabit, Life, sample as crops};
use crate::journal::Entry;
use crate::journal::event::{ForecastAtRound, Written};
use crate::journal::lying::stays;
use crate::journal::{Covered, Uncovered, What};
use crate::learn::Figure;
use crate::lessons::figures::{Accepted, Accepts, InUse, Row, apply, rows};
use crate::lessons::lows::NightLow;
use crate::lessons::rows::LoggedRows;
use crate::lessons::span_of;
use crate::night::cover::{Cover, Layers};
use crate::rounds::RoundKind;
use crate::units::{Celsius, MetresPerSecond};
use chrono::{DateTime, Duration, NaiveDate, Utc};
use std::collections::BTreeSet;

/// Heads that suffer from -2 C, and leaves from -4 C; hardening takes 1 K off either.
fn catalogue() -> Catalogue {
    let parts = [(Organ::Leaf, 0.3, None), (Organ::Head, 0.7, None)];
    let mut crop = crops::crop("broccoli", HarvestHabit::Whole, Life::Annual, &parts);
    crop.tolerances.iter_mut().for_each(|part| part.hardened_gain = Kelvins(1.0));
    (crop.tolerances[0].damage_begins, crop.tolerances[0].severe) = (Celsius(-4.0), Celsius(-6.0));
    crop.stages.push("young".into());
    let other = crops::crop("kale", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    Catalogue { crops: [crop, other].map(|crop| (crop.id.clone(), crop)).into(), ..Catalogue::default() }
}

/// Of plants of which nobody says whether they are hardened.
fn garden() -> Garden {
    let mut garden = sample::garden(vec![sample::bed("A2", &[("broccoli", "grown")])], vec![sample::cloth(1)]);
    garden.beds[0].plantings[0].hardened = None;
    garden
}

fn night(day: i64) -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2027, 1, 1).expect("a date") + Duration::days(day))
}

fn written(garden: &Garden, day: i64, hours_after_sunset: i64, what: What) -> Written {
    let at = span_of(garden, night(day)).sunset + Duration::hours(hours_after_sunset);
    let entry = Entry::new(at, at, "", what);
    Written { id: 1, key: entry.key(), entry, corrected_by: None }
}

/// What somebody saw of a night.
fn harm(day: i64, crop: Option<&str>, class: u8) -> Harmed {
    let damage = Damage {
        bed: "A2".into(),
        crop: crop.map(str::to_string),
        sowing: None,
        night: night(day),
        class: DamageClass::new(class).expect("a class"),
        usable: None,
        note: None,
        photo: None,
    };
    Harmed { night: night(day), damage }
}

fn bed() -> Place {
    Place::Bed { bed: "A2".into() }
}

fn under() -> Place {
    Place::UnderCover { bed: "A2".into(), cover: None }
}

fn low(day: i64, place: Place, low: f64) -> NightLow {
    NightLow { night: night(day), place, low: Celsius(low), spread: Kelvins(0.0) }
}

/// A night that was clear and calm to a half.
fn round(garden: &Garden, day: i64) -> ForecastAtRound {
    let span = span_of(garden, night(day));
    ForecastAtRound {
        night: span.of,
        made_at: span.sunset - Duration::hours(4),
        round: RoundKind::Afternoon,
        provider: None,
        issued: None,
        low: Estimate { mean: Celsius(-9.0), spread: Kelvins(2.0) },
        feed_low: None,
        lead_hours: 19.0,
        cloud: 0.1,
        wind_10m: MetresPerSecond(1.0),
        clear_calm: 0.5,
        readings: 0,
    }
}

/// Of one report of marked harm: what was felt, or why it teaches nothing.
fn felt(garden: &Garden, lows: Vec<NightLow>, change: impl FnOnce(&mut Lessons)) -> Result<(f64, f64), Why> {
    let mut lessons =
        Lessons { lows, foretold: vec![round(garden, 0)], damage: vec![harm(0, None, 3)], ..Default::default() };
    change(&mut lessons);
    let damage = &lessons.damage[0].damage;
    let crop = only_crop(&garden.beds[0], night(0));
    let (_, report) = report(garden, &catalogue(), &lessons, crop.as_deref(), night(0), damage)?;
    Ok((report.felt.mean.0, report.felt.spread.0))
}

fn near(found: Result<(f64, f64), Why>, mean: f64, spread: f64) {
    let close = found.is_ok_and(|found| (found.0 - mean).abs() < 1e-9 && (found.1 - spread).abs() < 1e-6);
    assert!(close, "{found:?} is not {mean} and {spread}");
}

#[test]
fn the_thermometer_nearest_the_plants_speaks_and_hardening_that_is_not_known_counts_in_full() {
    let mut garden = garden();
    let as_is = |_: &mut Lessons| ();
    // A kelvin of hardening, and 1/12 K² for not knowing how much of it: sqrt(0.25 + 1/12).
    near(felt(&garden, vec![low(0, bed(), -3.0)], as_is), -2.0, 0.577_350);
    near(felt(&garden, vec![low(0, bed(), -3.0), low(0, Place::Screen, 1.0)], as_is), -2.0, 0.577_350);
    near(felt(&garden, vec![low(0, bed(), -3.0), low(0, under(), -1.0)], as_is), 0.0, 0.577_350);
    // Half of an offset of -2 K and half of its 0.4 K and of the night's own 0.56 K: sqrt(0.25 + 0.1184 + 1/12).
    garden.beds[0].offset = Some(Kelvins(-2.0));
    near(felt(&garden, vec![low(0, Place::Screen, -3.0)], as_is), -3.0, 0.672_111);
    // Without a round it is not known how clear and calm it was; a thermometer at the bed asks for none.
    assert_eq!(felt(&garden, vec![low(0, Place::Screen, -3.0)], |lessons| lessons.foretold.clear()), Err(Why::NoRound));
    near(felt(&garden, vec![low(0, bed(), -3.0)], |lessons| lessons.foretold.clear()), -2.0, 0.577_350);
    // What was foretold is no measurement, and one of another night neither.
    assert_eq!(felt(&garden, vec![low(1, bed(), -3.0)], as_is), Err(Why::NoLow));
    // Set out five days ago from under cover it was not hardened, and that is known.
    let planting = &mut garden.beds[0].plantings[0];
    (planting.planted, planting.hardened) = (Some(night(-5).0), None);
    planting.raised = Some(crate::beds::Raised::UnderCover);
    near(felt(&garden, vec![low(0, bed(), -3.0)], as_is), -3.0, 0.5);
}

/// Roots that are compared with the soil learn from what was read there, and from no thermometer in the air.
#[test]
fn what_the_soil_harms_learns_from_the_soil() {
    let (in_air, mut catalogue) = (catalogue(), catalogue());
    let crop = catalogue.crops.get_mut("broccoli").expect("it");
    crop.tolerances.iter_mut().for_each(|part| part.frame = Frame::Soil);
    let garden = garden();
    let learned = |lows: Vec<NightLow>| {
        let lessons = Lessons { lows, damage: vec![harm(0, None, 3)], ..Lessons::default() };
        let found = of(&garden, &catalogue, &lessons);
        (found.parts.first().map(|(_, learned)| learned.moved().0), found.aside.first().map(|aside| aside.why))
    };
    assert_eq!(learned(vec![low(0, bed(), -3.0)]), (None, Some(Why::OtherFrame(Frame::Soil))));
    let (soil, aside) = learned(vec![low(0, bed(), -9.0), low(0, Place::Soil { bed: "A2".into() }, -3.0)]);
    // As from the air of the same temperature.
    let in_the_open = Lessons { lows: vec![low(0, bed(), -3.0)], damage: vec![harm(0, None, 3)], ..Lessons::default() };
    let from_air = of(&garden, &in_air, &in_the_open);
    let from_air = from_air.parts.first().map(|(_, learned)| learned.moved().0);
    assert!(aside.is_none() && soil.zip(from_air).is_some_and(|(soil, air)| (soil - air).abs() < 1e-6), "{soil:?}");
}

#[test]
fn a_degree_of_hardening_that_is_stated_counts_as_stated() {
    let mut garden = garden();
    let lows = || vec![low(0, bed(), -3.0)];
    for (word, mean) in [(Hardened::No, -3.0), (Hardened::Partly, -2.6), (Hardened::Fully, -2.0)] {
        garden.beds[0].plantings[0].hardened = Some(word);
        near(felt(&garden, lows(), |_| ()), mean, 0.5);
    }
}

/// Rows of every ten minutes, from so many days before the night on.
fn logged(garden: &Garden, place: Place, days: i64, air: impl Fn(DateTime<Utc>) -> f64) -> LoggedRows {
    let span = span_of(garden, night(0));
    let from = span.sunset - Duration::days(days);
    let steps = (span.end() - from).num_minutes() / 10;
    let row = |step: i64| from + Duration::minutes(10 * step);
    LoggedRows { night: night(0), place, rows: (0..=steps).map(|step| (row(step), Celsius(air(row(step))))).collect() }
}

#[test]
fn the_days_before_harden_where_a_logger_saw_all_of_them() {
    let garden = garden();
    let behind = |days: i64, air: f64| {
        let rows = logged(&garden, Place::Screen, days, |_| air);
        felt(&garden, vec![low(0, bed(), -3.0)], |lessons| lessons.rows = vec![rows])
    };
    // Ten days at 12 C harden nothing, at 2 C three tenths, at -3 C all.
    near(behind(10, 12.0), -3.0, 0.5);
    near(behind(10, 2.0), -2.7, 0.5);
    near(behind(10, -3.0), -2.0, 0.5);
    // Of a day less nothing is known of the first, and as before all may have been gained.
    near(behind(9, 12.0), -2.0, 0.577_350);
}

#[test]
fn hours_count_where_a_logger_saw_the_night() {
    let mut garden = garden();
    garden.beds[0].plantings[0].hardened = Some(Hardened::No);
    garden.own_figures =
        vec![OwnFigures { crop: "broccoli".into(), exposure_hours: Some(4.0), ..OwnFigures::default() }];
    let short = |change: fn(&mut LoggedRows)| {
        // Below -2 C for an hour about midnight: down to -3 C and up again.
        let midnight = span_of(&garden, night(0)).sunset + Duration::hours(6);
        let air = |at: DateTime<Utc>| -3.0 + 2.0 * ((at - midnight).num_minutes() as f64 / 60.0).abs();
        let mut rows = logged(&garden, bed(), 0, air);
        change(&mut rows);
        felt(&garden, vec![low(0, bed(), -3.0)], |lessons| lessons.rows = vec![rows])
    };
    // A quarter of four hours: of the half of two kelvins three quarters, and nothing is left to chance.
    near(short(|_| ()), -3.0 + 0.75, 0.5);
    // A hole, or another low than the one that counts: all of it, as before.
    let unknown = (0.25 + 1.0 / 12.0_f64).sqrt();
    near(short(|rows| drop(rows.rows.drain(10..25))), -2.0, unknown);
    near(short(|rows| rows.rows[3].1 = Celsius(-5.0)), -2.0, unknown);
    // Cold from dusk to dawn.
    near(short(|rows| rows.rows.iter_mut().for_each(|row| row.1 = Celsius(-3.0))), -3.0, 0.5);
}

#[test]
fn a_covered_bed_felt_what_was_under_the_cover() {
    let garden = garden();
    let cover = garden.covers[0].cover(Layers::One);
    let covered = |what: Option<Cover>| {
        move |lessons: &mut Lessons| {
            lessons.covered.insert((night(0), "A2".into()), what);
        }
    };
    let conditions = CoverConditions { wind_10m: 1.0, left_by_the_day: 0.875 };
    let gain = cover.gain(conditions);
    let mean = -3.0 + gain.mean.0 + 1.0;
    let spread = (0.25 + 1.0 / 12.0 + gain.spread.0.powi(2)).sqrt();
    near(felt(&garden, vec![low(0, bed(), -3.0)], covered(Some(cover))), mean, spread);
    assert!(gain.mean.0 > 1.0);
    // Measured there, no gain is added; of a cover that nobody knows, it alone helps.
    near(felt(&garden, vec![low(0, under(), -1.0)], covered(Some(cover))), 0.0, 0.577_350);
    near(felt(&garden, vec![low(0, under(), -1.0)], covered(None)), 0.0, 0.577_350);
    assert_eq!(felt(&garden, vec![low(0, bed(), -3.0)], covered(None)), Err(Why::UnknownCover));
}

#[test]
fn a_cover_that_nobody_took_off_may_still_be_on() {
    let garden = garden();
    let laid = What::Covered(Covered { bed: "A2".into(), cover: None, layers: 1 });
    let off = What::Uncovered(Uncovered { bed: "A2".into() });
    let nights: BTreeSet<NightOf> = [-1, 0, 3, 40].map(night).into();
    let on = |entries: &[Written], day: i64| {
        crate::lessons::covered(&garden, &stays(&garden, entries, &[]), &nights)
            .get(&(night(day), "A2".to_string()))
            .copied()
    };
    let left = [written(&garden, 0, -1, laid.clone())];
    let cover = garden.covers[0].cover(Layers::One);
    assert_eq!([-1, 0, 3, 40].map(|day| on(&left, day)), [None, Some(Some(cover)), Some(None), Some(None)]);
    let taken_off = [left[0].clone(), written(&garden, 30, 15, off)];
    assert_eq!([3, 40].map(|day| on(&taken_off, day)), [Some(Some(cover)), None]);
}

#[test]
fn the_part_that_suffers_first_of_those_that_carry_weight_learns() {
    let mut catalogue = catalogue();
    let mut part = |change: fn(&mut Crop)| {
        let crop = catalogue.crops.get_mut("broccoli").expect("it");
        change(crop);
        part_of(crop, "grown").map(|part| part.organ)
    };
    assert_eq!(part(|_| ()), Ok(Organ::Head));
    assert_eq!(part(|crop| crop.tolerances[1].frame = Frame::Soil), Ok(Organ::Leaf));
    assert_eq!(part(|crop| crop.tolerances[1].frame = Frame::Tissue), Err(Why::OtherFrame(Frame::Tissue)));
    assert_eq!(part(|crop| crop.tolerances[1].share = 0.1), Ok(Organ::Leaf));
    assert_eq!(part(|crop| crop.tolerances[0].harm = Harm::Chilling), Err(Why::NoSuchPart));
}

/// Three cold nights in the open bed: felt as -2, -1.5 and -3 C.
fn three_nights() -> Lessons {
    Lessons {
        lows: vec![low(0, bed(), -3.0), low(1, bed(), -2.5), low(2, bed(), -4.0)],
        damage: vec![harm(0, None, 3), harm(1, Some("broccoli"), 2), harm(2, Some("broccoli"), 5)],
        ..Lessons::default()
    }
}

fn rows_of(garden: &Garden, of_harm: &Lessons, accepts: &Accepts) -> (Vec<Row>, Vec<Aside>) {
    rows(garden, &catalogue(), &Lessons::default(), of_harm, accepts)
}

#[test]
fn reports_move_both_thresholds_as_worked_out_elsewhere() {
    let garden = garden();
    let (rows, aside) = rows_of(&garden, &three_nights(), &Accepts::new());
    assert_eq!((rows.len(), aside.len()), (1, 0));
    assert_eq!((rows[0].name.as_str(), rows[0].in_use), ("tolerance:broccoli:grown:head", InUse::Published));
    assert_eq!(rows[0].learned.nights, [0, 1, 2].map(night));
    // The equations of the learner solved apart from this project's code (Python's `statistics.NormalDist`).
    let moved = rows[0].learned.moved().0;
    assert!((moved - 0.762_137).abs() < 1e-4, "{moved}");
    assert_eq!(rows_of(&garden, &Lessons::default(), &Accepts::new()), (Vec::new(), Vec::new()));
}

#[test]
fn of_several_looks_at_one_planting_the_worst_counts() {
    let garden = garden();
    let learned = |damage: Vec<Harmed>| {
        let lessons = Lessons { damage, ..three_nights() };
        let (rows, _) = rows_of(&garden, &lessons, &Accepts::new());
        rows.first().map(|row| row.learned.clone())
    };
    let worst = learned(vec![harm(0, Some("broccoli"), 4)]);
    assert!(worst.is_some());
    assert_eq!(learned(vec![harm(0, None, 0), harm(0, Some("broccoli"), 4)]), worst);
    assert_eq!(learned(vec![harm(0, Some("broccoli"), 4), harm(0, None, 0)]), worst);
}

#[test]
fn what_teaches_nothing_is_named_with_its_reason() {
    let mut garden = garden();
    garden.beds[0] = sample::bed("A2", &[("broccoli", "grown"), ("kale", "grown")]);
    let why = |garden: &Garden, crop: Option<&str>| {
        let lessons = Lessons { damage: vec![harm(0, crop, 3)], ..three_nights() };
        let (rows, aside) = rows_of(garden, &lessons, &Accepts::new());
        assert_eq!(rows.len() + aside.len(), 1);
        aside.first().map(|aside| aside.why)
    };
    assert_eq!(why(&garden, None), Some(Why::Several));
    assert_eq!(why(&garden, Some("kale")), None);
    assert_eq!(why(&garden, Some("leek")), Some(Why::NotThere));
    garden.beds[0].plantings[1].planted = Some(night(1).0);
    // What came later was not there to be harmed.
    assert_eq!((why(&garden, None), why(&garden, Some("kale"))), (None, Some(Why::NotThere)));
    garden.beds[0].id = "B1".into();
    assert_eq!(why(&garden, Some("broccoli")), Some(Why::NotThere));
}

#[test]
fn what_was_accepted_moves_both_thresholds_unless_the_file_has_one() {
    let mut garden = garden();
    let (catalogue, of_harm) = (catalogue(), three_nights());
    let accepted = Accepted { mean: 0.75, spread: 0.5, nights: 3 };
    let accepts = Accepts::from([
        ("tolerance:broccoli:grown:head".to_string(), accepted),
        // Of a part that nobody knows, and no number: neither acts.
        ("tolerance:broccoli:grown:wing".to_string(), accepted),
        ("tolerance:broccoli:grown:leaf".to_string(), Accepted { mean: f64::NAN, ..accepted }),
    ]);
    let crop = &catalogue.crops["broccoli"];
    let figures = |garden: &Garden, part: usize| {
        let applied = garden.figures(&garden.beds[0].plantings[0], "grown", &crop.tolerances[part]);
        (applied.figures.damage_begins.0, applied.figures.severe.0, applied.figures.spread.0, applied.learned)
    };
    assert_eq!(figures(&garden, 1), (-2.0, -4.0, 1.0, None));
    apply(&mut garden, &Lessons::default(), &accepts);
    assert_eq!(garden.learned.shifts.len(), 1);
    assert_eq!(figures(&garden, 1), (-1.25, -3.25, 0.5, Some(3)));
    assert_eq!(figures(&garden, 0), (-4.0, -6.0, 1.0, None));
    let in_use = |garden: &Garden| rows_of(garden, &of_harm, &accepts).0.first().map(|row| row.in_use);
    let figure = Figure { mean: Kelvins(0.75), spread: Kelvins(0.5) };
    assert_eq!(in_use(&garden), Some(InUse::Accepted(figure)));
    // No crop stands what killed it as published, whatever was accepted.
    let far = Accepts::from([("tolerance:broccoli:grown:head".to_string(), Accepted { mean: -9.0, ..accepted })]);
    let mut hardy = garden.clone();
    apply(&mut hardy, &Lessons::default(), &far);
    assert_eq!(figures(&hardy, 1), (-4.0, -6.0, 1.0, Some(3)));
    // Its reports were struck since: it acts, and is listed.
    let listed = rows_of(&garden, &Lessons::default(), &accepts).0;
    assert_eq!((listed.len(), listed[0].in_use), (1, InUse::Accepted(figure)));
    let own = OwnFigures { crop: "broccoli".into(), severe: Some(Celsius(-2.5)), ..OwnFigures::default() };
    garden.own_figures = vec![OwnFigures { severe: None, spread: Some(Kelvins(0.3)), ..own.clone() }];
    assert_eq!((figures(&garden, 1), in_use(&garden)), ((-1.25, -3.25, 0.3, Some(3)), Some(InUse::Accepted(figure))));
    garden.own_figures = vec![own];
    assert_eq!((figures(&garden, 1), in_use(&garden)), ((-2.0, -2.5, 1.0, None), Some(InUse::File)));
    apply(&mut garden, &Lessons::default(), &Accepts::new());
    assert_eq!(garden.learned.shifts, []);
}

/// Two sowings in two stages: a report teaches of the one that it names, and of neither where it names none.
#[test]
fn a_report_teaches_of_the_sowing_that_it_names() {
    let mut garden = garden();
    let young = Planting { planted: Some(night(-30).0), ..garden.beds[0].plantings[0].clone() };
    garden.beds[0].plantings.push(Planting { stage: Some("young".into()), ..young });
    garden.beds[0].plantings[0].cultivar = Some("Waltham".into());
    let lows = || vec![low(0, bed(), -3.0)];
    let of = |sowing: &str| {
        felt(&garden, lows(), |lessons| {
            lessons.damage[0].damage.sowing = Some(sowing.into()).filter(|it: &String| !it.is_empty())
        })
    };
    assert!(of("Waltham").is_ok());
    assert_eq!(of(""), Err(Why::Several));
    assert_eq!(of("Calabrese"), Err(Why::NotThere));
    // Of the young stage the catalogue has no part.
    assert_eq!(of(&night(-30).0.to_string()), Err(Why::NoSuchPart));
}
