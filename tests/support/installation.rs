//! A whole installation in a folder of its own: settings, store, and the real program run on them.

use super::smtp_sink::{Arrived, SmtpSink};
use chrono::{DateTime, Utc};
use sqlx::{Connection, SqliteConnection};
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

pub const MANAGER: &str = "manager@orchard-lane.example";
pub const TUESDAY: &str = "tuesday@orchard-lane.example";
pub const WEEKEND: &str = "weekend@orchard-lane.example";

/// A garden with beds of different fates: A1, A2 and P1 are tender, A3 and S1 stand a hard frost.
pub const GARDEN: &str = r#"
name = "Orchard Lane"
shown_in = "F"
feeds = ["grid"]

[place]
latitude = 36.0
longitude = -80.0
elevation_m = 250
time_zone = "America/New_York"

[[people]]
name = "Manager"
address = "manager@orchard-lane.example"
role = "manager"

[[people]]
name = "Tuesday crew"
address = "tuesday@orchard-lane.example"
role = "volunteer"

[[people]]
name = "Weekend crew"
address = "weekend@orchard-lane.example"
role = "volunteer"

[[covers]]
kind = "heavy-row-cover"
count = 3
length_m = 3.6
width_m = 2.4

[[beds]]
id = "A1"
kind = "raised"
length_m = 2.4
width_m = 1.2
plantings = [{ crop = "lettuce_leaf", stage = "leafy", hardened = "partly" }]

[[beds]]
id = "A2"
name = "by the gate"
kind = "raised"
length_m = 2.4
width_m = 1.2
plantings = [{ crop = "broccoli", stage = "heading", hardened = "partly" }]

[[beds]]
id = "A3"
kind = "in-ground"
length_m = 2.4
width_m = 1.2
plantings = [{ crop = "garlic", stage = "leafy", hardened = "fully" }]

[[beds]]
id = "P1"
kind = "containers"
diameter_m = 0.2
pots = 8
plantings = [{ crop = "rosemary", stage = "transplant", hardened = "no", worth_minutes = 90 }]

[[beds]]
id = "S1"
kind = "in-ground"
length_m = 4.0
width_m = 1.2
plantings = [{ crop = "strawberry", stage = "dormant", hardened = "fully" }]
"#;

/// A folder of settings with one garden, `orchard-lane`.
pub struct Installation {
    folder: TempDir,
}

/// What a run of the program came to.
#[derive(Debug)]
pub struct Ran {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl Ran {
    #[track_caller]
    pub fn ended_with(self, code: i32) -> Ran {
        assert_eq!(self.code, Some(code), "{}\n{}", self.out, self.err);
        self
    }
}

impl From<Output> for Ran {
    fn from(output: Output) -> Ran {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        Ran { code: output.status.code(), out: text(&output.stdout), err: text(&output.stderr) }
    }
}

/// An instant as RFC 3339.
pub fn at(text: &str) -> DateTime<Utc> {
    text.parse().expect("an instant")
}

/// Mail into a folder beside the settings, feeds as given: name, provider and base address.
pub fn service(feeds: &[(&str, &str, &str)], delivery: &str) -> String {
    let feeds: String = feeds
        .iter()
        .map(|(name, provider, base)| format!("[feeds.{name}]\nprovider = \"{provider}\"\naddress = \"{base}\"\n"))
        .collect();
    format!(
        "operator = \"office@orchard-lane.example\"\n[mail]\nfrom = \"Frost watch <frost@orchard-lane.example>\"\n\
         {delivery}\n{feeds}"
    )
}

pub fn to_relay(port: u16) -> String {
    format!("[mail.smtp]\nserver = \"127.0.0.1\"\nport = {port}\ntls = \"none\"")
}

/// The program, with nothing of the tester's own environment that changes what it does.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_counterpane"));
    command.env_remove("COUNTERPANE_CONFIG").env_remove("COUNTERPANE_LOG").stdin(Stdio::null());
    command
}

impl Installation {
    /// One feed, `grid`, in the shape of the US National Weather Service, and a relay.
    pub fn new(feed: &str, relay: &SmtpSink) -> Installation {
        Installation::with(&service(&[("grid", "nws", feed)], &to_relay(relay.port)), GARDEN)
    }

    pub fn with(service: &str, garden: &str) -> Installation {
        let installation = Installation { folder: tempfile::tempdir().expect("a folder") };
        std::fs::create_dir(installation.path("gardens")).expect("a folder");
        installation.write("counterpane.toml", service);
        installation.write("gardens/orchard-lane.toml", garden);
        installation
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect("written");
    }

