//! One look at one garden: the best forecast at hand, the evening's readings, and the list that follows from them.

mod known;
mod sources;
mod taught;

pub use crate::journal::event::work_ends;
pub use crate::lessons::span_of;
pub use known::known;
pub use sources::{Gathered, Sources};
pub use taught::{All, NOT_TAUGHT, all_lessons, teach};

use super::store::{SaidRow, Store, StoreFault};
use crate::beds::Garden;
use crate::crops::{Catalogue, Stature};
use crate::journal::{self, What};
use crate::night::bed::offset_at;
use crate::night::day::Day;
use crate::night::past::{PastDay, remembered};
use crate::night::screen::{Evidence, Span, expect, past};
use crate::night::{Knowledge, Night, NoNight, Remark};
use crate::plan::before::{Hand, laid, still_out, with_carried, with_hands};
use crate::plan::said::{Elsewhere, Said, elsewhere, pieces_in_use, pieces_left};
use crate::plan::spell::Spell;
use crate::plan::taken::Taken;
use crate::plan::{Before, Plan, decide, decide_ahead};
use crate::risk::{BedRisk, assess, place_of};
use crate::rounds::{MORNING_AFTER, night_hours};
use crate::settings::Settings;
use crate::units::Kelvins;
use crate::weather::{Forecast, Provider, Reading};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

fn is_whole(night: &Night) -> bool {
    night.knowledge == Knowledge::Complete
}

/// Whether a night's forecast knows all its hours and is not old: the one that a list is made from first.
pub fn is_whole_and_young(night: &Night) -> bool {
    is_whole(night) && !night.remarks.iter().any(|remark| matches!(remark, Remark::Old { .. }))
}

/// What was written longer ago speaks of no planting that could still stand to be picked (assumed).
const WRITTEN_COUNTS: Duration = Duration::days(300);

/// Feeds whose lows are further apart than this speak of different nights, K (a first choice).
const DISAGREEMENT: Kelvins = Kelvins(3.0);

/// The list of a night of which nothing was said yet; see [`list_after`].
pub fn list<'a>(
    garden: &'a Garden,
    catalogue: &'a Catalogue,
    of: NightOf,
    forecasts: &[Forecast],
    readings: &[Reading],
    now: DateTime<Utc>,
) -> Plan<'a> {
    list_after(garden, catalogue, of, forecasts, readings, Before::default(), now)
}

/// The list of a night: from the first forecast that knows the whole night and is not old, else from the first that
/// knows it all, else from the first that knows any of it, else from readings alone, else a list that says that nothing
/// is known. A feed that was passed over for its holes or its age and is much colder is believed all the same. What
/// was said of this night `before` does not change for little.
pub fn list_after<'a>(
    garden: &'a Garden,
    catalogue: &'a Catalogue,
    of: NightOf,
    forecasts: &[Forecast],
    readings: &[Reading],
    before: Before<'_>,
    now: DateTime<Utc>,
) -> Plan<'a> {
    let (span, night, risks) = known_of(garden, catalogue, of, forecasts, readings, now);
    decide(garden, of, span.sunset, night, risks, before, now)
}

