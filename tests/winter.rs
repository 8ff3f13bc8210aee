//! A winter of 150 days at the pace of the processor, across both changes of clock, with a feed, a relay, a machine and
//! a clock that fail at random from a seed. What is held through all of it:
//!
//! *Each dangerous night, each person: told before the hour by which the work must be done, or somebody else is told
//! before that hour; and where the service was not running, its clock was wrong or the relay took nothing for anybody,
//! the failure is recorded and told afterwards.*
//!
//! Every fourth winter goes through the whole service, [`Lives::run`], whose sleeps end when its clock is moved; the
//! others call what a wake of it does, one after another, which says more exactly where something broke.
//!
//! Forecasts are right whenever they can be had, so a dangerous night may end in a list or in "decide by hand", and
//! never in "all quiet" or "called off". A winter takes four to five seconds of one core, so that a run of all tests holds
//! few, and `.ci/run` eighty. Optimised it takes two, and `COUNTERPANE_WINTERS=200 cargo test --profile winters
//! --test winter` runs two hundred of them, from seed 1 on; with `COUNTERPANE_WINTER=124` in its place, that one alone.

#[path = "support/garden.rs"]
mod garden;
#[path = "winter/world.rs"]
mod world;

use chrono::{DateTime, Duration, Utc};
use counterpane::rounds::next_round;
use counterpane::service::clock::Clock;
use counterpane::service::daemon::{Daemon, Shared};
use counterpane::service::feed::Fetcher;
use counterpane::service::lives::Lives;
use counterpane::service::mail::{Delivery, Mailer};
use counterpane::service::notify::Notify;
use counterpane::service::store::{Open, Store};
use counterpane::settings::Settings;
use sqlx::{Connection, SqliteConnection};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration as Real, Instant};
use tempfile::TempDir;
use world::{Arrived, Chance, PEOPLE, Relay, Skies, Spells, settings_of_the_winter};

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
    /// Not this person, and somebody else was, before the work.
    another_before_the_work: AtomicU64,
    /// Nobody was, for the relay took nothing, or the service slept.
    later: AtomicU64,
    failed_and_escalated: AtomicU64,
    missed_and_told: AtomicU64,
    behind_a_wrong_clock: AtomicU64,
    mails: AtomicU64,
    doubles: AtomicU64,
    crashes: AtomicU64,
    /// The relay had said yes, and the service was ended before that was written down.
    unrecorded: AtomicU64,
    restarts: AtomicU64,
    steps: AtomicU64,
}

/// A list in the outbox.
#[derive(Debug, sqlx::FromRow)]
struct Listed {
    night: String,
    recipient: String,
    state: String,
    escalated: i64,
    /// To whom.
    escalated_to: Option<String>,
    /// The letter that tells a manager of it.
    told_in: Option<String>,
    expires: i64,
    others_due: Option<i64>,
}

impl Listed {
    fn failed(&self) -> bool {
        matches!(self.state.as_str(), "refused" | "expired")
    }

    fn was_told_to_somebody(&self) -> bool {
        self.escalated == 1 && (self.escalated_to.as_deref().is_some_and(|to| !to.is_empty()) || self.told_in.is_some())
    }
}

/// How a winter is lived.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Way {
    ByHand,
    WholeService,
}

