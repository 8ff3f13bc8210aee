//! Each test is a small garden whose chances of damage are given, so that the choice is judged and not the night.
//!
//! A bed is worth 57.6 minutes where nothing else is said; to cover it takes 7, to cut its leaves 8.64, to cut its 32
//! heads 16; half of the picking would be done anyhow. Fetching takes 2 minutes for covers and 1 for knives, once for all beds.

use super::*;
use crate::beds::sample::{bed, cloth, garden};
use crate::beds::{Bed, BedKind, CoverStock, Crew};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use crate::night::Estimate;
use crate::night::cover::CoverKind;
use crate::night::cover::Layers;
use crate::night::day::Day;
use crate::plan::CoverUse;
use crate::plan::said::{Said, SaidBed};
use crate::risk::{OrganRisk, Outcome, assess};
use crate::units::{Celsius, Kelvins, MetresPerSecond};
use crate::zone::NightOf;

/// Chances of damage to the organs of a bed, planting by planting: open, and under every cover.
type Chances<'c> = &'c [(f64, f64)];

/// Share of the worth and what to pick of each organ, as the catalogue has them.
type Organs = &'static [(Organ, f64, Option<&'static str>)];

const CUT_HEADS: &str = "Cut the heads.";
const CUT_LEAVES: &str = "Cut the leaves.";
const CROPS: [(&str, HarvestHabit, Life, Organs); 6] = [
    ("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]),
    (
        "broccoli",
        HarvestHabit::CentralThenSideShoots,
        Life::Biennial,
        &[(Organ::Leaf, 0.3, None), (Organ::Head, 0.7, Some(CUT_HEADS))],
    ),
    ("lettuce", HarvestHabit::CutAndComeAgain, Life::Annual, &[(Organ::Leaf, 1.0, Some(CUT_LEAVES))]),
    ("chard", HarvestHabit::CutAndComeAgain, Life::Annual, &[(Organ::Leaf, 1.0, Some(CUT_LEAVES))]),
    (
        "carrot",
        HarvestHabit::RootAsWanted,
        Life::Biennial,
        &[(Organ::Leaf, 0.1, None), (Organ::Root, 0.9, Some("Lift the roots."))],
    ),
    ("rosemary", HarvestHabit::Snip, Life::Perennial, &[(Organ::Leaf, 1.0, Some("Cut some sprigs."))]),
];

fn catalogue() -> Catalogue {
    let crops = CROPS.map(|(name, habit, life, organs)| (name.to_string(), crop(name, habit, life, organs)));
    Catalogue { crops: crops.into(), ..Catalogue::default() }
}

/// One bed of each crop given, with its chances; "lettuce, chard" shares a bed.
fn beds(crops: &[&str]) -> Vec<Bed> {
    let bed = |(index, crops): (usize, &&str)| {
        let crops: Vec<(&str, &str)> = crops.split(", ").map(|crop| (crop, "grown")).collect();
        bed(&format!("R{}", index + 1), &crops)
    };
    crops.iter().enumerate().map(bed).collect()
}

fn risks<'a>(garden: &'a Garden, catalogue: &'a Catalogue, chances: &[Chances]) -> Vec<BedRisk<'a>> {
    let of = NightOf(chrono::NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    let mut risks = assess(garden, of, None, catalogue);
    for (risk, chances) in risks.iter_mut().zip(chances) {
        let mut chances = chances.iter();
        for planting in &mut risk.plantings {
            let organs = planting.parts.iter().map(|(tolerance, applied)| {
                let (open, covered) = *chances.next().expect("a chance for every organ");
                let outcome = |chance| Outcome {
                    minimum: Estimate { mean: Celsius(-3.0), spread: Kelvins(1.0) },
                    margin: Kelvins(0.0),
                    chance: Probability(chance),
                    hours_below: 0.0,
                    hours_before: 0.0,
                    relief: Kelvins(0.0),
                };
                let covers = garden.covers.iter().map(|stock| stock.cover(Layers::One));
                OrganRisk {
                    tolerance,
                    applied: applied.clone(),
                    damage_begins: tolerance.damage_begins,
                    severe: tolerance.severe,
                    roofed: Some(outcome(0.05 * open)),
                    open: outcome(open),
                    covered: covers.map(|cover| (cover, outcome(covered))).collect(),
                }
            });
            planting.organs = organs.collect();
        }
    }
    risks
}

/// As long as people and time are no matter.
const NOTHING_BEFORE: Before<'static> =
    Before { said: None, out: None, day: None, elsewhere: &[], laid: &[], taken: &[] };
const UNBOUNDED: Bounds<'static> =
    Bounds { minutes: None, left: None, before: NOTHING_BEFORE, underway: 0, is_laid: false };

/// The measures where people and time are no matter.
fn chosen<'a>(garden: &Garden, wind: f64, risks: Vec<BedRisk<'a>>) -> Vec<BedPlan<'a>> {
    let chosen = choose(garden, MetresPerSecond(wind), risks, &UNBOUNDED);
    assert!(chosen.gap.0 < 1e-6, "not proven: {:?}", chosen.gap);
    chosen.beds
}

