//! What must hold of every night: colder is never safer, cover and cloud never colder, missing never mild.
//!
//! The nights are random and plausible, the crops are those of the catalogue.

#[path = "support/garden.rs"]
mod support;

use chrono::{DateTime, Duration, Utc};
use counterpane::beds::Garden;
use counterpane::crops::{Catalogue, Stature};
use counterpane::message::document::{ListDocument, document};
use counterpane::night::bed::{BedNight, Place, RootZone, at_bed};
use counterpane::night::cover::{Cover, CoverConditions, CoverKind};
use counterpane::night::exposure::Exposure;
use counterpane::night::screen::{Evidence, Span, expect};
use counterpane::night::{Knowledge, Night, hours_below};
use counterpane::plan::{Measure, Plan};
use counterpane::risk::assess;
use counterpane::service::look::{list, span_of};
use counterpane::units::{Celsius, Kelvins, Pascals};
use counterpane::weather::{Forecast, Hour};
use counterpane::zone::NightOf;
use proptest::collection::vec;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::sync::LazyLock;
use support::{crops, demo, forecast, garden_of_everything, hour, night_of, utc};

static CROPS: LazyLock<Catalogue> = LazyLock::new(crops);
static EVERYTHING: LazyLock<Garden> = LazyLock::new(|| garden_of_everything(&CROPS));
static DEMO: LazyLock<Garden> = LazyLock::new(demo);
static TONIGHT: LazyLock<NightOf> = LazyLock::new(|| night_of("2027-01-16"));
static NOW: LazyLock<DateTime<Utc>> = LazyLock::new(|| utc("2027-01-16T18:00:00Z"));

/// How the air goes from dusk to dawn.
#[derive(Clone, Copy, Debug)]
enum Course {
    /// As the square root of time.
    Cooling,
    /// Steadily.
    Falling,
    /// A warm front, up to a third of a kelvin an hour.
    Rising,
}

/// A plausible night.
#[derive(Clone, Debug)]
struct Sky {
    course: Course,
    dusk: f64,
    change: f64,
    dew_depression: f64,
    wind: f64,
    cloud: f64,
    /// Hour to hour, for air (in tenths of a kelvin), wind and cloud.
    unrest: Vec<(f64, f64, f64)>,
    /// Whether wind, cloud and dew point are forecast at all.
    known: (bool, bool, bool),
}

fn sky() -> impl Strategy<Value = Sky> {
    (
        prop_oneof![3 => Just(Course::Cooling), 2 => Just(Course::Falling), 1 => Just(Course::Rising)],
        (-8.0f64..16.0, 0.0f64..12.0, 0.0f64..9.0, 0.0f64..9.0, 0.0f64..1.0),
        vec((-1.0f64..1.0, -1.0f64..1.0, -0.2f64..0.2), 60),
        (proptest::bool::weighted(0.9), proptest::bool::weighted(0.9), proptest::bool::weighted(0.9)),
    )
        .prop_map(|(course, (dusk, change, dew_depression, wind, cloud), unrest, known)| Sky {
            course,
            dusk,
            change,
            dew_depression,
            wind,
            cloud,
            unrest,
            known,
        })
}

impl Sky {
    /// Two days of it round the night.
    fn forecast(&self) -> Forecast {
        let span = tonight();
        let length = hours_between(span.sunset, span.sunrise);
        let start = utc("2027-01-15T12:00:00Z");
        let hours = (0..54).map(|index| {
            let time = start + Duration::hours(index);
            let share = hours_between(span.sunset, time) / length;
            let (air, wind, cloud) = self.unrest[usize::try_from(index).expect("small")];
            let course = match self.course {
                _ if share <= 0.0 => self.dusk + 3.0 * (share * 3.0).sin().abs(),
                Course::Cooling => self.dusk - self.change * share.min(1.0).sqrt(),
                Course::Falling => self.dusk - self.change / 2.0 * share.min(1.0),
                Course::Rising => self.dusk + self.change / 3.0 * share.min(1.0),
            };
            let air = course + 0.1 * air;
            let mut hour = hour(
                time,
                air,
                air - self.dew_depression,
                (self.wind + wind).clamp(0.0, 30.0),
                (self.cloud + cloud).clamp(0.0, 1.0),
            );
            let (wind, cloud, dew_point) = self.known;
            hour.wind_10m = hour.wind_10m.filter(|_| wind);
            hour.cloud_cover = hour.cloud_cover.filter(|_| cloud);
            hour.dew_point = hour.dew_point.filter(|_| dew_point);
            hour
        });
        forecast(hours.collect(), *NOW)
    }
}

fn hours_between(from: DateTime<Utc>, to: DateTime<Utc>) -> f64 {
    (to - from).num_seconds() as f64 / 3600.0
}

