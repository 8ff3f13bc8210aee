//! Cold nights, derived from what was foretold, said, done, measured and found; nothing of them is written down.

use super::found::{Report, WorstReport, reports, worst_reports};
use super::lying::{Stay, stays};
use super::{Damage, Entry, Key, Place, Sampled, What};
use crate::beds::Garden;
use crate::crops::{Catalogue, Frame, Harm};
use crate::night::screen::{Span, feed_low};
use crate::night::{Estimate, Knowledge};
use crate::plan::Plan;
use crate::plan::said::Said;
use crate::plan::spell::Spell;
use crate::risk::{BedRisk, DECIDING_SHARE, assess};
use crate::rounds::{RoundKind, night_hours};
use crate::units::{Celsius, MetresPerSecond};
use crate::weather::Forecast;
use crate::words::words;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::collections::{BTreeMap, BTreeSet};

/// How much of the sky was foretold to be clouded; errors of forecasts differ between these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sky {
    Clear,
    Partly,
    Overcast,
}

words!(Sky { Clear = "clear", Partly = "partly", Overcast = "overcast" });

impl Sky {
    /// The class of a mean cloud cover, 0 to 1: up to three tenths is clear, over seven overcast (assumed edges).
    pub fn of(cloud: f64) -> Sky {
        match cloud {
            cloud if cloud <= 0.3 => Sky::Clear,
            cloud if cloud <= 0.7 => Sky::Partly,
            _ => Sky::Overcast,
        }
    }
}

/// What one round foretold of a night.
#[derive(Clone, Debug, PartialEq)]
pub struct ForecastAtRound {
    pub night: NightOf,
    pub made_at: DateTime<Utc>,
    pub round: RoundKind,
    /// Key of the provider; none where readings alone spoke.
    pub provider: Option<String>,
    pub issued: Option<DateTime<Utc>>,
    /// The low at the garden's screen as it was used.
    pub low: Estimate,
    /// The low of the feed itself, before our shifts, readings and the garden's offset.
    pub feed_low: Option<Celsius>,
    /// From the forecast's issue, or its fetch, to sunrise, h.
    pub lead_hours: f64,
    /// Mean of the night, 0 to 1.
    pub cloud: f64,
    /// Mean of the night.
    pub wind_10m: MetresPerSecond,
    /// 0 to 1, as [`crate::night::Night::clear_calm`].
    pub clear_calm: f64,
    /// The evening's readings that had a part in it; without any the forecast spoke alone.
    pub readings: u32,
}

impl ForecastAtRound {
    /// What a round foretold of tonight, and of the nights after it that the forecast knows whole.
    pub fn of_spell(
        spell: &Spell<'_>,
        round: RoundKind,
        forecasts: &[Forecast],
        readings: usize,
    ) -> Vec<ForecastAtRound> {
        let is_whole = |plan: &&Plan<'_>| plan.night.as_ref().is_ok_and(|night| night.knowledge == Knowledge::Complete);
        let ahead = spell.ahead.iter().map(|night| &night.plan).filter(is_whole);
        let ahead = ahead.filter_map(|plan| ForecastAtRound::of(plan, round, forecasts, 0));
        ForecastAtRound::of(&spell.tonight, round, forecasts, readings).into_iter().chain(ahead).collect()
    }

    /// Whether it was made on the day before the night, by the mean sun, or in the night: what people went by.
    pub fn is_of_its_day(&self, longitude: f64) -> bool {
        night_of(self.made_at + Duration::hours(12), longitude) >= self.night
    }

    /// What a plan rests on; `None` where nothing was known of the night.
    pub fn of(plan: &Plan<'_>, round: RoundKind, forecasts: &[Forecast], readings: usize) -> Option<ForecastAtRound> {
        let night = plan.night.as_ref().ok()?;
        let feed = night.provider.as_ref().and_then(|provider| {
            forecasts.iter().find(|forecast| forecast.provider == *provider && forecast.issued == night.issued)
        });
        let span = Span { of: plan.of, sunset: night.sunset, sunrise: night.sunrise };
        let feed_low = feed.and_then(|feed| feed_low(feed, &span));
        let mean = |value: fn(&crate::night::NightHour) -> f64| {
            night.hours.iter().map(value).sum::<f64>() / night.hours.len().max(1) as f64
        };
        let since = night.issued.or(night.fetched).unwrap_or(plan.made_at);
        Some(ForecastAtRound {
            night: plan.of,
            made_at: plan.made_at,
            round,
            provider: night.provider.as_ref().map(|provider| provider.key().to_string()),
            issued: night.issued,
            low: night.minimum,
            feed_low,
            lead_hours: (night.sunrise - since).num_minutes() as f64 / 60.0,
            cloud: mean(|hour| hour.cloud_cover),
            wind_10m: MetresPerSecond(mean(|hour| hour.wind_10m.0)),
            clear_calm: night.clear_calm,
            readings: u32::try_from(readings).unwrap_or(u32::MAX),
        })
    }

