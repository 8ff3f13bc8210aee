use super::*;
use crate::beds::sample;
use crate::crops::damage::DamageClass;
use crate::crops::{CountedFrom, sample::staged};
use crate::journal::{Covered, Reading, Uncovered};
use crate::units::Kelvins;
use chrono::{NaiveDate, TimeZone};

fn night(day: u32) -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2027, 1, day).expect("a date"))
}

fn at(day: u32, hour: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 1, day, hour, 0, 0).single().expect("an instant")
}

fn round(day: u32, hour: u32, low: f64) -> ForecastAtRound {
    ForecastAtRound {
        night: night(day),
        made_at: at(day, hour),
        round: RoundKind::Morning,
        provider: Some("nws".into()),
        issued: None,
        low: Estimate { mean: Celsius(low), spread: Kelvins(1.5) },
        feed_low: None,
        lead_hours: 20.0,
        cloud: 0.2,
        wind_10m: MetresPerSecond(1.0),
        clear_calm: 0.9,
        readings: 0,
    }
}

fn written(id: i64, at: DateTime<Utc>, what: What, corrected_by: Option<i64>) -> Written {
    let entry = Entry::new(at, at, "", what);
    Written { id, key: entry.key(), entry, corrected_by }
}

#[test]
fn a_night_is_from_noon_to_noon_by_the_sun() {
    // At 80 W noon is at 17:20 UTC.
    assert_eq!(night_of(at(15, 17), -80.0), night(14));
    assert_eq!(night_of(at(15, 18), -80.0), night(15));
    assert_eq!(night_of(at(16, 17), -80.0), night(15));
}

#[test]
fn nights_are_cold_by_what_was_foretold_or_measured_and_carry_what_was_done() {
    let mut later = sample::bed("A2", &[("bean", "young")]);
    later.plantings[0].planted = NaiveDate::from_ymd_opt(2027, 2, 1);
    let beds = vec![sample::bed("A1", &[("lettuce", "old"), ("garlic", "old")]), later];
    let garden = sample::garden(beds, vec![]);
    let crop = |name: &str, young: f64, old: f64| {
        (name.to_string(), staged(name, &[("young", young), ("old", old)], None, CountedFrom::Seed))
    };
    let crops = [crop("lettuce", 0.5, -1.0), crop("garlic", -8.0, -9.0), crop("bean", 1.0, 1.0)];
    let catalogue = Catalogue { crops: crops.into(), ..Catalogue::default() };
    let tender = most_tender(&garden, &catalogue, night(15));
    // Neither another stage's, nor that of what is not planted yet.
    assert_eq!(tender, MostTender { begins: Celsius(-1.0), plant: Some(("A1".into(), "lettuce".into())) });
    let reading = |temperature: f64, place: Place| {
        What::Reading(Reading {
            place,
            temperature: Celsius(temperature),
            dew_point: None,
            of: Sampled::Instant,
            thermometer: None,
            height: None,
            shielded: None,
            sure: false,
        })
    };
    let damage = |class: u8| {
        What::Damage(Damage {
            bed: "A1".into(),
            crop: None,
            sowing: None,
            night: night(15),
            class: DamageClass::new(class).expect("a class"),
            usable: None,
            note: None,
            photo: None,
        })
    };
    let covered = || What::Covered(Covered { bed: "A1".into(), cover: None, layers: 1 });
    let entries = vec![
        written(1, at(16, 11), reading(-4.0, Place::Screen), None),
        // Mistyped, and corrected: it makes no night cold.
        written(2, at(18, 11), reading(-20.0, Place::Screen), Some(3)),
        written(3, at(18, 11), reading(5.0, Place::Screen), None),
        written(4, at(20, 11), reading(-9.0, Place::Soil { bed: "A1".into() }), None),
        written(5, at(15, 22), covered(), None),
        written(6, at(17, 15), damage(1), None),
        written(7, at(26, 15), damage(3), None),
        written(8, at(26, 16), damage(5), Some(9)),
    ];
    let lows = lows_of_readings(&entries, garden.site.longitude);
    let known = Known {
        doubted: Vec::new(),
        // Two days before the 11th was foretold cold, which is another matter. The 10th was foretold cold in the
        // morning and mild at last; the 11th never.
        foretold: vec![
            ForecastAtRound { night: night(11), ..round(9, 12, -7.0) },
            round(10, 12, -5.0),
            round(10, 18, 1.0),
            round(11, 12, 3.0),
            round(15, 12, 0.5),
        ],
        lows,
        whole: vec![],
        said: vec![],
        mornings: vec![],
        entries,
    };
    let nights = cold_nights(&garden, &catalogue, &known);
    assert_eq!(nights.iter().map(|night| night.of).collect::<Vec<_>>(), [night(10), night(15)]);
    assert_eq!(nights[0].foretold.map(|low| low.mean), Some(Celsius(1.0)));
    assert_eq!(nights[1].measured, Some((Celsius(-4.0), Place::Screen)));
    // Two looks at one planting are one report, as in the season: the worst of them.
    assert_eq!((nights[1].covered, nights[1].reports), (1, 1));
    assert_eq!(nights[1].worst.as_ref().map(|worst| worst.class.number()), Some(3));
}

/// Laid on the 15th and taken off on the morning of the 17th, it was on in both nights; what came off at midnight was not.
#[test]
fn a_cover_counts_in_every_night_through_which_it_lay() {
    let covered = |bed: &str| What::Covered(Covered { bed: bed.into(), cover: None, layers: 1 });
    let uncovered = |bed: &str| What::Uncovered(Uncovered { bed: bed.into() });
    let entries = vec![
        written(1, at(15, 21), covered("A1"), None),
        written(2, at(15, 21), covered("A2"), None),
        written(3, at(15, 22), covered("A3"), Some(9)),
        written(4, at(16, 5), uncovered("A2"), None),
        written(5, at(17, 14), uncovered("A1"), None),
    ];
    let garden = sample::garden(vec![sample::bed("A1", &[])], vec![]);
    let known =
        Known { foretold: [14, 15, 16, 17].map(|day| round(day, 22, -5.0)).into(), entries, ..Known::default() };
    let nights = cold_nights(&garden, &Catalogue::default(), &known);
    let covered: Vec<usize> = nights.iter().map(|night| night.covered).collect();
    assert_eq!(covered, [0, 1, 1, 0]);
}

#[test]
fn lead_days_are_counted_up_and_skies_have_edges() {
    let lead = |hours: f64| ForecastAtRound { lead_hours: hours, ..round(15, 12, 0.0) }.lead_day();
    assert_eq!([lead(3.0), lead(24.0), lead(24.5), lead(49.0), lead(1e9)], [1, 1, 2, 3, 10]);
    assert_eq!(
        [Sky::of(0.3), Sky::of(0.31), Sky::of(0.71), Sky::of(f64::NAN)],
        [Sky::Clear, Sky::Partly, Sky::Overcast, Sky::Overcast]
    );
}