fn tonight() -> Span {
    span_of(&EVERYTHING, *TONIGHT)
}

fn plan<'a>(garden: &'a Garden, forecast: &Forecast) -> Plan<'a> {
    list(garden, &CROPS, *TONIGHT, std::slice::from_ref(forecast), &[], *NOW)
}

fn night(forecast: &Forecast) -> Night {
    let evidence = Evidence { forecast: Some(forecast), readings: &[], garden_offset: None, learned: None, now: *NOW };
    expect(&evidence, &tonight()).expect("a night")
}

/// The same with every hour changed.
fn with_hours(forecast: &Forecast, change: impl Fn(usize, Hour) -> Hour) -> Forecast {
    let hours = forecast.hours.iter().enumerate().map(|(index, hour)| change(index, *hour)).collect();
    Forecast { hours, ..forecast.clone() }
}

/// Every hour colder by `by`; the vapour in the air stays what it was, or goes with the air.
fn colder(forecast: &Forecast, by: f64, drier: bool) -> Forecast {
    with_hours(forecast, |_, hour| {
        let air_temperature = hour.air_temperature - Kelvins(by);
        let dew_point = hour
            .dew_point
            .map(|dew_point| if drier { dew_point - Kelvins(by) } else { dew_point.min(air_temperature) });
        Hour { air_temperature, dew_point, ..hour }
    })
}

/// Chance of every organ of every bed.
fn chances(plan: &Plan<'_>) -> BTreeMap<String, f64> {
    let organs = plan.beds.iter().flat_map(|bed| {
        bed.risk.plantings.iter().flat_map(move |planting| {
            planting.organs.iter().map(move |organ| {
                let (kind, exposure) = (bed.risk.bed.kind, bed.risk.bed.exposure);
                let (crop, stage) = (&planting.crop.id, planting.stage.name);
                let tolerance = organ.tolerance;
                let (part, harm, frame) = (tolerance.organ.word(), tolerance.harm.word(), tolerance.frame.word());
                (
                    format!("{} {crop} {stage} {part} {harm} {frame} {kind:?} {exposure:?}", bed.risk.bed.id),
                    organ.open.chance.0,
                )
            })
        })
    });
    organs.collect()
}