    /// Days from issue to sunrise, counted up: 1 is within 24 hours.
    pub fn lead_day(&self) -> u32 {
        (1..10).find(|day| self.lead_hours <= f64::from(day * 24)).unwrap_or(10)
    }

    /// The class of its sky.
    pub fn sky(&self) -> Sky {
        Sky::of(self.cloud)
    }
}

/// What of a garden's plants frost harms first.
#[derive(Clone, Debug, PartialEq)]
pub struct MostTender {
    /// Where harm begins in a plant that is not hardened.
    pub begins: Celsius,
    /// Its bed and crop; none where nothing grows, and then it is the point at which water freezes.
    pub plant: Option<(String, String)>,
}

/// The garden's most tender threshold on a night: the highest temperature at which frost begins to harm a part that
/// carries weight. Chill above freezing and roots in the soil are left out: they would make every autumn night a cold
/// one.
pub fn most_tender(garden: &Garden, catalogue: &Catalogue, of: NightOf) -> MostTender {
    let beds = assess(garden, of, None, catalogue);
    let tender = beds.iter().filter_map(|bed| tender_of(bed, of));
    let first_of_equals = |first: MostTender, next: MostTender| if next.begins > first.begins { next } else { first };
    tender.reduce(first_of_equals).unwrap_or(MostTender { begins: Celsius(0.0), plant: None })
}

/// The same of one bed; `None` where nothing grows there on that night that frost could harm.
pub fn tender_of(bed: &BedRisk<'_>, of: NightOf) -> Option<MostTender> {
    let mut tender: Option<MostTender> = None;
    for planting in &bed.plantings {
        if planting.planting.planted.is_some_and(|planted| planted > of.0) {
            continue;
        }
        for (tolerance, applied) in &planting.parts {
            let counts =
                tolerance.harm == Harm::Freezing && tolerance.frame != Frame::Soil && tolerance.share >= DECIDING_SHARE;
            let begins = applied.figures.damage_begins;
            if counts && tender.as_ref().is_none_or(|tender| begins > tender.begins) {
                tender = Some(MostTender { begins, plant: Some((bed.bed.id.clone(), planting.crop.id.clone())) });
            }
        }
    }
    tender
}

/// The lowest temperature of one place in one night.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaceLow {
    pub night: NightOf,
    pub place: Place,
    pub low: Celsius,
}

/// An entry of the journal with what it is known by.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// Its number in this store.
    pub id: i64,
    pub key: Key,
    pub entry: Entry,
    /// The number of the entry that stands in its place; a struck one's is that of the striking.
    pub corrected_by: Option<i64>,
}

impl Written {
    /// Whether nothing was put in its place, and it is no word about another entry.
    pub fn stands(&self) -> bool {
        self.corrected_by.is_none() && !matches!(self.entry.what, What::Struck(_))
    }
}

/// One cold night in figures.
#[derive(Clone, Debug, PartialEq)]
pub struct ColdNight {
    pub of: NightOf,
    pub tender: MostTender,
    /// As the last round before the end of work foretold it.
    pub foretold: Option<Estimate>,
    /// The lowest air measured, at the garden's screen where it was, else at the coldest bed; a thermometer that saw the whole
    /// night goes before a look.
    pub measured: Option<(Celsius, Place)>,
    /// Whether that thermometer saw the whole night.
    pub seen_through: bool,
    /// Beds that were asked to be covered, and that were covered, as far as it was written down.
    pub asked: usize,
    pub covered: usize,
    /// Of the damage that was found, the worst.
    pub worst: Option<Damage>,
    /// How many plantings were reported on, those without damage included.
    pub reports: usize,
}

