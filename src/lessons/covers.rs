//! Lows under covers beside those of the open bed in the same nights.

use super::{Lessons, lows::NightLow};
use crate::beds::Garden;
use crate::journal::Place;
use crate::learn::cover_gain::{LearnedGain, PairedReading, learn};
use crate::night::cover::{Cover, CoverConditions, Layers};

/// The covers of a garden, each once, as one layer and as two where cloth can be doubled.
pub fn in_stock(garden: &Garden) -> Vec<Cover> {
    let layers = [Layers::One, Layers::Two];
    let mut covers: Vec<Cover> = garden
        .covers
        .iter()
        .flat_map(|stock| layers.map(|layers| stock.cover(layers)))
        .filter(|cover| cover.layers == Layers::One || cover.kind.can_be_doubled())
        .collect();
    covers.sort();
    covers.dedup();
    covers
}

/// What nights have taught of each cover in stock, from a thermometer under it and one beside it at the same bed. A night
/// without a round has no known wind; the sky of the day before is not kept. It counts as a day that left everything: as less,
/// a gain just as published would be learned as more.
pub fn of(garden: &Garden, lessons: &Lessons) -> Vec<LearnedGain> {
    let under = lessons.lows.iter().filter(|low| matches!(low.place, Place::UnderCover { .. }));
    let pairs: Vec<(Cover, PairedReading)> = under.filter_map(|under| pair(garden, lessons, under)).collect();
    let learned = in_stock(garden).into_iter().map(|cover| {
        let of_cover = pairs.iter().filter(|(known, _)| *known == cover).map(|(_, pair)| *pair);
        learn(cover, &of_cover.collect::<Vec<_>>())
    });
    learned.collect()
}

fn pair(garden: &Garden, lessons: &Lessons, under: &NightLow) -> Option<(Cover, PairedReading)> {
    let bed = under.place.bed()?;
    let number = garden.beds.iter().position(|known| known.id == bed)?;
    let cover = lessons.covered.get(&(under.night, bed.to_string())).copied().flatten()?;
    let open = lessons.low(under.night, &Place::Bed { bed: bed.to_string() })?;
    let round = lessons.last_foretold(garden, under.night)?;
    let conditions = CoverConditions { wind_10m: round.wind_10m.0, left_by_the_day: 1.0 };
    let confirmed = lessons.is_sure(under.night, &under.place);
    Some((cover, PairedReading { night: under.night, bed: number, conditions, open, under: under.low, confirmed }))
}
