//! From a decision to a mailbox, with a relay that misbehaves: nothing is lost, and what repeats is the same mail.

mod support;

use chrono::{DateTime, Duration, Utc};
use counterpane::service::clock::Clock;
use counterpane::service::mail::{Answer, Delivery, Mailer, Outgoing, SmtpSettings, Tls};
use counterpane::service::outbox::{Delivered, deliver_due, record};
use counterpane::service::store::{Open, OutboxRow, Settled, Store};
use counterpane::zone::NightOf;
use secrecy::SecretString;
use sqlx::{Connection, SqliteConnection};
use std::collections::HashSet;
use std::fs;
use std::time::Duration as Real;
use support::outbox_rows::{GARDEN, evening, night, round, row};
use support::smtp_sink::{Fault, Gone, SmtpSink};
use tempfile::{TempDir, tempdir};

const LEASE: Duration = Duration::minutes(2);

async fn store_with(rows: &[OutboxRow]) -> (TempDir, Store) {
    let folder = tempdir().expect("a folder");
    let store = Store::open(&folder.path().join("garden.db"), Open::ReadWrite).await.expect("a store");
    store.decide(None, round(), rows).await.expect("decided");
    (folder, store)
}

fn mailer(port: u16, timeout: Real) -> Mailer {
    Mailer::new(Delivery::Smtp(settings(port, timeout)))
}

fn settings(port: u16, timeout: Real) -> SmtpSettings {
    SmtpSettings { server: "127.0.0.1".into(), port, tls: Tls::None, user: None, password: None, timeout }
}

async fn deliver(store: &Store, mailer: &Mailer, now: DateTime<Utc>) -> Delivered {
    deliver_due(store, mailer, &Clock::starting_at(now), "a", || true).await.expect("a sound store")
}

async fn states(store: &Store) -> Vec<(String, String)> {
    let path = format!("sqlite:{}", store.path().display());
    let mut connection = SqliteConnection::connect(&path).await.expect("a connection");
    sqlx::query_as("SELECT recipient, state FROM outbox ORDER BY revision, recipient")
        .fetch_all(&mut connection)
        .await
        .expect("rows")
}

async fn state(store: &Store) -> String {
    states(store).await.pop().map(|(_, state)| state).unwrap_or_default()
}

#[tokio::test]
async fn mail_arrives_byte_for_byte_over_one_connection() {
    let rows = [row("anna@example.org", 1), row("crew@example.org", 1)];
    let (_folder, store) = store_with(&rows).await;
    let sink = SmtpSink::start(&[]);
    let delivered = deliver(&store, &mailer(sink.port, Real::from_secs(5)), evening()).await;
    assert_eq!(delivered, Delivered { sent: 2, ..Delivered::default() });
    let arrived = sink.arrived();
    assert_eq!(arrived.len(), 2);
    for (mail, row) in arrived.iter().zip(&rows) {
        assert_eq!((mail.from.as_str(), mail.to.as_slice()), ("frost@garden.example", &[row.recipient.clone()][..]));
        // The library ends each message with one more line end.
        assert_eq!(mail.body.trim_end(), String::from_utf8_lossy(&row.bytes).trim_end());
        assert_eq!(mail.header("Message-ID"), Some(row.message_id.as_str()));
    }
    assert_eq!(sink.connections(), 1);
    assert_eq!(deliver(&store, &mailer(sink.port, Real::from_secs(5)), evening()).await, Delivered::default());
    assert_eq!(sink.arrived().len(), 2);
}

#[tokio::test]
async fn two_daemons_never_claim_the_same_row() {
    let rows: Vec<_> = (0..60).map(|n| row(&format!("p{n}@example.org"), 1)).collect();
    let (_folder, store) = store_with(&rows).await;
    let mut tasks = Vec::new();
    for owner in ["a", "b", "c", "d"] {
        let store = Store::open(store.path(), Open::ExistingOnly).await.expect("a second opening");
        tasks.push(tokio::spawn(async move {
            let mut keys = Vec::new();
            // A few more than there are: a row that is given twice must end the test, not prolong it.
            for _ in 0..70 {
                let Some(claimed) = store.claim(evening(), owner, LEASE).await.expect("a claim") else { break };
                keys.push(claimed.key);
            }
            keys
        }));
    }
    let mut keys = Vec::new();
    for task in tasks {
        keys.extend(task.await.expect("no panic"));
    }
    assert_eq!(keys.len(), 60);
    assert_eq!(keys.into_iter().collect::<HashSet<_>>().len(), 60);
}

