//! Each row is a sentence about one moment: what was said last, what the list says now, and whether that is news.

use super::*;
use Measure::{BringIn, Cover, Fine, Harvest, Leave, Unknown};

/// A bed's measure and its chance of damage; beds are named by their place in the list.
type Bed = (Measure, f64);

fn now() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + Duration::days(20_835)
}

fn said(at: DateTime<Utc>, beds: &[Bed]) -> Said {
    let beds = beds.iter().enumerate().map(|(index, (measure, chance))| SaidBed {
        bed: format!("R{}", index + 1),
        measure: *measure,
        cover: measure.eq(&Cover).then(|| "white cloth".into()),
        chance: *chance,
        // A cover halves it here.
        remaining: match measure {
            Cover => chance / 2.0,
            Leave | Fine => *chance,
            Harvest | BringIn | Unknown => 0.0,
        },
        minutes: None,
        reason: None,
        picks: Vec::new(),
        is_picked: false,
        losses: Vec::new(),
    });
    Said { at, beds: beds.collect(), ..Said::default() }
}

fn earlier(beds: &[Bed]) -> Said {
    said(now() - Duration::hours(7), beds)
}

/// What is said of `next` in a round after `last`, with the last word of any kind 7 hours old.
fn after(round: RoundKind, last: &[Bed], next: &[Bed]) -> Result<SayReason, SilentReason> {
    let last = earlier(last);
    whether(round, &said(now(), next), Some(&last), Some(last.at), AllQuiet::Weekly)
}

#[test]
fn after_a_list_only_news_is_said() {
    use RoundKind::{Afternoon, Dusk};
    use SayReason::{Better, CalledOff, DataMissing, Worse};
    use SilentReason::{BetterCanWait, Unchanged};
    type Row<'a> = (&'a str, RoundKind, &'a [Bed], &'a [Bed], Result<SayReason, SilentReason>);
    let rows: &[Row] = &[
        ("a bed joins", Afternoon, &[(Cover, 0.6), (Fine, 0.0)], &[(Cover, 0.6), (Cover, 0.4)], Ok(Worse)),
        ("a bed joins at dusk", Dusk, &[(Cover, 0.6), (Fine, 0.0)], &[(Cover, 0.6), (Leave, 0.2)], Ok(Worse)),
        (
            "a bed is new in the garden and in danger",
            Afternoon,
            &[(Fine, 0.0)],
            &[(Fine, 0.0), (Cover, 0.5)],
            Ok(Worse),
        ),
        (
            "one is worse and another better",
            Dusk,
            &[(Cover, 0.6), (Fine, 0.0)],
            &[(Fine, 0.0), (Cover, 0.5)],
            Ok(Worse),
        ),
        ("what to do changes, not how much", Dusk, &[(Cover, 0.6)], &[(Harvest, 0.6)], Ok(Worse)),
        ("it is too late or too cold for the cover: given up", Dusk, &[(Cover, 0.6)], &[(Leave, 0.7)], Ok(Worse)),
        ("it is milder, and no work is left", Afternoon, &[(Cover, 0.6)], &[(Leave, 0.3)], Ok(Better)),
        (
            "it is milder, and less work is left",
            Afternoon,
            &[(Cover, 0.6), (Cover, 0.3)],
            &[(Cover, 0.5), (Fine, 0.0)],
            Ok(Better),
        ),
        (
            "it is milder after dusk",
            Dusk,
            &[(Cover, 0.6), (Cover, 0.3)],
            &[(Cover, 0.5), (Fine, 0.0)],
            Err(BetterCanWait),
        ),
        (
            "all is well after work was asked",
            Afternoon,
            &[(Cover, 0.6), (Fine, 0.0)],
            &[(Fine, 0.0), (Fine, 0.0)],
            Ok(CalledOff),
        ),
        ("all is well at dusk: nobody should go out in vain", Dusk, &[(BringIn, 0.6)], &[(Fine, 0.0)], Ok(CalledOff)),
        ("all is well where nothing had been asked", Afternoon, &[(Leave, 0.3)], &[(Fine, 0.0)], Ok(Better)),
        ("the weather goes missing after work was asked", Dusk, &[(Cover, 0.6)], &[(Unknown, 0.0)], Ok(DataMissing)),
        ("the weather goes missing on a quiet day", Afternoon, &[(Fine, 0.0)], &[(Unknown, 0.0)], Ok(DataMissing)),
        (
            "the weather goes missing for one bed of two",
            Dusk,
            &[(Cover, 0.6), (Cover, 0.3)],
            &[(Cover, 0.6), (Unknown, 0.0)],
            Ok(DataMissing),
        ),
        (
            "it goes missing wholly where part was missing",
            Dusk,
            &[(Cover, 0.6), (Unknown, 0.0)],
            &[(Unknown, 0.0), (Unknown, 0.0)],
            Ok(DataMissing),
        ),
        ("it is missing still, at a planned mail", Afternoon, &[(Unknown, 0.0)], &[(Unknown, 0.0)], Ok(DataMissing)),
        ("it is missing still, at dusk", Dusk, &[(Unknown, 0.0)], &[(Unknown, 0.0)], Err(Unchanged)),
        ("it is back, and work is asked", Dusk, &[(Unknown, 0.0)], &[(Cover, 0.5)], Ok(Worse)),
        ("it is back, and all is well", Afternoon, &[(Unknown, 0.0)], &[(Fine, 0.0)], Ok(Better)),
        ("nothing has changed", Afternoon, &[(Cover, 0.6), (Fine, 0.0)], &[(Cover, 0.6), (Fine, 0.0)], Err(Unchanged)),
        ("the chance moves a little and no measure does", Dusk, &[(Cover, 0.4)], &[(Cover, 0.7)], Err(Unchanged)),
        ("the cover saves much less than was said", Dusk, &[(Cover, 0.4)], &[(Cover, 0.9)], Ok(Worse)),
        ("a bed that is left is in much more danger", Dusk, &[(Leave, 0.2)], &[(Leave, 0.8)], Ok(Worse)),
        ("all was well and is", Afternoon, &[(Fine, 0.0)], &[(Fine, 0.05)], Err(Unchanged)),
    ];
    for (sentence, round, last, next, expected) in rows {
        assert_eq!(after(*round, last, next), *expected, "{sentence}");
    }
}

