//! Gardens that are short of something: what their lists ask for, and what a volunteer reads there.

#[path = "support/garden.rs"]
mod support;

use chrono::{DateTime, Duration, Utc};
use counterpane::beds::{Bed, CoverStock, Crew, Garden, Hardened, Role};
use counterpane::crops::Catalogue;
use counterpane::message::{Context, Reader, evening_letter, plain_text};
use counterpane::night::cover::CoverKind;
use counterpane::plan::order::work_order;
use counterpane::plan::said::SayReason;
use counterpane::plan::{Measure, Plan};
use counterpane::service::look::{list, span_of};
use counterpane::units::Minutes;
use counterpane::weather::Forecast;
use std::sync::LazyLock;
use support::{bed, cover, crops, empty_garden, forecast, hour, night_of, utc};

static CROPS: LazyLock<Catalogue> = LazyLock::new(crops);

fn at(hours_before_sunset: f64) -> DateTime<Utc> {
    let sunset = span_of(&empty_garden(), night_of("2027-01-16")).sunset;
    sunset - Duration::seconds((hours_before_sunset * 3600.0) as i64)
}

/// Clear and still, down to -5.5 C.
fn frost() -> Forecast {
    let sunset = at(0.0);
    let hours = (0..60).map(|index| {
        let time = utc("2027-01-15T18:00:00Z") + Duration::hours(index);
        let since = (time - sunset).num_minutes() as f64 / 60.0;
        let air = 3.0 - 8.5 * since.clamp(0.0, 14.0) / 14.0;
        hour(time, air, air - 4.0, 1.0, 0.1)
    });
    forecast(hours.collect(), utc("2027-01-16T12:00:00Z"))
}

/// Broccoli in head, young lettuce that nobody can pick, and garlic that stands it.
fn garden(covers: Vec<CoverStock>, crew: Option<(u32, f64)>) -> Garden {
    let mut beds = vec![
        bed("A1", "broccoli", "heading"),
        bed("A2", "lettuce_leaf", "transplant"),
        bed("A3", "lettuce_leaf", "transplant"),
        bed("A4", "garlic", "leafy"),
    ];
    beds[3].plantings[0].hardened = Some(Hardened::Fully);
    let crew = crew.map(|(people, minutes)| Crew { people, minutes: Minutes(minutes) });
    Garden { beds, covers, crew, worth_per_square_metre: Minutes(60.0), ..empty_garden() }
}

fn cloth(pieces: u32) -> Vec<CoverStock> {
    vec![cover("white cloth", CoverKind::HeavyRowCover, pieces, 3.6, 2.4)]
}

fn listed(garden: &Garden, hours_before_sunset: f64) -> Plan<'_> {
    list(garden, &CROPS, night_of("2027-01-16"), &[frost()], &[], at(hours_before_sunset))
}

