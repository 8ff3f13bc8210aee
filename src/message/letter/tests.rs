use super::*;
use crate::beds::sample::{bed, cloth, garden};
use crate::beds::{Bed, BedKind};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use crate::night::{Knowledge, Night, NoNight};
use crate::plan::decide;
use crate::plan::tests::{night, sunset};
use crate::risk::assess;
use crate::units::Minutes;
use crate::zone::{NightOf, Zone};

/// Falls to -4 C.
const FROST: f64 = 10.0;

/// What a volunteer reads so many hours after sunset, all of it: seedlings in R1, and more beds.
fn letter(more: Vec<Bed>, night: Result<Night, NoNight>, hours: f64) -> String {
    let crop = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
    let mut beds = vec![bed("R1", &[("seedlings", "grown")])];
    beds.extend(more);
    let mut garden = garden(beds, vec![cloth(9)]);
    garden.worth_per_square_metre = Minutes(60.0);
    let of = NightOf("2027-01-16".parse().expect("a date"));
    let now = sunset() + Duration::minutes((hours * 60.0) as i64);
    let risks = assess(&garden, of, night.as_ref().ok(), &catalogue);
    read(&decide(&garden, of, sunset(), night, risks, crate::plan::Before::default(), now))
}

fn read(plan: &Plan<'_>) -> String {
    let context = Context::new(SayReason::First);
    let letter = evening_letter(plan, &context, Reader { role: Role::Volunteer });
    crate::message::plain_text(&letter).split_whitespace().collect::<Vec<_>>().join(" ")
}

fn frost() -> Result<Night, NoNight> {
    Ok(night(FROST, Knowledge::Complete))
}

#[test]
fn pots_are_first_only_where_there_are_pots() {
    let pots = Bed {
        kind: BedKind::Containers { diameter: 0.3, count: 4, movable: true },
        ..bed("P1", &[("seedlings", "grown")])
    };
    let without = letter(Vec::new(), frost(), 2.0);
    assert!(without.contains("Lay covers only where there is light") && !without.contains("Pots"), "{without}");
    let with = letter(vec![pots], frost(), 2.0);
    assert!(with.contains("Pots first; lay covers only where there is light"), "{with}");
}

/// A "why" reads as a reason to act.
#[test]
fn a_volunteer_is_given_no_why_for_a_bed_that_is_fine() {
    let crop = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
    let mut garden = garden(vec![bed("R1", &[("seedlings", "grown")])], vec![cloth(9)]);
    garden.worth_per_square_metre = Minutes(60.0);
    let (of, night) = (NightOf("2027-01-16".parse().expect("a date")), frost());
    let risks = assess(&garden, of, night.as_ref().ok(), &catalogue);
    let before = crate::plan::Before::default();
    let mut plan = decide(&garden, of, sunset(), night, risks, before, sunset() - Duration::hours(3));
    assert!(read(&plan).contains("Why: harm to seedlings"), "{}", read(&plan));
    (plan.beds[0].measure, plan.beds[0].reason) = (Measure::Fine, crate::plan::Reason::MinorPart);
    let text = read(&plan);
    assert!(text.contains("may suffer") && !text.contains("Why:"), "{text}");
}

/// The sun set at 17:00 and rises near 07:30: at 05:00 the evening's rule asks for a look that nobody can take.
#[test]
fn without_a_forecast_before_dawn_it_asks_for_a_look_now() {
    let early = letter(Vec::new(), Err(NoNight::NoForecast), 2.5);
    assert!(early.contains("at 19:00 means that frost is as likely as not"), "{early}");
    let late = letter(Vec::new(), Err(NoNight::NoForecast), 12.0);
    assert!(!late.contains("at 19:00"), "{late}");
    assert!(late.contains("look at it now, and again in an hour"), "{late}");
    assert!(late.contains("falling until sunrise, near 07:"), "{late}");
}