/// For each bed its measure, the reason's word, the pieces of its cover and the work.
#[track_caller]
fn check(
    beds: Vec<Bed>,
    covers: Vec<CoverStock>,
    wind: f64,
    chances: &[Chances],
    expected: &[(Measure, &str, u32, f64)],
) {
    let (garden, catalogue) = (garden(beds, covers), catalogue());
    let plans = chosen(&garden, wind, risks(&garden, &catalogue, chances));
    let found = plans.iter().map(|plan| {
        let pieces = plan.cover.as_ref().map_or(0, |cover| cover.pieces);
        (plan.measure, plan.reason.word(), pieces, (plan.work.0 * 100.0).round() / 100.0)
    });
    assert_eq!(found.collect::<Vec<_>>(), expected);
    assert_eq!(plans.len(), garden.beds.len());
    let used: u32 = plans.iter().filter_map(|plan| plan.cover.as_ref()).map(|cover| cover.pieces).sum();
    assert!(used <= garden.covers.iter().map(|stock| stock.count).sum(), "more covers used than there are");
    for plan in &plans {
        assert_eq!(plan.picks.is_empty(), plan.measure != Measure::Harvest, "{}", plan.risk.bed.id);
    }
}

use Measure::{BringIn, Cover, Fine, Harvest, Leave};

#[test]
fn a_cover_that_saves_more_than_its_work_is_laid() {
    check(beds(&["seedlings"]), vec![cloth(1)], 1.0, &[&[(0.6, 0.1)]], &[(Cover, "cover-saves", 1, 7.0)]);
}

/// 57.6 minutes at 15 %: 8.6 of loss, less 1.2 under the cover, for 7 of work and 2 of fetching. At 6 % all of it counts
/// 6.9 to whoever counts it twice.
#[test]
fn a_garden_s_caution_moves_the_chance_it_asks_from_and_what_a_loss_counts() {
    let said = |caution: Caution, open: f64, covered: f64| {
        let (garden, catalogue) = (garden(beds(&["seedlings"]), vec![cloth(1)]), catalogue());
        let garden = Garden { caution, ..garden };
        let plans = chosen(&garden, 1.0, risks(&garden, &catalogue, &[&[(open, covered)]]));
        (plans[0].measure, plans[0].reason.clone())
    };
    let small = Reason::SmallChance { chance: Probability(0.15), asks_from: Probability(0.2) };
    assert_eq!(said(Caution::Sparing, 0.15, 0.02), (Fine, small));
    assert!(matches!(said(Caution::Even, 0.15, 0.02), (Leave, Reason::WorthLessThanWork { .. })));
    assert!(matches!(said(Caution::Careful, 0.15, 0.02), (Cover, _)));
    assert!(matches!(said(Caution::Careful, 0.06, 0.0), (Leave, Reason::WorthLessThanWork { .. })));
    assert_eq!(said(Caution::Even, 0.08, 0.0), (Fine, Reason::WithinMargin));
    assert_eq!(said(Caution::Careful, 0.04, 0.0), (Fine, Reason::WithinMargin));
    // 17.3 saved counts 8.6 where people are spared, and less than the 9 of work.
    assert!(
        matches!(said(Caution::Sparing, 0.5, 0.2), (Leave, Reason::WorthLessThanWork { saved, work }) if saved > work)
    );
    assert!(matches!(said(Caution::Even, 0.5, 0.2), (Cover, _)));
}

#[test]
fn the_reason_for_a_cover_states_what_is_left_of_the_chance() {
    let (garden, catalogue) = (garden(beds(&["broccoli"]), vec![cloth(1)]), catalogue());
    let plans = chosen(&garden, 1.0, risks(&garden, &catalogue, &[&[(0.5, 0.05), (0.6, 0.1)]]));
    assert_eq!(plans[0].reason, Reason::CoverSaves { covered: Probability(0.1) });
    assert_eq!(
        plans[0].cover,
        Some(CoverUse { name: "white cloth".into(), stock: 0, pieces: 1, layers: Layers::One, together_with: None })
    );
}

#[test]
fn ripe_heads_are_cut_where_a_cover_is_not_sure_to_save_them() {
    let chances: &[Chances] = &[&[(0.3, 0.1), (0.9, 0.6)]];
    check(beds(&["broccoli"]), vec![cloth(1)], 1.0, chances, &[(Harvest, "pick-before-frost", 0, 16.0)]);
    check(beds(&["broccoli"]), Vec::new(), 1.0, chances, &[(Harvest, "pick-before-frost", 0, 16.0)]);
}

#[test]
fn leaves_are_cut_and_their_crowns_covered_where_both_pay() {
    let mut beds = beds(&["lettuce"]);
    beds[0].plantings[0].worth = Some(Minutes(200.0));
    check(beds, vec![cloth(1)], 1.0, &[&[(1.0, 0.6)]], &[(Harvest, "pick-before-frost", 1, 15.64)]);
}

#[test]
fn leaves_that_a_cover_saves_are_not_cut() {
    check(beds(&["lettuce"]), vec![cloth(1)], 1.0, &[&[(0.9, 0.1)]], &[(Cover, "cover-saves", 1, 7.0)]);
}

#[test]
fn pots_that_can_be_carried_go_inside() {
    let pots = |movable| {
        let mut beds = beds(&["seedlings"]);
        beds[0].kind = BedKind::Containers { diameter: 0.3, count: 4, movable };
        (beds[0].length, beds[0].width) = (1.0, 0.5);
        beds
    };
    let chances: &[Chances] = &[&[(0.6, 0.4)]];
    check(pots(true), vec![cloth(1)], 1.0, chances, &[(BringIn, "safer-inside", 0, 12.0)]);
    // 0.5 m² of cover, 3 minutes to take it off.
    check(pots(false), vec![cloth(1)], 1.0, chances, &[(Cover, "cover-saves", 1, 3.69)]);
}

