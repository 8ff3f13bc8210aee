//! Trying a fetch again, where another try may help, within the time that the caller can spare.

use super::FeedFault;
use backon::{ExponentialBuilder, Retryable};
use std::time::Duration;
use tokio::time::Instant;

const FIRST_WAIT: Duration = Duration::from_secs(2);
const LONGEST_WAIT: Duration = Duration::from_secs(120);

/// The first success of `attempt`, or its last fault once another try is pointless or would end after `total`.
/// A wait that the feed itself asks for is kept in full.
pub async fn with_retries<T, Attempt, Trying>(total: Duration, attempt: Attempt) -> Result<T, FeedFault>
where
    Attempt: FnMut() -> Trying,
    Trying: Future<Output = Result<T, FeedFault>>,
{
    with_waits_from(FIRST_WAIT, total, attempt).await
}

async fn with_waits_from<T, Attempt, Trying>(
    first_wait: Duration,
    total: Duration,
    attempt: Attempt,
) -> Result<T, FeedFault>
where
    Attempt: FnMut() -> Trying,
    Trying: Future<Output = Result<T, FeedFault>>,
{
    let start = Instant::now();
    let waits = ExponentialBuilder::new()
        .with_min_delay(first_wait)
        .with_max_delay(LONGEST_WAIT)
        .without_max_times()
        .with_jitter();
    let tries = attempt
        .retry(waits)
        .when(FeedFault::worth_another_try)
        .adjust(|fault, wait| {
            let wait = wait?.max(fault.retry_after().unwrap_or_default());
            (start.elapsed() + wait < total).then_some(wait)
        })
        .notify(|fault, wait| tracing::info!(%fault, ?wait, "the feed is tried again"));
    match tokio::time::timeout(total, tries).await {
        Ok(answer) => answer,
        Err(_) => Err(FeedFault::Unreachable { reason: format!("no answer within {total:?}, over all tries") }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;

    const MOMENT: Duration = Duration::from_millis(1);

    fn away() -> FeedFault {
        FeedFault::Unreachable { reason: "no route".into() }
    }

    #[tokio::test]
    async fn a_passing_fault_is_outlasted() {
        let tries = Cell::new(0);
        let answer = with_waits_from(MOMENT, Duration::from_secs(20), async || {
            tries.set(tries.get() + 1);
            if tries.get() < 4 { Err(away()) } else { Ok(tries.get()) }
        });
        assert_eq!(answer.await, Ok(4));
    }

    #[tokio::test]
    async fn a_lasting_fault_is_not_tried_again() {
        let tries = Cell::new(0);
        let answer: Result<(), _> = with_waits_from(MOMENT, Duration::from_secs(20), async || {
            tries.set(tries.get() + 1);
            Err(FeedFault::Moved { to: None })
        })
        .await;
        assert_eq!((answer, tries.get()), (Err(FeedFault::Moved { to: None }), 1));
    }

    #[tokio::test]
    async fn the_total_time_bounds_waits_and_tries() {
        let total = Duration::from_millis(200);
        let start = Instant::now();
        let answer: Result<(), _> = with_waits_from(MOMENT, total, async || Err(away())).await;
        assert_eq!(answer, Err(away()));
        let answer: Result<(), _> = with_waits_from(MOMENT, total, std::future::pending).await;
        assert!(matches!(answer, Err(FeedFault::Unreachable { .. })));
        assert!(start.elapsed() < Duration::from_secs(5));
    }

    #[tokio::test]
    async fn the_wait_that_a_feed_asks_for_is_kept_or_the_try_given_up() {
        let tries = Cell::new(0);
        let ask = |wait: Duration| {
            tries.set(0);
            let tries = &tries;
            move || {
                tries.set(tries.get() + 1);
                let answer =
                    if tries.get() > 1 { Ok(()) } else { Err(FeedFault::Throttled { retry_after: Some(wait) }) };
                std::future::ready(answer)
            }
        };
        let (start, short, long) = (Instant::now(), Duration::from_millis(150), Duration::from_secs(3600));
        assert_eq!(with_waits_from(MOMENT, Duration::from_secs(20), ask(short)).await, Ok(()));
        assert!(start.elapsed() >= short);
        let given_up = with_waits_from(MOMENT, Duration::from_secs(20), ask(long)).await;
        assert_eq!(given_up, Err(FeedFault::Throttled { retry_after: Some(long) }));
        assert_eq!(tries.get(), 1);
    }
}