    /// A command of the program on this folder.
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = program();
        command.args(arguments).arg("--config").arg(self.folder()).current_dir(self.folder());
        command
    }

    pub fn ran(&self, arguments: &[&str]) -> Ran {
        self.command(arguments).output().expect("the program starts").into()
    }

    /// One pass at an instant. Feeds that do not answer are not waited for long.
    pub fn once(&self, now: &str) -> Ran {
        self.ran(&["run", "--once", "--patience", "1", "--now", now])
    }

    /// The service, running from an instant on.
    pub fn start(&self, now: &str) -> Running {
        self.started(self.command(&["run", "--now", now]))
    }

    /// The service, running from an instant on until it comes by a place where it ends as in a power cut.
    pub fn start_to_die(&self, now: &str, place: &str) -> Running {
        let mut command = self.command(&["run", "--now", now]);
        command.env("COUNTERPANE_DIE_AT", place);
        self.started(command)
    }

    /// The service by the world's clock, which for it shows an instant now and is moved on by [`Installation::set_clock`].
    pub fn start_by_clock(&self, now: &str) -> Running {
        self.set_clock(now);
        let mut command = self.command(&["run"]);
        command.env("COUNTERPANE_CLOCK_MOVED_BY", self.path("clock"));
        self.started(command)
    }

    /// Sets the clock of a service that was started by it: at once, as somebody, a time server or a sleep does.
    pub fn set_clock(&self, now: &str) {
        let seconds = (at(now) - Utc::now()).num_seconds();
        self.write("clock.new", &seconds.to_string());
        // Whole or not at all: the service reads it all the time.
        std::fs::rename(self.path("clock.new"), self.path("clock")).expect("set");
    }

    fn started(&self, mut command: Command) -> Running {
        let log = self.path("log");
        let written = std::fs::File::create(&log).expect("a log");
        Running { child: command.stdout(Stdio::null()).stderr(written).spawn().expect("the program starts"), log }
    }

    /// The first column, a text, of whatever the store answers.
    pub fn asked(&self, question: &'static str) -> Vec<String> {
        self.in_store(async |store| sqlx::query_scalar(question).fetch_all(store).await.expect("an answer"))
    }

    /// Changes the store behind the program's back.
    pub fn tampered(&self, statement: &'static str) {
        self.in_store(async |store| {
            sqlx::raw_sql(statement).execute(store).await.expect("done");
        });
    }

    fn in_store<T>(&self, work: impl AsyncFnOnce(&mut SqliteConnection) -> T) -> T {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        let address = format!("sqlite://{}", self.path("counterpane.sqlite").display());
        runtime.block_on(async {
            let mut store = SqliteConnection::connect(&address).await.expect("a store");
            let answer = work(&mut store).await;
            store.close().await.expect("closed");
            answer
        })
    }
}

/// The program while it runs. Dropped, it is killed.
pub struct Running {
    child: Child,
    log: PathBuf,
}

impl Running {
    /// Whether its log has a text by now.
    pub fn has_logged(&self, text: &str) -> bool {
        std::fs::read_to_string(&self.log).expect("a log").contains(text)
    }

    /// How often its log has a text by now.
    pub fn count_logged(&self, text: &str) -> usize {
        std::fs::read_to_string(&self.log).expect("a log").matches(text).count()
    }

    /// Asks it to end as a service manager does.
    pub fn ask_to_stop(&self) {
        self.signal("-TERM");
    }

    /// Sends it a signal, such as `-STOP` and `-CONT`, between which it is as asleep as in a machine that sleeps.
    pub fn signal(&self, signal: &str) {
        let asked = Command::new("kill").args([signal, &self.child.id().to_string()]).status();
        assert!(asked.expect("kill is there").success(), "it has ended by itself");
    }

    /// Asks it to end, and gives what it came to and how long that took.
    pub fn stop(mut self) -> (Ran, Duration) {
        let start = Instant::now();
        self.ask_to_stop();
        let status = self.child.wait().expect("an end");
        let took = start.elapsed();
        let err = std::fs::read_to_string(&self.log).expect("a log");
        (Ran { code: status.code(), out: String::new(), err }, took)
    }

    /// Waits for it to end, and gives the signal that ended it, if one did.
    pub fn end(mut self, limit: Duration) -> Option<i32> {
        let start = Instant::now();
        while start.elapsed() < limit {
            if let Some(status) = self.child.try_wait().expect("a child") {
                return status.signal();
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("it did not end: {}", std::fs::read_to_string(&self.log).expect("a log"));
    }

    /// As a power cut.
    pub fn kill(mut self) {
        self.child.kill().expect("killed");
        self.child.wait().expect("an end");
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// Waits until a claim is true, and fails if that takes long. Looks often: tests must not sleep.
#[track_caller]
pub fn within(limit: Duration, what: &str, is_true: impl Fn() -> bool) {
    let start = Instant::now();
    while !is_true() {
        assert!(start.elapsed() < limit, "not within {limit:?}: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// The mail to one address, in order of arrival.
pub fn to(relay: &SmtpSink, address: &str) -> Vec<Arrived> {
    relay.arrived().into_iter().filter(|mail| mail.to == [address]).collect()
}
