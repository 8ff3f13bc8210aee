//! Signs of life, `doctor`, `backup`, and a disk that takes nothing: the real program, watched from outside.

#[path = "support/garden.rs"]
mod gardens;
mod support;

use counterpane::service::clock::Clock;
use counterpane::service::feed::Fetcher;
use counterpane::service::notify::Notify;
use counterpane::service::signs::Signs;
use counterpane::service::store::{Open, Store};
use counterpane::service::turns::Turns;
use sqlx::{Connection, SqliteConnection};
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::os::unix::net::UnixDatagram;
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use support::feed::{Answer, Feed};
use support::installation::{GARDEN, Installation, MANAGER, TUESDAY, WEEKEND, at, service, to, to_relay, within};
use support::smtp_sink::{Arrived, Fault, SmtpSink};
use support::weather_documents::Weather;

const MORNING: &str = "2027-01-16T06:30:10-05:00";
const JUST_BEFORE: &str = "2027-01-16T12:59:59-05:00";
const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
const SOON: Duration = Duration::from_secs(20);

fn frost() -> Weather {
    Weather::of_low(-4.0, at("2027-01-16T15:00:00Z"))
}

fn mild() -> Weather {
    Weather { low: 7.0, issued: at("2027-01-16T10:00:00Z"), ..frost() }
}

/// Settings with a table `[service]`.
fn garden(feed: &Feed, relay: &SmtpSink, signs: &str) -> Installation {
    let text = service(&[("grid", "nws", &feed.base)], &to_relay(relay.port));
    Installation::with(&format!("{text}[service]\n{signs}\n"), GARDEN)
}

/// A port that nobody has just now.
fn free_port() -> u16 {
    TcpListener::bind(("127.0.0.1", 0)).and_then(|listener| listener.local_addr()).expect("a port").port()
}

/// A running program. Dropped, it is killed.
struct Service(Child);

impl Service {
    fn start(mut command: Command, garden: &Installation) -> Service {
        let log = std::fs::File::options().create(true).append(true).open(garden.path("log")).expect("a log");
        Service(command.stdout(Stdio::null()).stderr(log).spawn().expect("the program starts"))
    }

    fn stop(mut self) {
        let asked = Command::new("kill").args(["-TERM", &self.0.id().to_string()]).status();
        assert!(asked.expect("kill is there").success());
        assert!(self.0.wait().expect("an end").success());
    }

    /// Open descriptors, and resident memory in kB.
    fn weight(&self) -> (usize, u64) {
        let process = format!("/proc/{}", self.0.id());
        let open = std::fs::read_dir(format!("{process}/fd")).expect("descriptors").count();
        let status = std::fs::read_to_string(format!("{process}/status")).expect("a status");
        let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("memory");
        (open, resident.trim().trim_end_matches(" kB").parse().expect("a number"))
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        self.0.kill().ok();
        self.0.wait().ok();
    }
}

fn log(garden: &Installation) -> String {
    std::fs::read_to_string(garden.path("log")).unwrap_or_default()
}

/// Status and document of the page, or nothing where nobody answers.
fn page(port: u16) -> Option<(String, serde_json::Value)> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n").ok()?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).ok()?;
    let (head, body) = answer.split_once("\r\n\r\n")?;
    Some((head.split(' ').nth(1)?.to_string(), serde_json::from_str(body).ok()?))
}

