use super::*;
use chrono::NaiveDate;

/// So many nights of each month from its first on; on those of January covers are needed, and on every second it matters.
fn record(months: &[(i32, u32, u32)], is_south: bool) -> Nights {
    let nights = months.iter().flat_map(|(year, month, nights)| {
        (1..=*nights).filter_map(|day| Some(NightOf(NaiveDate::from_ymd_opt(*year, *month, day)?)))
    });
    let outcome = |of: NightOf| {
        let protects = of.0.month() == 1;
        let mattered = protects && of.0.day().is_multiple_of(2);
        Outcome { protects, mattered, work: if protects { 10.0 } else { 0.0 }, lost: 1.0 }
    };
    Nights { outcomes: nights.map(|of| (of, [outcome(of); 3])).collect(), is_south }
}

fn told(nights: &Nights) -> String {
    nights.report("The plot", Caution::Even).split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_part_of_a_season_is_no_winter() {
    // 45 nights of two Januaries.
    let text = told(&record(&[(2025, 1, 31), (2026, 1, 14)], false));
    assert!(
        text.contains("covers needed on 45 of the 45 nights of this record, of which 22 would have mattered"),
        "{text}"
    );
    assert!(text.contains("450 minutes of work") && !text.contains("a winter ["), "{text}");
    let counted = "From 45 nights: October 0, November 0, December 0, January 45, February 0, March 0, April 0.";
    assert!(text.contains(counted) && text.contains("want 15 nights of each of these months"), "{text}");
    // One month too short is a part too.
    let short =
        [(2025, 10, 31), (2025, 11, 30), (2025, 12, 31), (2026, 1, 31), (2026, 2, 14), (2026, 3, 31), (2026, 4, 30)];
    assert!(
        told(&record(&short, false)).contains("31 of the 198 nights of this record"),
        "{}",
        told(&record(&short, false))
    );
}

/// A month counts by its length, not by its nights in the record: five Januaries make no winter colder.
#[test]
fn a_record_with_enough_of_every_month_tells_of_a_winter_whose_months_have_their_own_lengths() {
    let whole =
        [(2025, 10, 15), (2025, 11, 15), (2025, 12, 15), (2026, 1, 31), (2026, 2, 15), (2026, 3, 15), (2026, 4, 15)];
    let (nights, _) = record(&whole, false)
        .in_a_winter(Caution::Even, |night| f64::from(u8::from(night.protects)))
        .expect("a winter");
    assert!((nights - 31.0).abs() < 1e-9, "{nights}");
    let more: Vec<(i32, u32, u32)> = whole.into_iter().chain((2020..2025).map(|year| (year, 1, 31))).collect();
    let (same, (low, high)) =
        record(&more, false).in_a_winter(Caution::Even, |night| f64::from(u8::from(night.protects))).expect("a winter");
    assert!((same - nights).abs() < 1e-9 && low <= same && same <= high, "{same} [{low}, {high}]");
    let (days, _) = record(&whole, false).in_a_winter(Caution::Even, |_| 1.0).expect("a winter");
    assert!((days - 212.25).abs() < 1e-9);
    assert!(told(&record(&whole, false)).contains("on about 31 nights a winter ["));
    // South of the equator the season is another one.
    assert_eq!(record(&whole, true).in_a_winter(Caution::Even, |_| 1.0), None);
    let south: Vec<(i32, u32, u32)> = (4..=10).map(|month| (2026, month, 15)).collect();
    assert!(record(&south, true).in_a_winter(Caution::Even, |_| 1.0).is_some());
}

/// A cover takes 7 minutes of work and 2 of walking.
#[test]
fn a_night_mattered_only_where_more_was_kept_than_work_and_walking_took() {
    use crate::beds::sample::{bed, cloth, garden};
    use crate::crops::sample::crop;
    use crate::crops::{HarvestHabit, Life, Organ};
    use crate::night::cover::Layers;
    use crate::plan::{BedPlan, CoverUse, Reason};
    use crate::units::{Minutes, Probability};
    let seedlings = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(seedlings.id.clone(), seedlings)].into(), ..Catalogue::default() };
    let mut garden = garden(vec![bed("R1", &[("seedlings", "grown")])], vec![cloth(1)]);
    let night = crate::plan::tests::night(9.0, Knowledge::Complete);
    let of = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    let mut mattered = |kept: f64| {
        garden.beds[0].plantings[0].worth = Some(Minutes(1.0));
        let cover = garden.covers[0].cover(Layers::One);
        let part = |garden: &Garden| {
            let risk = assess(garden, of, Some(&night), &catalogue).remove(0);
            risk.expected_loss(None).0 - risk.expected_loss(Some(cover)).0
        };
        let worth = kept / part(&garden);
        garden.beds[0].plantings[0].worth = Some(Minutes(worth));
        let risk = || assess(&garden, of, Some(&night), &catalogue).remove(0);
        let (name, layers) = (garden.covers[0].name.clone(), Layers::One);
        let bed = BedPlan {
            risk: risk(),
            measure: Measure::Cover,
            cover: Some(CoverUse { name, stock: 0, pieces: 1, layers, together_with: None }),
            picks: Vec::new(),
            reason: Reason::CoverSaves { covered: Probability(0.1) },
            rest: None,
            do_by: None,
            work: Minutes(7.0),
            tonight: Minutes(4.0),
            is_out: false,
            loss: Minutes(0.0),
            turning: None,
        };
        let plan = Plan {
            garden: &garden,
            of,
            made_at: night.sunset,
            deadline: night.sunset,
            night: Ok(night.clone()),
            beds: vec![bed],
            trips: Minutes(2.0),
            minutes: None,
            gap: Minutes(0.0),
            elsewhere: Vec::new(),
        };
        let outcome = outcome_of(&plan, &[risk()]);
        assert!(outcome.protects);
        outcome.mattered
    };
    assert!(!mattered(8.0), "more than the cover, less than the way to it");
    assert!(mattered(10.0));
}
