use super::*;
use crate::beds::sample::{bed, cloth, garden};
use crate::beds::{Bed, BedKind, Crew};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use crate::night::cover::{CoverConditions, Layers};
use crate::night::{Estimate, FrostKind, Knowledge, Night, NightHour, NoNight};
use crate::plan::said::SaidBed;
use crate::plan::{decide, decide_ahead};
use crate::risk::{BedRisk, assess};
use crate::units::{Kelvins, MetresPerSecond};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, NaiveDate, Utc};

fn sunset(night: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + Duration::days(20_834 + night) + Duration::hours(22)
}

fn date(night: i64) -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date") + Duration::days(night))
}

/// A clear night that falls evenly to a low at sunrise.
fn night(number: i64, low: f64) -> Night {
    let hour = |hour: i32| NightHour {
        time: sunset(number) + Duration::hours(hour.into()),
        air: Celsius(low + 14.0 - f64::from(hour)),
        dew_point: Celsius(low - 2.0),
        wind_10m: MetresPerSecond(1.0),
        cloud_cover: 0.0,
    };
    Night {
        of: date(number),
        sunset: sunset(number),
        sunrise: sunset(number) + Duration::hours(14),
        hours: (0..=14).map(hour).collect(),
        minimum: Estimate { mean: Celsius(low), spread: Kelvins(1.5) },
        clear_calm: 1.0,
        kind: FrostKind::Radiation,
        past: Vec::new(),
        before: Vec::new(),
        mean_air: Celsius(8.0),
        laying_wind: MetresPerSecond(1.0),
        read_at: None,
        cover_conditions: CoverConditions { wind_10m: 1.0, left_by_the_day: 1.0 },
        knowledge: Knowledge::Complete,
        remarks: Vec::new(),
        provider: None,
        issued: None,
        fetched: None,
        steps: Vec::new(),
    }
}

/// The first night is cut to those who come.
fn plan<'a>(garden: &'a Garden, number: i64, night: Result<Night, NoNight>, risks: Vec<BedRisk<'a>>) -> Plan<'a> {
    let now = sunset(0) - Duration::hours(10);
    match number {
        0 => decide(garden, date(0), sunset(0), night, risks, crate::plan::Before::default(), now),
        _ => decide_ahead(garden, date(number), sunset(number), night, risks, crate::plan::Before::default(), now),
    }
}

/// For each night after the first: the beds with work, its minutes, the people for it, and the advice for its covers.
type Seen = (Vec<(String, Measure)>, f64, Option<u32>, Vec<DayAdvice>);

/// R1 has seedlings that are worth a cover, R2 heads that are picked. `lows` of nights in a row, `None` where there is
/// no forecast, and the days between them.
fn seen(lows: &[Option<f64>], days: &[Option<Day>]) -> Vec<Seen> {
    seen_by(15.0, lows, days)
}

/// The same for people who have so many minutes each.
fn seen_by(each: f64, lows: &[Option<f64>], days: &[Option<Day>]) -> Vec<Seen> {
    let seedlings = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let heads = crop("heads", HarvestHabit::Whole, Life::Annual, &[(Organ::Head, 1.0, Some("Cut the heads."))]);
    let crops = [seedlings, heads].map(|crop| (crop.id.clone(), crop));
    let catalogue = Catalogue { crops: crops.into(), ..Catalogue::default() };
    let mut garden =
        garden(vec![bed("R1", &[("seedlings", "grown")]), bed("R2", &[("heads", "grown")])], vec![cloth(1)]);
    garden.crew = Some(Crew { people: 2, minutes: Minutes(each) });
    let mut plans = (0..).zip(lows).map(|(number, low)| {
        let night = low.map(|low| night(number, low)).ok_or(NoNight::NothingForThisNight);
        let risks = assess(&garden, date(number), night.as_ref().ok(), &catalogue);
        plan(&garden, number, night, risks)
    });
    let tonight = plans.next().expect("a first night");
    let spell = Spell::of(tonight, plans.collect(), days);
    let seen = spell.ahead.into_iter().map(|night| {
        let advice = night.by_day.iter().map(|by_day| by_day.advice).collect();
        (night.beds, night.minutes.0, night.people, advice)
    });
    seen.collect()
}

