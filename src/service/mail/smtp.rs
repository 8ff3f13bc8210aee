//! Mail to a relay, step by step, because the step decides what an answer means.
//!
//! The library's transport sends in one call and does not say at which step it failed; then a refused recipient looks
//! like a refused sender, and a silence before the message like one after it. Its connection takes single commands,
//! so the steps are ours:
//!
//! | step | 4xx, silence, loss | 5xx |
//! |---|---|---|
//! | connect, TLS, greeting | unreachable; a bad certificate is a fault of the installation | fault of the installation |
//! | sign in | try later | fault of the installation |
//! | MAIL FROM | try later | fault of the installation |
//! | RCPT TO | try later | refused; 530, sign-in missing, is a fault of the installation |
//! | DATA | try later | refused |
//! | the message, to its final dot | 4xx try later; 421, silence or loss: unknown | refused |
//!
//! A loss within the message counts as one after it: the library does not tell whether the dot had left.

use super::letter::parse_address;
use super::{Answer, Outgoing};
use crate::service::failpoint;
use crate::settings::Tls;
use lettre::transport::smtp::Error;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{AsyncSmtpConnection, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail, Rcpt};
use lettre::transport::smtp::extension::ClientId;
use secrecy::{ExposeSecret, SecretString};
use std::time::Duration;
use tokio::sync::Mutex;
use tokio::time::{Instant, timeout, timeout_at};

/// A relay and how to sign in.
#[derive(Clone, Debug)]
pub struct SmtpSettings {
    pub server: String,
    pub port: u16,
    pub tls: Tls,
    pub user: Option<String>,
    pub password: Option<SecretString>,
    /// For one message from connecting to the final answer.
    pub timeout: Duration,
}

/// A relay, and the connection kept from one message to the next.
#[derive(Debug)]
pub(super) struct Relay {
    settings: SmtpSettings,
    parked: Mutex<Parked>,
}

struct Parked(Option<AsyncSmtpConnection>);

impl std::fmt::Debug for Parked {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(if self.0.is_some() { "connected" } else { "not connected" })
    }
}

impl Relay {
    pub(super) fn new(settings: SmtpSettings) -> Relay {
        Relay { settings, parked: Mutex::new(Parked(None)) }
    }

    pub(super) fn timeout(&self) -> Duration {
        self.settings.timeout
    }

    pub(super) async fn send(&self, mail: Outgoing<'_>, within: Duration) -> Answer {
        let deadline = Instant::now() + within;
        let mut parked = self.parked.lock().await;
        // Taken out: after any failure, or when this future is dropped, the connection goes with it.
        let before = timeout_at(deadline, self.up_to_the_message(parked.0.take(), mail)).await;
        let mut connection = match before {
            Ok(Ok(connection)) => connection,
            Ok(Err(answer)) => return answer,
            Err(_) => return Answer::Unreachable(self.silence(within)),
        };
        failpoint::here("message-announced");
        #[cfg(debug_assertions)]
        break_off_within(&mut connection, mail).await;
        match timeout_at(deadline, connection.message(mail.bytes)).await {
            Ok(Ok(response)) => {
                failpoint::here("message-taken");
                parked.0 = Some(connection);
                Answer::Sent(format!("{} {}", response.code(), response.message().collect::<Vec<_>>().join(" ")))
            }
            Ok(Err(error)) if says_goodbye(&error) => Answer::Unknown(self.says(&error)),
            Ok(Err(error)) if error.is_permanent() => Answer::Refused(self.says(&error)),
            Ok(Err(error)) if error.is_transient() => Answer::TryLater(self.says(&error)),
            Ok(Err(error)) => Answer::Unknown(self.says(&error)),
            Err(_) => Answer::Unknown(self.silence(within)),
        }
    }

    pub(super) async fn reach(&self) -> Answer {
        let within = self.settings.timeout;
        match timeout(within, self.connect()).await {
            Ok(Ok(connection)) => {
                self.parked.lock().await.0 = Some(connection);
                self.rest().await;
                Answer::Sent(format!("{} answers", self.name()))
            }
            Ok(Err(answer)) => answer,
            Err(_) => Answer::Unreachable(self.silence(within)),
        }
    }

    /// Says goodbye. That nobody answers it changes nothing: all mail has been answered before.
    pub(super) async fn rest(&self) {
        if let Some(mut connection) = self.parked.lock().await.0.take()
            && timeout(Duration::from_secs(2), connection.quit()).await.is_err()
        {
            tracing::debug!(relay = self.name(), "no answer to the goodbye");
        }
    }

