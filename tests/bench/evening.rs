//! A week of many gardens, worked out twice: plainly, every bed at every hour, and with what beds of one garden share.
//! Both give the same; `tests/many_gardens.rs` holds them to it.
//!
//! What the second one rests on: an hour matters to a bed only where it may be the lowest. A leaf is never further below
//! the air than [`LeafBalance::depression_limit`], and of a given air the wet bulb rises with the temperature, along a
//! curve that bends down, so that it lies above its chord. So hours are first struck out for the whole garden, then for a
//! bed, and only of those that are left is anything solved.

#[path = "psychrometer.rs"]
mod psychrometer;

use counterpane::night::dose::DamageCurve;
use counterpane::night::leaf::{CALM, LeafBalance, LeafSurroundings, wind_at_height};
use counterpane::night::screen::clear_calm;
use counterpane::night::share_below;
use counterpane::units::{Celsius, Kelvins, MetresPerSecond, Pascals, Probability};
use counterpane::weather::humidity::{frost_point_from_vapour_pressure, saturation_over_water};
use psychrometer::{Bulb, is_wet_bulb_above, wet_bulb};

pub const HOURS: usize = 168;
pub const BEDS: usize = 40;
const KNOTS: usize = HOURS / 3 + 1;

/// As in [`counterpane::night::bed`], an open bed: height and width of the leaves, m, and the deepest depression believed, K.
const PLANT_HEIGHT: f64 = 0.2;
const LEAF_WIDTH: f64 = 0.07;
const DEEPEST_DEPRESSION: f64 = 3.3;
/// Spread of the lowest temperature of the leaves, K: forecast of one day ahead and leaf.
const SPREAD: Kelvins = Kelvins(2.0);

/// A week of forecast in steps of three hours, and forty beds.
pub struct Garden {
    air: [f64; KNOTS],
    dew_point: [f64; KNOTS],
    wind: [f64; KNOTS],
    cloud: [f64; KNOTS],
    hectopascals: [f64; KNOTS],
    beds: [Bed; BEDS],
}

#[derive(Clone, Copy)]
struct Bed {
    /// On a clear, calm night, K.
    offset: f64,
    threshold: f64,
    curve: DamageCurve,
}

/// What is said of one bed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outcome {
    pub lowest_air: f64,
    pub lowest_at: usize,
    pub hours_below: f64,
    pub lowest_wet_bulb: f64,
    /// At the hour of the lowest air; of air that has one.
    pub frost_point: Option<f64>,
    pub lowest_leaf: f64,
    pub chance: Probability,
    pub action: u8,
}

/// One hour of a garden.
#[derive(Clone, Copy, Default)]
struct Hour {
    air: f64,
    dew_point: f64,
    wind_at_leaf: f64,
    cloud: f64,
    pressure: f64,
    clear_calm: f64,
}

impl Hour {
    fn air_at(&self, bed: &Bed) -> f64 {
        self.air + bed.offset * self.clear_calm
    }

    fn dew_point_at(&self, air: f64) -> Celsius {
        Celsius(self.dew_point.min(air))
    }

    /// The balance of a leaf in air of this temperature; of air that may hold less, the dew point of the coldest.
    fn leaf(&self, air: f64, dew_point: Celsius) -> LeafBalance {
        LeafSurroundings {
            air: Celsius(air),
            dew_point,
            wind_at_leaf: MetresPerSecond(self.wind_at_leaf),
            leaf_width: LEAF_WIDTH,
            cloud_cover: self.cloud,
            sky_view: 1.0,
            ground: Celsius(air),
            pressure: Pascals(self.pressure),
        }
        .balance()
    }

    fn leaf_temperature(&self, air: f64) -> f64 {
        self.bounded(self.leaf(air, self.dew_point_at(air)).leaf_temperature(), air)
    }

    fn bounded(&self, leaf: Celsius, air: f64) -> f64 {
        leaf.0.max(air - DEEPEST_DEPRESSION).min(air)
    }

