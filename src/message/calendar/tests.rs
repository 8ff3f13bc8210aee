use super::*;
use crate::beds::Garden;
use crate::beds::sample::{bed, cloth, garden};
use crate::night::NoNight;
use crate::zone::NightOf;
use chrono::NaiveDate;
use ical::IcalParser;
use ical::property::Property;
use proptest::prelude::*;

const ORGANIZER: Organizer<'static> = Organizer {
    name: "The \"old\" plot; beds, and pots",
    address: "frost@garden.example",
    mailto: "mailto:frost@garden.example",
};

/// A list of which nothing is known but its hours: the deadline is 21:30, half an hour before sunset.
fn list(garden: &Garden, now: i64) -> Plan<'_> {
    let at = |hour: i64| DateTime::UNIX_EPOCH + Duration::days(20_834) + Duration::hours(hour);
    let of = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    crate::plan::decide(
        garden,
        of,
        at(22),
        Err(NoNight::NoForecast),
        Vec::new(),
        crate::plan::Before::default(),
        at(now),
    )
}

/// Names and their values.
type Pairs = Vec<(String, String)>;

/// What another's parser reads of the calendar, and of its one event.
fn parsed(calendar: &str) -> (Pairs, Pairs) {
    let mut calendars: Vec<_> = IcalParser::new(calendar.as_bytes()).collect();
    assert_eq!(calendars.len(), 1);
    let calendar = calendars.remove(0).expect("a calendar");
    assert_eq!(calendar.events.len(), 1);
    let pairs = |properties: &[Property]| -> Pairs {
        properties.iter().map(|p| (p.name.clone(), p.value.clone().unwrap_or_default())).collect()
    };
    (pairs(&calendar.properties), pairs(&calendar.events[0].properties))
}

fn value<'p>(pairs: &'p [(String, String)], name: &str) -> &'p str {
    let found: Vec<&str> = pairs.iter().filter(|(key, _)| key == name).map(|(_, value)| value.as_str()).collect();
    assert_eq!(found.len(), 1, "{name}");
    found[0]
}

#[test]
fn another_parser_reads_every_property_once() {
    let garden = Garden { name: "Plot; with, a \\ name".into(), ..garden(vec![bed("R1", &[])], vec![cloth(1)]) };
    let (calendar, event) = parsed(&super::calendar(&list(&garden, 18), CalendarEntry::Publish, 3, ORGANIZER));
    for (name, expected) in [
        ("VERSION", "2.0"),
        ("PRODID", "-//counterpane//list for a cold night//EN"),
        ("CALSCALE", "GREGORIAN"),
        ("METHOD", "PUBLISH"),
    ] {
        assert_eq!(value(&calendar, name), expected);
    }
    for (name, expected) in [
        ("UID", "2027-01-16.plot@garden.example"),
        ("SEQUENCE", "2"),
        ("DTSTAMP", "20270116T180000Z"),
        ("DTSTART", "20270116T210000Z"),
        ("DTEND", "20270116T213000Z"),
        ("LOCATION", "Plot\\; with\\, a \\\\ name"),
        ("ORGANIZER", "mailto:frost@garden.example"),
        ("STATUS", "CONFIRMED"),
    ] {
        assert_eq!(value(&event, name), expected);
    }
}

