use super::*;
use crate::beds::Crew;
use crate::beds::sample::{bed, cloth, garden};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use crate::night::cover::Layers;
use crate::plan::CoverUse;
use crate::risk::assess;
use crate::units::{Celsius, Probability};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, NaiveDate, Utc};
use proptest::prelude::*;

/// By day.
fn arrange(tasks: Vec<Task>, party: Option<Party>) -> WorkOrder {
    super::arrange(tasks, Light::Day, party)
}

fn task(bed: usize, phase: Phase, place: usize, minutes: f64, averted: f64) -> Task {
    Task {
        bed,
        with: None,
        phase,
        place,
        minutes: Minutes(minutes),
        do_by: None,
        hands: 1,
        is_first: false,
        averted: Minutes(averted),
    }
}

fn people(people: u32, minutes: f64) -> Option<Party> {
    Some(Party { people, minutes: Minutes(minutes) })
}

fn left(order: &WorkOrder) -> Vec<usize> {
    order.leave_first.iter().map(|task| task.bed).collect()
}

fn beds(turns: &[Turn]) -> Vec<usize> {
    turns.iter().map(|turn| turn.task.bed).collect()
}

#[test]
fn the_place_where_a_minute_saves_most_comes_first_and_its_beds_along_the_walk() {
    let tasks = vec![
        task(0, Phase::Cover, 0, 10.0, 10.0),
        task(1, Phase::Cover, 1, 10.0, 20.0),
        task(2, Phase::Cover, 1, 10.0, 90.0),
        task(3, Phase::Cut, 2, 10.0, 1.0),
    ];
    let order = arrange(tasks, None);
    assert_eq!(beds(&order.turns), [3, 1, 2, 0]);
    use TurnReason::{OnTheWay, SavesLess, SavesMost};
    let reasons: Vec<TurnReason> = order.turns.iter().map(|turn| turn.reason).collect();
    assert_eq!(reasons, [SavesMost, SavesMost, OnTheWay, SavesLess]);
    // 20 of 40 minutes: what saves 0.1 and 1 for a minute.
    assert_eq!(left(&order), [3, 0]);
}

/// Pots, then covers, then the knife; all else as by day.
#[test]
fn in_the_dark_pots_come_first_and_picking_last() {
    let tasks = vec![
        task(0, Phase::Cut, 0, 5.0, 90.0),
        task(1, Phase::Cover, 0, 5.0, 5.0),
        task(2, Phase::BringIn, 1, 5.0, 1.0),
        task(3, Phase::Cover, 1, 5.0, 50.0),
    ];
    for party in [None, people(2, 30.0)] {
        assert_eq!(beds(&super::arrange(tasks.clone(), Light::Dark, party).turns), [2, 3, 1, 0]);
        assert_eq!(beds(&arrange(tasks.clone(), party).turns), [0, 2, 3, 1]);
    }
    // What saves least is left first by whatever light.
    let short = super::arrange(tasks, Light::Dark, people(1, 15.0));
    assert_eq!(short.does_not_fit.iter().map(|task| task.bed).collect::<Vec<_>>(), [2]);
}

/// In the dark each bed has its own hour.
#[test]
fn where_something_is_due_first_comes_first_however_little_it_saves() {
    let at_hour = |bed, place, averted, hour| {
        let task = task(bed, Phase::Cover, place, 10.0, averted);
        Task { do_by: Some(at(hour)), ..task }
    };
    let order = arrange(vec![at_hour(0, 0, 90.0, 28), at_hour(1, 1, 90.0, 29), at_hour(2, 1, 5.0, 27)], None);
    assert_eq!(beds(&order.turns), [1, 2, 0]);
    assert_eq!(order.turns[2].reason, TurnReason::DueLater);
}

