//! Covers that the word of the morning left on beds, on a day that turns too hot or too bright for them.

use super::post::{Enclosed, Post};
use super::rounds::{next_revision, round_row, said_row};
use super::{Daemon, DaemonFault};
use crate::beds::{Garden, Person};
use crate::message::too_hot_letter;
use crate::plan::said::{Said, SayReason};
use crate::plan::spell::too_hot;
use crate::rounds::Round;
use crate::service::look::{day_before, left_out, read_back, work_ends};
use crate::service::store::RoundState;
use crate::weather::Forecast;
use crate::zone::NightOf;
use chrono::Duration;

const KIND: &str = "too-hot";
/// With less time than this before the deadline the sun is low, and covers are about to be wanted (assumed).
const STILL_HOT: Duration = Duration::hours(1);

impl Daemon<'_> {
    /// Tells everybody at once which covers that were to stay by day come off or open, and leaves them out of what stays. The
    /// round is not over by that.
    pub(super) async fn too_hot_by_day(
        &self,
        garden: &Garden,
        round: Round,
        forecasts: &[Forecast],
    ) -> Result<(), DaemonFault> {
        let (over, now) = (NightOf(round.night.0 - Duration::days(1)), self.clock.now());
        let until = work_ends(garden, round.night);
        let rows = self.store.said(&garden.id, over).await?;
        let word = rows.iter().filter_map(read_back).rfind(|said| said.kept.is_some());
        let (Some(word), Some(day)) = (word, day_before(garden, round.night, forecasts, now)) else { return Ok(()) };
        if until - now < STILL_HOT || now < word.at {
            return Ok(());
        }
        let Some(out) = left_out(self.store, garden, round.night, None, now).await? else { return Ok(()) };
        let hot = too_hot(garden, &word, &out, &day);
        if hot.is_empty() {
            return Ok(());
        }
        let told = Said { at: now, ..word.opened_up(&hot) };
        let revision = next_revision(&rows);
        let (others_due, enclosed) = (None, Enclosed::default());
        let post = Post { garden, of: over, kind: KIND, revision, expires: until, others_due, now, enclosed };
        let people: Vec<&Person> = garden.people.iter().collect();
        let messages = self.messages(&people, &post, |_| too_hot_letter(garden, &hot, &day, until)).await?;
        let said = said_row(garden, over, revision, &told, now)?;
        let due = round_row(garden, round, RoundState::Due, now);
        self.store.decide(Some(said), due, &messages).await?;
        let reason = SayReason::TooHotByDay;
        tracing::info!(garden = garden.id, kind = round.kind.word(), ?reason, mails = messages.len(), "said");
        self.shared.mail.notify_one();
        Ok(())
    }
}
