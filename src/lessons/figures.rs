//! Learned figures by name, each as published, learned and in use, and what was accepted of them.

use super::lows::NightLow;
use super::tolerances::{Aside, Part};
use super::{Confirmed, Lessons, beds, covers, forecasts, of_harm, of_low, tolerances};
use crate::beds::{Garden, LearnedOffset, LearnedShift, OwnFigures};
use crate::crops::{Catalogue, Organ};
use crate::journal::Place;
use crate::learn::cover_gain::LearnedGain;
use crate::learn::doubt::Doubt;
use crate::learn::forecast::{Forecasts, LEAD_DAYS, Sky};
use crate::learn::tolerance;
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

    /// Of a bed without a night of its own: what the nights of the others say of it.
    pub fn pooled(learned: &Learned, nights: usize) -> Option<Accepted> {
        let Figure { mean, spread } = learned.learned;
        (nights > 0 && learned.moved() != Kelvins(0.0)).then_some(Accepted { mean: mean.0, spread: spread.0, nights })
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
    /// Of a bed without a night of its own: how many nights of the others it rests on.
    pub pooled: Option<usize>,
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
    /// Added to where harm begins and to where it is severe.
    Tolerance(Part),
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

/// The name of what a part of a crop stands in a stage.
pub fn of_part(crop: &str, stage: &str, organ: Organ) -> String {
    format!("tolerance:{crop}:{stage}:{}", organ.word())
}

/// Crop, stage and part of such a name.
fn part_named(name: &str) -> Option<(String, String, Organ)> {
    let mut words = name.strip_prefix("tolerance:")?.split(':');
    let (crop, stage, organ) = (words.next()?, words.next()?, words.next()?);
    Some((crop.into(), stage.into(), Organ::from_word(organ)?)).filter(|_| words.next().is_none())
}

/// The name by which what a night showed is confirmed: `night:2027-01-15:bed:A1`.
pub fn of_night(night: NightOf, of: &str) -> String {
    format!("night:{night}:{of}")
}

/// What such names confirm.
pub fn confirmed<'n>(names: impl Iterator<Item = &'n String>) -> Confirmed {
    let one = |name: &'n String| {
        let (night, of) = name.strip_prefix("night:")?.split_once(':')?;
        Some((NightOf(night.parse().ok()?), of.to_string()))
    };
    names.filter_map(one).collect()
}

/// What is not used until somebody has said that it is right.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    pub night: NightOf,
    /// The thermometer by [`super::of_low`], or the report by [`super::of_harm`].
    pub of: String,
    pub doubt: Doubt,
}

impl Question {
    /// As it is confirmed by.
    pub fn name(&self) -> String {
        of_night(self.night, &self.of)
    }
}

impl Row {
    /// What is asked about the figure.
    pub fn questions(&self, garden: &Garden) -> Vec<Question> {
        let at = |bed: Option<usize>| bed.and_then(|bed| garden.beds.get(bed)).map_or("", |bed| bed.id.as_str());
        let question = |asked: &Asked| {
            let bed = at(asked.bed).to_string();
            let of = match &self.kind {
                Kind::Forecast { .. } => of_low(&Place::Screen),
                Kind::Bed { bed } => of_low(&Place::Bed { bed: bed.clone() }),
                Kind::Cover(_) => of_low(&Place::UnderCover { bed, cover: None }),
                Kind::Tolerance(part) => of_harm(&bed, &part.crop),
            };
            Question { night: asked.night, of, doubt: asked.doubt }
        };
        self.learned.asked.iter().map(question).collect()
    }
}

