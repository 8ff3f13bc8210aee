//! The loop. Every garden is watched by itself, so that one feed's silence holds up no other garden: a round that is
//! due becomes one look, one decision and its messages in one transaction. The post sends what the decisions left.

mod ahead;
mod by_day;
mod escalation;
mod lock;
mod look_again;
mod post;
mod rounds;
mod substitute;

pub use lock::{InUse, StoreLock};
pub use post::unwritable;

use super::clock::Clock;
use super::feed::{Fetcher, part_of};
use super::look::Sources;
use super::mail::Mailer;
use super::outbox::{Delivered, deliver_due};
use super::store::{Store, StoreFault};
use super::turns::Turns;
use crate::rounds::{next_round, night_at};
use crate::settings::{GardenSettings, Settings};
use chrono::{DateTime, Duration, Utc};
use futures_util::StreamExt;
use futures_util::future::join_all;
use futures_util::stream::FuturesUnordered;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration as Real;
use tokio::sync::{Mutex, Notify, Semaphore};
use tokio::time::Instant;

/// Everything the loop works with.
pub struct Daemon<'a> {
    pub settings: &'a Settings,
    /// The folder of the settings: relative paths of feeds start here.
    pub folder: &'a Path,
    pub store: &'a Store,
    pub mailer: &'a Mailer,
    pub fetcher: &'a Fetcher,
    pub clock: &'a Clock,
    /// The longest time for one feed within a look, tries included.
    pub patience: Real,
    /// Where the store is a substitute for the one on the disk: what is wrong with that, for the managers.
    pub substitute_because: Option<String>,
    pub shared: Shared,
}

/// What the watches over the gardens and the post have in common.
#[derive(Debug)]
pub struct Shared {
    stopping: AtomicBool,
    /// Rung when a decision has left mail, and at the stop.
    mail: Notify,
    looks: Semaphore,
    polls: Semaphore,
    /// Held while a garden that shares covers decides.
    shelf: Mutex<()>,
    /// When each loop last came round.
    pub turns: Turns,
}

/// So many gardens are looked at side by side, and so many are asked for between rounds: a weather service counts the
/// requests of all our gardens together.
const LOOKS: usize = 32;
const POLLS: usize = 4;

impl Default for Shared {
    fn default() -> Shared {
        Shared {
            stopping: AtomicBool::new(false),
            mail: Notify::new(),
            looks: Semaphore::new(LOOKS),
            polls: Semaphore::new(POLLS),
            shelf: Mutex::new(()),
            turns: Turns::default(),
        }
    }
}

impl Shared {
    fn stop(&self) {
        self.stopping.store(true, Ordering::SeqCst);
        self.mail.notify_one();
    }

    /// Another life begins.
    fn start(&self) {
        self.stopping.store(false, Ordering::SeqCst);
    }

    fn is_stopping(&self) -> bool {
        self.stopping.load(Ordering::SeqCst)
    }
}

/// The longest sleep: within this time a suspended machine or a changed clock is noticed.
const TICK: Real = Real::from_secs(20);
/// A round that could not be made is tried again after a tick, then after twice as long each time, up to this.
const LONGEST_PAUSE: Real = Real::from_secs(600);
/// A store that another program locks for longer than this is as good as broken.
const PATIENCE_WITH_A_LOCK: Real = Real::from_secs(60);
/// Within that pause the garden is looked at this often all the same: another round may have come due.
const LONGEST_SLEEP: Real = Real::from_secs(60);
/// The longest time for one feed within a look, unless the command line says otherwise.
pub const PATIENCE: Real = Real::from_secs(90);
/// A forecast is asked for this often between rounds, so that a copy is at hand when a feed fails just then.
const POLL: Duration = Duration::minutes(60);
/// Polls of installations that began together, after a power cut, come apart by up to this at each.
const POLLS_APART: Real = Real::from_secs(600);
/// Installations look at full and half hours all over the world; their requests come apart by this.
const SPREAD: Real = Real::from_secs(20);
/// The post among the loops, in a name that no garden's file can have.
const POST: &str = "the post";
/// The one owner of leases where one daemon runs on a store; a restart recovers its own.
const OWNER: &str = "daemon";