fn day(warmest: f64, cloud_cover: f64) -> Option<Day> {
    Some(Day { warmest: Celsius(warmest), coldest: Celsius(warmest - 8.0), cloud_cover: Some(cloud_cover) })
}

#[test]
fn what_lies_there_and_what_is_picked_is_no_work_on_the_next_afternoon() {
    let nights = seen(&[Some(-5.0), Some(-5.0)], &[day(6.0, 0.2)]);
    assert_eq!((nights[0].0.as_slice(), nights[0].1), ([].as_slice(), 0.0));
    assert_eq!(nights[0].3, [DayAdvice::StaysOn]);
    let first = seen(&[Some(6.0), Some(-5.0)], &[day(6.0, 0.2)]);
    assert_eq!(first[0].0, [("R1".into(), Measure::Cover), ("R2".into(), Measure::Harvest)]);
    assert!(first[0].1 > 10.0 && first[0].3.is_empty(), "{first:?}");
}

#[test]
fn a_warm_day_and_one_of_which_nothing_is_known_bring_the_cover_off_and_on_again() {
    for between in [day(17.0, 1.0), None] {
        let nights = seen(&[Some(-5.0), Some(-5.0)], &[between]);
        assert_eq!(nights[0].0, [("R1".into(), Measure::Cover)]);
        assert_eq!(nights[0].3, [DayAdvice::ComesOff]);
        // 4 minutes to lay and 3 to take off and fold, for a bed of 2.88 m2, and 2 to fetch it: one person.
        assert!((nights[0].1 - 9.0).abs() < 1e-9 && nights[0].2 == Some(1), "{nights:?}");
    }
}

/// Of the work 3 minutes are tomorrow's uncovering.
#[test]
fn people_are_counted_by_what_is_done_before_the_night() {
    let by = |each: f64| seen_by(each, &[Some(6.0), Some(-5.0)], &[None]).remove(0);
    let before_night = by(15.0).1 - 3.0;
    for (each, expected) in
        [(before_night, 1), (before_night - 0.1, 2), (before_night / 2.0, 2), (before_night / 2.1, 3)]
    {
        assert_eq!(by(each).2, Some(expected), "{each} of {before_night}");
    }
}

#[test]
fn a_mild_night_between_ends_what_stays_on_but_not_what_was_picked() {
    let nights = seen(&[Some(-5.0), Some(6.0), Some(-5.0)], &[day(6.0, 0.2), day(6.0, 0.2)]);
    assert_eq!(nights[0], (Vec::new(), 0.0, Some(0), Vec::new()));
    assert_eq!(nights[1].0, [("R1".into(), Measure::Cover)]);
    assert!(nights[1].3.is_empty());
}

#[test]
fn a_night_without_forecast_asks_nobody_and_ends_what_stays_on() {
    let nights = seen(&[Some(-5.0), None, Some(-5.0)], &[day(6.0, 0.2), None]);
    assert_eq!(nights[0], (Vec::new(), 0.0, Some(0), Vec::new()));
    assert_eq!(nights[1].0, [("R1".into(), Measure::Cover)]);
}

#[test]
fn people_are_counted_whole_and_nobody_works_in_no_time() {
    for (work, each, expected) in
        [(0.0, 10.0, Some(0)), (10.0, 10.0, Some(1)), (10.1, 10.0, Some(2)), (5.0, 0.0, None), (0.0, 0.0, None)]
    {
        assert_eq!(people(Minutes(work), Minutes(each)), expected, "{work} at {each}");
    }
}