fn at_risk(plan: &Plan<'_>) -> usize {
    plan.beds.iter().filter(|bed| bed.measure != Measure::Fine).count()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, failure_persistence: None, ..ProptestConfig::default() })]

    /// With an evening's reading this holds only as long as it agrees with the forecast: where the two contradict each
    /// other the spread grows, and a forecast that comes nearer to the reading by getting colder makes the night surer.
    #[test]
    fn a_colder_forecast_never_gives_a_smaller_chance_of_damage(sky in sky(), by in 0.0f64..6.0, drier: bool) {
        let milder = sky.forecast();
        let colder = colder(&milder, by, drier);
        for garden in [&*EVERYTHING, &*DEMO] {
            let (milder, colder) = (chances(&plan(garden, &milder)), chances(&plan(garden, &colder)));
            for (organ, chance) in &milder {
                let then = colder[organ];
                prop_assert!(then >= chance - 1e-9, "{}: {} and {} K colder {}", organ, chance, by, then);
            }
        }
    }

    #[test]
    fn a_colder_forecast_never_puts_fewer_beds_at_risk(sky in sky(), by in 0.0f64..6.0) {
        let milder = sky.forecast();
        let colder = colder(&milder, by, true);
        for garden in [&*EVERYTHING, &*DEMO] {
            let (milder, colder) = (plan(garden, &milder), plan(garden, &colder));
            prop_assert!(at_risk(&colder) >= at_risk(&milder));
            for (before, after) in milder.beds.iter().zip(&colder.beds) {
                let became_fine = after.measure == Measure::Fine && before.measure != Measure::Fine;
                prop_assert!(!became_fine, "{} became fine by {} K colder", before.risk.bed.id, by);
            }
        }
    }

    /// Random hours of the night go missing. With one hour gone the night may still count as whole; then what the hour
    /// held is not known, and the list is no milder for it, but for the part of the hour in the mean of the day.
    #[test]
    fn missing_hours_never_make_a_list_milder(sky in sky(), holes in vec(0usize..15, 1..4), the_coldest: bool) {
        let whole = sky.forecast();
        let first = whole.hours.partition_point(|hour| hour.time < tonight().sunset);
        let mut holed = whole.clone();
        let night = &whole.hours[first..first + 15];
        let coldest = night.iter().min_by(|a, b| a.air_temperature.0.total_cmp(&b.air_temperature.0));
        let missing: Vec<DateTime<Utc>> = if the_coldest {
            coldest.map(|hour| hour.time).into_iter().collect()
        } else {
            holes.iter().map(|hole| night[*hole].time).collect()
        };
        holed.hours.retain(|hour| !missing.contains(&hour.time));
        for garden in [&*EVERYTHING, &*DEMO] {
            let (whole, holed) = (plan(garden, &whole), plan(garden, &holed));
            if holed.night.as_ref().map(|night| night.knowledge) != Ok(Knowledge::Complete) {
                prop_assert_eq!(holed.count(Measure::Fine), 0, "a bed is fine on an incomplete night");
                continue;
            }
            let (before, after) = (chances(&whole), chances(&holed));
            for (organ, chance) in before {
                // Above one half a wider spread makes damage less sure, as it should. Chilling counts hours, and how
                // many of them lie just below a threshold hangs on hundredths of a kelvin.
                let is_milder = after[&organ] < chance - 0.03 && chance < 0.5 && !organ.contains("chilling");
                prop_assert!(!is_milder, "{}: {} and without {:?} {}", organ, chance, missing, after[&organ]);
            }
        }
    }

    /// Of a night that has lost its sky, its wind, its humidity or its issue, and of one whose day before is gone.
    #[test]
    fn a_missing_value_never_makes_the_night_warmer_or_surer(sky in sky(), which in 0usize..4) {
        let known = Sky { known: (true, true, true), ..sky }.forecast();
        let holed = with_hours(&known, |_, hour| match which {
            0 => Hour { wind_10m: None, ..hour },
            1 => Hour { cloud_cover: None, ..hour },
            2 => Hour { dew_point: None, ..hour },
            _ => hour,
        });
        let holed = if which == 3 { Forecast { issued: None, ..holed } } else { holed };
        let (known, holed) = (night(&known), night(&holed));
        prop_assert!(holed.minimum.mean.0 <= known.minimum.mean.0 + 1e-9);
        prop_assert!(holed.minimum.spread.0 >= known.minimum.spread.0 - 1e-9);
        prop_assert_eq!(holed.remarks.len(), known.remarks.len() + 1);
    }

    /// Kinds in order of what they typically gain keep that order in every wind and after every day.
    #[test]
    fn a_better_cover_never_leaves_colder_plants(wind_10m in 0.0f64..20.0, left_by_the_day in 0.5f64..=1.0, sky in sky()) {
        let mut kinds = CoverKind::ALL.to_vec();
        kinds.sort_by(|a, b| a.low_typical_high().1.total_cmp(&b.low_typical_high().1));
        let conditions = CoverConditions { wind_10m, left_by_the_day };
        for pair in kinds.windows(2) {
            let gain = |kind| Cover { rests_on_plants: false, ..Cover::one(kind) }.gain(conditions).mean;
            let gains = (gain(pair[0]), gain(pair[1]));
            prop_assert!(gains.1 >= gains.0, "{:?}", pair);
        }
        for bed in assess(&EVERYTHING, *TONIGHT, Some(&night(&sky.forecast())), &CROPS) {
            for organ in bed.plantings.iter().flat_map(|planting| &planting.organs) {
                for (kind, covered) in &organ.covered {
                    let open = organ.open.minimum.mean;
                    prop_assert!(covered.minimum.mean >= open && covered.hours_below <= organ.open.hours_below, "{:?}", kind);
                }
            }
        }
    }

    /// The same air, the same wind, more cloud: at every kind of place.
    #[test]
    fn more_cloud_never_leaves_colder_plants_in_the_same_air(sky in sky(), more in 0.0f64..1.0) {
        let clearer = night(&sky.forecast());
        let mut cloudier = clearer.clone();
        for hour in &mut cloudier.hours {
            hour.cloud_cover = (hour.cloud_cover + more).min(1.0);
        }
        for exposure in Exposure::ALL {
            let (clearer, cloudier) = (at(&clearer, *exposure), at(&cloudier, *exposure));
            prop_assert!(cloudier.tissue.mean.0 >= clearer.tissue.mean.0 - 1e-4, "{:?}", exposure);
        }
    }

    /// From forecast to plant, where cloud also decides how far the place makes itself felt. At a wall, under trees and
    /// on a slope this need not hold: there a clear calm night makes a bed WARMER than the garden's screen, and cloud
    /// takes that away.
    #[test]
    fn a_cloudier_forecast_never_leaves_colder_plants_in_the_open_and_in_hollows(sky in sky(), more in 0.0f64..1.0) {
        let clearer = Sky { known: (true, true, true), ..sky }.forecast();
        let cloudier = with_hours(&clearer, |_, hour| Hour {
            cloud_cover: hour.cloud_cover.map(|cloud| (cloud + more).min(1.0)),
            ..hour
        });
        let (clearer, cloudier) = (night(&clearer), night(&cloudier));
        prop_assert!(cloudier.minimum.mean >= clearer.minimum.mean);
        for exposure in [Exposure::Open, Exposure::Hollow] {
            let (clearer, cloudier) = (at(&clearer, exposure), at(&cloudier, exposure));
            prop_assert!(cloudier.tissue.mean.0 >= clearer.tissue.mean.0 - 1e-4, "{:?}", exposure);
        }
    }

    #[test]
    fn a_higher_threshold_is_never_undercut_for_less_time(air in vec(-20.0f64..20.0, 0..40), threshold in -15.0f64..15.0, more in 0.0f64..5.0) {
        let samples = || (0..).zip(&air).map(|(hour, air)| (*NOW + Duration::hours(hour), Celsius(*air)));
        let (less, more) = (hours_below(samples(), Celsius(threshold)), hours_below(samples(), Celsius(threshold + more)));
        let length = air.len().saturating_sub(1) as f64;
        prop_assert!(0.0 <= less && less <= more + 1e-9 && more <= length + 1e-9);
    }

    /// Not only plausible air: whatever a decoder lets through.
    #[test]
    fn every_figure_of_a_list_is_a_number_and_every_chance_between_nought_and_one(
        hours in vec((-60.0f64..=60.0, 0.0f64..60.0, 0.0f64..=75.0, 0.0f64..=1.0), 20..30),
    ) {
        let start = tonight().sunset - Duration::hours(6);
        let hours = (0..).zip(hours).map(|(index, (air, depression, wind, cloud))| {
            hour(start + Duration::hours(index), air, (air - depression).max(-60.0), wind, cloud)
        });
        let forecast = forecast(hours.collect(), *NOW);
        for garden in [&*EVERYTHING, &*DEMO] {
            let plan = plan(garden, &forecast);
            prop_assert!(plan.night.is_ok());
            for chance in chances(&plan).values() {
                prop_assert!((0.0..=1.0).contains(chance));
            }
            figures_are_there(&document(&plan))?;
        }
    }

    /// Plans may share out scarce covers by the order of beds; what threatens a bed does not depend on the others.
    #[test]
    fn the_order_of_beds_changes_no_risk_and_the_same_input_gives_the_same_plan(sky in sky(), turn in 1usize..200) {
        let forecast = sky.forecast();
        let mut turned = EVERYTHING.clone();
        let count = turned.beds.len();
        turned.beds.rotate_left(turn % count);
        turned.beds.swap(0, count / 2);
        let (first, again, other) = (plan(&EVERYTHING, &forecast), plan(&EVERYTHING, &forecast), plan(&turned, &forecast));
        prop_assert_eq!(chances(&first), chances(&other));
        let text = |plan: &Plan<'_>| serde_json::to_string(&document(plan)).expect("a document");
        prop_assert_eq!(text(&first), text(&again));
    }
}