#[test]
fn a_bed_that_stands_the_night_asks_for_nothing_whatever_it_is_worth() {
    let mut beds = beds(&["seedlings"]);
    beds[0].plantings[0].worth = Some(Minutes(1000.0));
    check(beds, vec![cloth(1)], 1.0, &[&[(0.099, 0.0)]], &[(Fine, "within-margin", 0, 0.0)]);
}

#[test]
fn a_bed_of_which_only_a_small_part_suffers_is_fine() {
    check(beds(&["carrot"]), vec![cloth(1)], 1.0, &[&[(0.9, 0.5), (0.02, 0.02)]], &[(Fine, "minor-part", 0, 0.0)]);
}

#[test]
fn scarce_covers_go_to_the_beds_that_gain_most() {
    let mut beds = beds(&["seedlings", "seedlings", "seedlings"]);
    beds[1].plantings[0].worth = Some(Minutes(80.0));
    let chances: &[Chances] = &[&[(0.8, 0.1)], &[(0.8, 0.1)], &[(0.9, 0.1)]];
    let (left, covered) = ((Leave, "no-cover-left", 0, 0.0), (Cover, "cover-saves", 1, 7.0));
    check(beds.clone(), vec![cloth(1)], 1.0, chances, &[left, covered, left]);
    check(beds.clone(), vec![cloth(2)], 1.0, chances, &[left, covered, covered]);
    check(beds, vec![cloth(3)], 1.0, chances, &[covered, covered, covered]);
}

#[test]
fn a_bed_that_can_be_picked_yields_its_cover_to_one_that_cannot() {
    // Open, the lettuce would lose more than the seedlings; picked, it needs the cover less.
    let chances: &[Chances] = &[&[(0.9, 0.3)], &[(0.8, 0.2)]];
    let expected = [(Harvest, "pick-before-frost", 0, 8.64), (Cover, "cover-saves", 1, 7.0)];
    check(beds(&["lettuce", "seedlings"]), vec![cloth(1)], 1.0, chances, &expected);
}

#[test]
fn a_bed_that_stands_the_night_takes_no_cover_from_one_in_danger() {
    let mut beds = beds(&["seedlings", "seedlings"]);
    beds[0].plantings[0].worth = Some(Minutes(1000.0));
    let chances: &[Chances] = &[&[(0.09, 0.0)], &[(0.5, 0.1)]];
    check(beds, vec![cloth(1)], 1.0, chances, &[(Fine, "within-margin", 0, 0.0), (Cover, "cover-saves", 1, 7.0)]);
}

/// 9.6 m takes three pieces of 3.6 m: 11.52 m² to cover, 3 minutes to uncover, and a minute for each piece more.
#[test]
fn a_long_bed_takes_several_pieces_or_none() {
    let long = || {
        let mut beds = beds(&["seedlings"]);
        beds[0].length = 9.6;
        beds
    };
    check(long(), vec![cloth(3)], 1.0, &[&[(0.6, 0.1)]], &[(Cover, "cover-saves", 3, 21.0)]);
    check(long(), vec![cloth(2)], 1.0, &[&[(0.6, 0.1)]], &[(Leave, "covers-too-small", 0, 0.0)]);
}

#[test]
fn pieces_of_two_kinds_are_not_mixed_on_one_bed() {
    let mut beds = beds(&["seedlings"]);
    beds[0].length = 9.6;
    let sheets = CoverStock { name: "old bed sheet".into(), kind: CoverKind::Sheet, ..cloth(2) };
    check(beds, vec![cloth(2), sheets], 1.0, &[&[(0.6, 0.1)]], &[(Leave, "covers-too-small", 0, 0.0)]);
}

#[test]
fn where_no_cover_helps_and_nothing_can_be_picked_nothing_is_asked() {
    let expected = &[(Leave, "nothing-helps", 0, 0.0)];
    check(beds(&["seedlings"]), Vec::new(), 1.0, &[&[(0.9, 0.1)]], expected);
    // On the shelf's list, and none of it there.
    check(beds(&["seedlings"]), vec![cloth(0)], 1.0, &[&[(0.9, 0.1)]], expected);
    // Of 90 in a hundred plants it would still lose 70: that is not worth going out for.
    check(beds(&["seedlings"]), vec![cloth(1)], 1.0, &[&[(0.9, 0.7)]], expected);
}

/// Seven minutes at the bed and two to fetch the cover.
#[test]
fn what_is_worth_less_than_its_work_is_left_with_both_figures() {
    let mut beds = beds(&["seedlings"]);
    beds[0].plantings[0].worth = Some(Minutes(5.0));
    let (garden, catalogue) = (garden(beds, vec![cloth(1)]), catalogue());
    let plans = chosen(&garden, 1.0, risks(&garden, &catalogue, &[&[(0.9, 0.1)]]));
    let Reason::WorthLessThanWork { saved, work } = plans[0].reason else { panic!("{:?}", plans[0].reason) };
    assert_eq!(plans[0].measure, Leave);
    assert!((saved.0 - 4.0).abs() < 1e-9 && (work.0 - 9.0).abs() < 1e-9, "{saved:?} {work:?}");
}

