use super::*;
use chrono::{NaiveDate, TimeZone};
use proptest::prelude::*;

fn letter() -> Letter {
    let person = |name: &str, address: &str| Correspondent { name: name.into(), address: address.into() };
    Letter {
        garden_id: "north-garden".into(),
        night: NightOf(NaiveDate::from_ymd_opt(2026, 1, 15).unwrap_or_default()),
        kind: "first",
        revision: 1,
        to: person("Tuesday crew", "crew@example.org"),
        from: person("North Garden", "frost@garden.example"),
        reply_to: Some(person("", "manager@garden.example")),
        subject: "Cover 4 beds by 16:40: low -2 C near 05:00, North Garden".into(),
        plain: format!("Cover\n{}\n\n  1. Kale\n", "x".repeat(78)),
        html: "<!doctype html><p>Cover</p>".into(),
        date: Utc.timestamp_opt(1_768_500_000, 0).single().unwrap_or_default(),
        thread_start: None,
        enclosed: Vec::new(),
    }
}

fn text(letter: &Letter) -> String {
    match render(letter) {
        Ok(rendered) => String::from_utf8(rendered.bytes).unwrap_or_default(),
        Err(fault) => panic!("{fault}"),
    }
}

fn headers(text: &str) -> Vec<&str> {
    text.split("\r\n\r\n").next().unwrap_or_default().split("\r\n").collect()
}