#[test]
fn the_first_list_of_a_night_is_said_when_it_warns_or_the_next_sign_of_life_is_due() {
    use AllQuiet::{Daily, Weekly};
    use RoundKind::{Afternoon, Dusk, Morning};
    use SilentReason::Quiet;
    type Row<'a> = (&'a str, RoundKind, &'a [Bed], Option<f64>, AllQuiet, Result<SayReason, SilentReason>);
    let rows: &[Row] = &[
        ("a bed is in danger", Morning, &[(Fine, 0.0), (Cover, 0.4)], Some(0.3), Weekly, Ok(SayReason::First)),
        ("only to be left, and yet in danger", Afternoon, &[(Leave, 0.4)], None, Weekly, Ok(SayReason::First)),
        ("a danger first seen at dusk", Dusk, &[(Cover, 0.4)], Some(0.3), Daily, Ok(SayReason::First)),
        ("nothing is known", Morning, &[(Unknown, 0.0)], Some(0.3), Weekly, Ok(SayReason::DataMissing)),
        ("part is known and bad", Dusk, &[(Cover, 0.4), (Unknown, 0.0)], None, Weekly, Ok(SayReason::DataMissing)),
        ("quiet, and nothing was ever said", Morning, &[(Fine, 0.0)], None, Weekly, Ok(SayReason::AllQuiet)),
        ("quiet, weekly, six and a half days after", Morning, &[(Fine, 0.0)], Some(6.5), Weekly, Err(Quiet)),
        (
            "quiet, weekly, the same weekday a minute early",
            Morning,
            &[(Fine, 0.0)],
            Some(6.9993),
            Weekly,
            Ok(SayReason::AllQuiet),
        ),
        ("quiet, weekly, eight days after", Morning, &[(Fine, 0.0)], Some(8.0), Weekly, Ok(SayReason::AllQuiet)),
        ("quiet, daily, half a day after", Morning, &[(Fine, 0.0)], Some(0.5), Daily, Err(Quiet)),
        ("quiet, daily, a day after", Morning, &[(Fine, 0.0)], Some(1.0), Daily, Ok(SayReason::AllQuiet)),
        ("quiet, daily, six and a half days after", Morning, &[(Fine, 0.0)], Some(6.5), Daily, Ok(SayReason::AllQuiet)),
        ("quiet in the afternoon, long after any word", Afternoon, &[(Fine, 0.0)], Some(8.0), Weekly, Err(Quiet)),
        ("quiet at dusk, long after any word", Dusk, &[(Fine, 0.0)], None, Daily, Err(Quiet)),
    ];
    for (sentence, round, next, days_ago, all_quiet, expected) in rows {
        let last_word = days_ago.map(|days| now() - Duration::seconds((days * 86_400.0) as i64));
        let found = whether(*round, &said(now(), next), None, last_word, *all_quiet);
        assert_eq!(found, *expected, "{sentence}");
    }
}