#[test]
fn wind_makes_covering_slow_and_a_storm_forbids_it() {
    let covered = |work| [(Cover, "cover-saves", 1, work)];
    check(beds(&["seedlings"]), vec![cloth(1)], 5.0, &[&[(0.6, 0.1)]], &covered(7.0));
    check(beds(&["seedlings"]), vec![cloth(1)], 6.0, &[&[(0.6, 0.1)]], &covered(10.5));
    check(beds(&["seedlings"]), vec![cloth(1)], 12.5, &[&[(0.6, 0.1)]], &[(Leave, "nothing-helps", 0, 0.0)]);
    // What can be picked still is, and no cover is laid over the rest.
    let heads = &[(Harvest, "pick-before-frost", 0, 16.0)];
    check(beds(&["broccoli"]), vec![cloth(1)], 12.5, &[&[(0.9, 0.1), (0.9, 0.1)]], heads);
}

#[test]
fn a_perennial_is_not_saved_by_cutting_sprigs() {
    check(beds(&["rosemary"]), vec![cloth(1)], 1.0, &[&[(0.9, 0.3)]], &[(Cover, "cover-saves", 1, 7.0)]);
    check(beds(&["rosemary"]), Vec::new(), 1.0, &[&[(0.9, 0.3)]], &[(Leave, "nothing-helps", 0, 0.0)]);
}

#[test]
fn each_instruction_is_named_once_and_only_for_what_is_in_danger() {
    let picks = |crops: &str, chances: Chances| {
        let (garden, catalogue) = (garden(beds(&[crops]), Vec::new()), catalogue());
        let plans = chosen(&garden, 1.0, risks(&garden, &catalogue, &[chances]));
        let picks = plans[0].picks.iter().map(|pick| format!("{}: {}", pick.crop, pick.instruction));
        picks.collect::<Vec<_>>()
    };
    let (heads, lettuce, chard) = ("broccoli: Cut the heads.", "lettuce: Cut the leaves.", "chard: Cut the leaves.");
    let all = 0.95;
    let twice: Chances = &[(all, all), (all, all), (all, all), (all, all)];
    assert_eq!(picks("broccoli, broccoli", twice), [heads]);
    assert_eq!(picks("lettuce, chard", &[(all, all), (all, all)]), [lettuce, chard]);
    assert_eq!(picks("lettuce, chard", &[(all, all), (0.05, 0.05)]), [lettuce]);
    assert_eq!(picks("lettuce, chard, broccoli", &[(0.0, 0.0), (0.0, 0.0), (all, all), (all, all)]), [heads]);
}

#[test]
fn a_bed_with_nothing_in_it_is_fine() {
    let mut beds = beds(&["seedlings"]);
    beds[0].plantings.clear();
    check(beds, vec![cloth(1)], 1.0, &[&[]], &[(Fine, "within-margin", 0, 0.0)]);
    check(Vec::new(), vec![cloth(1)], 1.0, &[], &[]);
}