#[test]
fn the_first_night_with_work_after_tonight_is_announced() {
    let seedlings = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(seedlings.id.clone(), seedlings)].into(), ..Catalogue::default() };
    let garden = garden(vec![bed("R1", &[("seedlings", "grown")])], vec![cloth(1)]);
    let spell = |lows: &[f64]| {
        let mut plans = (0..).zip(lows).map(|(number, low)| {
            let night = Ok(night(number, *low));
            let risks = assess(&garden, date(number), night.as_ref().ok(), &catalogue);
            plan(&garden, number, night, risks)
        });
        let tonight = plans.next().expect("a first night");
        let spell = Spell::of(tonight, plans.collect(), &[]);
        spell.to_announce().map(|night| night.plan.of)
    };
    assert_eq!(spell(&[6.0, 6.0, -5.0]), Some(date(2)));
    assert_eq!(spell(&[-5.0, 6.0, 6.0]), None);
}

#[test]
fn pots_that_stand_inside_stay_there_where_tonight_wants_them_in_again() {
    let rosemary = crop("rosemary", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(rosemary.id.clone(), rosemary)].into(), ..Catalogue::default() };
    let pots = |id: &str| Bed {
        kind: BedKind::Containers { diameter: 0.3, count: 4, movable: true },
        ..bed(id, &[("rosemary", "grown")])
    };
    let garden = garden(vec![pots("P1"), pots("P2")], Vec::new());
    let tonight = |low: f64| {
        let night = Ok(night(0, low));
        let risks = assess(&garden, date(0), night.as_ref().ok(), &catalogue);
        plan(&garden, 0, night, risks)
    };
    let mut said = Said::of(&tonight(-5.0));
    assert_eq!(kept(&said, &tonight(-5.0), None).inside, ["P1", "P2"]);
    assert!(kept(&said, &tonight(6.0), None).inside.is_empty());
    said.beds[0].measure = Measure::Leave;
    assert_eq!(kept(&said, &tonight(-5.0), None).inside, ["P2"]);
}

/// What is kept of each planting is its own part of the bed's loss, not the chance of the tenderest.
#[test]
fn what_is_said_of_a_bed_keeps_what_each_of_its_plantings_was_expected_to_lose() {
    let seedlings = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let mut hardy = crop("hardy", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    hardy.tolerances.iter_mut().for_each(|part| {
        (part.damage_begins, part.severe) = (Celsius(-40.0), Celsius(-45.0));
    });
    let crops = [seedlings, hardy].map(|crop| (crop.id.clone(), crop));
    let catalogue = Catalogue { crops: crops.into(), ..Catalogue::default() };
    let mut mixed = bed("R1", &[("seedlings", "grown"), ("hardy", "grown")]);
    mixed.plantings.iter_mut().for_each(|planting| planting.worth = Some(crate::units::Minutes(100.0)));
    let garden = garden(vec![mixed], vec![cloth(1)]);
    let night = Ok(night(0, -3.0));
    let risks = assess(&garden, date(0), night.as_ref().ok(), &catalogue);
    let plan = plan(&garden, 0, night, risks);
    let said = Said::of(&plan);
    let (said, planned) = (said.beds.first().expect("a bed"), plan.beds.first().expect("a bed"));
    assert_eq!(said.measure, Measure::Cover);
    let lost = |of: fn((f64, f64)) -> f64| -> f64 {
        planned.risk.plantings.iter().map(|planting| planting.worth.0 * of(said.expected(&planting.crop.id))).sum()
    };
    let cover = garden.covers.first().map(|stock| stock.cover(Layers::One));
    assert!((lost(|(open, _)| open) - planned.risk.expected_loss(None).0).abs() < 1e-9);
    assert!((lost(|(_, left)| left) - planned.risk.expected_loss(cover).0).abs() < 1e-9);
    let ((tender, _), (hardy, _)) = (said.expected("seedlings"), said.expected("hardy"));
    assert!(tender > 0.4 && hardy < 0.01, "{tender} {hardy}");
}

#[test]
fn more_people_or_another_bed_is_more_than_was_told() {
    let seedlings = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(seedlings.id.clone(), seedlings)].into(), ..Catalogue::default() };
    let garden = garden(vec![bed("R1", &[("seedlings", "grown")])], vec![cloth(1)]);
    let plans = [(0, 6.0), (1, -5.0)].map(|(number, low)| {
        let night = Ok(night(number, low));
        let risks = assess(&garden, date(number), night.as_ref().ok(), &catalogue);
        plan(&garden, number, night, risks)
    });
    let [tonight, next] = plans;
    let mut spell = Spell::of(tonight, vec![next], &[]);
    let ahead = &mut spell.ahead[0];
    let cover = |bed: &str| (bed.to_string(), Measure::Cover);
    let told = ToldAhead { people: Some(2), beds: vec![cover("R1"), cover("R2")], low: Some(-1.0) };
    for (people, beds, is_more) in [
        (Some(2), vec![cover("R1"), cover("R2")], false),
        (Some(3), vec![cover("R1"), cover("R2")], true),
        (Some(1), vec![cover("R1")], false),
        (Some(2), vec![cover("R1"), cover("R3")], true),
        (Some(1), vec![("R1".into(), Measure::Harvest)], false),
        (None, Vec::new(), false),
    ] {
        (ahead.people, ahead.beds) = (people, beds);
        assert_eq!(told.is_less_than(ahead), is_more, "{:?}", ahead.beds);
        assert!(!ToldAhead::of(ahead).is_less_than(ahead));
    }
    assert_eq!(ToldAhead::of(ahead).low, Some(-5.0));
}