#[test]
fn the_morning_after_is_for_those_who_were_asked_to_cover_or_to_look() {
    for (sentence, last, expected) in [
        ("covers lie on the beds", Some(&[(Cover, 0.6), (Fine, 0.0)][..]), Ok(SayReason::MorningAfter)),
        ("pots stand inside", Some(&[(BringIn, 0.6)][..]), Ok(SayReason::MorningAfter)),
        ("nobody knew: some will have covered", Some(&[(Unknown, 0.0)][..]), Ok(SayReason::MorningAfter)),
        ("a bed was left to the frost", Some(&[(Leave, 0.6)][..]), Err(SilentReason::NothingToUncover)),
        ("all stood the night", Some(&[(Fine, 0.0)][..]), Err(SilentReason::NothingToUncover)),
        ("nothing was said", None, Err(SilentReason::NothingToUncover)),
    ] {
        let last = last.map(earlier);
        // Whatever the next night brings, this round is about the one just over.
        for next in [Fine, Cover, Unknown] {
            let next = said(now(), &[(next, 0.5)]);
            let found = whether(RoundKind::Uncover, &next, last.as_ref(), None, AllQuiet::Daily);
            assert_eq!(found, expected, "{sentence}");
        }
    }
}

#[test]
fn another_cover_is_told_by_day_and_waits_at_dusk() {
    let last = earlier(&[(Cover, 0.6)]);
    let mut next = said(now(), &[(Cover, 0.6)]);
    next.beds[0].cover = Some("old bed sheet".into());
    let found = changes(&last, &next);
    assert_eq!(found.other_cover, ["R1"]);
    assert!(found.worse.is_empty() && found.better.is_empty() && !found.asks_more);
    for (round, expected) in
        [(RoundKind::Afternoon, Ok(SayReason::Better)), (RoundKind::Dusk, Err(SilentReason::BetterCanWait))]
    {
        assert_eq!(whether(round, &next, Some(&last), Some(last.at), AllQuiet::Weekly), expected);
    }
}

#[test]
fn more_is_asked_only_where_a_bed_asks_for_more_or_is_given_up() {
    type Row<'a> = (&'a str, Bed, Bed, bool, bool);
    let rows: [Row; 7] = [
        // sentence, before, now, worse, asks more
        ("out of danger into it", (Fine, 0.0), (Cover, 0.5), true, true),
        ("danger without work", (Fine, 0.0), (Leave, 0.2), true, true),
        ("other work of the same rank", (Cover, 0.5), (BringIn, 0.5), true, false),
        ("given up", (Cover, 0.5), (Leave, 0.6), true, true),
        ("the chance has hardly risen: not given up", (Cover, 0.5), (Leave, 0.52), false, false),
        ("the work is done with, the chance fallen", (Harvest, 0.5), (Leave, 0.2), false, false),
        ("the same", (Leave, 0.2), (Leave, 0.3), false, false),
    ];
    for (sentence, before, next, worse, asks_more) in rows {
        let found = changes(&earlier(&[before]), &said(now(), &[next]));
        assert_eq!((!found.worse.is_empty(), found.asks_more), (worse, asks_more), "{sentence}");
        assert!(found.worse.iter().all(|change| *change == ("R1".to_string(), before.0)), "{sentence}: {found:?}");
        assert!(found.worse.is_empty() || found.better.is_empty(), "{sentence}: both worse and better");
    }
}

