//! `counterpane run`: the service itself.

use super::{Configuration, Done, Failure};
use crate::service::clock::Clock;
use crate::service::daemon::{Daemon, DaemonFault, PATIENCE, Shared, StoreLock};
use crate::service::feed::{Fetcher, Location};
use crate::service::healthz;
use crate::service::lives::{Lives, open_whole};
use crate::service::mail::{self, Mailer};
use crate::service::notify::Notify;
use crate::service::outbox::Delivered;
use crate::service::store::{Check, StoreFault};
use crate::settings::{Delivery, PasswordPlace, Ping, Settings, SmtpSettings, ping_fault};
use chrono::{DateTime, Utc};
use clap::Args;
use secrecy::{ExposeSecret, SecretString};
use std::io::Read;
use std::path::Path;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};

#[derive(Debug, Args)]
pub(super) struct Run {
    #[command(flatten)]
    configuration: Configuration,
    /// Make the rounds that are due, send the mail, and end: for a timer that calls every quarter of an hour
    #[arg(long)]
    once: bool,
    /// Start as if it were this time, such as 2027-01-16T13:00:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    now: Option<DateTime<Utc>>,
    /// The longest wait for one weather service before the list is made without it [default: 90]
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..=600))]
    patience: Option<u64>,
    /// Write the log as one JSON object a line
    #[arg(long)]
    log_json: bool,
}

/// A relay that takes longer than this for one message is tried again.
const SMTP_TIMEOUT: Duration = Duration::from_secs(60);

impl Run {
    pub fn run(&self) -> Result<Done, Failure> {
        start_log(self.log_json);
        let settings = self.configuration.read(self.now.unwrap_or_else(Utc::now))?;
        super::can_be_written_to(&settings)?;
        let folder = &self.configuration.config;
        let mailer = Mailer::new(delivery(&settings, folder)?);
        // Nobody is warned of frost by a sign of life: the service does without one that it cannot give.
        let ping = ping(&settings, folder).unwrap_or_else(|fault| {
            tracing::error!(%fault, "the service goes on without its ping");
            None
        });
        let fetcher =
            Fetcher::new(&settings.service.operator).map_err(|fault| Failure::Unexpected(fault.to_string()))?;
        let clock = self.now.map_or_else(Clock::real, Clock::starting_at);
        let path = self.configuration.store_path(&settings);
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|error| Failure::Unexpected(format!("The runtime cannot be started: {error}.")))?;
        runtime.block_on(async {
            // First of all: a second daemon must not even bring the store up to date.
            let _lock = StoreLock::take(&path)?;
            let patience = self.patience.map_or(PATIENCE, Duration::from_secs);
            if self.once {
                // No substitute here: one pass after another would begin anew, and say everything again each time.
                let store = open_whole(&path, Check::Quick).await?;
                let daemon = Daemon {
                    settings: &settings,
                    folder,
                    store: &store,
                    mailer: &mailer,
                    fetcher: &fetcher,
                    clock: &clock,
                    patience,
                    substitute_because: None,
                    shared: Shared::default(),
                };
                daemon.recover().await?;
                let faults = daemon.due_rounds().await;
                let delivered = daemon.deliver().await;
                store.close().await;
                return once(faults, delivered);
            }
            let notify = Notify::from_environment();
            let lives = Lives {
                settings: &settings,
                folder,
                store: &path,
                mailer: &mailer,
                fetcher: &fetcher,
                clock: &clock,
                patience,
                notify: &notify,
                ping,
                listener: listener(&settings).await,
            };
            let stop = asked_to_stop()?;
            let stop = async {
                stop.await;
                notify.stopping();
            };
            notify.ready();
            lives.run(stop).await.map(|()| Done::Well).map_err(Failure::from)
        })
    }
}

/// What a single pass came to, told by the exit code too: whoever calls it by the clock reads nothing else.
fn once(faults: Vec<DaemonFault>, delivered: Result<Delivered, StoreFault>) -> Result<Done, Failure> {
    if let Some(fault) = faults.into_iter().next() {
        return Err(match fault {
            DaemonFault::Store(fault) => Failure::Store(fault),
            DaemonFault::NoMail { .. } => Failure::Mail(fault.to_string()),
            DaemonFault::Said(_) | DaemonFault::Slept => Failure::Unexpected(fault.to_string()),
        });
    }
    let delivered = delivered?;
    let mut untold = Vec::new();
    if let Some(answer) = &delivered.stopped {
        untold.push(format!("mail waits in the outbox for another try: {}", answer.text()));
    } else if delivered.waiting + delivered.unknown > 0 {
        untold.push(format!("{} waiting in the outbox for another try", mails(delivered.waiting + delivered.unknown)));
    }
    if delivered.refused > 0 {
        untold.push(format!("{} refused for good", mails(delivered.refused)));
    }
    if delivered.expired > 0 {
        untold.push(format!("{} not sent in time and now of no use", mails(delivered.expired)));
    }
    if untold.is_empty() {
        return Ok(Done::Well);
    }
    Err(Failure::Mail(format!("Not everybody was told: {}. The log names each.", untold.join("; "))))
}

