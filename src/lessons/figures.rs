//! Learned figures by name, each as published, learned and in use, and what was accepted of them.

use super::{Lessons, beds, covers, forecasts};
use crate::beds::{Garden, LearnedOffset};
use crate::learn::cover_gain::LearnedGain;
use crate::learn::forecast::{Forecasts, LEAD_DAYS, Sky};
use crate::learn::{Asked, Figure, Learned};
use crate::night::corrections::{Correction, LEAST_FACTOR};
use crate::night::cover::{Cover, Layers};
use crate::units::Kelvins;
use crate::zone::NightOf;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A figure that was accepted, as it stood then: that acts, whatever is learned later.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Accepted {
    /// K
    pub mean: f64,
    /// One standard deviation, K; above 0.
    pub spread: f64,
    /// How many nights it rests on.
    pub nights: usize,
}

impl Accepted {
    /// Of a learned figure, or `None` where nothing was learned.
    pub fn of(learned: &Learned) -> Option<Accepted> {
        let Figure { mean, spread } = learned.learned;
        let nights = learned.nights.len();
        (nights > 0).then_some(Accepted { mean: mean.0, spread: spread.0, nights })
    }

    /// The figure, or `None` where it is none: what cannot be used does not act.
    pub fn figure(self) -> Option<Figure> {
        let is_sound = self.mean.is_finite() && self.spread.is_finite() && self.spread > 0.0;
        is_sound.then_some(Figure { mean: Kelvins(self.mean), spread: Kelvins(self.spread) })
    }
}

/// What was accepted, by the name of its figure.
pub type Accepts = BTreeMap<String, Accepted>;

/// What decides over a figure on tonight's list.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum InUse {
    Published,
    /// It acts without being asked for.
    AtOnce(Figure),
    /// As it stood when it was accepted.
    Accepted(Figure),
    /// The garden's file says another, which goes before.
    File,
}

/// One learned figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// As it is accepted by.
    pub name: String,
    pub kind: Kind,
    pub learned: Learned,
    pub in_use: InUse,
}

/// What a figure is.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// Added to the lows of a feed, with what its planning spread is multiplied by: as learned, and as used.
    Forecast { provider: String, lead_day: usize, sky: Sky, factor: (f64, f64) },
    /// Added to the garden's screen on a clear, calm night.
    Bed { bed: String },
    /// What a cover gains on a still night after a sunny day.
    Cover(Cover),
}

/// The name of a bed's offset.
pub fn of_bed(bed: &str) -> String {
    format!("bed:{bed}")
}

/// The name of a cover's gain.
pub fn of_cover(cover: Cover) -> String {
    let layers = if cover.layers == Layers::Two { "/two-layers" } else { "" };
    let rests = match (cover.rests_on_plants, cover.kind.rests_as_a_rule()) {
        (true, false) => "/on-plants",
        (false, true) => "/held-off",
        _ => "",
    };
    format!("cover:{}{layers}{rests}", cover.kind.word())
}

/// The name by which a night is confirmed.
pub fn of_night(night: NightOf) -> String {
    format!("night:{night}")
}

/// The nights among names.
pub fn confirmed<'n>(names: impl Iterator<Item = &'n String>) -> BTreeSet<NightOf> {
    names.filter_map(|name| name.strip_prefix("night:")?.parse().ok().map(NightOf)).collect()
}

/// Every figure that something was seen of.
pub fn rows(garden: &Garden, lessons: &Lessons, accepts: &Accepts) -> Vec<Row> {
    let mut rows = Vec::new();
    for (provider, of_feed) in forecasts::of(garden, lessons) {
        rows.extend(of_forecast(&provider, &of_feed));
    }
    for (bed, learned) in garden.beds.iter().zip(beds::of(garden, lessons)) {
        let name = of_bed(&bed.id);
        let accepted = accepts.get(&name).and_then(|accepted| accepted.figure());
        let in_use = match (bed.offset, accepted) {
            (Some(_), _) => InUse::File,
            (None, Some(figure)) => InUse::Accepted(figure),
            (None, None) => InUse::Published,
        };
        rows.push(Row { name, kind: Kind::Bed { bed: bed.id.clone() }, learned, in_use });
    }
    for LearnedGain { cover, gain } in covers::of(garden, lessons) {
        let name = of_cover(cover);
        let accepted = accepts.get(&name).and_then(|accepted| accepted.figure());
        let in_use = accepted.map_or(InUse::Published, InUse::Accepted);
        rows.push(Row { name, kind: Kind::Cover(cover), learned: gain, in_use });
    }
    let is_seen = |row: &Row| {
        !row.learned.nights.is_empty()
            || !row.learned.asked.is_empty()
            || matches!(row.in_use, InUse::Accepted(_))
            // A bed may have been moved by what others showed.
            || row.learned.moved() != Kelvins(0.0)
    };
    rows.retain(is_seen);
    rows
}

fn of_forecast(provider: &str, of_feed: &Forecasts) -> Vec<Row> {
    let mut rows = Vec::new();
    for lead_day in 1..=LEAD_DAYS {
        for (sky, word) in [(Sky::ClearCalm, "clear-calm"), (Sky::Other, "other")] {
            let cell = of_feed.cell(lead_day, sky);
            let in_use = match cell.shift.nights.is_empty() {
                true => InUse::Published,
                false => InUse::AtOnce(used(&cell.shift)),
            };
            rows.push(Row {
                name: format!("forecast:{provider}/day-{lead_day}/{word}"),
                kind: Kind::Forecast {
                    provider: provider.into(),
                    lead_day,
                    sky,
                    factor: (cell.factor.value, cell.factor.value.max(LEAST_FACTOR)),
                },
                learned: cell.shift.clone(),
                in_use,
            });
        }
    }
    rows
}

/// What acts of a learned shift, which nobody is asked about.
fn used(Learned { published, learned, nights, .. }: &Learned) -> Figure {
    let learned = Correction { shift: learned.mean, spread: learned.spread, factor: 1.0, nights: nights.clone() };
    let used = learned.used((published.mean, published.spread));
    Figure { mean: used.shift, spread: used.spread }
}

/// Every question that is open, each with its figure.
pub fn asked(rows: &[Row]) -> impl Iterator<Item = (&Row, &Asked)> {
    rows.iter().flat_map(|row| row.learned.asked.iter().map(move |asked| (row, asked)))
}

/// Puts into a garden what acts: of forecasts at once, of beds and covers what was accepted.
pub fn apply(garden: &mut Garden, lessons: &Lessons, accepts: &Accepts) {
    garden.learned.forecasts = forecasts::corrections(&forecasts::of(garden, lessons));
    let gains = covers::in_stock(garden).into_iter().filter_map(|cover| {
        let accepted = accepts.get(&of_cover(cover))?;
        Some((LearnedGain::accepted(cover, accepted.figure()?), accepted.nights))
    });
    garden.learned.gains = gains.collect();
    for bed in &mut garden.beds {
        let accepted = accepts.get(&of_bed(&bed.id));
        bed.learned_offset = accepted.and_then(|accepted| {
            let Figure { mean, spread } = accepted.figure()?;
            Some(LearnedOffset { mean, spread, nights: accepted.nights })
        });
    }
}