#[tokio::test]
async fn a_row_whose_owner_died_is_sent_again_as_the_same_mail() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let first = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
    assert!(!first.maybe_delivered);
    assert_eq!(store.claim(evening() + Duration::seconds(119), "b", LEASE).await.expect("a claim"), None);
    let second = store.claim(evening() + LEASE, "b", LEASE).await.expect("a claim").expect("the same row");
    assert!(second.maybe_delivered && second.fence > first.fence);
    assert_eq!((&second.bytes, &second.message_id, second.tries), (&first.bytes, &first.message_id, 2));
    // The first owner was only slow. Its word no longer counts, whatever it says.
    for answer in [Answer::Sent("250".into()), Answer::Refused("550".into()), Answer::TryLater("450".into())] {
        assert!(!record(&store, &first, &answer, evening() + LEASE).await.expect("a sound store"));
    }
    assert_eq!(state(&store).await, "leased");
    assert!(record(&store, &second, &Answer::Sent("250".into()), evening() + LEASE).await.expect("a sound store"));
    assert_eq!(state(&store).await, "sent");
}

#[tokio::test]
async fn a_restarted_owner_takes_its_own_rows_up_at_once() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
    assert_eq!(store.recover_leases("b", evening()).await.expect("a sound store"), 0);
    assert_eq!(store.recover_leases("a", evening()).await.expect("a sound store"), 1);
    let again = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("the row");
    assert!(again.maybe_delivered);
}

#[tokio::test]
async fn one_refused_recipient_does_not_touch_the_mail_of_another() {
    let rows = [row("anna@example.org", 1), row("bob@example.org", 1), row("crew@example.org", 1)];
    let (_folder, store) = store_with(&rows).await;
    let refuse = Fault::RefuseRecipient("bob@example.org");
    let sink = SmtpSink::start(&[refuse.clone(), refuse]);
    let delivered = deliver(&store, &mailer(sink.port, Real::from_secs(5)), evening()).await;
    assert_eq!((delivered.sent, delivered.refused, delivered.stopped), (2, 1, None));
    let refused = store.unescalated().await.expect("readable");
    assert_eq!(refused.len(), 1);
    assert_eq!(refused[0].recipient, "bob@example.org");
    assert!(refused[0].last_answer.as_deref().is_some_and(|answer| answer.contains("550")), "{refused:?}");
}

#[tokio::test]
async fn what_was_refused_stays_on_the_list_until_somebody_else_is_told() {
    let (_folder, store) = store_with(&[row("bob@example.org", 1)]).await;
    let claimed = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
    record(&store, &claimed, &Answer::Refused("550".into()), evening()).await.expect("a sound store");
    let refused = store.unescalated().await.expect("readable");
    assert_eq!(refused.len(), 1);
    let news = OutboxRow { kind: "not-delivered".into(), replaceable: false, ..row("coordinator@example.org", 1) };
    store.escalate(&refused, &[news]).await.expect("queued");
    assert_eq!(store.unescalated().await.expect("readable"), []);
    let next = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("the news");
    assert_eq!(next.recipient, "coordinator@example.org");
}

/// Each fault of a relay: the state it leaves, whether a copy arrived, and whether the pass went on.
#[tokio::test]
async fn every_answer_of_a_relay_leaves_the_right_state() {
    let stall = Real::from_secs(3);
    for (fault, expected, copies, stops) in [
        (Fault::None, "sent", 1, false),
        (Fault::NotNow, "waiting", 0, true),
        (Fault::Greylist, "waiting", 0, false),
        (Fault::RefuseSender, "waiting", 0, true),
        (Fault::RefuseRecipient("crew@example.org"), "refused", 0, false),
        (Fault::StallBeforeMessage(stall), "waiting", 0, true),
        (Fault::RefuseMessage, "refused", 0, false),
        (Fault::StallAfterDot(stall), "unknown", 1, false),
        (Fault::DropAfterDotKeeping, "unknown", 1, false),
        (Fault::GoodbyeAfterDot, "unknown", 1, false),
        (Fault::DropAfterDotLosing, "unknown", 0, false),
    ] {
        let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
        let sink = SmtpSink::start(std::slice::from_ref(&fault));
        let mailer = mailer(sink.port, Real::from_millis(700));
        let delivered = deliver(&store, &mailer, evening()).await;
        assert_eq!(state(&store).await, expected, "{fault:?}: {delivered:?}");
        assert_eq!(sink.arrived().len(), copies, "{fault:?}");
        assert_eq!(delivered.stopped.is_some(), stops, "{fault:?}: {delivered:?}");
        // It is not tried again before its time, and then it arrives, the same mail as before.
        let later = deliver(&store, &mailer, evening() + Duration::seconds(5)).await;
        assert_eq!(later, Delivered::default(), "{fault:?}");
        deliver(&store, &mailer, evening() + Duration::seconds(20)).await;
        if expected != "refused" {
            assert_eq!(state(&store).await, "sent", "{fault:?}");
            let arrived = sink.arrived();
            assert!(arrived.iter().all(|mail| *mail == arrived[0]), "{fault:?}");
            assert_eq!(arrived.len(), if expected == "unknown" { copies + 1 } else { 1 }, "{fault:?}");
        }
    }
}