#[test]
fn the_page_tells_the_ages_and_a_thousand_questions_cost_nothing() {
    let (feed, relay, port) = (Feed::with(frost()), SmtpSink::start(&[]), free_port());
    let garden = garden(&feed, &relay, &format!("healthz_port = {port}"));
    let service = Service::start(garden.command(&["run", "--now", AFTERNOON]), &garden);
    within(SOON, "a page that says that all is well", || page(port).is_some_and(|(status, _)| status == "200"));
    let (_, document) = page(port).expect("a page");
    assert_eq!((&document["ok"], &document["troubles"]), (&true.into(), &serde_json::json!([])));
    let of_garden = &document["gardens"][0];
    assert_eq!((&of_garden["garden"], &of_garden["round_overdue"]), (&"orchard-lane".into(), &serde_json::Value::Null));
    assert!(of_garden["last_round_age"].as_i64().is_some_and(|age| (0..60).contains(&age)), "{document}");
    // Issued at 10:00 of the garden's clock, three hours before.
    let forecast = of_garden["last_forecast_age"].as_i64();
    assert!(forecast.is_some_and(|age| (10_800..10_900).contains(&age)), "{document}");

    (0..100).for_each(|_| assert!(page(port).is_some()));
    let before = service.weight();
    (0..1000).for_each(|_| assert!(page(port).is_some()));
    // The last of them may be closing still.
    within(SOON, "as few descriptors as before", || service.weight().0 <= before.0);
    let after = service.weight();
    assert!(after.1 <= before.1 + before.1 / 20, "{} kB grew to {} kB", before.1, after.1);
    println!("1,000 questions: {} descriptors, {} kB before and {} kB after", after.0, before.1, after.1);
    service.stop();
    assert_eq!(page(port), None);
}

#[test]
fn the_page_says_why_all_is_not_well() {
    let (feed, relay, port) = (Feed::with(mild()), SmtpSink::start(&[]), free_port());
    let garden = garden(&feed, &relay, &format!("healthz_port = {port}"));
    garden.once(MORNING).ended_with(0);
    // The afternoon's round cannot be made: it asks a feed that is silent, longer than a round may take.
    feed.set(Answer::Silence);
    let late = "2027-01-16T13:20:00-05:00";
    let service = Service::start(garden.command(&["run", "--now", late]), &garden);
    let expected = serde_json::json!(["orchard-lane: a round is overdue by 20 min."]);
    within(SOON, "a page that says so", || {
        page(port).is_some_and(|(status, document)| {
            status == "503" && document["ok"] == false && document["troubles"] == expected
        })
    });
    // `doctor` asks it, and looks for itself.
    let ran = garden.ran(&["doctor", "--now", late, "--patience", "1"]).ended_with(6);
    let page =
        format!("WRONG  service at 127.0.0.1:{port}: it runs, and says orchard-lane: a round is overdue by 20 min.");
    for text in [page.as_str(), "WRONG  rounds of orchard-lane: one is overdue by 20 min; the last complete one: "] {
        assert!(ran.out.contains(text), "{text}\nis not in\n{}", ran.out);
    }
    drop(service);
}

#[test]
fn a_ping_follows_each_complete_round_and_its_failure_stops_nothing() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[]));
    let watcher = Feed::start(Answer::Status("500 Broken", String::new()));
    let signs = format!("ping = \"{}/secret-key-of-ours\"", watcher.base);
    let garden = garden(&feed, &relay, &signs);
    garden.once(MORNING).ended_with(0);
    garden.once("2027-01-16T12:00:00-05:00").ended_with(0);
    assert_eq!(watcher.requests(), 0, "a single pass is watched by whoever calls it");
    feed.set_weather(frost());
    let earlier = relay.arrived().len();
    let service = Service::start(garden.command(&["run", "--now", "2027-01-16T12:59:52-05:00"]), &garden);
    let failure = "it answers with status 500";
    within(SOON * 2, "a ping, and its failure in the log", || log(&garden).contains(failure));
    // By the order of the log and not by the hour: a busy machine is slow. Each mail was taken before.
    let before = log(&garden).split(failure).next().map(str::to_string).unwrap_or_default();
    let taken = before.matches("mail tried").count();
    assert_eq!((taken, relay.arrived().len() - earlier, watcher.requests()), (3, 3, 1), "{before}");
    assert_eq!(to(&relay, TUESDAY).len(), 1);
    service.stop();
    assert!(!log(&garden).contains("secret-key-of-ours"), "{}", log(&garden));
    // What is wrong with the address is said without it.
    garden.write("ping-address", "http://watcher.example/secret-key-of-ours\n");
    let text = service_text(&feed, &relay);
    garden.write("counterpane.toml", &format!("{text}[service]\nping_file = \"ping-address\"\n"));
    let ran = garden.ran(&["check"]).ended_with(2);
    assert!(ran.err.contains("In what ping_file names: a ping goes over https"), "{}", ran.err);
    assert!(!ran.err.contains("secret-key-of-ours"), "{}", ran.err);
}