    fn wet_bulb(&self, air: f64) -> f64 {
        wet_bulb(Celsius(air), self.dew_point_at(air), Pascals(self.pressure), Bulb::Ice).0
    }

    fn is_wet_bulb_above(&self, limit: f64, air: f64) -> bool {
        let pressure = Pascals(self.pressure);
        is_wet_bulb_above(Celsius(limit), Celsius(air), self.dew_point_at(air), pressure, Bulb::Ice)
    }
}

/// The knots brought to hours by straight lines.
fn hours(garden: &Garden) -> [Hour; HOURS] {
    // The profile is a straight line through zero, but for the drift in still air.
    let per_wind = wind_at_height(MetresPerSecond(10.0), PLANT_HEIGHT).0 / 10.0;
    let mut hours = [Hour::default(); HOURS];
    for (index, hour) in hours.iter_mut().enumerate() {
        let (knot, share) = (index / 3, (index % 3) as f64 / 3.0);
        let at = |knots: &[f64; KNOTS]| knots[knot] * (1.0 - share) + knots[knot + 1] * share;
        let (wind, cloud) = (at(&garden.wind), at(&garden.cloud));
        *hour = Hour {
            air: at(&garden.air),
            dew_point: at(&garden.dew_point),
            wind_at_leaf: (per_wind * wind).max(CALM.0),
            cloud,
            pressure: 100.0 * at(&garden.hectopascals),
            clear_calm: clear_calm(cloud, MetresPerSecond(wind)),
        };
    }
    hours
}

/// Hours below the threshold, between the hours by straight lines.
fn hours_below(air: &[f64; HOURS], bed: &Bed) -> f64 {
    let is_below = |air: f64| air < bed.threshold;
    let whole = air.windows(2).filter(|pair| is_below(pair[0]) & is_below(pair[1])).count();
    let crossing = air.windows(2).filter(|pair| is_below(pair[0]) != is_below(pair[1]));
    let parts = crossing.map(|pair| share_below(Celsius(pair[0]), Celsius(pair[1]), Celsius(bed.threshold)));
    whole as f64 + parts.sum::<f64>()
}

/// Every bed at every hour.
pub fn plainly(garden: &Garden) -> Vec<Outcome> {
    let hours = hours(garden);
    let outcome = |bed: &Bed| {
        let air = hours.map(|hour| hour.air_at(bed));
        let lowest = |of: fn(&Hour, f64) -> f64| {
            hours
                .iter()
                .zip(&air)
                .map(|(hour, air)| of(hour, *air))
                .fold(f64::INFINITY, |a, b| if b < a { b } else { a })
        };
        let at = (0..HOURS).fold(0, |at, hour| if air[hour] < air[at] { hour } else { at });
        let (wet_bulb, leaf) = (lowest(Hour::wet_bulb), lowest(Hour::leaf_temperature));
        conclude(bed, &hours[at], at, air[at], hours_below(&air, bed), wet_bulb, leaf)
    };
    garden.beds.iter().map(outcome).collect()
}

fn conclude(
    bed: &Bed,
    hour: &Hour,
    lowest_at: usize,
    lowest_air: f64,
    hours_below: f64,
    lowest_wet_bulb: f64,
    lowest_leaf: f64,
) -> Outcome {
    let vapour_pressure = saturation_over_water(hour.dew_point_at(lowest_air));
    let chance = bed.curve.expected(Celsius(lowest_leaf), SPREAD);
    Outcome {
        lowest_air,
        lowest_at,
        hours_below,
        lowest_wet_bulb,
        frost_point: frost_point_from_vapour_pressure(vapour_pressure).ok().map(|frost_point| frost_point.0),
        lowest_leaf,
        chance,
        action: u8::from(chance.0 > 0.1) + u8::from(chance.0 > 0.6),
    }
}

/// Hours that may be the lowest of some bed, each with a bound below what it is there: `base + slope * offset`. In columns,
/// so that the processor takes several at once.
#[derive(Default)]
struct Candidates {
    hours: Vec<usize>,
    bases: Vec<f64>,
    slopes: Vec<f64>,
}

