//! What the daemon does while the disk takes nothing: warnings go out all the same, unrecorded, and the round stays
//! due.

use super::{Daemon, DaemonFault, POST};
use crate::beds::Garden;
use crate::journal::event::ForecastAtRound;
use crate::rounds::Round;
use crate::service::store::{OutboxRow, RoundRow, SaidRow, StoreFault, Trouble};

/// Among the troubles of a list: for the manager, who knows whom to ask.
const FOR_THE_GARDEN: &str = "The service's disk is full or broken. This list could not be written down and may come a \
                              second time; later ones may not come at all. Tell whoever looks after its computer.";

impl Daemon<'_> {
    /// Whether the disk refuses to be written, in words for the garden. A store that cannot be written for another
    /// reason, and a round whose messages went out already, are faults.
    pub(super) async fn trouble_of_disk(&self, garden: &Garden, round: Round) -> Result<Option<String>, StoreFault> {
        match self.store.prove_writable().await {
            Ok(()) => Ok(None),
            Err(fault) if fault.is_of_the_disk() => {
                let name = name(&garden.id, round.kind.word(), round.due.timestamp());
                if self.shared.unrecorded.has_taken(&name) { Err(fault) } else { Ok(Some(FOR_THE_GARDEN.into())) }
            }
            Err(fault) => Err(fault),
        }
    }

    /// Writes a decision down. Where the disk refuses, its messages go out all the same.
    pub(super) async fn decided(
        &self,
        said: SaidRow,
        round: RoundRow,
        messages: &[OutboxRow],
        told: Option<(&[Trouble], &str)>,
        foretold: &[ForecastAtRound],
    ) -> Result<(), DaemonFault> {
        let name = name(&round.garden, &round.kind, round.due.timestamp());
        let Err(fault) = self.store.decide_and_tell(Some(said), round, messages, told, foretold).await else {
            return Ok(());
        };
        if fault.is_of_the_disk() && self.shared.unrecorded.take(&name, messages, self.clock.now()) {
            tracing::error!(
                round = name,
                mails = messages.len(),
                "the disk takes no record; the mail goes out without"
            );
            self.shared.mail.notify_one();
        }
        Err(fault.into())
    }

    /// Sends what cannot be recorded, where the outbox failed for its disk or such mail is at hand.
    pub(super) async fn deliver_unrecorded(&self, fault: Option<&StoreFault>) {
        let go_on = || {
            self.shared.turns.turned(POST);
            !self.shared.is_stopping()
        };
        if fault.is_none() {
            self.shared.unrecorded.leave_to_the_store();
        }
        if fault.is_some_and(StoreFault::is_of_the_disk) || self.shared.unrecorded.is_waiting() {
            let sent = self.shared.unrecorded.deliver(self.store, self.mailer, self.clock, go_on).await;
            tracing::error!(sent, "the disk takes no record of mail; make room on it, or replace it");
        }
    }
}

fn name(garden: &str, kind: &str, due: i64) -> String {
    format!("{garden} {kind} {due}")
}