/// A warmer day, or a sunnier one, never leaves a cover more closed; and nothing closed stays so in the sun.
#[test]
fn covers_open_with_warmth_and_sun_and_never_the_other_way() {
    let warmths: Vec<f64> = (-20..60).map(|half| f64::from(half) / 2.0).collect();
    for kind in CoverKind::ALL.iter().copied() {
        for cloud in [0.0, 0.59, 0.61, 1.0] {
            let advice: Vec<DayAdvice> =
                warmths.iter().map(|warmest| by_day(kind, day(*warmest, cloud).as_ref())).collect();
            assert!(advice.is_sorted(), "{kind:?} {cloud} {advice:?}");
            assert_eq!(advice.last(), Some(&DayAdvice::ComesOff), "{kind:?}");
        }
        for warmest in warmths.iter().copied() {
            let (sun, dull) = (by_day(kind, day(warmest, 0.1).as_ref()), by_day(kind, day(warmest, 0.9).as_ref()));
            assert!(sun >= dull, "{kind:?} {warmest}");
            if matches!(kind, CoverKind::ClearPlastic | CoverKind::LowTunnel | CoverKind::ColdFrame) {
                assert!(sun > DayAdvice::StaysOn, "{kind:?} {warmest}");
            }
            // An unknown sky counts as sunny.
            let unknown = Day { warmest: Celsius(warmest), coldest: Celsius(warmest), cloud_cover: None };
            assert_eq!(by_day(kind, Some(&unknown)), sun);
        }
        let no_number = Day { warmest: Celsius(f64::NAN), coldest: Celsius(0.0), cloud_cover: Some(f64::NAN) };
        assert_eq!(by_day(kind, Some(&no_number)), DayAdvice::ComesOff);
        assert_eq!(by_day(kind, None), DayAdvice::ComesOff);
    }
}