impl Candidates {
    fn push(&mut self, hour: usize, base: f64, slope: f64) {
        self.hours.push(hour);
        self.bases.push(base);
        self.slopes.push(slope);
    }

    /// The lowest of one bed: the most promising hour is worked out first, and of the others only those that may still be
    /// lower. `lower_of` gives the lower of an hour and the best so far.
    fn lowest(&self, bed: &Bed, bounds: &mut [f64; HOURS], mut lower_of: impl FnMut(usize, f64) -> f64) -> f64 {
        let bounds = &mut bounds[..self.hours.len()];
        for ((bound, base), slope) in bounds.iter_mut().zip(&self.bases).zip(&self.slopes) {
            *bound = base + slope * bed.offset;
        }
        let first = position_of_lowest(bounds);
        let mut best = lower_of(self.hours[first], f64::INFINITY);
        for (index, bound) in bounds.iter().enumerate() {
            if *bound < best + SLACK && index != first {
                best = lower_of(self.hours[index], best);
            }
        }
        best
    }
}

/// Rounding may not strike an hour out.
const SLACK: f64 = 1e-7;

/// With what the beds of a garden share.
pub fn sharing(garden: &Garden, outcomes: &mut Vec<Outcome>) {
    let hours = hours(garden);
    let (airs, clear_calms) = (hours.map(|hour| hour.air), hours.map(|hour| hour.clear_calm));
    let coldest = garden.beds.iter().min_by(|a, b| a.offset.total_cmp(&b.offset)).expect("beds");
    let warmest = garden.beds.iter().max_by(|a, b| a.offset.total_cmp(&b.offset)).expect("beds");
    let leaves = leaf_candidates(&hours, coldest, warmest);
    let wet_bulbs = wet_bulb_candidates(&hours, coldest, warmest);
    let (mut air, mut bounds) = ([0.0; HOURS], [0.0; HOURS]);
    outcomes.clear();
    for bed in &garden.beds {
        for ((air, screen), clear_calm) in air.iter_mut().zip(&airs).zip(&clear_calms) {
            *air = screen + bed.offset * clear_calm;
        }
        let at = position_of_lowest(&air);
        let hours_below = if air[at] < bed.threshold { hours_below(&air, bed) } else { 0.0 };
        let leaf = leaves.lowest(bed, &mut bounds, |index, best| {
            let (hour, air) = (&hours[index], air[index]);
            // No leaf is further below the air than is believed.
            if air - DEEPEST_DEPRESSION >= best {
                return best;
            }
            let balance = hour.leaf(air, hour.dew_point_at(air));
            let may_be = air < best || balance.is_colder_than(Celsius(best));
            if may_be { hour.bounded(balance.leaf_temperature(), air).min(best) } else { best }
        });
        let wet_bulb = wet_bulbs.lowest(bed, &mut bounds, |index, best| {
            let (hour, air) = (&hours[index], air[index]);
            if best.is_finite() && hour.is_wet_bulb_above(best, air) { best } else { hour.wet_bulb(air).min(best) }
        });
        outcomes.push(conclude(bed, &hours[at], at, air[at], hours_below, wet_bulb, leaf));
    }
}

/// Where the lowest of some values stands, the first of equals. In four lanes, so that the processor takes several at once.
fn position_of_lowest(values: &[f64]) -> usize {
    let less = |a: f64, b: f64| if b < a { b } else { a };
    let mut lanes = [f64::INFINITY; 4];
    let chunks = values.chunks_exact(4);
    let rest = chunks.remainder().iter().fold(f64::INFINITY, |a, b| less(a, *b));
    for chunk in chunks {
        for (lane, value) in lanes.iter_mut().zip(chunk) {
            *lane = less(*lane, *value);
        }
    }
    let lowest = lanes.iter().fold(rest, |a, b| less(a, *b));
    values.iter().position(|value| *value == lowest).unwrap_or(0)
}

