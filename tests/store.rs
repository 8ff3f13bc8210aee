//! The store on a real disk: what it refuses to open, what it keeps, and what it writes whole or not at all.

mod support;

use chrono::{Duration, TimeZone, Utc};
use counterpane::journal::{Entry, Place, Reading, Sampled, What};
use counterpane::service::store::{
    Check, ForecastRow, MailCounts, Open, ReadingRow, RoundRow, RoundState, SaidRow, Settled, Store, StoreFault,
};
use counterpane::units::{Celsius, MetresPerSecond};
use counterpane::weather::{Forecast, Hour, IntervalMinimum, Provider};
use counterpane::zone::NightOf;
use sqlx::{Connection, SqliteConnection};
use std::fs;
use std::path::Path;
use support::outbox_rows::{GARDEN, evening, night, round, row};
use tempfile::{TempDir, tempdir};

async fn new_store(folder: &TempDir) -> Store {
    Store::open(&folder.path().join("garden.db"), Open::ReadWrite).await.expect("a new store")
}

async fn raw(path: &Path) -> SqliteConnection {
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(path);
    SqliteConnection::connect_with(&options).await.expect("a connection")
}

async fn last_round(store: &Store) -> Option<RoundRow> {
    store.last_round(GARDEN, evening() + Duration::days(1)).await.expect("readable")
}

async fn last_said(store: &Store) -> Option<SaidRow> {
    store.said(GARDEN, night()).await.expect("readable").pop()
}

fn said(revision: u32) -> SaidRow {
    SaidRow {
        garden: GARDEN.into(),
        night: night(),
        revision,
        document: format!("{{\"revision\":{revision}}}"),
        said_at: evening(),
    }
}

#[tokio::test]
async fn a_file_that_is_no_database_is_refused_and_left_alone() {
    let folder = tempdir().expect("a folder");
    let path = folder.path().join("notes.txt");
    let text = "Kale stood the frost of the 15th.\n".repeat(40);
    fs::write(&path, &text).expect("a file");
    let fault = Store::open(&path, Open::ReadWrite).await.expect_err("no store");
    assert!(matches!(fault, StoreFault::NotADatabase { .. }), "{fault:?}");
    assert!(fault.to_string().contains("notes.txt") && fault.to_string().contains("Mend:"), "{fault}");
    assert_eq!(fs::read_to_string(&path).expect("the file"), text);
}

#[tokio::test]
async fn a_database_of_another_program_is_refused_and_not_grown_into() {
    let folder = tempdir().expect("a folder");
    let path = folder.path().join("members.db");
    let mut other =
        SqliteConnection::connect(&format!("sqlite:{}?mode=rwc", path.display())).await.expect("a database");
    sqlx::query("CREATE TABLE members (name TEXT)").execute(&mut other).await.expect("a table");
    other.close().await.expect("closed");
    let fault = Store::open(&path, Open::ReadWrite).await.expect_err("no store of ours");
    assert!(matches!(fault, StoreFault::NotADatabase { .. }), "{fault:?}");
    let tables: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema")
        .fetch_one(&mut raw(&path).await)
        .await
        .expect("a count");
    assert_eq!(tables, 1);
}

#[tokio::test]
async fn a_store_of_a_newer_version_is_refused() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    store.close().await;
    sqlx::query(
        "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
         VALUES (9999, 'from the future', 1, x'00', 0)",
    )
    .execute(&mut raw(store.path()).await)
    .await
    .expect("a row");
    let fault = Store::open(store.path(), Open::ReadWrite).await.expect_err("too new");
    assert!(matches!(fault, StoreFault::NewerVersion { version: 9999, .. }), "{fault:?}");
}

#[tokio::test]
async fn a_path_that_cannot_be_one_is_told_from_a_missing_store() {
    let folder = tempdir().expect("a folder");
    let file = folder.path().join("file");
    fs::write(&file, "").expect("a file");
    for path in [file.join("garden.db"), folder.path().join("no/such/folder/garden.db"), folder.path().to_path_buf()] {
        for mode in [Open::ReadWrite, Open::ExistingOnly] {
            let fault = Store::open(&path, mode).await.expect_err("no such place");
            assert!(matches!(fault, StoreFault::CannotOpen { .. }), "{path:?}: {fault:?}");
        }
    }
    let absent = folder.path().join("garden.db");
    let fault = Store::open(&absent, Open::ExistingOnly).await.expect_err("absent");
    assert!(fault.to_string().contains("there is no such file"), "{fault}");
    assert!(!absent.exists(), "a command that only adds has created a second store");
}

