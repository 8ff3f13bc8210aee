//! A large garden is no slower than a person who waits for its list.

#[path = "support/garden.rs"]
mod support;

use chrono::Duration;
use counterpane::beds::{CoverStock, Crew};
use counterpane::night::cover::CoverKind;
use counterpane::night::screen::{Evidence, expect};
use counterpane::plan::{Before, Measure, decide};
use counterpane::risk::assess;
use counterpane::service::look::span_of;
use counterpane::units::Minutes;
use std::time::Instant;
use support::{bed, cover, crops, empty_garden, forecast, hour, night_of, utc};

/// 500 beds, half of which find a cover, each of its own worth. Ten seconds are far more than it takes, also without
/// optimisation and beside other tests; were the search to run on without end, they would not do.
#[test]
fn a_list_of_500_beds_with_scarce_covers_takes_less_than_ten_seconds() {
    let covers = [
        cover("cloth", CoverKind::MediumRowCover, 150, 5.0, 2.4),
        cover("heavy cloth", CoverKind::HeavyRowCover, 100, 5.0, 1.6),
    ];
    let used = list_of(500, &covers, None, 10.0);
    assert!((200..=250).contains(&used), "{used} covers used: the garden is not short of them");
}

/// Six kinds of covers, and people for a part of the work.
#[test]
fn a_list_of_200_beds_with_scarce_people_takes_less_than_five_seconds() {
    let kinds = [
        CoverKind::LightRowCover,
        CoverKind::MediumRowCover,
        CoverKind::HeavyRowCover,
        CoverKind::Sheet,
        CoverKind::ClearPlastic,
        CoverKind::LowTunnel,
    ];
    let covers: Vec<_> = kinds
        .iter()
        .zip(1u8..)
        .map(|(kind, at)| cover(kind.word(), *kind, 12, 4.0, 1.2 + f64::from(at) / 5.0))
        .collect();
    let crew = Crew { people: 6, minutes: Minutes(40.0) };
    let used = list_of(200, &covers, Some(crew), 5.0);
    assert!(used > 10, "{used} covers used");
}

/// How many covers are used.
fn list_of(beds: usize, covers: &[CoverStock], crew: Option<Crew>, seconds: f64) -> u32 {
    let catalogue = crops();
    let mut garden = empty_garden();
    let stages: Vec<_> = catalogue.crops.values().flat_map(|crop| crop.stages.iter().map(move |s| (crop, s))).collect();
    garden.crew = crew;
    garden.beds = (0..beds)
        .map(|index| {
            let (crop, stage) = stages[index % stages.len()];
            let mut bed = bed(&format!("B{index}"), &crop.id, stage);
            bed.length = 2.0 + index as f64 / 250.0;
            bed
        })
        .collect();
    garden.covers = covers.to_vec();
    let of = night_of("2027-01-16");
    let now = utc("2027-01-16T18:00:00Z");
    let span = span_of(&garden, of);
    let hours = (0..60).map(|index| {
        let time = utc("2027-01-15T18:00:00Z") + Duration::hours(index);
        let since = (time - span.sunset).num_minutes() as f64 / 60.0;
        hour(time, 4.0 - 0.6 * since.clamp(0.0, 14.0), -8.0, 1.0, 0.0)
    });
    let forecast = forecast(hours.collect(), now);
    let start = Instant::now();
    let evidence = Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, learned: None, now };
    let night = expect(&evidence, &span).expect("a night");
    let risks = assess(&garden, night.of, Some(&night), &catalogue);
    let plan = decide(&garden, of, span.sunset, Ok(night), risks, Before::default(), now);
    let took = start.elapsed();
    assert_eq!(plan.beds.len(), beds);
    assert!(plan.count(Measure::Leave) > 0, "every bed in danger found what it needs");
    assert!(
        plan.gap.0 <= 1e-3 * plan.beds.iter().map(|bed| bed.risk.expected_loss(None).0).sum::<f64>(),
        "{:?}",
        plan.gap
    );
    if let Some(crew) = crew {
        assert!(plan.tonight().0 <= crew.person_minutes().0 + 1e-6, "{:?} of {crew:?}", plan.tonight());
    }
    println!("{beds} beds: {took:?}");
    assert!(took.as_secs_f64() < seconds, "{took:?}");
    plan.beds.iter().filter_map(|bed| bed.cover.as_ref()).map(|cover| cover.pieces).sum()
}
