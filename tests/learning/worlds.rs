//! Gardens whose truth is known: drawn as published figures say, and reports drawn as the learners take them to come.

use crate::chance::Chance;
use chrono::{Days, NaiveDate};
use counterpane::crops::Figures;
use counterpane::crops::damage::DamageClass;
use counterpane::learn::bed_offset::{self, BedReading, BedReadings};
use counterpane::learn::cover_gain::{self, PairedReading};
use counterpane::learn::forecast::{self, ForecastNight, Sky};
use counterpane::learn::tolerance::{self, DamageReport};
use counterpane::learn::{Figure, Learned};
use counterpane::night::Estimate;
use counterpane::night::cover::{Cover, CoverConditions, CoverKind};
use counterpane::night::dose::{DamageCurve, normal_cdf};
use counterpane::night::screen::{CLEAR_CALM_SHIFT, CLEAR_CALM_SPREAD};
use counterpane::units::{Celsius, Kelvins};
use counterpane::zone::NightOf;

pub fn night(index: usize) -> NightOf {
    NightOf(NaiveDate::default() + Days::new(index as u64))
}

pub fn figure(mean: f64, spread: f64) -> Figure {
    Figure { mean: Kelvins(mean), spread: Kelvins(spread) }
}

/// What is true, and what was learned of it.
pub struct Trial {
    pub truth: f64,
    pub learned: Figure,
}

/// A quantity that is learned: from so many nights, and from one more report that lies this far from what was to be
/// expected beforehand, in kelvins; `shuffled` brings the reports in another order.
pub struct Quantity {
    pub name: &'static str,
    pub trial: fn(&mut Chance, usize, Option<f64>, bool) -> Trial,
}

pub const QUANTITIES: [Quantity; 13] = [
    Quantity { name: "forecast shift, clear and calm", trial: |c, n, odd, s| forecast(c, n, odd, s, Sky::ClearCalm).0 },
    Quantity { name: "forecast shift, other nights", trial: |c, n, odd, s| forecast(c, n, odd, s, Sky::Other).0 },
    Quantity { name: "forecast spread, logarithm", trial: |c, n, odd, s| forecast(c, n, odd, s, Sky::Other).1 },
    Quantity { name: "offset of a bed read every night", trial: |c, n, odd, s| beds(c, n, odd, s, 0, Odd::AtBed) },
    Quantity { name: "offset of a bed read one night in ten", trial: |c, n, odd, s| beds(c, n, odd, s, 3, Odd::AtBed) },
    Quantity { name: "offset of a bed never read", trial: |c, n, odd, s| beds(c, n, odd, s, 5, Odd::AtBed) },
    Quantity {
        name: "offset of a read bed, the screen odd",
        trial: |c, n, odd, s| beds(c, n, odd, s, 0, Odd::AtScreen),
    },
    Quantity {
        name: "offset of an unread bed, the screen odd",
        trial: |c, n, odd, s| beds(c, n, odd, s, 5, Odd::AtScreen),
    },
    Quantity {
        name: "offset of a bed, its neighbour odd",
        trial: |c, n, odd, s| beds(c, n, odd, s, 1, Odd::Neighbour),
    },
    Quantity { name: "offset of an unread bed, one odd", trial: |c, n, odd, s| beds(c, n, odd, s, 5, Odd::Neighbour) },
    Quantity { name: "gain of medium row cover", trial: cover },
    Quantity { name: "tolerance, thermometers at the plants", trial: |c, n, odd, s| tolerance(c, n, odd, s, 0.5) },
    Quantity { name: "tolerance, temperatures worked out", trial: |c, n, odd, s| tolerance(c, n, odd, s, 1.5) },
];

