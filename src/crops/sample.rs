//! Crops for tests.

use super::{
    CountedFrom, Crop, Evidence, Frame, Growing, Harm, Harvest, HarvestHabit, Life, Organ, Stature, Tolerance,
    ToleranceEvidence,
};
use crate::units::{Celsius, Kelvins};

/// A crop of one stage, `grown`. Each organ has its share of the worth and what to pick, and begins to suffer when the
/// air falls to -2 C.
pub(crate) fn crop(name: &str, harvested: HarvestHabit, life: Life, organs: &[(Organ, f64, Option<&str>)]) -> Crop {
    let tolerance = |(organ, share, pick): &(Organ, f64, Option<&str>)| Tolerance {
        organ: *organ,
        stages: vec!["grown".into()],
        harm: Harm::Freezing,
        frame: Frame::ScreenAir,
        damage_begins: Celsius(-2.0),
        severe: Celsius(-4.0),
        hardened_gain: Kelvins(0.0),
        spread: Kelvins(1.0),
        exposure_hours: None,
        share: *share,
        pick: pick.map(str::to_string),
        quality: String::new(),
        evidence: ToleranceEvidence {
            damage_begins: Evidence::Assumed,
            severe: Evidence::Assumed,
            hardened_gain: Evidence::Assumed,
        },
        sources: Vec::new(),
        note: None,
    };
    Crop {
        id: name.into(),
        name: name.into(),
        listed_as: name.into(),
        scientific_name: name.into(),
        family: String::new(),
        stages: vec!["grown".into()],
        stature: Stature::LOW_BED,
        tolerances: organs.iter().map(tolerance).collect(),
        growing: Growing {
            harvested,
            days_to_maturity: None,
            counted_from: CountedFrom::Seed,
            spread: 0.3,
            bed_depth: 0.3,
            life,
            sources: Vec::new(),
        },
        harvest: Harvest::default(),
    }
}

/// An annual of several stages, each with one part and the temperature of the air at which it begins to suffer.
pub(crate) fn staged(
    name: &str,
    stages: &[(&str, f64)],
    days_to_maturity: Option<(u16, u16)>,
    counted_from: CountedFrom,
) -> Crop {
    let mut crop = crop(name, HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let part = crop.tolerances.remove(0);
    crop.stages = stages.iter().map(|(stage, _)| (*stage).into()).collect();
    let tolerance = |(stage, begins): &(&str, f64)| Tolerance {
        stages: vec![(*stage).into()],
        damage_begins: Celsius(*begins),
        severe: Celsius(begins - 2.0),
        ..part.clone()
    };
    crop.tolerances = stages.iter().map(tolerance).collect();
    (crop.growing.days_to_maturity, crop.growing.counted_from) = (days_to_maturity, counted_from);
    crop
}
