use super::*;
use chrono::TimeZone;

fn now() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 2, 1, 0, 0, 0).single().expect("an instant")
}

fn instant(hour: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 1, 16, hour, 0, 0).single().expect("an instant")
}

/// One entry of each kind, with texts that a table could fall over.
fn entries() -> Vec<Entry> {
    let odd = || Some("a \"quoted\", odd; nöte".to_string());
    let class = DamageClass::new(3).expect("a class");
    let night = NightOf(instant(0).date_naive());
    let gone = || Gone { bed: "A,1".into(), sowing: odd(), crop: "kale".into(), note: odd() };
    let reading = |place: Place, of: Sampled| {
        What::Reading(Reading {
            place: place.clone(),
            temperature: Celsius(-5.0 / 9.0),
            dew_point: Some(Celsius(-3.3)),
            of,
            thermometer: Some(Thermometer::LiquidInGlass),
            height: Some(0.1),
            shielded: Some(false),
            sure: place != Place::Screen,
        })
    };
    let whats = [
        reading(Place::Screen, Sampled::Instant),
        reading(Place::UnderCover { bed: "A1".into(), cover: odd() }, Sampled::Minimum { since: Some(instant(1)) }),
        reading(Place::Soil { bed: "A1".into() }, Sampled::Maximum { since: None }),
        What::Covered(Covered { bed: "A1".into(), cover: odd(), layers: 2 }),
        What::Uncovered(Uncovered { bed: "A1".into() }),
        What::Harvested(Harvested {
            bed: "A1".into(),
            crop: "kale".into(),
            sowing: None,
            amount: Amount::Grams(1360.777),
            note: None,
        }),
        What::Harvested(Harvested {
            bed: "A1".into(),
            sowing: odd(),
            crop: "kale".into(),
            amount: Amount::Count(14),
            note: odd(),
        }),
        What::Damage(Damage {
            bed: "A1".into(),
            crop: None,
            sowing: None,
            night,
            class,
            usable: Some(Usable::Partly),
            note: odd(),
            photo: Some("2027/a1.jpg".into()),
        }),
        What::Damage(Damage {
            bed: "A1".into(),
            crop: Some("kale".into()),
            sowing: Some("2026-09-12".into()),
            night,
            class,
            usable: None,
            note: None,
            photo: None,
        }),
        What::Lost(gone()),
        What::Resown(gone()),
        What::Imported(Imported {
            file: "log.csv".into(),
            column: "air_f".into(),
            place: Place::Screen,
            rows: 12,
            first: instant(1),
            last: instant(2),
        }),
        What::Struck(Struck { because: odd() }),
    ];
    let mut entries: Vec<Entry> =
        whats.into_iter().map(|what| Entry::new(instant(11), instant(12), "31F, typed", what)).collect();
    let replaces = entries[0].key();
    for entry in &mut entries[1..] {
        entry.by = Some("Ada".into());
        entry.replaces = Some(replaces.clone());
    }
    entries
}

#[test]
fn every_kind_comes_back_as_it_was_and_is_written_to_the_same_byte() {
    let entries = entries();
    for kind in Kind::ALL {
        let of_kind: Vec<(Key, &Entry)> =
            entries.iter().filter(|entry| entry.what.kind() == *kind).map(|entry| (entry.key(), entry)).collect();
        assert!(!of_kind.is_empty(), "{kind:?} is not tried");
        let text = write(*kind, of_kind.iter().map(|(key, entry)| (key, *entry)));
        assert!(is_header(text.lines().next().expect("a header")));
        let (rows, faults) = read(text.as_bytes(), now()).expect("a table");
        assert_eq!(faults, []);
        let back: Vec<(Key, &Entry)> = rows.iter().map(|row| (row.key.clone(), &row.entry)).collect();
        assert_eq!(back, of_kind);
        assert!(rows.iter().all(|row| !row.by_hand));
        assert_eq!(write(*kind, rows.iter().map(|row| (&row.key, &row.entry))), text);
    }
}

