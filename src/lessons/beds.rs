//! Lows at beds beside those of the garden's screen in the same nights.

use super::Lessons;
use crate::beds::Garden;
use crate::journal::Place;
use crate::learn::bed_offset::{BedReading, BedReadings, learn};
use crate::learn::{Figure, Learned};
use crate::night::bed::MEASURED_OFFSET_SPREAD;
use crate::zone::NightOf;
use std::collections::{BTreeMap, BTreeSet};

/// What nights have taught of each bed's offset, in the garden's order. A night without a round has no known sky, and one
/// on which something lay on the bed, as far as it was written down, shows the cover. Nights on which the screen is `doubted` are left out.
pub fn of(garden: &Garden, lessons: &Lessons, doubted: &BTreeSet<NightOf>) -> Vec<Learned> {
    let mut clear_calm: BTreeMap<NightOf, f64> = BTreeMap::new();
    for low in lessons.lows.iter().filter(|low| matches!(low.place, Place::Bed { .. })) {
        if !clear_calm.contains_key(&low.night)
            && let Some(round) = lessons.last_foretold(garden, low.night)
        {
            clear_calm.insert(low.night, round.clear_calm);
        }
    }
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
            let at_bed = lessons.lows.iter().filter(|low| low.place == here && !doubted.contains(&low.night));
            let readings = at_bed.filter_map(|at_bed| {
                let covered = lessons.covered.contains_key(&(at_bed.night, bed.id.clone()));
                Some(BedReading {
                    night: at_bed.night,
                    clear_calm: *clear_calm.get(&at_bed.night)?,
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
