//! Lows at beds beside those of the garden's screen in the same nights.

use super::Lessons;
use crate::beds::Garden;
use crate::journal::Place;
use crate::learn::bed_offset::{BedReading, BedReadings, learn};
use crate::learn::{Figure, Learned};
use crate::night::bed::MEASURED_OFFSET_SPREAD;

/// What nights have taught of each bed's offset, in the garden's order. A night without a round has no known sky, and one
/// on which something lay on the bed, as far as it was written down, shows the cover.
pub fn of(garden: &Garden, lessons: &Lessons) -> Vec<Learned> {
    let beds: Vec<BedReadings> = garden
        .beds
        .iter()
        .map(|bed| {
            let effect = bed.exposure.effect();
            let published = match bed.offset {
                Some(offset) => Figure { mean: offset, spread: MEASURED_OFFSET_SPREAD },
                None => Figure { mean: effect.offset, spread: effect.offset_spread },
            };
            let here = Place::Bed { bed: bed.id.clone() };
            let at_bed = lessons.lows.iter().filter(|low| low.place == here);
            let readings = at_bed.filter_map(|at_bed| {
                let covered = lessons.covered.contains_key(&(at_bed.night, bed.id.clone()));
                Some(BedReading {
                    night: at_bed.night,
                    clear_calm: lessons.last_foretold(garden, at_bed.night)?.clear_calm,
                    screen: lessons.low(at_bed.night, &Place::Screen)?,
                    bed: at_bed.low,
                    confirmed: lessons.is_sure(at_bed.night, &here),
                })
                .filter(|_| !covered)
            });
            BedReadings { published, readings: readings.collect() }
        })
        .collect();
    learn(&beds)
}