fn mails(count: usize) -> String {
    if count == 1 { "1 mail is".into() } else { format!("{count} mails are") }
}

/// Resolves when the process is asked to end, by SIGTERM or SIGINT. Asked again, it ends at once, as in a power cut:
/// the mail in hand is then sent again at the next start.
fn asked_to_stop() -> Result<impl Future<Output = ()>, Failure> {
    let listen =
        |kind| signal(kind).map_err(|error| Failure::Unexpected(format!("The stop signal cannot be heard: {error}.")));
    let (mut terminate, mut interrupt) = (listen(SignalKind::terminate())?, listen(SignalKind::interrupt())?);
    let mut asked = async move || {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    };
    Ok(async move {
        asked().await;
        tracing::info!("asked to stop; the mail in hand is finished first");
        tokio::spawn(async move {
            asked().await;
            tracing::warn!("asked again; ending at once");
            std::process::exit(1);
        });
    })
}

/// Logs go to standard error; `COUNTERPANE_LOG` sets what is logged, such as `debug` or `counterpane=debug`.
fn start_log(json: bool) {
    let filter = tracing_subscriber::EnvFilter::try_from_env("COUNTERPANE_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info"));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_target(false);
    // A log that cannot be written must not end the service.
    let log = log.log_internal_errors(false);
    if json { log.json().init() } else { log.with_ansi(false).init() }
}

/// Where mail goes, the password fetched from where it is kept.
pub(super) fn delivery(settings: &Settings, folder: &Path) -> Result<mail::Delivery, Failure> {
    match &settings.service.mail.delivery {
        Delivery::Folder(path) => Ok(mail::Delivery::Folder(folder.join(path))),
        Delivery::Smtp(smtp) => Ok(mail::Delivery::Smtp(mail::SmtpSettings {
            server: smtp.server.clone(),
            port: smtp.port,
            tls: smtp.tls,
            user: smtp.user.clone(),
            password: password(smtp, folder)?,
            timeout: SMTP_TIMEOUT,
        })),
    }
}

/// Longer than any password or address; a wrong path must neither fill the memory nor be waited for.
const LONGEST_SECRET: u64 = 4096;

fn read_secret(path: &Path) -> std::io::Result<String> {
    if !std::fs::metadata(path)?.is_file() {
        return Err(std::io::Error::other("it is not a plain file"));
    }
    let mut text = String::new();
    std::fs::File::open(path)?.take(LONGEST_SECRET + 1).read_to_string(&mut text)?;
    if text.len() as u64 > LONGEST_SECRET {
        return Err(std::io::Error::other("it is too long for a secret"));
    }
    Ok(text)
}

fn password(smtp: &SmtpSettings, folder: &Path) -> Result<Option<SecretString>, Failure> {
    smtp.password.as_ref().map(|place| kept(place, folder, "password")).transpose()
}

/// Where the ping goes, fetched from where it is kept.
pub(super) fn ping(settings: &Settings, folder: &Path) -> Result<Option<Location>, Failure> {
    let address = match &settings.service.signs.ping {
        None => return Ok(None),
        Some(Ping::Address(address)) => address.clone(),
        Some(Ping::Kept(place)) => {
            let address = kept(place, folder, "ping")?.expose_secret().trim().to_string();
            if let Some((what, mend)) = ping_fault(&address) {
                return Err(Failure::Settings(format!(
                    "In what {} names: {what}. Mend: {mend}.",
                    key_of(place, "ping")
                )));
            }
            address
        }
    };
    // The address is not repeated: it may be a secret.
    let fault = |_| Failure::Settings("The address of the ping is none. Correct it.".into());
    address.parse().map(Some).map_err(fault)
}

/// For `/healthz`, where the settings ask for it and the port is free.
async fn listener(settings: &Settings) -> Option<TcpListener> {
    let port = settings.service.signs.healthz_port?;
    let listener = healthz::listen(port).await;
    listener
        .inspect_err(|error| {
            tracing::error!(
                "Nothing can be offered at 127.0.0.1:{port}: {error}. Choose another healthz_port, or end what uses it. \
                 The service goes on without its page."
            );
        })
        .ok()
}

fn key_of(place: &PasswordPlace, what: &str) -> String {
    match place {
        PasswordPlace::File(_) => format!("{what}_file"),
        PasswordPlace::Environment(_) => format!("{what}_env"),
    }
}

/// A secret, such as the password, from where it is kept.
fn kept(place: &PasswordPlace, folder: &Path, what: &str) -> Result<SecretString, Failure> {
    let key = key_of(place, what);
    match place {
        PasswordPlace::File(path) => {
            let path = folder.join(path);
            let text = read_secret(&path).map_err(|error| {
                let path = path.display();
                Failure::Settings(format!(
                    "The {what} file {path} cannot be read: {error}. Correct {key}, or its rights."
                ))
            })?;
            Ok(SecretString::from(text.trim_end_matches(['\n', '\r']).to_string()))
        }
        PasswordPlace::Environment(name) => match std::env::var(name) {
            Ok(text) => Ok(SecretString::from(text)),
            Err(_) => Err(Failure::Settings(format!(
                "The environment variable {name} is not set, and {key} names it. Set it, or correct {key}."
            ))),
        },
    }
}