fn at(night: &Night, exposure: Exposure) -> BedNight {
    let place = Place {
        exposure,
        offset: None,
        learned: None,
        root_zone: RootZone::Ground,
        mulch: 0.0,
        stature: Stature::LOW_BED,
        read: None,
    };
    at_bed(night, &place, Pascals(98_400.0))
}

/// JSON has no NaN: it is written as `null`, which would read as "not known".
fn figures_are_there(list: &ListDocument) -> Result<(), TestCaseError> {
    for bed in &list.beds {
        let figures = [bed.screen_minimum_c, bed.plant_minimum_c, bed.spread_c, bed.chance_of_damage, bed.margin_c];
        prop_assert!(figures.iter().all(|figure| figure.is_some_and(f64::is_finite)), "{:?}", bed);
        for planting in &bed.plantings {
            let figures = [planting.damage_begins_c, planting.expected_c, planting.chance_of_damage];
            let more = [planting.margin_c, planting.hours_below];
            let all = figures.iter().chain(&more).all(|figure| figure.is_some_and(f64::is_finite));
            prop_assert!(all, "{:?}", planting);
        }
    }
    let written = serde_json::to_value(list).expect("a document");
    prop_assert!(!written["beds"].to_string().contains("NaN"));
    Ok(())
}

/// Chilling needs its hours, freezing does not; both are in the catalogue, and so is every frame.
#[test]
fn the_garden_of_everything_holds_everything() {
    let plan = plan(
        &EVERYTHING,
        &forecast((0..40).map(|index| hour(*NOW + Duration::hours(index), -1.0, -4.0, 1.0, 0.2)).collect(), *NOW),
    );
    let organs: Vec<String> = chances(&plan).into_keys().collect();
    assert!(organs.len() > 200, "{} organs", organs.len());
    for frame in ["screen-air", "tissue", "soil"] {
        assert!(organs.iter().any(|organ| organ.contains(frame)), "nothing is compared with {frame}");
    }
    assert!(at_risk(&plan) > 50 && plan.count(Measure::Fine) > 20, "the night tells nothing apart");
}
