use super::*;
use crate::beds::sample::{bed, cloth, garden};
use crate::beds::{Bed, BedKind};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use crate::night::bed::BedNight;
use crate::night::cover::CoverConditions;
use crate::night::past::Remembered;
use crate::night::{Estimate, FrostKind, NightHour};
use crate::risk::assess;
use crate::units::{Celsius, MetresPerSecond};
use chrono::NaiveDate;

/// 22:00 of 16 January 2027; sunrise is 14 hours later.
pub(crate) fn sunset() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + Duration::days(20_834) + Duration::hours(22)
}

/// A clear night that falls by a kelvin an hour from `dusk`, to the low 14 K below.
pub(crate) fn night(dusk: f64, knowledge: Knowledge) -> Night {
    let hour = |hour: i32| NightHour {
        time: sunset() + Duration::hours(hour.into()),
        air: Celsius(dusk - f64::from(hour)),
        dew_point: Celsius(dusk - 16.0),
        wind_10m: MetresPerSecond(1.0),
        cloud_cover: 0.0,
    };
    Night {
        of: NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date")),
        sunset: sunset(),
        sunrise: sunset() + Duration::hours(14),
        hours: (0..=14).map(hour).collect(),
        minimum: Estimate { mean: Celsius(dusk - 14.0), spread: Kelvins(1.5) },
        clear_calm: 1.0,
        kind: FrostKind::Radiation,
        past: Vec::new(),
        before: Vec::new(),
        mean_air: Celsius(8.0),
        laying_wind: MetresPerSecond(1.0),
        read_at: None,
        cover_conditions: CoverConditions { wind_10m: 1.0, left_by_the_day: 1.0 },
        knowledge,
        remarks: Vec::new(),
        provider: None,
        issued: None,
        fetched: None,
        steps: Vec::new(),
    }
}

/// For each bed its measure, the reason's word and when to have it done, in hours after sunset.
#[track_caller]
fn check(night: Result<Night, NoNight>, now: f64, expected: &[(Measure, &str, Option<f64>)]) {
    check_plan(night, now, |plan| {
        let hours = |at: DateTime<Utc>| (at - sunset()).num_minutes() as f64 / 60.0;
        let found = plan.beds.iter().map(|bed| (bed.measure, bed.reason.word(), bed.do_by.map(hours)));
        assert_eq!(found.collect::<Vec<_>>(), expected);
        assert_eq!(plan.deadline, sunset() - Duration::minutes(30));
    });
}