impl Daemon<'_> {
    /// Runs until `stop` resolves, or until the store is of no more use, which is the fault that comes back.
    ///
    /// A stop cuts a look off wherever it is, also within a long fetch: its decision is one transaction, written or
    /// not, and a look that was cut off is due again at the next start. The mail in hand is finished and recorded.
    pub async fn run(&self, stop: impl Future<Output = ()>) -> Result<(), StoreFault> {
        self.shared.start();
        self.recover().await?;
        self.expect_turns();
        tracing::info!(gardens = self.settings.gardens.len(), "counterpane is looking after its gardens");
        let mut watches: FuturesUnordered<_> = self.settings.gardens.iter().map(|garden| self.watch(garden)).collect();
        let post = self.post();
        tokio::pin!(post);
        let failed = tokio::select! {
            () = stop => None,
            fault = watches.next() => fault,
            sent = &mut post => return sent,
        };
        drop(watches);
        self.shared.stop();
        let sent = post.await;
        failed.map_or(sent, Err)
    }

    /// Takes up again what a former life of this daemon left in the middle. Only whoever has the store to itself may.
    pub async fn recover(&self) -> Result<(), StoreFault> {
        let now = self.clock.now();
        for (origin, until) in self.store.silences(now).await? {
            self.fetcher.leave_alone(&origin, now, until);
        }
        let left = self.store.recover_leases(OWNER, self.clock.now()).await?;
        if left > 0 {
            tracing::warn!(
                mails = left,
                "the last run ended while mail was in hand; it is sent again and may come twice"
            );
        }
        Ok(())
    }

    /// Looks after one garden until the store fails. Its own trouble does not touch another's looks.
    async fn watch(&self, settings: &GardenSettings) -> StoreFault {
        let mut last_poll = None;
        let mut locked_since = None;
        let mut pause = TICK;
        // When what failed is tried again, and when it failed by the service's clock.
        let mut again: Option<(Instant, DateTime<Utc>)> = None;
        loop {
            let left = again.map(|(at, _)| at.saturating_duration_since(Instant::now())).unwrap_or_default();
            if !left.is_zero() && !again.is_some_and(|(_, failed)| self.has_come_due(settings, failed)) {
                self.shared.turns.turned(&settings.garden.id);
                self.clock.sleep(left.min(LONGEST_SLEEP)).await;
                continue;
            }
            again = None;
            let began = self.clock.now();
            let wait = match self.rounds_of(settings).await {
                Ok(next) => {
                    pause = TICK;
                    locked_since = None;
                    self.poll(settings, next, &mut last_poll).await;
                    let next = next.map_or(TICK, |next| (next - self.clock.now()).to_std().unwrap_or_default());
                    next.clamp(Real::from_millis(200), TICK)
                }
                Err(DaemonFault::Store(fault)) if is_lost(&fault, &mut locked_since) => return fault,
                Err(fault) => {
                    tracing::error!(garden = settings.garden.id, %fault, again_after = ?pause, "a round stays due");
                    again = Some((Instant::now() + pause, began));
                    pause = (pause * 2).min(LONGEST_PAUSE);
                    Real::ZERO
                }
            };
            self.shared.turns.turned(&settings.garden.id);
            self.clock.sleep(wait).await;
        }
    }

    /// Whether a round of the garden has come due since.
    fn has_come_due(&self, settings: &GardenSettings, since: DateTime<Utc>) -> bool {
        let garden = &settings.garden;
        next_round(&self.settings.service.timetable, &garden.site, &garden.zone, since)
            .is_some_and(|round| round.due <= self.clock.now())
    }

    /// How often each loop comes round when all is well: a look and a poll, each with every feed silent, behind those
    /// that wait for their turn, and the longest sleep.
    fn expect_turns(&self) {
        let gardens = self.settings.gardens.len();
        let feeds = self.settings.gardens.iter().map(|garden| garden.feeds.len()).max().unwrap_or(1);
        let looks = gardens.div_ceil(LOOKS) + 1;
        let longest = self.patience * u32::try_from(looks * feeds).unwrap_or(u32::MAX) + LONGEST_SLEEP + TICK * 3;
        for garden in &self.settings.gardens {
            self.shared.turns.expect(&garden.garden.id, longest);
        }
        self.shared.turns.expect(POST, self.mailer.timeout() * 2 + TICK * 3);
    }

    /// Asks a garden's feeds between rounds; never shortly before one, which asks by itself and must not wait.
    async fn poll(&self, settings: &GardenSettings, next: Option<DateTime<Utc>>, last: &mut Option<DateTime<Utc>>) {
        let now = self.clock.now();
        // A clock set back must not stop the asking.
        let key = format!("{} {}", self.settings.service.operator, settings.garden.id);
        let often = POLL + Duration::from_std(part_of(POLLS_APART, &key)).unwrap_or_default();
        let is_due = last.is_none_or(|last| now - last >= often || now < last);
        let longest = self.patience * u32::try_from(settings.feeds.len()).unwrap_or(u32::MAX);
        let in_the_way = next.is_some_and(|next| (next - now).to_std().unwrap_or_default() < longest);
        if !is_due || in_the_way {
            return;
        }
        let Ok(_permit) = self.shared.polls.try_acquire() else { return };
        *last = Some(now);
        let of = night_at(&settings.garden.site, &settings.garden.zone, now);
        // Each trouble is logged where it is met, and told at the next look if it lasts.
        self.sources().gather(settings, of, now).await;
        self.keep_silences().await;
    }

    /// Writes down which providers asked for silence just now, for the next start.
    async fn keep_silences(&self) {
        let now = self.clock.now();
        let silences = self.fetcher.silences(now);
        if !silences.is_empty()
            && let Err(fault) = self.store.keep_silences(&silences, now).await
        {
            tracing::error!(%fault, "a provider's wish to be left alone cannot be kept");
        }
    }

    /// Sends what is due until the stop, which it hears between two mails, or until the store fails.
    async fn post(&self) -> Result<(), StoreFault> {
        let mut locked_since = None;
        while !self.shared.is_stopping() {
            // Logged already; what could not be sent or recorded is still in the store.
            match self.deliver().await {
                Ok(_) => locked_since = None,
                Err(fault) if is_lost(&fault, &mut locked_since) => return Err(fault),
                Err(_) => {}
            }
            self.shared.turns.turned(POST);
            tokio::select! {
                () = self.shared.mail.notified() => {}
                () = self.clock.sleep(TICK) => {}
            }
        }
        Ok(())
    }

    /// Makes every look that is due, at every garden. What could not be made stays due, and is named.
    pub async fn due_rounds(&self) -> Vec<DaemonFault> {
        let gardens = self.settings.gardens.iter().map(async |settings| {
            let fault = self.rounds_of(settings).await.err()?;
            tracing::error!(garden = settings.garden.id, %fault, "a round stays due");
            Some(fault)
        });
        join_all(gardens).await.into_iter().flatten().collect()
    }

    /// Hands over what is due, and tells somebody else where that is not to be.
    pub async fn deliver(&self) -> Result<Delivered, StoreFault> {
        let delivered = self.deliver_and_escalate().await;
        match &delivered {
            Ok(delivered) => {
                if let Some(answer) = &delivered.stopped {
                    tracing::error!(answer = answer.text(), "mail cannot be handed over; it waits and is tried again");
                }
                if delivered.expired + delivered.refused > 0 {
                    tracing::error!(expired = delivered.expired, refused = delivered.refused, "somebody was not told");
                }
            }
            Err(fault) => tracing::error!(%fault, "the outbox cannot be read or written"),
        }
        delivered
    }

    async fn deliver_and_escalate(&self) -> Result<Delivered, StoreFault> {
        let go_on = || {
            self.shared.turns.turned(POST);
            !self.shared.is_stopping()
        };
        let mut delivered = deliver_due(self.store, self.mailer, self.clock, OWNER, go_on).await?;
        // What tells of a refusal can be refused as well: then somebody else is told. It ends where nobody is left.
        while self.escalate().await? + self.tell_others_in_time().await? > 0 && delivered.stopped.is_none() && go_on() {
            delivered.add(deliver_due(self.store, self.mailer, self.clock, OWNER, go_on).await?);
        }
        Ok(delivered)
    }

    fn sources(&self) -> Sources<'_> {
        Sources {
            fetcher: self.fetcher,
            store: Some(self.store),
            folder: self.folder,
            patience: self.patience,
            clock_is_real: self.clock.is_real(),
            spread: SPREAD,
        }
    }
}

