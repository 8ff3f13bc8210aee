//! A season by beds: how cold each was, what it was asked, what lay on it, what the frost did.

use super::covers::lying;
use super::{NightFigures, Tender, Thermometer, Verdict};
use crate::beds::{Bed, Garden};
use crate::crops::damage::DamageClass;
use crate::journal::Place;
use crate::journal::event::{Known, PlaceLow};
use crate::units::{Celsius, Kelvins};
use crate::zone::NightOf;
use std::collections::{BTreeMap, BTreeSet};

/// One bed over a season.
#[derive(Clone, Debug)]
pub struct BedFigures<'g> {
    pub bed: &'g Bed,
    /// Nights on which a list asked work for it, in time or later.
    pub asked: usize,
    /// Nights on which it was covered, as far as it was written down.
    pub covered: usize,
    /// Its own thermometer in the air.
    pub thermometer: Option<Thermometer>,
    /// That thermometer less the garden's screen, on nights with frost at either.
    pub against_screen: Option<AgainstScreen>,
    /// Reports of damage, those of class 0 included, and the worst.
    pub reports: usize,
    pub worst: Option<DamageClass>,
    pub hits: usize,
    /// Nights with work asked for that came, and for which it was asked too late.
    pub late: usize,
    pub misses: usize,
    pub false_alarms: usize,
    /// Nights with work asked for of which nobody measured the low.
    pub not_known: usize,
}

/// How much colder a bed is than the garden's screen.
#[derive(Clone, Debug, PartialEq)]
pub struct AgainstScreen {
    /// Mean of the bed's low less the screen's; negative is colder.
    pub mean: Kelvins,
    pub nights: Vec<NightOf>,
}

pub(super) fn beds<'g>(
    garden: &'g Garden,
    known: &Known,
    nights: &[NightFigures],
    tender: &Tender,
    thermometers: &[Thermometer],
) -> Vec<BedFigures<'g>> {
    let counted: BTreeSet<NightOf> = nights.iter().map(|night| night.of).collect();
    let by_place = |lows: &'_ [PlaceLow]| -> BTreeMap<(Place, NightOf), Celsius> {
        let lows = lows.iter().filter(|low| counted.contains(&low.night));
        lows.map(|low| ((low.place.clone(), low.night), low.low)).collect()
    };
    let (lows, looks) = (by_place(&known.whole), by_place(&known.lows));
    let lying = lying(garden, known);
    let damage = known.worst_reports(garden);
    let figures = |bed: &'g Bed| {
        let place = Place::Bed { bed: bed.id.clone() };
        let found: Vec<_> =
            damage.iter().filter(|report| report.damage.bed == bed.id && counted.contains(&report.night)).collect();
        let mut figures = BedFigures {
            bed,
            asked: 0,
            covered: 0,
            thermometer: thermometers.iter().find(|found| found.place == place).cloned(),
            against_screen: against_screen(&lows, &place),
            reports: found.len(),
            worst: found.iter().map(|report| report.damage.class).max(),
            hits: 0,
            late: 0,
            misses: 0,
            false_alarms: 0,
            not_known: 0,
        };
        for night in nights {
            let asked = night.was_asked(&bed.id);
            figures.asked += usize::from(asked.is_some());
            let lies = lying.get(&night.of).is_some_and(|lying| lying.iter().any(|lying| lying.laid.bed == bed.id));
            figures.covered += usize::from(lies);
            let harmed = found.iter().any(|report| report.night == night.of && report.damage.class.number() > 0);
            if asked.is_none() && !harmed {
                continue;
            }
            let screen = night.measured.as_ref().filter(|(_, at)| *at == Place::Screen).map(|(low, _)| *low);
            let low = lows.get(&(place.clone(), night.of)).copied().or(screen);
            let at = |place: &Place| looks.get(&(place.clone(), night.of)).copied();
            let look = at(&place).or_else(|| at(&Place::Screen).filter(|_| low.is_none()));
            let begins = tender.get(&night.of).and_then(|beds| beds.get(&bed.id)).map(|tender| tender.begins);
            // A look proves that it was cold there, and never that it was not.
            let was_seen = look.zip(begins).is_some_and(|(look, begins)| look < begins);
            let cold = if was_seen { Some(true) } else { low.and_then(|low| Some(low < begins?)) };
            match Verdict::of(asked, night.last_list.is_some(), cold, harmed) {
                Verdict::Hit => figures.hits += 1,
                Verdict::Late => figures.late += 1,
                Verdict::Miss => figures.misses += 1,
                Verdict::FalseAlarm => figures.false_alarms += 1,
                Verdict::NotKnown => figures.not_known += 1,
                Verdict::Passed | Verdict::Quiet => {}
            }
        }
        figures
    };
    garden.beds.iter().map(figures).collect()
}

/// On nights with frost at either of the two: on mild ones a bed in the sun is another place.
fn against_screen(lows: &BTreeMap<(Place, NightOf), Celsius>, place: &Place) -> Option<AgainstScreen> {
    let both = lows.iter().filter(|((at, _), _)| at == place).filter_map(|((_, night), bed)| {
        let screen = lows.get(&(Place::Screen, *night))?;
        (bed.min(*screen) <= super::FROST).then_some((*night, *bed - *screen))
    });
    let both: Vec<(NightOf, Kelvins)> = both.collect();
    let mean = both.iter().map(|(_, difference)| difference.0).sum::<f64>() / both.len() as f64;
    (!both.is_empty())
        .then(|| AgainstScreen { mean: Kelvins(mean), nights: both.into_iter().map(|(night, _)| night).collect() })
}
