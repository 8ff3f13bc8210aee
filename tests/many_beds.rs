//! A large garden is no slower than a person who waits for its list.

#[path = "support/garden.rs"]
mod support;

use chrono::Duration;
use counterpane::night::cover::CoverKind;
use counterpane::night::screen::{Evidence, expect};
use counterpane::plan::{Measure, decide};
use counterpane::risk::assess;
use counterpane::service::look::span_of;
use std::time::Instant;
use support::{bed, cover, crops, empty_garden, forecast, hour, night_of, utc};

/// 500 beds, half of which find a cover, each of its own worth. The choice looks at every open bed again for each cover
/// that it gives away, so its time grows with the square. Two seconds are far more than it takes, also without
/// optimisation; were it to grow with the cube, they would not do.
#[test]
fn a_list_of_500_beds_with_scarce_covers_takes_less_than_two_seconds() {
    let catalogue = crops();
    let mut garden = empty_garden();
    let stages: Vec<_> = catalogue.crops.values().flat_map(|crop| crop.stages.iter().map(move |s| (crop, s))).collect();
    garden.beds = (0..500)
        .map(|index| {
            let (crop, stage) = stages[index % stages.len()];
            let mut bed = bed(&format!("B{index}"), &crop.id, stage);
            bed.length = 2.0 + index as f64 / 250.0;
            bed
        })
        .collect();
    garden.covers = vec![
        cover("cloth", CoverKind::MediumRowCover, 150, 5.0, 2.4),
        cover("heavy cloth", CoverKind::HeavyRowCover, 100, 5.0, 1.6),
    ];
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
    let evidence = Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, now };
    let night = expect(&evidence, &span).expect("a night");
    let risks = assess(&garden, night.of, Some(&night), &catalogue);
    let plan = decide(&garden, of, span.sunset, Ok(night), risks, None, now);
    let took = start.elapsed();
    assert_eq!(plan.beds.len(), 500);
    let used: u32 = plan.beds.iter().filter_map(|bed| bed.cover.as_ref()).map(|cover| cover.pieces).sum();
    assert!((200..=250).contains(&used), "{used} covers used: the garden is not short of them");
    assert!(plan.count(Measure::Leave) > 0, "every bed in danger found a cover");
    assert!(took.as_secs_f64() < 2.0, "{took:?}");
}