struct Winter<'a> {
    settings: &'a Settings,
    fetcher: Fetcher,
    folder: TempDir,
    clock: Clock,
    skies: Skies,
    spells: Spells,
    relay: Arc<Mutex<Relay>>,
    /// When it was awake, and knew what time it was.
    awake: Mutex<Vec<DateTime<Utc>>>,
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
    async fn live(&self, way: Way, chance: &mut Chance, each_day: impl FnMut(i64)) {
        match way {
            Way::ByHand => {
                let mut hand = Hand { winter: self, store: self.open().await, is_new: true };
                self.days(&mut hand, chance, each_day).await;
                hand.store.close().await;
            }
            Way::WholeService => self.whole_service(chance, each_day).await,
        }
    }

    async fn days(&self, driver: &mut impl Driver, chance: &mut Chance, mut each_day: impl FnMut(i64)) {
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
                    driver.restart().await;
                    self.figures.restarts.fetch_add(1, Ordering::Relaxed);
                }
                self.dawn(now);
                let open = driver.step(now).await;
                // What waits is tried again, as by a daemon that is awake.
                let next = wakes.last().copied().unwrap_or_else(|| at(&(24 + 6, 31)));
                let again = now + Duration::minutes(16);
                if open && again < next {
                    wakes.push(again);
                }
            }
            each_day(day);
        }
    }

    /// The world as it is now.
    fn dawn(&self, now: DateTime<Utc>) {
        self.figures.steps.fetch_add(1, Ordering::Relaxed);
        self.skies.publish(self.folder.path(), now, self.spells.feed(now));
        let is_right = self.spells.skew(now).is_zero();
        if is_right {
            self.awake.lock().expect("sound").push(now);
        }
        let mut relay = self.relay.lock().expect("sound");
        relay.now = now;
        relay.clock_is_wrong = !is_right;
        relay.weather = self.spells.relay(now);
    }

    fn crash(&self) -> Arc<tokio::sync::Notify> {
        Arc::clone(&self.relay.lock().expect("sound").crash)
    }

    fn mailer(&self) -> Mailer {
        Mailer::new(Delivery::Messenger(world::messenger(&self.relay)))
    }

    /// The service as `run` starts it, ended and started anew where the power fails.
    async fn whole_service(&self, chance: &mut Chance, each_day: impl FnMut(i64)) {
        let crash = self.crash();
        let mut watcher = Watcher { winter: self, store: self.open().await };
        let days = self.days(&mut watcher, chance, each_day);
        tokio::pin!(days);
        loop {
            let (mailer, path, notify) = (self.mailer(), self.path(), Notify::default());
            let lives = Lives {
                settings: self.settings,
                folder: self.folder.path(),
                store: &path,
                mailer: &mailer,
                fetcher: &self.fetcher,
                clock: &self.clock,
                patience: Real::from_millis(200),
                notify: &notify,
                ping: None,
                listener: None,
            };
            tokio::select! {
                biased;
                () = crash.notified() => self.forget_what_is_in_hand().await,
                ended = lives.run(std::future::pending()) => panic!("the service ended by itself: {ended:?}"),
                () = &mut days => break,
            }
        }
    }

    /// At the end of a life: a yes that nobody has written down is as doubtful as silence.
    async fn forget_what_is_in_hand(&self) {
        let mut asked = self.asked().await;
        let in_hand: Vec<String> = sqlx::query_scalar("SELECT message_id FROM outbox WHERE state = 'leased'")
            .fetch_all(&mut asked)
            .await
            .expect("rows");
        asked.close().await.expect("closed");
        let unrecorded = self.relay.lock().expect("sound").forget(&in_hand);
        self.figures.unrecorded.fetch_add(unrecorded, Ordering::Relaxed);
    }

    async fn asked(&self) -> SqliteConnection {
        let address = format!("sqlite://{}", self.path().display());
        SqliteConnection::connect(&address).await.expect("a store")
    }

    /// How many mails are due and on their way.
    async fn mails_due(&self, now: DateTime<Utc>) -> i64 {
        let mut asked = self.asked().await;
        let count = sqlx::query_scalar(
            "SELECT count(*) FROM outbox WHERE state IN ('waiting', 'leased', 'unknown') AND due <= ?",
        )
        .bind(now.timestamp())
        .fetch_one(&mut asked)
        .await
        .expect("a count");
        asked.close().await.expect("closed");
        count
    }

    /// Holds the invariant against every dangerous night and every person.
    async fn hold(&self, seed: u64) {
        let mut asked = self.asked().await;
        let rows: Vec<Listed> = sqlx::query_as(
            "SELECT night, recipient, state, escalated, escalated_to, told_in, expires, others_due FROM outbox
             WHERE kind = 'list'",
        )
        .fetch_all(&mut asked)
        .await
        .expect("rows");
        let said: Vec<(String, i64)> = sqlx::query_as("SELECT night, min(said_at) FROM said GROUP BY night")
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
        let away = relay.arrived.iter().find(|mail| mail.kind == "store-away");
        assert!(away.is_none(), "seed {seed}: nothing was wrong with the store, and {away:?}");
        self.figures.mails.fetch_add(relay.arrived.len() as u64, Ordering::Relaxed);
        let unique: std::collections::BTreeSet<&str> = relay.arrived.iter().map(|mail| mail.id.as_str()).collect();
        let doubles = relay.arrived.len() - unique.len();
        assert!(doubles <= relay.unsure, "seed {seed}: {doubles} doubles after {} doubtful tries", relay.unsure);
        self.figures.doubles.fetch_add(doubles as u64, Ordering::Relaxed);

        let awake = self.awake.lock().expect("sound");
        for night in self.skies.dangerous(DAYS) {
            let name = night.to_string();
            let quiet = relay.arrived.iter().find(|mail| mail.night == name && mail.says_there_is_nothing_to_do());
            assert!(quiet.is_none(), "seed {seed}: {name} is dangerous, and {quiet:?}");
            let (morning, deadline) = (self.skies.morning(night), self.skies.end_of_work(night));
            let was_awake = |from: DateTime<Utc>| awake.iter().any(|at| (from..=deadline).contains(at));
            let before = |kind: &str, mail: &Arrived| mail.kind == kind && mail.night == name && mail.at <= deadline;
            let another = relay.arrived.iter().any(|mail| before("not-reached", mail));
            let nobody = !relay.arrived.iter().any(|mail| before("list", mail));
            if was_awake(morning) {
                let decided = said.iter().any(|(of, at)| *of == name && *at <= deadline.timestamp());
                assert!(decided, "seed {seed}: {name} is dangerous, and nothing was decided before the work");
            }
            for person in PEOPLE {
                self.figures.dangerous.fetch_add(1, Ordering::Relaxed);
                let whose = |row: &&Listed| row.night == name && row.recipient == person;
                // A newer mail in place of an older one answers for it.
                let own = || rows.iter().filter(whose).filter(|row| row.state != "superseded");
                let lists =
                    relay.arrived.iter().filter(|mail| mail.kind == "list" && mail.night == name && mail.to == person);
                let lists: Vec<&Arrived> = lists.collect();
                let first = lists.iter().map(|mail| mail.at).min();
                if first.is_some_and(|first| first <= deadline) {
                    self.figures.before_the_work.fetch_add(1, Ordering::Relaxed);
                    continue;
                }
                // When it was time to tell another, was there anybody awake to do it?
                let others_due = rows.iter().filter(whose).filter_map(|row| row.others_due).min();
                let others_due = others_due.and_then(|at| DateTime::from_timestamp(at, 0)).unwrap_or(morning);
                assert!(
                    another || nobody || !was_awake(others_due.max(morning)),
                    "seed {seed}: {person} was not told of {name} before the work, others were, and nobody was told that: \
                     {:?}",
                    rows.iter().filter(whose).collect::<Vec<_>>()
                );
                let end = own().map(|row| row.expires).max().unwrap_or_default();
                let counted = if first.is_some_and(|first| first.timestamp() <= end) {
                    if another { &self.figures.another_before_the_work } else { &self.figures.later }
                } else if own().any(Listed::failed) {
                    let told = own().filter(|row| row.failed()).all(Listed::was_told_to_somebody);
                    assert!(told, "seed {seed}: {person} was not reached about {name}, and nobody else was told");
                    if another { &self.figures.another_before_the_work } else { &self.figures.failed_and_escalated }
                } else if missed.contains(&name) && !was_awake(morning) {
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

/// What moves the service on.
trait Driver {
    /// Whether mail is left to be tried again.
    async fn step(&mut self, now: DateTime<Utc>) -> bool;
    async fn restart(&mut self);
}

/// Does what a wake of the daemon does, and settles what was left in the middle where it was started anew.
struct Hand<'w, 'a> {
    winter: &'w Winter<'a>,
    store: Store,
    is_new: bool,
}

impl Driver for Hand<'_, '_> {
    async fn step(&mut self, now: DateTime<Utc>) -> bool {
        let winter = self.winter;
        winter.clock.set(now + winter.spells.skew(now));
        let crash = winter.crash();
        for _ in 0..20 {
            let mailer = winter.mailer();
            let daemon = Daemon {
                settings: winter.settings,
                folder: winter.folder.path(),
                store: &self.store,
                mailer: &mailer,
                fetcher: &winter.fetcher,
                clock: &winter.clock,
                patience: Real::from_millis(200),
                substitute_because: None,
                shared: Shared::default(),
            };
            if std::mem::take(&mut self.is_new) {
                daemon.recover().await.expect("a sound store");
            }
            let faults = daemon.due_rounds().await;
            assert!(faults.is_empty(), "{faults:?}");
            tokio::select! {
                biased;
                () = crash.notified() => {}
                delivered = daemon.deliver() => {
                    let delivered = delivered.expect("a sound store");
                    let overdue = winter.mails_due(winter.clock.now()).await;
                    return delivered.waiting + delivered.unknown > 0 || overdue > 0;
                }
            }
            winter.figures.crashes.fetch_add(1, Ordering::Relaxed);
            self.restart().await;
        }
        panic!("twenty crashes in a row");
    }

    async fn restart(&mut self) {
        self.store.close().await;
        self.store = self.winter.open().await;
        self.is_new = true;
    }
}

/// Moves the clock of the running service, and looks at its store until all that is due is done.
struct Watcher<'w, 'a> {
    winter: &'w Winter<'a>,
    store: Store,
}

impl Watcher<'_, '_> {
    async fn is_done(&self, now: DateTime<Utc>) -> bool {
        let (settings, garden) = (self.winter.settings, &self.winter.settings.gardens[0].garden);
        let Some(last) = self.store.last_round(&garden.id, now).await.expect("readable") else { return false };
        let next = next_round(&settings.service.timetable, &garden.site, &garden.zone, last.due);
        next.is_none_or(|next| next.due > now)
            && self.store.noted_due(&garden.id, now).await.expect("readable").is_empty()
            && self.winter.mails_due(now).await == 0
            && self.store.unescalated().await.expect("readable").is_empty()
    }
}

impl Driver for Watcher<'_, '_> {
    async fn step(&mut self, now: DateTime<Utc>) -> bool {
        let shown = now + self.winter.spells.skew(now);
        let start = Instant::now();
        for turn in 0_u64.. {
            // Moved again and again: a loop that was busy just then has not heard it.
            if turn.is_multiple_of(4) {
                self.winter.clock.set(shown);
            }
            // Asking is no part of the service, and costs a statement or more each time.
            tokio::time::sleep(Real::from_millis(2)).await;
            if self.is_done(shown).await {
                break;
            }
            assert!(start.elapsed() < Real::from_secs(20), "at {now} the service does not come to rest");
        }
        self.store.mail_counts(shown, Duration::zero(), shown).await.expect("a count").open > 0
    }

    async fn restart(&mut self) {
        self.winter.crash().notify_one();
        tokio::task::yield_now().await;
    }
}

fn folder() -> TempDir {
    // In memory where there is such a place: what a disk does is not looked at here.
    tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir()).expect("a folder")
}

async fn winter(seed: u64, settings: &Settings, figures: &Figures, each_day: impl FnMut(i64)) {
    let mut chance = Chance::of(seed);
    let winter = Winter {
        settings,
        fetcher: Fetcher::new("office@winter.example").expect("a fetcher"),
        folder: folder(),
        clock: Clock::by_hand(first_day()),
        skies: Skies::of(&mut chance, first_day(), DAYS + AFTERWARDS + 3),
        spells: Spells::of(&mut chance, first_day(), DAYS),
        relay: Arc::new(Mutex::new(Relay::of(&mut chance))),
        awake: Mutex::default(),
        figures,
    };
    let way = if seed.is_multiple_of(4) { Way::WholeService } else { Way::ByHand };
    winter.live(way, &mut chance, each_day).await;
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

fn number(variable: &str) -> Option<u64> {
    let text = std::env::var(variable).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{variable}={text} is not a number")))
}

/// Names the seed of winters that are lived alone in their process.
const ALONE: &str = "COUNTERPANE_WINTER_ALONE";

/// In a process of its own, for what is counted is a whole process; and with one arena for all threads, for how many of
/// them an allocator keeps for threads that come and go moves the sum by more than a leak would.
#[test]
fn a_winter_leaves_no_memory_and_no_open_file_behind() {
    if let Some(seed) = number(ALONE) {
        alone(seed);
        return;
    }
    let ran = std::process::Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", "a_winter_leaves_no_memory_and_no_open_file_behind", "--nocapture"])
        .envs([(ALONE, "1"), ("MALLOC_ARENA_MAX", "1")])
        .output()
        .expect("it starts");
    let text = [ran.stdout, ran.stderr].map(|text| String::from_utf8_lossy(&text).into_owned()).concat();
    let line = text.lines().find(|line| line.starts_with("memory"));
    println!("{}", line.unwrap_or_default());
    assert!(ran.status.success() && line.is_some(), "{text}");
}

/// The same winter four times. The first fills what is filled once; what an allocator holds for a while comes and goes, so
/// of the last two the lower has a leak in it all the same.
fn alone(seed: u64) {
    let (settings, figures, runtime) = (settings_of_the_winter(), Figures::default(), runtime());
    let ends = [seed; 4].map(|seed| {
        let mut end = (0.0, 0);
        runtime.block_on(winter(seed, &settings, &figures, |_| end = (memory(), open_files())));
        end
    });
    println!("memory (KiB) and open files at the end of the same winter: {ends:?}");
    let [first, second, third, fourth] = ends;
    let (early, late) = (second.0, third.0.min(fourth.0));
    assert!(late - early <= 0.05 * early, "memory grew from {early} to {late} KiB in a winter");
    assert!(fourth.1 <= first.1, "open files: {} became {}", first.1, fourth.1);
}

#[test]
fn every_dangerous_night_of_every_winter_everybody_is_told_or_somebody_hears_of_it() {
    if number(ALONE).is_some() {
        return;
    }
    let (one, winters) = (number("COUNTERPANE_WINTER"), number("COUNTERPANE_WINTERS").unwrap_or(WINTERS_IN_CI));
    let (first, last) = one.map_or((1, winters), |one| (one, one));
    let (settings, figures, start) = (settings_of_the_winter(), Figures::default(), Instant::now());
    let next = AtomicU64::new(first);
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            scope.spawn(|| {
                let runtime = runtime();
                loop {
                    let seed = next.fetch_add(1, Ordering::SeqCst);
                    if seed > last {
                        return;
                    }
                    runtime.block_on(winter(seed, &settings, &figures, |_| {}));
                }
            });
        }
    });
    println!("winters {first} to {last} in {:.1} s: {figures:?}", start.elapsed().as_secs_f64());
    // A winter in which nothing goes wrong would hold anything.
    for (what, count) in [
        ("told before the work", &figures.before_the_work),
        ("told to another in time", &figures.another_before_the_work),
        ("told late", &figures.later),
        ("failed and escalated", &figures.failed_and_escalated),
        ("missed", &figures.missed_and_told),
        ("doubled", &figures.doubles),
        ("crashed", &figures.crashes),
    ] {
        assert!(count.load(Ordering::Relaxed) > 0 || last - first + 1 < WINTERS_IN_CI, "nothing was {what}");
    }
}