fn service_text(feed: &Feed, relay: &SmtpSink) -> String {
    service(&[("grid", "nws", &feed.base)], &to_relay(relay.port))
}

#[test]
fn the_service_manager_hears_of_start_life_and_stop() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    let manager = UnixDatagram::bind(garden.path("notify")).expect("a socket");
    manager.set_read_timeout(Some(SOON)).expect("a timeout");
    let mut command = garden.command(&["run", "--now", AFTERNOON]);
    command.env("NOTIFY_SOCKET", garden.path("notify")).env("WATCHDOG_USEC", "1500000");
    let service = Service::start(command, &garden);
    let heard = || {
        let mut word = [0; 500];
        let length = manager.recv(&mut word).expect("a word in time");
        String::from_utf8_lossy(&word[..length]).into_owned()
    };
    assert_eq!(heard(), "READY=1");
    let start = std::time::Instant::now();
    let mut beats = 0;
    while beats < 4 {
        let word = heard();
        assert!(word == "WATCHDOG=1" || word.starts_with("STATUS="), "{word}");
        beats += usize::from(word == "WATCHDOG=1");
    }
    // Every half second: three beats within the limit, so that a lost one kills nobody.
    assert!(start.elapsed() < Duration::from_secs(4), "{:?}", start.elapsed());
    service.stop();
    std::iter::repeat_with(heard).take(50).find(|word| word == "STOPPING=1").expect("a word of the end");
}

#[tokio::test]
async fn a_loop_that_is_stuck_starves_the_watchdog() {
    let folder = tempfile::tempdir().expect("a folder");
    let manager = tokio::net::UnixDatagram::bind(folder.path().join("notify")).expect("a socket");
    let settings = gardens::garden_file(&gardens::project().join("config/gardens/tansyford.toml"));
    let store = Store::open(&folder.path().join("garden.db"), Open::ReadWrite).await.expect("a store");
    let fetcher = Fetcher::new("office@orchard-lane.example").expect("a fetcher");
    let notify = Notify::to(folder.path().join("notify").as_path(), Some(Duration::from_millis(60))).expect("a way");
    let (turns, clock) = (Turns::default(), Clock::real());
    turns.expect("tansyford", Duration::from_millis(400));
    let signs = Signs {
        settings: &settings,
        store: &store,
        substitute_because: None,
        turns: &turns,
        clock: &clock,
        fetcher: &fetcher,
        notify: &notify,
        ping: None,
        listener: None,
    };
    let listen = async {
        let mut words = Vec::new();
        while words.iter().filter(|word| *word == "STATUS=stuck: tansyford").count() < 3 {
            let mut word = [0; 2000];
            let length = manager.recv(&mut word).await.expect("a word");
            words.push(String::from_utf8_lossy(&word[..length]).into_owned());
        }
        words
    };
    let words = tokio::select! {
        () = signs.give() => panic!("signs end by themselves"),
        words = tokio::time::timeout(SOON, listen) => words.expect("in time"),
    };
    let stuck = words.iter().position(|word| word.starts_with("STATUS=stuck")).expect("stuck");
    assert!(words[..stuck].contains(&"WATCHDOG=1".to_string()), "{words:?}");
    assert!(!words[stuck..].contains(&"WATCHDOG=1".to_string()), "{words:?}");
}