/// What a volunteer is sent, in one line.
fn read(plan: &Plan<'_>) -> String {
    let context = Context {
        reason: SayReason::First,
        since: None,
        next_word_by: None,
        late_by: None,
        spell: None,
        troubles: &[],
    };
    let letter = evening_letter(plan, &context, Reader { role: Role::Volunteer });
    let text = format!("{}\n{}", letter.subject, plain_text(&letter));
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn words(plan: &Plan<'_>) -> Vec<(Measure, &'static str)> {
    plan.beds.iter().map(|bed| (bed.measure, bed.reason.word())).collect()
}

use Measure::{Cover, Fine, Harvest, Leave};

/// Three scraps that would not make a cover for any bed, however many were laid side by side.
#[test]
fn covers_that_are_too_small_for_any_bed() {
    let garden = garden(vec![cover("scraps", CoverKind::HeavyRowCover, 3, 0.5, 0.4)], Some((3, 60.0)));
    let plan = listed(&garden, 4.0);
    let left = (Leave, "covers-too-small");
    assert_eq!(words(&plan), [(Harvest, "pick-before-frost"), left, left, (Fine, "within-margin")]);
    let text = read(&plan);
    assert!(text.contains("A3: leaf lettuce Left: a cover would help, but those in the shed are too small"), "{text}");
    // Where one that fits has gone to another bed, that is the reason, whatever scraps lie beside it.
    let both = vec![cloth(1).remove(0), cover("scraps", CoverKind::LowTunnel, 3, 0.5, 0.4)];
    let garden = self::garden(both, None);
    let reasons: Vec<&str> = words(&listed(&garden, 4.0)).into_iter().map(|(_, reason)| reason).collect();
    assert_eq!(reasons[1..3], ["cover-saves", "no-cover-left"], "{reasons:?}");
}

#[test]
fn no_covers_and_no_people_leave_nothing_to_do_and_say_why() {
    let bare = garden(Vec::new(), None);
    let plan = listed(&bare, 4.0);
    let nothing = (Leave, "nothing-helps");
    assert_eq!(words(&plan), [(Harvest, "pick-before-frost"), nothing, nothing, (Fine, "within-margin")]);
    assert!(read(&plan).contains("Left: nothing at hand would help much."), "{}", read(&plan));
    let alone = garden(cloth(3), Some((0, 60.0)));
    let plan = listed(&alone, 4.0);
    assert!(!plan.has_work());
    assert_eq!(words(&plan)[0], (Leave, "no-time-left"));
    let text = read(&plan);
    assert!(text.contains("3 beds at risk, left as they are") && text.contains("nobody comes to work here"), "{text}");
}

/// Six minutes before the deadline nothing can be done by it, and half an hour of light is left.
#[test]
fn when_the_deadline_is_too_near_the_light_counts_and_then_the_dark() {
    let garden = garden(cloth(3), Some((2, 30.0)));
    for (before, by, says) in [
        (4.0, 0.5, "The sun sets at 17:30."),
        (0.6, 0.0, "The best hour has passed; late still helps."),
        (0.3, 0.0, "The best hour has passed; late still helps."),
        (-2.5, -8.0, "late still helps, if you can work safely in the dark"),
    ] {
        let plan = listed(&garden, before);
        assert_eq!((plan.count(Cover), plan.count(Harvest)), (2, 1), "{before}");
        let do_by = plan.beds[1].do_by.expect("an hour");
        let off = (do_by - at(by)).num_minutes().abs();
        assert!(if before > 0.0 { off == 0 } else { do_by > plan.made_at }, "{before}: {do_by}");
        let text = read(&plan);
        assert!(text.contains(says), "{before}: {text}");
        assert!(text.contains("No ladders in the dark"), "{before}: {text}");
    }
}

#[test]
fn what_is_worth_nothing_is_left_even_roots_in_soil_that_is_too_cold() {
    let mut garden = garden(cloth(3), Some((2, 60.0)));
    garden.beds.push(bed("A5", "sweet_potato", "rooting"));
    let dug = words(&listed(&garden, 4.0));
    assert_eq!(dug[4], (Harvest, "soil-too-cold"));
    for planting in garden.beds.iter_mut().flat_map(|bed| &mut bed.plantings) {
        planting.worth = Some(Minutes(0.0));
    }
    let plan = listed(&garden, 4.0);
    assert!(!plan.has_work(), "{:?}", words(&plan));
    assert_eq!(words(&plan)[4], (Leave, "worth-less-than-work"));
    assert!(read(&plan).contains("Left: the work would be more than what it saves."), "{}", read(&plan));
}

/// One person with just the time to dig: the roots come before leaves of the same worth, which grow again.
#[test]
fn when_time_is_short_roots_in_soil_that_is_too_cold_come_first() {
    let garden = |minutes: f64| {
        let roots = Bed { length: 1.2, ..bed("A5", "sweet_potato", "rooting") };
        Garden { beds: [garden(vec![], None).beds, vec![roots]].concat(), ..garden(cloth(3), Some((1, minutes))) }
    };
    let enough = garden(12.0);
    let plan = listed(&enough, 4.0);
    assert_eq!(words(&plan)[4], (Harvest, "soil-too-cold"), "{:?}", words(&plan));
    assert_eq!(plan.count(Leave), 3, "{:?}", words(&plan));
    assert!(plan.tonight() <= Minutes(12.0 + 1e-6));
    let text = read(&plan);
    assert!(text.contains("Left: it takes 6 minutes, and 1 minute is left."), "{text}");
    // And where even that is too much the time goes to what can be done in it.
    let little = garden(8.0);
    let plan = listed(&little, 4.0);
    assert_eq!(words(&plan)[4], (Leave, "no-time-left"), "{:?}", words(&plan));
    assert!(plan.has_work() && plan.tonight() <= Minutes(8.0 + 1e-6), "{:?}", words(&plan));
}

/// Every bed is there, once, and the whole fits a mail.
#[test]
fn a_list_of_500_beds_names_each_and_stays_a_mail() {
    let beds: Vec<Bed> = (0..500).map(|number| bed(&format!("B{number:03}"), "lettuce_leaf", "transplant")).collect();
    let large = Garden { beds, ..garden(cloth(60), Some((12, 60.0))) };
    let plan = listed(&large, 4.0);
    assert_eq!(plan.count(Cover), 60);
    let text = read(&plan);
    for number in 0..500 {
        assert_eq!(text.matches(&format!("B{number:03}: leaf lettuce")).count(), 1, "{number}");
    }
    assert!(text.len() < 100_000, "{} bytes", text.len());
}

/// What fits the minutes of all people together is shared out among them, by day and late: no list asks for a bed and tells
/// people to leave it in the next line.
#[test]
fn no_list_asks_for_what_its_order_leaves_out() {
    for (people, minutes) in [(1, 8.0), (2, 15.0), (3, 10.0), (4, 8.0), (4, 3.0)] {
        for before in [4.0, 0.3, -2.5] {
            let mut garden = garden(cloth(3), Some((people, minutes)));
            garden.beds.push(Bed { length: 4.0, ..bed("A5", "lettuce_leaf", "leafy") });
            garden.beds.push(bed("A6", "lettuce_leaf", "leafy"));
            let plan = listed(&garden, before);
            let text = read(&plan);
            assert!(
                plan.has_work() && !text.contains("More than your time allows"),
                "{people}, {minutes}, {before}: {text}"
            );
            assert!(
                work_order(&plan).turns.iter().all(|turn| turn.starts_after.is_some()),
                "{people}, {minutes}, {before}"
            );
        }
    }
}