/// Under one layer half of the danger is left, under two a tenth.
fn doubled(risks: &mut [BedRisk<'_>], garden: &Garden, under_two: f64) {
    for organ in risks.iter_mut().flat_map(|risk| &mut risk.plantings).flat_map(|planting| &mut planting.organs) {
        let outcome = Outcome { chance: Probability(under_two), ..organ.open };
        organ.covered.push((garden.covers[0].cover(Layers::Two), outcome));
    }
}

/// Pieces and layers of each bed's cover.
fn laid(names: &[&str], pieces: u32, chances: &[Chances], under_two: f64) -> Vec<Option<(u32, Layers)>> {
    let (garden, catalogue) = (garden(beds(names), vec![cloth(pieces)]), catalogue());
    let mut risks = risks(&garden, &catalogue, chances);
    doubled(&mut risks, &garden, under_two);
    let plans = chosen(&garden, 1.0, risks);
    let used: u32 = plans.iter().filter_map(|plan| plan.cover.as_ref()).map(|cover| cover.pieces).sum();
    assert!(used <= pieces);
    plans.iter().map(|plan| plan.cover.as_ref().map(|cover| (cover.pieces, cover.layers))).collect()
}

#[test]
fn a_second_layer_is_laid_where_one_leaves_much_and_the_first_layer_of_others_comes_before_it() {
    let grave: Chances = &[(0.9, 0.35)];
    assert_eq!(laid(&["seedlings"], 2, &[grave], 0.1), [Some((2, Layers::Two))]);
    assert_eq!(laid(&["seedlings"], 1, &[grave], 0.1), [Some((1, Layers::One))]);
    let two = [Some((1, Layers::One)), Some((1, Layers::One))];
    assert_eq!(laid(&["seedlings", "seedlings"], 2, &[grave, grave], 0.1), two);
    let three = [Some((2, Layers::Two)), Some((1, Layers::One))];
    assert_eq!(laid(&["seedlings", "seedlings"], 3, &[grave, grave], 0.1), three);
}

#[test]
fn a_second_layer_that_saves_less_than_its_work_stays_in_the_shed() {
    assert_eq!(laid(&["seedlings"], 2, &[&[(0.6, 0.12)]], 0.05), [Some((1, Layers::One))]);
    // Where one layer is no help two may be.
    assert_eq!(laid(&["seedlings"], 2, &[&[(0.9, 0.8)]], 0.3), [Some((2, Layers::Two))]);
}

/// Measures and reasons of beds alike for so many person-minutes.
#[track_caller]
fn within(minutes: f64, garden: &Garden, chances: &[Chances], expected: &[(Measure, &str)]) -> Vec<Reason> {
    let catalogue = catalogue();
    let bounds = Bounds { minutes: Some(Minutes(minutes)), left: Some(Minutes(minutes)), ..UNBOUNDED };
    let chosen = choose(garden, MetresPerSecond(1.0), risks(garden, &catalogue, chances), &bounds);
    let found = chosen.beds.iter().map(|plan| (plan.measure, plan.reason.word()));
    assert_eq!(found.collect::<Vec<_>>(), expected);
    let tonight: f64 = chosen.beds.iter().map(|plan| plan.tonight.0).sum();
    assert!(tonight + chosen.trips.0 <= minutes + 1e-6, "{tonight} and {:?} of {minutes} minutes", chosen.trips);
    let whole = |reason: Reason| match reason {
        Reason::NoTimeLeft { work, left, nobody } => {
            Reason::NoTimeLeft { work: Minutes(work.0.round()), left: Minutes(left.0.floor()), nobody }
        }
        other => other,
    };
    chosen.beds.into_iter().map(|plan| whole(plan.reason)).collect()
}

/// To lay a cover takes 4 minutes, to fetch the covers 2, once.
#[test]
fn people_do_what_matters_most_and_the_rest_is_left_for_want_of_time() {
    let (danger, grave): (Chances, Chances) = (&[(0.6, 0.1)], &[(0.9, 0.1)]);
    let chances = [danger, grave, danger];
    let plot = garden(beds(&["seedlings"; 3]), vec![cloth(3)]);
    let (covered, late) = ((Cover, "cover-saves"), (Leave, "no-time-left"));
    within(14.0, &plot, &chances, &[covered, covered, covered]);
    within(13.9, &plot, &chances, &[covered, covered, late]);
    let reasons = within(6.0, &plot, &chances, &[late, covered, late]);
    assert_eq!(reasons[0], Reason::NoTimeLeft { work: Minutes(4.0), left: Minutes(0.0), nobody: false });
    // Not even one: two minutes go to the shed and back.
    let reasons = within(5.9, &plot, &chances, &[late, late, late]);
    assert_eq!(reasons[0], Reason::NoTimeLeft { work: Minutes(6.0), left: Minutes(5.0), nobody: false });
    let alone = Garden { crew: Some(Crew { people: 0, minutes: Minutes(60.0) }), ..plot };
    let reasons = within(0.0, &alone, &chances, &[late, late, late]);
    assert_eq!(reasons[0], Reason::NoTimeLeft { work: Minutes(6.0), left: Minutes(0.0), nobody: true });
}

#[test]
fn tomorrows_uncovering_counts_as_cost_and_not_against_this_afternoon() {
    let (garden, catalogue) = (garden(beds(&["seedlings"]), vec![cloth(1)]), catalogue());
    let plans = chosen(&garden, 1.0, risks(&garden, &catalogue, &[&[(0.6, 0.1)]]));
    assert!((plans[0].work.0 - 7.0).abs() < 1e-9 && (plans[0].tonight.0 - 4.0).abs() < 1e-9);
}

#[test]
fn who_has_the_cover_is_named() {
    let mut beds = beds(&["seedlings"; 3]);
    beds[0].plantings[0].worth = Some(Minutes(200.0));
    let (garden, catalogue) = (garden(beds, vec![cloth(2)]), catalogue());
    let chances: &[Chances] = &[&[(0.9, 0.1)], &[(0.8, 0.1)], &[(0.7, 0.1)]];
    let plans = chosen(&garden, 1.0, risks(&garden, &catalogue, chances));
    // Of the two that have one the second would miss it less.
    assert_eq!(
        plans[2].reason,
        Reason::NoCoverLeft { to: Some("R2".into()), wanted: "white cloth".into(), at_hand: None }
    );
}

/// Two neighbours of 2.4 by 1.2 m and a path of half a metre: 2.4 by 2.9 m.
#[test]
fn one_large_piece_serves_two_neighbours() {
    let mut beds = beds(&["seedlings"; 3]);
    beds[2].beside = Some("R1".into());
    let large = CoverStock { name: "wide cloth".into(), length: 3.0, width: 4.0, ..cloth(1) };
    let catalogue = catalogue();
    let danger: Chances = &[(0.8, 0.1)];
    let at = |garden: &Garden, chances: &[Chances]| -> Vec<(Measure, u32, Option<String>, f64)> {
        let plans = chosen(garden, 1.0, risks(garden, &catalogue, chances));
        let cover = |plan: &BedPlan<'_>| plan.cover.as_ref().map(|cover| (cover.pieces, cover.together_with.clone()));
        let row = |plan: &BedPlan<'_>| {
            let (pieces, with) = cover(plan).unwrap_or_default();
            (plan.measure, pieces, with, (plan.work.0 * 100.0).round() / 100.0)
        };
        plans.iter().map(row).collect()
    };
    let plot = garden(beds.clone(), vec![large.clone()]);
    let together = [(Cover, 1, Some("R3".into()), 12.67), (Leave, 0, None, 0.0), (Cover, 0, Some("R1".into()), 0.0)];
    assert_eq!(at(&plot, &[danger; 3]), together);
    // One of the two stands the night: the piece is for whoever needs it.
    let alone = [(Cover, 1, None, 7.0), (Leave, 0, None, 0.0), (Fine, 0, None, 0.0)];
    assert_eq!(at(&plot, &[danger, danger, &[(0.05, 0.0)]]), alone);
    // Once it lies there neither gives it up in the dark while the other needs it, whichever that is.
    let first = said(&chosen(&plot, 1.0, risks(&plot, &catalogue, &[danger; 3])));
    let bounds = Bounds { before: Before::said(Some(&first)), is_laid: true, ..UNBOUNDED };
    let mild: Chances = &[(0.04, 0.0)];
    for chances in [[danger, mild, mild], [mild, mild, danger]] {
        let plans = choose(&plot, MetresPerSecond(1.0), risks(&plot, &catalogue, &chances), &bounds).beds;
        let titles = |index: usize| plans[index].cover.as_ref().map(CoverUse::title);
        assert_eq!([titles(0), titles(2)], [0, 2].map(|index: usize| first.beds[index].cover.clone()));
    }
    // Too narrow for both, or a frame, which is built for one.
    for narrow in
        [CoverStock { length: 2.6, width: 2.8, ..large.clone() }, CoverStock { kind: CoverKind::ColdFrame, ..large }]
    {
        let found = at(&garden(beds.clone(), vec![narrow]), &[danger; 3]);
        assert_eq!(found.iter().filter(|row| row.0 == Cover).count(), 1, "{found:?}");
    }
}

