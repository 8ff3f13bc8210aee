//! A list that does not change for little, says what would change it, and stays within what people can do.

#[path = "support/chance.rs"]
#[allow(dead_code)]
mod chance;
#[path = "support/garden.rs"]
mod support;

use chance::Chance;
use chrono::{DateTime, Duration, Utc};
use counterpane::beds::{Caution, Crew, Garden};
use counterpane::crops::Catalogue;
use counterpane::night::cover::CoverKind;
use counterpane::plan::said::{Said, SaidBed, changes};
use counterpane::plan::turning::{Side, find};
use counterpane::plan::{BedPlan, Before, Measure, Plan, decide};
use counterpane::risk::assess;
use counterpane::service::look::{list, list_after, span_of, spell};
use counterpane::units::{Kelvins, Minutes};
use counterpane::weather::Forecast;
use counterpane::zone::NightOf;
use proptest::prelude::*;
use std::sync::LazyLock;
use support::{bed, cover, crops, demo, empty_garden, forecast, hour, night_of, utc};

static CROPS: LazyLock<Catalogue> = LazyLock::new(crops);
static DEMO: LazyLock<Garden> = LazyLock::new(demo);
static TONIGHT: LazyLock<NightOf> = LazyLock::new(|| night_of("2027-01-16"));

fn afternoon() -> DateTime<Utc> {
    utc("2027-01-16T18:00:00Z")
}

/// A clear night that falls steadily, each hour off by so much.
fn night(dusk: f64, fall: f64, off: &[f64]) -> Forecast {
    let sunset = span_of(&DEMO, *TONIGHT).sunset;
    let hours = (0..60u8).map(|index| {
        let time = utc("2027-01-15T18:00:00Z") + Duration::hours(index.into());
        let since = (time - sunset).num_minutes() as f64 / 60.0;
        let air = dusk - fall * since.clamp(0.0, 14.0) / 14.0 + off.get(usize::from(index)).unwrap_or(&0.0);
        hour(time, air, air - 4.0, 1.0, 0.1)
    });
    forecast(hours.collect(), afternoon())
}

fn measures(plan: &Plan<'_>) -> Vec<Measure> {
    plan.beds.iter().map(|bed| bed.measure).collect()
}