/// Two people of 20 minutes: 30 fit beside 10, a second 30 does not, a bed of 50 is for nobody; 5 still find a place.
#[test]
fn what_does_not_fit_is_named_and_a_short_task_takes_what_is_left() {
    let tasks = vec![
        task(0, Phase::Cover, 0, 30.0, 300.0),
        task(1, Phase::Cover, 0, 30.0, 90.0),
        task(2, Phase::Cover, 0, 50.0, 5000.0),
        task(3, Phase::Cover, 0, 5.0, 5.0),
    ];
    let order = arrange(tasks, people(2, 20.0));
    assert_eq!(beds(&order.turns), [0, 3]);
    assert_eq!(order.does_not_fit.iter().map(|task| task.bed).collect::<Vec<_>>(), [2, 1]);
    assert_eq!((&order.turns[0].who[..], order.turns[0].each), (&[1, 2][..], Minutes(15.0)));
    assert_eq!((&order.turns[1].who[..], order.turns[1].starts_after), (&[1][..], Some(Minutes(15.0))));
}

#[test]
fn a_person_stays_in_a_part_of_the_garden_rather_than_crossing_another() {
    let at = |bed, place, minutes| task(bed, Phase::Cover, place, minutes, 10.0);
    let order = arrange(vec![at(0, 0, 5.0), at(1, 1, 6.0), at(2, 1, 5.0)], people(2, 30.0));
    let who: Vec<(usize, u32)> = order.turns.iter().map(|turn| (turn.task.bed, turn.who[0])).collect();
    // Person 1 is free a minute earlier; person 2 is beside bed 2.
    assert_eq!(who, [(0, 1), (1, 2), (2, 2)]);
}

#[test]
fn without_people_nothing_fits_and_one_alone_carries_what_two_should() {
    let mut heavy = task(0, Phase::BringIn, 0, 8.0, 100.0);
    heavy.hands = 2;
    let nobody = arrange(vec![heavy.clone()], people(0, 30.0));
    assert_eq!((nobody.turns.len(), nobody.does_not_fit.len()), (0, 1));
    let one = arrange(vec![heavy.clone()], people(1, 30.0));
    assert_eq!((&one.turns[0].who[..], one.turns[0].each), (&[1][..], Minutes(8.0)));
    let two = arrange(vec![heavy], people(2, 30.0));
    assert_eq!((&two.turns[0].who[..], two.turns[0].each), (&[1, 2][..], Minutes(4.0)));
    assert_eq!(arrange(Vec::new(), people(2, 0.0)).turns, []);
}

#[test]
fn roots_that_do_not_last_in_the_soil_are_left_last_and_are_the_first_for_whom_time_is_found() {
    let roots = Task { is_first: true, ..task(0, Phase::Cut, 0, 20.0, 1.0) };
    let others = [task(1, Phase::Cover, 0, 10.0, 500.0), task(2, Phase::Cover, 0, 10.0, 400.0)];
    let all = [&[roots][..], &others].concat();
    assert_eq!(left(&arrange(all.clone(), None)), [2, 1]);
    // Twenty minutes of one person: the roots; of ten, nobody has time for them, and they are named first.
    assert_eq!(beds(&arrange(all.clone(), people(1, 20.0)).turns), [0]);
    let without: Vec<usize> = arrange(all, people(1, 10.0)).does_not_fit.iter().map(|task| task.bed).collect();
    assert_eq!(without, [0, 2]);
}

#[test]
fn only_soil_that_is_too_cold_makes_a_task_the_first() {
    let too_cold = Reason::SoilTooCold { soil: Celsius(9.0), begins: Celsius(10.0) };
    for (reason, is_first) in [(too_cold, true), (Reason::PickBeforeFrost, false)] {
        with_measures(None, at(18), |plan| {
            (plan.beds[0].measure, plan.beds[0].reason) = (Measure::Harvest, reason);
            assert_eq!(work_order(plan).turns[0].task.is_first, is_first);
        });
    }
}

fn tasks() -> impl Strategy<Value = Vec<Task>> {
    let one = (0..3usize, 0..3usize, 1.0..40.0f64, 0.0..200.0f64, 1..3u32);
    prop::collection::vec(one, 0..25).prop_map(|tasks| {
        let task = |(bed, (phase, place, minutes, averted, hands))| Task {
            hands,
            ..task(bed, [Phase::Cut, Phase::BringIn, Phase::Cover][phase], place, minutes, averted)
        };
        (0..).zip(tasks).map(task).collect()
    })
}

