//! What can only be seen on the store's own connection; the rest is in `tests/store.rs`.

use super::*;
use chrono::{Duration, NaiveDate};

async fn new_store() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().expect("a folder");
    let store = Store::open(&folder.path().join("garden.db"), Open::ReadWrite).await.expect("a store");
    (folder, store)
}

#[tokio::test]
async fn the_store_survives_a_power_cut_by_its_settings() {
    let (_folder, store) = new_store().await;
    let journal: String = sqlx::query_scalar("PRAGMA journal_mode").fetch_one(&store.pool).await.expect("a setting");
    assert_eq!(journal, "wal");
    for (pragma, expected) in [
        ("PRAGMA synchronous", 2_i64),
        ("PRAGMA foreign_keys", 1),
        ("PRAGMA busy_timeout", 5000),
        ("PRAGMA cache_size", -512),
    ] {
        let value: i64 = sqlx::query_scalar(pragma).fetch_one(&store.pool).await.expect("a setting");
        assert_eq!(value, expected, "{pragma}");
    }
}

/// SQLite's own limit of pages stands for a full disk: both end as SQLITE_FULL.
#[tokio::test]
async fn a_store_that_is_full_says_so_and_holds_nothing_half_written() {
    let (_folder, store) = new_store().await;
    sqlx::query("PRAGMA max_page_count = 60").execute(&store.pool).await.expect("a limit");
    let night = NightOf(NaiveDate::default());
    let at = DateTime::UNIX_EPOCH;
    let garden = || "north-garden".to_string();
    let said = SaidRow { garden: garden(), night, revision: 1, document: "{}".into(), said_at: at };
    let round = RoundRow {
        garden: garden(),
        kind: "morning".into(),
        due: at,
        night,
        state: RoundState::Done,
        finished_at: at,
        late_seconds: 0,
    };
    let mail = OutboxRow {
        recipient: "crew@example.org".into(),
        garden: garden(),
        night,
        kind: "first".into(),
        revision: 1,
        replaceable: true,
        message_id: "<1@example.org>".into(),
        envelope_from: "frost@example.org".into(),
        bytes: vec![b'x'; 400_000],
        subject: String::new(),
        plain: String::new(),
        due: at,
        expires: at + Duration::hours(1),
        others_due: None,
        told: None,
        quotes: None,
    };
    let small = OutboxRow { bytes: b"x".to_vec(), ..mail.clone() };
    let fault = store.decide(Some(said.clone()), round.clone(), &[mail]).await.expect_err("no room");
    assert!(matches!(fault, StoreFault::Full { .. }), "{fault:?}");
    assert_eq!(store.last_said("north-garden", night).await.expect("readable"), None);
    assert_eq!(store.last_round("north-garden", at).await.expect("readable"), None);
    // Once there is room again the store works again, without a restart.
    sqlx::query("PRAGMA max_page_count = 1000").execute(&store.pool).await.expect("a limit");
    store.decide(Some(said), round, &[small]).await.expect("room enough");
}

fn one_layout_more(sql: &'static str) -> Migrator {
    use sqlx::migrate::{Migration, MigrationType};
    let next = Migration::new(999, "more".into(), MigrationType::Simple, sqlx::SqlStr::from_static(sql), false);
    Migrator::with_migrations(MIGRATIONS.iter().cloned().chain([next]).collect())
}

fn files(folder: &tempfile::TempDir) -> Vec<String> {
    let entries = std::fs::read_dir(folder.path()).expect("a folder");
    let mut names: Vec<String> =
        entries.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
    names.retain(|name| !name.ends_with("-wal") && !name.ends_with("-shm"));
    names.sort();
    names
}

