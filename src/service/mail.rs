//! One message to one address: how it is written, how it is handed over, and what the answer means.

mod folder;
mod identity;
mod letter;
mod smtp;

pub use crate::settings::Tls;
pub use letter::{Correspondent, Enclosure, Letter, MailFault, Rendered, mailto, render};
pub use smtp::SmtpSettings;

use futures_util::future::BoxFuture;
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Where mail goes.
#[derive(Clone, Debug)]
pub enum Delivery {
    /// Into a folder, one file each: for trying things out.
    Folder(PathBuf),
    /// To a relay, which takes it further.
    Smtp(SmtpSettings),
    /// To whoever answers in a relay's place: a rehearsal of a winter.
    Messenger(Messenger),
}

/// Takes mail and answers for it.
#[derive(Clone)]
pub struct Messenger(pub Arc<dyn Fn(Outgoing<'_>) -> BoxFuture<'static, Answer> + Send + Sync>);

impl std::fmt::Debug for Messenger {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Messenger")
    }
}

/// A message to be handed over.
#[derive(Clone, Copy, Debug)]
pub struct Outgoing<'a> {
    /// With its angle brackets.
    pub message_id: &'a str,
    pub envelope_from: &'a str,
    pub recipient: &'a str,
    pub bytes: &'a [u8],
}

/// What became of one try, each with words for a person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// The relay has taken it.
    Sent(String),
    /// Not this time; it has certainly not arrived.
    TryLater(String),
    /// Nobody can be reached just now, or the folder cannot be written: other mail would fare the same.
    Unreachable(String),
    /// It may have arrived.
    Unknown(String),
    /// Never, for this recipient or this message.
    Refused(String),
    /// Never, for any mail, until somebody mends the settings: sign-in, sender or certificate.
    InstallationFault(String),
}

impl Answer {
    /// The words.
    pub fn text(&self) -> &str {
        match self {
            Answer::Sent(text)
            | Answer::TryLater(text)
            | Answer::Unreachable(text)
            | Answer::Unknown(text)
            | Answer::Refused(text)
            | Answer::InstallationFault(text) => text,
        }
    }
}

/// Hands messages over. To a relay, one connection at a time serves message after message, until [`Mailer::rest`].
#[derive(Debug)]
pub struct Mailer {
    route: Route,
    /// Message-ID and answer of what was taken, the newest last.
    taken: Mutex<VecDeque<(String, String)>>,
}

/// Of so many mails it is known that they were taken.
const REMEMBERED: usize = 500;

#[derive(Debug)]
enum Route {
    Folder(PathBuf),
    Smtp(Box<smtp::Relay>),
    Messenger(Messenger),
}

impl Mailer {
    pub fn new(delivery: Delivery) -> Mailer {
        let route = match delivery {
            Delivery::Folder(folder) => Route::Folder(folder),
            Delivery::Smtp(settings) => Route::Smtp(Box::new(smtp::Relay::new(settings))),
            Delivery::Messenger(messenger) => Route::Messenger(messenger),
        };
        Mailer { route, taken: Mutex::default() }
    }

    /// The longest that [`Mailer::send`] takes by itself.
    pub fn timeout(&self) -> Duration {
        match &self.route {
            Route::Folder(_) => folder::TIMEOUT,
            Route::Smtp(relay) => relay.timeout(),
            Route::Messenger(_) => folder::TIMEOUT,
        }
    }

    /// Hands one message over within `at_most`, and its own timeout. Never fails without an answer.
    ///
    /// What this mailer has handed over before is not sent again: the store may have failed just when that was to be
    /// written down.
    pub async fn send(&self, mail: Outgoing<'_>, at_most: Duration) -> Answer {
        if let Some((_, answer)) = self.taken().iter().find(|(id, _)| id == mail.message_id) {
            return Answer::Sent(answer.clone());
        }
        let within = at_most.min(self.timeout());
        let answer = match &self.route {
            Route::Folder(folder) => folder::write(folder, mail, within).await,
            Route::Smtp(relay) => relay.send(mail, within).await,
            Route::Messenger(messenger) => (messenger.0)(mail).await,
        };
        if let Answer::Sent(text) = &answer {
            let mut taken = self.taken();
            taken.push_back((mail.message_id.to_string(), text.clone()));
            if taken.len() > REMEMBERED {
                taken.pop_front();
            }
        }
        answer
    }

    fn taken(&self) -> MutexGuard<'_, VecDeque<(String, String)>> {
        // Each change of it is whole, whatever panicked elsewhere.
        self.taken.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether mail could be handed over now; sends none. [`Answer::Sent`] says yes.
    pub async fn reach(&self) -> Answer {
        match &self.route {
            Route::Folder(folder) => folder::probe(folder, folder::TIMEOUT).await,
            Route::Smtp(relay) => relay.reach().await,
            Route::Messenger(_) => Answer::Sent("a messenger is always there".into()),
        }
    }

    /// Ends the conversation with the relay, if there is one.
    pub async fn rest(&self) {
        match &self.route {
            Route::Folder(_) | Route::Messenger(_) => {}
            Route::Smtp(relay) => relay.rest().await,
        }
    }
}
