//! Figures of the garden's own: they stand beside the catalogue's, are applied where a risk is worked out, and say whose
//! they are.

use super::{Garden, Planting};
use crate::crops::{Figures, Harm, Organ, Tolerance};
use crate::learn::tolerance::used;
use crate::units::{Celsius, Kelvins};
use crate::words::words;

/// What a garden has found out of one crop, or of one cultivar of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OwnFigures {
    /// A crop of the catalogue.
    pub crop: String,
    /// Without it all cultivars are meant; one that is named goes before.
    pub cultivar: Option<String>,
    /// Without it every part is meant.
    pub organ: Option<Organ>,
    /// Without it frost and chill are meant.
    pub harm: Option<Harm>,
    /// Without any every stage is meant.
    pub stages: Vec<String>,
    pub damage_begins: Option<Celsius>,
    pub severe: Option<Celsius>,
    pub hardened_gain: Option<Kelvins>,
    pub spread: Option<Kelvins>,
    pub exposure_hours: Option<f64>,
    pub days_to_maturity: Option<(u16, u16)>,
}

/// A figure that a garden may have of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OwnFigure {
    DamageBegins,
    Severe,
    HardenedGain,
    Spread,
    ExposureHours,
    DaysToMaturity,
}

words!(OwnFigure { DamageBegins = "damage_begins", Severe = "severe", HardenedGain = "hardened_gain", Spread = "spread", ExposureHours = "exposure_hours", DaysToMaturity = "days_to_maturity" });

/// The figures that hold for one part of one planting, and which of them are the garden's own.
#[derive(Clone, Debug, PartialEq)]
pub struct Applied {
    pub figures: Figures,
    pub own: Vec<OwnFigure>,
    /// How many nights both thresholds and their spread rest on, where they were learned and accepted.
    pub learned: Option<usize>,
}

impl Applied {
    /// As the catalogue has it.
    pub fn published(tolerance: &Tolerance) -> Applied {
        Applied { figures: tolerance.figures(), own: Vec::new(), learned: None }
    }

    /// Whether a figure is the garden's own.
    pub fn is_own(&self, figure: OwnFigure) -> bool {
        self.own.contains(&figure)
    }
}

impl OwnFigures {
    /// The figures it has.
    pub fn figures(&self) -> impl Iterator<Item = OwnFigure> + use<> {
        let has = [
            (OwnFigure::DamageBegins, self.damage_begins.is_some()),
            (OwnFigure::Severe, self.severe.is_some()),
            (OwnFigure::HardenedGain, self.hardened_gain.is_some()),
            (OwnFigure::Spread, self.spread.is_some()),
            (OwnFigure::ExposureHours, self.exposure_hours.is_some()),
            (OwnFigure::DaysToMaturity, self.days_to_maturity.is_some()),
        ];
        has.into_iter().filter_map(|(figure, there)| there.then_some(figure))
    }

    /// Whether it says where harm begins or is severe.
    pub fn has_threshold(&self) -> bool {
        self.damage_begins.is_some() || self.severe.is_some()
    }

    /// Whether it speaks of a crop and cultivar.
    pub fn is_of(&self, crop: &str, cultivar: Option<&str>) -> bool {
        let same = |own: &String| cultivar.is_some_and(|cultivar| cultivar.eq_ignore_ascii_case(own));
        self.crop == crop && self.cultivar.as_ref().is_none_or(same)
    }

    /// Whether it speaks of a part in a stage, of a crop that it speaks of.
    pub fn selects(&self, tolerance: &Tolerance, stage: &str) -> bool {
        self.organ.is_none_or(|organ| organ == tolerance.organ)
            && self.harm.is_none_or(|harm| harm == tolerance.harm)
            && (self.stages.is_empty() || self.stages.iter().any(|own| own == stage))
    }

    /// Puts its figures in place of others.
    pub fn apply(&self, applied: &mut Applied) {
        let figures = &mut applied.figures;
        figures.damage_begins = self.damage_begins.unwrap_or(figures.damage_begins);
        figures.severe = self.severe.unwrap_or(figures.severe);
        figures.hardened_gain = self.hardened_gain.unwrap_or(figures.hardened_gain);
        figures.spread = self.spread.unwrap_or(figures.spread);
        figures.exposure_hours = self.exposure_hours.or(figures.exposure_hours);
        let of_a_part = self.figures().filter(|figure| *figure != OwnFigure::DaysToMaturity);
        let new: Vec<OwnFigure> = of_a_part.filter(|figure| !applied.own.contains(figure)).collect();
        applied.own.extend(new);
    }
}

impl Garden {
    /// The figures of one part of a planting in a stage: the catalogue's, as learned and accepted, those of the garden over
    /// them, those of the cultivar last. Where the garden has a threshold of its own, nothing learned acts.
    pub fn figures(&self, planting: &Planting, stage: &str, tolerance: &Tolerance) -> Applied {
        let mut applied = Applied::published(tolerance);
        let own = || self.own_of(planting).filter(|own| own.selects(tolerance, stage));
        // One threshold of somebody's own beside another that was moved need make no curve.
        if !own().any(OwnFigures::has_threshold)
            && let Some(learned) = self.learned.shift_of(&planting.crop, stage, tolerance)
        {
            let used = used(applied.figures, learned.shift);
            applied.figures = applied.figures.moved(used.mean, used.spread);
            applied.learned = Some(learned.nights);
        }
        own().for_each(|own| own.apply(&mut applied));
        applied
    }

    /// The days to maturity of a planting, where the garden has its own.
    pub fn own_days_to_maturity(&self, planting: &Planting) -> Option<(u16, u16)> {
        self.own_of(planting).filter_map(|own| own.days_to_maturity).last()
    }

    /// What the garden has found out of a planting's crop, that of its cultivar last.
    fn own_of<'s>(&'s self, planting: &'s Planting) -> impl Iterator<Item = &'s OwnFigures> {
        let of = move |of_a_cultivar: bool| {
            self.own_figures.iter().filter(move |own| {
                own.cultivar.is_some() == of_a_cultivar && own.is_of(&planting.crop, planting.cultivar.as_deref())
            })
        };
        of(false).chain(of(true))
    }
}
