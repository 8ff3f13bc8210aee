//! Names of beds, crops, covers, people and gardens as an enemy or an accident writes them: either the settings refuse
//! them, or everybody is told, and the mail says the name and is otherwise ours.

mod support;

use chrono::{DateTime, Utc};
use counterpane::message::{Context, Reader, evening_letter, html, plain_text};
use counterpane::plan::said::SayReason;
use counterpane::service::feed::decode;
use counterpane::service::look::list;
use counterpane::service::mail::{Correspondent, Letter as Mail, render};
use counterpane::settings::{Files, Settings, settings};
use counterpane::weather::Provider;
use counterpane::zone::NightOf;
use proptest::prelude::*;
use support::installation::at;
use support::weather_documents::Weather;

const SERVICE: &str = include_str!("corpus/service/small.toml");
const GARDEN: &str = include_str!("corpus/garden/small.toml");
const CROP: &str = include_str!("corpus/crop/small.toml");
const BIBLIOGRAPHY: &str = include_str!("corpus/bibliography/small.toml");

/// Each name once, in the order of the places below.
const PLAIN: [&str; 6] = ["The plot", "Manager", "sheet of cloth", "by the gate", "A1", "kale"];

/// A text as TOML writes it, whatever it holds.
fn quoted(text: &str) -> String {
    let escaped: String = text.chars().map(|c| format!("\\U{:08X}", u32::from(c))).collect();
    format!("\"{escaped}\"")
}

/// An installation in which six things are called so.
fn named(names: &[String; 6]) -> Option<Settings> {
    let [garden, person, cover, bed, label, crop] = names.each_ref().map(|name| quoted(name));
    let garden = GARDEN
        .replace("\"The plot\"", &garden)
        .replace("\"Manager\"", &person)
        .replace("kind = \"sheet\"", &format!("kind = \"sheet\"\nname = {cover}"))
        .replace("\"by the gate\"", &bed)
        .replace("\"A1\"", &label)
        .replace("part_of_bed = 0.5", "part_of_bed = 0.5, worth_minutes = 200");
    // With nothing to pick and much to lose the bed is covered, and its cover named.
    let crop = CROP.replace("name = \"kale\"", &format!("name = {crop}"));
    let crop = crop.replace("pick = \"Pick the large lower leaves.\"\n", "");
    settings(&Files {
        service: ("counterpane.toml".into(), SERVICE.into()),
        gardens: vec![("gardens/plot.toml".into(), garden)],
        crops: vec![("crops/kale.toml".into(), crop), ("crops/sources.toml".into(), BIBLIOGRAPHY.into())],
    })
    .ok()
}

/// What a person is sent on a frosty evening: the mail as it goes out, and its subject, text and HTML as they were
/// written.
struct Sent {
    mail: String,
    subject: String,
    plain: String,
    html: String,
}

fn now() -> DateTime<Utc> {
    at("2027-01-16T18:00:00Z")
}

fn sent(settings: &Settings) -> Result<Sent, String> {
    let garden = &settings.gardens[0].garden;
    let document = Weather::of_low(-4.0, at("2027-01-16T15:00:00Z")).nws();
    let forecast = decode(&Provider::NationalWeatherService, document.as_bytes(), now()).map_err(|f| f.to_string())?;
    let night = NightOf(now().date_naive());
    let plan = list(garden, &settings.catalogue, night, &[forecast], &[], now());
    let context = Context::new(SayReason::First);
    let person = &garden.people[0];
    let letter = evening_letter(&plan, &context, Reader { role: person.role });
    let (plain, html) = (plain_text(&letter), html(&letter));
    let rendered = render(&Mail {
        garden_id: garden.id.clone(),
        night,
        kind: "list",
        revision: 1,
        to: Correspondent { name: person.name.clone(), address: person.address.clone() },
        from: Correspondent { name: garden.name.clone(), address: "frost@plot.example".into() },
        reply_to: Some(Correspondent { name: garden.name.clone(), address: "manager@plot.example".into() }),
        subject: letter.subject.clone(),
        plain: plain.clone(),
        html: html.clone(),
        date: now(),
        thread_start: None,
        enclosed: Vec::new(),
    });
    let rendered = rendered.map_err(|fault| format!("accepted and not told: {fault}"))?;
    let mail = String::from_utf8(rendered.bytes).map_err(|_| "not ASCII")?;
    Ok(Sent { mail, subject: letter.subject, plain, html })
}

