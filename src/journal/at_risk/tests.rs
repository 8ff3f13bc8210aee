use super::*;
use crate::beds::sample::{bed, garden};
use crate::crops::sample::crop;
use crate::crops::{HarvestHabit, Life, Organ};
use crate::plan::said::SaidBed;
use crate::rounds::RoundKind;
use crate::units::MetresPerSecond;
use chrono::{DateTime, NaiveDate};

/// Both begin to suffer at -2 C; "hardy" gains eight degrees by hardening.
fn catalogue() -> Catalogue {
    let crop = |name: &str, gain: f64| {
        let mut crop = crop(name, HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
        crop.tolerances[0].hardened_gain = Kelvins(gain);
        (name.to_string(), crop)
    };
    Catalogue { crops: [crop("tender", 0.0), crop("hardy", 8.0)].into(), ..Catalogue::default() }
}

fn plot() -> Garden {
    let both = &[("tender", "grown"), ("hardy", "grown")];
    let mut garden = garden(vec![bed("R1", both), bed("R2", both)], Vec::new());
    // Nobody has said how hardened they are.
    garden.beds.iter_mut().flat_map(|bed| &mut bed.plantings).for_each(|planting| planting.hardened = None);
    garden
}

fn of() -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"))
}

fn list(measures: &[(&str, Measure)]) -> Said {
    let bed = |(bed, measure): &(&str, Measure)| SaidBed {
        bed: (*bed).into(),
        measure: *measure,
        cover: None,
        chance: 0.5,
        remaining: 0.0,
        minutes: None,
        reason: None,
        picks: Vec::new(),
        losses: Vec::new(),
        is_picked: false,
    };
    Said { beds: measures.iter().map(bed).collect(), ..Said::default() }
}

fn foretold(low: f64) -> ForecastAtRound {
    ForecastAtRound {
        night: of(),
        made_at: DateTime::UNIX_EPOCH,
        round: RoundKind::Afternoon,
        provider: None,
        issued: None,
        low: Estimate { mean: Celsius(low), spread: Kelvins(1.5) },
        feed_low: None,
        lead_hours: 18.0,
        cloud: 0.1,
        wind_10m: MetresPerSecond(1.0),
        clear_calm: 1.0,
        readings: 0,
    }
}

/// Which plantings are asked about: "R1 tender, R1 hardy".
fn asked(said: &[Said], round: Option<f64>, lows: &[(Place, f64)]) -> String {
    let lows: Vec<PlaceLow> =
        lows.iter().map(|(place, low)| PlaceLow { night: of(), place: place.clone(), low: Celsius(*low) }).collect();
    let foretold = round.map(foretold);
    let night = NightBehind { of: of(), said, foretold: foretold.as_ref(), taken: &[], lows: &lows };
    let found = at_risk(&plot(), &catalogue(), night);
    let mut names: Vec<String> = found.iter().map(|planting| format!("{} {}", planting.bed, planting.crop)).collect();
    names.sort_by_key(|name| name.split(' ').next().map(str::to_string));
    names.join(", ")
}

fn at(bed: &str) -> Place {
    Place::Bed { bed: bed.into() }
}

#[test]
fn a_night_that_was_called_off_is_asked_about_only_where_it_was_cold() {
    use Measure::{Cover, Fine};
    let cold = list(&[("R1", Cover), ("R2", Cover)]);
    let off = list(&[("R1", Fine), ("R2", Fine)]);
    // What was left on in the morning is no list.
    let morning = Said { kept: Some(Vec::new()), ..cold.clone() };
    let said = [cold, off, morning];
    assert_eq!(asked(&said, Some(5.0), &[]), "");
    assert_eq!(asked(&said, Some(5.0), &[(Place::Screen, 4.0)]), "");
    assert_eq!(asked(&said, Some(5.0), &[(Place::Screen, -4.0)]), "R1 tender, R2 tender");
    assert_eq!(asked(&said, Some(5.0), &[(at("R2"), -4.0)]), "R2 tender");
}

#[test]
fn beds_that_were_left_are_asked_about() {
    use Measure::{BringIn, Fine, Leave, Unknown};
    let left = [list(&[("R1", Leave), ("R2", Fine)])];
    // The list knew no hardening either.
    assert_eq!(asked(&left, Some(-4.0), &[]), "R1 tender, R1 hardy");
    assert_eq!(asked(&[list(&[("R1", BringIn), ("R2", Leave)])], Some(-4.0), &[]), "R2 tender, R2 hardy");
    // A bed that was left by chances that are not found again is asked about by its likeliest planting.
    assert_eq!(asked(&left, Some(4.0), &[]).split(", ").count(), 1);
    // Nothing known: all of it. Known to be mild after all: nothing.
    let unknown = [list(&[("R1", Unknown), ("R2", Unknown)])];
    assert_eq!(asked(&unknown, None, &[]), "R1 tender, R1 hardy, R2 tender, R2 hardy");
    assert_eq!(asked(&unknown, Some(6.0), &[]), "");
}

#[test]
fn cold_that_nobody_foretold_is_asked_about_where_it_harms_even_what_is_hardened() {
    // Nothing was said at all.
    assert_eq!(asked(&[], Some(3.0), &[]), "");
    assert_eq!(asked(&[], Some(3.0), &[(Place::Screen, -1.0)]), "");
    assert_eq!(asked(&[], Some(3.0), &[(Place::Screen, -4.0)]), "R1 tender, R2 tender");
    assert_eq!(asked(&[], None, &[(Place::Screen, -14.0)]).split(", ").count(), 4);
    // Under a cover and in the soil it says nothing of the open bed.
    let under = Place::UnderCover { bed: "R1".into(), cover: None };
    assert_eq!(asked(&[], Some(3.0), &[(under, -14.0), (Place::Soil { bed: "R1".into() }, -14.0)]), "");
}

#[test]
fn what_was_planted_after_the_night_is_no_question() {
    let mut garden = plot();
    garden.beds[0].plantings[0].planted = NaiveDate::from_ymd_opt(2027, 1, 18);
    let said = [list(&[("R1", Measure::Cover)])];
    for round in [None, Some(foretold(-4.0))] {
        let night = NightBehind { of: of(), said: &said, foretold: round.as_ref(), taken: &[], lows: &[] };
        let crops: Vec<String> = at_risk(&garden, &catalogue(), night).into_iter().map(|of| of.crop).collect();
        assert_eq!(crops, ["hardy"]);
    }
}
