//! What a garden's lists would have asked on the nights of a past record, for each caution, and what of it would have
//! mattered.
//!
//! The beds are those of today, in the stages of today, on every night: it is a question about the setting, not about the
//! past. Damage and what covers gain are those of the program, so that it tells how the choices compare, not how the garden
//! would have fared.

use super::Foretold;
use crate::beds::{Caution, Garden};
use crate::crops::Catalogue;
use crate::night::screen::{Evidence, Span, expect};
use crate::night::{Estimate, Knowledge, Night};
use crate::plan::aftermath::{loss_left, walking};
use crate::plan::{Before, Measure, Plan, decide};
use crate::risk::{BedRisk, assess, stage_of};
use crate::score::resample::interval_95;
use crate::units::{Celsius, Kelvins};
use crate::weather::sun::{SunEvents, night_between};
use crate::weather::{Forecast, Site};
use crate::zone::{NightOf, Zone};
use chrono::{Datelike, Duration};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// What one night's list came to.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Outcome {
    /// Whether a cover was to be laid, or a pot to be carried in.
    pub protects: bool,
    /// Whether that kept more worth, on the night as it came, than it took work.
    pub mattered: bool,
    /// Person-minutes, the morning after included.
    pub work: f64,
    /// Minutes of worth lost all the same.
    pub lost: f64,
}

/// All nights of a record under each caution, in the order of [`Caution::ALL`].
#[derive(Clone, Debug, Default)]
pub struct Nights {
    outcomes: Vec<(NightOf, [Outcome; 3])>,
    is_south: bool,
}

/// The months of a season, which [`super::past_nights`] takes nights from, and how long each is.
const NORTH: [(u32, f64); 7] = [(10, 31.0), (11, 30.0), (12, 31.0), (1, 31.0), (2, 28.25), (3, 31.0), (4, 30.0)];
const SOUTH: [(u32, f64); 7] = [(4, 30.0), (5, 31.0), (6, 30.0), (7, 31.0), (8, 31.0), (9, 30.0), (10, 31.0)];
/// With fewer nights of any month of the season than this a record says nothing of a winter (assumed: about half of one).
pub const OF_EACH_MONTH: usize = 15;
/// Lists are made so long before sunset, as on an afternoon's round.
const BEFORE_SUNSET: Duration = Duration::hours(4);
/// How well a low is known once it has been read, K.
const READ: Kelvins = Kelvins(0.05);
const DRAWS: usize = 2_000;

/// A garden whose plantings keep the stage that they have on a night, whatever the date.
pub fn as_it_stands(garden: &Garden, catalogue: &Catalogue, on: NightOf) -> Garden {
    let mut staged = garden.clone();
    for planting in staged.beds.iter_mut().flat_map(|bed| &mut bed.plantings) {
        if let Some(crop) = catalogue.crops.get(&planting.crop) {
            planting.stage = Some(stage_of(garden, planting, crop, on).name.to_string());
            planting.planted = None;
        }
    }
    staged
}

/// The lists of a garden that is kept [`as_it_stands`], on the nights foretold from a record of `site`, and what came of
/// them. `shift`: the garden's screen against the record. A night of which the record does not know every hour is left out.
pub fn judge(
    garden: &Garden,
    catalogue: &Catalogue,
    record: &Forecast,
    (site, zone): (&Site, &Zone),
    foretold: &[Foretold],
    shift: Kelvins,
) -> Nights {
    let gardens: Vec<Garden> =
        Caution::ALL.iter().map(|caution| Garden { caution: *caution, ..garden.clone() }).collect();
    let mut nights = Vec::new();
    for night in foretold {
        let Some(known) = night_of_record(record, site, zone, night.of) else { continue };
        let at = |low: Celsius, spread: Kelvins| with_low(&known, low + shift, spread);
        let (expected, came) = (at(night.low.median(), night.low.spread), at(night.observed, READ));
        let truth = assess(garden, night.of, Some(&came), catalogue);
        let mut outcomes = [Outcome::default(); 3];
        for (garden, outcome) in gardens.iter().zip(&mut outcomes) {
            let risks = assess(garden, night.of, Some(&expected), catalogue);
            let now = expected.sunset - BEFORE_SUNSET;
            let plan = decide(garden, night.of, expected.sunset, Ok(expected.clone()), risks, Before::default(), now);
            *outcome = outcome_of(&plan, &truth);
        }
        nights.push((night.of, outcomes));
    }
    Nights { outcomes: nights, is_south: site.latitude < 0.0 }
}