/// Root may write what is read-only, so this shows nothing there.
#[cfg(unix)]
#[tokio::test]
async fn a_read_only_file_is_found_out_when_it_is_opened() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    store.close().await;
    fs::set_permissions(store.path(), fs::Permissions::from_mode(0o444)).expect("read-only");
    if fs::OpenOptions::new().write(true).open(store.path()).is_ok() {
        println!("skipped: this account may write read-only files");
        return;
    }
    let fault = Store::open(store.path(), Open::ReadWrite).await.expect_err("read-only");
    assert!(matches!(fault, StoreFault::ReadOnly { .. }), "{fault:?}");
}

#[tokio::test]
async fn a_store_that_another_program_holds_is_busy() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    let mut other = raw(store.path()).await;
    sqlx::query("BEGIN IMMEDIATE").execute(&mut other).await.expect("the lock");
    let fault = store.prove_writable().await.expect_err("locked");
    assert!(matches!(fault, StoreFault::Busy { .. }), "{fault:?}");
    sqlx::query("ROLLBACK").execute(&mut other).await.expect("released");
    store.prove_writable().await.expect("writable again");
}

#[tokio::test]
async fn several_processes_may_open_a_new_store_at_once() {
    let folder = tempdir().expect("a folder");
    let path = folder.path().join("garden.db");
    let tasks: Vec<_> = (0..4)
        .map(|_| {
            let path = path.clone();
            tokio::spawn(async move { Store::open(&path, Open::ReadWrite).await })
        })
        .collect();
    for task in tasks {
        task.await.expect("no panic").expect("opened");
    }
}

#[tokio::test]
async fn a_forecast_comes_back_as_it_was_kept_and_the_newest_replaces_it() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    assert_eq!(store.last_forecast(GARDEN, "0").await.expect("readable"), None);
    let mut kept = ForecastRow {
        forecast: Forecast {
            provider: Provider::MetNorway,
            issued: Some(evening() - Duration::hours(2)),
            fetched: evening(),
            hours: vec![Hour {
                time: evening(),
                air_temperature: Celsius(-2.2),
                dew_point: None,
                wind_10m: Some(MetresPerSecond(0.7)),
                cloud_cover: Some(0.125),
            }],
            minima: vec![IntervalMinimum { from: evening(), to: evening() + Duration::hours(12), low: Celsius(-5.0) }],
            implausible_hours: 1,
            cell_elevation: Some(312.0),
        },
        etag: Some("\"abc\"".into()),
        last_modified: Some("Thu, 15 Jan 2026 17:59:59 GMT".into()),
        expires: Some(evening() + Duration::minutes(30)),
    };
    store.keep_forecast(GARDEN, "0", &kept).await.expect("kept");
    assert_eq!(store.last_forecast(GARDEN, "0").await.expect("readable").as_ref(), Some(&kept));
    assert_eq!(store.last_forecast(GARDEN, "1").await.expect("readable"), None);
    kept.forecast.fetched = evening() + Duration::hours(1);
    kept.expires = None;
    store.keep_forecast(GARDEN, "0", &kept).await.expect("kept");
    assert_eq!(store.last_forecast(GARDEN, "0").await.expect("readable"), Some(kept));
}

#[tokio::test]
async fn a_forecast_that_can_no_longer_be_read_is_a_fault_and_not_an_absence() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    sqlx::query("INSERT INTO forecasts (garden, feed, provider, document, fetched) VALUES (?, '0', 'nws', '{}', 0)")
        .bind(GARDEN)
        .execute(&mut raw(store.path()).await)
        .await
        .expect("a row");
    let fault = store.last_forecast(GARDEN, "0").await.expect_err("unreadable");
    assert!(matches!(fault, StoreFault::Unreadable { .. }), "{fault:?}");
}