/// Lead day 3: the shift under a sky, and the logarithm of the factor of its spread. Nights are clear and calm to any
/// degree, and show as much of what such nights have of their own.
fn forecast(chance: &mut Chance, nights: usize, odd: Option<f64>, shuffled: bool, sky: Sky) -> (Trial, Trial) {
    let site = figure(0.0, 1.0);
    let published = forecast::published(site, sky);
    // Both parts of the shift wander as the learner takes them to; what is asked for is that of the last night.
    let kept = (-1.0 / forecast::FADES_IN_DAYS).exp();
    let mut wandering = [chance.normal(), chance.normal()];
    let log_factor = forecast::Factor::PUBLISHED.log_spread * chance.normal();
    let spread = 2.2;
    let asked_for = if sky == Sky::ClearCalm { 1.0 } else { 0.0 };
    let shift = |[shared, own]: [f64; 2], clear_calm: f64| {
        site.mean.0 + site.spread.0 * shared + clear_calm * (CLEAR_CALM_SHIFT + CLEAR_CALM_SPREAD * own)
    };
    let row = |index: usize, clear_calm: f64, low: f64, off: f64| ForecastNight {
        night: night(index),
        lead_day: 3,
        clear_calm,
        forecast: Estimate { mean: Celsius(low), spread: Kelvins(spread) },
        measured: Celsius(low + off),
        confirmed: true,
    };
    let mut rows = Vec::new();
    for index in 0..nights {
        if index > 0 {
            wandering = wandering.map(|part| kept * part + (1.0 - kept * kept).sqrt() * chance.normal());
        }
        let clear_calm = chance.between(0.0, 1.0);
        let off = shift(wandering, clear_calm) + log_factor.exp() * spread * chance.normal();
        rows.push(row(index, clear_calm, chance.between(-6.0, 4.0), off));
    }
    rows.extend(odd.map(|odd| row(nights, asked_for, -2.0, published.mean.0 + odd)));
    if shuffled {
        chance.shuffle(&mut rows);
    }
    let learned = forecast::learn(&rows, site);
    let factor = learned.cell(3, sky).factor;
    let log = figure(factor.value.ln(), factor.log_spread);
    let truth = shift(wandering, asked_for);
    (Trial { truth, learned: learned.at(3, asked_for).shift }, Trial { truth: log_factor, learned: log })
}

/// Which thermometer is odd: the only one at a bed in its night, that at the screen, with which all beds of a night are
/// compared, or one at a bed in a night in which the others are read too.
#[derive(Clone, Copy, PartialEq)]
enum Odd {
    AtBed,
    AtScreen,
    Neighbour,
}

/// Six beds of several exposures, with 0.3 of the variance of their offsets in common; the fourth is read one night in
/// ten, the last never. Half of the variance of a night is common to its beds.
fn beds(chance: &mut Chance, nights: usize, odd: Option<f64>, shuffled: bool, which: usize, which_is: Odd) -> Trial {
    let published = [(0.0, 0.5), (-2.0, 1.0), (0.5, 0.7), (1.0, 0.8), (0.0, 0.5), (-2.0, 1.0)];
    let common = chance.normal();
    let truths: Vec<f64> = published
        .iter()
        .map(|(mean, spread)| mean + spread * (0.3f64.sqrt() * common + 0.7f64.sqrt() * chance.normal()))
        .collect();
    let reading = |index: usize, clear_calm: f64, difference: f64| BedReading {
        night: night(index),
        clear_calm,
        screen: Celsius(-3.0),
        bed: Celsius(-3.0 + difference),
        confirmed: true,
    };
    let mut all: Vec<BedReadings> = published
        .iter()
        .map(|(mean, spread)| BedReadings { published: figure(*mean, *spread), readings: Vec::new() })
        .collect();
    for index in 0..nights {
        let clear_calm = chance.between(0.2, 1.0);
        let half = bed_offset::NIGHTLY_SPREAD * 0.5f64.sqrt();
        let of_night = half * chance.normal();
        for (bed, truth) in
            [0, 1, 2, 4, 3].into_iter().take(if index % 10 == 0 { 5 } else { 4 }).map(|bed| (bed, truths[bed]))
        {
            let difference = clear_calm * truth + of_night + half * chance.normal();
            all[bed].readings.push(reading(index, clear_calm, difference));
        }
    }
    // The odd one is read at the bed that is looked at; at a bed never read, at its neighbour.
    let at = if which == 5 { 1 } else { which };
    if which_is == Odd::Neighbour {
        let half = bed_offset::NIGHTLY_SPREAD * 0.5f64.sqrt();
        let of_night = half * chance.normal();
        for at in [0, 1, 2, 3] {
            all[at].readings.push(reading(nights, 1.0, truths[at] + of_night + half * chance.normal()));
        }
    }
    let odd_ones = match which_is {
        Odd::AtBed => vec![at],
        Odd::AtScreen => vec![0, 1, 2, 3, 4],
        Odd::Neighbour => vec![4],
    };
    for at in odd_ones {
        all[at].readings.extend(odd.map(|odd| reading(nights, 1.0, published[at].0 + odd)));
    }
    if shuffled {
        all.iter_mut().for_each(|bed| chance.shuffle(&mut bed.readings));
    }
    let learned: Vec<Learned> = bed_offset::learn(&all);
    Trial { truth: truths[which], learned: learned[which].learned }
}