/// A table of before sowings were told apart has no such column, and its keys still belong to what its rows say.
#[test]
fn a_table_without_sowings_still_reads() {
    let mut gone = entries().into_iter().find(|entry| entry.what.kind() == Kind::Lost).expect("one");
    let What::Lost(planting) = &mut gone.what else { panic!("{gone:?}") };
    (planting.sowing, planting.note) = (None, None);
    assert_eq!(gone.document(), r#"{"kind":"lost","bed":"A,1","crop":"kale","note":null}"#);
    let text =
        write(Kind::Lost, [(&gone.key(), &gone)]).replace(",note,sowing\n", ",note\n").replace(",kale,,\n", ",kale,\n");
    let (rows, faults) = read(text.as_bytes(), now()).expect("a table");
    assert_eq!((rows[0].entry.clone(), faults), (gone, vec![]));
}

const DAMAGE: &str = "kind,key,at_utc,entered_at_utc,by,as_typed,replaces,bed,crop,night,class,usable,note,photo\n";

#[test]
fn each_bad_row_is_named_with_its_line_and_the_others_are_kept() {
    let good = "damage,,2027-01-16T15:00:00Z,,,,,A1,kale,2027-01-15,2,,,\n";
    for (bad, why) in [
        ("damage,,2027-01-16T15:00:00Z,,,,,A1,kale,2027-01-15,7,,,", "There is no class 7."),
        ("damage,,2027-01-16T15:00:00Z,,,,,A1,kale,2027-01-15,-1,,,", "class \"-1\" is not a number from 0 to 5"),
        ("damage,,2027-01-16T15:00:00Z,,,,,,kale,2027-01-15,2,,,", "bed is blank"),
        ("damage,,2027-02-16T15:00:00Z,,,,,A1,kale,2027-01-15,2,,,", "2027-02-16T15:00:00Z has not come yet"),
        ("damage,,16 January,,,,,A1,kale,2027-01-15,2,,,", "at_utc \"16 January\" is not a time such as"),
        (
            "damage,,2027-01-16T15:00:00Z,,,,,A1,kale,15.1.2027,2,,,",
            "night \"15.1.2027\" is not the date of an evening",
        ),
        ("damage,,2027-01-16T15:00:00Z,,,,,A1,kale,2027-01-15,2,maybe,,", "usable \"maybe\" is not yes, partly or no"),
        ("damage,,2027-01-16T15:00:00Z,,,,,A1,kale,2027-01-15,2,,,../x", "is no place for a photograph"),
        ("damage,,2027-01-16T15:00:00Z,,,,,A1,kale", "9 fields for 14 columns; is the file cut off?"),
        ("reading,,2027-01-16T15:00:00Z,,,,,A1,kale,2027-01-15,2,,,", "the table has no column \"temperature_c\""),
        ("frost,,2027-01-16T15:00:00Z,,,,,A1,kale,2027-01-15,2,,,", "no entry is of the kind \"frost\""),
        (
            "damage,0123456789ab,2027-01-16T15:00:00Z,2027-01-16T15:00:00Z,,,,A1,kale,2027-01-15,2,,,",
            "the key 0123456789ab does not belong to what the row says: it was changed.",
        ),
    ] {
        let (rows, faults) = read(format!("{DAMAGE}{good}{bad}\n{good}").as_bytes(), now()).expect("a table");
        assert_eq!(rows.iter().map(|row| row.line).collect::<Vec<_>>(), [2, 4], "{bad}");
        assert!(rows.iter().all(|row| row.by_hand));
        let [fault] = faults.as_slice() else { panic!("{bad}: {faults:?}") };
        assert!(fault.line == 3 && fault.what.contains(why), "{bad}: {fault:?}");
        let (_, faults) =
            read(format!("{DAMAGE}{good}\n\n{bad}\n").replace('\n', "\r\n").as_bytes(), now()).expect("a table");
        assert_eq!(faults[0].line, 5, "{bad}");
    }
    for (header, why) in [
        ("kind;key;at_utc\n", "its columns are separated by semicolons; save it with commas"),
        ("kind,key\n", "it has no column \"at_utc\""),
        ("kind,key,colour\n", "it has a column \"colour\", which no table of the journal has"),
        ("kind,key,key\n", "it has the column \"key\" twice"),
    ] {
        assert!(read(header.as_bytes(), now()).is_err_and(|what| what.starts_with(why)), "{header}");
    }
}

#[test]
fn a_row_that_was_made_by_hand_has_the_same_key_at_every_import() {
    let text = format!("{DAMAGE}damage,,2027-01-16T15:00:00Z,,,,,A1,kale,2027-01-15,2,,,\n");
    let key = |now| read(text.as_bytes(), now).expect("a table").0[0].key.clone();
    assert_eq!(key(now()), key(now() + chrono::Duration::days(3)));
}

#[test]
fn a_header_that_was_saved_in_quotes_is_one() {
    for header in ["kind,key,at_utc", "\"kind\",\"key\",\"at_utc\"", "\u{feff}\"kind\", key,\"at_utc\""] {
        assert!(is_header(header), "{header}");
    }
    assert!(!is_header("time_utc,air_c") && !is_header("key,kind"));
    let columns = crate::journal::logged_table::COLUMNS;
    assert!(crate::journal::logged_table::is_header(&format!("\"{}\"", columns.join("\",\""))));
}