#[tokio::test]
async fn grid_addresses_and_readings_come_back() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    store.keep_grid_address(GARDEN, "0", "https://feed.example/grid/31,80", evening()).await.expect("kept");
    let grid = store.grid_address(GARDEN, "0").await.expect("readable").expect("there");
    assert_eq!((grid.address.as_str(), grid.looked_up), ("https://feed.example/grid/31,80", evening()));

    let reading = |minutes: i64, bed: Option<&str>, of: Sampled| {
        let place = bed.map_or(Place::Screen, |bed| Place::Bed { bed: bed.into() });
        let what = What::Reading(Reading {
            place,
            temperature: Celsius(-1.0 - minutes as f64 / 60.0),
            dew_point: bed.map(|_| Celsius(-4.5)),
            of,
            thermometer: None,
            height: Some(1.5),
            shielded: None,
            sure: false,
        });
        Entry::new(evening() + Duration::minutes(minutes), evening() + Duration::hours(12), "30.2F", what)
    };
    let entries = [
        reading(0, None, Sampled::Instant),
        reading(30, None, Sampled::Minimum { since: None }),
        reading(60, Some("bed 4"), Sampled::Instant),
        reading(120, None, Sampled::Instant),
    ];
    let keyed: Vec<_> = entries.iter().rev().map(|entry| (entry.key(), entry.clone())).collect();
    store.write(GARDEN, &keyed).await.expect("written");
    let got = store.readings(GARDEN, evening(), evening() + Duration::hours(1)).await.expect("readable");
    // The lowest of a night says nothing of the evening.
    let row = |minutes: i64, bed: Option<&str>| ReadingRow {
        bed: bed.map(str::to_string),
        at: evening() + Duration::minutes(minutes),
        temperature: Celsius(-1.0 - minutes as f64 / 60.0),
        dew_point: bed.map(|_| Celsius(-4.5)),
        sure: false,
    };
    assert_eq!(got, [row(0, None), row(60, Some("bed 4"))]);
    assert_eq!(store.readings("another", evening(), evening() + Duration::days(1)).await.expect("readable"), []);
}

#[tokio::test]
async fn a_decision_is_read_back_by_another_process() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    store.decide(Some(said(1)), round(), &[row("crew@example.org", 1)]).await.expect("decided");
    store
        .decide(Some(said(2)), RoundRow { kind: "watch".into(), due: evening() + Duration::hours(1), ..round() }, &[])
        .await
        .expect("decided");
    store.close().await;
    let store = Store::open(store.path(), Open::ExistingOnly).await.expect("open again");
    assert_eq!(last_said(&store).await, Some(said(2)));
    assert_eq!(last_round(&store).await.map(|round| round.kind), Some("watch".into()));
    assert_eq!(store.mail_counts(evening(), Duration::zero(), evening()).await.expect("readable").overdue, 1);
}

#[tokio::test]
async fn a_decision_is_written_whole_or_not_at_all() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    store.decide(Some(said(1)), round(), &[row("crew@example.org", 1)]).await.expect("decided");
    // The same revision by a second daemon: refused, and its round and mail with it.
    let other_round = RoundRow { kind: "watch".into(), due: evening() + Duration::hours(1), ..round() };
    let fault = store
        .decide(Some(said(1)), other_round, &[row("anna@example.org", 2), row("crew@example.org", 2)])
        .await
        .expect_err("said before");
    assert!(matches!(fault, StoreFault::AlreadySaid { revision: 1, .. }), "{fault:?}");
    assert_eq!(last_round(&store).await, Some(round()));
    let claimed = store.claim(evening(), "a", Duration::minutes(1)).await.expect("claim").expect("a row");
    assert!(claimed.key.contains(" 1 "), "the first list was superseded by one that was never written");
    assert_eq!(store.claim(evening(), "a", Duration::minutes(1)).await.expect("claim"), None);
}

/// A state stands behind the whole mail in its row: a question that reads it there reads every mail that was ever sent,
/// every few seconds and for years. Here it would meet a broken page.
#[tokio::test]
async fn what_is_asked_at_every_turn_reads_no_mail_that_was_sent() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    let mut mail = row("crew@example.org", 1);
    mail.bytes = vec![b'x'; 50_000];
    store.decide(Some(said(1)), round(), &[mail]).await.expect("decided");
    let claimed = store.claim(evening(), "daemon", Duration::minutes(1)).await.expect("readable").expect("a mail");
    assert!(store.settle(&claimed, Settled::Sent, "250 taken").await.expect("written"));
    store.close().await;
    let mut file = fs::read(store.path()).expect("a store");
    let mut broken = 0;
    for page in file.chunks_mut(4096).filter(|page| page[4..].iter().all(|byte| *byte == b'x')) {
        page[..4].fill(0xff);
        broken += 1;
    }
    assert!(broken >= 10, "{broken} pages of mail");
    fs::write(store.path(), file).expect("broken");

    let store = Store::open(store.path(), Open::ReadWrite).await.expect("a store");
    store.prove_sound(Check::Quick).await.expect_err("a broken page");
    let (now, day) = (evening() + Duration::hours(20), Duration::days(1));
    let since = NightOf(night().0 - day);
    store.recover_leases("daemon", now).await.expect("leases");
    assert_eq!(store.expire_overdue(now).await.expect("what has ended"), []);
    assert_eq!(store.claim(now, "daemon", day).await.expect("what is due"), None);
    assert_eq!(store.mail_counts(now, Duration::zero(), evening() - day).await.expect("counts"), MailCounts::default());
    assert_eq!(store.unescalated().await.expect("what failed"), []);
    assert_eq!(store.not_taken_yet(now).await.expect("what waits"), []);
    assert_eq!(store.troubles(evening() - day).await.expect("troubles"), []);
    assert_eq!(store.untold(GARDEN, evening() - day).await.expect("troubles"), []);
    assert_eq!(store.unreached(GARDEN, night()).await.expect("people"), Vec::<String>::new());
    assert_eq!(store.waited_for(GARDEN, night()).await.expect("people"), Vec::<String>::new());
    assert_eq!(store.next_number(GARDEN, night(), "first").await.expect("a number"), 2);
    assert_eq!(store.last_mails(GARDEN, night(), "first").await.expect("mails").len(), 1);
    let first = store.thread_start(GARDEN, night(), "crew@example.org").await.expect("a mail");
    assert_eq!(first, Some(claimed.message_id));
    assert_eq!(store.last_word(GARDEN, since, now).await.expect("a word"), Some(evening()));
    // A newer mail to the same person leaves the one that was sent alone.
    store.decide(Some(said(2)), round(), &[row("crew@example.org", 2)]).await.expect("decided");
}

