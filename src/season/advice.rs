//! What to change next winter, each with the nights that it rests on.

use super::covers::{COVERS_TOO_SMALL, NO_COVER_LEFT, is_left, left_open};
use super::quality::scored;
use super::{BedFigures, CoverFigures, NightFigures, Tender};
use crate::beds::Garden;
use crate::journal::event::Known;
use crate::journal::found::WorstReport;
use crate::plan::Measure;
use crate::plan::said::SaidBed;
use crate::units::{Kelvins, Probability};
use crate::zone::NightOf;
use std::collections::{BTreeMap, BTreeSet};

/// Something to change, or to look into.
#[derive(Clone, Debug, PartialEq)]
pub enum Advice {
    /// Damage came to a bed without work being asked for it.
    Missed { bed: String, nights: Vec<NightOf> },
    /// A bed is colder than the garden's screen on nights with frost.
    ColdBed { bed: String, against: Kelvins, nights: Vec<NightOf> },
    /// What was found of a crop lies on one side of what was expected.
    OutOfLine { crop: String, stood_more: bool, expected: Probability, found: Probability, nights: Vec<NightOf> },
    /// Beds in danger were left open because the covers were elsewhere.
    CoversShort { cover: String, beds: Vec<String>, nights: Vec<NightOf> },
    /// Beds in danger were left open because no cover in the shed is large enough for them.
    CoversTooSmall { beds: Vec<String>, nights: Vec<NightOf> },
    /// Work was asked for and nobody measured how cold it became.
    Unmeasured { nights: Vec<NightOf> },
    /// It was cold, and nobody wrote down what it did.
    NoReport { nights: Vec<NightOf> },
}

impl Advice {
    /// The nights it rests on, in order of time.
    pub fn nights(&self) -> &[NightOf] {
        match self {
            Advice::Missed { nights, .. }
            | Advice::ColdBed { nights, .. }
            | Advice::OutOfLine { nights, .. }
            | Advice::CoversShort { nights, .. }
            | Advice::CoversTooSmall { nights, .. }
            | Advice::Unmeasured { nights }
            | Advice::NoReport { nights } => nights,
        }
    }

    /// The word in the table.
    pub fn word(&self) -> &'static str {
        match self {
            Advice::Missed { .. } => "missed",
            Advice::ColdBed { .. } => "cold-bed",
            Advice::OutOfLine { .. } => "out-of-line",
            Advice::CoversShort { .. } => "covers-short",
            Advice::CoversTooSmall { .. } => "covers-too-small",
            Advice::Unmeasured { .. } => "unmeasured",
            Advice::NoReport { .. } => "no-report",
        }
    }
}

/// A bed is said to be cold from this on, K, over so many nights (assumed: two thermometers differ by less).
const COLD_BED: Kelvins = Kelvins(-0.5);
const FEWEST_NIGHTS: usize = 3;
/// Found less expected damage, as a part, from which a crop is out of line, over so many nights (assumed: about a class).
const OUT_OF_LINE: f64 = 0.3;
const FEWEST_REPORTS: usize = 2;