#[test]
fn doctor_finds_nothing_wrong_where_nothing_is_and_changes_nothing() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    let ran = garden.ran(&["doctor", "--now", AFTERNOON]).ended_with(6);
    assert!(ran.out.contains("WRONG  store: there is none at "), "{}", ran.out);
    assert!(!garden.path("counterpane.sqlite").exists(), "doctor made a store");
    // While the service runs, and from the same store.
    let service = Service::start(garden.command(&["run", "--now", AFTERNOON]), &garden);
    within(SOON, "three lists", || relay.arrived().len() == 3);
    let asked = feed.requests();
    let ran = garden.ran(&["doctor", "--now", "2027-01-16T13:01:00-05:00"]).ended_with(0);
    for text in [
        "ok     clock: it shows 2027-01-16 18:01 UTC.",
        "ok     disk: ",
        "counterpane.sqlite is whole.",
        "ok     zone data: edition ",
        "ok     caution of orchard-lane: even: work is asked from a chance of damage of 10 % on, ",
        "ok     feed grid for orchard-lane: it knows the coming night; its forecast is 3 h old.",
        &format!("ok     mail: 127.0.0.1:{} answers.", relay.port),
        "ok     rounds of orchard-lane: the last complete one: 0 min ago; newest forecast kept: 3 h ago.",
        "ok     waiting mail: 0 messages, none of them overdue.",
        "ok     failed mail: none within 7 days, and no round was missed.",
        "Nothing is wrong.",
    ] {
        assert!(ran.out.contains(text), "{text}\nis not in\n{}", ran.out);
    }
    assert!(feed.requests() > asked && relay.arrived().len() == 3, "the feed is asked and nobody is written to");
    let idle = "note   service: no service is running on this store, ";
    assert!(!ran.out.contains(idle), "{}", ran.out);
    service.stop();
    let ran = garden.ran(&["doctor", "--now", "2027-01-16T13:01:00-05:00"]).ended_with(0);
    assert!(ran.out.contains(idle), "{}", ran.out);
}

#[test]
fn doctor_names_each_thing_that_is_wrong_and_how_to_mend_it() {
    let (mut feed, relay) = (Feed::with(frost()), SmtpSink::start(&[Fault::RefuseRecipient(TUESDAY)]));
    let garden = garden(&feed, &relay, "healthz_port = 9");
    garden.ran(&["run", "--once", "--patience", "1", "--now", AFTERNOON]).ended_with(5);
    feed.close();
    let text = service_text(&feed, &relay).replace(&format!("port = {}", relay.port), "port = 9");
    garden.write("counterpane.toml", &format!("{text}[service]\nhealthz_port = 9\n"));
    // The clock was set back by a year.
    let ran = garden.ran(&["doctor", "--patience", "1", "--now", "2026-01-16T13:00:00-05:00"]).ended_with(6);
    for text in [
        "WRONG  clock: it shows 2026-01-16 18:00 UTC, and something was written down at 2027-01-16 18:00 UTC.\n       Mend: ",
        "WRONG  feed grid for orchard-lane: the feed cannot be reached (",
        "WRONG  mail: 127.0.0.1:9: ",
        "       Mend: Check the network, and server and port under [mail.smtp]; mail waits until then.",
        "WRONG  rounds of orchard-lane: none was ever complete.",
        "the list for tuesday@orchard-lane.example, orchard-lane, night of 2027-01-16, was refused",
        "WRONG  service at 127.0.0.1:9: nobody answers (",
    ] {
        assert!(ran.out.contains(text), "{text}\nis not in\n{}", ran.out);
    }
    assert!(ran.out.ends_with(" things are wrong.\n"), "{}", ran.out);
}

