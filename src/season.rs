//! One season of one garden: what was foretold, said, done, measured and lost, and what to change next winter.
//!
//! ```text
//! Known, Hours -> nights   each with what it came to: hit, miss, false alarm, or not known
//!              -> beds, crops, covers   the same by what stands and lies in the garden
//!              -> quality  forecasts against the garden's screen
//!              -> advice   what is out of line, with the nights it rests on
//! ```
//!
//! What nobody wrote down or measured is `None` and never 0.

mod advice;
mod beds;
mod covers;
mod crops;
mod hours;
mod nights;
mod quality;
mod span;
pub mod tables;
mod worth;

pub use advice::Advice;
pub use beds::{AgainstScreen, BedFigures};
pub use covers::CoverFigures;
pub use crops::CropFigures;
pub use hours::{Hours, hours_of_nights};
pub use nights::{Asked, NightFigures, Verdict};
pub use quality::{Chances, Quality};
pub use span::Span;

use crate::beds::Garden;
use crate::crops::Catalogue;
use crate::journal::Place;
use crate::journal::event::{Known, MostTender, tender_of};
use crate::risk::assess;
use crate::units::{Celsius, Minutes};
use crate::zone::NightOf;
use std::collections::BTreeMap;

/// Hours below thresholds by place and night.
pub type HoursByPlace = BTreeMap<(Place, NightOf), Hours>;

/// What a season came to.
#[derive(Clone, Debug)]
pub struct Season<'g> {
    pub garden: &'g Garden,
    pub span: Span,
    /// The last night that counts: of a season that still goes on, the last that is over.
    pub until: NightOf,
    /// Every night up to it, in order of time.
    pub nights: Vec<NightFigures>,
    /// In the garden's order.
    pub beds: Vec<BedFigures<'g>>,
    /// In order of their names.
    pub crops: Vec<CropFigures>,
    pub covers: Vec<CoverFigures>,
    pub thermometers: Vec<Thermometer>,
    pub quality: Option<Quality>,
    pub advice: Vec<Advice>,
}

/// What was measured in one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Thermometer {
    pub place: Place,
    /// Nights with a low.
    pub nights: usize,
    pub lowest: (Celsius, NightOf),
    /// Nights with a low of 0 °C or less: the first and the last, and how many.
    pub frost: Option<Frost>,
    /// Of all nights whose rows are there; `None` without a logger.
    pub hours: Option<Hours>,
}

/// Nights with frost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frost {
    pub first: NightOf,
    pub last: NightOf,
    pub nights: usize,
}

/// Where frost begins, as growers count it.
pub const FROST: Celsius = Celsius(0.0);

/// What is at a bed on a night that matters: where harm begins in plants not hardened.
pub(crate) type Tender = BTreeMap<NightOf, BTreeMap<String, MostTender>>;

/// The season of a garden up to a night, from all that is known of it. `None` where nothing is known at all.
pub fn season<'g>(
    garden: &'g Garden,
    catalogue: &'g Catalogue,
    span: Span,
    until: NightOf,
    known: &Known,
    hours: &HoursByPlace,
) -> Option<Season<'g>> {
    let within = |night: &NightOf| (span.first..=until.min(span.last)).contains(night);
    let counts = |known: &Known| -> bool {
        let entries = known.entries.iter().filter(|written| written.stands());
        let at = |written: &crate::journal::event::Written| {
            within(&crate::journal::event::night_of(written.entry.at, garden.site.longitude))
        };
        known.foretold.iter().any(|round| within(&round.night))
            || known.lows.iter().any(|low| within(&low.night))
            || known.said.iter().any(|(night, _)| within(night))
            || entries.into_iter().any(at)
    };
    if !counts(known) {
        return None;
    }
    let until = until.min(span.last);
    let mut nights = nights::nights(garden, catalogue, span, until, known);
    let tender = tender(garden, catalogue, &nights);
    worth::reckon(garden, catalogue, known, &mut nights);
    let thermometers = thermometers(known, hours, within);
    let quality = quality::quality(&nights);
    let beds = beds::beds(garden, known, &nights, &tender, &thermometers);
    let crops = crops::crops(garden, catalogue, known, &nights);
    let covers = covers::covers(garden, known, &nights);
    let advice = advice::advice(garden, known, &nights, &beds, &covers, &tender);
    Some(Season { garden, span, until, nights, beds, crops, covers, thermometers, quality, advice })
}