/// The transaction of a process that is killed is one that nobody commits.
#[tokio::test]
async fn a_process_that_dies_within_a_decision_leaves_nothing_of_it() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    store.decide(None, round(), &[row("crew@example.org", 1)]).await.expect("decided");
    let deciding = store.clone();
    // Dropped at each point at which it can be dropped; at the last it is through.
    for polls in 1..400 {
        let rows = [row("crew@example.org", 2)];
        let finished = poll_times(deciding.decide(Some(said(1)), round(), &rows), polls).await;
        let is_said = last_said(&store).await.is_some();
        let mut states: Vec<(i64, String)> = sqlx::query_as("SELECT revision, state FROM outbox ORDER BY revision")
            .fetch_all(&mut raw(store.path()).await)
            .await
            .expect("rows");
        let whole = vec![(1, "superseded".to_string()), (2, "waiting".to_string())];
        if is_said {
            assert_eq!(states, whole);
            assert!(polls > 1);
            return;
        }
        assert!(!finished);
        let first = states.pop();
        assert_eq!((first, states.len()), (Some((1, "waiting".to_string())), 0), "after {polls} polls");
    }
    panic!("never finished");
}

/// Polls a future this many times, each time it is woken, then drops it. True if it finished.
async fn poll_times<T>(future: impl Future<Output = T>, times: usize) -> bool {
    let mut future = Box::pin(future);
    let mut left = times;
    std::future::poll_fn(move |context| {
        left -= 1;
        match future.as_mut().poll(context) {
            std::task::Poll::Ready(_) => std::task::Poll::Ready(true),
            std::task::Poll::Pending if left == 0 => std::task::Poll::Ready(false),
            std::task::Poll::Pending => std::task::Poll::Pending,
        }
    })
    .await
}

#[tokio::test]
async fn a_round_that_was_done_is_not_turned_into_a_missed_one() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    let with = |state| RoundRow { state, ..round() };
    for (written, expected) in [
        (RoundState::Missed, RoundState::Missed),
        (RoundState::Merged, RoundState::Merged),
        (RoundState::Done, RoundState::Done),
        (RoundState::Missed, RoundState::Done),
    ] {
        store.record_round(&with(written)).await.expect("recorded");
        assert_eq!(last_round(&store).await, Some(with(expected)));
    }
}

#[tokio::test]
async fn a_round_of_a_clock_that_ran_ahead_is_not_the_last_one() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    let days = Duration::days(3);
    let ahead = RoundRow { due: evening() + days, finished_at: evening() + days, ..round() };
    // Written by the same clock when it caught up.
    let caught_up = RoundRow { due: evening() + Duration::hours(2), state: RoundState::Missed, ..ahead.clone() };
    for round in [&round(), &ahead, &caught_up] {
        store.record_round(round).await.expect("recorded");
    }
    assert_eq!(last_round(&store).await, Some(round()));
    let again = RoundRow { finished_at: ahead.due - Duration::seconds(9), ..ahead.clone() };
    store.record_round(&again).await.expect("recorded");
    assert_eq!(store.last_round(GARDEN, ahead.due).await.expect("readable"), Some(again));
    assert!(store.is_done(GARDEN, &ahead.kind, ahead.due).await.expect("readable"));
    assert!(!store.is_done(GARDEN, "uncover", ahead.due).await.expect("readable"));
}

