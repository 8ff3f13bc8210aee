//! A winter of 150 days at the pace of the processor, across both changes of clock, with a feed, a relay, a machine and
//! a clock that fail at random from a seed. What is held through all of it:
//!
//! *Each dangerous night, each person: told before the advice is of no more use, or the failure is recorded and told to
//! somebody else.*
//!
//! Forecasts are right whenever they can be had, so a dangerous night may end in a list or in "decide by hand", and
//! never in "all quiet" or "called off". A winter takes about ten seconds of one core where nothing is optimised, so that
//! a run of all tests holds few. Optimised it takes two, and `COUNTERPANE_WINTERS=200 cargo test --profile winters
//! --test winter` runs two hundred of them, from seed 1 on.

#[path = "support/garden.rs"]
mod garden;
#[path = "winter/world.rs"]
mod world;

use chrono::{DateTime, Duration, Utc};
use counterpane::service::clock::Clock;
use counterpane::service::daemon::{Daemon, Shared};
use counterpane::service::feed::Fetcher;
use counterpane::service::mail::{Delivery, Mailer};
use counterpane::service::store::{Open, Store};
use counterpane::settings::Settings;
use sqlx::{Connection, SqliteConnection};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration as Real, Instant};
use tempfile::TempDir;
use world::{Chance, PEOPLE, Relay, Skies, Spells, settings_of_the_winter};

const DAYS: i64 = 150;
/// Then everything works, for whatever is still to be told.
const AFTERWARDS: i64 = 9;
const WINTERS_IN_CI: u64 = 5;
/// Shortly after the rounds, by the garden's clock: 06:30, an hour after sunrise, 13:00, two hours after sunset.
const WAKES: [(i64, i64); 4] = [(6, 31), (8, 50), (13, 1), (21, 55)];

fn first_day() -> DateTime<Utc> {
    garden::utc("2026-10-25T00:00:00Z")
}

/// What was counted over all winters.
#[derive(Debug, Default)]
struct Figures {
    dangerous: AtomicU64,
    before_the_work: AtomicU64,
    in_time: AtomicU64,
    failed_and_escalated: AtomicU64,
    missed_and_told: AtomicU64,
    behind_a_wrong_clock: AtomicU64,
    mails: AtomicU64,
    doubles: AtomicU64,
    crashes: AtomicU64,
    restarts: AtomicU64,
    steps: AtomicU64,
}

/// Night, recipient, state, whether and to whom it was escalated, the letter that tells of it, and the end of its use.
type Listed = (String, String, String, i64, Option<String>, Option<String>, i64);

struct Winter<'a> {
    settings: &'a Settings,
    fetcher: &'a Fetcher,
    folder: TempDir,
    clock: Clock,
    skies: Skies,
    spells: Spells,
    relay: Arc<Mutex<Relay>>,
    figures: &'a Figures,
}

