//! `counterpane.toml`: the store, the mail, the feeds and the rounds of one installation.

use super::reader::{Table, Value};
use super::{Fault, File, read_document};
use crate::rounds::{AllQuiet, Timetable, parse_schedule};
use crate::units::Limits;
use crate::weather::Provider;
use crate::words::words;
use std::path::PathBuf;

/// The service: what is the same for all its gardens.
#[derive(Clone, Debug)]
pub struct Service {
    /// Whom a weather service can write to; part of the User-Agent its terms ask for.
    pub operator: String,
    /// The database file, relative to the folder of the settings.
    pub store: PathBuf,
    pub mail: MailSettings,
    pub feeds: Vec<FeedChoice>,
    pub timetable: Timetable,
}

/// A forecast feed by the name that gardens use for it.
#[derive(Clone, Debug, PartialEq)]
pub struct FeedChoice {
    pub name: String,
    pub provider: Provider,
    /// `https://...` of the service, or the path of a file. `None`: the provider's own address.
    pub address: Option<String>,
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

const PORT: Limits = Limits { what: "port", low: 1.0, high: 65535.0, unit: "", why: "no port has that number" };

pub(super) fn read(file: &File) -> Result<Service, Vec<Fault>> {
    read_document(file, |document| {
        let root = document.root();
        let operator = root
            .required("operator", "operator = \"someone@your-garden.example\": weather services ask whom to write to")
            .and_then(|value| address(&value));
        let store = root.optional("store").and_then(|value| value.text()).unwrap_or("counterpane.sqlite");
        let mail = root.required("mail", "a table [mail] with from = \"...\"").and_then(|value| value.as_table());
        let mail = mail.and_then(read_mail);
        let timetable = read_timetable(root.table("rounds"));
        let feeds = root
            .required("feeds", "a table [feeds.nws] with provider = \"nws\", or another provider")
            .and_then(|value| value.as_table())
            .map(|table| read_feeds(&table))
            .unwrap_or_default();
        root.finish();
        Some(Service { operator: operator?, store: store.into(), mail: mail?, feeds, timetable: timetable? })
    })
}

fn read_timetable(table: Option<Table<'_>>) -> Option<Timetable> {
    let Some(table) = table else { return default_timetable() };
    let schedule = |key: &'static str, default: &str| {
        let Some(value) = table.optional(key) else { return parse_schedule(default).ok() };
        match parse_schedule(value.text()?) {
            Ok(schedule) => Some(schedule),
            Err(fault) => {
                value.fault(format!("{key}: {}", fault.what), "A round that never comes warns nobody.", fault.mend);
                None
            }
        }
    };
    let (morning, afternoon) = (schedule("morning", MORNING), schedule("afternoon", AFTERNOON));
    let all_quiet = match table.optional("all_quiet") {
        Some(value) => value.word(AllQuiet::ALL, AllQuiet::word),
        None => Some(AllQuiet::Weekly),
    };
    table.finish();
    Some(Timetable { morning: morning?, afternoon: afternoon?, all_quiet: all_quiet? })
}

const MORNING: &str = "06:30";
const AFTERNOON: &str = "13:00";

fn default_timetable() -> Option<Timetable> {
    let (morning, afternoon) = (parse_schedule(MORNING).ok()?, parse_schedule(AFTERNOON).ok()?);
    Some(Timetable { morning, afternoon, all_quiet: AllQuiet::Weekly })
}

