//! `counterpane.toml`: the store, the mail, the feeds and the rounds of one installation.

use super::reader::Table;
use super::signs::{self, SignsOfLife};
use super::suggest::suggestion;
use super::value::Value;
use super::{Fault, File, KnownFeed, read_document};
use crate::rounds::{AllQuiet, Timetable, collide, parse_schedule};
use crate::units::Limits;
use crate::weather::Provider;
use crate::words::words;
use std::fmt;
use std::path::PathBuf;

/// The service: what is the same for all its gardens.
#[derive(Clone, Debug)]
pub struct Service {
    /// Whom a weather service can write to; part of the User-Agent its terms ask for.
    pub operator: String,
    /// The database file, relative to the folder of the settings.
    pub store: PathBuf,
    pub mail: MailSettings,
    pub signs: SignsOfLife,
    pub feeds: Vec<FeedChoice>,
    pub timetable: Timetable,
}

/// A forecast feed by the name that gardens use for it.
#[derive(Clone, PartialEq)]
pub struct FeedChoice {
    pub name: String,
    pub provider: Provider,
    /// `https://...` of the service, or the path of a file. `None`: the provider's own address.
    pub address: Option<String>,
}

/// Without the query of its address, in which the key of a paid plan may stand.
impl fmt::Debug for FeedChoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let address = self.address.as_deref().and_then(|address| address.split(['?', '#']).next());
        let provider = &self.provider;
        f.debug_struct("FeedChoice")
            .field("name", &self.name)
            .field("provider", provider)
            .field("address", &address)
            .finish()
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct MailSettings {
    pub from: Mailbox,
    pub reply_to: Option<Mailbox>,
    pub delivery: Delivery,
}

/// A name and an address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mailbox {
    pub name: Option<String>,
    pub address: String,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Delivery {
    /// One `.eml` file per message.
    Folder(PathBuf),
    Smtp(SmtpSettings),
}

#[derive(Clone, Debug, PartialEq)]
pub struct SmtpSettings {
    pub server: String,
    pub port: u16,
    pub tls: Tls,
    pub user: Option<String>,
    pub password: Option<PasswordPlace>,
}

/// Where the password is kept: never in a file that others read.
#[derive(Clone, Debug, PartialEq)]
pub enum PasswordPlace {
    File(PathBuf),
    Environment(String),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tls {
    /// From the first byte, usually port 465.
    Implicit,
    /// After a plain greeting, usually port 587; a server that does not offer it is refused.
    StartTls,
    /// None at all: only towards a relay on this machine.
    None,
}

words!(Tls { Implicit = "implicit", StartTls = "starttls", None = "none" });

pub(super) const PORT: Limits =
    Limits { what: "port", low: 1.0, high: 65535.0, unit: "", why: "no port has that number" };

/// The service, the feeds that gardens may name (`None` where the file is no TOML), and all faults.
pub(super) fn read(file: &File) -> (Option<Service>, Option<Vec<KnownFeed>>, Vec<Fault>) {
    let mut known = None;
    let service = read_document(file, |document| {
        let root = document.root();
        let operator = root
            .required("operator", "operator = \"someone@your-garden.example\" at the top")
            .and_then(|value| read_operator(&value));
        let store = root.optional("store").map_or(Some(STORE.to_string()), |value| path(&value));
        let mail = root.required("mail", "a table [mail] with from = \"...\"").and_then(|value| value.table());
        let mail = mail.and_then(read_mail);
        let timetable = read_timetable(root.table("rounds"));
        let signs = signs::read(root.table("service"));
        let feeds = root
            .required("feeds", "a table [feeds.nws] with provider = \"nws\", or another provider")
            .and_then(|value| value.table())
            .map(|table| read_feeds(&table))
            .unwrap_or_default();
        root.finish();
        let choices = feeds.iter().filter_map(|feed| feed.choice.clone()).collect();
        known = Some(feeds);
        Some(Service {
            operator: operator?,
            store: store?.into(),
            mail: mail?,
            signs: signs?,
            feeds: choices,
            timetable: timetable?,
        })
    });
    match service {
        Ok(service) => (Some(service), known, Vec::new()),
        Err(faults) => (None, known, faults),
    }
}

/// The operator's address stands in a header of every request, which takes plain letters only.
fn read_operator(value: &Value<'_>) -> Option<String> {
    let why = "Weather services ask whom to write to.";
    let operator = address(value, why)?;
    if !operator.is_ascii() {
        value.fault(format!("\"{operator}\" cannot be sent to them"), why, "use an address without accents");
        return None;
    }
    Some(operator)
}

/// The database file, where the settings do not say.
const STORE: &str = "counterpane.sqlite";

fn read_timetable(table: Option<Table<'_>>) -> Option<Timetable> {
    let Some(table) = table else { return default_timetable() };
    let schedule = |key: &'static str, default: &str| {
        let Some(value) = table.optional(key) else { return parse_schedule(default).ok() };
        match parse_schedule(value.text()?) {
            Ok(schedule) => Some(schedule),
            Err(fault) => {
                value.fault(format!("{key}: {}", fault.what), "Every warning waits for its round.", fault.mend);
                None
            }
        }
    };
    let (morning, afternoon) = (schedule("morning", MORNING), schedule("afternoon", AFTERNOON));
    let all_quiet = match table.optional("all_quiet") {
        Some(value) => value.word(AllQuiet::ALL, AllQuiet::word),
        None => Some(AllQuiet::Weekly),
    };
    if let (Some(morning), Some(afternoon)) = (&morning, &afternoon)
        && collide(morning, afternoon)
        && let Some(value) = table.optional("afternoon").or_else(|| table.optional("morning"))
    {
        let why = "The work list of the afternoon would be lost.";
        let mend = "leave them more than an hour apart on every day, like 06:30 and 13:00";
        value.fault("morning and afternoon come within an hour of each other", why, mend);
    }
    table.finish();
    Some(Timetable { morning: morning?, afternoon: afternoon?, all_quiet: all_quiet? })
}