/// An hour before the work, where that is to come; with what is called off nobody is reminded of anything.
#[test]
fn people_are_reminded_an_hour_before() {
    let garden = garden(vec![bed("R1", &[])], vec![cloth(1)]);
    let alarms = |plan: &Plan<'_>, entry| {
        let written = calendar(plan, entry, 1, ORGANIZER);
        let reader = ical::IcalParser::new(std::io::BufReader::new(written.as_bytes()));
        let calendars: Vec<_> = reader.map(|calendar| calendar.expect("a calendar")).collect();
        let alarms = calendars[0].events[0].alarms.iter().map(|alarm| {
            let of = |name: &str| alarm.properties.iter().find(|one| one.name == name)?.value.clone();
            (of("ACTION"), of("TRIGGER"), of("DESCRIPTION").is_some())
        });
        alarms.collect::<Vec<_>>()
    };
    let reminded = (Some("DISPLAY".into()), Some("-PT60M".into()), true);
    assert_eq!(alarms(&list(&garden, 18), CalendarEntry::Publish), [reminded]);
    // The work begins at 21:00: at 20:00 the mail itself reminds them.
    assert_eq!(alarms(&list(&garden, 20), CalendarEntry::Publish), []);
    assert_eq!(alarms(&list(&garden, 18), CalendarEntry::Cancel), []);
}

#[test]
fn what_is_called_off_has_the_same_identity_and_a_higher_number() {
    let garden = garden(vec![bed("R1", &[])], vec![cloth(1)]);
    let (plan, later) = (list(&garden, 18), list(&garden, 20));
    let (_, published) = parsed(&calendar(&plan, CalendarEntry::Publish, 1, ORGANIZER));
    let (called_off, cancelled) = parsed(&calendar(&later, CalendarEntry::Cancel, 2, ORGANIZER));
    assert_eq!(value(&called_off, "METHOD"), "CANCEL");
    assert_eq!(value(&cancelled, "STATUS"), "CANCELLED");
    assert_eq!(value(&published, "UID"), value(&cancelled, "UID"));
    assert_eq!((value(&published, "SEQUENCE"), value(&cancelled, "SEQUENCE")), ("0", "1"));
}

#[test]
fn after_the_deadline_the_entry_begins_now() {
    let garden = garden(vec![bed("R1", &[])], vec![cloth(1)]);
    let (_, event) = parsed(&calendar(&list(&garden, 23), CalendarEntry::Publish, 1, ORGANIZER));
    assert_eq!((value(&event, "DTSTART"), value(&event, "DTEND")), ("20270116T230000Z", "20270116T233000Z"));
}

#[test]
fn the_same_list_gives_the_same_bytes() {
    let garden = garden(vec![bed("R1", &[])], vec![cloth(1)]);
    let made = || calendar(&list(&garden, 18), CalendarEntry::Publish, 1, ORGANIZER);
    assert_eq!(made(), made());
}

/// The opposite of [`text`], as RFC 5545 section 3.3.11 has it.
fn unescaped(value: &str) -> String {
    let mut letters = value.chars();
    let mut plain = String::new();
    while let Some(letter) = letters.next() {
        plain.push(match letter {
            '\\' => match letters.next() {
                Some('n' | 'N') => '\n',
                other => other.unwrap_or('\\'),
            },
            letter => letter,
        });
    }
    plain
}

proptest! {
    /// Any name of a garden comes back from another's parser, in lines of at most 75 octets.
    #[test]
    fn any_name_comes_through(rest in "[a-zA-Z0-9 ;,:\\\\\"é日🌱]{1,120}") {
        let name = format!("Plot{rest}");
        let garden = Garden { name: name.clone(), ..garden(vec![bed("R1", &[])], vec![cloth(1)]) };
        let written = calendar(&list(&garden, 18), CalendarEntry::Publish, 1, Organizer { name: &name, ..ORGANIZER });
        prop_assert!(written.ends_with("END:VCALENDAR\r\n"));
        prop_assert!(written.split("\r\n").all(|line| line.len() <= 75 && !line.contains(['\r', '\n'])));
        let unfolded = written.replace("\r\n ", "");
        let location = unfolded.split("\r\n").find_map(|line| line.strip_prefix("LOCATION:")).unwrap_or_default();
        prop_assert_eq!(unescaped(location), name.clone());
        let (_, event) = parsed(&written);
        let read = unescaped(value(&event, "LOCATION"));
        prop_assert_eq!(read.trim(), name.trim());
    }
}