#[test]
fn a_day_that_turns_hot_over_covers_that_were_to_stay_is_told_and_only_that() {
    use crate::beds::CoverStock;
    use CoverKind::{ClearPlastic, HeavyRowCover, LowTunnel, MediumRowCover};
    use DayAdvice::{ComesOff, Open};
    let advice = |kind: CoverKind, open: bool, warmest: f64, cloud: f64| {
        let garden = garden(vec![bed("R1", &[])], vec![CoverStock { kind, ..cloth(1) }]);
        let lies = SaidBed {
            bed: "R1".into(),
            measure: Measure::Cover,
            cover: Some(cloth(1).name),
            chance: 0.5,
            remaining: 0.1,
            minutes: None,
            reason: None,
            picks: Vec::new(),
            is_picked: false,
            losses: Vec::new(),
        };
        let out = Said { beds: vec![lies], ..Said::default() };
        let opened = if open { vec!["R1".to_string()] } else { Vec::new() };
        let word = Said { kept: Some(vec!["R1".into()]), open: opened, ..out.clone() };
        let day = day(warmest, cloud).expect("a day");
        let hot = too_hot(&garden, &word, &out, &day);
        // Said once, it is not said again.
        let after = word.clone().opened_up(&hot);
        assert!(too_hot(&garden, &after, &out, &day).is_empty());
        assert_eq!(after.kept.as_ref().is_some_and(Vec::is_empty), hot.iter().any(|hot| hot.advice == ComesOff));
        // What nobody was told to leave on, or nobody has left on, is no news.
        assert!(too_hot(&garden, &Said { kept: Some(Vec::new()), ..word.clone() }, &out, &day).is_empty());
        assert!(too_hot(&garden, &word, &Said::default(), &day).is_empty());
        hot.first().map(|hot| hot.advice)
    };
    for (kind, open, warmest, cloud, expected) in [
        (MediumRowCover, false, 15.0, 0.0, None),
        (MediumRowCover, false, 16.0, 1.0, Some(ComesOff)),
        // Cloth that keeps off light came to stay on a day near freezing; a few degrees more do no harm under it.
        (HeavyRowCover, false, 6.0, 0.0, None),
        (HeavyRowCover, false, 16.0, 0.0, Some(ComesOff)),
        // Sun over plastic, and over what can be opened.
        (ClearPlastic, false, 4.0, 0.9, None),
        (ClearPlastic, false, 4.0, 0.2, Some(ComesOff)),
        (LowTunnel, false, 4.0, 0.2, Some(Open)),
        (LowTunnel, true, 4.0, 0.2, None),
        (LowTunnel, true, 16.0, 0.2, Some(ComesOff)),
        (LowTunnel, true, 4.0, 0.9, None),
    ] {
        assert_eq!(advice(kind, open, warmest, cloud), expected, "{kind:?}, {open}, {warmest}, {cloud}");
    }
}

/// Heads and pods in one bed: what the first night asks to pick is left out of the second, and that is said; what only the
/// second asks for is not.
#[test]
fn a_night_leaves_out_only_the_picking_that_was_asked_before_and_says_so() {
    let pick = |organ, text| [(organ, 1.0, Some(text))];
    let heads = crop("heads", HarvestHabit::Whole, Life::Annual, &pick(Organ::Head, "Cut the heads."));
    let mut hardy = crop("hardy", HarvestHabit::Whole, Life::Annual, &pick(Organ::Head, "Cut the hardy heads."));
    (hardy.tolerances[0].damage_begins, hardy.tolerances[0].severe) = (Celsius(-12.0), Celsius(-14.0));
    let crops = [heads, hardy].map(|crop| (crop.id.clone(), crop));
    let catalogue = Catalogue { crops: crops.into(), ..Catalogue::default() };
    let garden = garden(vec![bed("R1", &[("heads", "grown"), ("hardy", "grown")])], Vec::new());
    let ahead = |lows: [f64; 2]| {
        let mut plans = (0..).zip(lows).map(|(number, low)| {
            let night = night(number, low);
            let risks = assess(&garden, date(number), Some(&night), &catalogue);
            plan(&garden, number, Ok(night), risks)
        });
        let tonight = plans.next().expect("a first night");
        let mut spell = Spell::of(tonight, plans.collect(), &[None]);
        spell.ahead.remove(0)
    };
    let again = ahead([-5.0, -5.0]);
    assert_eq!((again.beds, again.minutes, again.counts_on_picking), (Vec::new(), Minutes(0.0), true));
    let first = ahead([8.0, -5.0]);
    assert_eq!((first.beds.len(), first.counts_on_picking), (1, false));
    // The hardy ones are half of the picking, and a minute of walking.
    let more = ahead([-5.0, -15.0]);
    assert_eq!((more.beds, more.counts_on_picking), (vec![("R1".to_string(), Measure::Harvest)], true));
    assert!((more.minutes.0 - first.minutes.0).abs() < 1e-9, "{:?} {:?}", more.minutes, first.minutes);
}