const MORNING: &str = "06:30";
const AFTERNOON: &str = "13:00";

fn default_timetable() -> Option<Timetable> {
    let (morning, afternoon) = (parse_schedule(MORNING).ok()?, parse_schedule(AFTERNOON).ok()?);
    Some(Timetable { morning, afternoon, all_quiet: AllQuiet::Weekly })
}

fn read_feeds(table: &Table<'_>) -> Vec<KnownFeed> {
    let mut feeds: Vec<KnownFeed> = Vec::new();
    if table.is_empty() {
        table.fault("no feed is described", "There would be no forecast.", "add [feeds.nws] with provider = \"nws\"");
    }
    for (key, feed) in table.named_tables() {
        let name = key.key.to_string();
        if let Some(twin) = feeds.iter().find(|twin| twin.name.to_lowercase() == name.to_lowercase()) {
            let why = "A garden that names one could mean the other.";
            let what = format!("two feeds are called \"{}\" and \"{name}\"", twin.name);
            key.fault_at_key(what, why, "give each feed a name of its own");
        }
        let choice = read_feed(&name, feed);
        feeds.push(KnownFeed { name, choice });
    }
    feeds
}

fn read_feed(name: &str, feed: Table<'_>) -> Option<FeedChoice> {
    let known = [Provider::NationalWeatherService, Provider::MetNorway, Provider::HourlyArrays, Provider::Csv];
    let provider = feed.required("provider", "provider = \"nws\" (or \"met-norway\", \"hourly-arrays\", \"csv\")");
    let provider = provider.and_then(|value| {
        let text = value.text()?;
        let found = known.iter().find(|provider| provider.key() == text).cloned();
        if found.is_none() {
            let keys: Vec<&str> = known.iter().map(Provider::key).collect();
            let mend =
                suggestion(text, keys.iter().copied()).unwrap_or_else(|| format!("write one of: {}", keys.join(", ")));
            value.fault(format!("no provider is called \"{text}\""), "", mend);
        }
        found
    });
    let address = feed.optional("address");
    if provider == Some(Provider::Csv) && address.is_none() {
        feed.fault("a csv feed needs its file", "", "add address = \"forecast.csv\"");
    }
    let is_a_file = provider == Some(Provider::Csv);
    let address = address.map_or(Some(None), |value| feed_address(&value, is_a_file).map(Some));
    feed.finish();
    Some(FeedChoice { name: name.to_string(), provider: provider?, address: address? })
}