#[tokio::test]
async fn a_later_turning_away_does_not_make_certain_what_was_not() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let sink = SmtpSink::start(&[Fault::DropAfterDotKeeping, Fault::Greylist]);
    let mailer = mailer(sink.port, Real::from_secs(5));
    deliver(&store, &mailer, evening()).await;
    deliver(&store, &mailer, evening() + Duration::seconds(20)).await;
    assert_eq!(state(&store).await, "unknown");
    let expired = store.expire_overdue(evening() + Duration::hours(2)).await.expect("a sound store");
    assert!(expired[0].maybe_delivered, "{expired:?}");
}

#[tokio::test]
async fn a_wrong_password_keeps_every_row_waiting_and_names_the_relay() {
    let (_folder, store) = store_with(&[row("anna@example.org", 1), row("crew@example.org", 1)]).await;
    let sink = SmtpSink::start(&[Fault::RefuseSignIn]);
    let mut settings = settings(sink.port, Real::from_secs(5));
    settings.user = Some("garden".into());
    settings.password = Some(SecretString::from("do not print me"));
    let mailer = Mailer::new(Delivery::Smtp(settings));
    assert!(!format!("{mailer:?}").contains("do not print me"));
    let delivered = deliver(&store, &mailer, evening()).await;
    let Some(Answer::InstallationFault(why)) = delivered.stopped else { panic!("{delivered:?}") };
    assert!(why.contains("127.0.0.1") && why.contains("535") && !why.contains("do not print me"), "{why}");
    assert!(states(&store).await.iter().all(|(_, state)| state == "waiting"));
    assert_eq!(sink.connections(), 1, "a wrong password was tried again and again");
}

#[tokio::test]
async fn no_mail_goes_unencrypted_where_encryption_was_asked_for() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let sink = SmtpSink::start(&[]);
    let mailer =
        Mailer::new(Delivery::Smtp(SmtpSettings { tls: Tls::StartTls, ..settings(sink.port, Real::from_secs(5)) }));
    let delivered = deliver(&store, &mailer, evening()).await;
    assert!(matches!(delivered.stopped, Some(Answer::InstallationFault(_))), "{delivered:?}");
    assert_eq!((sink.arrived().len(), state(&store).await.as_str()), (0, "waiting"));
}

#[tokio::test]
async fn a_relay_that_does_not_speak_the_encryption_asked_for_gets_nothing() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let sink = SmtpSink::start(&[]);
    let settings = SmtpSettings { tls: Tls::Implicit, ..settings(sink.port, Real::from_secs(5)) };
    let delivered = deliver(&store, &Mailer::new(Delivery::Smtp(settings)), evening()).await;
    assert!(matches!(delivered.stopped, Some(Answer::Unreachable(_))), "{delivered:?}");
    assert_eq!((sink.arrived().len(), state(&store).await.as_str()), (0, "waiting"));
}

#[tokio::test]
async fn a_relay_that_is_not_there_is_asked_once_and_the_mail_kept() {
    let (_folder, store) = store_with(&[row("anna@example.org", 1), row("crew@example.org", 1)]).await;
    let gone = Gone::hold();
    let mailer = mailer(gone.port, Real::from_secs(2));
    let delivered = deliver(&store, &mailer, evening()).await;
    assert!(matches!(delivered.stopped, Some(Answer::Unreachable(_))), "{delivered:?}");
    assert_eq!(delivered.waiting, 1);
    assert!(matches!(mailer.reach().await, Answer::Unreachable(_)));
    assert!(states(&store).await.iter().all(|(_, state)| state == "waiting"));
}