/// Every figure that something was seen of, and the reports of harm that taught nothing. `of_harm` holds the nights of
/// which there are such reports.
pub fn rows(
    garden: &Garden,
    catalogue: &Catalogue,
    lessons: &Lessons,
    of_harm: &Lessons,
    accepts: &Accepts,
) -> (Vec<Row>, Vec<Aside>) {
    let mut rows: Vec<Row> = Vec::new();
    for (provider, of_feed) in forecasts::of(garden, lessons) {
        rows.extend(of_forecast(&provider, &of_feed));
    }
    // A slip at the screen would be asked about again at every bed that is compared with it.
    let doubted = rows.iter().flat_map(|row| &row.learned.asked).map(|asked| asked.night).collect();
    let of_beds = beds::of(garden, lessons, &doubted);
    let pool: BTreeSet<NightOf> = of_beds.iter().flat_map(|learned| learned.nights.iter().copied()).collect();
    for (bed, learned) in garden.beds.iter().zip(of_beds) {
        let name = of_bed(&bed.id);
        let accepted = accepts.get(&name).and_then(|accepted| accepted.figure());
        let in_use = match (bed.offset, accepted) {
            (Some(_), _) => InUse::File,
            (None, Some(figure)) => InUse::Accepted(figure),
            (None, None) => InUse::Published,
        };
        let is_pooled = learned.nights.is_empty() && learned.moved() != Kelvins(0.0);
        let pooled = is_pooled.then_some(pool.len());
        rows.push(Row { name, kind: Kind::Bed { bed: bed.id.clone() }, learned, pooled, in_use });
    }
    for LearnedGain { cover, gain } in covers::of(garden, lessons) {
        let name = of_cover(cover);
        let accepted = accepts.get(&name).and_then(|accepted| accepted.figure());
        let in_use = accepted.map_or(InUse::Published, InUse::Accepted);
        rows.push(Row { name, kind: Kind::Cover(cover), learned: gain, pooled: None, in_use });
    }
    let mut as_accepted = garden.clone();
    apply_accepted(&mut as_accepted, accepts);
    let from_harm = tolerances::of(&as_accepted, catalogue, of_harm);
    for (part, learned) in from_harm.parts {
        let name = of_part(&part.crop, &part.stage, part.organ);
        let accepted = accepts.get(&name).and_then(|accepted| accepted.figure());
        let in_use = match accepted {
            _ if file_has(garden, catalogue, &part) => InUse::File,
            Some(figure) => InUse::Accepted(tolerance::used(part.published, figure)),
            None => InUse::Published,
        };
        rows.push(Row { name, kind: Kind::Tolerance(part), learned, pooled: None, in_use });
    }
    let is_seen = |row: &Row| {
        !row.learned.nights.is_empty()
            || !row.learned.asked.is_empty()
            || matches!(row.in_use, InUse::Accepted(_))
            // A bed may have been moved by what others showed.
            || row.learned.moved() != Kelvins(0.0)
    };
    rows.retain(is_seen);
    (rows, from_harm.aside)
}

/// Whether the garden's file has a threshold of its own for all plants of a part.
fn file_has(garden: &Garden, catalogue: &Catalogue, part: &Part) -> bool {
    let tolerance = catalogue.crops.get(&part.crop).and_then(|crop| tolerances::part_of(crop, &part.stage).ok());
    let selects = |own: &&OwnFigures| {
        own.is_of(&part.crop, None) && tolerance.is_some_and(|tolerance| own.selects(tolerance, &part.stage))
    };
    garden.own_figures.iter().filter(selects).any(OwnFigures::has_threshold)
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
                pooled: None,
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

/// Every question that is open, once for each night and thermometer or report: a night at the screen is doubted beside
/// every forecast of it.
pub fn asked(rows: &[Row], garden: &Garden) -> Vec<Question> {
    let mut questions: BTreeMap<(NightOf, String), Question> = BTreeMap::new();
    for question in rows.iter().flat_map(|row| row.questions(garden)) {
        questions.entry((question.night, question.of.clone())).or_insert(question);
    }
    questions.into_values().collect()
}

/// The lows that are asked about among those of the lessons; `listed` are the nights on which a list rests, for of others
/// nobody asks what the screen showed beside the forecast.
pub fn doubted(garden: &Garden, lessons: &Lessons, listed: &BTreeSet<NightOf>) -> Vec<NightLow> {
    let (rows, _) = rows(garden, &Catalogue::default(), lessons, &Lessons::default(), &Accepts::new());
    let asked: BTreeSet<(NightOf, String)> = asked(&rows, garden)
        .into_iter()
        .filter(|question| question.of != of_low(&Place::Screen) || listed.contains(&question.night))
        .map(|question| (question.night, question.of))
        .collect();
    lessons.lows.iter().filter(|low| asked.contains(&(low.night, of_low(&low.place)))).cloned().collect()
}

/// Puts into a garden what acts: of forecasts at once, of beds, covers and crops what was accepted.
pub fn apply(garden: &mut Garden, lessons: &Lessons, accepts: &Accepts) {
    garden.learned.forecasts = forecasts::corrections(&forecasts::of(garden, lessons));
    apply_accepted(garden, accepts);
}

fn apply_accepted(garden: &mut Garden, accepts: &Accepts) {
    let gains = covers::in_stock(garden).into_iter().filter_map(|cover| {
        let accepted = accepts.get(&of_cover(cover))?;
        Some((LearnedGain::accepted(cover, accepted.figure()?), accepted.nights))
    });
    garden.learned.gains = gains.collect();
    let shifts = accepts.iter().filter_map(|(name, accepted)| {
        let (crop, stage, organ) = part_named(name)?;
        Some(LearnedShift { crop, stage, organ, shift: accepted.figure()?, nights: accepted.nights })
    });
    garden.learned.shifts = shifts.collect();
    for bed in &mut garden.beds {
        let accepted = accepts.get(&of_bed(&bed.id));
        bed.learned_offset = accepted.and_then(|accepted| {
            let Figure { mean, spread } = accepted.figure()?;
            Some(LearnedOffset { mean, spread, nights: accepted.nights })
        });
    }
}