#[test]
fn a_letter_becomes_this_message() {
    let expected = "Date: Thu, 15 Jan 2026 18:00:00 +0000
From: \"North Garden\" <frost@garden.example>
To: \"Tuesday crew\" <crew@example.org>
Subject: Cover 4 beds by 16:40: low -2 C near 05:00, North Garden
Message-ID: <ID>
Reply-To: manager@garden.example
Auto-Submitted: auto-generated
List-Id: <north-garden.garden.example>
List-Unsubscribe: <mailto:manager@garden.example?subject=stop%20north-garden>
MIME-Version: 1.0
Content-Type: multipart/alternative;
 boundary=\"B\"

--B
Content-Type: text/plain; charset=utf-8
Content-Transfer-Encoding: 7bit

Cover
xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx

  1. Kale
--B
Content-Type: text/html; charset=utf-8
Content-Transfer-Encoding: 7bit

<!doctype html><p>Cover</p>
--B--
";
    let rendered = render(&letter());
    let Ok(Rendered { message_id, bytes, .. }) = rendered else { panic!("{rendered:?}") };
    let text = String::from_utf8(bytes).unwrap_or_default();
    let boundary = text.split("boundary=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap_or_default();
    assert_eq!(boundary.len(), 32);
    assert!(message_id.starts_with("<2026-01-15.first.1.") && message_id.ends_with("@garden.example>"), "{message_id}");
    assert_eq!(text.replace(boundary, "B").replace(&message_id, "<ID>").replace("\r\n", "\n"), expected);
}

#[test]
fn what_is_enclosed_stands_beside_what_is_read_and_keeps_its_last_line_end() {
    let file = |file_name: &str, content_type, text: &str| Enclosure {
        file_name: file_name.into(),
        content_type,
        text: text.into(),
    };
    let calendar = file("night.ics", "text/calendar; charset=utf-8; method=CANCEL", "BEGIN:X\r\nEND:X\r\n");
    let page = file("list.html", "text/html; charset=utf-8", "<p>Jard\u{ed}n</p>\n");
    let full = Letter { enclosed: vec![calendar, page], ..letter() };
    let text = text(&full);
    assert_eq!(render(&full), render(&full));
    let boundaries: Vec<&str> = text.split("boundary=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let [outer, inner] = boundaries[..] else { panic!("{text}") };
    assert_ne!(outer, inner);
    assert!(text.contains("Content-Type: multipart/mixed;"), "{text}");
    let parts: Vec<&str> = text.split(&format!("--{outer}")).collect();
    let [_, read, calendar, page, end] = parts[..] else { panic!("{parts:?}") };
    assert!(read.contains("text/plain") && read.trim_end().ends_with(&format!("--{inner}--")), "{read}");
    assert!(calendar.contains("Content-Type: text/calendar; charset=utf-8; method=CANCEL\r\n"), "{calendar}");
    assert!(
        calendar.contains("attachment; filename=\"night.ics\"") && calendar.contains("END:X\r\n\r\n"),
        "{calendar}"
    );
    assert!(page.contains("quoted-printable") && page.contains("Jard=C3=ADn"), "{page}");
    assert_eq!(end.trim_end(), "--");
}

#[test]
fn the_name_of_what_is_enclosed_forges_no_header() {
    let file = Enclosure { file_name: "a\r\nBcc: x@y".into(), content_type: "text/html", text: "x".into() };
    let fault = render(&Letter { enclosed: vec![file], ..letter() });
    assert!(matches!(fault, Err(MailFault::ControlCharacter { what: "file's name", .. })), "{fault:?}");
}

#[test]
fn the_same_letter_is_the_same_bytes_and_another_person_has_another_identity() {
    assert_eq!(render(&letter()), render(&letter()));
    let mut other = letter();
    other.to.address = "anna@example.org".into();
    let ids = [render(&letter()), render(&other)].map(|rendered| rendered.map(|r| r.message_id));
    assert_ne!(ids[0], ids[1]);
}

#[test]
fn later_mails_answer_the_first_and_the_first_answers_nobody() {
    let first = render(&letter()).map(|rendered| rendered.message_id).unwrap_or_default();
    let mut later = letter();
    later.revision = 2;
    later.thread_start = Some(first.clone());
    let message = text(&later);
    for name in ["In-Reply-To", "References"] {
        assert!(headers(&message).contains(&format!("{name}: {first}").as_str()), "{message}");
    }
    let mut itself = letter();
    itself.thread_start = Some(first);
    assert_eq!(text(&itself), text(&letter()));
}

#[test]
fn letters_beyond_ascii_are_quoted_printable_and_still_readable() {
    let mut letter = letter();
    letter.subject = "Couvrir 4 planches avant 16 h 40, Jardin d\u{e9}couvert".into();
    letter.plain = "Cover the caf\u{e9} bed\n".into();
    let message = text(&letter);
    assert!(message.is_ascii());
    assert!(message.contains("Content-Transfer-Encoding: quoted-printable\r\n\r\nCover the caf=C3=A9 bed\r\n"));
}

#[test]
fn no_field_can_forge_a_header() {
    let attack = "x\r\nBcc: victim@example.org";
    type Set = fn(&mut Letter, String);
    let fields: [(&str, Set); 8] = [
        ("to name", |letter, text| letter.to.name = text),
        ("to address", |letter, text| letter.to.address = text),
        ("from name", |letter, text| letter.from.name = text),
        ("from address", |letter, text| letter.from.address = text),
        ("reply to", |letter, text| letter.reply_to = Some(Correspondent { name: text.clone(), address: text })),
        ("subject", |letter, text| letter.subject = text),
        ("garden", |letter, text| letter.garden_id = text),
        ("thread start", |letter, text| letter.thread_start = Some(text)),
    ];
    for (name, set) in fields {
        for attack in [attack, "x\ny", "x\ry", "x\0y", "x\u{7f}y", "x\u{85}y", "x\u{2028}y"] {
            let mut letter = letter();
            set(&mut letter, attack.to_string());
            assert!(render(&letter).is_err(), "{name} let {attack:?} through");
        }
    }
}

#[test]
fn addresses_that_relays_may_not_take_are_refused() {
    for address in [
        "",
        "crew",
        "crew@",
        "@example.org",
        "a b@example.org",
        "\"a b\"@example.org",
        "jos\u{e9}@example.org",
        "crew@ex\u{e4}mple.org",
        "<crew@example.org>",
        "a@example.org,b@example.org",
        "a@example.org b@example.org",
    ] {
        let mut letter = letter();
        letter.to.address = address.into();
        assert!(matches!(render(&letter), Err(MailFault::Address { .. })), "{address}");
    }
}

#[test]
fn a_date_no_mail_can_carry_is_refused() {
    for date in [DateTime::<Utc>::MIN_UTC, DateTime::<Utc>::MAX_UTC] {
        let mut letter = letter();
        letter.date = date;
        assert_eq!(render(&letter), Err(MailFault::Date(date)));
    }
}

/// Any text without the characters that are refused.
fn writing(length: std::ops::Range<usize>) -> impl Strategy<Value = String> {
    let allowed =
        any::<char>().prop_filter("refused elsewhere", |c| !c.is_control() && !matches!(c, '\u{2028}' | '\u{2029}'));
    proptest::collection::vec(prop_oneof![allowed, proptest::char::range(' ', '~')], length)
        .prop_map(|chars| chars.into_iter().collect())
}

proptest! {
    /// Whatever is written in a name, a subject or a text, the headers stay the ones we wrote and lines stay lawful.
    #[test]
    fn headers_are_ours_whatever_people_write(
        name in writing(0..60),
        subject in writing(1..120),
        plain in proptest::collection::vec(any::<char>(), 0..400),
    ) {
        let names = |message: &str| {
            let lines = headers(message).into_iter().filter(|line| !line.starts_with([' ', '\t']));
            lines.map(|line| line.split(':').next().unwrap_or_default().to_string()).collect::<Vec<_>>()
        };
        let ours = names(&text(&letter()));
        let mut letter = letter();
        letter.to.name = name;
        letter.subject = format!("Cover {subject}");
        letter.plain = plain.into_iter().chain("end".chars()).collect();
        let message = text(&letter);
        prop_assert!(message.is_ascii());
        let is_lawful = |line: &str| line.len() <= 998 && !line.contains(['\r', '\n', '\0']);
        prop_assert!(message.split("\r\n").all(is_lawful));
        prop_assert_eq!(names(&message), ours);
    }
}
