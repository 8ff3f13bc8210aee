//! Could mail be handed over now? Connects, encrypts and signs in; sends nothing.

use super::{Doctor, Finding};
use crate::service::mail::Answer;
use crate::settings::Delivery;

impl Doctor<'_> {
    pub(super) async fn mail(&self) -> Finding {
        let Delivery::Smtp(smtp) = &self.settings.service.mail.delivery else {
            let mend = "For real use name a mail server under [mail.smtp]";
            return Finding::note("mail", "messages become files in a folder, and nobody is written to", mend);
        };
        let mailer = match &self.mailer {
            Ok(mailer) => mailer,
            Err(finding) => return finding.clone(),
        };
        match tokio::time::timeout(self.patience, mailer.reach()).await {
            Ok(Answer::Sent(text)) => {
                let signed_in = if smtp.user.is_some() { " and lets us in" } else { "" };
                Finding::ok("mail", format!("{text}{signed_in}"))
            }
            Ok(answer) => {
                let mend = match answer {
                    Answer::InstallationFault(_) => "Correct [mail.smtp]: server, port, tls, user or the password",
                    _ => "Check the network, and server and port under [mail.smtp]; mail waits until then",
                };
                Finding::wrong("mail", answer.text(), mend)
            }
            Err(_) => {
                let text = format!("{}:{} does not answer in {} s", smtp.server, smtp.port, self.patience.as_secs());
                Finding::wrong("mail", text, "Check the network, and server, port and tls under [mail.smtp]")
            }
        }
    }
}
