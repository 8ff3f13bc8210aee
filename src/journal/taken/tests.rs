use super::*;
use crate::beds::sample;
use crate::crops::sample::crop;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use crate::journal::{Damage, Entry, Gone, Harvested, Key};
use crate::night::NoNight;

use crate::plan::said::SaidBed;
use crate::plan::{Before, Measure, decide};
use crate::risk::assess;
use chrono::{Datelike, TimeZone};

fn instant(day: u32, hour: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 1, day, hour, 0, 0).single().expect("an instant")
}

fn night(day: u32) -> NightOf {
    NightOf(instant(day, 0).date_naive())
}

fn written(at: DateTime<Utc>, what: What) -> Written {
    let entry = Entry::new(at, at, "", what);
    Written { id: 1, key: entry.key(), entry, corrected_by: None }
}

fn harvested(day: u32, amount: Amount) -> Written {
    written(
        instant(day, 20),
        What::Harvested(Harvested { bed: "A1".into(), sowing: None, crop: "kale".into(), amount, note: None }),
    )
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
        let all = taken(&garden, &[harvested(day, Amount::Grams(900.0))], said, night(30));
        let [Taken { how: How::Picked { asked, .. }, .. }] = all[..] else { panic!("{all:?}") };
        asked
    };
    assert!(asked(16, &[list(&["broccoli", "kale"])]));
    assert!(asked(18, &[list(&["kale"])]));
    assert!(!asked(20, &[list(&["kale"])]), "days later");
    assert!(!asked(15, &[list(&["kale"])]), "before it was asked");
    assert!(!asked(16, &[list(&["broccoli"])]), "another crop of that bed");
    assert!(!asked(16, &[]));
    let called_off = Said { at: instant(16, 19), ..list(&[]) };
    assert!(!asked(17, &[list(&["kale"]), called_off.clone()]), "called off before");
    let later = Said { at: instant(18, 19), ..called_off };
    assert!(asked(17, &[list(&["kale"]), later]), "called off after");
    // It was there the evening before; what is sown on that day stands from then on.
    let stood = |what: What| taken(&garden, &[written(instant(16, 20), what)], &[], night(30))[0].stood_on.to_string();
    let gone = || Gone { bed: "A1".into(), sowing: None, crop: "kale".into(), note: None };
    assert_eq!(stood(What::Lost(gone())), "2027-01-15");
    assert_eq!(stood(What::Resown(gone())), "2027-01-16");
    assert_eq!(taken(&garden, &[damage(None, 14, 16)], &[], night(30))[0].stood_on.to_string(), "2027-01-14");
    // Three in the morning UTC is the evening before in New York.
    let late = Written {
        entry: Entry { at: instant(17, 3), ..harvested(17, Amount::Count(4)).entry },
        ..harvested(17, Amount::Count(4))
    };
    let all = taken(&garden, &[late], &[], night(30));
    assert_eq!(all[0].on.to_string(), "2027-01-16");
    assert_eq!(all[0].how, How::Picked { amount: Picked::Pieces(4), asked: false });
}

