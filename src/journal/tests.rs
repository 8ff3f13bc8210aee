use super::*;
use crate::beds::sample;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use chrono::{NaiveDate, TimeZone};

fn instant(hour: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 1, 16, hour, 0, 0).single().expect("an instant")
}

fn reading(temperature: f64) -> Entry {
    let what = What::Reading(Reading {
        place: Place::UnderCover { bed: "A1".into(), cover: None },
        temperature: Celsius(temperature),
        dew_point: None,
        of: Sampled::Minimum { since: Some(instant(1)) },
        thermometer: Some(Thermometer::MinMax),
        height: Some(0.2),
        shielded: Some(true),
        sure: false,
    });
    Entry::new(instant(11), instant(12), "31F", what)
}

#[test]
fn a_key_changes_with_everything_an_entry_says_and_with_nothing_else() {
    let entry = reading(-0.5);
    assert_eq!(entry.key(), reading(-0.5).key());
    let changed = [
        reading(-0.4),
        Entry { at: instant(10), ..entry.clone() },
        Entry { entered_at: instant(13), ..entry.clone() },
        Entry { by: Some("Ada".into()), ..entry.clone() },
        Entry { as_typed: "31 F".into(), ..entry.clone() },
        Entry { replaces: Some(reading(3.0).key()), ..entry.clone() },
    ];
    for other in changed {
        assert_ne!(other.key(), entry.key(), "{other:?}");
    }
    assert_eq!(Key::parse(entry.key().as_str()), Some(entry.key()));
    assert!(Key::parse("u00000000012").is_some_and(|key| key.is_old()));
    for text in ["", "u0000000001x", "abc", "ABCDEFGHJKMN", "iiiiiiiiiiii"] {
        assert_eq!(Key::parse(text), None, "{text}");
    }
}

/// A golden key: journals that were exported by an earlier release must be known again.
#[test]
fn a_key_is_the_same_in_every_release() {
    let what = What::Uncovered(Uncovered { bed: "A1".into() });
    let entry = Entry::new(instant(11), instant(12), "", what);
    assert_eq!(entry.document(), r#"{"kind":"uncovered","bed":"A1"}"#);
    assert_eq!(entry.key().as_str().len(), 12);
}

#[test]
fn what_an_entry_says_comes_back_from_its_document() {
    let entry = reading(-0.5);
    assert_eq!(serde_json::from_str::<What>(&entry.document()).ok(), Some(entry.what));
}

#[test]
fn amounts_and_notes_that_are_none_are_refused() {
    for text in ["", "kg", "-3", "0", "100001", "3 stone", "1e9kg", "nan g", "0.2g"] {
        assert!(Amount::parse(text).is_err(), "{text}");
    }
    assert_eq!(Amount::parse("2 lb"), Ok(Amount::Grams(2.0 * 453.592_37)));
    assert_eq!(note("  "), Ok(None));
    assert!(note("two\nlines").is_err() && note(&"x".repeat(501)).is_err());
    for text in ["..", "a/../b", "a//b", "/a", ".hidden", "C:\\a", "a/."] {
        assert!(photo(text).is_err(), "{text}");
    }
}

#[test]
fn damage_to_what_was_not_there_that_day_is_refused() {
    let mut bed = sample::bed("A1", &[("broccoli", "grown")]);
    bed.plantings[0].planted = NaiveDate::from_ymd_opt(2027, 1, 10);
    let garden = sample::garden(vec![bed, sample::bed("A2", &[])], vec![]);
    let crop = |name: &str| {
        let crop = crate::crops::sample::crop(name, HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
        (name.to_string(), crop)
    };
    let catalogue = Catalogue { crops: ["broccoli", "kale"].map(crop).into(), ..Catalogue::default() };
    let damage = |bed: &str, crop: Option<&str>, night: (i32, u32, u32)| {
        let night = NightOf(NaiveDate::from_ymd_opt(night.0, night.1, night.2).expect("a date"));
        let class = DamageClass::new(2).expect("a class");
        let (bed, crop) = (bed.into(), crop.map(str::to_string));
        let what =
            What::Damage(Damage { bed, crop, sowing: None, night, class, usable: None, note: None, photo: None });
        belongs(&Entry::new(instant(15), instant(15), "", what), &garden, &catalogue)
    };
    assert_eq!(damage("A1", Some("broccoli"), (2027, 1, 15)), Ok(()));
    assert_eq!(damage("A1", None, (2027, 1, 15)), Ok(()));
    for (bed, crop, night, why) in [
        ("A3", None, (2027, 1, 15), "No bed is labelled \"A3\". There are: A1, A2"),
        ("A2", None, (2027, 1, 15), "Nothing grows in bed A2"),
        ("A1", Some("kale"), (2027, 1, 15), "Bed A1 has no kale. It has: broccoli"),
        ("A1", Some("moss"), (2027, 1, 15), "No crop is called \"moss\". Bed A1 has: broccoli"),
        (
            "A1",
            Some("broccoli"),
            (2027, 1, 5),
            "The broccoli in bed A1 was planted on 2027-01-10, and was not there on 2027-01-05",
        ),
        ("A1", None, (2027, 1, 5), "What grows in bed A1 was planted after the night of 2027-01-05"),
        (
            "A1",
            None,
            (2027, 1, 17),
            "The night of 2027-01-17 began only after somebody had looked; was it that of 2027-01-15?",
        ),
    ] {
        assert_eq!(damage(bed, crop, night), Err(why.to_string()));
    }
}