/// The whole night up to a tenth of a kelvin milder or colder, and each hour up to another: of such pairs of lists at most
/// one in two hundred may put a cover elsewhere. None would be better: a rare few gain more than ten minutes by it.
#[test]
fn a_fifth_of_a_kelvin_hardly_ever_moves_a_cover_from_bed_to_bed() {
    let mut chance = Chance::new(7);
    let mut within = |low: f64, high: f64| chance.between(low, high);
    let (mut pairs, mut moved) = (0, Vec::new());
    while pairs < 400 {
        let (dusk, fall, by) = (within(-1.0, 8.0), within(3.0, 10.0), within(-0.1, 0.1));
        let off: Vec<f64> = (0..60).map(|_| by + within(-0.1, 0.1)).collect();
        let people = 1 + (within(0.0, 4.0) as u32).min(3);
        let garden = Garden { crew: Some(Crew { people, minutes: Minutes(25.0) }), ..DEMO.clone() };
        let (first, then) = (night(dusk, fall, &[]), night(dusk, fall, &off));
        let first = Said::of(&list(&garden, &CROPS, *TONIGHT, &[first], &[], afternoon()));
        let later = afternoon() + Duration::hours(2);
        let next = Said::of(&list_after(&garden, &CROPS, *TONIGHT, &[then], &[], Before::said(Some(&first)), later));
        // Where a bed comes to be in danger covers may well be needed elsewhere.
        let newly = |said: &SaidBed| {
            let was_fine = first.beds.iter().any(|bed| bed.bed == said.bed && bed.measure == Measure::Fine);
            was_fine && said.measure != Measure::Fine
        };
        if next.beds.iter().any(newly) {
            continue;
        }
        pairs += 1;
        let is_covered = |said: &Said, bed: &str| said.beds.iter().any(|one| one.bed == bed && one.cover.is_some());
        let gained = next.beds.iter().any(|bed| bed.cover.is_some() && !is_covered(&first, &bed.bed));
        let is_lost = |bed: &&SaidBed| {
            // A bed that stands the night gives its cover back; that it goes to another is news only if it is fetched there.
            let is_fine = next.beds.iter().any(|one| one.bed == bed.bed && one.measure == Measure::Fine);
            bed.cover.is_some() && !is_covered(&next, &bed.bed) && (gained || !is_fine)
        };
        let mut beds: Vec<String> = first.beds.iter().filter(is_lost).map(|bed| bed.bed.clone()).collect();
        beds.extend(changes(&first, &next).other_cover);
        if !beds.is_empty() {
            moved.push((dusk, fall, people, beds));
        }
    }
    println!("{} of {pairs} pairs of lists moved a cover: {moved:?}", moved.len());
    assert!(moved.len() * 200 <= pairs, "{moved:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// On either side of the number the list of a garden of one bed is another.
    #[test]
    fn the_measure_changes_where_it_is_said_to(dusk in -4.0f64..10.0, which in 0usize..200, pieces in 0u32..3) {
        let all: Vec<_> = CROPS.crops.values().flat_map(|crop| crop.stages.iter().map(move |stage| (crop, stage))).collect();
        let (crop, stage) = all[which % all.len()];
        let mut garden = empty_garden();
        garden.beds = vec![bed("B1", &crop.id, stage)];
        garden.covers = vec![cover("cloth", CoverKind::MediumRowCover, pieces, 5.0, 2.4)];
        let mut plan = list(&garden, &CROPS, *TONIGHT, &[night(dusk, 7.0, &[])], &[], afternoon());
        find(&mut plan, &CROPS, Before::default());
        let Some(turning) = plan.beds[0].turning else { return Ok(()) };
        let night = plan.night.clone().expect("a night");
        let sunset = span_of(&garden, *TONIGHT).sunset;
        let at = |low: f64| {
            let shifted = night.shifted(Kelvins(low - night.minimum.mean.0));
            let risks = assess(&garden, *TONIGHT, Some(&shifted), &CROPS);
            decide(&garden, *TONIGHT, sunset, Ok(shifted), risks, Before::default(), afternoon()).beds[0].measure
        };
        let towards_tonight = if turning.side == Side::Down { 0.1 } else { -0.1 };
        prop_assert_eq!(at(turning.low.0), turning.then);
        prop_assert_eq!(at(turning.low.0 + towards_tonight * 1.001), plan.beds[0].measure);
        prop_assert_eq!(turning.low < night.minimum.mean, turning.side == Side::Down);
    }

    #[test]
    fn work_stays_within_what_people_can_do_and_more_people_lose_no_more(
        dusk in -2.0f64..6.0, people in 0u32..6, minutes in 0.0f64..60.0, late in 0i64..260,
    ) {
        let now = afternoon() + Duration::minutes(late);
        let too_short = 10.0;
        let list_for = |people| {
            let garden = Garden { crew: Some(Crew { people, minutes: Minutes(minutes) }), ..DEMO.clone() };
            let plan = list(&garden, &CROPS, *TONIGHT, &[night(dusk, 8.0, &[])], &[], now);
            let left = ((plan.deadline - now).num_seconds() as f64 / 60.0).max(0.0);
            let each = if left > too_short { minutes.min(left) } else { minutes };
            (plan.tonight().0, f64::from(people) * each, cost(&plan), measures(&plan))
        };
        let (spent, had, cost_of_few, _) = list_for(people);
        prop_assert!(spent <= had + 1e-6, "{} minutes of {}", spent, had);
        let (_, _, cost_of_more, _) = list_for(people + 1);
        prop_assert!(cost_of_more <= cost_of_few + 1e-6, "{} and with one more {}", cost_of_few, cost_of_more);
    }
}

const CAUTIONS: [Caution; 3] = [Caution::Sparing, Caution::Even, Caution::Careful];

fn with_caution(caution: Caution, garden: &Garden) -> Garden {
    Garden { caution, ..garden.clone() }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    /// With covers and people in plenty whoever is more careful has work for every bed that has some under less caution.
    #[test]
    fn more_caution_asks_for_no_fewer_beds(dusk in -4.0f64..10.0, fall in 3.0f64..10.0) {
        let mut plenty = Garden { crew: None, ..DEMO.clone() };
        plenty.covers.iter_mut().for_each(|stock| stock.count = 40);
        // One piece over two neighbours makes the second bed cheap, and a bed may be dear again where each has its own.
        plenty.beds.iter_mut().for_each(|bed| bed.beside = None);
        let forecast = [night(dusk, fall, &[])];
        let asked = CAUTIONS.map(|caution| {
            let garden = with_caution(caution, &plenty);
            let plan = list(&garden, &CROPS, *TONIGHT, &forecast, &[], afternoon());
            plan.beds.iter().map(|bed| bed.measure.is_work()).collect::<Vec<bool>>()
        });
        for pair in asked.windows(2) {
            prop_assert!(pair[0].iter().zip(&pair[1]).all(|(less, more)| more >= less), "{:?}", asked);
        }
    }

    /// Where they are short a careful garden may well serve other beds, and fewer that need more: but by its own measure
    /// its list is never worse than one of less caution.
    #[test]
    fn more_caution_leaves_no_more_of_what_it_minds(
        dusk in -4.0f64..10.0, fall in 3.0f64..10.0, people in 0u32..4, minutes in 5.0f64..40.0,
    ) {
        let few = Garden { crew: Some(Crew { people, minutes: Minutes(minutes) }), ..DEMO.clone() };
        let forecast = [night(dusk, fall, &[])];
        for pair in CAUTIONS.windows(2) {
            let weighed = |caution: Caution| {
                let garden = with_caution(caution, &few);
                let plan = list(&garden, &CROPS, *TONIGHT, &forecast, &[], afternoon());
                // Half of the picking would be done anyhow, and is taken off what a list calls a loss.
                let picking = |bed: &BedPlan<'_>| bed.picks.iter().map(|pick| pick.work.0).sum::<f64>();
                let anyhow: f64 = plan.beds.iter().map(|bed| 0.5 * picking(bed)).sum();
                let lost = anyhow + plan.beds.iter().map(|bed| bed.loss.0).sum::<f64>();
                pair[1].loss_counts() * lost + plan.work().0 - anyhow
            };
            let (less, more) = (weighed(pair[0]), weighed(pair[1]));
            prop_assert!(more <= less + 1e-6, "{:?} {} {:?} {}", pair[0], less, pair[1], more);
        }
    }
}

/// What is still lost, where it can be read from the list: open beds, and covered ones; and all work.
fn cost(plan: &Plan<'_>) -> f64 {
    plan.work().0 + plan.beds.iter().map(|bed| bed.loss.0).sum::<f64>()
}

#[test]
fn nobody_at_all_is_asked_for_nothing_and_told_why() {
    let garden = Garden { crew: Some(Crew { people: 0, minutes: Minutes(30.0) }), ..DEMO.clone() };
    let plan = list(&garden, &CROPS, *TONIGHT, &[night(3.0, 8.0, &[])], &[], afternoon());
    assert!(!plan.has_work() && plan.count(Measure::Leave) > 3);
    let nobody = plan.beds.iter().filter(|bed| bed.reason.word() == "no-time-left").count();
    assert!(nobody > 3, "{nobody} beds say that nobody comes");
}

/// After the deadline its minutes bound nothing, and what was asked for before is not asked for less, nor anything in its
/// place: but what is frozen by now is not picked any more.
#[test]
fn in_the_dark_the_list_goes_on() {
    let garden = Garden { crew: Some(Crew { people: 2, minutes: Minutes(25.0) }), ..DEMO.clone() };
    let forecast = [night(3.0, 8.0, &[])];
    let first = list(&garden, &CROPS, *TONIGHT, &forecast, &[], afternoon());
    let said = Said::of(&first);
    for hours in [3, 4, 5, 8] {
        let now = afternoon() + Duration::hours(hours);
        let then = list_after(&garden, &CROPS, *TONIGHT, &forecast, &[], Before::said(Some(&said)), now);
        for (bed, before) in then.beds.iter().zip(&first.beds) {
            let waits = before.measure == Measure::Harvest && hours == 8 && bed.reason.word() == "wait-for-thaw";
            let measure = if waits { Measure::Leave } else { before.measure };
            assert_eq!(bed.measure, measure, "{hours} hours later: {}", bed.risk.bed.id);
        }
        assert!(list(&garden, &CROPS, *TONIGHT, &forecast, &[], now).has_work(), "{hours} hours later");
    }
}

/// Nobody has been asked for the night after the one at hand: its list says how many people it takes. In the evening its
/// sunset is less than a day away.
#[test]
fn only_the_night_at_hand_is_bounded_by_who_comes() {
    let garden = Garden { crew: Some(Crew { people: 0, minutes: Minutes(25.0) }), ..DEMO.clone() };
    let forecast = [night(3.0, 8.0, &[])];
    let before = NightOf(TONIGHT.0 - Duration::days(1));
    for hours in [24, 17] {
        let now = afternoon() - Duration::hours(hours);
        let spell = spell(&garden, &CROPS, before, 2, &forecast, &[], Before::default(), now);
        assert!(spell.ahead[0].plan.has_work(), "{hours} hours before");
    }
    assert!(!list(&garden, &CROPS, *TONIGHT, &forecast, &[], afternoon()).has_work());
}