#[test]
fn a_copy_is_made_while_the_service_runs_is_whole_and_never_written_over_a_file() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    let service = Service::start(garden.command(&["run", "--now", AFTERNOON]), &garden);
    within(SOON, "three lists", || relay.arrived().len() == 3);
    let ran = garden.ran(&["backup", "copy.sqlite"]).ended_with(0);
    assert!(
        ran.out.contains("counterpane.sqlite was copied to copy.sqlite, ") && ran.out.contains("whole"),
        "{}",
        ran.out
    );
    let mode = std::os::unix::fs::PermissionsExt::mode(
        &std::fs::metadata(garden.path("copy.sqlite")).expect("one").permissions(),
    );
    assert_eq!(mode & 0o777, 0o600);
    let before = std::fs::read(garden.path("copy.sqlite")).expect("a copy");
    let ran = garden.ran(&["backup", "copy.sqlite"]).ended_with(4);
    assert!(ran.err.contains("copy.sqlite is there already"), "{}", ran.err);
    assert_eq!(std::fs::read(garden.path("copy.sqlite")).expect("a copy"), before);
    let ran = garden.ran(&["backup", "nowhere/copy.sqlite"]).ended_with(4);
    assert!(ran.err.contains("nowhere/copy.sqlite cannot be written: ") && ran.err.contains("Mend: "), "{}", ran.err);
    service.stop();

    // Damaged, the store is refused with how to put the copy back; put back, nothing is said twice.
    let store = garden.path("counterpane.sqlite");
    let mut bytes = std::fs::read(&store).expect("a store");
    let middle = bytes.len() / 4096 / 2 * 4096;
    bytes[8192..middle + 4096].fill(0xa5);
    std::fs::write(&store, bytes).expect("damaged");
    let ran = garden.ran(&["run", "--once", "--now", AFTERNOON]).ended_with(4);
    assert!(
        ran.err.contains("counterpane.sqlite is damaged: ") && ran.err.contains("copy the newest backup over"),
        "{}",
        ran.err
    );
    // The service goes on from memory, and its managers hear of it at once.
    let ruins = std::fs::read(&store).expect("ruins");
    let service = Service::start(garden.command(&["run", "--now", "2027-01-16T13:01:00-05:00"]), &garden);
    within(SOON, "a letter", || to(&relay, MANAGER).iter().any(|mail| mail.subject() == AWAY));
    service.stop();
    assert_eq!(std::fs::read(&store).expect("ruins"), ruins, "what is damaged was written to");
    let lists = relay.arrived().len() - 1;
    let ran = garden.ran(&["doctor", "--now", AFTERNOON]).ended_with(6);
    assert!(ran.out.contains("WRONG  store: the store ") && ran.out.contains(" is damaged: "), "{}", ran.out);
    let ran = garden.ran(&["backup", "other.sqlite"]).ended_with(4);
    assert!(!garden.path("other.sqlite").exists(), "a copy of ruins was left: {}", ran.err);
    for end in ["-wal", "-shm"] {
        std::fs::remove_file(garden.path(&format!("counterpane.sqlite{end}"))).ok();
    }
    std::fs::copy(garden.path("copy.sqlite"), &store).expect("put back");
    garden.once("2027-01-16T13:05:00-05:00").ended_with(0);
    assert_eq!(relay.arrived().len(), lists + 1);
}

const AWAY: &str = "The frost watch needs help: its records cannot be kept (Orchard Lane)";

/// The program with a limit on the length of every file it writes, which stands for a disk that takes nothing: the
/// store's log is longer already. The limit is the system's, and holds for root too.
fn on_a_full_disk(garden: &Installation, arguments: &[&str]) -> Command {
    let program = garden.command(arguments);
    let mut command = Command::new("sh");
    command.args(["-c", "trap '' XFSZ; ulimit -f 64; exec \"$@\"", "sh"]).arg(program.get_program());
    command.args(program.get_args()).current_dir(garden.folder()).env_remove("COUNTERPANE_LOG").stdin(Stdio::null());
    command
}

/// Makes the store's log longer than the limit, for as long as what is given back lives.
fn with_a_long_log(garden: &Installation) -> (tokio::runtime::Runtime, SqliteConnection) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let address = format!("sqlite://{}", garden.path("counterpane.sqlite").display());
    let store = runtime.block_on(async {
        let mut store = SqliteConnection::connect(&address).await.expect("a store");
        let long = "PRAGMA wal_autocheckpoint = 0;
                    INSERT INTO grid_addresses VALUES ('another', 'feed', hex(zeroblob(100000)), 0);";
        sqlx::raw_sql(long).execute(&mut store).await.expect("a long log");
        store
    });
    (runtime, store)
}

