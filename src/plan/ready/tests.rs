use super::*;
use crate::beds::Applied;
use crate::beds::sample::{bed, garden};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, Harvest, Organ, PastBest, Tolerance};
use crate::night::Estimate;
use crate::plan::{Keeps, Pick, Reason};
use crate::risk::{OrganRisk, Outcome, assess};
use crate::units::{Celsius, Kelvins, Minutes, Probability};
use crate::zone::NightOf;
use chrono::{DateTime, Utc};

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

const TODAY: &str = "2027-01-16";

fn catalogue() -> Catalogue {
    let heads: &[(Organ, f64, Option<&str>)] = &[(Organ::Head, 1.0, Some("Cut the heads."))];
    let mut broccoli = crop("broccoli", HarvestHabit::CentralThenSideShoots, Life::Biennial, heads);
    broccoli.stages = vec!["young".into(), "grown".into()];
    broccoli.growing.days_to_maturity = Some((50, 70));
    broccoli.harvest =
        Harvest { past_best: Some(PastBest { days: 5, what: "it flowers".into() }), ..Harvest::default() };
    let mut turnip = crop("turnip", HarvestHabit::Whole, Life::Biennial, &[(Organ::Root, 1.0, Some("Lift them."))]);
    turnip.growing.days_to_maturity = Some((40, 80));
    turnip.harvest = Harvest { past_best: Some(PastBest { days: 14, what: "bitter".into() }), ..Harvest::default() };
    let thyme = crop("thyme", HarvestHabit::Snip, Life::Perennial, &[(Organ::Leaf, 1.0, Some("Cut sprigs."))]);
    let garlic = crop("garlic", HarvestHabit::Whole, Life::Biennial, &[(Organ::Bulb, 1.0, None)]);
    let roots: &[(Organ, f64, Option<&str>)] =
        &[(Organ::Root, 0.7, Some("Lift them.")), (Organ::Leaf, 0.3, Some("Cut the leaves."))];
    let mut beet = crop("beet", HarvestHabit::RootAsWanted, Life::Biennial, roots);
    beet.tolerances[0].frame = Frame::Soil;
    let crops = [broccoli, turnip, thyme, garlic, beet].map(|crop| (crop.id.clone(), crop));
    Catalogue { crops: crops.into(), ..Catalogue::default() }
}

/// Beds R1, R2, … each with a crop, its stage, when it was planted, and what befalls it: `Some(chance)` where it is left
/// in the frost with that chance of damage, `None` where it is picked. "young + grown" are two plantings of the crop.
type Row<'r> = (&'r str, &'r str, &'r str, Option<f64>);