#[test]
fn harm_counts_where_nothing_grows_again_or_what_is_marked_is_of_no_use() {
    let garden = sample::garden(Vec::new(), Vec::new());
    let of = |class: u8, usable: Option<Usable>| {
        let class = DamageClass::new(class).expect("a class");
        let damage = Damage {
            bed: "A1".into(),
            crop: None,
            sowing: None,
            night: night(15),
            class,
            usable,
            note: None,
            photo: None,
        };
        taken(&garden, &[written(instant(16, 20), What::Damage(damage))], &[], night(16)).first().map(|taken| taken.how)
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
    let gone = || Gone { bed: "A1".into(), sowing: None, crop: "kale".into(), note: None };
    let all = [written(instant(16, 20), What::Lost(gone())), written(instant(18, 20), What::Resown(gone()))];
    assert_eq!(
        taken(&garden, &all, &[], night(30)).iter().map(|one| one.how).collect::<Vec<_>>(),
        [How::Gone, How::Resown]
    );
    let struck = Written { corrected_by: Some(2), key: Key::of(&["x"]), ..all[0].clone() };
    assert!(taken(&garden, &[struck], &[], night(30)).is_empty());
}

fn damage(crop: Option<&str>, of: u32, seen: u32) -> Written {
    let class = DamageClass::new(5).expect("a class");
    let (bed, crop) = ("A1".to_string(), crop.map(str::to_string));
    let damage = Damage { bed, crop, sowing: None, night: night(of), class, usable: None, note: None, photo: None };
    written(instant(seen, 20), What::Damage(damage))
}

/// What of the kale in A1, planted on these days of January, still stands for the list of a night.
fn standing(planted: &[Option<u32>], entries: &[Written], of: u32) -> Vec<Option<u32>> {
    let mut garden = sample::garden(vec![sample::bed("A1", &vec![("kale", "grown"); planted.len()])], Vec::new());
    for (planting, day) in garden.beds[0].plantings.iter_mut().zip(planted) {
        planting.planted = day.map(|day| night(day).0);
    }
    let kale = crop("kale", HarvestHabit::Whole, Life::Biennial, &[(Organ::Leaf, 1.0, Some("Pick it."))]);
    let catalogue = Catalogue { crops: [(kale.id.clone(), kale)].into(), ..Catalogue::default() };
    let risks = assess(&garden, night(of), None, &catalogue);
    let taken = taken(&garden, entries, &[], night(of));
    let before = Before { taken: &taken, ..Before::default() };
    let now = instant(of, 18);
    let plan = decide(&garden, night(of), now, Err(NoNight::NoForecast), risks, before, now);
    plan.beds[0].risk.plantings.iter().map(|one| one.planting.planted.map(|date| date.day())).collect()
}

#[test]
fn harm_takes_what_stood_in_its_night_and_nothing_that_was_planted_since() {
    let resown = |day| {
        written(
            instant(day, 15),
            What::Resown(Gone { bed: "A1".into(), sowing: None, crop: "kale".into(), note: None }),
        )
    };
    let kale = Some("kale");
    let last_winter = |seen| {
        let mut harm = damage(kale, 5, seen);
        let What::Damage(damage) = &mut harm.entry.what else { panic!("{harm:?}") };
        damage.night = NightOf(night(5).0 - Duration::days(365));
        harm
    };
    let slip = |written: Written| Written { corrected_by: Some(2), ..written };
    for (what, planted, entries, expected) in [
        ("written down late", &[None][..], vec![resown(8), damage(kale, 5, 16)], &[None][..]),
        ("and of the new one", &[None], vec![resown(8), damage(kale, 12, 16)], &[]),
        ("sown on the day of the night", &[None], vec![resown(12), damage(kale, 12, 16)], &[]),
        ("sown on the day after it", &[None], vec![resown(13), damage(kale, 12, 16)], &[None]),
        ("of the whole bed", &[None, Some(8)], vec![damage(None, 5, 16)], &[Some(8)]),
        ("of the crop", &[Some(1), Some(8)], vec![damage(kale, 5, 16)], &[Some(8)]),
        ("planted on the day of the night", &[Some(5)], vec![damage(kale, 5, 16)], &[]),
        ("its sowing was a slip", &[None], vec![slip(resown(8)), damage(kale, 5, 16)], &[]),
        ("it was a slip itself", &[None], vec![slip(damage(kale, 5, 7))], &[None]),
        ("its night was corrected", &[None], vec![slip(damage(kale, 5, 7)), resown(8), damage(kale, 12, 16)], &[]),
        ("a night of last winter", &[None], vec![last_winter(16)], &[None]),
        ("a night to come", &[None], vec![damage(kale, 18, 16)], &[None]),
        ("the night of the list", &[None], vec![damage(kale, 17, 16)], &[None]),
        ("the night before", &[None], vec![damage(kale, 16, 17)], &[]),
    ] {
        assert_eq!(standing(planted, &entries, 17), expected, "{what}");
    }
}