/// What was said of a night, what its list says now, and what becomes of its entry in calendars.
#[test]
fn an_entry_is_taken_out_once_the_work_that_was_asked_is_called_off() {
    use CalendarEntry::{Cancel, Publish};
    use SayReason::{AllQuiet, CalledOff, DataMissing, First, Worse};
    type Row<'a> = (&'a str, SayReason, &'a [Bed], &'a [Bed], Option<CalendarEntry>);
    let rows: &[Row] = &[
        ("the first list with work", First, &[], &[(Cover, 0.5)], Some(Publish)),
        ("more work", Worse, &[(Cover, 0.5)], &[(Harvest, 0.9)], Some(Publish)),
        ("work after all", Worse, &[(Cover, 0.5), (Fine, 0.0)], &[(Cover, 0.5)], Some(Publish)),
        ("called off", CalledOff, &[(Cover, 0.5)], &[(Fine, 0.0)], Some(Cancel)),
        ("given up, with nothing else to do", Worse, &[(Cover, 0.5)], &[(Leave, 0.9)], Some(Cancel)),
        ("called off before, and a bed is at risk now", Worse, &[(Cover, 0.5), (Fine, 0.0)], &[(Leave, 0.2)], None),
        ("an all-clear is said again", CalledOff, &[(Cover, 0.5), (Fine, 0.0)], &[(Fine, 0.0)], Some(Cancel)),
        ("weather goes missing", DataMissing, &[(Cover, 0.5)], &[(Unknown, 0.0)], None),
        ("it is back, and mild", CalledOff, &[(Cover, 0.5), (Unknown, 0.0)], &[(Fine, 0.0)], Some(Cancel)),
        ("nothing was asked", First, &[], &[(Leave, 0.2)], None),
        ("all quiet", AllQuiet, &[], &[(Fine, 0.0)], None),
        ("nobody was asked to work when nothing was known", CalledOff, &[(Unknown, 0.0)], &[(Fine, 0.0)], None),
    ];
    // Lists of one bed each, one after another.
    for (what, reason, before, next, entry) in rows {
        let before: Vec<Said> = before.iter().map(|bed| earlier(&[*bed])).collect();
        assert_eq!(calendar_entry(*reason, &said(now(), next), &before), *entry, "{what}");
    }
}

/// Two gardens and five pieces of cloth: what the other was last told counts, and nothing of what it was told before.
#[test]
fn shared_covers_are_where_the_last_list_that_stands_has_them() {
    use crate::beds::sample::{cloth, garden};
    let shared = CoverStock { shared_with: vec!["hillside".into()], ..cloth(5) };
    let (here, other) = (garden(vec![], vec![cloth(1), shared.clone()]), garden(vec![], vec![]));
    // The first stock has the same name and is this garden's own.
    let here = Garden { covers: vec![CoverStock { name: "own".into(), ..cloth(1) }, here.covers[1].clone()], ..here };
    let other = Garden { id: "hillside".into(), name: "Hillside".into(), ..other };
    let list = |measure: Measure, pieces: u32| {
        let name = shared.name.to_uppercase();
        Said { covers: [(name, pieces), ("own".into(), 9)].into(), ..earlier(&[(measure, 0.5)]) }
    };
    let away = |said: &[Said]| -> Vec<(usize, u32)> {
        elsewhere(&here, &other, &pieces_in_use(said, now())).iter().map(|away| (away.stock, away.pieces)).collect()
    };
    assert_eq!(away(&[]), []);
    assert_eq!(away(&[list(Cover, 3)]), [(1, 3)]);
    assert_eq!(away(&[list(Cover, 3), list(Cover, 2)]), [(1, 2)]);
    assert_eq!(away(&[list(Cover, 3), list(Fine, 0)]), []);
    assert_eq!(away(&[list(Cover, 3), list(Unknown, 0)]), [(1, 3)], "a list that knows nothing takes none back");
    let stranger = Garden { id: "meadow".into(), ..other.clone() };
    let in_use = pieces_in_use(&[list(Cover, 3)], now());
    assert_eq!(elsewhere(&here, &stranger, &in_use), []);
    assert_eq!(elsewhere(&here, &other, &in_use)[0].garden, "Hillside");
    // In the dark nothing is given back, and what is asked for then comes on top.
    let late = |said: Said| Said { at: now() + Duration::hours(3), ..said };
    assert_eq!(away(&[list(Cover, 3), late(list(Fine, 0))]), [(1, 3)]);
    assert_eq!(away(&[list(Cover, 3), late(list(Cover, 4)), late(list(Cover, 2))]), [(1, 4)]);
    assert_eq!(away(&[list(Cover, 3), list(Fine, 0), late(list(Cover, 2))]), [(1, 2)]);
}