/// Half of the variance between a cover's low and high gain is its own here, half is from night to night.
fn cover(chance: &mut Chance, nights: usize, odd: Option<f64>, shuffled: bool) -> Trial {
    let cover = Cover::one(CoverKind::MediumRowCover);
    let still = CoverConditions { wind_10m: 1.0, left_by_the_day: 1.0 };
    let published = cover.gain(still);
    let half = published.spread.0 * 0.5f64.sqrt();
    let truth = published.mean.0 + half * chance.normal();
    let pair = |index: usize, left_by_the_day: f64, gain: f64| PairedReading {
        bed: 0,
        night: night(index),
        conditions: CoverConditions { left_by_the_day, ..still },
        open: Celsius(-3.0),
        under: Celsius(-3.0 + gain),
        confirmed: true,
    };
    let mut pairs: Vec<PairedReading> = (0..nights)
        .map(|index| {
            let left = chance.between(0.5, 1.0);
            let thermometers = 0.5 * (chance.normal() + chance.normal());
            pair(index, left, left * truth + half * chance.normal() + thermometers)
        })
        .collect();
    pairs.extend(odd.map(|odd| pair(nights, 1.0, published.mean.0 + odd)));
    if shuffled {
        chance.shuffle(&mut pairs);
    }
    Trial { truth, learned: cover_gain::learn(cover, &pairs).gain.learned }
}

pub const KALE_LIKE: Figures = Figures {
    damage_begins: Celsius(-3.0),
    severe: Celsius(-6.0),
    hardened_gain: Kelvins(3.0),
    spread: Kelvins(1.0),
    exposure_hours: None,
};

/// The class of a share of plants harmed, by the scale that people are shown.
pub fn class_of(share: f64) -> u8 {
    let class = DamageClass::all().find(|class| share <= *class.share().end()).expect("a share from 0 to 1");
    class.number()
}

/// A crop of three kelvins between first harm and heavy loss; nights about its thresholds, more of them mild than cold.
fn tolerance(chance: &mut Chance, nights: usize, odd: Option<f64>, shuffled: bool, spread: f64) -> Trial {
    let curve = DamageCurve::new(KALE_LIKE.damage_begins, KALE_LIKE.severe).expect("a curve");
    let truth = KALE_LIKE.spread.0 * chance.normal();
    let report = |index: usize, felt: f64, class: u8| DamageReport {
        bed: 0,
        night: night(index),
        class,
        felt: Estimate { mean: Celsius(felt), spread: Kelvins(spread) },
        confirmed: true,
    };
    let mut reports: Vec<DamageReport> = (0..nights)
        .map(|index| {
            let felt = chance.between(-7.0, 0.0);
            let was = felt + spread * chance.normal() + 0.5 * chance.normal();
            let share = normal_cdf((curve.lt50().0 + truth - was) / curve.tolerance_spread().0).0;
            report(index, felt, class_of(share))
        })
        .collect();
    // As far below the thresholds with no harm, or above them and all dead.
    reports.extend(odd.map(|odd| report(nights, curve.lt50().0 + odd, if odd > 0.0 { 5 } else { 0 })));
    if shuffled {
        chance.shuffle(&mut reports);
    }
    Trial { truth, learned: tolerance::learn(KALE_LIKE, &reports).shift.learned }
}