fn said(plans: &[BedPlan<'_>]) -> Said {
    let bed = |plan: &BedPlan<'_>| SaidBed {
        bed: plan.risk.bed.id.clone(),
        measure: plan.measure,
        cover: plan.cover.as_ref().map(CoverUse::title),
        chance: 0.5,
        remaining: 0.1,
        minutes: Some(plan.tonight.0),
        reason: None,
        picks: Vec::new(),
        is_picked: false,
        losses: Vec::new(),
    };
    Said { beds: plans.iter().map(bed).collect(), ..Said::default() }
}

#[test]
fn a_cover_stays_where_it_lies_unless_moving_it_gains_more_than_ten_minutes() {
    let (garden, catalogue) = (garden(beds(&["seedlings"; 2]), vec![cloth(1)]), catalogue());
    let first = chosen(&garden, 1.0, risks(&garden, &catalogue, &[&[(0.8, 0.1)], &[(0.7, 0.1)]]));
    assert_eq!((first[0].measure, first[1].measure), (Cover, Leave));
    let said = said(&first);
    let then = |other: f64| {
        let bounds = Bounds { before: Before::said(Some(&said)), ..UNBOUNDED };
        let chances: &[Chances] = &[&[(0.8, 0.1)], &[(other, 0.1)]];
        let plans = choose(&garden, MetresPerSecond(1.0), risks(&garden, &catalogue, chances), &bounds).beds;
        (plans[0].measure, plans[1].measure)
    };
    // A hundredth is 0.576 minutes here.
    assert_eq!(then(0.97), (Cover, Leave));
    assert_eq!(then(0.98), (Leave, Cover));
    // A night that has become mild needs no cover, whatever was said.
    let bounds = Bounds { before: Before::said(Some(&said)), ..UNBOUNDED };
    let stands: Chances = &[(0.06, 0.0)];
    let mild = choose(&garden, MetresPerSecond(1.0), risks(&garden, &catalogue, &[stands; 2]), &bounds).beds;
    assert_eq!(mild[0].measure, Fine);
}

#[test]
fn what_was_asked_for_is_not_called_off_because_time_has_passed_or_wind_has_risen() {
    let (garden, catalogue) = (garden(beds(&["seedlings"; 3]), vec![cloth(3)]), catalogue());
    let danger: Chances = &[(0.8, 0.1)];
    let all = &[danger; 3];
    let at = |bounds: &Bounds<'_>, wind: f64| -> Vec<BedPlan<'_>> {
        choose(&garden, MetresPerSecond(wind), risks(&garden, &catalogue, all), bounds).beds
    };
    let minutes = Some(Minutes(10.0));
    let first = said(&at(&Bounds { minutes, left: minutes, ..UNBOUNDED }, 1.0));
    let measures = [Cover, Cover, Leave];
    for (left, wind) in [(Some(Minutes(0.0)), 1.0), (Some(Minutes(10.0)), 6.0), (None, 6.0)] {
        let plans = at(&Bounds { minutes, left, before: Before::said(Some(&first)), ..UNBOUNDED }, wind);
        assert_eq!(plans.iter().map(|plan| plan.measure).collect::<Vec<_>>(), measures, "{left:?}, {wind} m/s");
        assert_eq!(plans[2].reason.word(), "no-time-left");
    }
}

#[test]
fn what_is_worth_nothing_asks_for_no_work() {
    let mut beds = beds(&["seedlings"]);
    beds[0].plantings[0].worth = Some(Minutes(0.0));
    check(beds, vec![cloth(1)], 1.0, &[&[(0.9, 0.1)]], &[(Leave, "worth-less-than-work", 0, 0.0)]);
}

/// One wide bed of each kind; the night before has left on both what their titles say.
fn out(cover: &str) -> Said {
    let bed = |bed: &str| SaidBed {
        bed: bed.into(),
        measure: Cover,
        cover: Some(cover.into()),
        chance: 0.5,
        remaining: 0.1,
        minutes: Some(4.0),
        reason: None,
        picks: Vec::new(),
        is_picked: false,
        losses: Vec::new(),
    };
    Said { beds: vec![bed("R1"), bed("R2")], ..Said::default() }
}