/// What the forecasts and readings make of a night, and its risks.
fn known_of<'a>(
    garden: &'a Garden,
    catalogue: &'a Catalogue,
    of: NightOf,
    forecasts: &[Forecast],
    readings: &[Reading],
    now: DateTime<Utc>,
) -> (Span, Result<Night, NoNight>, Vec<BedRisk<'a>>) {
    let span = span_of(garden, of);
    let night_from = |forecast: Option<&Forecast>| {
        let learned = Some(&garden.learned.forecasts);
        expect(&Evidence { forecast, readings, garden_offset: garden.offset, learned, now }, &span)
    };
    let mut nights: Vec<_> = forecasts.iter().map(|forecast| night_from(Some(forecast))).collect();
    // Where a forecast is of no use, the evening's thermometer has answered in its place, within what the forecast knows to
    // be possible. A forecast with holes still says more, and is refined by a reading too.
    if forecasts.is_empty() {
        nights.push(night_from(None));
    }
    let from_forecast = |night: &Result<Night, NoNight>, is_good: fn(&Night) -> bool| {
        night.as_ref().is_ok_and(|night| night.provider.is_some() && is_good(night))
    };
    let first = |is_good: fn(&Night) -> bool| nights.iter().position(|night| from_forecast(night, is_good));
    let best = first(is_whole_and_young)
        .or_else(|| first(is_whole))
        .or_else(|| first(|_| true))
        .or_else(|| nights.iter().position(Result::is_ok));
    // Nothing usable: the first feed's reason is the one worth telling.
    let best = best.unwrap_or(0);
    let low = |night: &Result<Night, NoNight>| night.as_ref().ok().map(|night| night.minimum.mean);
    let colder = low(&nights[best]).and_then(|chosen| {
        let forecasts = nights.iter().enumerate().filter(|(_, night)| from_forecast(night, |_| true));
        let others = forecasts.filter_map(|(index, night)| Some((index, low(night)?)));
        let coldest = others.min_by(|(_, a), (_, b)| a.0.total_cmp(&b.0))?;
        (chosen - coldest.1 > DISAGREEMENT).then_some((coldest.0, chosen - coldest.1))
    });
    let mut night = nights.swap_remove(colder.map_or(best, |(index, _)| index));
    if let (Ok(night), Some((_, by))) = (&mut night, colder) {
        night.remarks.push(Remark::FeedsDisagree { by });
    }
    let knows_its_own_past = forecasts.len() == 1 && night.as_ref().is_ok_and(|night| night.provider.is_some());
    if let Ok(night) = &mut night
        && !knows_its_own_past
    {
        // Plants remember what the feed that speaks tonight may not: the fullest record counts, its own where it is one.
        let fullest =
            forecasts.iter().map(|forecast| past(forecast, &span, garden.offset)).max_by_key(|past| known_lows(past));
        if let Some(fullest) = fullest.filter(|fullest| known_lows(fullest) > known_lows(&night.past)) {
            night.before = remembered(&fullest);
            night.past = fullest;
        }
    }
    let risks = assess(garden, of, night.as_ref().ok(), catalogue);
    (span, night, risks)
}

/// Lists of nights in a row, `of` first, and the days between them. What the evening's thermometer says is of the first, and
/// so is what was said and done `before`; each later night starts from what the list of the one before it leaves out.
#[expect(clippy::too_many_arguments, reason = "all that a list needs, and how many")]
pub fn spell<'a>(
    garden: &'a Garden,
    catalogue: &'a Catalogue,
    of: NightOf,
    nights: u32,
    forecasts: &[Forecast],
    readings: &[Reading],
    before: Before<'_>,
    now: DateTime<Utc>,
) -> Spell<'a> {
    let night = |number: u32| NightOf(of.0 + Duration::days(number.into()));
    let tonight = list_after(garden, catalogue, of, forecasts, readings, before, now);
    // A low that somebody has given is tonight's, and without any feed nothing is known of later nights.
    let of_feeds: Vec<Forecast> =
        forecasts.iter().filter(|forecast| forecast.provider != Provider::HandGivenLow).cloned().collect();
    let later = if of_feeds.is_empty() { 1..1 } else { 1..nights };
    let days: Vec<Option<Day>> =
        later.clone().map(|number| day_before(garden, night(number), &of_feeds, now)).collect();
    let mut plans: Vec<Plan<'_>> = Vec::with_capacity(days.len());
    for (number, day) in later.zip(&days) {
        let out = Said::of(plans.last().unwrap_or(&tonight));
        let before = Before { said: None, out: Some(&out), day: *day, laid: &[], ..before };
        let of = night(number);
        let (span, night, risks) = known_of(garden, catalogue, of, &of_feeds, &[], now);
        plans.push(decide_ahead(garden, of, span.sunset, night, risks, before, now));
    }
    Spell::of(tonight, plans, &days)
}

/// Of a day that has begun the last hours count, however late it is (assumed): a feed has dropped those that are over.
const REST_OF_A_DAY: Duration = Duration::hours(3);