/// A night as a record has it, with the days before it; `None` where hours are missing.
pub fn night_of_record(record: &Forecast, site: &Site, zone: &Zone, of: NightOf) -> Option<Night> {
    let SunEvents::Night { sunset, sunrise } = night_between(site, zone, of) else { return None };
    let hours = record.between(sunset - Duration::days(12), sunrise + Duration::hours(3)).to_vec();
    let now = sunset - BEFORE_SUNSET;
    let forecast = Forecast {
        provider: record.provider.clone(),
        issued: Some(now),
        fetched: now,
        hours,
        minima: Vec::new(),
        implausible_hours: 0,
        cell_elevation: None,
    };
    let evidence =
        Evidence { forecast: Some(&forecast), readings: &[], garden_offset: Some(Kelvins(0.0)), learned: None, now };
    expect(&evidence, &Span { of, sunset, sunrise }).ok().filter(|night| night.knowledge == Knowledge::Complete)
}

/// The same night with another low.
pub fn with_low(night: &Night, low: Celsius, spread: Kelvins) -> Night {
    let mut moved = night.shifted(low - night.minimum.mean);
    moved.minimum = Estimate { mean: low, spread };
    moved
}

fn outcome_of(plan: &Plan<'_>, truth: &[BedRisk<'_>]) -> Outcome {
    let (mut lost, mut kept, mut spent, mut protecting) = (0.0, 0.0, 0.0, Vec::new());
    for (bed, came) in plan.beds.iter().zip(truth) {
        let used = bed.cover.as_ref();
        let cover = used.and_then(|used| Some(plan.garden.covers.get(used.stock)?.cover(used.layers)));
        let left = loss_left(&bed.risk, bed.measure, cover, came).0;
        lost += left;
        if cover.is_some() || bed.measure == Measure::BringIn {
            // Walking to pick is walked anyhow.
            let by = if bed.measure == Measure::BringIn { Measure::BringIn } else { Measure::Cover };
            protecting.push((by, cover.is_some()));
            // What is picked is picked with a cover and without.
            let without = if bed.measure == Measure::Harvest { Measure::Harvest } else { Measure::Leave };
            kept += loss_left(&bed.risk, without, None, came).0 - left;
            spent += bed.work.0 - bed.picks.iter().map(|pick| pick.work.0).sum::<f64>();
        }
    }
    let protects = !protecting.is_empty();
    spent += walking(protecting).0;
    Outcome { protects, mattered: protects && kept > spent, work: plan.work().0, lost }
}

fn named(month: u32) -> &'static str {
    let names = u8::try_from(month).ok().and_then(|month| chrono::Month::try_from(month).ok());
    names.map_or("", |month| month.name())
}

impl Nights {
    pub fn len(&self) -> usize {
        self.outcomes.len()
    }

    pub fn is_empty(&self) -> bool {
        self.outcomes.is_empty()
    }

    /// The outcomes under one caution.
    pub fn under(&self, caution: Caution) -> impl Iterator<Item = (NightOf, &Outcome)> {
        let place = Caution::ALL.iter().position(|one| *one == caution).unwrap_or(0);
        self.outcomes.iter().filter_map(move |(of, outcomes)| Some((*of, outcomes.get(place)?)))
    }

    /// The months of the season, each with its length and how many nights of it the record has, of all its years together.
    pub fn months(&self) -> impl Iterator<Item = (u32, f64, usize)> {
        let of = |month: u32| self.outcomes.iter().filter(|(of, _)| of.0.month() == month).count();
        let season = if self.is_south { SOUTH } else { NORTH };
        season.into_iter().map(move |(month, days)| (month, days, of(month)))
    }

    /// On so many nights of the record, or so much of all of them.
    pub fn in_all(&self, caution: Caution, value: fn(&Outcome) -> f64) -> f64 {
        self.under(caution).map(|(_, outcome)| value(outcome)).sum()
    }