fn outlook_of(rows: &[Row<'_>]) -> Outlook {
    let beds = rows.iter().enumerate().map(|(index, (crop, stage, planted, _))| {
        let plantings: Vec<(&str, &str)> = stage.split(" + ").map(|stage| (*crop, stage)).collect();
        let mut bed = bed(&format!("R{}", index + 1), &plantings);
        bed.plantings.iter_mut().for_each(|planting| planting.planted = planted.parse().ok());
        bed
    });
    let (garden, catalogue) = (garden(beds.collect(), Vec::new()), catalogue());
    let mut risks = assess(&garden, NightOf(day(TODAY)), None, &catalogue);
    for (risk, (.., chance)) in risks.iter_mut().zip(rows) {
        for planting in &mut risk.plantings {
            let organ = |tolerance| OrganRisk {
                tolerance,
                applied: Applied::published(tolerance),
                damage_begins: Celsius(-2.0),
                severe: Celsius(-4.0),
                open: Outcome {
                    minimum: Estimate {
                        mean: Celsius(if tolerance.frame == Frame::Soil { 5.0 } else { -3.0 }),
                        spread: Kelvins(1.0),
                    },
                    margin: Kelvins(-1.0),
                    chance: Probability(chance.unwrap_or(0.3)),
                    hours_below: 1.0,
                    hours_before: 0.0,
                    relief: Kelvins(0.0),
                },
                covered: Vec::new(),
                roofed: None,
            };
            let is_there =
                |part: &&Tolerance| chance.is_some() || part.stages.contains(&planting.stage.name.to_string());
            planting.organs = planting.crop.tolerances.iter().filter(is_there).map(organ).collect();
        }
    }
    let plans = risks.into_iter().zip(rows).map(|(risk, (crop, _, _, chance))| {
        let pick = Pick {
            crop: (*crop).into(),
            sowings: Vec::new(),
            organ: Organ::Head,
            instruction: "Cut.".into(),
            plants: None,
            work: Minutes(1.0),
            keeps: Keeps::Nothing,
        };
        BedPlan {
            risk,
            measure: if chance.is_some() { Measure::Leave } else { Measure::Harvest },
            cover: None,
            picks: if chance.is_some() { Vec::new() } else { vec![pick] },
            reason: Reason::NothingHelps,
            rest: None,
            do_by: None,
            work: Minutes(0.0),
            tonight: Minutes(0.0),
            loss: Minutes(0.0),
            is_out: false,
            turning: None,
        }
    });
    let now: DateTime<Utc> = DateTime::UNIX_EPOCH;
    let plan = Plan {
        garden: &garden,
        of: NightOf(day(TODAY)),
        made_at: now,
        deadline: now,
        night: Err(crate::night::NoNight::NoForecast),
        beds: plans.collect(),
        trips: Minutes(0.0),
        minutes: None,
        gap: Minutes(0.0),
        elsewhere: Vec::new(),
    };
    outlook(&plan, day(TODAY))
}

#[test]
fn the_stage_says_what_is_ready_and_dates_hold_it_back() {
    for (row, since) in [
        (("broccoli", "grown", "2026-10-01", Some(0.0)), Some("2026-11-20")),
        (("broccoli", "grown", "never", Some(0.0)), None),
    ] {
        let outlook = outlook_of(&[row]);
        assert_eq!(outlook.ready.len(), 1, "{row:?}");
        assert_eq!(outlook.ready[0].since, since.map(day), "{row:?}");
    }
    for (row, not_before) in [
        // The right stage, and two days too young for it.
        (("broccoli", "grown", "2026-11-29", Some(0.0)), Some("2027-01-18")),
        (("broccoli", "young", "2026-12-20", Some(0.0)), Some("2027-02-08")),
        // Its day has passed without its stage: nothing is known.
        (("broccoli", "young", "2026-10-01", Some(0.0)), None),
        (("broccoli", "young", "never", Some(0.0)), None),
    ] {
        let outlook = outlook_of(&[row]);
        assert_eq!(outlook.ready, [], "{row:?}");
        assert_eq!(outlook.coming[0].not_before, not_before.map(day), "{row:?}");
    }
    // Without anything to pick in the catalogue the last stage counts; a bush of herbs is no harvest.
    assert_eq!(outlook_of(&[("garlic", "grown", "never", Some(0.0))]).ready.len(), 1);
    assert_eq!(outlook_of(&[("thyme", "grown", "never", Some(0.0))]), Outlook::default());
}

#[test]
fn what_does_not_wait_is_looked_at_every_day_until_it_is_past_its_best() {
    let look = |crop: &str, planted: &str| outlook_of(&[(crop, "grown", planted, Some(0.0))]).ready[0].look;
    assert_eq!(look("broccoli", "2026-11-20"), Look::EveryDay);
    assert_eq!(look("broccoli", "never"), Look::EveryDay);
    assert_eq!(look("turnip", "2026-11-20"), Look::WhenConvenient);
    assert_eq!(look("garlic", "never"), Look::WhenConvenient);
    // 80 days to ripen, 14 to stand, and none counts after October: 29 July to 31 October are 95 days.
    assert_eq!(look("turnip", "2026-07-30"), Look::WhenConvenient);
    assert_eq!(look("turnip", "2026-07-29"), Look::PastItsBest);
    assert_eq!(look("turnip", "0001-01-01"), Look::PastItsBest);
}

#[test]
fn a_night_that_takes_all_that_is_ready_is_seen_coming() {
    let second = ("broccoli", "young", "2026-12-20", Some(0.1));
    // Picked, or as good as lost: both are gone tomorrow.
    for goes in [None, Some(0.5)] {
        let outlook = outlook_of(&[("turnip", "grown", "2026-09-01", goes), second]);
        let emptied = outlook.emptied.expect("nothing is left");
        let next = Coming { bed: "R2".into(), crop: "broccoli".into(), not_before: Some(day("2027-02-08")) };
        assert_eq!((emptied.next, emptied.unknown), (Some(next), Vec::new()));
        assert_eq!(outlook.follows, [Follows { crop: "turnip".into(), next: Next::Nothing }]);
    }
    // It stands the night: something is left.
    assert_eq!(outlook_of(&[("turnip", "grown", "2026-09-01", Some(0.49)), second]).emptied, None);
    // Nothing was ready anyhow: tonight empties nothing.
    assert_eq!(outlook_of(&[second]).emptied, None);
    // A planting without a date may come first, and is named.
    let unknown = outlook_of(&[("turnip", "grown", "2026-09-01", None), ("broccoli", "young", "never", Some(0.1))]);
    let emptied = unknown.emptied.expect("nothing is left");
    assert_eq!((emptied.next, emptied.unknown.len()), (None, 1));
    // What the frost takes before it is ready does not come.
    let both = outlook_of(&[("turnip", "grown", "2026-09-01", None), ("broccoli", "young", "2026-12-20", Some(0.9))]);
    assert_eq!(both.emptied, Some(Emptied { next: None, unknown: Vec::new(), regrowing: Vec::new() }));
}

#[test]
fn a_crop_that_goes_is_followed_by_its_next_planting() {
    let first = ("broccoli", "grown", "2026-10-01", None);
    let follows = |rows: &[Row<'_>]| outlook_of(rows).follows[0].next.clone();
    assert_eq!(follows(&[first]), Next::Nothing);
    assert_eq!(follows(&[first, ("broccoli", "grown", "2026-10-20", Some(0.0))]), Next::ReadyIn("R2".into()));
    let later = follows(&[first, ("turnip", "grown", "never", Some(0.0)), ("broccoli", "young", "never", Some(0.0))]);
    assert!(matches!(later, Next::Comes(coming) if coming.bed == "R3"));
}

#[test]
fn of_two_plantings_of_a_crop_in_one_bed_the_one_that_is_picked_goes() {
    let outlook = outlook_of(&[("broccoli", "grown + young", "2026-11-20", None)]);
    assert_eq!(outlook.ready.iter().map(|ready| ready.goes_tonight).collect::<Vec<_>>(), [true]);
    let young = Coming { bed: "R1".into(), crop: "broccoli".into(), not_before: None };
    assert_eq!(outlook.coming, std::slice::from_ref(&young));
    assert_eq!(outlook.follows, [Follows { crop: "broccoli".into(), next: Next::Comes(young) }]);
}

#[test]
fn roots_stay_when_their_leaves_are_cut_or_lost() {
    for goes in [None, Some(0.3)] {
        let outlook = outlook_of(&[("beet", "grown", "never", goes)]);
        assert!(!outlook.ready[0].goes_tonight && outlook.emptied.is_none(), "{goes:?}: {outlook:?}");
        assert_eq!(outlook.follows, []);
    }
}