#[tokio::test]
async fn a_store_is_copied_before_its_layout_changes_and_a_new_one_is_not() {
    let (folder, store) = new_store().await;
    assert_eq!(files(&folder), ["garden.db"], "a copy of nothing");
    store.keep_grid_address("north", "nws", "https://grid.example", DateTime::UNIX_EPOCH).await.expect("kept");
    store.migrate(&one_layout_more("CREATE TABLE more (x)")).await.expect("a change");
    store.migrate(&one_layout_more("CREATE TABLE more (x)")).await.expect("no change");
    assert_eq!(files(&folder), ["garden.db", "garden.db.before-layout-999"]);
    // The copy is a store of this version, with what was in it.
    let copy = Store::open(&folder.path().join("garden.db.before-layout-999"), Open::ExistingOnly).await.expect("one");
    assert!(copy.grid_address("north", "nws").await.expect("readable").is_some());
    // And the changed store is one of a newer version to this program.
    let fault = Store::open(store.path(), Open::ReadOnly).await.expect_err("a newer one");
    assert!(matches!(fault, StoreFault::NewerVersion { version: 999, .. }), "{fault:?}");
}

#[tokio::test]
async fn a_change_that_fails_leaves_the_store_as_it_was_and_every_try_has_its_own_copy() {
    let (folder, store) = new_store().await;
    for _ in 0..2 {
        store.migrate(&one_layout_more("CREATE TABLE more (x); SELECT nonsense")).await.expect_err("no change");
    }
    let copies = ["garden.db", "garden.db.before-layout-999", "garden.db.before-layout-999-2"];
    assert_eq!(files(&folder), copies);
    // With enough of them, the newest sound one is kept and the change is tried all the same.
    std::fs::write(folder.path().join("garden.db.before-layout-999-3"), b"").expect("a copy that was cut off");
    let kept = store.back_up_before(999).await.expect("a copy");
    assert!(kept.ends_with("garden.db.before-layout-999-2"), "{kept:?}");
    store.close().await;
    let store = Store::open(store.path(), Open::ReadWrite).await.expect("unchanged");
    assert!(!store.is_behind().await.expect("readable"));
}

/// Two branches that each add a layout meet in one program.
#[tokio::test]
async fn a_layout_that_comes_after_a_later_one_is_refused_and_changes_nothing() {
    let (folder, store) = new_store().await;
    store.migrate(&one_layout_more("CREATE TABLE more (x)")).await.expect("a change");
    let copies = files(&folder);
    let mut migrations: Vec<_> = one_layout_more("CREATE TABLE more (x)").iter().cloned().collect();
    let late = sqlx::SqlStr::from_static("CREATE TABLE late (x)");
    let kind = sqlx::migrate::MigrationType::Simple;
    migrations.insert(migrations.len() - 1, sqlx::migrate::Migration::new(998, "late".into(), kind, late, false));
    let fault = store.migrate(&Migrator::with_migrations(migrations)).await.expect_err("out of order");
    assert!(matches!(fault, StoreFault::OutOfOrder { version: 999, next: 998, .. }) && fault.lasts(), "{fault:?}");
    assert_eq!(store.layouts().await.expect("readable").last(), Some(&999));
    assert_eq!(files(&folder), copies);
    let late: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema WHERE name = 'late'")
        .fetch_one(&store.pool)
        .await
        .expect("a count");
    assert_eq!(late, 0);
}

/// What the disk does not take is refused whole and says so, and does so again as long as it lasts.
#[tokio::test]
async fn the_proof_that_the_store_can_be_written_writes() {
    let (_folder, store) = new_store().await;
    store.prove_writable().await.expect("writable");
    let mark: i64 = sqlx::query_scalar("PRAGMA application_id").fetch_one(&store.pool).await.expect("a mark");
    assert_eq!(mark.to_be_bytes(), [0, 0, 0, 0, b'c', b'n', b't', b'r']);
    sqlx::query("PRAGMA query_only = 1").execute(&store.pool).await.expect("a setting");
    for _ in 0..2 {
        let fault = store.prove_writable().await.expect_err("read-only");
        assert!(matches!(fault, StoreFault::ReadOnly { .. }) && fault.lasts(), "{fault:?}");
    }
}