/// The threshold of -2 C is met twelve hours after sunset, at 05:00; the coldest hour is the fourteenth.
#[test]
fn an_hour_that_is_past_is_no_deadline() {
    let before = letter(Vec::new(), frost(), 9.0);
    assert!(
        before.contains("From about 05:00 EST it is too late") && before.contains("Do it before 05:00."),
        "{before}"
    );
    let after = letter(Vec::new(), frost(), 12.5);
    assert!(after.contains("cover 1 now"), "{after}");
    assert!(!after.contains("too late") && !after.contains("before 05:30"), "{after}");
    assert!(after.contains("what is done before the coldest hour, near 07:00, still saves a part"), "{after}");
    assert!(
        after.contains("Cold enough for harm here already; what is done before 07:00 still saves a part"),
        "{after}"
    );
    let over = letter(Vec::new(), frost(), 14.5);
    assert!(over.contains("going out saves little now") && !over.contains("still saves"), "{over}");
    // -1.8 C at the coldest: no hour is expected to do harm, and the last of them is past.
    let over = letter(Vec::new(), Ok(night(12.2, Knowledge::Complete)), 14.5);
    assert!(over.contains("going out saves little now") && !over.contains("before 07:30"), "{over}");
}

#[test]
fn without_a_forecast_in_the_dark_the_hour_to_decide_is_now() {
    let text = letter(Vec::new(), Err(NoNight::NoForecast), 3.0);
    assert!(text.contains("Decide by hand now, as below."), "{text}");
    let text = letter(Vec::new(), Err(NoNight::NoForecast), -3.0);
    assert!(text.contains("Decide by hand by 16:30 EST, as below."), "{text}");
}

#[test]
fn where_the_sun_does_not_set_or_rise_the_letter_says_so() {
    let crop = crop("seedlings", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
    let mut garden = garden(vec![bed("R1", &[("seedlings", "grown")])], vec![cloth(9)]);
    (garden.site.latitude, garden.site.longitude) = (69.6, 18.9);
    garden.worth_per_square_metre = Minutes(60.0);
    garden.zone = Zone::bundled(chrono_tz::Europe::Oslo).expect("its rules are bundled");
    let text = |date: &str, hours: i64| {
        let of = NightOf(date.parse().expect("a date"));
        let (sunset, sunrise) = rounds::night_hours(&garden.site, &garden.zone, of);
        let mut night = night(FROST, Knowledge::Complete);
        let moved = sunset - night.sunset;
        night.hours.iter_mut().for_each(|hour| hour.time += moved);
        (night.of, night.sunset, night.sunrise) = (of, sunset, sunrise);
        let risks = assess(&garden, of, Some(&night), &catalogue);
        read(&decide(
            &garden,
            of,
            sunset,
            Ok(night),
            risks,
            crate::plan::Before::default(),
            sunset + Duration::hours(hours),
        ))
    };
    let summer = text("2027-06-16", -5);
    assert!(summer.contains("The sun does not set here now; the list counts from 18:00."), "{summer}");
    let winter = text("2026-12-16", -5);
    assert!(winter.contains("The sun does not rise here now; the list counts from 18:00."), "{winter}");
    assert!(winter.contains("only where there is light to see by"), "{winter}");
    assert!(!summer.contains("sun sets") && !winter.contains("sun sets"));
    // In the bright night nobody is warned of the dark.
    let late = text("2027-06-16", 3);
    assert!(late.contains("late still helps.") && !late.contains("safely") && !late.contains("light to see"), "{late}");
    assert!(text("2026-12-16", 3).contains("if you can work safely in the dark"));
}

/// By day a shared cover goes to whoever may want it; in the dark it stays where it lies.
#[test]
fn a_shared_cover_that_gives_way_to_another_is_not_said_to_stay() {
    let catalogue = Catalogue::default();
    let shared = crate::beds::CoverStock { shared_with: vec!["other".into()], ..cloth(2) };
    let garden = garden(vec![bed("R1", &[])], vec![shared]);
    let of = NightOf("2027-01-16".parse().expect("a date"));
    let told = |hours: i64, freed: bool| {
        let risks = assess(&garden, of, None, &catalogue);
        let now = sunset() + Duration::hours(hours);
        let plan = decide(&garden, of, sunset(), Err(NoNight::NoForecast), risks, crate::plan::Before::default(), now);
        let freed = freed.then(|| ("R1".to_string(), "white cloth".to_string()));
        let changes = crate::plan::said::Changes {
            other_cover: vec!["R1".into()],
            freed: freed.into_iter().collect(),
            ..Default::default()
        };
        crate::message::changes::changes(&plan, &changes, now).join(" ")
    };
    assert!(told(-4, true).contains("R1: another cover than before; the shared one goes back."), "{}", told(-4, true));
    for text in [told(-4, false), told(1, true)] {
        assert!(text.contains("one that is on already may stay"), "{text}");
    }
}
