//! What a relay can do at each step of the conversation: every try ends in time, its answer leaves the right state, and
//! the mail arrives once the relay behaves, the same as ever.

mod support;

use chrono::{DateTime, Duration, Utc};
use counterpane::service::clock::Clock;
use counterpane::service::mail::{Answer, Delivery, Mailer, SmtpSettings, Tls};
use counterpane::service::outbox::{Delivered, deliver_due};
use counterpane::service::store::{Open, OutboxRow, Store};
use sqlx::{Connection, SqliteConnection};
use std::time::{Duration as Real, Instant};
use support::outbox_rows::{evening, round, row};
use support::smtp_sink::{Deaf, Fault, SmtpSink};
use tempfile::{TempDir, tempdir};

const CREW: &str = "crew@example.org";
/// Of one try, in these tests.
const TIMEOUT: Real = Real::from_millis(600);
/// How much longer a try may take on a loaded machine; far less than any stall here.
const SLACK: Real = Real::from_secs(6);
const STALL: Real = Real::from_secs(20);

async fn store_with(rows: &[OutboxRow]) -> (TempDir, Store) {
    let folder = tempdir().expect("a folder");
    let store = Store::open(&folder.path().join("garden.db"), Open::ReadWrite).await.expect("a store");
    store.decide(None, round(), rows).await.expect("decided");
    (folder, store)
}

fn mailer(port: u16, tls: Tls) -> Mailer {
    let server = "127.0.0.1".into();
    Mailer::new(Delivery::Smtp(SmtpSettings { server, port, tls, user: None, password: None, timeout: TIMEOUT }))
}

async fn deliver(store: &Store, mailer: &Mailer, now: DateTime<Utc>) -> Delivered {
    deliver_due(store, mailer, &Clock::by_hand(now), "a", || true).await.expect("a sound store")
}

/// State and tries of each row, by recipient.
async fn states(store: &Store) -> Vec<(String, String, i64)> {
    let path = format!("sqlite:{}", store.path().display());
    let mut connection = SqliteConnection::connect(&path).await.expect("a connection");
    let asked = sqlx::query_as("SELECT recipient, state, tries FROM outbox ORDER BY recipient");
    asked.fetch_all(&mut connection).await.expect("rows")
}

async fn state(store: &Store) -> String {
    states(store).await.pop().map(|(_, state, _)| state).unwrap_or_default()
}

/// A message that no socket's buffers hold.
fn long_mail() -> OutboxRow {
    let mut mail = row(CREW, 1);
    mail.bytes.extend("0123456789012345678901234567890123456789\r\n".repeat(150_000).into_bytes());
    mail
}

#[tokio::test]
async fn every_step_has_its_end_and_leaves_the_right_state() {
    for (fault, expected) in [
        (Fault::StallAt("", STALL), "waiting"),
        (Fault::StallAt("EHLO", STALL), "waiting"),
        (Fault::StallAt("MAIL", STALL), "waiting"),
        (Fault::StallAt("RCPT", STALL), "waiting"),
        (Fault::StallAt("DATA", STALL), "waiting"),
        (Fault::StallWithinMessage(STALL), "unknown"),
        (Fault::StallAfterDot(STALL), "unknown"),
        // The mail is taken by then, and no goodbye is waited for.
        (Fault::StallAt("QUIT", STALL), "sent"),
        (Fault::GoodbyeAt("EHLO"), "waiting"),
        (Fault::GoodbyeAt("MAIL"), "waiting"),
        (Fault::GoodbyeAt("RCPT"), "waiting"),
        (Fault::GoodbyeAt("DATA"), "waiting"),
        (Fault::DropWithinMessage, "unknown"),
    ] {
        let within_message = matches!(fault, Fault::StallWithinMessage(_) | Fault::DropWithinMessage);
        let mail = if within_message { long_mail() } else { row(CREW, 1) };
        let (_folder, store) = store_with(std::slice::from_ref(&mail)).await;
        let sink = SmtpSink::start(std::slice::from_ref(&fault));
        let mailer = mailer(sink.port, Tls::None);
        let start = Instant::now();
        let delivered = deliver(&store, &mailer, evening()).await;
        assert!(start.elapsed() < TIMEOUT + SLACK, "{fault:?}: {:?}", start.elapsed());
        assert_eq!(state(&store).await, expected, "{fault:?}: {delivered:?}");
        let kept = sink.arrived().len();
        assert_eq!(kept, usize::from(matches!(fault, Fault::StallAfterDot(_)) || expected == "sent"), "{fault:?}");
        if within_message {
            // A relay that has all of it, so that the rest of the test does not wait for megabytes in a hurry.
            continue;
        }
        deliver(&store, &mailer, evening() + Duration::seconds(20)).await;
        assert_eq!(state(&store).await, "sent", "{fault:?}");
        let arrived = sink.arrived();
        assert_eq!(arrived.len(), if expected == "unknown" { 2 } else { 1 }, "{fault:?}");
        assert!(arrived.iter().all(|copy| copy.header("Message-ID") == Some(mail.message_id.as_str())), "{fault:?}");
    }
}