fn crew() -> impl Strategy<Value = Option<Party>> {
    prop::option::of((0..8u32, 0.0..90.0f64)).prop_map(|crew| crew.and_then(|(count, each)| people(count, each)))
}

proptest! {
    #[test]
    fn every_task_has_one_turn_or_is_named_as_not_fitting(tasks in tasks(), crew in crew()) {
        let order = arrange(tasks.clone(), crew);
        let mut found = beds(&order.turns);
        found.extend(order.does_not_fit.iter().map(|task| task.bed));
        found.sort_unstable();
        prop_assert_eq!(found, (0..tasks.len()).collect::<Vec<_>>());
        prop_assert!(crew.is_some() || order.does_not_fit.is_empty());
        prop_assert!(left(&order).iter().all(|bed| beds(&order.turns).contains(bed)));
        prop_assert!(order.turns.is_empty() || crew.is_some_and(|crew| crew.people > 1) || order.leave_first.len() < order.turns.len());
    }

    #[test]
    fn cutting_comes_before_carrying_and_carrying_before_covers(tasks in tasks(), crew in crew()) {
        let phases: Vec<Phase> = arrange(tasks, crew).turns.iter().map(|turn| turn.task.phase).collect();
        prop_assert!(phases.is_sorted(), "{:?}", phases);
    }

    #[test]
    fn nobody_works_longer_than_they_have_or_at_two_beds_at_once(tasks in tasks(), crew in crew()) {
        let order = arrange(tasks, crew);
        let Some(crew) = crew else { return Ok(()) };
        let mut free = vec![0.0; crew.people as usize];
        for turn in &order.turns {
            let start = turn.starts_after.expect("a start").0;
            prop_assert!((turn.each.0 * turn.who.len() as f64 - turn.task.minutes.0).abs() < 1e-6);
            prop_assert!(turn.who.len() as u32 >= turn.task.hands.min(crew.people));
            for person in &turn.who {
                let free = &mut free[*person as usize - 1];
                prop_assert!(start >= *free - 1e-9 && start + turn.each.0 <= crew.minutes.0 + 1e-6);
                *free = start + turn.each.0;
            }
        }
    }

    /// Each task by itself would fit half of the people, so nothing is left for its size.
    #[test]
    fn half_of_the_people_leave_what_saves_least_for_a_minute(tasks in tasks(), half in 1..4u32, odd in 0..2u32, each in 40.0..90.0f64) {
        let count = 2 * half + odd;
        let order = arrange(tasks, people(count, each));
        let saved = |bed: &usize| {
            order.turns.iter().find(|turn| turn.task.bed == *bed).map_or(f64::NAN, |turn| turn.task.averted_per_minute())
        };
        let kept: Vec<usize> = beds(&order.turns).into_iter().filter(|bed| !left(&order).contains(bed)).collect();
        let most_left = left(&order).iter().map(saved).fold(0.0, f64::max);
        prop_assert!(kept.iter().all(|bed| saved(bed) >= most_left));
        prop_assert!(left(&order).iter().map(saved).collect::<Vec<_>>().is_sorted());
        if order.leave_first.is_empty() {
            let minutes: f64 = order.turns.iter().map(|turn| turn.task.minutes.0).sum();
            prop_assert!(minutes <= f64::from(half) * each + 1e-6);
        }
    }

    #[test]
    fn the_same_tasks_give_the_same_order_in_whatever_order_they_come(tasks in tasks(), crew in crew()) {
        let backwards: Vec<Task> = tasks.iter().rev().cloned().collect();
        prop_assert_eq!(arrange(tasks, crew), arrange(backwards, crew));
    }
}

fn at(hour: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + Duration::days(20_834) + Duration::hours(hour)
}