#[tokio::test]
async fn advice_that_is_too_late_is_not_sent_and_is_named() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let sink = SmtpSink::start(&[]);
    let mailer = mailer(sink.port, Real::from_secs(5));
    let delivered = deliver(&store, &mailer, evening() + Duration::hours(2)).await;
    assert_eq!(delivered, Delivered { expired: 1, ..Delivered::default() });
    assert_eq!((sink.arrived().len(), state(&store).await.as_str()), (0, "expired"));
    let late = store.unescalated().await.expect("readable");
    assert_eq!((late.len(), late[0].maybe_delivered), (1, false));
}

#[tokio::test]
async fn no_claim_gives_a_row_past_its_end() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let end = evening() + Duration::hours(2);
    assert_eq!(store.claim(end, "a", LEASE).await.expect("a claim"), None);
    assert!(store.claim(end - Duration::seconds(1), "a", LEASE).await.expect("a claim").is_some());
}

#[tokio::test]
async fn a_try_ends_before_the_advice_does() {
    let hurry = OutboxRow { expires: evening() + Duration::seconds(1), ..row("crew@example.org", 1) };
    let (_folder, store) = store_with(&[hurry]).await;
    let sink = SmtpSink::start(&[Fault::StallAfterDot(Real::from_secs(8))]);
    let began = std::time::Instant::now();
    let delivered = deliver(&store, &mailer(sink.port, Real::from_secs(30)), evening()).await;
    assert_eq!(delivered.unknown, 1);
    assert!(began.elapsed() < Real::from_secs(4), "{:?}", began.elapsed());
    assert_eq!(
        deliver(&store, &mailer(sink.port, Real::from_secs(30)), evening() + Duration::seconds(2)).await.expired,
        1
    );
}

#[tokio::test]
async fn a_row_that_is_being_sent_does_not_expire_under_its_owner() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let end = evening() + Duration::hours(2);
    let claimed = store.claim(end - Duration::seconds(30), "a", LEASE).await.expect("a claim").expect("a row");
    assert_eq!(store.expire_overdue(end).await.expect("a sound store"), []);
    assert!(store.settle(&claimed, Settled::Sent, "250").await.expect("a sound store"));
    // Had the owner died, the row would end with its lease, and may have arrived.
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    store.claim(end - Duration::seconds(30), "a", LEASE).await.expect("a claim").expect("a row");
    let expired = store.expire_overdue(end + LEASE).await.expect("a sound store");
    assert!(expired[0].maybe_delivered);
}

#[tokio::test]
async fn the_nearest_end_of_useful_life_goes_first() {
    let hurry = OutboxRow { expires: evening() + Duration::minutes(20), ..row("crew@example.org", 1) };
    let (_folder, store) = store_with(&[row("anna@example.org", 1), hurry]).await;
    let claimed = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
    assert_eq!(claimed.recipient, "crew@example.org");
}

#[tokio::test]
async fn a_newer_list_supersedes_an_older_one_that_has_not_arrived() {
    let (_folder, store) = store_with(&[row("anna@example.org", 1), row("crew@example.org", 1)]).await;
    // Turned away once: it has not arrived, and must not arrive behind the newer list.
    let tried = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
    assert_eq!(tried.recipient, "anna@example.org");
    record(&store, &tried, &Answer::TryLater("450".into()), evening()).await.expect("a sound store");
    store.decide(None, round(), &[row("anna@example.org", 2), row("crew@example.org", 2)]).await.expect("decided");
    let expected = [("anna", "superseded"), ("crew", "superseded"), ("anna", "waiting"), ("crew", "waiting")]
        .map(|(name, state)| (format!("{name}@example.org"), state.to_string()));
    assert_eq!(states(&store).await, expected);
}

/// A list that is in hand when the newer one is decided: whatever its try comes to, it is not sent behind the newer one,
/// nor told to anybody as mail that failed.
#[tokio::test]
async fn a_list_in_hand_gives_place_to_a_newer_one_when_its_try_is_over() {
    let later = evening() + Duration::hours(1);
    for (answer, expected) in [
        (Answer::TryLater("421".into()), "superseded"),
        (Answer::Unreachable("silence".into()), "superseded"),
        (Answer::Unknown("silence".into()), "superseded"),
        (Answer::Refused("550".into()), "superseded"),
        (Answer::Sent("250".into()), "sent"),
    ] {
        let old = OutboxRow { others_due: Some(evening()), ..row("crew@example.org", 1) };
        let (_folder, store) = store_with(&[old]).await;
        let in_hand = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
        store.decide(None, round(), &[row("crew@example.org", 2)]).await.expect("decided");
        assert_eq!(store.not_taken_yet(evening()).await.expect("readable"), [], "others hear of the old list");
        assert!(record(&store, &in_hand, &answer, evening()).await.expect("a sound store"));
        assert_eq!(states(&store).await[0].1, expected, "{answer:?}");
        let next = store.claim(later, "a", LEASE).await.expect("a claim").expect("the newer list");
        assert_eq!(next.message_id, row("crew@example.org", 2).message_id, "{answer:?}");
        assert_eq!(store.claim(later, "a", LEASE).await.expect("a claim"), None, "{answer:?}");
        assert_eq!(store.unescalated().await.expect("readable"), [], "{answer:?}");
    }
}

