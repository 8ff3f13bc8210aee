//! What a daemon does for its managers when its store is a substitute.

use super::post::{Enclosed, Post};
use super::{Daemon, DaemonFault};
use crate::beds::{Person, Role};
use crate::message::store_away_letter;
use crate::rounds::night_at;
use chrono::Duration;

const KIND: &str = "store-away";
/// After that, the sentence in every other letter says it.
const NEWS: Duration = Duration::hours(24);

impl Daemon<'_> {
    /// Queues a letter to the managers of every garden, where the store is a substitute.
    pub async fn tell_of_the_substitute(&self) -> Result<(), DaemonFault> {
        let Some(why) = self.substitute_because.as_deref() else { return Ok(()) };
        let now = self.clock.now();
        for settings in &self.settings.gardens {
            let garden = &settings.garden;
            let of = night_at(&garden.site, &garden.zone, now);
            let managers: Vec<&Person> = garden.people.iter().filter(|person| person.role == Role::Manager).collect();
            let revision = self.store.next_number(&garden.id, of, KIND).await?;
            let post = Post {
                garden,
                of,
                kind: KIND,
                revision,
                expires: now + NEWS,
                others_due: None,
                now,
                enclosed: Enclosed::default(),
            };
            let messages = self.messages(&managers, &post, |_| store_away_letter(garden, why)).await?;
            self.store.escalate(&[], &messages).await?;
        }
        Ok(())
    }
}