/// Three beds under a piece each, and a fourth that is left.
#[test]
fn what_lies_out_since_last_night_is_there_until_the_word_of_the_morning_takes_it_off() {
    let night = Said { covers: [("White Cloth".into(), 3)].into(), ..earlier(&[(Cover, 0.5); 3]) };
    let left = |lists: &[Said], told: Option<&Said>| {
        pieces_left(lists, now(), told).get("white cloth").copied().unwrap_or_default()
    };
    assert_eq!(left(std::slice::from_ref(&night), None), 3);
    let morning = |kept: &[&str]| {
        let kept = Some(kept.iter().map(|bed| (*bed).to_string()).collect());
        Said { at: now() + Duration::hours(19), kept, ..night.clone() }
    };
    for (kept, pieces) in [(&[] as &[&str], 0), (&["R2"], 1), (&["R1", "R3"], 2), (&["R1", "R2", "R3"], 3)] {
        assert_eq!(left(&[night.clone(), morning(kept)], None), pieces, "{kept:?}");
    }
    // What the coming night does not want any more comes off.
    let told = said(now(), &[(Cover, 0.5), (Fine, 0.0), (Fine, 0.0)]);
    assert_eq!(left(&[night.clone(), morning(&["R1", "R2"])], Some(&told)), 1);
    // Called off in the dark it lies there all the same, by day it does not.
    let called_off = |hours| said(now() + Duration::hours(hours), &[(Fine, 0.0); 3]);
    assert_eq!(left(&[night.clone(), called_off(3)], None), 3);
    assert_eq!(left(&[night.clone(), called_off(-1)], None), 0);
}

#[test]
fn picking_that_was_done_as_asked_is_no_news_and_not_called_off() {
    let asked = earlier(&[(Harvest, 0.6), (Fine, 0.0)]);
    let next = |measure: Measure, cover: Option<&str>, is_picked: bool| {
        let mut next = said(now(), &[(measure, 0.2), (Fine, 0.0)]);
        (next.beds[0].cover, next.beds[0].is_picked) = (cover.map(Into::into), is_picked);
        next
    };
    let after = |last: &Said, next: &Said| whether(RoundKind::Dusk, next, Some(last), Some(last.at), AllQuiet::Weekly);
    assert_eq!(after(&asked, &next(Fine, None, true)), Err(SilentReason::Unchanged));
    assert_eq!(after(&asked, &next(Leave, None, true)), Err(SilentReason::Unchanged));
    assert_eq!(after(&asked, &next(Fine, None, false)), Ok(SayReason::CalledOff));
    // Where something had been picked there before the list, it proves nothing of the list.
    let mut picked_before = asked.clone();
    picked_before.beds[0].is_picked = true;
    assert_eq!(after(&picked_before, &next(Fine, None, true)), Ok(SayReason::CalledOff));
    // A cover that was asked with it stays; one that was not is news.
    let mut with_cover = asked.clone();
    with_cover.beds[0].cover = Some("cloth".into());
    assert_eq!(after(&with_cover, &next(Cover, Some("cloth"), true)), Err(SilentReason::Unchanged));
    assert_eq!(after(&asked, &next(Cover, Some("cloth"), true)), Ok(SayReason::Worse));
    // Other work of the same list is called off all the same.
    let two = earlier(&[(Harvest, 0.6), (Cover, 0.5)]);
    assert_eq!(after(&two, &next(Fine, None, true)), Ok(SayReason::CalledOff));
}

