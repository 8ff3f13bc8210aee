//! The service's lives, one after another: on the store on the disk, and, while that cannot be used, on a substitute in
//! memory. Nobody may be left without a warning because of a file.

use super::clock::Clock;
use super::daemon::{Daemon, Shared};
use super::feed::{Fetcher, Location};
use super::mail::Mailer;
use super::notify::Notify;
use super::signs::Signs;
use super::store::{Check, Open, Store, StoreFault};
use crate::settings::Settings;
use chrono::{DateTime, Utc};
use std::path::Path;
use std::time::Duration;
use tokio::net::TcpListener;

/// What all lives have in common.
pub struct Lives<'a> {
    pub settings: &'a Settings,
    /// The folder of the settings.
    pub folder: &'a Path,
    /// Of the store on the disk.
    pub store: &'a Path,
    pub mailer: &'a Mailer,
    pub fetcher: &'a Fetcher,
    pub clock: &'a Clock,
    pub patience: Duration,
    pub notify: &'a Notify,
    pub ping: Option<Location>,
    /// For `/healthz`.
    pub listener: Option<TcpListener>,
}

/// So soon the disk's store is tried again; then, and after a return that did not last, after twice as long each time, up
/// to the longest.
const AGAIN: Duration = Duration::from_secs(20);
const LONGEST: Duration = Duration::from_secs(600);
const A_MOMENT: Duration = Duration::from_secs(1);
/// A return that held so long is one, and the next trouble is a new one.
const HOLDS: Duration = Duration::from_secs(3600);
/// A store in memory that lived no longer than this may not have handed over the letter that was queued in it.
const AT_ONCE: Duration = Duration::from_secs(60);
/// Managers get one letter of it in so long; every other letter says it too.
const TELL_AGAIN: chrono::Duration = chrono::Duration::hours(24);

/// The store of one life, and why it is a substitute where it is one.
struct Standing {
    store: Store,
    because: Option<StoreFault>,
}

/// The store on the disk, whole and ready to be written.
pub async fn open_whole(path: &Path, check: Check) -> Result<Store, StoreFault> {
    let store = Store::open(path, Open::ReadWrite).await?;
    store.prove_sound(check).await?;
    store.prove_writable().await?;
    Ok(store)
}

impl Lives<'_> {
    /// Runs until `stop` resolves. Fails only where not even a store in memory can be had.
    pub async fn run(&self, stop: impl Future<Output = ()>) -> Result<(), StoreFault> {
        tokio::pin!(stop);
        let mut standing = match open_whole(self.store, Check::Quick).await {
            Ok(store) => Standing { store, because: None },
            Err(fault) => self.substitute(fault, None).await?,
        };
        let mut shared = Shared::default();
        let (mut told, mut pause) = (None, AGAIN);
        loop {
            let began = tokio::time::Instant::now();
            let daemon = Daemon {
                settings: self.settings,
                folder: self.folder,
                store: &standing.store,
                mailer: self.mailer,
                fetcher: self.fetcher,
                clock: self.clock,
                patience: self.patience,
                substitute_because: standing.because.as_ref().map(StoreFault::to_string),
                shared: std::mem::take(&mut shared),
            };
            if standing.because.is_some() {
                self.tell(&daemon, &mut told).await;
            }
            let signs = Signs {
                settings: self.settings,
                store: &standing.store,
                substitute_because: daemon.substitute_because.as_deref(),
                turns: &daemon.shared.turns,
                clock: self.clock,
                fetcher: self.fetcher,
                notify: self.notify,
                ping: self.ping.as_ref(),
                listener: self.listener.as_ref(),
            };
            let mut back = None;
            let until = async {
                tokio::select! {
                    () = &mut stop => {}
                    store = self.disk_is_back(pause), if standing.because.is_some() => back = Some(store),
                }
            };
            let ended = tokio::select! {
                ended = daemon.run(until) => ended,
                // Where there is nobody to give signs to.
                () = async { signs.give().await; std::future::pending().await } => Ok(()),
            };
            shared = daemon.shared;
            standing = match (ended, back) {
                (Err(fault), _) => {
                    // What was queued in a store that broke at once has gone with it: twice is better than never.
                    if standing.because.is_some() && began.elapsed() < AT_ONCE {
                        told = None;
                    }
                    pause = if began.elapsed() > HOLDS { AGAIN } else { (pause * 2).min(LONGEST) };
                    self.substitute(fault, Some(standing)).await?
                }
                (Ok(()), Some(disk)) => self.returned(standing, disk).await,
                (Ok(()), None) => {
                    self.last_carry(standing).await;
                    return Ok(());
                }
            };
        }
    }

    /// A store in memory, with what can be read of the one on the disk. Where such a one has failed itself, that was of
    /// what it took over: the next one takes nothing.
    async fn substitute(&self, fault: StoreFault, failed: Option<Standing>) -> Result<Standing, StoreFault> {
        tracing::error!(%fault, "the store cannot be used; the service goes on with one in memory");
        let before = match failed {
            Some(Standing { store, because }) => {
                store.close().await;
                if because.is_some() {
                    // Whatever broke a store in memory must not do so a thousand times a second.
                    self.clock.sleep(A_MOMENT).await;
                }
                because
            }
            None => None,
        };
        let store = Store::in_memory(self.store).await?;
        if before.is_none() {
            let gardens: Vec<&str> = self.settings.gardens.iter().map(|garden| garden.garden.id.as_str()).collect();
            for fault in store.take_over(&gardens, self.clock.now()).await {
                tracing::error!(%fault, "a part of the store on the disk cannot be read");
            }
        }
        Ok(Standing { store, because: Some(before.unwrap_or(fault)) })
    }

    /// The managers' letter.
    async fn tell(&self, daemon: &Daemon<'_>, told: &mut Option<DateTime<Utc>>) {
        let now = self.clock.now();
        if told.is_some_and(|told| now - told < TELL_AGAIN) {
            return;
        }
        match daemon.tell_of_the_substitute().await {
            Ok(()) => *told = Some(now),
            Err(fault) => tracing::error!(%fault, "the managers cannot be told of the store"),
        }
    }

    /// Resolves when the store on the disk can be read whole and written again.
    async fn disk_is_back(&self, mut pause: Duration) -> Store {
        loop {
            self.clock.sleep(pause).await;
            pause = (pause * 2).min(LONGEST);
            match open_whole(self.store, Check::Full).await {
                Ok(store) => return store,
                Err(fault) => tracing::warn!(%fault, "the store on the disk cannot be used yet"),
            }
        }
    }

    async fn returned(&self, standing: Standing, disk: Store) -> Standing {
        match standing.store.carry_back().await {
            Ok(()) => {
                tracing::warn!("the store on the disk can be used again, and has what was done meanwhile");
                standing.store.close().await;
                Standing { store: disk, because: None }
            }
            Err(fault) => {
                tracing::error!(%fault, "what was done meanwhile cannot be written to the store on the disk yet");
                disk.close().await;
                standing
            }
        }
    }

    /// At the stop.
    async fn last_carry(&self, standing: Standing) {
        if standing.because.is_some() {
            let carried = match open_whole(self.store, Check::Full).await {
                Ok(disk) => {
                    let carried = standing.store.carry_back().await;
                    disk.close().await;
                    carried
                }
                Err(fault) => Err(fault),
            };
            if let Err(fault) = carried {
                tracing::error!(%fault, "what was said and sent from memory is forgotten; a list may come twice");
            }
        }
        standing.store.close().await;
    }
}