#[tokio::test]
async fn a_list_in_hand_gives_place_to_a_newer_one_when_its_owner_dies() {
    for recovers in [true, false] {
        let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
        store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
        store.decide(None, round(), &[row("crew@example.org", 2)]).await.expect("decided");
        let next = evening() + LEASE;
        if recovers {
            store.recover_leases("a", next).await.expect("a sound store");
        }
        let claimed = store.claim(next, "a", LEASE).await.expect("a claim").expect("the newer list");
        assert_eq!(claimed.message_id, row("crew@example.org", 2).message_id);
        assert_eq!(store.claim(next, "a", LEASE).await.expect("a claim"), None);
        store.settle(&claimed, Settled::Sent, "250").await.expect("a sound store");
        let end = evening() + Duration::hours(2);
        assert_eq!(store.expire_overdue(end).await.expect("a sound store"), []);
        assert_eq!(states(&store).await[0].1, "superseded", "a restart: {recovers}");
    }
}

/// Whoever is told in another's place reads the list in that mail, and must not read an old one behind a newer one.
#[tokio::test]
async fn what_quotes_a_list_gives_place_to_a_newer_list_to_the_same_person() {
    // Numbered by themselves, and not as lists are.
    let quoting = |to, number, quotes| OutboxRow {
        kind: "not-reached".into(),
        replaceable: false,
        expires: evening() + Duration::hours(24),
        quotes,
        ..row(to, number)
    };
    let rows = [
        quoting("crew@example.org", 7, Some(1)),
        quoting("anna@example.org", 8, Some(1)),
        quoting("crew@example.org", 9, Some(2)),
        quoting("crew@example.org", 10, None),
    ];
    let (_folder, store) = store_with(&rows).await;
    store.decide(None, round(), &[row("crew@example.org", 2)]).await.expect("decided");
    let of = |states: Vec<(String, String)>| states.into_iter().map(|(_, state)| state).collect::<Vec<_>>();
    assert_eq!(of(states(&store).await), ["waiting", "superseded", "waiting", "waiting", "waiting"]);

    // In hand when the newer list is decided, and turned away.
    let (_folder, store) = store_with(&rows[..1]).await;
    let in_hand = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
    store.decide(None, round(), &[row("crew@example.org", 2)]).await.expect("decided");
    record(&store, &in_hand, &Answer::TryLater("450".into()), evening()).await.expect("a sound store");
    assert_eq!(of(states(&store).await), ["waiting", "superseded"]);

    // It tells of the list that it quotes, and so does what tells that it was refused itself.
    let (_folder, store) = store_with(&[row("anna@example.org", 3), quoting("crew@example.org", 7, Some(2))]).await;
    for _ in 0..2 {
        let claimed = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
        record(&store, &claimed, &Answer::Refused("550".into()), evening()).await.expect("a sound store");
    }
    let ended: Vec<Option<u32>> = store.unescalated().await.expect("readable").iter().map(|row| row.list).collect();
    assert_eq!(ended, [Some(3), Some(2)]);
}