#[test]
fn a_cover_that_lay_there_and_came_off_is_asked_for_again() {
    let with_minutes = |mut said: Said, minutes: f64| {
        said.beds[0].minutes = Some(minutes);
        said
    };
    let lay = with_minutes(earlier(&[(Cover, 0.6)]), 0.0);
    let after = |next: &Said| whether(RoundKind::Dusk, next, Some(&lay), Some(lay.at), AllQuiet::Weekly);
    assert_eq!(after(&with_minutes(said(now(), &[(Cover, 0.6)]), 4.0)), Ok(SayReason::Worse));
    assert_eq!(after(&with_minutes(said(now(), &[(Cover, 0.6)]), 0.0)), Err(SilentReason::Unchanged));
    assert_eq!(changes(&lay, &with_minutes(said(now(), &[(Cover, 0.6)]), 4.0)).again, ["R1"]);
}

#[test]
fn of_a_piece_over_two_beds_that_the_morning_keeps_for_one_no_more_is_there_than_it() {
    let mut night = Said { covers: [("White Cloth".into(), 3)].into(), ..earlier(&[(Cover, 0.5); 4]) };
    night.beds[0].cover = Some("white cloth, one piece together with R2".into());
    night.beds[1].cover = Some("white cloth, one piece together with R1".into());
    for (kept, pieces) in [
        (&["R1"] as &[&str], Some(1)),
        (&["R2"], Some(1)),
        (&["R1", "R2"], Some(1)),
        (&["R1", "R3"], Some(2)),
        (&["R3"], Some(1)),
        (&["R1", "R2", "R3", "R4"], Some(3)),
        (&[], None),
    ] {
        let kept_beds = Some(kept.iter().map(|bed| (*bed).to_string()).collect());
        let morning = Said { at: now() + Duration::hours(19), kept: kept_beds, ..night.clone() };
        let left = pieces_left(&[night.clone(), morning], now(), None);
        assert_eq!(left.get("white cloth").copied(), pieces, "{kept:?}");
    }
}

#[test]
fn a_cover_that_gives_way_to_another_is_free() {
    let with = |cover: &str| {
        let mut said = earlier(&[(Cover, 0.5)]);
        said.beds[0].cover = Some(cover.into());
        said
    };
    let freed = |before: &str, now: &str| changes(&with(before), &with(now)).freed.len();
    assert_eq!((freed("cloth", "sheet"), freed("two layers of cloth", "cloth")), (1, 1));
    assert_eq!((freed("cloth", "cloth"), freed("cloth", "two layers of cloth")), (0, 0));
    assert_eq!(freed("cloth, one piece together with R2", "cloth"), 0);
}

/// Covers on every bed, which lay there where they take no minutes.
fn covered(minutes: &[f64]) -> Said {
    let mut said = said(now(), &vec![(Cover, 0.6); minutes.len()]);
    said.beds.iter_mut().zip(minutes).for_each(|(bed, minutes)| bed.minutes = Some(*minutes));
    said
}

#[test]
fn once_the_weather_is_known_again_covers_that_stay_are_nothing_worse() {
    let unknown = earlier(&[(Unknown, 0.0); 2]);
    let after = |next: &Said| {
        let reason = whether(RoundKind::Afternoon, next, Some(&unknown), Some(unknown.at), AllQuiet::Weekly);
        (reason, changes(&unknown, next).asks_more)
    };
    assert_eq!(after(&covered(&[0.0, 0.0])), (Ok(SayReason::Worse), false));
    assert_eq!(after(&covered(&[0.0, 4.0])), (Ok(SayReason::Worse), true));
    // A frost that comes up asks for more, though the cover lies there.
    assert!(changes(&earlier(&[(Fine, 0.0)]), &covered(&[0.0])).asks_more);
}

#[test]
fn a_calendar_has_an_entry_while_people_are_wanted() {
    use CalendarEntry::{Cancel, Publish};
    let fine = said(now(), &[(Fine, 0.0); 2]);
    let (lies, work) = (covered(&[0.0, 0.0]), covered(&[0.0, 4.0]));
    let entry = |next: &Said, said: &[Said]| calendar_entry(SayReason::Better, next, said);
    assert_eq!(entry(&lies, &[]), None);
    assert_eq!(entry(&work, &[]), Some(Publish));
    assert_eq!(entry(&lies, std::slice::from_ref(&work)), Some(Cancel));
    assert_eq!(entry(&fine, &[work.clone(), lies.clone()]), None);
    assert_eq!(calendar_entry(SayReason::CalledOff, &fine, &[lies]), None);
}