/// The headers of a mail or a part, each in one line, and what follows them.
fn parsed(text: &str) -> (Vec<(String, String)>, &str) {
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((text, ""));
    let head = head.replace("\r\n ", " ").replace("\r\n\t", " ");
    let headers = head.split("\r\n").map(|line| line.split_once(':').unwrap_or((line, "")));
    (headers.map(|(name, value)| (name.to_string(), value.trim().to_string())).collect(), body)
}

fn header<'h>(headers: &'h [(String, String)], name: &str) -> &'h str {
    headers.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str()).unwrap_or_default()
}

/// Quoted-printable (RFC 2045, section 6.7).
fn unquoted(text: &str) -> Vec<u8> {
    let text = text.replace("=\r\n", "");
    let mut bytes = Vec::new();
    let mut rest = text.as_bytes();
    while let Some((first, after)) = rest.split_first() {
        let pair = std::str::from_utf8(after.get(..2).unwrap_or_default()).unwrap_or_default();
        match (first, u8::from_str_radix(pair, 16)) {
            (b'=', Ok(byte)) => {
                bytes.push(byte);
                rest = &after[2..];
            }
            _ => {
                bytes.push(*first);
                rest = after;
            }
        }
    }
    bytes
}

/// Base64 (RFC 4648, section 4).
fn from_base64(text: &str) -> Vec<u8> {
    let value = |c: char| "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/".find(c);
    let (mut bits, mut held, mut bytes) = (0_u32, 0, Vec::new());
    for six in text.chars().filter_map(value) {
        bits = (bits << 6) | u32::try_from(six).unwrap_or_default();
        held += 6;
        if held >= 8 {
            held -= 8;
            bytes.push((bits >> held) as u8);
        }
    }
    bytes
}

/// A header's text with its encoded words (RFC 2047) read.
fn words(value: &str) -> String {
    let mut text = Vec::new();
    let mut last_was_encoded = false;
    for word in value.split(' ') {
        let inner = word.strip_prefix("=?utf-8?b?").and_then(|rest| rest.strip_suffix("?="));
        match inner {
            Some(inner) => {
                if !last_was_encoded && !text.is_empty() {
                    text.push(b' ');
                }
                text.extend(from_base64(inner));
            }
            None => {
                if !text.is_empty() {
                    text.push(b' ');
                }
                text.extend(word.bytes());
            }
        }
        last_was_encoded = inner.is_some();
    }
    String::from_utf8_lossy(&text).into_owned()
}

fn part(mail: &str, kind: &str) -> String {
    let (headers, body) = parsed(mail);
    let boundary = header(&headers, "Content-Type").split("boundary=\"").nth(1).and_then(|rest| rest.split('"').next());
    let boundary = format!("--{}", boundary.expect("a boundary"));
    let parts = body.split(&boundary);
    let found = parts
        .map(|part| parsed(part.trim_start_matches("\r\n")))
        .find(|(headers, _)| header(headers, "Content-Type").starts_with(kind));
    let (headers, body) = found.expect("a part of that kind");
    let bytes = match header(&headers, "Content-Transfer-Encoding") {
        "quoted-printable" => unquoted(body),
        "base64" => from_base64(body),
        _ => body.as_bytes().to_vec(),
    };
    String::from_utf8_lossy(&bytes).replace("\r\n", "\n").trim_end().to_string()
}

fn header_names(mail: &str) -> Vec<String> {
    parsed(mail).0.into_iter().map(|(name, _)| name).collect()
}