/// All that is known of many nights, each list in order of time.
#[derive(Clone, Debug, Default)]
pub struct Known {
    pub foretold: Vec<ForecastAtRound>,
    /// Lows of logs and of readings that stand, of those nights alone.
    pub lows: Vec<PlaceLow>,
    /// Lows of thermometers that saw the whole night. One of the others may have been read before it grew cold: it proves
    /// how cold it was at least, and never that it stayed warmer.
    pub whole: Vec<PlaceLow>,
    /// Lows that are in neither of these, for they look like a slip and nobody has said that they are right: what `learned`
    /// asks about.
    pub doubted: Vec<PlaceLow>,
    /// Each with its night, the first thing said first.
    pub said: Vec<(NightOf, Said)>,
    /// What the words of mornings left on the beds, of those before as well, each with the night that was over.
    pub mornings: Vec<(NightOf, Said)>,
    /// Those before and after as well: covers stay on, and damage is found late.
    pub entries: Vec<Written>,
}

impl Known {
    /// Every report of damage that stands.
    pub fn reports(&self) -> Vec<Report<'_>> {
        reports(&self.entries).collect()
    }

    /// What was found of each planting and night: its worst report, by [`worst_reports`].
    pub fn worst_reports(&self, garden: &Garden) -> Vec<WorstReport<'_>> {
        worst_reports(garden, self)
    }
}

/// The night to which an instant belongs: from noon to noon by the mean sun of a place. Not the clock's noon, so that a
/// change of clock moves nothing; not sunset, so that an afternoon's frost belongs to the night that follows.
pub fn night_of(at: DateTime<Utc>, longitude: f64) -> NightOf {
    NightOf((at + solar_offset(longitude)).date_naive())
}

/// A minimum tells of the hours before it was read: until so long after noon it is that of the night before (assumed: an
/// evening's own low comes later).
pub const MINIMUM_REACHES_BACK: Duration = Duration::hours(8);

/// The night of what a thermometer showed at an instant.
pub fn night_of_sample(at: DateTime<Utc>, of: Sampled, longitude: f64) -> NightOf {
    let back = if matches!(of, Sampled::Minimum { .. }) { MINIMUM_REACHES_BACK } else { Duration::zero() };
    night_of(at - back, longitude)
}

/// What is added to UTC so that noon by the mean sun becomes midnight.
pub fn solar_offset(longitude: f64) -> Duration {
    let seconds = (longitude * 240.0).round() as i64 - 12 * 3600;
    Duration::seconds(seconds)
}

/// Lows of readings that were typed in: of the air, under covers and in soil, instants and minima alike.
pub fn lows_of_readings(entries: &[Written], longitude: f64) -> Vec<PlaceLow> {
    let mut lows: BTreeMap<(NightOf, Place), Celsius> = BTreeMap::new();
    for written in entries.iter().filter(|written| written.stands()) {
        let What::Reading(reading) = &written.entry.what else { continue };
        if matches!(reading.of, Sampled::Maximum { .. }) {
            continue;
        }
        let night = night_of_sample(written.entry.at, reading.of, longitude);
        let low = lows.entry((night, reading.place.clone())).or_insert(reading.temperature);
        *low = low.min(reading.temperature);
    }
    lows.into_iter().map(|((night, place), low)| PlaceLow { night, place, low }).collect()
}

/// Of a night's lows the one of the garden's air.
fn shown_of<'l>(lows: &[&'l PlaceLow]) -> Option<&'l PlaceLow> {
    let in_air = || lows.iter().copied().filter(|low| matches!(low.place, Place::Screen | Place::Bed { .. }));
    let screen = in_air().find(|low| low.place == Place::Screen);
    screen.or_else(|| in_air().min_by(|a, b| a.low.0.total_cmp(&b.low.0)))
}

/// By when work outdoors should end on the day before a night.
pub fn work_ends(garden: &Garden, night: NightOf) -> DateTime<Utc> {
    night_hours(&garden.site, &garden.zone, night).0 - garden.finish_before_sunset
}