/// Where harm begins at each bed, of nights that were cold or asked for work: others ask for nothing.
fn tender(garden: &Garden, catalogue: &Catalogue, nights: &[NightFigures]) -> Tender {
    let matters = |night: &&NightFigures| night.begins.is_some() || night.is_warned() || night.reports > 0;
    let of_night = |night: &NightFigures| {
        let beds = assess(garden, night.of, None, catalogue);
        let tender = beds.iter().filter_map(|bed| Some((bed.bed.id.clone(), tender_of(bed, night.of)?)));
        (night.of, tender.collect())
    };
    nights.iter().filter(matters).map(of_night).collect()
}

fn thermometers(known: &Known, hours: &HoursByPlace, within: impl Fn(&NightOf) -> bool) -> Vec<Thermometer> {
    let mut places: BTreeMap<&Place, Thermometer> = BTreeMap::new();
    // Soil is slow: there any look will do.
    let in_soil = known.lows.iter().filter(|low| matches!(low.place, Place::Soil { .. }));
    for low in known.whole.iter().chain(in_soil).filter(|low| within(&low.night)) {
        let found = places.entry(&low.place).or_insert_with(|| Thermometer {
            place: low.place.clone(),
            nights: 0,
            lowest: (low.low, low.night),
            frost: None,
            hours: None,
        });
        found.nights += 1;
        if low.low < found.lowest.0 {
            found.lowest = (low.low, low.night);
        }
        if low.low <= FROST {
            let frost = found.frost.get_or_insert(Frost { first: low.night, last: low.night, nights: 0 });
            (frost.first, frost.last) = (frost.first.min(low.night), frost.last.max(low.night));
            frost.nights += 1;
        }
    }
    for ((place, _), hours) in hours.iter().filter(|((_, night), _)| within(night)) {
        let here = |known: &Place| match (known, place) {
            // Whatever the cover is called, there is one on a bed.
            (Place::UnderCover { bed, .. }, Place::UnderCover { bed: other, .. }) => bed == other,
            _ => known == place,
        };
        if let Some((_, found)) = places.iter_mut().find(|(known, _)| here(known)) {
            let sum = found.hours.get_or_insert_with(Hours::default);
            sum.known += hours.known;
            sum.chill += hours.chill;
            for (sum, hours) in sum.below.iter_mut().zip(hours.below) {
                *sum += hours;
            }
        }
    }
    places.into_values().collect()
}

impl Season<'_> {
    /// Whether its last night is over.
    pub fn is_over(&self) -> bool {
        self.until == self.span.last
    }

    /// Nights that came to something.
    pub fn count(&self, verdict: Verdict) -> usize {
        self.nights.iter().filter(|night| night.verdict == verdict).count()
    }

    /// How often damage came to a bed without work being asked for it, each bed and night once.
    pub fn misses(&self) -> usize {
        self.nights.iter().map(|night| night.missed.len()).sum()
    }

    /// Person-minutes of the covers that were written down, as lists reckon them; `None` where none was.
    pub fn work(&self) -> Option<Minutes> {
        worth::sum(self.nights.iter().map(|night| night.work))
    }

    /// Worth that covers saved, person-minutes, of the nights of which it can be reckoned; `None` where there is none.
    pub fn saved(&self) -> Option<Minutes> {
        worth::sum(self.nights.iter().map(|night| night.saved))
    }

    /// Worth that frost took, person-minutes; `None` where nobody wrote down what it did.
    pub fn lost(&self) -> Option<Minutes> {
        worth::sum(self.crops.iter().map(|crop| crop.lost_worth))
    }

    /// The place that the garden's own dates of frost are taken from: its screen, else the coldest bed with a thermometer.
    pub fn main_thermometer(&self) -> Option<&Thermometer> {
        let in_air = |found: &&Thermometer| matches!(found.place, Place::Screen | Place::Bed { .. });
        let coldest = |a: &&Thermometer, b: &&Thermometer| a.lowest.0.0.total_cmp(&b.lowest.0.0);
        self.thermometers
            .iter()
            .find(|found| found.place == Place::Screen)
            .or_else(|| self.thermometers.iter().filter(in_air).min_by(coldest))
    }
}

#[cfg(test)]
mod tests;