/// The day before a night, from an hour after sunrise to the deadline, or what is left of it: the warmest that a feed
/// expects, for it is warmth that a cover must not keep in.
pub fn day_before(garden: &Garden, of: NightOf, forecasts: &[Forecast], now: DateTime<Utc>) -> Option<Day> {
    let (_, sunrise) = night_hours(&garden.site, &garden.zone, NightOf(of.0 - Duration::days(1)));
    let evening = span_of(garden, of).sunset - garden.finish_before_sunset;
    let begun = (now - Duration::hours(1)).min(evening - REST_OF_A_DAY);
    let morning = (sunrise + MORNING_AFTER).max(begun);
    let between = |forecast: &Forecast| Day::between(forecast, morning, evening, garden.offset);
    forecasts.iter().filter_map(between).max_by(|a, b| a.warmest.0.total_cmp(&b.warmest.0))
}

/// Of how many past nights the low is known.
fn known_lows(past: &[PastDay]) -> usize {
    past.iter().filter(|day| day.low(Kelvins(0.0)).is_some()).count()
}

/// A clock is set back by a few hours at most; what was said later than that belongs to another time, or to a rehearsal.
const AHEAD: Duration = Duration::hours(3);

/// Whether a list was said by now.
pub fn is_heard(row: &SaidRow, now: DateTime<Utc>) -> bool {
    row.said_at <= now + AHEAD
}

/// What a row says; nothing where it is damaged.
pub fn read_back(row: &SaidRow) -> Option<Said> {
    serde_json::from_str(&row.document)
        .inspect_err(|fault| tracing::error!(garden = row.garden, %fault, "what was said cannot be read back"))
        .ok()
}

/// What a garden was told of a night until now, oldest first.
pub async fn heard(store: &Store, garden: &str, of: NightOf, now: DateTime<Utc>) -> Result<Vec<Said>, StoreFault> {
    let rows = store.said(garden, of).await?;
    Ok(rows.iter().filter(|row| is_heard(row, now)).filter_map(read_back).collect())
}

/// Shared covers of a garden that others have on a night, by what these were told until now: those of their lists of the
/// night, and those that lie there since the night before until the word of the morning says that they come off.
pub async fn covers_elsewhere(
    store: &Store,
    settings: &Settings,
    garden: &Garden,
    of: NightOf,
    now: DateTime<Utc>,
) -> Result<Vec<Elsewhere>, StoreFault> {
    let mut all = Vec::new();
    let over = NightOf(of.0 - Duration::days(1));
    let gardens = settings.gardens.iter().map(|settings| &settings.garden);
    for other in gardens.filter(|other| garden.shares_with(other)) {
        let deadline = |of: NightOf| span_of(other, of).sunset - other.finish_before_sunset;
        let tonight = heard(store, &other.id, of, now).await?;
        let last_night = heard(store, &other.id, over, now).await?;
        let mut in_use = pieces_in_use(&tonight, deadline(of));
        // A list that knows nothing takes nothing off.
        let told = tonight.iter().rfind(|said| said.has_work() || !said.is_unknown());
        for (cover, pieces) in pieces_left(&last_night, deadline(over), told) {
            let most: &mut u32 = in_use.entry(cover).or_default();
            *most = pieces.max(*most);
        }
        all.extend(elsewhere(garden, other, &in_use));
    }
    Ok(all)
}

/// What the night before a night has left on beds and inside. Once people were told in the morning what to do with it, only
/// what was to stay is still there, and of that what the coming night was `said` to want too. What somebody has written
/// down of covers until now goes before all that was said.
pub async fn left_out(
    store: &Store,
    garden: &Garden,
    of: NightOf,
    said: Option<&Said>,
    now: DateTime<Utc>,
) -> Result<Option<Said>, StoreFault> {
    let over = NightOf(of.0 - Duration::days(1));
    let all = said_of(store, garden, over).await?;
    let hands = hands(store, garden, over, now).await?;
    let out = out_after(store, garden, over, &hands, now).await?;
    Ok(by_day(out, &all, said, &hands, now))
}

/// What was out in the morning, on the day after: as the last of `all` that spoke of it had it, and as people wrote since.
fn by_day(out: Option<Said>, all: &[Said], said: Option<&Said>, hands: &[Hand], now: DateTime<Utc>) -> Option<Said> {
    let word = all.iter().rfind(|said| said.kept.is_some()).map_or(now, |said| said.at);
    with_hands(out.map(|out| out.after_the_morning(all, said)), hands, word, now)
}