#[tokio::test]
async fn what_was_said_and_is_damaged_keeps_its_revision_and_hides_nothing_else() {
    let (_folder, store) = new_store().await;
    let night = NightOf(NaiveDate::from_ymd_opt(2026, 1, 15).expect("a day"));
    for (revision, document) in [(1, "CAST('{}' AS TEXT)"), (2, "CAST(x'ff' AS TEXT)")] {
        let statement = format!("INSERT INTO said VALUES ('north', '{night}', {revision}, {document}, 1768500000)");
        sqlx::query(sqlx::AssertSqlSafe(statement)).execute(&store.pool).await.expect("written");
    }
    let said = store.said("north", night).await.expect("readable");
    let found: Vec<_> = said.iter().map(|row| (row.revision, row.document.as_str())).collect();
    assert_eq!(found, [(1, "{}"), (2, "")]);
}

#[tokio::test]
async fn mail_of_which_nobody_could_be_told_is_untold_for_a_day() {
    let (_folder, store) = new_store().await;
    let now = DateTime::from_timestamp(1_768_500_000, 0).expect("an instant");
    let ended = now.timestamp();
    for (key, escalated, to) in [("a", 1, "''"), ("b", 1, "'m@garden.example'"), ("c", 1, "NULL"), ("d", 0, "NULL")] {
        let statement = format!(
            "INSERT INTO outbox (key, recipient, garden, night, kind, revision, replaceable, message_id, envelope_from,
                 bytes, due, expires, state, escalated, escalated_to, ended_at)
             VALUES ('{key}', 'v', 'north', '2026-01-15', 'list', 1, 1, 'i', 'f', x'00', {ended}, {ended}, 'refused',
                 {escalated}, {to}, {ended})"
        );
        sqlx::query(sqlx::AssertSqlSafe(statement)).execute(&store.pool).await.expect("written");
    }
    for (later, expected) in [(chrono::Duration::hours(23), 3), (chrono::Duration::hours(25), 1)] {
        let counts = store.mail_counts(now + later, chrono::Duration::minutes(5), now).await.expect("counted");
        assert_eq!(counts.untold, expected, "after {later}");
    }
}

/// A garden that has typed readings for a winter keeps them when the journal comes.
#[tokio::test]
async fn readings_of_an_older_store_become_entries_of_the_journal() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("garden.db");
    let address = format!("sqlite:{}?mode=rwc", path.display());
    let mut connection = SqliteConnection::connect(&address).await.expect("a database");
    let old = Migrator::with_migrations(MIGRATIONS.iter().take(2).cloned().collect());
    old.run_direct(None, &mut connection, false).await.expect("the old layout");
    sqlx::raw_sql(
        "INSERT INTO readings VALUES (7, 'plot', NULL, 1000, 1060, -1.25, -4.5, '29.75F'),
                                     (8, 'plot', 'A1', 2000, 2060, 0.1, NULL, '0.1C')",
    )
    .execute(&mut connection)
    .await
    .expect("readings");
    connection.close().await.expect("closed");
    let store = Store::open(&path, Open::ExistingOnly).await.expect("brought up to date");
    let end = DateTime::from_timestamp(3000, 0).expect("an instant");
    let readings = store.readings("plot", DateTime::UNIX_EPOCH, end).await.expect("readable");
    let known: Vec<(Option<&str>, f64, Option<f64>)> = readings
        .iter()
        .map(|row| (row.bed.as_deref(), row.temperature.0, row.dew_point.map(|dew_point| dew_point.0)))
        .collect();
    assert_eq!(known, [(None, -1.25, Some(-4.5)), (Some("A1"), 0.1, None)]);
    let entries = store.entries("plot", None).await.expect("readable");
    assert_eq!(
        entries.iter().map(|written| written.key.as_str()).collect::<Vec<_>>(),
        ["u00000000007", "u00000000008"]
    );
    assert_eq!(entries[0].entry.as_typed, "29.75F");
    assert!(entries.iter().all(|written| written.key.is_old() && written.stands()));
}