    /// Everything before the first byte of the message: nothing can have arrived yet.
    async fn up_to_the_message(
        &self,
        parked: Option<AsyncSmtpConnection>,
        mail: Outgoing<'_>,
    ) -> Result<AsyncSmtpConnection, Answer> {
        let address = |what, text| parse_address(what, text).map_err(|fault| Answer::Refused(fault.to_string()));
        let recipient = address("recipient", mail.recipient)?;
        let sender = parse_address("sender", mail.envelope_from)
            .map_err(|fault| Answer::InstallationFault(fault.to_string()))?;
        let mut connection = self.connection(parked).await?;
        failpoint::here("relay-connected");
        connection.command(Mail::new(Some(sender), vec![])).await.map_err(|error| self.for_everyone(&error))?;
        connection.command(Rcpt::new(recipient, vec![])).await.map_err(|error| match code(&error) {
            Some(530) => self.for_everyone(&error),
            _ => self.for_this_mail(&error),
        })?;
        failpoint::here("recipient-taken");
        connection.command(Data).await.map_err(|error| self.for_this_mail(&error))?;
        Ok(connection)
    }

    /// The connection of the message before, if the relay still holds it, or a new one.
    async fn connection(&self, parked: Option<AsyncSmtpConnection>) -> Result<AsyncSmtpConnection, Answer> {
        if let Some(mut connection) = parked
            && connection.test_connected().await
        {
            return Ok(connection);
        }
        self.connect().await
    }

    async fn connect(&self) -> Result<AsyncSmtpConnection, Answer> {
        let SmtpSettings { server, port, tls, user, password, timeout } = &self.settings;
        let parameters = || {
            TlsParameters::new(server.clone()).map_err(|error| {
                Answer::InstallationFault(format!("no encryption to {} is possible: {error}", self.name()))
            })
        };
        let wrapped = if *tls == Tls::Implicit { Some(parameters()?) } else { None };
        let hello = ClientId::default();
        let address = (server.as_str(), *port);
        let mut connection = AsyncSmtpConnection::connect_tokio1(address, Some(*timeout), &hello, wrapped, None)
            .await
            .map_err(|error| self.no_connection(&error))?;
        if *tls == Tls::StartTls {
            if !connection.can_starttls() {
                let why = "does not offer STARTTLS; no mail goes there unencrypted unless the settings say so";
                return Err(Answer::InstallationFault(format!("{} {why}", self.name())));
            }
            connection.starttls(parameters()?, &hello).await.map_err(|error| self.no_connection(&error))?;
        }
        if let (Some(user), Some(password)) = (user, password) {
            let credentials = Credentials::new(user.clone(), password.expose_secret().to_string());
            connection.auth(DEFAULT_MECHANISMS, &credentials).await.map_err(|error| {
                let no_common_way = error.is_client();
                if no_common_way { Answer::InstallationFault(self.says(&error)) } else { self.for_everyone(&error) }
            })?;
        }
        Ok(connection)
    }

    fn no_connection(&self, error: &Error) -> Answer {
        // The library files a refused certificate under lost connections; its words are the only sign.
        let is_certificate = error.to_string().contains("certificate");
        if is_certificate || error.is_permanent() {
            Answer::InstallationFault(self.says(error))
        } else {
            Answer::Unreachable(self.says(error))
        }
    }

    fn for_everyone(&self, error: &Error) -> Answer {
        if error.is_permanent() { Answer::InstallationFault(self.says(error)) } else { self.not_now(error) }
    }

    fn for_this_mail(&self, error: &Error) -> Answer {
        if error.is_permanent() { Answer::Refused(self.says(error)) } else { self.not_now(error) }
    }

    /// A relay that answers with 4xx is there; one that says goodbye or nothing is not.
    fn not_now(&self, error: &Error) -> Answer {
        if error.is_transient() && !says_goodbye(error) {
            Answer::TryLater(self.says(error))
        } else {
            Answer::Unreachable(self.says(error))
        }
    }

    fn name(&self) -> String {
        format!("{}:{}", self.settings.server, self.settings.port)
    }

    fn says(&self, error: &Error) -> String {
        format!("{}: {error}", self.name())
    }

    fn silence(&self, within: Duration) -> String {
        format!("{}: no answer within {} s", self.name(), within.as_secs())
    }
}

/// Where a test has named this place: half of the message goes out, and the program ends.
#[cfg(debug_assertions)]
async fn break_off_within(connection: &mut AsyncSmtpConnection, mail: Outgoing<'_>) {
    const PLACE: &str = "half-of-the-message";
    if failpoint::is_armed(PLACE) {
        let half = String::from_utf8_lossy(&mail.bytes[..mail.bytes.len() / 2]).into_owned();
        // It waits for an answer that nobody gives to half of a message.
        timeout(Duration::from_millis(300), connection.command(half)).await.ok();
        failpoint::here(PLACE);
    }
}

fn code(error: &Error) -> Option<u16> {
    error.status().map(u16::from)
}

/// 421: the relay closes the connection, at whatever step.
fn says_goodbye(error: &Error) -> bool {
    code(error) == Some(421)
}