/// What may lie on beds and stand inside in the morning after a night: what its lists asked for, what was left out through
/// the day before it, and what people wrote down of either.
async fn out_after(
    store: &Store,
    garden: &Garden,
    night: NightOf,
    hands: &[Hand],
    now: DateTime<Utc>,
) -> Result<Option<Said>, StoreFault> {
    let yesterday = NightOf(night.0 - Duration::days(1));
    let (before, lists) = (said_of(store, garden, yesterday).await?, said_of(store, garden, night).await?);
    let until = |night: NightOf| work_ends(garden, night);
    // The word of the morning names all that was out then, so that one night further back is enough.
    let carried = with_hands(still_out(&before, until(yesterday)), hands, until(yesterday), now);
    let carried = by_day(carried, &before, None, hands, now);
    let out = with_hands(still_out(&lists, until(night)), hands, until(night), now);
    Ok(with_carried(out, carried))
}

/// What people wrote down of covers from the evening before a night until now.
pub async fn hands(
    store: &Store,
    garden: &Garden,
    night: NightOf,
    now: DateTime<Utc>,
) -> Result<Vec<Hand>, StoreFault> {
    let since = work_ends(garden, NightOf(night.0 - Duration::days(1)));
    Ok(journal::laid::hands(garden, &store.entries_that_read(&garden.id, (since, now)).await?.0))
}

/// Beds that somebody has covered on the day before a night, from the word of its morning on.
pub async fn laid_by_day(
    store: &Store,
    garden: &Garden,
    of: NightOf,
    now: DateTime<Utc>,
) -> Result<Vec<String>, StoreFault> {
    let over = NightOf(of.0 - Duration::days(1));
    let (_, sunrise) = night_hours(&garden.site, &garden.zone, over);
    Ok(laid(&hands(store, garden, over, now).await?, sunrise + MORNING_AFTER, now))
}

/// What to say in a list of entries that cannot be read back.
pub const UNREAD: &str =
    "Some of the journal could not be read: what it says was picked, lost or covered is not counted.";

/// What was picked or lost in a garden before a night, by what somebody wrote down, and how many entries could not be read.
pub async fn taken(
    store: &Store,
    garden: &Garden,
    of: NightOf,
    now: DateTime<Utc>,
) -> Result<(Vec<Taken>, usize), StoreFault> {
    let since = now - WRITTEN_COUNTS;
    let (entries, unread) = store.entries_that_read(&garden.id, (since, now)).await?;
    if !entries.iter().any(|written| matches!(written.entry.what, What::Harvested(_))) {
        return Ok((journal::taken::taken(garden, &entries, &[], of), unread));
    }
    let rows = store.said_between(&garden.id, NightOf(of.0 - WRITTEN_COUNTS), of).await?;
    let said: Vec<Said> = rows.iter().filter_map(read_back).collect();
    Ok((journal::taken::taken(garden, &entries, &said, of), unread))
}

async fn said_of(store: &Store, garden: &Garden, night: NightOf) -> Result<Vec<Said>, StoreFault> {
    Ok(store.said(&garden.id, night).await?.iter().filter_map(read_back).collect())
}

/// What the words of all mornings after have left on the beds of a garden.
pub async fn mornings(store: &Store, garden: &Garden) -> Result<Vec<(NightOf, Said)>, StoreFault> {
    let rows = store.said_of_mornings(&garden.id).await?;
    Ok(rows.iter().filter_map(|row| Some((row.night, read_back(row)?))).collect())
}

/// Readings of an evening, each with the offset of the place where its thermometer hangs.
pub async fn readings(store: &Store, garden: &Garden, of: NightOf) -> Result<Vec<Reading>, StoreFault> {
    let span = span_of(garden, of);
    let rows = store.readings(&garden.id, span.sunset - Duration::hours(1), span.end()).await?;
    let readings = rows.iter().map(|row| {
        let bed = row.bed.as_ref().and_then(|id| garden.beds.iter().position(|bed| bed.id == *id));
        let (offset, offset_spread) =
            bed.map_or((Kelvins(0.0), Kelvins(0.0)), |bed| offset_at(&place_of(&garden.beds[bed], Stature::LOW_BED)));
        Reading {
            at: row.at,
            air: row.temperature,
            dew_point: row.dew_point,
            offset,
            offset_spread,
            bed,
            sure: row.sure,
        }
    });
    Ok(readings.collect())
}
