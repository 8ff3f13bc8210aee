//! Against trying everything, against the old way of dealing covers out, and against its own bound.

use super::*;
use proptest::collection::vec;
use proptest::prelude::*;

/// Every choice, one after the other.
fn by_trying_everything(question: &Question) -> f64 {
    let mut chosen = vec![0; question.beds.len()];
    let mut least = f64::INFINITY;
    loop {
        if fits(question, &chosen) {
            least = least.min(question.cost(&chosen));
        }
        let Some(bed) = (0..chosen.len()).find(|bed| chosen[*bed] + 1 < question.beds[*bed].len()) else {
            return least;
        };
        chosen[bed] += 1;
        chosen[..bed].fill(0);
    }
}

fn fits(question: &Question, chosen: &[usize]) -> bool {
    let trips: Vec<&Trip> = question.trips(question.kinds(chosen)).collect();
    question.limits.iter().enumerate().all(|(means, limit)| {
        let beds: f64 = question.offers(chosen).map(|offer| offer.uses[means]).sum();
        beds + trips.iter().map(|trip| trip.uses[means]).sum::<f64>() <= limit + 1e-6
    })
}

/// The bed that gains most is served first, with what is left: how covers used to be dealt out.
fn greedily(question: &Question) -> f64 {
    let mut chosen = vec![0; question.beds.len()];
    loop {
        let mut best: Option<(f64, Vec<usize>)> = None;
        for bed in (0..chosen.len()).filter(|bed| chosen[*bed] == 0) {
            for at in 1..question.beds[bed].len() {
                let mut next = chosen.clone();
                next[bed] = at;
                let gain = question.beds[bed][0].cost - question.beds[bed][at].cost;
                if gain > 0.0 && fits(question, &next) && best.as_ref().is_none_or(|(most, _)| gain > *most) {
                    best = Some((gain, next));
                }
            }
        }
        let Some((_, next)) = best else { return question.cost(&chosen) };
        chosen = next;
    }
}

/// Beds with some covers, a harvest and both, on stocks of a few pieces and some minutes.
fn question(beds: std::ops::Range<usize>, stocks: usize, pieces: u32, minutes: f64) -> impl Strategy<Value = Question> {
    let offer = (0.0f64..1.0, 1u32..4, 2.0f64..20.0, 0usize..stocks, 0u8..4);
    let bed = (10.0f64..150.0, vec(offer, 0..5));
    (vec(bed, beds), vec(0..=pieces, stocks), 0.0..minutes).prop_map(move |(beds, counts, minutes)| {
        let beds = beds.into_iter().map(|(loss, offers)| {
            let nothing = Offer { cost: loss, uses: vec![0.0; stocks + 1], kinds: 0 };
            let offers = offers.into_iter().map(|(left, pieces, work, stock, kind)| {
                let mut uses = vec![0.0; stocks + 1];
                // Kinds: a harvest, a cover, both, pots.
                let kinds = [0b001, 0b010, 0b011, 0b100][usize::from(kind)];
                if kinds & 0b010 != 0 {
                    uses[stock] = f64::from(pieces);
                }
                uses[stocks] = work;
                Offer { cost: loss * left + work + 3.0, uses, kinds }
            });
            std::iter::once(nothing).chain(offers).collect()
        });
        let trip = |minutes: f64| {
            let mut uses = vec![0.0; stocks + 1];
            uses[stocks] = minutes;
            Trip { cost: minutes, uses }
        };
        let mut limits: Vec<f64> = counts.into_iter().map(f64::from).collect();
        limits.push(minutes);
        Question { beds: beds.collect(), limits, trips: vec![trip(3.0), trip(5.0), trip(4.0)] }
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_choice_of_a_small_garden_is_cheaper(question in question(0..6, 3, 5, 120.0)) {
        let answer = solve(&question);
        prop_assert!(fits(&question, &answer.chosen), "more is used than there is: {:?}", answer);
        let least = by_trying_everything(&question);
        prop_assert!((answer.cost - least).abs() < 1e-6, "{} and by trying everything {}", answer.cost, least);
        prop_assert!(answer.bound <= least + 1e-6 && answer.bound >= least - 1e-6, "bound {} of {}", answer.bound, least);
        prop_assert!((question.cost(&answer.chosen) - answer.cost).abs() < 1e-9);
    }

    #[test]
    fn more_covers_or_more_minutes_never_cost_more(question in question(1..6, 2, 4, 80.0), means in 0usize..3, more in 1u32..5) {
        let mut richer = question.clone();
        richer.limits[means] += f64::from(more);
        prop_assert!(solve(&richer).cost <= solve(&question).cost + 1e-6);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_large_garden_comes_within_a_thousandth_of_its_bound(question in question(60..120, 6, 15, 900.0)) {
        let answer = solve(&question);
        prop_assert!(fits(&question, &answer.chosen));
        prop_assert!(answer.bound <= answer.cost + 1e-9);
        prop_assert!(answer.cost - answer.bound <= 0.001 * answer.cost, "{} and bound {}", answer.cost, answer.bound);
        prop_assert!(answer.cost <= greedily(&question) + 1e-6);
        prop_assert_eq!(solve(&question), answer);
    }
}

/// Its time is taken in `tests/many_beds.rs`.
#[test]
fn two_hundred_beds_and_six_kinds_of_covers_are_proven() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    for _ in 0..5 {
        let tree = question(200..201, 6, 20, 900.0).new_tree(&mut runner).expect("a question");
        let answer = solve(&tree.current());
        assert!(answer.cost - answer.bound <= 0.001 * answer.cost, "{} and bound {}", answer.cost, answer.bound);
    }
}

#[test]
fn of_equal_beds_the_first_is_served() {
    let offers = || {
        let nothing = Offer { cost: 30.0, uses: vec![0.0], kinds: 0 };
        vec![nothing, Offer { cost: 10.0, uses: vec![1.0], kinds: 0 }]
    };
    let question = Question { beds: vec![offers(), offers(), offers()], limits: vec![2.0], trips: Vec::new() };
    assert_eq!(solve(&question).chosen, [1, 1, 0]);
}

#[test]
fn without_beds_or_means_there_is_nothing_to_choose() {
    let none = Question { beds: Vec::new(), limits: Vec::new(), trips: Vec::new() };
    assert_eq!(solve(&none), Answer { chosen: Vec::new(), cost: 0.0, bound: 0.0 });
    let nothing = Offer { cost: 30.0, uses: vec![0.0], kinds: 0 };
    let offers = vec![nothing, Offer { cost: 10.0, uses: vec![1.0], kinds: 1 }];
    let trip = Trip { cost: 5.0, uses: vec![5.0] };
    let broke = Question { beds: vec![offers.clone()], limits: vec![0.0], trips: vec![trip.clone()] };
    assert_eq!(solve(&broke).chosen, [0]);
    // Six minutes: five for the way, one for the work. The way must pay too.
    let enough = Question { limits: vec![6.0], ..broke.clone() };
    assert_eq!(solve(&enough), Answer { chosen: vec![1], cost: 15.0, bound: 15.0 });
    let far = Question { limits: vec![60.0], trips: vec![Trip { cost: 25.0, ..trip }], ..broke };
    assert_eq!(solve(&far).chosen, [0]);
}
