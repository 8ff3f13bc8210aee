//! Signs of life, beside the daemon's own loops: the service manager's watchdog, the ping, and the page `/healthz`.
//! Each is given only for what was really done, so that its absence means something.

use super::clock::Clock;
use super::feed::{Fetcher, Location};
use super::health::{Health, health};
use super::healthz;
use super::notify::Notify;
use super::store::{Store, StoreFault};
use super::turns::Turns;
use crate::settings::Settings;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::time::sleep;

/// What the signs are taken from and where they go.
pub struct Signs<'a> {
    pub settings: &'a Settings,
    pub store: &'a Store,
    /// Where the store is a substitute for the one on the disk: what is wrong with that. Then all is not in order.
    pub substitute_because: Option<&'a str>,
    pub turns: &'a Turns,
    pub clock: &'a Clock,
    pub fetcher: &'a Fetcher,
    pub notify: &'a Notify,
    pub ping: Option<&'a Location>,
    /// For `/healthz`.
    pub listener: Option<&'a TcpListener>,
}

/// The watchdog is fed at least this often, and three times within its own limit.
const BEAT: Duration = Duration::from_secs(20);
/// So often the ping asks whether a round was complete.
const ASK: Duration = Duration::from_secs(3);
/// A ping that did not arrive is tried again after this.
const AGAIN: Duration = Duration::from_secs(60);

impl Signs<'_> {
    /// Gives signs until it is dropped.
    pub async fn give(self) {
        let page = async {
            if let Some(listener) = self.listener {
                healthz::serve(listener, async || self.health().await).await;
            }
        };
        tokio::join!(self.feed_the_watchdog(), self.ping(), page);
    }

    async fn health(&self) -> Result<Health, StoreFault> {
        let mut health = health(self.settings, self.store, Some(self.turns), self.clock.now()).await?;
        if let Some(why) = self.substitute_because {
            health.ok = false;
            health.troubles.insert(0, format!("The service works from memory: {why}."));
        }
        Ok(health)
    }

    /// Tells the service manager that all is going round, as long as it is; when it hears nothing it starts anew.
    async fn feed_the_watchdog(&self) {
        let beat = self.notify.watchdog().map_or(BEAT, |limit| (limit / 3).min(BEAT));
        loop {
            let stuck = self.turns.stuck();
            if stuck.is_empty() {
                self.notify.alive();
                self.notify.status(&self.status().await);
            } else {
                let stuck = stuck.join(", ");
                tracing::error!(stuck, "a loop does not come round; the watchdog is not fed");
                self.notify.status(&format!("stuck: {stuck}"));
            }
            sleep(beat).await;
        }
    }

    async fn status(&self) -> String {
        match self.health().await {
            Ok(health) if health.ok => match health.gardens.len() {
                1 => "1 garden looked after, all in order".into(),
                gardens => format!("{gardens} gardens looked after, all in order"),
            },
            Ok(health) => health.troubles.join(" "),
            Err(fault) => fault.to_string(),
        }
    }

    /// Calls the ping's address after each complete round, once all is in order and its mail has been taken or has
    /// failed and been told. What fails stops nothing.
    async fn ping(&self) {
        let Some(location) = self.ping else { return };
        // A round of a former life was told then, or is missed now.
        let mut told = self.newest_round().await;
        loop {
            sleep(ASK).await;
            let newest = self.newest_round().await;
            if newest.is_none() || newest == told {
                continue;
            }
            let called = match self.health().await {
                // Late mail is a trouble by and by; until then it is neither well nor ill.
                Ok(health) if health.ok && health.mail_open > 0 => continue,
                Ok(health) if health.ok => self.fetcher.call(location).await,
                Ok(health) => Err(format!("it is withheld: {}", health.troubles.join(" "))),
                Err(fault) => Err(format!("it is withheld: {fault}")),
            };
            match called {
                Ok(()) => told = newest,
                Err(why) => {
                    tracing::warn!(why, "no ping; it is tried again");
                    sleep(AGAIN).await;
                }
            }
        }
    }

    async fn newest_round(&self) -> Option<chrono::DateTime<chrono::Utc>> {
        let newest = self.store.newest_complete_round(self.clock.now()).await;
        newest.inspect_err(|fault| tracing::warn!(%fault, "rounds cannot be read")).ok().flatten()
    }
}
