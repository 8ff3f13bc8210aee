use super::*;
use crate::beds::sample;
use crate::journal::{Entry, Uncovered};
use crate::plan::Measure;
use crate::plan::said::SaidBed;
use chrono::{NaiveDate, TimeZone};

fn night(day: u32) -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2027, 1, day).expect("a date"))
}

/// At 80 W the sun rises about 12:30 UTC and sets about 22:30.
fn written(day: u32, hour: u32, what: What) -> Written {
    let at = Utc.with_ymd_and_hms(2027, 1, day, hour, 0, 0).single().expect("an instant");
    let entry = Entry::new(at, at, "", what);
    Written { id: 1, key: entry.key(), entry, corrected_by: None }
}

fn laid(day: u32, hour: u32) -> Written {
    written(day, hour, What::Covered(Covered { bed: "A1".into(), cover: None, layers: 1 }))
}

fn off(day: u32, hour: u32) -> Written {
    written(day, hour, What::Uncovered(Uncovered { bed: "A1".into() }))
}

/// What was said in the morning after a night on which A1 was covered.
fn morning(day: u32, kept: &[&str]) -> (NightOf, Said) {
    let bed = SaidBed {
        bed: "A1".into(),
        measure: Measure::Cover,
        cover: Some("white cloth".into()),
        chance: 0.5,
        remaining: 0.1,
        minutes: None,
        reason: None,
        picks: Vec::new(),
        is_picked: false,
        losses: Vec::new(),
    };
    let kept = Some(kept.iter().map(|bed| (*bed).to_string()).collect());
    (night(day), Said { beds: vec![bed], kept, ..Said::default() })
}

/// Nights of January in which A1 was surely covered, and those in which it may have been.
fn nights(entries: &[Written], mornings: &[(NightOf, Said)]) -> (Vec<u32>, Vec<u32>) {
    let garden = sample::garden(vec![sample::bed("A1", &[])], vec![]);
    let stays = stays(&garden, entries, mornings);
    let may = |stay: &Stay, night: NightOf| {
        stay.perhaps.is_some_and(|(first, last)| night >= first && last.is_none_or(|last| night <= last))
    };
    let days = |is: &dyn Fn(&Stay, NightOf) -> bool| {
        (1..=31).filter(|day| stays.iter().any(|stay| is(stay, night(*day)))).collect()
    };
    (days(&Stay::is_sure), days(&may))
}

#[test]
fn one_rule_says_in_which_nights_a_cover_lay() {
    let all_after = |day: u32| (day..=31).collect::<Vec<_>>();
    for (what, entries, mornings, sure, perhaps) in [
        ("written off", vec![laid(10, 21), off(13, 14)], vec![], vec![10, 11, 12], vec![]),
        ("after three weeks", vec![laid(1, 21), off(22, 14)], vec![], (1..=21).collect(), vec![]),
        ("written off in the afternoon", vec![laid(10, 21), off(12, 20)], vec![], vec![10, 11], vec![]),
        ("the same evening", vec![laid(10, 20), off(10, 21)], vec![], vec![], vec![]),
        ("in the dark", vec![laid(10, 21), off(11, 4)], vec![], vec![], vec![10]),
        ("in the dark of the second night", vec![laid(10, 21), off(12, 4)], vec![], vec![10], vec![11]),
        ("laid after the low", vec![laid(10, 14), off(11, 14)], vec![], vec![10], vec![]),
        ("laid before it", vec![laid(10, 6), off(10, 14)], vec![], vec![9], vec![]),
        ("never", vec![laid(10, 21)], vec![], vec![10], all_after(11)),
        ("another laid", vec![laid(10, 21), laid(14, 21), off(15, 14)], vec![], vec![10, 14], vec![11, 12, 13]),
        ("another the same evening", vec![laid(10, 20), laid(10, 21), off(11, 14)], vec![], vec![10], vec![]),
        ("every evening", vec![laid(10, 21), laid(11, 21), off(12, 14)], vec![], vec![10, 11], vec![]),
        ("a morning took it off", vec![laid(10, 21)], vec![morning(10, &[])], vec![10], vec![]),
        (
            "one left it on, the next took it off",
            vec![laid(10, 21)],
            vec![morning(10, &["A1"]), morning(11, &[])],
            vec![10, 11],
            vec![],
        ),
        ("a later morning took it off", vec![laid(10, 21)], vec![morning(13, &[])], vec![10], vec![11, 12, 13]),
        (
            "what was written goes before",
            vec![laid(10, 21), off(13, 14)],
            vec![morning(10, &[])],
            vec![10, 11, 12],
            vec![],
        ),
        (
            "left on until another was laid",
            vec![laid(10, 21), laid(12, 21), off(13, 14)],
            vec![morning(10, &["A1"]), morning(11, &["A1"])],
            vec![10, 11, 12],
            vec![],
        ),
    ] {
        assert_eq!(nights(&entries, &mornings), (sure, perhaps), "{what}");
    }
    let slip = Written { corrected_by: Some(2), ..laid(10, 21) };
    assert_eq!(nights(&[slip], &[]), (vec![], vec![]));
}

/// Beds of 2.4 by 1.2 m under cloth of which one piece covers a bed.
#[test]
fn more_pieces_than_the_shelf_has_are_counted_once_for_neighbours() {
    let mut garden = sample::garden(["A1", "A2", "A3"].map(|id| sample::bed(id, &[])).into(), vec![sample::cloth(2)]);
    let name = garden.covers[0].name.clone();
    let laid = |bed: &str, layers: u8, cover: Option<&str>| {
        let covered = Covered { bed: bed.into(), cover: cover.map(str::to_string), layers };
        written(3, 20, What::Covered(covered))
    };
    let many = |garden: &Garden, entries: &[Written], day: u32| {
        let found = too_many(garden, &stays(garden, entries, &[]), night(day));
        found.into_iter().map(|many| (many.cover, many.pieces, many.beds.join(" "))).collect::<Vec<_>>()
    };
    let three = [laid("A1", 1, None), laid("A2", 1, Some(&name)), laid("A3", 1, Some(&name))];
    let told = |pieces: u32, beds: &str| vec![(name.clone(), pieces, beds.to_string())];
    assert_eq!(many(&garden, &three[..2], 3), []);
    assert_eq!(many(&garden, &three, 2), []);
    // Nobody wrote one off: they may lie there still.
    assert_eq!(many(&garden, &three, 3), told(3, "A1 A2 A3"));
    assert_eq!(many(&garden, &three, 9), told(3, "A1 A2 A3"));
    assert_eq!(many(&garden, &[laid("A1", 2, None), laid("A2", 1, None)], 3), told(3, "A1 A2"));
    assert_eq!(many(&garden, &[laid("A1", 2, Some("another")), laid("A2", 1, None)], 3), []);
    // Neighbours may lie under one.
    garden.beds[1].beside = Some("A1".into());
    assert_eq!(many(&garden, &three, 3), []);
    assert_eq!(many(&garden, &[laid("A1", 1, None), laid("A2", 2, None), laid("A3", 1, None)], 3), told(3, "A1 A2 A3"));
}