#[test]
fn what_the_night_before_has_left_out_is_no_work_again_and_leaves_time_for_other_beds() {
    let (garden, catalogue) = (garden(beds(&["seedlings"; 4]), vec![cloth(4)]), catalogue());
    let danger: Chances = &[(0.8, 0.1)];
    let minutes = Some(Minutes(10.0));
    let covered = |before: Before<'_>| {
        let bounds = Bounds { minutes, left: minutes, before, ..UNBOUNDED };
        let plans = choose(&garden, MetresPerSecond(1.0), risks(&garden, &catalogue, &[danger; 4]), &bounds).beds;
        plans.iter().map(|plan| (plan.measure == Cover, plan.is_out, plan.tonight.0)).collect::<Vec<_>>()
    };
    let cool = Some(Day { warmest: Celsius(6.0), coldest: Celsius(2.0), cloud_cover: Some(0.9) });
    let warm = Some(Day { warmest: Celsius(18.0), coldest: Celsius(2.0), cloud_cover: Some(0.9) });
    // Four minutes each and two for fetching: two of four beds.
    let title = garden.covers[0].name.clone();
    let out = out(&title);
    let laid = |before| covered(before).iter().filter(|bed| bed.0).count();
    assert_eq!(laid(NOTHING_BEFORE), 2);
    let stays = covered(Before { out: Some(&out), day: cool, ..NOTHING_BEFORE });
    assert_eq!(
        stays.iter().map(|bed| (bed.0, bed.1)).collect::<Vec<_>>(),
        [(true, true), (true, true), (true, false), (true, false)]
    );
    assert_eq!((stays[0].2, stays[1].2), (0.0, 0.0));
    // A day on which every cover comes off, one of which nothing is known, and another cover.
    let other = self::out("sheet");
    for before in [
        Before { out: Some(&out), day: warm, ..NOTHING_BEFORE },
        Before { out: Some(&out), ..NOTHING_BEFORE },
        Before { out: Some(&other), day: cool, ..NOTHING_BEFORE },
    ] {
        assert_eq!(laid(before), 2, "{before:?}");
    }
}

#[test]
fn a_bed_that_was_asked_for_stays_so_a_little_below_the_chance_from_which_it_is_asked() {
    let (garden, catalogue) = (garden(beds(&["seedlings"; 2]), vec![cloth(1)]), catalogue());
    let first = said(&chosen(&garden, 1.0, risks(&garden, &catalogue, &[&[(0.3, 0.02)], &[(0.25, 0.02)]])));
    let at = |before, chances: [f64; 2], is_laid| {
        let bounds = Bounds { before, is_laid, ..UNBOUNDED };
        let chances = chances.map(|chance| [(chance, 0.02)]);
        let chances: Vec<Chances> = chances.iter().map(|chances| &chances[..]).collect();
        let plans = choose(&garden, MetresPerSecond(1.0), risks(&garden, &catalogue, &chances), &bounds).beds;
        (plans[0].measure, plans[1].measure, plans[1].reason.word())
    };
    let said = Before::said(Some(&first));
    assert_eq!(at(NOTHING_BEFORE, [0.3, 0.25], false), (Cover, Leave, "no-cover-left"));
    // The cloth lies on the first: a touch below a tenth it stays, and does not go to the other.
    assert_eq!(at(said, [0.09, 0.25], false), (Cover, Leave, "no-cover-left"));
    assert_eq!(at(said, [0.06, 0.25], false), (Fine, Cover, "cover-saves"));
    // In the dark nobody carries it over.
    assert_eq!(at(said, [0.06, 0.25], true), (Fine, Leave, "no-cover-left"));
    // What was never asked for is asked from a tenth on.
    assert_eq!(at(NOTHING_BEFORE, [0.09, 0.09], false), (Fine, Fine, "within-margin"));
}

#[test]
fn work_goes_by_the_wind_in_which_it_is_done_and_a_storm_in_the_night_lays_none() {
    let (garden, catalogue) = (garden(beds(&["seedlings"]), vec![cloth(1)]), catalogue());
    let at = |laying: f64, at_the_low: f64| {
        let winds = Winds { laying: MetresPerSecond(laying), at_the_low: MetresPerSecond(at_the_low) };
        let risks = risks(&garden, &catalogue, &[&[(0.8, 0.1)]]);
        let bed = &choose(&garden, winds, risks, &UNBOUNDED).beds[0];
        (bed.measure, bed.tonight.0)
    };
    let calm = at(1.0, 1.0);
    assert_eq!((calm.0, at(1.0, 9.0)), (Cover, calm));
    assert!(at(9.0, 1.0).1 > 1.4 * calm.1);
    for (laying, at_the_low) in [(12.5, 1.0), (1.0, 12.5)] {
        assert_eq!(at(laying, at_the_low).0, Leave, "{laying} and {at_the_low}");
    }
}