/// Beds R1, R2 and G1, of which R2 is left; sunset at 22:00, the deadline half an hour before.
fn with_plan<T>(crew: Option<Crew>, now: DateTime<Utc>, look: impl FnOnce(&Plan<'_>) -> T) -> T {
    let laid = CoverUse { name: "white cloth".into(), stock: 0, pieces: 1, layers: Layers::One, together_with: None };
    with_measures(crew, now, |plan| {
        for (bed, measure) in plan.beds.iter_mut().zip([Measure::Cover, Measure::Leave, Measure::Harvest]) {
            (bed.measure, bed.reason) = (measure, Reason::CoverSaves { covered: Probability(0.1) });
            bed.cover = (measure == Measure::Cover).then(|| laid.clone());
            bed.work = Minutes(7.0);
            bed.tonight = Minutes(if measure == Measure::Cover { 4.0 } else { 7.0 });
        }
        look(plan)
    })
}

/// The same beds, before anything is said of them.
fn with_measures<T>(crew: Option<Crew>, now: DateTime<Utc>, look: impl FnOnce(&mut Plan<'_>) -> T) -> T {
    let crop = crop("kale", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
    let rows = ["R1", "R2", "G1"].map(|id| bed(id, &[("kale", "grown")]));
    let mut garden = garden(rows.into(), vec![cloth(2)]);
    garden.crew = crew;
    let of = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    let mut plan = crate::plan::decide(
        &garden,
        of,
        at(22),
        Err(crate::night::NoNight::NoForecast),
        assess(&garden, of, None, &catalogue),
        crate::plan::Before::default(),
        now,
    );
    look(&mut plan)
}

/// One piece over R1 and R2: R1 has it, and the work.
fn over_a_pair(plan: &mut Plan<'_>) {
    for (bed, (pieces, other)) in plan.beds.iter_mut().zip([(1, "R2"), (0, "R1")]) {
        (bed.measure, bed.tonight) = (Measure::Cover, Minutes(if pieces == 1 { 10.0 } else { 0.0 }));
        let together_with = Some(other.into());
        bed.cover = Some(CoverUse { name: "big fleece".into(), stock: 0, pieces, layers: Layers::One, together_with });
    }
}

#[test]
fn one_piece_over_two_beds_is_one_task_that_nothing_splits() {
    let crew = Some(Crew { people: 2, minutes: Minutes(7.0) });
    with_measures(crew, at(18), |plan| {
        over_a_pair(plan);
        let order = work_order(plan);
        let [turn] = &order.turns[..] else { panic!("{order:?}") };
        assert_eq!((turn.task.bed, turn.task.with, turn.task.minutes), (0, Some(1), Minutes(10.0)));
        assert_eq!(turn.who, [1, 2]);
        assert_eq!(order.beds().collect::<Vec<_>>(), [0, 1]);
    });
    // Too long for one person alone: both beds are left, not the one that has the work.
    let crew = Some(Crew { people: 1, minutes: Minutes(7.0) });
    with_measures(crew, at(18), |plan| {
        over_a_pair(plan);
        let order = work_order(plan);
        assert!(order.turns.is_empty());
        assert_eq!(order.beds().collect::<Vec<_>>(), [0, 1]);
    });
}

#[test]
fn every_bed_with_work_is_a_task_and_tomorrow_is_not_tonight() {
    with_plan(None, at(18), |plan| {
        let order = work_order(plan);
        let found: Vec<(usize, Phase, usize, f64)> = order
            .turns
            .iter()
            .map(|turn| (turn.task.bed, turn.task.phase, turn.task.place, turn.task.minutes.0))
            .collect();
        assert_eq!(found, [(2, Phase::Cut, 1, 7.0), (0, Phase::Cover, 0, 4.0)]);
    });
}

#[test]
fn the_time_before_the_deadline_bounds_the_work_until_it_is_too_short_for_any() {
    let crew = Some(Crew { people: 2, minutes: Minutes(45.0) });
    for (now, minutes) in [
        (at(18), 45.0),
        // Half an hour before the deadline, in its last minutes, at the deadline, and in the dark.
        (at(21), 30.0),
        (at(21) + Duration::minutes(19), 11.0),
        (at(21) + Duration::minutes(20), 45.0),
        (at(21) + Duration::minutes(28), 45.0),
        (at(21) + Duration::minutes(30), 45.0),
        (at(21) + Duration::minutes(58), 45.0),
        (at(23), 45.0),
    ] {
        let party = with_plan(crew, now, party).expect("a party");
        assert_eq!((party.people, party.minutes), (2, Minutes(minutes)), "{now}");
    }
    assert_eq!(with_plan(None, at(18), party), None);
}