#[test]
fn a_warning_goes_out_though_the_disk_takes_no_record_of_it() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    garden.once(MORNING).ended_with(0);
    garden.once("2027-01-16T12:00:00-05:00").ended_with(0);
    let before = relay.arrived().len();
    let _held = with_a_long_log(&garden);
    let (port, watcher) = (free_port(), Feed::start(Answer::Status("200 OK", "fine".into())));
    let text = service_text(&feed, &relay);
    let signs = format!("healthz_port = {port}\nping = \"{}\"", watcher.base);
    garden.write("counterpane.toml", &format!("{text}[service]\n{signs}\n"));
    feed.set_weather(frost());
    let service = Service::start(on_a_full_disk(&garden, &["run", "--now", JUST_BEFORE]), &garden);

    // Three lists, and a letter to the manager.
    within(SOON, "three lists", || relay.arrived().len() == before + 4);
    assert_eq!(to(&relay, MANAGER).iter().filter(|mail| mail.subject() == AWAY).count(), 1);
    // The disk is tried again; nobody is told again.
    within(SOON * 3, "a second try", || log(&garden).contains("the store on the disk cannot be used yet"));
    assert_eq!(relay.arrived().len(), before + 4);
    let list = to(&relay, MANAGER).into_iter().find(|mail| mail.subject().contains("over ")).expect("a list");
    let text = list.text().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("The service cannot keep its records and works from memory"), "{text}");
    let (status, document) = page(port).expect("a page");
    assert_eq!(status, "503");
    assert!(document["troubles"][0].as_str().is_some_and(|text| text.starts_with("The service works from memory: ")));
    assert_eq!(watcher.requests(), 0, "a ping from a service that keeps no records");
    service.stop();
    assert_eq!(
        garden.asked("SELECT kind FROM rounds WHERE kind = 'afternoon' AND state = 'done'"),
        Vec::<String>::new()
    );
    // Once there is room the round is made and written down.
    garden.once("2027-01-16T13:10:00-05:00").ended_with(0);
    assert_eq!(garden.asked("SELECT state FROM rounds WHERE kind = 'afternoon'"), ["done"]);
}

#[test]
fn mail_that_was_decided_goes_out_once_though_the_disk_takes_no_record_of_it() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    let text = std::fs::read_to_string(garden.path("counterpane.toml")).expect("settings");
    garden.write("counterpane.toml", &text.replace(&format!("port = {}", relay.port), "port = 9"));
    garden.ran(&["run", "--once", "--patience", "1", "--now", AFTERNOON]).ended_with(5);
    assert_eq!(garden.asked("SELECT state FROM outbox"), ["waiting"; 3]);
    let held = with_a_long_log(&garden);
    garden.write("counterpane.toml", &text);
    let service = Service::start(on_a_full_disk(&garden, &["run", "--now", "2027-01-16T13:30:00-05:00"]), &garden);
    within(SOON, "three lists and a letter", || relay.arrived().len() == 4);
    within(SOON * 3, "a second try", || log(&garden).contains("the store on the disk cannot be used yet"));
    service.stop();
    assert_eq!(relay.arrived().len(), 4);
    drop(held);
    let sent: Vec<Option<String>> =
        relay.arrived().iter().map(|mail| mail.header("Message-ID").map(str::to_string)).collect();
    for id in garden.asked("SELECT message_id FROM outbox") {
        assert!(sent.contains(&Some(id.clone())), "{id} is not among {sent:?}");
    }
}

#[test]
fn a_store_that_cannot_be_opened_stops_no_warning_and_is_caught_up_with_once_it_can() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[const { Fault::RefuseRecipient(TUESDAY) }; 3]));
    let text = format!("store = \"disk/counterpane.sqlite\"\n{}", service_text(&feed, &relay));
    let garden = Installation::with(&text, GARDEN);
    let service = Service::start(garden.command(&["run", "--now", AFTERNOON]), &garden);
    // A refusal is passed on, from memory too.
    let not_reached = "Not reached: Tuesday crew; please call and pass this on (Orchard Lane)";
    within(SOON, "a list for the others", || to(&relay, WEEKEND).len() == 1);
    within(SOON, "a word to the manager", || to(&relay, MANAGER).iter().any(|mail| mail.subject() == not_reached));
    let sent = relay.arrived().len();
    // The disk is there.
    std::fs::create_dir(garden.path("disk")).expect("a folder");
    within(SOON * 3, "its return", || log(&garden).contains("the store on the disk can be used again"));
    service.stop();
    std::fs::rename(garden.path("disk/counterpane.sqlite"), garden.path("counterpane.sqlite")).expect("moved");
    assert_eq!(garden.asked("SELECT DISTINCT state FROM rounds WHERE kind = 'afternoon'"), ["done"]);
    let lists = "SELECT recipient || ' ' || state FROM outbox WHERE kind = 'list' ORDER BY recipient";
    let expected = [format!("{MANAGER} sent"), format!("{TUESDAY} refused"), format!("{WEEKEND} sent")];
    assert_eq!(garden.asked(lists), expected);
    // It knows what was said: another start says nothing.
    garden.write("counterpane.toml", &service_text(&feed, &relay));
    garden.once("2027-01-16T13:05:00-05:00").ended_with(0);
    assert_eq!(relay.arrived().len(), sent);
}