/// Everything between `<` and `>`.
fn tags(html: &str) -> Vec<&str> {
    html.split('<').skip(1).map(|rest| rest.split('>').next().unwrap_or_default()).collect()
}

/// A name: what people write, what nobody writes, and what means something to mail, HTML, TOML or a template.
fn name() -> impl Strategy<Value = String> {
    let pieces = prop::sample::select(vec![
        "\r\nBcc: victim@example.org",
        "\n",
        "\r",
        "\0",
        "\u{85}",
        "\u{2028}",
        "\u{202e}",
        "<script>alert(1)</script>",
        "\"",
        "'",
        "&",
        "&lt;",
        "</p>",
        "<!--",
        "=?utf-8?q?=0D=0ABcc:_x?=",
        "=?utf-8?b?DQo=?=",
        "\\",
        "{{ x }}",
        "{% if %}",
        ",",
        ";",
        "<a@b.example>",
        "(comment)",
        "--",
        ".",
        "..",
        "=0D=0A",
        "é",
        "\u{1f96c}",
        "\u{301}",
        " ",
        "Bed",
        "\t",
        "%0d%0a",
    ]);
    let character = prop_oneof![any::<char>().prop_map(String::from), pieces.prop_map(String::from)];
    prop::collection::vec(character, 1..8).prop_map(|pieces| pieces.concat())
}

#[test]
fn plain_names_are_told_and_control_characters_are_refused() -> Result<(), String> {
    let settings = named(&PLAIN.map(String::from)).ok_or("refused")?;
    let sent = sent(&settings)?;
    // The garden's name needs its subject, the others their entries; else the claims below are about nothing.
    let said = part(&sent.mail, "text/plain").split_whitespace().collect::<Vec<_>>().join(" ");
    for name in ["sheet of cloth", "by the gate", "A1", "kale"] {
        assert!(said.contains(name) && sent.html.contains(name), "{name}: {said}");
    }
    assert!(sent.subject.contains("The plot"), "{}", sent.subject);
    for place in 0..PLAIN.len() {
        for bad in ["x\r\nBcc: y", "x\ny", "x\ry", "x\0y", "x\u{85}y", "x\u{2028}y", "x\u{202e}y"] {
            let mut names = PLAIN.map(String::from);
            names[place] = bad.into();
            assert!(named(&names).is_none(), "{place} may be called {bad:?}");
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    #[test]
    fn whatever_things_are_called_everybody_is_told_and_nothing_is_forged(
        new in name(),
        places in prop::collection::vec(0usize..6, 1..4),
    ) {
        let mut names = PLAIN.map(String::from);
        places.iter().for_each(|place| names[*place] = new.clone());
        let Some(settings) = named(&names) else { return Ok(()) };
        let [plain, hostile] = [named(&PLAIN.map(String::from)), Some(settings)].map(|settings| {
            sent(&settings.expect("plain names are accepted")).map_err(TestCaseError::fail)
        });
        let (plain, hostile) = (plain?, hostile?);
        prop_assert!(hostile.mail.is_ascii());
        prop_assert_eq!(header_names(&hostile.mail), header_names(&plain.mail));
        prop_assert!(hostile.mail.split("\r\n").all(|line| line.len() <= 998 && !line.contains(['\r', '\n', '\0'])));
        let (headers, _) = parsed(&hostile.mail);
        prop_assert!(header(&headers, "To").ends_with("<manager@plot.example>"), "{}", header(&headers, "To"));
        let one_blank = |text: &str| text.split(' ').filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ");
        prop_assert_eq!(one_blank(&words(header(&headers, "Subject"))), one_blank(hostile.subject.trim()));
        prop_assert_eq!(part(&hostile.mail, "text/plain"), hostile.plain.trim_end());
        prop_assert_eq!(part(&hostile.mail, "text/html"), hostile.html.trim_end());
        prop_assert_eq!(tags(&hostile.html), tags(&plain.html));
    }
}