#[test]
fn wind_that_was_there_when_work_was_asked_makes_none_of_it_free_later() {
    let (garden, catalogue) = (garden(beds(&["seedlings"; 5]), vec![cloth(5)]), catalogue());
    let danger: Chances = &[(0.8, 0.1)];
    let minutes = Some(Minutes(27.0));
    let at = |before| {
        let bounds = Bounds { minutes, left: minutes, before, ..UNBOUNDED };
        choose(&garden, MetresPerSecond(5.2), risks(&garden, &catalogue, &[danger; 5]), &bounds).beds
    };
    let first = at(NOTHING_BEFORE);
    let measures = |plans: &[BedPlan<'_>]| plans.iter().map(|plan| plan.measure).collect::<Vec<_>>();
    assert_eq!(measures(&first), [Cover, Cover, Cover, Cover, Leave]);
    let said = said(&first);
    assert_eq!(measures(&at(Before::said(Some(&said)))), measures(&first));
}

#[test]
fn what_no_time_is_left_for_never_seems_to_pay() {
    let (garden, catalogue) = (garden(beds(&["seedlings"; 4]), vec![cloth(6)]), catalogue());
    let danger: Chances = &[(0.4, 0.1)];
    for tenths in 0..300 {
        let minutes = Some(Minutes(f64::from(tenths) / 10.0));
        let bounds = Bounds { minutes: Some(Minutes(90.0)), left: minutes, ..UNBOUNDED };
        let plans = choose(&garden, MetresPerSecond(1.0), risks(&garden, &catalogue, &[danger; 4]), &bounds).beds;
        for plan in &plans {
            if let Reason::WorthLessThanWork { saved, work } = &plan.reason {
                assert!(saved <= work, "{minutes:?}: {:?}", plan.reason);
            }
        }
    }
}

/// Three beds and three pieces, of which another garden has some or, by a mistake somewhere, more than there are.
#[test]
fn pieces_that_another_garden_has_are_not_dealt_out() {
    let (garden, catalogue) = (garden(beds(&["seedlings"; 3]), vec![cloth(3)]), catalogue());
    let chances: [Chances; 3] = [&[(0.9, 0.1)], &[(0.8, 0.1)], &[(0.7, 0.1)]];
    for (away, left) in [(0, 3), (1, 2), (2, 1), (3, 0), (7, 0)] {
        let elsewhere = [Elsewhere { stock: 0, garden: "Hillside".into(), pieces: away }];
        let bounds = Bounds { before: Before { elsewhere: &elsewhere, ..NOTHING_BEFORE }, ..UNBOUNDED };
        let plans = choose(&garden, MetresPerSecond(1.0), risks(&garden, &catalogue, &chances), &bounds).beds;
        let covered = plans.iter().filter(|plan| plan.measure == Cover).count();
        assert_eq!(covered, left);
        for plan in plans.iter().skip(left) {
            // The bed here that would miss its cover least, where one has any.
            let to = left.checked_sub(1).map(|last| format!("R{}", last + 1));
            let no_cover = Reason::NoCoverLeft { to, wanted: "white cloth".into(), at_hand: None };
            assert_eq!(plan.reason, no_cover, "{away} away");
        }
    }
}

/// All covers are handkerchiefs; whatever the bed is worth, dozens of pieces of which there are five are no way to save it.
#[test]
fn covers_that_are_too_small_are_named_as_such() {
    for worth in [5.0, 57.6, 500.0] {
        let mut beds = beds(&["seedlings"]);
        beds[0].plantings[0].worth = Some(Minutes(worth));
        let small = CoverStock { length: 0.5, width: 0.4, ..cloth(5) };
        check(beds, vec![small], 1.0, &[&[(0.6, 0.1)]], &[(Leave, "covers-too-small", 0, 0.0)]);
    }
}

/// The heavy cloth lies elsewhere; the sheet that is left would save less than its work.
#[test]
fn a_cover_that_is_left_and_does_not_pay_is_not_passed_over_in_silence() {
    let heavy = CoverStock { name: "heavy cloth".into(), kind: CoverKind::HeavyRowCover, ..cloth(1) };
    let sheet = CoverStock { name: "sheet".into(), kind: CoverKind::Sheet, ..cloth(2) };
    let (garden, catalogue) = (garden(beds(&["seedlings"; 2]), vec![heavy, sheet]), catalogue());
    let mut risks = risks(&garden, &catalogue, &[&[(0.9, 0.1)], &[(0.6, 0.1)]]);
    let sheet = garden.covers[1].cover(Layers::One);
    for risk in &mut risks {
        for (cover, outcome) in &mut risk.plantings[0].organs[0].covered {
            if *cover == sheet {
                outcome.chance = Probability(0.55);
            }
        }
    }
    let plans = chosen(&garden, 1.0, risks);
    let (to, wanted) = (Some("R1".into()), "heavy cloth".into());
    assert_eq!(plans[1].reason, Reason::NoCoverLeft { to, wanted, at_hand: Some("sheet".into()) });
}

/// What is given up by cutting dear heads early comes back under no cover, and says nothing against one for what stays: 10
/// minutes saved for 7 of work and 2 of fetching. Where that does not pay, the list says why it is left.
#[test]
fn what_stays_after_a_picking_has_its_own_decision() {
    let plan = |covered: f64, cloths: u32| {
        let mut beds = beds(&["broccoli, seedlings"]);
        beds[0].plantings[0].worth = Some(Minutes(2000.0));
        beds[0].plantings[1].worth = Some(Minutes(20.0));
        let (garden, catalogue) = (garden(beds, vec![cloth(cloths)]), catalogue());
        let chances: &[Chances] = &[&[(0.0, 0.0), (0.9, 0.9), (0.6, covered)]];
        let plans = chosen(&garden, 1.0, risks(&garden, &catalogue, chances));
        (plans[0].measure, plans[0].cover.is_some(), plans[0].rest.as_ref().map(Reason::word))
    };
    assert_eq!(plan(0.1, 1), (Harvest, true, None));
    assert_eq!(plan(0.4, 1), (Harvest, false, Some("worth-less-than-work")));
    assert_eq!(plan(0.55, 1), (Harvest, false, Some("nothing-helps")));
    assert_eq!(plan(0.1, 0), (Harvest, false, Some("nothing-helps")));
}
