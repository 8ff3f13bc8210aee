//! What dates, past nights and a garden's own figures do to a night, from the forecasts to the list.

#[path = "support/garden.rs"]
mod support;

use chrono::{DateTime, Duration, NaiveDate, Utc};
use counterpane::beds::{Bed, Garden, Hardened, OwnFigure, OwnFigures, Raised};
use counterpane::crops::age::StageFrom;
use counterpane::crops::{Catalogue, CountedFrom, Harm, Life, Organ};
use counterpane::message::explain::explain;
use counterpane::plan::Plan;
use counterpane::replay::garden::as_it_stands;
use counterpane::risk::{HardenedBy, OrganRisk, PlantingRisk, worth};
use counterpane::service::look::{list, span_of};
use counterpane::units::{Celsius, Kelvins, Scale};
use counterpane::weather::{Forecast, Hour};
use std::sync::LazyLock;
use support::{bed, crops, empty_garden, forecast, hour, night_of, planting, utc};

static CROPS: LazyLock<Catalogue> = LazyLock::new(crops);
const TONIGHT: &str = "2027-01-16";

fn now() -> DateTime<Utc> {
    utc("2027-01-16T18:00:00Z")
}

fn garden(beds: Vec<Bed>) -> Garden {
    Garden { beds, ..empty_garden() }
}

/// Air that falls from `day` to `low` each night and back, over the days before, and to `tonight` in the night itself;
/// windy, so that a bed is as warm as the screen.
fn weather(days: i64, day: f64, low: f64, tonight: f64) -> Forecast {
    let span = span_of(&empty_garden(), night_of(TONIGHT));
    let start = span.sunset - Duration::days(days);
    let hours = (0..(days + 1) * 24 + 1).map(|index| {
        let time = start + Duration::hours(index);
        let low = if time >= span.sunset { tonight } else { low };
        let night = (span.sunrise - span.sunset).num_minutes() as f64 / 60.0;
        let into = index as f64 % 24.0;
        // A straight line down to sunrise, three hours up.
        let depth = if into <= night { into / night } else { (1.0 - (into - night) / 3.0).max(0.0) };
        hour(time, day + (low - day) * depth, low - 5.0, 8.0, 0.5)
    });
    forecast(hours.collect(), now())
}

fn plan<'a>(garden: &'a Garden, forecast: &Forecast) -> Plan<'a> {
    list(garden, &CROPS, night_of(TONIGHT), std::slice::from_ref(forecast), &[], now())
}

fn only<'p, 'a>(plan: &'p Plan<'a>) -> &'p PlantingRisk<'a> {
    &plan.beds[0].risk.plantings[0]
}

fn part<'p, 'a>(planting: &'p PlantingRisk<'a>, organ: Organ, harm: Harm) -> &'p OrganRisk<'a> {
    let found = planting.organs.iter().find(|part| part.tolerance.organ == organ && part.tolerance.harm == harm);
    found.unwrap_or_else(|| panic!("{} has no such part", planting.crop.id))
}