/// An address, by the rules of the fetching, or the path of a file.
fn feed_address(value: &Value<'_>, is_a_file: bool) -> Option<String> {
    let text = value.text()?.trim();
    let Some((scheme, rest)) = text.split_once("://") else {
        let scheme_alone = ["http:", "https:"].iter().any(|start| text.to_lowercase().starts_with(start));
        if scheme_alone || text.contains('?') || (!is_a_file && looks_like_a_host(text)) {
            let after = text.split_once(":/").map_or(text, |(_, after)| after);
            // Behind it a key may stand.
            let after = after.split('?').next().unwrap_or_default();
            let what = "this would be looked for as a file, and reads like an address";
            value.fault(what, "There would be no forecast.", format!("did you mean https://{after}?"));
            return None;
        }
        return path(value);
    };
    let authority = rest.split(['/', '?', '#', '\\']).next().unwrap_or_default();
    if rest.contains('@') && (authority.contains('@') || host_and_port(authority).is_none()) {
        let why = "Addresses end in logs, where others read them.";
        value.fault("the address carries a name or a password", why, "remove the part between // and @");
        return None;
    }
    let is_http = scheme.eq_ignore_ascii_case("http");
    if !is_http && !scheme.eq_ignore_ascii_case("https") {
        let what = format!("{scheme}:// is no way to fetch a forecast");
        value.fault(what, "", "write https:// and the address, or the name of a file");
        return None;
    }
    let Some(host) = host_and_port(authority) else {
        value.fault(
            "the address names no server, or a port that cannot be",
            "There would be no forecast.",
            "write it like https://api.weather.gov",
        );
        return None;
    };
    // Words that nobody on the way can change, or that do not leave this machine.
    if is_http && !is_this_machine(host) {
        let why = "A forecast that anyone on the way can change could hide a frost.";
        value.fault("a feed over plain http is refused", why, "write https:// instead of http://");
        return None;
    }
    Some(text.to_string())
}

/// The path of a file or folder of the service, beside the settings or absolute. Whoever writes this file runs the
/// service, so any place may be named; but it must be the place that it seems, wherever the settings lie.
fn path(value: &Value<'_>) -> Option<String> {
    let text = value.text()?.trim();
    if std::path::Path::new(text).components().any(|part| part == std::path::Component::ParentDir) {
        let why = "Where it leads depends on where the settings lie, and links on the way can turn it elsewhere.";
        value.fault("this path climbs with ..", why, "write the whole path, from / on, or a place beside the settings");
        return None;
    }
    Some(text.to_string())
}

/// The host in `host` or `host:port`, where both can be one.
pub(super) fn host_and_port(authority: &str) -> Option<&str> {
    let bracket = authority.rfind(']').unwrap_or(0);
    let (host, port) = match authority[bracket..].rfind(':') {
        Some(at) => (&authority[..bracket + at], &authority[bracket + at + 1..]),
        None => (authority, ""),
    };
    let sound = host.chars().all(|c| c.is_alphanumeric() || matches!(c, '.' | '-' | '_' | ':' | '[' | ']'));
    (sound && !host.is_empty() && (port.is_empty() || port.parse::<u16>().is_ok())).then_some(host)
}

/// Whether a path begins like the name of a server: `weather.gov`, but not `tonight.json` or `feeds/tonight.json`.
fn looks_like_a_host(path: &str) -> bool {
    let host = path.split(['/', '?', '#']).next().and_then(host_and_port).unwrap_or_default();
    let is_document = |name: &str| [".json", ".geojson", ".txt"].iter().any(|end| name.to_lowercase().ends_with(end));
    let last = host.rsplit('.').next().unwrap_or_default();
    host == "localhost"
        || (host.contains('.')
            && !host.split('.').any(str::is_empty)
            && last.chars().any(char::is_alphanumeric)
            && !is_document(path))
}

/// Names that lead to this machine, whatever the name server says.
pub(super) fn is_this_machine(host: &str) -> bool {
    ["127.0.0.1", "localhost", "::1", "[::1]"].iter().any(|own| host.eq_ignore_ascii_case(own))
}

fn read_mail(table: Table<'_>) -> Option<MailSettings> {
    let from = table.required("from", "from = \"Frost watch <frost@your-garden.example>\"");
    let from = from.and_then(|value| mailbox(&value));
    let reply_to = table.optional("reply_to").and_then(|value| mailbox(&value));
    let folder = table.optional("folder");
    let smtp = table.optional("smtp");
    if let (Some(folder), Some(_)) = (&folder, &smtp) {
        let why = "Nobody could say where a warning went.";
        let mend = "keep one: folder for trying out, [mail.smtp] for writing to people";
        folder.fault_at_key("[mail] names a folder and a mail server", why, mend);
    }
    let delivery = match (smtp, folder) {
        (Some(smtp), _) => smtp.table().and_then(read_smtp).map(Delivery::Smtp),
        (None, Some(folder)) => path(&folder).map(|folder| Delivery::Folder(folder.into())),
        (None, None) => Some(Delivery::Folder(MAIL_FOLDER.into())),
    };
    table.finish();
    Some(MailSettings { from: from?, reply_to, delivery: delivery? })
}