impl Winter<'_> {
    fn path(&self) -> std::path::PathBuf {
        self.folder.path().join("winter.sqlite")
    }

    async fn open(&self) -> Store {
        Store::open(&self.path(), Open::ReadWrite).await.expect("a store")
    }

    /// Lives through it; `each_day` is called at the end of every day.
    async fn live(&self, chance: &mut Chance, mut each_day: impl FnMut(i64)) {
        let mut store = self.open().await;
        let mut is_new = true;
        let mut asleep_until = first_day();
        for day in 0..DAYS + AFTERWARDS {
            let calm = day >= DAYS;
            let midnight = first_day() + Duration::days(day);
            let zone = &self.settings.gardens[0].garden.zone;
            let at = |(hour, minute): &(i64, i64)| {
                zone.instant(midnight.naive_utc() + Duration::hours(*hour) + Duration::minutes(*minute))
            };
            let mut wakes: Vec<_> = WAKES.iter().rev().map(at).collect();
            while let Some(now) = wakes.pop() {
                if !calm && chance.one_in(60) {
                    // A suspend, or a shed without power.
                    asleep_until = now + Duration::minutes(chance.up_to(40 * 60));
                }
                if now < asleep_until && !calm {
                    continue;
                }
                if chance.one_in(if calm { 1000 } else { 40 }) {
                    store.close().await;
                    store = self.open().await;
                    is_new = true;
                    self.figures.restarts.fetch_add(1, Ordering::Relaxed);
                }
                let open = self.step(&mut store, &mut is_new, now).await;
                // What waits is tried again, as by a daemon that is awake.
                let next = wakes.last().copied().unwrap_or_else(|| at(&(24 + 6, 31)));
                let again = now + Duration::minutes(16);
                if open && again < next {
                    wakes.push(again);
                }
            }
            each_day(day);
        }
        store.close().await;
    }

    /// One wake of the daemon, which settles what was left in the middle where it was started anew. Whether mail is left
    /// to be tried again.
    async fn step(&self, store: &mut Store, is_new: &mut bool, now: DateTime<Utc>) -> bool {
        self.figures.steps.fetch_add(1, Ordering::Relaxed);
        self.clock.set(now + self.spells.skew(now));
        self.skies.publish(self.folder.path(), now, self.spells.feed(now));
        let crash = {
            let mut relay = self.relay.lock().expect("sound");
            relay.now = now;
            relay.clock_is_wrong = !self.spells.skew(now).is_zero();
            relay.weather = self.spells.relay(now);
            Arc::clone(&relay.crash)
        };
        for _ in 0..20 {
            let mailer = Mailer::new(Delivery::Messenger(world::messenger(&self.relay)));
            let daemon = Daemon {
                settings: self.settings,
                folder: self.folder.path(),
                store,
                mailer: &mailer,
                fetcher: self.fetcher,
                clock: &self.clock,
                patience: Real::from_millis(200),
                shared: Shared::default(),
            };
            if std::mem::take(is_new) {
                daemon.recover().await.expect("a sound store");
            }
            let faults = daemon.due_rounds().await;
            assert!(faults.is_empty(), "{faults:?}");
            tokio::select! {
                biased;
                () = crash.notified() => {}
                delivered = daemon.deliver() => {
                    let delivered = delivered.expect("a sound store");
                    return delivered.waiting + delivered.unknown > 0 || store.overdue(self.clock.now()).await.expect("a count") > 0;
                }
            }
            self.figures.crashes.fetch_add(1, Ordering::Relaxed);
            store.close().await;
            *store = self.open().await;
            *is_new = true;
        }
        panic!("twenty crashes in a row");
    }

    /// Holds the invariant against every dangerous night and every person.
    async fn hold(&self, seed: u64) {
        let address = format!("sqlite://{}", self.path().display());
        let mut asked = SqliteConnection::connect(&address).await.expect("a store");
        // A newer mail in place of an older one answers for it.
        let rows: Vec<Listed> = sqlx::query_as(
            "SELECT night, recipient, state, escalated, escalated_to, told_in, expires FROM outbox
             WHERE kind = 'list' AND state <> 'superseded'",
        )
        .fetch_all(&mut asked)
        .await
        .expect("rows");
        let missed: Vec<String> = sqlx::query_scalar("SELECT DISTINCT night FROM rounds WHERE state = 'missed'")
            .fetch_all(&mut asked)
            .await
            .expect("rows");
        let pending: Vec<String> = sqlx::query_scalar(
            "SELECT key || ' ' || state FROM outbox WHERE state IN ('waiting', 'leased', 'unknown')
                OR (state IN ('refused', 'expired') AND NOT escalated)
             UNION ALL SELECT kind || ' ' || night || ' due' FROM rounds WHERE state = 'due'",
        )
        .fetch_all(&mut asked)
        .await
        .expect("rows");
        asked.close().await.expect("closed");
        assert!(pending.is_empty(), "seed {seed}: left in the middle: {pending:?}");
        let store = self.open().await;
        let untold = store.untold("winter", DateTime::UNIX_EPOCH).await.expect("readable");
        store.close().await;
        assert!(untold.is_empty(), "seed {seed}: no manager was told of {untold:?}");

        let relay = self.relay.lock().expect("sound");
        for (id, taken) in &relay.taken {
            assert!(*taken <= 1, "seed {seed}: {id} was handed over again after the relay had said yes");
        }
        self.figures.mails.fetch_add(relay.arrived.len() as u64, Ordering::Relaxed);
        let unique: std::collections::BTreeSet<&str> = relay.arrived.iter().map(|mail| mail.id.as_str()).collect();
        let doubles = relay.arrived.len() - unique.len();
        assert!(doubles <= relay.unsure, "seed {seed}: {doubles} doubles after {} doubtful tries", relay.unsure);
        self.figures.doubles.fetch_add(doubles as u64, Ordering::Relaxed);

        for night in self.skies.dangerous(DAYS) {
            let name = night.to_string();
            let quiet = relay.arrived.iter().find(|mail| mail.night == name && mail.says_there_is_nothing_to_do());
            assert!(quiet.is_none(), "seed {seed}: {name} is dangerous, and {quiet:?}");
            for person in PEOPLE {
                self.figures.dangerous.fetch_add(1, Ordering::Relaxed);
                let own = || rows.iter().filter(|row| row.0 == name && row.1 == person);
                let lists: Vec<_> = relay
                    .arrived
                    .iter()
                    .filter(|mail| mail.kind == "list" && mail.night == name && mail.to == person)
                    .collect();
                let end = own().map(|row| row.6).max().unwrap_or_default();
                let first = lists.iter().map(|mail| mail.at).min();
                let counted = if first.is_some_and(|first| first <= self.skies.end_of_work(night)) {
                    &self.figures.before_the_work
                } else if first.is_some_and(|first| first.timestamp() <= end) {
                    &self.figures.in_time
                } else if own().any(|row| matches!(row.2.as_str(), "refused" | "expired")) {
                    let told = own().filter(|row| matches!(row.2.as_str(), "refused" | "expired")).all(|row| {
                        row.3 == 1 && (row.4.as_deref().is_some_and(|to| !to.is_empty()) || row.5.is_some())
                    });
                    assert!(told, "seed {seed}: {person} was not reached about {name}, and nobody else was told");
                    &self.figures.failed_and_escalated
                } else if missed.contains(&name) {
                    &self.figures.missed_and_told
                } else if lists.iter().any(|mail| mail.clock_was_wrong) {
                    &self.figures.behind_a_wrong_clock
                } else {
                    panic!("seed {seed}: {person} heard nothing of {name}: {:?}", own().collect::<Vec<_>>());
                };
                counted.fetch_add(1, Ordering::Relaxed);
            }
        }
    }
}

