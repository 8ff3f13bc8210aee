//! Takes rows that are due from the store, hands them to the mailer one after another, and records each answer.
//!
//! At least once, never zero times: a row is marked sent after the relay has taken it, so a crash in between sends
//! the same message, with the same Message-ID, again. Late advice is not sent as if it were fresh: at its `expires` a
//! row ends, and waits in [`Store::unescalated`] until somebody else is told.

use super::clock::Clock;
use super::failpoint;
use super::mail::{Answer, Mailer, Outgoing};
use super::store::{Claimed, Settled, Store, StoreFault};
use crate::hash::hash_of;
use chrono::{DateTime, Duration, Utc};

/// What one pass over the outbox came to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Delivered {
    pub sent: usize,
    /// To be tried again.
    pub waiting: usize,
    /// To be tried again, and may have arrived.
    pub unknown: usize,
    /// Ended; see [`Store::unescalated`].
    pub refused: usize,
    /// Ended; see [`Store::unescalated`].
    pub expired: usize,
    /// Why the pass ended before all due rows were tried: the relay is out of reach or the installation at fault.
    pub stopped: Option<Answer>,
}

impl Delivered {
    /// Adds what a further pass came to.
    pub fn add(&mut self, further: Delivered) {
        self.sent += further.sent;
        self.waiting += further.waiting;
        self.unknown += further.unknown;
        self.refused += further.refused;
        self.expired += further.expired;
        self.stopped = further.stopped.or(self.stopped.take());
    }
}

/// Waits between tries, in seconds; the last one repeats. Shorter than RFC 5321 section 4.5.4.1 asks between relays:
/// this is the hop to our own relay, and the advice ages.
const WAITS: [i64; 6] = [15, 60, 120, 300, 600, 900];

/// How far a wait is spread, either way, so that rows that failed together do not all come back together.
const SPREAD: f64 = 0.15;

/// A last try is made this long before the end of the useful life, in seconds, rather than none.
const LAST_TRY: i64 = 60;

/// The leftover of a lease after the longest try: time to write the answer down.
const LEASE_MARGIN: i64 = 10;

/// Sends what is due. Returns when nothing is due any more, when `go_on` says no, or when the relay is out of reach.
///
/// A row that nobody could send in time is ended first. The try in hand is finished before `go_on` is heard. Where the
/// store fails no further mail is sent: what is not recorded would be sent again and again.
pub async fn deliver_due(
    store: &Store,
    mailer: &Mailer,
    clock: &Clock,
    owner: &str,
    go_on: impl Fn() -> bool,
) -> Result<Delivered, StoreFault> {
    let mut delivered = Delivered { expired: store.expire_overdue(clock.now()).await?.len(), ..Delivered::default() };
    let passed = pass(store, mailer, clock, owner, go_on, &mut delivered).await;
    mailer.rest().await;
    passed.map(|()| delivered)
}

async fn pass(
    store: &Store,
    mailer: &Mailer,
    clock: &Clock,
    owner: &str,
    go_on: impl Fn() -> bool,
    delivered: &mut Delivered,
) -> Result<(), StoreFault> {
    let longest_try = Duration::from_std(mailer.timeout()).unwrap_or(Duration::minutes(10));
    let lease = longest_try * 2 + Duration::seconds(LEASE_MARGIN);
    while go_on() {
        let Some(claimed) = store.claim(clock.now(), owner, lease).await? else { return Ok(()) };
        // A try ends before the advice does: a shorter one is better than none.
        let left = (claimed.expires - clock.now()).to_std().unwrap_or_default();
        let mail = Outgoing {
            message_id: &claimed.message_id,
            envelope_from: &claimed.envelope_from,
            recipient: &claimed.recipient,
            bytes: &claimed.bytes,
        };
        failpoint::here("row-claimed");
        let answer = mailer.send(mail, left).await;
        failpoint::here("mail-answered");
        if !record(store, &claimed, &answer, clock.now()).await? {
            tracing::warn!(key = claimed.key, answer = answer.text(), "another owner took this mail over meanwhile");
            continue;
        }
        failpoint::here("answer-recorded");
        tracing::info!(key = claimed.key, tries = claimed.tries, ?answer, "mail tried");
        match &answer {
            Answer::Sent(_) => delivered.sent += 1,
            Answer::Unknown(_) => delivered.unknown += 1,
            Answer::Refused(_) => delivered.refused += 1,
            Answer::TryLater(_) => delivered.waiting += 1,
            Answer::Unreachable(_) | Answer::InstallationFault(_) => {
                delivered.waiting += 1;
                delivered.stopped = Some(answer);
                return Ok(());
            }
        }
    }
    Ok(())
}

