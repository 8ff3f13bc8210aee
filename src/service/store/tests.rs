//! What can only be seen on the store's own connection; the rest is in `tests/store.rs`.

use super::*;
use chrono::Duration;

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
