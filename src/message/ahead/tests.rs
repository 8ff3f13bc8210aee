use super::*;
use crate::beds::sample::{bed, cloth, garden};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use crate::night::Knowledge;
use crate::plan::tests::{night, sunset};
use crate::plan::{Plan, decide, decide_ahead};
use crate::risk::assess;
use crate::units::Minutes;
use crate::zone::NightOf;
use chrono::Duration;

/// What a manager is told of watering, on Saturday 16 January so many hours before sunset at 17:00: frost in the nights of
/// Sunday and Monday.
fn watering(hours: i64) -> Option<String> {
    let crop = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
    let mut garden = garden(vec![bed("R1", &[("seedlings", "grown")])], vec![cloth(9)]);
    garden.worth_per_square_metre = Minutes(60.0);
    let now = sunset() - Duration::hours(hours);
    let plan = |number: i64| -> Plan<'_> {
        let mut night = night(if number == 0 { 24.0 } else { 10.0 }, Knowledge::Complete);
        let moved = Duration::days(number);
        night.hours.iter_mut().for_each(|hour| hour.time += moved);
        (night.of, night.sunset, night.sunrise) =
            (NightOf(night.of.0 + moved), night.sunset + moved, night.sunrise + moved);
        let (of, sunset) = (night.of, night.sunset);
        let risks = assess(&garden, of, Some(&night), &catalogue);
        match number {
            0 => decide(&garden, of, sunset, Ok(night), risks, crate::plan::Before::default(), now),
            _ => decide_ahead(&garden, of, sunset, Ok(night), risks, crate::plan::Before::default(), now),
        }
    };
    let spell = Spell::of(plan(0), vec![plan(1), plan(2)], &[]);
    assert_eq!(spell.ahead.iter().filter(|night| !night.beds.is_empty()).count(), 2);
    lines(&spell, Role::Manager).into_iter().find(|line| line.contains("water it"))
}

#[test]
fn watering_is_named_for_a_noon_to_come() {
    // 07:00, 13:00 and 20:00 of Saturday.
    for (hours, day) in [(10, "Saturday"), (4, "Sunday"), (-3, "Sunday")] {
        let line = watering(hours).unwrap_or_default();
        assert!(line.contains(&format!("by noon on {day}")), "{hours}: {line}");
    }
    // 13:00 of Sunday.
    assert_eq!(watering(-20), None);
}