/// What `explain` says of the first bed, in one line.
fn explained(plan: &Plan<'_>) -> String {
    explain(plan, &plan.beds[0], &CROPS).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A bed of one planting without the manager's word on stage and hardening.
fn dated(crop: &str, planted: &str, start: Option<CountedFrom>, raised: Option<Raised>) -> Bed {
    let mut bed = bed("A1", crop, "");
    let date: NaiveDate = planted.parse().expect("a date");
    let planting = &mut bed.plantings[0];
    (planting.stage, planting.hardened, planting.planted) = (None, None, Some(date));
    (planting.start, planting.raised) = (start, raised);
    bed
}

#[test]
fn a_date_tells_the_stage_and_the_managers_word_goes_before() {
    use CountedFrom::{Division, Seed, Transplant};
    for (crop, planted, start, expected) in [
        ("broccoli", "2027-01-16", None, "transplant"),
        ("broccoli", "2027-01-03", None, "transplant"),
        ("broccoli", "2027-01-02", None, "leafy"),
        ("broccoli", "2026-09-12", None, "heading"),
        ("broccoli", "2027-01-03", Some(Seed), "seedling"),
        ("lettuce_leaf", "2027-01-10", Some(Transplant), "transplant"),
        ("lettuce_leaf", "2027-01-10", None, "seedling"),
        ("carrot", "2026-08-25", None, "rooting"),
        ("garlic", "2026-10-18", None, "leafy"),
        ("garlic", "2026-10-18", Some(Division), "leafy"),
        ("kale", "2026-09-01", Some(Transplant), "leafy"),
        // Set out though the catalogue knows no such stage.
        ("spinach", "2027-01-10", Some(Transplant), "leafy"),
        // Not in the ground before the night: as young as can be.
        ("broccoli", "2027-02-01", None, "transplant"),
    ] {
        let garden = garden(vec![dated(crop, planted, start, None)]);
        let plan = plan(&garden, &weather(0, 5.0, 0.0, -3.0));
        let stage = &only(&plan).stage;
        assert_eq!(stage.name, expected, "{crop} of {planted}");
        assert!(matches!(stage.from, StageFrom::Calendar { .. }));
    }
    let mut named = dated("broccoli", "2027-01-16", None, None);
    named.plantings[0].stage = Some("heading".into());
    let garden = garden(vec![named]);
    let plan = plan(&garden, &weather(0, 5.0, 0.0, -3.0));
    assert_eq!((only(&plan).stage.name, &only(&plan).stage.from), ("heading", &StageFrom::Manager));
}

#[test]
fn past_nights_harden_what_stood_in_them_and_the_managers_word_goes_before() {
    let degree = |bed: Bed, weather: &Forecast| {
        let garden = garden(vec![bed]);
        let plan = plan(&garden, weather);
        (only(&plan).hardening.degree, only(&plan).hardening.from.word())
    };
    let kale = |planted: &str, start, raised| dated("kale", planted, start, raised);
    let (cold, mild) = (weather(10, 4.0, -2.5, -5.0), weather(10, 14.0, 9.0, -5.0));
    let (set_out, outdoors) = (Some(CountedFrom::Transplant), Some(Raised::Outdoors));
    let (full, from) = degree(kale("2026-09-01", None, None), &cold);
    assert!(full > 0.95 && from == "record", "{full} {from}");
    assert_eq!(degree(kale("2026-09-01", None, None), &mild), (0.0, "record"));
    assert_eq!(degree(kale("2026-09-01", None, None), &weather(0, 4.0, -2.5, -5.0)), (0.0, "no-record"));
    // From a greenhouse: nothing in the first week, little after it; what grew up outdoors has all of it.
    assert_eq!(degree(kale("2027-01-11", set_out, None), &cold), (0.0, "just-set-out"));
    let (some, _) = degree(kale("2027-01-08", set_out, None), &cold);
    assert!(some > 0.0 && some <= 0.75, "{some}");
    let (own_home, _) = degree(kale("2026-12-01", set_out, outdoors), &cold);
    assert_eq!(own_home, full);
    // Sown a few days ago: it cannot have felt the nights before.
    assert!(degree(kale("2027-01-13", None, None), &cold).0 < 0.5);
    for word in Hardened::ALL {
        let mut bed = kale("2026-09-01", None, None);
        bed.plantings[0].hardened = Some(*word);
        assert_eq!(degree(bed, &mild), (word.degree(), "manager"));
    }
}

#[test]
fn hardening_moves_the_thresholds_and_explain_says_by_which_nights() {
    let mut garden = garden(vec![dated("kale", "2026-09-01", None, None)]);
    garden.shown = Scale::Celsius;
    let state = |weather: &Forecast| {
        let plan = plan(&garden, weather);
        let leaf = part(only(&plan), Organ::Leaf, Harm::Freezing);
        let moved = leaf.tolerance.damage_begins - leaf.damage_begins;
        let text = explained(&plan);
        (moved.0 / leaf.tolerance.hardened_gain.0, leaf.open.chance.0, text)
    };
    let (hardened, hardened_chance, text) = state(&weather(10, 4.0, -2.5, -6.0));
    let (unhardened, chance, without) = state(&weather(0, 4.0, -2.5, -6.0));
    assert!(hardened > 0.95 && unhardened == 0.0);
    assert!(hardened_chance < chance / 2.0, "{hardened_chance} {chance}");
    assert!(
        text.contains("the last seven lows at the bed, as forecast, were -2 C") || text.contains("were -3 C"),
        "{text}"
    );
    assert!(text.contains("leafy (by the calendar: 137 days after it was sown"), "{text}");
    assert!(without.contains("not hardened: assumed, because no earlier night is known yet"), "{without}");
}

/// Ten days of looks, each document beginning with its own day: what is kept of them is the record.
#[test]
fn the_newest_copy_of_a_forecast_remembers_the_week() {
    let whole = weather(10, 4.0, -2.5, -5.0);
    let mut kept: Option<Forecast> = None;
    for day in 0..=10 {
        let fetched = now() - Duration::days(10 - day);
        let is_ahead = |hour: &&Hour| hour.time >= fetched && hour.time <= fetched + Duration::days(3);
        let hours: Vec<Hour> = whole.hours.iter().filter(is_ahead).copied().collect();
        let fresh = forecast(hours, fetched + Duration::hours(1));
        kept = Some(match &kept {
            Some(earlier) => fresh.with_past_of(earlier),
            None => fresh,
        });
    }
    let garden = garden(vec![dated("kale", "2026-09-01", None, None)]);
    let plan = plan(&garden, &kept.expect("ten copies"));
    let HardenedBy::Record(record) = &only(&plan).hardening.from else { panic!("no record") };
    assert!(record.lows.iter().all(Option::is_some), "{:?}", record.lows);
    assert!(only(&plan).hardening.degree > 0.95);
}

/// The feed that knows the week is silent, and another speaks for tonight: the plants have not forgotten.
#[test]
fn the_fullest_record_counts_whichever_feed_speaks_tonight() {
    let garden = garden(vec![dated("kale", "2026-09-01", None, None)]);
    let mut stale = weather(10, 4.0, -2.5, -5.0);
    (stale.issued, stale.fetched) = (Some(now() - Duration::hours(20)), now() - Duration::hours(20));
    let fresh = weather(0, 4.0, -2.5, -7.0);
    let plan = list(&garden, &CROPS, night_of(TONIGHT), &[stale, fresh], &[], now());
    let night = plan.night.as_ref().expect("the fresh one");
    assert!(night.minimum.mean.0 < -6.0, "{:?}", night.minimum);
    assert!(only(&plan).hardening.degree > 0.95, "{:?}", only(&plan).hardening);
}

#[test]
fn chill_adds_up_over_nights_and_says_that_no_frost_is_needed() {
    let mut basil = bed("A1", "basil", "leafy");
    basil.plantings[0].hardened = None;
    let garden = garden(vec![basil]);
    let chance = |days: i64, low: f64, tonight: f64| {
        let plan = plan(&garden, &weather(days, 15.0, low, tonight));
        let open = part(only(&plan), Organ::Leaf, Harm::Chilling).open;
        (open.chance.0, open.hours_before)
    };
    let (first, _) = chance(0, 5.0, 5.0);
    let (after_mild, mild) = chance(4, 12.0, 5.0);
    let (after_chill, hours) = chance(4, 5.0, 5.0);
    assert!(mild == 0.0 && after_mild <= first + 1e-9, "{mild} {after_mild} {first}");
    assert!(hours > 20.0 && after_chill > first + 0.2, "{hours} {after_chill} {first}");
    // A night that adds nothing does no harm, whatever was before.
    assert_eq!(chance(4, 5.0, 13.0).0, 0.0);
    let plan = plan(&garden, &weather(4, 15.0, 5.0, 5.0));
    let text = explained(&plan);
    assert!(
        text.contains("harm by cold above freezing begins") && text.contains("h on the nights before it"),
        "{text}"
    );
}

#[test]
fn a_short_frost_harms_a_head_less_than_a_long_one_with_the_same_low() {
    let garden = garden(vec![bed("A1", "lettuce_crisphead", "heading")]);
    // The same low for one hour, and for eight.
    let chance = |hours: i64| {
        let mut weather = weather(0, 6.0, 6.0, 6.0);
        let span = span_of(&garden, night_of(TONIGHT));
        for hour in &mut weather.hours {
            let before = (span.sunrise - hour.time).num_minutes();
            if (0..=60 * hours).contains(&before) {
                hour.air_temperature = Celsius(-3.5);
            }
        }
        let plan = plan(&garden, &weather);
        let planting = only(&plan);
        let (head, leaf) = (part(planting, Organ::Head, Harm::Freezing), part(planting, Organ::Leaf, Harm::Freezing));
        (head.open.chance.0, head.open.relief.0, leaf.open.chance.0)
    };
    let ((short, milder, leaf), (long, none, same_leaf)) = (chance(1), chance(8));
    assert!(milder > 0.2 && none == 0.0, "{milder} {none}");
    assert!(short < long - 0.02 && short > long / 2.0, "{short} {long}");
    // Of a forecast that ends before the night does nobody can say that the frost is short.
    let mut cut_off = weather(0, 6.0, 6.0, -3.5);
    let end = span_of(&garden, night_of(TONIGHT)).sunrise - Duration::hours(5);
    cut_off.hours.retain(|hour| hour.time < end);
    let plan = plan(&garden, &cut_off);
    assert_eq!(part(only(&plan), Organ::Head, Harm::Freezing).open.relief, Kelvins(0.0));
    // No source gives the leaf a time: the low alone counts.
    assert!((leaf - same_leaf).abs() < 0.02, "{leaf} {same_leaf}");
}

#[test]
fn a_figure_of_the_garden_holds_for_its_cultivar_and_part_and_is_named_as_its_own() {
    let with = |cultivar: Option<&str>| {
        let mut bed = bed("A1", "broccoli", "heading");
        bed.plantings[0].cultivar = cultivar.map(str::to_string);
        bed
    };
    let of_all = OwnFigures { crop: "broccoli".into(), spread: Some(Kelvins(0.4)), ..OwnFigures::default() };
    let of_one = OwnFigures {
        crop: "broccoli".into(),
        cultivar: Some("First Sowing".into()),
        organ: Some(Organ::Head),
        stages: vec!["heading".into()],
        damage_begins: Some(Celsius(-4.0)),
        severe: Some(Celsius(-6.0)),
        spread: Some(Kelvins(0.6)),
        ..OwnFigures::default()
    };
    // The order in the file does not matter: the cultivar's goes before.
    for own_figures in [vec![of_all.clone(), of_one.clone()], vec![of_one, of_all]] {
        let mut garden = garden(vec![with(Some("first sowing")), with(Some("second sowing")), with(None)]);
        garden.own_figures = own_figures;
        let plan = plan(&garden, &weather(0, 5.0, 0.0, -4.0));
        let head = |bed: usize| part(&plan.beds[bed].risk.plantings[0], Organ::Head, Harm::Freezing);
        assert_eq!((head(0).damage_begins, head(0).severe), (Celsius(-4.0), Celsius(-6.0)));
        assert_eq!(head(0).applied.figures.spread, Kelvins(0.6));
        assert!(head(0).applied.is_own(OwnFigure::DamageBegins) && head(0).open.chance.0 < head(1).open.chance.0);
        for other in [1, 2] {
            assert_eq!(head(other).damage_begins, head(other).tolerance.damage_begins);
            assert_eq!(head(other).applied.own, [OwnFigure::Spread]);
        }
        let leaf = part(&plan.beds[0].risk.plantings[0], Organ::Leaf, Harm::Freezing);
        assert_eq!((leaf.damage_begins, leaf.applied.figures.spread), (leaf.tolerance.damage_begins, Kelvins(0.4)));
        let text = explained(&plan);
        assert!(text.contains("(your figure)") && text.contains("your figure / your figure"), "{text}");
    }
    // The catalogue is as it was.
    assert_eq!(CROPS.crops["broccoli"], crops().crops["broccoli"]);
}

/// Every crop in every stage on nights from mild to bitter: nothing is lost in mild ones, ever more the colder it gets,
/// and nothing that grows above ground is called safe in the bitterest unless its own figures say so.
#[test]
fn every_crop_in_every_stage_meets_nights_from_mild_to_bitter() {
    let mut beds = Vec::new();
    for crop in CROPS.crops.values() {
        for stage in &crop.stages {
            let mut bed = bed(&format!("B{}", beds.len()), &crop.id, stage);
            bed.plantings = vec![planting(&crop.id, stage)];
            beds.push(bed);
        }
    }
    let garden = garden(beds);
    let mut last: Option<Vec<f64>> = None;
    for low in [16.0, 8.0, 4.0, 1.0, -1.0, -2.0, -3.0, -4.0, -6.0, -8.0, -11.0, -15.0, -20.0, -27.0] {
        let plan = plan(&garden, &weather(1, (low + 8.0_f64).min(20.0), low + 2.0, low));
        let mut losses = Vec::new();
        for bed in &plan.beds {
            let planting = &bed.risk.plantings[0];
            let what = format!("{} {} at {low} C", planting.crop.id, planting.stage.name);
            assert!(!planting.organs.is_empty(), "{what}: nothing is at risk");
            let lost = planting.expected_loss(None).0 / planting.worth.0;
            assert!((0.0..=1.0 + 1e-9).contains(&lost), "{what}: {lost}");
            assert!(low < 16.0 || lost < 0.02, "{what}: {lost} lost on a mild night");
            for organ in &planting.organs {
                let reached = organ.open.minimum.mean <= organ.severe;
                assert!(!reached || organ.open.chance.0 >= 0.3 || organ.tolerance.harm == Harm::Chilling, "{what}");
                let far = organ.open.margin.0 > 3.0 * organ.open.minimum.spread.0.hypot(organ.applied.figures.spread.0);
                assert!(!far || organ.open.chance.0 < 0.05, "{what}: {}", organ.open.chance.0);
            }
            losses.push(lost);
        }
        if let Some(last) = &last {
            for (bed, (before, now)) in plan.beds.iter().zip(last.iter().zip(&losses)) {
                let planting = &bed.risk.plantings[0];
                assert!(
                    now >= &(before - 1e-9),
                    "{} {}: {before}, {now} at {low}",
                    planting.crop.id,
                    planting.stage.name
                );
            }
        }
        last = Some(losses);
    }
}

/// What a bed of 2.88 m² is worth against lettuce ready to cut, by the stage alone.
fn against_lettuce(crop: &str, stage: &str) -> f64 {
    let garden = garden(vec![bed("A1", crop, stage)]);
    let bed = &garden.beds[0];
    worth(&garden, bed, &bed.plantings[0], &CROPS.crops[crop], night_of(TONIGHT)).minutes.0 / 57.6
}

#[test]
fn a_planting_is_worth_what_it_would_take_to_have_it_again() {
    assert!((against_lettuce("lettuce_leaf", "leafy") - 1.0).abs() < 0.01);
    // Each against the next, the one that is sooner had again before.
    let ordered = [
        ("lettuce_leaf", "seedling"),
        ("radish", "rooting"),
        ("broccoli", "transplant"),
        ("lettuce_leaf", "leafy"),
        ("broccoli", "heading"),
        ("cabbage", "heading"),
        ("garlic", "bulbing"),
        ("rosemary", "established"),
        ("lemon", "fruiting"),
    ];
    for pair in ordered.windows(2) {
        let [less, more] = [pair[0], pair[1]].map(|(crop, stage)| against_lettuce(crop, stage));
        assert!(less < more, "{pair:?}: {less}, {more}");
    }
}

#[test]
fn whatever_grows_on_is_worth_no_less() {
    for crop in CROPS.crops.values() {
        let mut last = 0.0;
        // To set out what others sow is another way to the same, and what sleeps may be of any age.
        let sown = crop.growing.counted_from == CountedFrom::Seed;
        let another = |stage: &str| stage == "dormant" || sown && stage == "transplant";
        for stage in crop.stages.iter().filter(|stage| !another(stage)) {
            let found = against_lettuce(&crop.id, stage);
            let (least, most) = if crop.growing.life == Life::Perennial { (1.5, 4.0) } else { (0.5, 2.0) };
            assert!(found > least - 1e-9 && found < most + 1e-9, "{} {stage}: {found}", crop.id);
            assert!(found >= last, "{} {stage}: {found}, {last} before", crop.id);
            last = found;
        }
    }
}

#[test]
fn a_garden_as_it_stands_keeps_what_it_is_worth() {
    let garden = garden(vec![dated("garlic", "2026-10-18", None, None)]);
    let of = |garden: &Garden, night: &str| {
        let bed = &garden.beds[0];
        worth(garden, bed, &bed.plantings[0], &CROPS.crops["garlic"], night_of(night)).minutes.0
    };
    let kept = as_it_stands(&garden, &CROPS, night_of(TONIGHT));
    assert_eq!(of(&kept, "2024-03-01"), of(&garden, TONIGHT));
    assert!(of(&garden, "2026-11-01") < of(&garden, TONIGHT));
}