/// What is wrong with a password among the settings, why, and what to write instead.
pub(super) const PASSWORD_IN_FILE: (&str, &str, &str) = (
    "the password stands in the file",
    "Everyone who can read this file could send mail in your name.",
    "delete the line and write password_file = \"...\" with a file that only the service can read, \
     or password_env = \"NAME\" of an environment variable",
);

/// The folder for messages, where the settings do not say.
const MAIL_FOLDER: &str = "mail";

fn read_smtp(table: Table<'_>) -> Option<SmtpSettings> {
    let server = table.required("server", "server = \"smtp.your-provider.example\"");
    let server = server.and_then(|value| host_name(&value));
    let tls = match table.optional("tls") {
        Some(value) => value.word(Tls::ALL, Tls::word),
        None => Some(Tls::StartTls),
    };
    if let (Some(Tls::None), Some(server), Some(value)) = (tls, &server, table.optional("tls"))
        && !is_this_machine(server)
    {
        let why = "Who is warned of what would cross the network in plain sight, for anyone to change.";
        let mend =
            "write tls = \"starttls\" or tls = \"implicit\"; \"none\" is for a server on this machine, 127.0.0.1";
        value.fault("mail without TLS to another machine is refused", why, mend);
    }
    let port = match (table.optional("port"), tls) {
        (Some(value), _) => value.count(&PORT).and_then(|port| u16::try_from(port).ok()),
        (None, Some(Tls::Implicit)) => Some(465),
        (None, Some(Tls::None)) => Some(25),
        (None, _) => Some(587),
    };
    let user = table.optional("user");
    let password = table.refused("password");
    if let Some(value) = &password {
        let (what, why, mend) = PASSWORD_IN_FILE;
        value.fault_at_key(what, why, mend);
    }
    let (file, environment) = (table.optional("password_file"), table.optional("password_env"));
    if let (Some(_), Some(environment)) = (&file, &environment) {
        environment.fault_at_key("the password has two places", "", "keep one of password_file and password_env");
    }
    let place = file.as_ref().or(environment.as_ref());
    if user.is_some() && place.is_none() && password.is_none() {
        let mend = "add password_file = \"...\" or password_env = \"NAME\"";
        table.fault(format!("{} names a user and no password", table.name()), "", mend);
    }
    if let (None, Some(place)) = (&user, place) {
        place.fault_at_key("there is a password and no user", "", "add user = \"...\", or remove this line");
    }
    if let (Some(Tls::None), Some(place)) = (tls, place) {
        let why = "It would cross the network in plain sight.";
        place.fault_at_key("a password without TLS is refused", why, "write tls = \"starttls\" or tls = \"implicit\"");
    }
    let user = user.map_or(Some(None), |value| value.text().map(|user| Some(user.to_string())));
    let password = match (file, environment) {
        (Some(file), _) => path(&file).map(|file| Some(PasswordPlace::File(file.into()))),
        (None, Some(name)) => name.text().map(|name| Some(PasswordPlace::Environment(name.to_string()))),
        (None, None) => Some(None),
    };
    table.finish();
    Some(SmtpSettings { server: server?, port: port?, tls: tls?, user: user?, password: password? })
}

fn host_name(value: &Value<'_>) -> Option<String> {
    let text = value.text()?;
    let known = |c: char| c.is_alphanumeric() || matches!(c, '.' | '-' | '_' | ':' | '[' | ']');
    let has_port = !text.starts_with('[') && text.contains(':');
    if has_port || !text.chars().all(known) {
        let mend = "write the name alone, like smtp.your-provider.example; a port has a line of its own, port = 587";
        value.fault(format!("\"{text}\" is no name of a server"), "", mend);
        return None;
    }
    Some(text.to_string())
}

/// An address alone; `why` says what it is for.
pub(super) fn address(value: &Value<'_>, why: &str) -> Option<String> {
    let text = value.text()?;
    if text.parse::<lettre::Address>().is_err() {
        value.fault(format!("\"{text}\" is no mail address"), why, "write name@place.example");
        return None;
    }
    Some(text.to_string())
}

/// `Name <address>` or an address alone.
fn mailbox(value: &Value<'_>) -> Option<Mailbox> {
    let text = value.text()?;
    match text.parse::<lettre::message::Mailbox>() {
        Ok(mailbox) => Some(Mailbox { name: mailbox.name, address: mailbox.email.to_string() }),
        Err(_) => {
            let mend = "write \"Frost watch <frost@place.example>\", or the address alone";
            value.fault(format!("\"{text}\" is no mail address"), "No mail could be sent.", mend);
            None
        }
    }
}