/// The low of each night as the last round of its day foretold it before work had to end: what people could go by. What was said in
/// the dark, with the evening's thermometers, is no forecast of that kind.
pub fn foretold_in_time(garden: &Garden, known: &Known) -> BTreeMap<NightOf, Estimate> {
    let of_day = known.foretold.iter().filter(|round| round.is_of_its_day(garden.site.longitude));
    of_day
        .filter(|round| round.made_at <= work_ends(garden, round.night))
        .map(|round| (round.night, round.low))
        .collect()
}

/// The nights that came below the garden's most tender threshold, foretold by their last round or measured in the air,
/// in order of time.
pub fn cold_nights(garden: &Garden, catalogue: &Catalogue, known: &Known) -> Vec<ColdNight> {
    let in_time = foretold_in_time(garden, known);
    // Whether it was cold is asked of every round, those in the dark too.
    let mut foretold: BTreeMap<NightOf, Celsius> = BTreeMap::new();
    for round in known.foretold.iter().filter(|round| round.is_of_its_day(garden.site.longitude)) {
        let coldest = foretold.entry(round.night).or_insert(round.low.mean);
        *coldest = coldest.min(round.low.mean);
    }
    let mut measured: BTreeMap<NightOf, Vec<&PlaceLow>> = BTreeMap::new();
    for low in known.lows.iter().filter(|low| matches!(low.place, Place::Screen | Place::Bed { .. })) {
        measured.entry(low.night).or_default().push(low);
    }
    let mut nights: Vec<NightOf> = foretold.keys().chain(measured.keys()).copied().collect();
    nights.sort();
    nights.dedup();
    // What grows is worked out only for nights that could be cold for anything that the catalogue has.
    let tenderest =
        catalogue.crops.values().flat_map(|crop| &crop.tolerances).filter(|tolerance| tolerance.harm == Harm::Freezing);
    let warmest = tenderest.map(|tolerance| tolerance.damage_begins).fold(Celsius(0.0), Celsius::max);
    let warmest = garden.own_figures.iter().filter_map(|own| own.damage_begins).fold(warmest, Celsius::max);
    let stays = stays(garden, &known.entries, &known.mornings);
    let reports = known.worst_reports(garden);
    let mut cold = Vec::new();
    for of in nights {
        let lows = measured.get(&of).map(Vec::as_slice).unwrap_or_default();
        let coldest = lows.iter().map(|low| low.low).reduce(Celsius::min);
        let lowest = [coldest, foretold.get(&of).copied()].into_iter().flatten().reduce(Celsius::min);
        let Some(lowest) = lowest.filter(|low| *low < warmest) else { continue };
        let tender = most_tender(garden, catalogue, of);
        if lowest < tender.begins {
            let whole: Vec<&PlaceLow> = known.whole.iter().filter(|low| low.night == of).collect();
            let shown = shown_of(&whole).or_else(|| shown_of(lows));
            let measured = shown.map(|low| (low.low, low.place.clone()));
            let night = figures(of, tender, in_time.get(&of).copied(), measured, known, &stays, &reports);
            cold.push(ColdNight { seen_through: shown_of(&whole).is_some(), ..night });
        }
    }
    cold
}

fn figures(
    of: NightOf,
    tender: MostTender,
    foretold: Option<Estimate>,
    measured: Option<(Celsius, Place)>,
    known: &Known,
    stays: &[Stay],
    reports: &[WorstReport<'_>],
) -> ColdNight {
    let asked = known.said.iter().filter(|(night, _)| *night == of).flat_map(|(_, said)| &said.beds);
    let mut asked: Vec<&str> = asked.filter(|bed| bed.cover.is_some()).map(|bed| bed.bed.as_str()).collect();
    asked.sort_unstable();
    asked.dedup();
    let damage: Vec<&Damage> = reports.iter().filter(|report| report.night == of).map(|report| report.damage).collect();
    let lying = stays.iter().filter(|stay| stay.is_sure(of));
    let covered: BTreeSet<&str> = lying.map(|stay| stay.laid.bed.as_str()).collect();
    ColdNight {
        of,
        tender,
        foretold,
        measured,
        seen_through: false,
        asked: asked.len(),
        covered: covered.len(),
        worst: damage.iter().max_by_key(|damage| damage.class).map(|damage| (*damage).clone()),
        reports: damage.len(),
    }
}

#[cfg(test)]
mod tests;