#[test]
fn what_cannot_be_read_of_a_store_stops_no_warning() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    garden.once(MORNING).ended_with(0);
    let before = relay.arrived().len();
    feed.set_weather(frost());
    garden.tampered(
        "INSERT INTO rounds (garden, kind, due, night, state, finished_at, late_seconds)
         VALUES ('orchard-lane', 'dusk', unixepoch('2027-01-15 23:00'), 'rubbish', 'due', 0, 0)",
    );
    let service = Service::start(garden.command(&["run", "--now", AFTERNOON]), &garden);
    // The store that took the rubbish over may have handed its letter over or not: it may come again, as the same mail.
    let lists = || relay.arrived().iter().filter(|mail| mail.subject().starts_with("Harvest ")).count();
    let letters = || relay.arrived().len() - before - lists();
    within(SOON, "three lists and a letter", || lists() == 3 && letters() >= 1);
    let arrived = relay.arrived();
    let ids: std::collections::BTreeSet<_> = arrived[before..].iter().map(|mail| mail.header("Message-ID")).collect();
    assert_eq!(ids.len(), 4);
    assert!(log(&garden).matches("the service goes on with one in memory").count() >= 2, "{}", log(&garden));
    service.stop();
}

/// The service on a quiet morning, shortly before the round that has something to say; how many mails there were by then.
fn before_the_round<'a>(
    garden: &'a Installation,
    feed: &Feed,
    relay: &SmtpSink,
    command: impl FnOnce(&'a Installation, &[&str]) -> Command,
) -> (Service, usize) {
    garden.once(MORNING).ended_with(0);
    garden.once("2027-01-16T12:00:00-05:00").ended_with(0);
    feed.set_weather(frost());
    let service = Service::start(command(garden, &["run", "--now", "2027-01-16T12:59:40-05:00"]), garden);
    within(SOON, "a start", || log(garden).contains("counterpane is looking after its gardens"));
    (service, relay.arrived().len())
}

const TO_MEMORY: &str = "the service goes on with one in memory";
const AGAIN: &str = "the store on the disk can be used again";

/// Shown as three lists, and a letter that says what is wrong with the store.
fn was_told_from_memory(relay: &SmtpSink, before: usize) -> bool {
    relay.arrived().len() == before + 4 && to(relay, MANAGER).iter().any(|mail| mail.subject() == AWAY)
}

/// What was said and sent from memory stands on the disk, so that the look at dusk has nothing to say.
fn is_caught_up_with(garden: &Installation, relay: &SmtpSink, before: usize) {
    assert_eq!(garden.asked("SELECT state FROM rounds WHERE kind = 'afternoon'"), ["done"]);
    assert_eq!(garden.asked("SELECT state FROM outbox WHERE kind = 'list'"), ["sent"; 3]);
    assert_eq!(garden.asked("SELECT printf('%d', revision) FROM said WHERE night = '2027-01-16'"), ["1", "2"]);
    garden.once("2027-01-16T19:45:00-05:00").ended_with(0);
    assert_eq!(relay.arrived().len(), before + 4, "{:?}", relay.arrived().last().map(Arrived::subject));
}