fn read_feeds(table: &Table<'_>) -> Vec<FeedChoice> {
    let known = [Provider::NationalWeatherService, Provider::MetNorway, Provider::HourlyArrays, Provider::Csv];
    let feeds = table.named_tables().into_iter().filter_map(|(name, _, feed)| {
        let provider = feed.required("provider", "provider = \"nws\", \"met-norway\", \"hourly-arrays\" or \"csv\"");
        let provider = provider.and_then(|value| {
            let text = value.text()?;
            let found = known.iter().find(|provider| provider.key() == text).cloned();
            if found.is_none() {
                let keys: Vec<&str> = known.iter().map(Provider::key).collect();
                value.fault(
                    format!("no provider is called \"{text}\""),
                    "",
                    format!("write one of: {}", keys.join(", ")),
                );
            }
            found
        });
        let address = feed.optional("address");
        if provider == Some(Provider::Csv) && address.is_none() {
            feed.fault("a csv feed needs its file", "", "add address = \"forecast.csv\"");
        }
        let address = address.and_then(|value| {
            let text = value.text()?;
            if text.starts_with("http://") && !is_loopback(text) {
                let why = "A forecast that anyone on the way can change could hide a frost.";
                value.fault("a feed over plain http is refused", why, "write https://");
            }
            Some(text.to_string())
        });
        feed.finish();
        Some(FeedChoice { name, provider: provider?, address })
    });
    feeds.collect()
}

fn is_loopback(address: &str) -> bool {
    ["http://127.0.0.1", "http://localhost", "http://[::1]"].iter().any(|start| {
        address
            .strip_prefix(start)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with(':') || rest.starts_with('/'))
    })
}

fn read_mail(table: Table<'_>) -> Option<MailSettings> {
    let from = table.required("from", "from = \"Frost watch <frost@your-garden.example>\"");
    let from = from.and_then(|value| mailbox(&value));
    let reply_to = table.optional("reply_to").and_then(|value| mailbox(&value));
    let folder = table.optional("folder").and_then(|value| value.text());
    let smtp = table.table("smtp");
    if folder.is_some() && smtp.is_some() {
        table.fault("[mail] names a folder and an SMTP server", "", "keep one: folder for trying out, smtp for people");
    }
    let delivery = match smtp {
        Some(smtp) => read_smtp(smtp).map(Delivery::Smtp),
        None => Some(Delivery::Folder(folder.unwrap_or("mail").into())),
    };
    table.finish();
    Some(MailSettings { from: from?, reply_to, delivery: delivery? })
}

fn read_smtp(table: Table<'_>) -> Option<SmtpSettings> {
    let server = table.required("server", "server = \"smtp.your-provider.example\"").and_then(|value| value.text());
    let tls = match table.optional("tls") {
        Some(value) => value.word(Tls::ALL, Tls::word),
        None => Some(Tls::StartTls),
    };
    let port = match (table.optional("port"), tls) {
        (Some(value), _) => value.count(&PORT).and_then(|port| u16::try_from(port).ok()),
        (None, Some(Tls::Implicit)) => Some(465),
        (None, Some(Tls::None)) => Some(25),
        (None, _) => Some(587),
    };
    let user = table.optional("user").and_then(|value| value.text()).map(str::to_string);
    if let Some(value) = table.optional("password") {
        let why = "Everyone who can read this file could send mail in your name.";
        let mend = "delete the line and write password_file = \"...\" with a file that only the service can read, \
                    or password_env = \"NAME\" of an environment variable";
        value.fault_at_key("the password stands in the file", why, mend);
    }
    let file = table.optional("password_file").and_then(|value| value.text()).map(|p| PasswordPlace::File(p.into()));
    let environment = table
        .optional("password_env")
        .and_then(|value| value.text())
        .map(|name| PasswordPlace::Environment(name.to_string()));
    let password = file.or(environment);
    if user.is_some() && password.is_none() {
        table.fault(
            "[smtp] names a user and no password",
            "",
            "add password_file = \"...\" or password_env = \"NAME\"",
        );
    }
    if tls == Some(Tls::None) && password.is_some() {
        let why = "It would cross the network in plain sight.";
        table.fault("a password without TLS is refused", why, "write tls = \"starttls\" or tls = \"implicit\"");
    }
    table.finish();
    Some(SmtpSettings { server: server?.to_string(), port: port?, tls: tls?, user, password })
}

/// An address alone.
pub(super) fn address(value: &Value<'_>) -> Option<String> {
    let text = value.text()?;
    if text.parse::<lettre::Address>().is_err() {
        value.fault(format!("\"{text}\" is no mail address"), "Nobody would be told.", "write name@place.example");
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