pub(super) fn advice(
    garden: &Garden,
    known: &Known,
    nights: &[NightFigures],
    beds: &[BedFigures<'_>],
    covers: &[CoverFigures],
    tender: &Tender,
) -> Vec<Advice> {
    let which = |is: &dyn Fn(&NightFigures) -> bool| -> Vec<NightOf> {
        nights.iter().filter(|night| is(night)).map(|night| night.of).collect()
    };
    let mut advice = Vec::new();
    let mut missed: BTreeMap<&String, Vec<NightOf>> = BTreeMap::new();
    for night in nights {
        night.missed.iter().for_each(|bed| missed.entry(bed).or_default().push(night.of));
    }
    advice.extend(missed.into_iter().map(|(bed, nights)| Advice::Missed { bed: bed.clone(), nights }));
    let mut cold: Vec<(&str, Kelvins, &[NightOf])> = beds
        .iter()
        .filter_map(|bed| Some((bed, bed.against_screen.as_ref()?)))
        .filter(|(_, against)| against.mean <= COLD_BED && against.nights.len() >= FEWEST_NIGHTS)
        .map(|(bed, against)| (bed.bed.id.as_str(), against.mean, against.nights.as_slice()))
        .collect();
    cold.sort_by(|a, b| a.1.0.total_cmp(&b.1.0));
    advice.extend(cold.into_iter().map(|(bed, against, nights)| Advice::ColdBed {
        bed: bed.into(),
        against,
        nights: nights.to_vec(),
    }));
    advice.extend(out_of_line(garden, known, nights, tender));
    for cover in covers.iter().filter(|cover| !cover.short.is_empty()) {
        let Some(name) = &cover.name else { continue };
        let stocks: Vec<usize> = (0..garden.covers.len())
            .filter(|index| garden.covers.get(*index).is_some_and(|stock| stock.name == *name))
            .collect();
        let beds: BTreeSet<String> = nights
            .iter()
            .flat_map(|night| left_open(garden, night, &stocks, Some(NO_COVER_LEFT)))
            .map(|bed| bed.id.clone())
            .collect();
        advice.push(Advice::CoversShort {
            cover: name.clone(),
            beds: beds.into_iter().collect(),
            nights: cover.short.clone(),
        });
    }
    let too_small = |said: &&SaidBed| is_left(garden, said, Some(COVERS_TOO_SMALL));
    let small = which(&|night| night.last_list.iter().flatten().any(|said| too_small(&said)));
    if !small.is_empty() {
        let beds = nights.iter().flat_map(|night| night.last_list.iter().flatten().filter(too_small));
        let beds: BTreeSet<String> = beds.map(|said| said.bed.clone()).collect();
        advice.push(Advice::CoversTooSmall { beds: beds.into_iter().collect(), nights: small });
    }
    let unmeasured = which(&|night| night.is_warned() && night.was_cold().is_none());
    if !unmeasured.is_empty() {
        advice.push(Advice::Unmeasured { nights: unmeasured });
    }
    let no_report = which(&|night| night.is_warned() && night.reports == 0 && night.was_cold() != Some(false));
    if !no_report.is_empty() {
        advice.push(Advice::NoReport { nights: no_report });
    }
    advice
}

/// Crops of which the damage found lies on one side of what lists expected, by a lot and each time. Only nights whose
/// forecast was borne out count, else the weather would be blamed on the crop; and of a bed only the crop that frost harms
/// first, for a list gives the chance of that one.
fn out_of_line(garden: &Garden, known: &Known, nights: &[NightFigures], tender: &Tender) -> Vec<Advice> {
    let nights: BTreeMap<NightOf, &NightFigures> = nights.iter().map(|night| (night.of, night)).collect();
    let mut found: BTreeMap<String, Vec<(NightOf, f64, f64)>> = BTreeMap::new();
    for WorstReport { damage: report, night, crops } in known.worst_reports(garden) {
        let Some(night) = nights.get(&night) else { continue };
        let as_foretold = scored(night).is_some_and(|scored| (0.1..=0.9).contains(&scored.share_below));
        let plant =
            tender.get(&night.of).and_then(|beds| beds.get(&report.bed)).and_then(|tender| tender.plant.clone());
        let (Some((_, crop)), Some(said), true) = (plant, night.last_word_of(&report.bed), as_foretold) else {
            continue;
        };
        if !crops.contains(&crop) {
            continue;
        }
        let is_covered = night.covered.contains(&report.bed);
        let expected = match (said.measure, is_covered) {
            (Measure::Cover, true) => said.remaining,
            (Measure::Cover | Measure::Leave | Measure::Fine, false) => said.chance,
            // Picked, carried in, or covered unasked: nobody said what would then be left.
            _ => continue,
        };
        found.entry(crop).or_default().push((night.of, expected, report.class.typical().0));
    }
    let one = |(crop, all): (String, Vec<(NightOf, f64, f64)>)| {
        let mut nights: Vec<NightOf> = all.iter().map(|(night, _, _)| *night).collect();
        nights.dedup();
        let count = all.len() as f64;
        let expected = all.iter().map(|(_, expected, _)| expected).sum::<f64>() / count;
        let share = all.iter().map(|(_, _, found)| found).sum::<f64>() / count;
        let stood_more = share < expected;
        let one_side = all.iter().all(|(_, expected, found)| (found < expected) == stood_more);
        let is_out = nights.len() >= FEWEST_REPORTS && one_side && (share - expected).abs() >= OUT_OF_LINE;
        is_out.then_some(Advice::OutOfLine {
            crop,
            stood_more,
            expected: Probability(expected),
            found: Probability(share),
            nights,
        })
    };
    found.into_iter().filter_map(one).collect()
}