#[test]
fn a_store_that_breaks_in_mid_run_stops_no_warning_and_is_left_as_it_is() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    let (service, before) = before_the_round(&garden, &feed, &relay, Installation::command);
    // Of the table of rounds nothing can be read any more. Somebody else's change makes the service read anew what it has
    // in its memory.
    garden.tampered("PRAGMA wal_checkpoint(TRUNCATE)");
    let pages =
        garden.asked("SELECT CAST(rootpage AS TEXT) FROM sqlite_schema WHERE tbl_name = 'rounds' AND rootpage > 0");
    assert!(pages.len() > 1, "a table and its index: {pages:?}");
    for page in pages {
        let page: u64 = page.parse().expect("a number");
        let store = std::fs::File::options().write(true).open(garden.path("counterpane.sqlite")).expect("a store");
        std::os::unix::fs::FileExt::write_all_at(&store, &[0xa5; 4096], (page - 1) * 4096).expect("broken");
    }
    garden.tampered("INSERT INTO grid_addresses VALUES ('another', 'feed', '', 0)");
    within(SOON * 2, "lists and a letter", || was_told_from_memory(&relay, before));
    let text = log(&garden);
    assert!(text.contains(TO_MEMORY) && text.contains("counterpane.sqlite is damaged: "), "{text}");
    let ruins = std::fs::read(garden.path("counterpane.sqlite")).expect("ruins");
    service.stop();
    assert_eq!(std::fs::read(garden.path("counterpane.sqlite")).expect("ruins"), ruins, "ruins were written to");
}

/// A write that the system refuses, as of a disk that fails, in mid-run and until it is mended.
#[test]
fn a_disk_that_refuses_writes_in_mid_run_stops_no_warning_and_is_caught_up_with() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    let deaf = |garden: &Installation, arguments: &[&str]| {
        let program = garden.command(arguments);
        let mut command = Command::new("sh");
        command.args(["-c", "trap '' XFSZ; exec \"$@\"", "sh"]).arg(program.get_program()).args(program.get_args());
        command.current_dir(garden.folder()).env_remove("COUNTERPANE_LOG").stdin(Stdio::null());
        command
    };
    let (service, before) = before_the_round(&garden, &feed, &relay, deaf);
    let limit = |length: &str| {
        let process = service.0.id().to_string();
        let done = Command::new("prlimit").args(["--pid", &process, &format!("--fsize={length}:unlimited")]).status();
        assert!(done.expect("prlimit is there").success());
    };
    let _long = with_a_long_log(&garden);
    limit("65536");
    within(SOON * 2, "lists and a letter", || was_told_from_memory(&relay, before));
    let text = log(&garden);
    assert!(text.contains(TO_MEMORY) && text.contains(" fails: disk I/O error"), "{text}");
    limit("unlimited");
    within(SOON * 3, "its return", || log(&garden).contains(AGAIN));
    assert_eq!(garden.asked("SELECT DISTINCT state FROM outbox"), ["sent"]);
    service.stop();
    is_caught_up_with(&garden, &relay, before);
}

#[test]
fn a_store_that_another_process_holds_for_more_than_a_minute_stops_no_warning() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[]));
    let garden = garden(&feed, &relay, "");
    let (service, before) = before_the_round(&garden, &feed, &relay, Installation::command);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let address = format!("sqlite://{}", garden.path("counterpane.sqlite").display());
    let mut other = runtime.block_on(SqliteConnection::connect(&address)).expect("a store");
    runtime.block_on(sqlx::raw_sql("BEGIN IMMEDIATE").execute(&mut other)).expect("the lock");
    let held = std::time::Instant::now();
    within(SOON * 7, "lists and a letter", || was_told_from_memory(&relay, before));
    assert!(held.elapsed() > Duration::from_secs(60), "a lock is waited for: {:?}", held.elapsed());
    let text = log(&garden);
    assert!(text.contains(TO_MEMORY) && text.contains("was locked by another program for too long"), "{text}");
    runtime.block_on(sqlx::raw_sql("ROLLBACK").execute(&mut other)).expect("released");
    within(SOON * 3, "its return", || log(&garden).contains(AGAIN));
    service.stop();
    is_caught_up_with(&garden, &relay, before);
}
