use super::*;
use reqwest::header::{HeaderMap, HeaderName};

fn headers(rows: &[(&'static str, &'static str)]) -> HeaderMap {
    rows.iter().map(|(name, value)| (HeaderName::from_static(name), HeaderValue::from_static(value))).collect()
}

fn now() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + chrono::Duration::days(20_000)
}

/// The `Date` and `Expires` of the second row are those of a recorded answer of MET Norway.
#[test]
fn an_answer_holds_as_long_as_its_headers_say() {
    let date = ("date", "Mon, 20 Jul 2020 11:44:31 GMT");
    let expires = ("expires", "Mon, 20 Jul 2020 12:14:53 GMT");
    for (rows, expected) in [
        (vec![], None),
        (vec![date, expires], Some(30 * 60 + 22)),
        (vec![date, expires, ("cache-control", "public, max-age=600, s-maxage=3600")], Some(600)),
        (vec![("cache-control", "max-age=600"), ("age", "200")], Some(400)),
        (vec![("cache-control", "max-age=600"), ("age", "700")], None),
        (vec![("cache-control", "no-store, max-age=600")], None),
        (vec![("cache-control", "max-age=99999999999")], None),
        (vec![("cache-control", "max-age=4000000000")], Some(6 * 3600)),
        (vec![date, ("expires", "0")], None),
        (vec![date, ("expires", "Mon, 20 Jul 2020 11:00:00 GMT")], None),
    ] {
        let read = read_conditions(&headers(&rows), now()).expires.map(|expires| (expires - now()).num_seconds());
        assert_eq!(read, expected, "{rows:?}");
    }
}

#[test]
fn retry_after_is_read_as_seconds_and_as_a_date() {
    let date = ("date", "Mon, 20 Jul 2020 11:44:31 GMT");
    for (rows, expected) in [
        (vec![], None),
        (vec![("retry-after", "120")], Some(120)),
        (vec![date, ("retry-after", "Mon, 20 Jul 2020 11:45:01 GMT")], Some(30)),
        (vec![date, ("retry-after", "Mon, 20 Jul 2020 11:00:00 GMT")], Some(0)),
        (vec![("retry-after", "soon")], None),
        (vec![("retry-after", "-5")], None),
    ] {
        let read = retry_after(&headers(&rows), now()).map(|wait| wait.as_secs());
        assert_eq!(read, expected, "{rows:?}");
    }
}

#[test]
fn a_contact_that_cannot_be_sent_is_refused_at_the_start() {
    for contact in ["", "  ", "a\r\nHost: b", "grüße@garden.example"] {
        assert!(matches!(Fetcher::new(contact), Err(CannotFetch::Contact(_))), "{contact:?}");
    }
    assert!(Fetcher::new("tends@garden.example").is_ok());
}