#[tokio::test]
async fn fractions_of_a_second_are_dropped_and_nothing_else() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    let exact = Utc.timestamp_opt(1_768_500_000, 999_999_999).single().expect("a time");
    store.record_round(&RoundRow { finished_at: exact, ..round() }).await.expect("recorded");
    assert_eq!(last_round(&store).await.map(|round| round.finished_at), Some(evening()));
}

#[tokio::test]
async fn a_substitute_begins_with_what_was_and_carries_back_what_it_did() {
    let folder = tempdir().expect("a folder");
    let path = folder.path().join("a #garden%3.db");
    let disk = Store::open(&path, Open::ReadWrite).await.expect("a store");
    let rows = [row("crew@example.org", 1), row("manager@example.org", 1)];
    disk.decide(Some(said(1)), round(), &rows).await.expect("decided");
    disk.close().await;
    let before = fs::read(&path).expect("a store");

    let substitute = Store::in_memory(&path).await.expect("memory");
    let faults = substitute.take_over(&[GARDEN], evening()).await;
    assert!(faults.is_empty(), "{faults:?}");
    assert_eq!(last_said(&substitute).await, Some(said(1)));
    assert_eq!(substitute.last_round(GARDEN, evening() + Duration::hours(1)).await.expect("readable"), Some(round()));
    let claimed = substitute.claim(evening(), "daemon", Duration::minutes(1)).await.expect("readable").expect("a mail");
    substitute.settle(&claimed, Settled::Sent, "250 taken").await.expect("written");
    let news = row("crew@example.org", 2);
    substitute.decide(Some(said(2)), round(), std::slice::from_ref(&news)).await.expect("decided");
    assert_eq!(fs::read(&path).expect("a store"), before, "the disk was written to");

    substitute.carry_back().await.expect("carried");
    substitute.carry_back().await.expect("carried again");
    let disk = Store::open(&path, Open::ReadWrite).await.expect("a store");
    assert_eq!(last_said(&disk).await, Some(said(2)));
    let open = disk.mail_counts(evening(), Duration::zero(), evening()).await.expect("readable").open;
    assert_eq!(open, 2, "of three mails one was sent");
    let state: String = sqlx::query_scalar("SELECT state FROM outbox WHERE key = ?")
        .bind(&claimed.key)
        .fetch_one(&mut raw(&path).await)
        .await
        .expect("a state");
    assert_eq!(state, "sent");
    // What the disk knows to be sent stays so, whatever an older memory says.
    while let Some(claimed) = disk.claim(evening(), "daemon", Duration::minutes(1)).await.expect("readable") {
        disk.settle(&claimed, Settled::Sent, "250 taken").await.expect("written");
    }
    disk.close().await;
    substitute.carry_back().await.expect("carried");
    let disk = Store::open(&path, Open::ReadWrite).await.expect("a store");
    assert_eq!(disk.mail_counts(evening(), Duration::zero(), evening()).await.expect("readable").open, 0);
}

#[tokio::test]
async fn of_another_programs_file_a_substitute_takes_nothing_and_changes_nothing() {
    let folder = tempdir().expect("a folder");
    let path = folder.path().join("garden.db");
    fs::write(&path, b"a letter to a friend, and no store").expect("written");
    let substitute = Store::in_memory(&path).await.expect("memory");
    assert_eq!(substitute.take_over(&[GARDEN], evening()).await.len(), 2, "two ways to open it");
    substitute.carry_back().await.expect_err("carried into a letter");
    assert_eq!(fs::read(&path).expect("there"), b"a letter to a friend, and no store");
    // It works all the same.
    substitute.decide(Some(said(1)), round(), &[row("crew@example.org", 1)]).await.expect("decided");
}

#[tokio::test]
async fn a_damaged_time_of_a_word_is_no_word_and_no_fault() {
    let folder = tempdir().expect("a folder");
    let store = new_store(&folder).await;
    store.decide(Some(said(1)), round(), &[]).await.expect("decided");
    let word = store.last_word(GARDEN, night(), evening()).await.expect("readable");
    assert_eq!(word, Some(evening()));
    let mut behind = raw(store.path()).await;
    for time in ["9223372036854775807", "-9223372036854775808", "8210298412800"] {
        let statement = format!("UPDATE said SET said_at = {time}");
        sqlx::raw_sql(sqlx::AssertSqlSafe(statement)).execute(&mut behind).await.expect("tampered");
        assert_eq!(store.last_word(GARDEN, night(), evening()).await.expect("readable"), None, "{time}");
    }
}