/// Whether the store is of no more use: at once, or where another program locks it, after a while.
fn is_lost(fault: &StoreFault, locked_since: &mut Option<Instant>) -> bool {
    let is_locked = matches!(fault, StoreFault::Busy { .. });
    fault.lasts() || (is_locked && locked_since.get_or_insert_with(Instant::now).elapsed() >= PATIENCE_WITH_A_LOCK)
}

/// Why a round was not made. It stays due and is tried again.
#[derive(Debug, thiserror::Error)]
pub enum DaemonFault {
    #[error("{0}")]
    Store(#[from] StoreFault),
    #[error("what is said cannot be written down: {0}")]
    Said(#[from] serde_json::Error),
    #[error("the machine slept, or its clock was set on, while it looked")]
    Slept,
    #[error("not one of the people of {garden} could be written to; the log says why for each")]
    NoMail { garden: String },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_store_that_is_locked_is_waited_for_and_a_broken_one_is_not() {
        let locked = StoreFault::Busy { path: "garden.db".into() };
        let broken = StoreFault::Damaged { path: "garden.db".into(), what: "a page".into() };
        let mut since = None;
        assert!(!is_lost(&locked, &mut since) && !is_lost(&locked, &mut since));
        since = since.map(|since| since - PATIENCE_WITH_A_LOCK);
        assert!(is_lost(&locked, &mut since));
        assert!(is_lost(&broken, &mut None));
        let said = StoreFault::AlreadySaid { garden: "a".into(), night: "b".into(), revision: 1 };
        assert!(!is_lost(&said, &mut since), "another process has said it");
    }
}