#[tokio::test]
async fn a_newer_list_leaves_alone_what_it_does_not_replace() {
    let night_before = NightOf(night().0 - Duration::days(1));
    let others = [
        OutboxRow { garden: "south-garden".into(), ..row("crew@example.org", 1) },
        OutboxRow { night: night_before, ..row("crew@example.org", 1) },
        OutboxRow { kind: "not-delivered".into(), replaceable: false, ..row("crew@example.org", 1) },
        row("anna@example.org", 1),
        row("crew@example.org", 3),
    ];
    let (_folder, store) = store_with(&others).await;
    store.decide(None, round(), &[row("crew@example.org", 2)]).await.expect("decided");
    let news = OutboxRow { kind: "not-delivered".into(), replaceable: false, ..row("anna@example.org", 5) };
    store.decide(None, round(), &[news]).await.expect("decided");
    assert!(states(&store).await.iter().all(|(_, state)| state == "waiting"), "{:?}", states(&store).await);
    // What may have arrived is not repeated behind the newer list.
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let claimed = store.claim(evening(), "a", LEASE).await.expect("a claim").expect("a row");
    record(&store, &claimed, &Answer::Unknown("silence".into()), evening()).await.expect("a sound store");
    store.decide(None, round(), &[row("crew@example.org", 2)]).await.expect("decided");
    assert_eq!(states(&store).await[0].1, "superseded");
}

#[tokio::test]
async fn writing_the_same_mail_twice_is_one_row_even_after_it_was_sent() {
    let (_folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let sink = SmtpSink::start(&[]);
    let mailer = mailer(sink.port, Real::from_secs(5));
    store.decide(None, round(), &[row("crew@example.org", 1)]).await.expect("decided");
    deliver(&store, &mailer, evening()).await;
    store.decide(None, round(), &[row("crew@example.org", 1)]).await.expect("decided");
    deliver(&store, &mailer, evening()).await;
    assert_eq!(sink.arrived().len(), 1);
}

#[tokio::test]
async fn later_mails_can_name_the_first_of_the_night() {
    let rows = [row("crew@example.org", 1), row("crew@example.org", 2)];
    let (_folder, store) = store_with(&rows[..1]).await;
    let start = |recipient: &'static str| store.thread_start(GARDEN, night(), recipient);
    assert_eq!(start("crew@example.org").await.expect("readable").as_ref(), Some(&rows[0].message_id));
    assert_eq!(start("anna@example.org").await.expect("readable"), None);
    // The first was superseded before anybody saw it: the second begins the thread.
    store.decide(None, round(), &rows[1..]).await.expect("decided");
    assert_eq!(start("crew@example.org").await.expect("readable").as_ref(), Some(&rows[1].message_id));
}

#[tokio::test]
async fn a_stop_is_heard_between_two_mails() {
    let rows: Vec<_> = (0..5).map(|n| row(&format!("p{n}@example.org"), 1)).collect();
    let (_folder, store) = store_with(&rows).await;
    let sink = SmtpSink::start(&[]);
    let mailer = mailer(sink.port, Real::from_secs(5));
    let clock = Clock::starting_at(evening());
    let delivered =
        deliver_due(&store, &mailer, &clock, "a", || sink.arrived().len() < 2).await.expect("a sound store");
    assert_eq!((delivered.sent, sink.arrived().len()), (2, 2));
    assert!(states(&store).await.iter().all(|(_, state)| state == "sent" || state == "waiting"));
}

#[tokio::test]
async fn a_folder_takes_each_mail_once_under_a_name_that_can_be_read() {
    let (folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let mails = folder.path().join("mail");
    let mailer = Mailer::new(Delivery::Folder(mails.clone()));
    assert_eq!(deliver(&store, &mailer, evening()).await.sent, 1);
    let mail = row("crew@example.org", 1);
    let again =
        Outgoing { message_id: &mail.message_id, envelope_from: "", recipient: &mail.recipient, bytes: &mail.bytes };
    assert!(matches!(mailer.send(again, Real::from_secs(5)).await, Answer::Sent(_)));
    assert!(matches!(mailer.reach().await, Answer::Sent(_)));
    let names: Vec<String> = fs::read_dir(&mails)
        .expect("the folder")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(names.len(), 1, "{names:?}");
    assert!(names[0].starts_with("2026-01-15-first-1-crew-example-org-") && names[0].ends_with(".eml"), "{names:?}");
    assert_eq!(fs::read(mails.join(&names[0])).expect("the mail"), mail.bytes);
}

#[tokio::test]
async fn a_folder_that_cannot_be_written_is_named_and_the_mail_kept() {
    let (folder, store) = store_with(&[row("crew@example.org", 1)]).await;
    let file = folder.path().join("file");
    fs::write(&file, "").expect("a file");
    let delivered = deliver(&store, &Mailer::new(Delivery::Folder(file.join("mail"))), evening()).await;
    let Some(Answer::Unreachable(why)) = delivered.stopped else { panic!("{delivered:?}") };
    assert!(why.contains("mail folder") && why.contains("file/mail"), "{why}");
    assert_eq!(state(&store).await, "waiting");
}