fn folder() -> TempDir {
    // In memory where there is such a place: what a disk does is not looked at here.
    tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir()).expect("a folder")
}

async fn winter(seed: u64, settings: &Settings, fetcher: &Fetcher, figures: &Figures, each_day: impl FnMut(i64)) {
    let mut chance = Chance::of(seed);
    let winter = Winter {
        settings,
        fetcher,
        folder: folder(),
        clock: Clock::by_hand(first_day()),
        skies: Skies::of(&mut chance, first_day(), DAYS + AFTERWARDS + 3),
        spells: Spells::of(&mut chance, first_day(), DAYS),
        relay: Arc::new(Mutex::new(Relay::of(&mut chance))),
        figures,
    };
    winter.live(&mut chance, each_day).await;
    winter.hold(seed).await;
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime")
}

/// Memory of our own in KiB: how much of the program itself is resident changes with what else the machine does.
fn memory() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("of Linux");
    let line = status.lines().find_map(|line| line.strip_prefix("RssAnon:")).expect("a size");
    line.trim().trim_end_matches(" kB").parse().expect("a number")
}

fn open_files() -> usize {
    std::fs::read_dir(Path::new("/proc/self/fd")).expect("of Linux").count()
}

#[test]
fn every_dangerous_night_of_every_winter_everybody_is_told_or_somebody_hears_of_it() {
    let winters: u64 = std::env::var("COUNTERPANE_WINTERS").ok().and_then(|n| n.parse().ok()).unwrap_or(WINTERS_IN_CI);
    let settings = settings_of_the_winter();
    let fetcher = Fetcher::new("office@winter.example").expect("a fetcher");
    let figures = Figures::default();
    let start = Instant::now();
    // Alone first, and thrice more, for memory and open files. The first fills what is filled once; what an allocator holds
    // for a while comes and goes, so of the last two the lower has a leak in it all the same.
    let alone = runtime();
    let ends = [1; 4].map(|seed| {
        let mut end = (0.0, 0);
        alone.block_on(winter(seed, &settings, &fetcher, &figures, |_| end = (memory(), open_files())));
        end
    });
    println!("memory (KiB) and open files at the end of the same winter: {ends:?}");
    let [first, second, third, fourth] = ends;
    let (early, late) = (second.0, third.0.min(fourth.0));
    // An allocator alone moves it by up to six in a hundred between two winters.
    assert!(late - early <= 0.1 * early, "memory grew from {early} to {late} KiB in a winter");
    assert!(fourth.1 <= first.1, "open files: {} became {}", first.1, fourth.1);

    let next = AtomicU64::new(2);
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            scope.spawn(|| {
                let runtime = runtime();
                loop {
                    let seed = next.fetch_add(1, Ordering::SeqCst);
                    if seed > winters {
                        return;
                    }
                    runtime.block_on(winter(seed, &settings, &fetcher, &figures, |_| {}));
                }
            });
        }
    });
    println!("{winters} winters in {:.1} s: {figures:?}", start.elapsed().as_secs_f64());
    // A winter in which nothing goes wrong would hold anything.
    for (what, count) in [
        ("told before the work", &figures.before_the_work),
        ("told late and in time", &figures.in_time),
        ("failed and escalated", &figures.failed_and_escalated),
        ("missed", &figures.missed_and_told),
        ("doubled", &figures.doubles),
        ("crashed", &figures.crashes),
    ] {
        assert!(count.load(Ordering::Relaxed) > 0 || winters < WINTERS_IN_CI, "nothing was {what}");
    }
}