#[tokio::test]
async fn a_relay_that_takes_no_connection_is_not_waited_for() {
    let (_folder, store) = store_with(&[row(CREW, 1)]).await;
    let deaf = Deaf::hold();
    let mailer = mailer(deaf.port, Tls::None);
    let start = Instant::now();
    let delivered = deliver(&store, &mailer, evening()).await;
    assert!(start.elapsed() < TIMEOUT + SLACK, "{:?}", start.elapsed());
    assert!(matches!(delivered.stopped, Some(Answer::Unreachable(_))), "{delivered:?}");
    assert_eq!(state(&store).await, "waiting");
    let start = Instant::now();
    assert!(matches!(mailer.reach().await, Answer::Unreachable(_)));
    assert!(start.elapsed() < TIMEOUT + SLACK, "{:?}", start.elapsed());
}

#[tokio::test]
async fn a_relay_that_will_not_encrypt_gets_nothing() {
    let (_folder, store) = store_with(&[row(CREW, 1)]).await;
    let sink = SmtpSink::start(&[Fault::RefuseTls]);
    let delivered = deliver(&store, &mailer(sink.port, Tls::StartTls), evening()).await;
    let Some(Answer::Unreachable(why)) = delivered.stopped else { panic!("{delivered:?}") };
    assert!(why.contains("454"), "{why}");
    assert_eq!((sink.arrived().len(), state(&store).await.as_str()), (0, "waiting"));
}

#[tokio::test]
async fn of_five_people_the_one_who_is_refused_is_the_only_one_without_mail() {
    let rows: Vec<OutboxRow> = ["a", "b", "c", "d", "e"].map(|name| row(&format!("{name}@example.org"), 1)).into();
    let (_folder, store) = store_with(&rows).await;
    let refuse = Fault::RefuseRecipient("c@example.org");
    let sink = SmtpSink::start(&[refuse.clone(), refuse]);
    let delivered = deliver(&store, &mailer(sink.port, Tls::None), evening()).await;
    assert_eq!((delivered.sent, delivered.refused, delivered.stopped), (4, 1, None));
    let refused: Vec<String> =
        states(&store).await.into_iter().filter(|row| row.1 == "refused").map(|row| row.0).collect();
    assert_eq!(refused, ["c@example.org"]);
    let to: Vec<String> = sink.arrived().into_iter().flat_map(|mail| mail.to).collect();
    assert_eq!(to, ["a@example.org", "b@example.org", "d@example.org", "e@example.org"]);
}

/// The daemon's post looks every twenty seconds; so does this.
#[tokio::test]
async fn after_six_hours_without_a_relay_the_mail_that_is_still_of_use_arrives_and_the_other_is_named() {
    let hours = |hours| evening() + Duration::hours(hours);
    let rows = [
        OutboxRow { expires: hours(10), ..row(CREW, 1) },
        OutboxRow { expires: hours(3), ..row("early@example.org", 1) },
    ];
    let (_folder, store) = store_with(&rows).await;
    let away = support::smtp_sink::Gone::hold();
    let gone = mailer(away.port, Tls::None);
    let mut now = evening();
    let mut expired = 0;
    while now < hours(6) {
        expired += deliver(&store, &gone, now).await.expired;
        now += Duration::seconds(20);
    }
    assert_eq!(expired, 1);
    let tries = |rows: &[(String, String, i64)]| rows.iter().map(|row| row.2).sum::<i64>();
    let before = states(&store).await;
    // About every quarter of an hour: the two rows take turns while both are alive, as one silence stops a pass.
    assert!((26..=55).contains(&tries(&before)), "{before:?}");
    let sink = SmtpSink::start(&[]);
    let back = mailer(sink.port, Tls::None);
    let mut waited = Duration::zero();
    while sink.arrived().is_empty() && waited < Duration::minutes(18) {
        deliver(&store, &back, now + waited).await;
        waited += Duration::seconds(20);
    }
    let ended: Vec<(String, String)> = states(&store).await.into_iter().map(|row| (row.0, row.1)).collect();
    assert_eq!(ended, [(CREW.into(), "sent".into()), ("early@example.org".into(), "expired".to_string())]);
    let ids: Vec<String> =
        sink.arrived().iter().filter_map(|mail| Some(mail.header("Message-ID")?.to_string())).collect();
    assert_eq!(ids, [rows[0].message_id.clone()]);
}