    /// In a winter of whole length: the mean, and the middle 95 % of it with months drawn anew. Every month counts by its
    /// length, however many nights of it the record has. `None` where a month has fewer than [`OF_EACH_MONTH`].
    pub fn in_a_winter(&self, caution: Caution, value: fn(&Outcome) -> f64) -> Option<(f64, (f64, f64))> {
        let season: Vec<(u32, f64, usize)> = self.months().collect();
        if season.iter().any(|(_, _, nights)| *nights < OF_EACH_MONTH) {
            return None;
        }
        let mut months: BTreeMap<(i32, u32), (f64, f64)> = BTreeMap::new();
        for (of, outcome) in self.under(caution) {
            let length = season.iter().find(|(month, ..)| *month == of.0.month());
            let Some(weight) = length.map(|(_, days, nights)| days / *nights as f64) else { continue };
            let month = months.entry((of.0.year(), of.0.month())).or_default();
            (month.0, month.1) = (month.0 + weight * value(outcome), month.1 + weight);
        }
        let blocks: Vec<(f64, f64)> = months.into_values().collect();
        let winter: f64 = season.iter().map(|(_, days, _)| days).sum();
        let sum: f64 = blocks.iter().map(|(sum, _)| sum).sum();
        let (low, high) = interval_95(&blocks, DRAWS, 11)?;
        Some((sum, (winter * low, winter * high)))
    }

    /// What each caution comes to, in sentences; `now`: the one that the garden has.
    pub fn report(&self, name: &str, now: Caution) -> String {
        if self.is_empty() {
            return "\nNo night of this record has every hour, so nothing is said of the garden's lists.\n".into();
        }
        let mut text = String::new();
        let mut say = |indent: &str, hanging: &str, sentences: &str| {
            let options = textwrap::Options::new(79).initial_indent(indent).subsequent_indent(hanging);
            // Writing to a text in memory cannot fail.
            let _ = writeln!(text, "{}", textwrap::fill(sentences, options));
        };
        say("", "", "");
        say("", "", &format!("What the lists of {name} would have asked, and what each caution would have changed:"));
        for caution in Caution::ALL {
            let in_all = |value: fn(&Outcome) -> f64| self.in_all(*caution, value);
            let in_a_winter = |value: fn(&Outcome) -> f64| self.in_a_winter(*caution, value);
            let value = |value: fn(&Outcome) -> f64| in_a_winter(value).map_or_else(|| in_all(value), |of| of.0);
            let nights: fn(&Outcome) -> f64 = |night| f64::from(u8::from(night.protects));
            let covered = match in_a_winter(nights) {
                Some((nights, (few, many))) => format!("about {nights:.0} nights a winter [{few:.0}, {many:.0}]"),
                None => format!("{:.0} of the {} nights of this record", in_all(nights), self.len()),
            };
            let mattered = value(|night| f64::from(u8::from(night.mattered)));
            let (work, lost) = (value(|night| night.work), value(|night| night.lost));
            let tens = |minutes: f64| (minutes / 10.0).round() * 10.0;
            say(
                "  ",
                "    ",
                &format!(
                    "\"{}\"{}: covers needed on {covered}, of which {mattered:.0} would have mattered; {} minutes of work, {} minutes of worth lost all the same.",
                    caution.word(),
                    if *caution == now { " (as it is set)" } else { "" },
                    tens(work),
                    tens(lost)
                ),
            );
        }
        let months: Vec<String> =
            self.months().map(|(month, _, nights)| format!("{} {nights}", named(month))).collect();
        let of = match self.in_a_winter(now, |_| 1.0) {
            Some(_) => {
                "Each month is counted by its length; in brackets the middle 95 % with months drawn anew.".to_string()
            }
            None => format!(
                "A winter is more than that: its figures want {OF_EACH_MONTH} nights of each of these months, of one \
                 year or several."
            ),
        };
        say("", "", &format!("From {} nights: {}. {of}", self.len(), months.join(", ")));
        say(
            "",
            "",
            &format!(
                "The beds are as they are planted today, and each night is taken by itself: what was lost or picked stands \
                 again the next evening. Carrying pots in counts as covering. A night mattered where, as it came, the covers \
                 kept more worth than their work, walking included. Damage is reckoned, not observed."
            ),
        );
        text
    }
}

#[cfg(test)]
mod tests;
