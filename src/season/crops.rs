//! A season by crops: what was found, lost, sown again, picked.

use super::NightFigures;
use crate::beds::{Bed, Garden, Planting};
use crate::crops::Catalogue;
use crate::crops::damage::DamageClass;
use crate::journal::event::{Known, night_of};
use crate::journal::found::WorstReport;
use crate::journal::{Amount, What};
use crate::risk::worth;
use crate::units::Minutes;
use crate::zone::NightOf;
use chrono::{Duration, NaiveDate};
use std::collections::{BTreeMap, BTreeSet};

/// One crop over a season.
#[derive(Clone, Debug, PartialEq)]
pub struct CropFigures {
    pub id: String,
    pub name: String,
    /// Beds where it stands or stood, as far as settings and journal say.
    pub beds: Vec<String>,
    /// Reports of damage, those of class 0 included, and the worst.
    pub reports: usize,
    pub worst: Option<DamageClass>,
    /// Plantings written down as gone, and as sown again.
    pub lost: usize,
    pub resown: usize,
    /// Picked, g and pieces; `None` where nobody wrote it down.
    pub grams: Option<f64>,
    pub pieces: Option<u32>,
    /// What frost took, person-minutes of worth; `None` where nobody wrote down what it did, or what was harmed no longer
    /// stands in the settings.
    pub lost_worth: Option<Minutes>,
}

/// A planting that is gone within this time of a cold night is counted as lost to it.
const LOST_WITHIN: Duration = Duration::days(14);

#[derive(Default)]
struct Found {
    beds: BTreeSet<String>,
    reports: usize,
    worst: Option<DamageClass>,
    lost: usize,
    resown: usize,
    grams: Option<f64>,
    pieces: Option<u32>,
    /// Of each bed with a report, and each time it was sown again, the worst that frost did, 0 to 1, and its night.
    harmed: BTreeMap<(String, usize), (f64, NightOf)>,
}

pub(super) fn crops(
    garden: &Garden,
    catalogue: &Catalogue,
    known: &Known,
    nights: &[NightFigures],
) -> Vec<CropFigures> {
    let longitude = garden.site.longitude;
    let (Some(first), Some(until)) = (nights.first().map(|night| night.of), nights.last().map(|night| night.of)) else {
        return Vec::new();
    };
    let within = |night: NightOf| (first..=until).contains(&night);
    let mut crops: BTreeMap<String, Found> = BTreeMap::new();
    let plantings = || garden.beds.iter().flat_map(|bed| bed.plantings.iter().map(move |planting| (bed, planting)));
    for (bed, planting) in plantings().filter(|(_, planting)| planting.planted.is_none_or(|date| date <= until.0)) {
        crops.entry(planting.crop.clone()).or_default().beds.insert(bed.id.clone());
    }
    let sown = |bed: &str, crop: &str, until: NaiveDate| {
        let standing = known.entries.iter().filter(|written| written.stands());
        let again = standing.filter(|written| match &written.entry.what {
            What::Resown(gone) => gone.bed == bed && gone.crop == crop,
            _ => false,
        });
        again.filter(|written| garden.zone.local(written.entry.at).date_naive() <= until).count()
    };
    for WorstReport { damage: report, night, crops: of_report } in known.worst_reports(garden) {
        if !within(night) {
            continue;
        }
        for crop in of_report {
            let found = crops.entry(crop.clone()).or_default();
            found.beds.insert(report.bed.clone());
            found.reports += 1;
            found.worst = found.worst.max(Some(report.class));
            // A look shows all the harm there is: of several the worst, and nothing twice.
            let share = share(report.class);
            let planting = (report.bed.clone(), sown(&report.bed, &crop, night.0));
            let worst = found.harmed.entry(planting).or_insert((share, night));
            if share > worst.0 {
                *worst = (share, night);
            }
        }
    }
    for written in known.entries.iter().filter(|written| written.stands()) {
        let night = night_of(written.entry.at, longitude);
        if !within(night) {
            continue;
        }
        match &written.entry.what {
            What::Harvested(picked) => {
                let found = crops.entry(picked.crop.clone()).or_default();
                found.beds.insert(picked.bed.clone());
                match picked.amount {
                    Amount::Grams(grams) => found.grams = Some(found.grams.unwrap_or(0.0) + grams),
                    Amount::Count(count) => found.pieces = Some(found.pieces.unwrap_or(0).saturating_add(count)),
                }
            }
            What::Lost(gone) => {
                let found = crops.entry(gone.crop.clone()).or_default();
                found.beds.insert(gone.bed.clone());
                found.lost += 1;
                let after = |cold: &NightFigures| {
                    cold.begins.is_some() && (Duration::zero()..=LOST_WITHIN).contains(&(night.0 - cold.of.0))
                };
                if nights.iter().any(after) {
                    let on = garden.zone.local(written.entry.at).date_naive();
                    found.harmed.insert((gone.bed.clone(), sown(&gone.bed, &gone.crop, on)), (1.0, night));
                }
            }
            What::Resown(gone) => {
                let found = crops.entry(gone.crop.clone()).or_default();
                found.beds.insert(gone.bed.clone());
                found.resown += 1;
            }
            _ => {}
        }
    }
    let figures = |(id, found): (String, Found)| {
        let lost = found.harmed.iter().filter_map(|((bed, _), (share, night))| {
            let (bed, planting) = planting_of(garden, bed, &id)?;
            let crop = catalogue.crops.get(&id)?;
            Some(Minutes(worth(garden, bed, planting, crop, *night).minutes.0 * share))
        });
        CropFigures {
            name: catalogue.crops.get(&id).map_or_else(|| id.clone(), |crop| crop.name.clone()),
            lost_worth: lost.reduce(|sum, part| sum + part),
            beds: found.beds.into_iter().collect(),
            reports: found.reports,
            worst: found.worst,
            lost: found.lost,
            resown: found.resown,
            grams: found.grams,
            pieces: found.pieces,
            id,
        }
    };
    let mut figures: Vec<CropFigures> = crops.into_iter().map(figures).collect();
    figures.sort_by(|a, b| (&a.name, &a.id).cmp(&(&b.name, &b.id)));
    figures
}

/// The part that a class stands for; of class 0 none, though its share is not quite that.
fn share(class: DamageClass) -> f64 {
    if class.number() == 0 { 0.0 } else { class.typical().0 }
}

fn planting_of<'g>(garden: &'g Garden, bed: &str, crop: &str) -> Option<(&'g Bed, &'g Planting)> {
    let bed = garden.beds.iter().find(|known| known.id == bed)?;
    Some((bed, bed.plantings.iter().find(|planting| planting.crop == crop)?))
}