/// Records what a try came to. False where the row has another owner by now.
pub async fn record(store: &Store, claimed: &Claimed, answer: &Answer, now: DateTime<Utc>) -> Result<bool, StoreFault> {
    let due = next_due(claimed, now);
    let settled = match answer {
        Answer::Sent(_) => Settled::Sent,
        Answer::Refused(_) => Settled::Refused { at: now },
        Answer::Unknown(_) => Settled::MaybeArrived { due },
        Answer::TryLater(_) | Answer::Unreachable(_) | Answer::InstallationFault(_) => Settled::Again { due },
    };
    store.settle(claimed, settled, answer.text()).await
}

/// When to try again: never past the end of the useful life, where the row rests until it expires.
fn next_due(claimed: &Claimed, now: DateTime<Utc>) -> DateTime<Utc> {
    let step = usize::try_from(claimed.tries.saturating_sub(1)).unwrap_or(usize::MAX).min(WAITS.len() - 1);
    let wait = WAITS[step] as f64 * (1.0 + SPREAD * spread(&claimed.key, claimed.tries));
    let regular = now + Duration::seconds(wait.round() as i64);
    let last = claimed.expires - Duration::seconds(LAST_TRY);
    let soonest = now + Duration::seconds(WAITS[0]);
    if regular <= last { regular } else { last.max(soonest).min(claimed.expires) }
}

/// From -1 to 1, the same for the same row and try: a repeatable run is worth more than chance here.
fn spread(key: &str, tries: u32) -> f64 {
    let hash = hash_of(&[key, &tries.to_string()]);
    // The high bits are the well mixed ones after a further multiplication.
    let high = (((hash >> 64) as u64 ^ hash as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 32) as f64;
    2.0 * high / f64::from(u32::MAX) - 1.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn claimed(tries: u32, expires_in: i64) -> Claimed {
        Claimed {
            key: format!("2026-01-15 first 1 garden crew{tries}@example.org"),
            message_id: String::new(),
            recipient: String::new(),
            envelope_from: String::new(),
            bytes: vec![],
            expires: DateTime::UNIX_EPOCH + Duration::seconds(expires_in),
            tries,
            maybe_delivered: false,
            owner: String::new(),
            lease_until: DateTime::UNIX_EPOCH,
            fence: 1,
        }
    }

    #[test]
    fn waits_grow_to_a_quarter_of_an_hour_and_stay_there() {
        for (tries, seconds) in [(1, 15), (2, 60), (3, 120), (4, 300), (5, 600), (6, 900), (7, 900), (1000, 900)] {
            let wait =
                (next_due(&claimed(tries, 1_000_000), DateTime::UNIX_EPOCH) - DateTime::UNIX_EPOCH).num_seconds();
            let spread = (seconds as f64 * SPREAD).ceil() as i64;
            assert!((seconds - spread..=seconds + spread).contains(&wait), "try {tries}: {wait} s");
        }
    }

    #[test]
    fn a_last_try_is_made_before_the_advice_is_of_no_more_use() {
        let due =
            |expires_in| (next_due(&claimed(7, expires_in), DateTime::UNIX_EPOCH) - DateTime::UNIX_EPOCH).num_seconds();
        assert_eq!(due(500), 440);
        assert_eq!(due(70), 15);
        assert_eq!(due(10), 10);
    }

    proptest! {
        #[test]
        fn no_try_is_ever_planned_past_the_end(tries in 1u32..50, expires_in in 1i64..10_000) {
            let claimed = claimed(tries, expires_in);
            let due = next_due(&claimed, DateTime::UNIX_EPOCH);
            prop_assert!(due > DateTime::UNIX_EPOCH && due <= claimed.expires);
        }

        #[test]
        fn the_spread_is_within_one_and_not_always_the_same_side(key in "[a-z ]{1,40}") {
            let spreads: Vec<f64> = (1..40).map(|tries| spread(&key, tries)).collect();
            prop_assert!(spreads.iter().all(|s| (-1.0..=1.0).contains(s)));
            prop_assert!(spreads.iter().any(|s| *s > 0.0) && spreads.iter().any(|s| *s < 0.0));
        }
    }
}
