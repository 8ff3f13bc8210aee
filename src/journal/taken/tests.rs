use super::*;
use crate::beds::sample;
use crate::journal::{Damage, Entry, Gone, Harvested, Key};
use crate::plan::Measure;
use crate::plan::said::SaidBed;
use crate::zone::NightOf;
use chrono::TimeZone;

fn instant(day: u32, hour: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 1, day, hour, 0, 0).single().expect("an instant")
}

fn written(at: DateTime<Utc>, what: What) -> Written {
    let entry = Entry::new(at, at, "", what);
    Written { id: 1, key: entry.key(), entry, corrected_by: None }
}

fn harvested(day: u32, amount: Amount) -> Written {
    written(instant(day, 20), What::Harvested(Harvested { bed: "A1".into(), crop: "kale".into(), amount, note: None }))
}

/// A list of 16 January, 18 UTC, that asks to pick these crops in A1.
fn list(picks: &[&str]) -> Said {
    let bed = SaidBed {
        bed: "A1".into(),
        measure: Measure::Harvest,
        cover: None,
        chance: 0.5,
        remaining: 0.0,
        minutes: None,
        reason: None,
        picks: picks.iter().map(ToString::to_string).collect(),
        is_picked: false,
        losses: Vec::new(),
    };
    Said { at: instant(16, 18), beds: vec![bed], ..Said::default() }
}

#[test]
fn a_picking_answers_the_list_of_its_days_that_asked_for_it() {
    let garden = sample::garden(Vec::new(), Vec::new());
    let asked = |day: u32, said: &[Said]| {
        let all = taken(&garden, &[harvested(day, Amount::Grams(900.0))], said);
        let [Taken { how: How::Picked { asked, .. }, .. }] = all[..] else { panic!("{all:?}") };
        asked
    };
    assert!(asked(16, &[list(&["broccoli", "kale"])]));
    assert!(asked(18, &[list(&["kale"])]));
    assert!(!asked(20, &[list(&["kale"])]), "days later");
    assert!(!asked(15, &[list(&["kale"])]), "before it was asked");
    assert!(!asked(16, &[list(&["broccoli"])]), "another crop of that bed");
    assert!(!asked(16, &[]));
    // Three in the morning UTC is the evening before in New York.
    let night = Written {
        entry: Entry { at: instant(17, 3), ..harvested(17, Amount::Count(4)).entry },
        ..harvested(17, Amount::Count(4))
    };
    let all = taken(&garden, &[night], &[]);
    assert_eq!(all[0].on.to_string(), "2027-01-16");
    assert_eq!(all[0].how, How::Picked { amount: Picked::Pieces(4), asked: false });
}

#[test]
fn harm_counts_where_nothing_grows_again_or_what_is_marked_is_of_no_use() {
    let garden = sample::garden(Vec::new(), Vec::new());
    let of = |class: u8, usable: Option<Usable>| {
        let class = DamageClass::new(class).expect("a class");
        let (bed, night) = ("A1".to_string(), NightOf(instant(15, 0).date_naive()));
        let damage = Damage { bed, crop: None, night, class, usable, note: None, photo: None };
        taken(&garden, &[written(instant(16, 20), What::Damage(damage))], &[]).first().map(|taken| taken.how)
    };
    assert_eq!(of(5, Some(Usable::Yes)), Some(How::Gone));
    assert_eq!(of(4, Some(Usable::No)), Some(How::Spoilt(1.0)));
    assert_eq!(of(3, Some(Usable::Partly)), Some(How::Spoilt(0.5)));
    for nothing in [of(4, None), of(4, Some(Usable::Yes)), of(2, Some(Usable::No)), of(0, None)] {
        assert_eq!(nothing, None);
    }
}

#[test]
fn what_was_struck_or_corrected_counts_no_more() {
    let garden = sample::garden(Vec::new(), Vec::new());
    let gone = || Gone { bed: "A1".into(), crop: "kale".into(), note: None };
    let all = [written(instant(16, 20), What::Lost(gone())), written(instant(18, 20), What::Resown(gone()))];
    assert_eq!(taken(&garden, &all, &[]).iter().map(|one| one.how).collect::<Vec<_>>(), [How::Gone, How::Resown]);
    let struck = Written { corrected_by: Some(2), key: Key::of(&["x"]), ..all[0].clone() };
    assert!(taken(&garden, &[struck], &[]).is_empty());
}