/// The list of both beds, so many hours after sunset.
#[track_caller]
fn check_plan(night: Result<Night, NoNight>, now: f64, look: impl FnOnce(&Plan<'_>)) {
    let seedlings = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let mut hardy = crop("hardy", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    (hardy.tolerances[0].damage_begins, hardy.tolerances[0].severe) = (Celsius(-15.0), Celsius(-20.0));
    let crops = [seedlings, hardy].map(|crop| (crop.id.clone(), crop));
    let catalogue = Catalogue { crops: crops.into(), ..Catalogue::default() };
    let beds = vec![bed("R1", &[("seedlings", "grown")]), bed("R2", &[("hardy", "grown")])];
    let garden = Garden { worth_per_square_metre: Minutes(40.0), ..garden(beds, vec![cloth(2)]) };
    let of = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    let risks = assess(&garden, of, night.as_ref().ok(), &catalogue);
    let now = sunset() + Duration::minutes((now * 60.0) as i64);
    look(&decide(&garden, of, sunset(), night, risks, crate::plan::Before::default(), now));
}

use Measure::{Cover, Fine, Unknown};

const WITH_HOLES: Knowledge = Knowledge::Incomplete { longest_hole_hours: 4.0, share_seen: 0.7 };

#[test]
fn without_weather_every_bed_is_unknown() {
    for why in [NoNight::NoForecast, NoNight::Stale { hours: 19 }, NoNight::NothingForThisNight] {
        check(Err(why), -3.0, &[(Unknown, "no-weather", None); 2]);
    }
}

#[test]
fn missing_hours_take_back_every_fine_and_no_work() {
    let cold = night(10.0, WITH_HOLES);
    check(Ok(cold), -3.0, &[(Cover, "cover-saves", Some(-0.5)), (Unknown, "hours-missing", None)]);
    let mild = night(24.0, WITH_HOLES);
    check(Ok(mild), -3.0, &[(Unknown, "hours-missing", None); 2]);
}

/// The seedlings' threshold of -2 C is met twelve hours after sunset.
#[test]
fn work_is_due_before_dark_while_there_is_time_and_then_before_the_harm() {
    for (now, by) in [
        // In the afternoon, half an hour before sunset.
        (-3.0, -0.5),
        // Too shortly before that for anything to be done by it, and shortly before sunset, while there is light.
        (-0.6, 0.0),
        (-0.25, 0.0),
        // In the dark, when the threshold is met.
        (2.0, 12.0),
        // After that by the coldest hour, when nothing is left to save.
        (13.0, 14.0),
        (14.5, 14.5),
    ] {
        let night = night(10.0, Knowledge::Complete);
        check(Ok(night), now, &[(Cover, "cover-saves", Some(by)), (Fine, "within-margin", None)]);
    }
}

#[test]
fn where_no_hour_meets_the_threshold_work_in_the_dark_is_due_by_the_coldest() {
    // -1.8 C by the middle of the estimate; its spread alone makes the danger.
    let night = night(12.2, Knowledge::Complete);
    check(Ok(night), 3.0, &[(Cover, "cover-saves", Some(14.0)), (Fine, "within-margin", None)]);
}

#[test]
fn a_list_counts_its_work() {
    let (garden, catalogue) = (garden(Vec::new(), Vec::new()), Catalogue::default());
    let of = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    let risks = assess(&garden, of, None, &catalogue);
    let empty =
        decide(&garden, of, sunset(), Err(NoNight::NoForecast), risks, crate::plan::Before::default(), sunset());
    assert!(!empty.has_work() && empty.is_quiet() && empty.work() == Minutes(0.0));
    for (measure, is_work) in Measure::ALL.iter().zip([true, true, true, false, false, false]) {
        assert_eq!(measure.is_work(), is_work, "{}", measure.word());
    }
}

#[test]
fn walking_is_counted_once_for_each_kind_of_work_and_as_the_list_counts_it() {
    let walking = |done: &[(Measure, bool)]| aftermath::walking(done.iter().copied()).0;
    assert_eq!(walking(&[(Fine, false), (Measure::Leave, false)]), 0.0);
    assert_eq!(walking(&[(Cover, true)]), walking(&[(Cover, true), (Cover, true)]));
    let (cover, harvest) = (walking(&[(Cover, true)]), walking(&[(Measure::Harvest, false)]));
    assert_eq!(walking(&[(Measure::Harvest, true)]), cover + harvest);
    check_plan(Ok(night(10.0, Knowledge::Complete)), -3.0, |plan| {
        assert!(plan.trips.0 > 0.0);
        assert_eq!(aftermath::walking(plan.beds.iter().map(|bed| (bed.measure, bed.cover.is_some()))), plan.trips);
    });
}

#[test]
fn what_a_measure_left_is_the_loss_under_the_night_that_was() {
    let crop = crop("heads", HarvestHabit::Whole, Life::Annual, &[(Organ::Head, 1.0, Some("Cut the heads."))]);
    let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
    let garden = garden(vec![bed("R1", &[("heads", "grown")])], vec![cloth(1)]);
    let of = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    let risk = |dusk: f64| assess(&garden, of, Some(&night(dusk, Knowledge::Complete)), &catalogue).remove(0);
    let (expected, came) = (risk(12.0), risk(9.0));
    let cover = Some(garden.covers[0].cover(crate::night::cover::Layers::One));
    let left = |measure: Measure, cover| aftermath::loss_left(&expected, measure, cover, &came).0;
    assert!((left(Measure::Leave, None) - came.expected_loss(None).0).abs() < 1e-9);
    assert!((left(Measure::Cover, cover) - came.expected_loss(cover).0).abs() < 1e-9);
    // What cannot be carried is where it was.
    assert!((left(Measure::BringIn, None) - came.expected_loss(None).0).abs() < 1e-9);
    let pots = BedKind::Containers { count: 2, diameter: 0.3, movable: true };
    let carried = Garden { beds: vec![Bed { kind: pots, ..garden.beds[0].clone() }], ..garden.clone() };
    let inside = |dusk: f64| {
        let risk = assess(&carried, of, Some(&night(dusk, Knowledge::Complete)), &catalogue).remove(0);
        (aftermath::loss_left(&risk, Measure::BringIn, None, &risk).0, risk.expected_loss(None).0, risk.worth().0)
    };
    let ((mild, _, _), (cold, cold_outside, _), (hard, _, worth)) = (inside(12.0), inside(4.0), inside(-20.0));
    assert!(mild <= cold && cold < 0.75 * cold_outside, "{mild}, {cold} of {cold_outside}");
    assert!(hard > 0.9 * worth, "no roof keeps pots whatever the cold: {hard} of {worth}");
    // What was picked is not lost again, and the colder night takes more of the rest.
    let picked = left(Measure::Harvest, None);
    assert!(picked < left(Measure::Cover, cover) && left(Measure::Cover, cover) < left(Measure::Leave, None));
    assert!(expected.expected_loss(None) < came.expected_loss(None));
}

/// Greens, and roots below their tops, so many hours after sunset: the measure, its reason, and what is picked.
#[track_caller]
fn picked_at(night: Night, now: f64) -> Vec<(Measure, &'static str, Vec<Organ>)> {
    with_list(night, now, |plan| {
        let organs = |bed: &BedPlan<'_>| bed.picks.iter().map(|pick| pick.organ).collect();
        plan.beds.iter().map(|bed| (bed.measure, bed.reason.word(), organs(bed))).collect()
    })
}

/// The same list.
fn with_list<T>(night: Night, now: f64, look: impl FnOnce(&Plan<'_>) -> T) -> T {
    let pick = Some("Pick it.");
    let greens = crop("greens", HarvestHabit::CutAndComeAgain, Life::Annual, &[(Organ::Leaf, 1.0, pick)]);
    let mut roots = crop(
        "roots",
        HarvestHabit::RootAsWanted,
        Life::Biennial,
        &[(Organ::Root, 0.5, Some("Lift it.")), (Organ::Leaf, 0.5, pick)],
    );
    // Roots that are in danger in any soil of these nights.
    (roots.tolerances[0].frame, roots.tolerances[0].harm) = (crate::crops::Frame::Soil, crate::crops::Harm::Freezing);
    (roots.tolerances[0].damage_begins, roots.tolerances[0].severe) = (Celsius(12.0), Celsius(10.0));
    let crops = [greens, roots].map(|crop| (crop.id.clone(), crop));
    let catalogue = Catalogue { crops: crops.into(), ..Catalogue::default() };
    let garden = garden(vec![bed("R1", &[("greens", "grown")]), bed("R2", &[("roots", "grown")])], Vec::new());
    let risks = assess(&garden, night.of, Some(&night), &catalogue);
    let (of, now) = (night.of, sunset() + Duration::minutes((now * 60.0) as i64));
    look(&decide(&garden, of, sunset(), Ok(night), risks, crate::plan::Before::default(), now))
}

#[test]
fn what_is_frozen_by_now_waits_for_the_thaw_and_roots_for_soil_that_is_not() {
    let greens = (Measure::Harvest, "pick-before-frost", vec![Organ::Leaf]);
    let roots_too = (Measure::Harvest, "pick-before-frost", vec![Organ::Leaf, Organ::Root]);
    let waits = (Measure::Leave, "wait-for-thaw", Vec::new());
    let all = Knowledge::Complete;
    for now in [-3.0, 5.0] {
        assert_eq!(picked_at(night(10.0, all), now), [greens.clone(), roots_too.clone()], "at {now}");
    }
    // Two hours before sunrise the air is at -2 C, and the soil far above zero.
    let roots = (Measure::Harvest, "pick-before-frost", vec![Organ::Root]);
    assert_eq!(picked_at(night(10.0, all), 12.0), [waits.clone(), roots]);
    // In the dark it is due before the leaf freezes, at -1 C, and not before harm begins, at -2 C.
    let at = |hours: f64| sunset() + Duration::minutes((hours * 60.0) as i64);
    let evening = night(10.0, all);
    let frozen_at = |night: &BedNight| night.hours.iter().find(|hour| hour.tissue.0 <= -1.0).map(|hour| hour.time);
    with_list(evening, 5.0, |plan| {
        let by = plan.beds[0].do_by;
        let freezes = plan.beds[0].risk.night.as_deref().and_then(frozen_at);
        assert!(by == freezes && by < plan.beds[0].harm_begins_at(), "{by:?}");
        assert!(by > Some(at(5.0)));
    });
    // At 0 C and below from dusk, on ground that has been freezing for weeks.
    let of_frost = night(0.0, all);
    let remembered =
        |hour: i64| Remembered { time: of_frost.sunset - Duration::hours(hour), air: Celsius(-35.0), clear_calm: 0.0 };
    let before = (1..=240).rev().map(remembered).collect();
    let hard = Night { mean_air: Celsius(-10.0), before, ..of_frost };
    assert_eq!(picked_at(hard, 6.0), [waits.clone(), waits]);
    // One hour of thaw is enough.
    let mut thawed = night(10.0, all);
    thawed.hours.iter_mut().skip(13).for_each(|hour| hour.air = Celsius(9.0));
    assert_eq!(picked_at(thawed, 13.5)[0], greens);
}