fn leaf_candidates(hours: &[Hour; HOURS], coldest: &Bed, warmest: &Bed) -> Candidates {
    // No bed has a lowest leaf above the lowest air of the warmest bed.
    let best = hours.iter().map(|hour| hour.air_at(warmest)).fold(f64::INFINITY, f64::min) + SLACK;
    let mut candidates = Candidates::default();
    for (index, hour) in hours.iter().enumerate() {
        let (cold, warm) = (hour.air_at(coldest), hour.air_at(warmest));
        if cold - DEEPEST_DEPRESSION > best {
            continue;
        }
        let limit = hour.leaf(warm, hour.dew_point_at(cold)).depression_limit().0.min(DEEPEST_DEPRESSION);
        if cold - limit <= best {
            candidates.push(index, hour.air - limit, hour.clear_calm);
        }
    }
    candidates
}

fn wet_bulb_candidates(hours: &[Hour; HOURS], coldest: &Bed, warmest: &Bed) -> Candidates {
    // No bed has a lowest wet bulb above that of the warmest bed, and that not above any of its hours: here one that is
    // likely the lowest.
    let guess = |hour: &Hour| 2.0 * hour.air_at(warmest) + hour.dew_point;
    let likely = hours.iter().min_by(|a, b| guess(a).total_cmp(&guess(b))).expect("hours");
    let best = likely.wet_bulb(likely.air_at(warmest)) + SLACK;
    let mut candidates = Candidates::default();
    for (index, hour) in hours.iter().enumerate() {
        let (cold, warm) = (hour.air_at(coldest), hour.air_at(warmest));
        if hour.is_wet_bulb_above(best, cold) {
            continue;
        }
        let (low, high) = (hour.wet_bulb(cold), hour.wet_bulb(warm));
        // The chord holds where no bed's air is saturated and the bulb is ice in all of them, or water in all of them.
        let is_smooth = hour.dew_point <= cold && (high <= 0.0 || low > 0.0) && warm > cold;
        let slope = if is_smooth { (high - low) / (warmest.offset - coldest.offset) } else { 0.0 };
        candidates.push(index, low - slope * coldest.offset, slope);
    }
    candidates
}

/// As many gardens, the same in every run: weeks of autumn and spring, with a day's wave of air, noise from step to step,
/// and beds of many offsets.
pub fn gardens(count: usize) -> Vec<Garden> {
    let mut numbers = Numbers(1);
    (0..count).map(|_| garden(&mut numbers)).collect()
}

/// Crops: a threshold of the air, first damage and severe damage, °C.
const CROPS: [[f64; 3]; 5] =
    [[2.0, 0.5, -0.5], [0.0, -1.0, -2.5], [-1.0, -2.0, -4.0], [-2.0, -3.0, -6.0], [-4.0, -6.0, -10.0]];

fn garden(numbers: &mut Numbers) -> Garden {
    let (mean, amplitude) = (numbers.normal(6.0, 4.0), 3.0 + 4.0 * numbers.unit());
    let air: [f64; KNOTS] = std::array::from_fn(|knot| {
        let phase = std::f64::consts::TAU * (3.0 * knot as f64 - 15.0) / 24.0;
        mean + amplitude * phase.cos() + numbers.normal(0.0, 1.0)
    });
    Garden {
        air,
        dew_point: air.map(|air| air - numbers.normal(3.0, 2.0).abs()),
        wind: std::array::from_fn(|_| numbers.normal(2.5, 1.5).abs()),
        cloud: std::array::from_fn(|_| numbers.unit()),
        hectopascals: std::array::from_fn(|_| numbers.normal(1000.0, 15.0)),
        beds: std::array::from_fn(|_| {
            let [threshold, begins, severe] = CROPS[(5.0 * numbers.unit()) as usize % 5];
            let curve = DamageCurve::new(Celsius(begins), Celsius(severe)).expect("a curve");
            Bed { offset: numbers.normal(-1.0, 1.2), threshold, curve }
        }),
    }
}

/// Numbers by chance, the same in every run: the linear congruential generator of Knuth's MMIX.
struct Numbers(u64);

impl Numbers {
    /// Above 0 and below 1.
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self, mean: f64, spread: f64) -> f64 {
        mean + spread * (-2.0 * self.unit().ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
}
