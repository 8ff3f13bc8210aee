//! How much colder or milder each bed is than the garden's screen, all beds together: what one teaches holds in part for
//! the others.

use super::doubt::{Doubt, of_temperature};
use super::pooled::{self, Group};
use super::{Asked, Figure, Learned, Seen, by_night, in_order};
use crate::night::Estimate;
use crate::units::{Celsius, Kelvins};
use crate::zone::NightOf;

/// What was read at one bed.
#[derive(Clone, Debug, PartialEq)]
pub struct BedReadings {
    /// The offset as its exposure has it, or as the garden has set it.
    pub published: Figure,
    pub readings: Vec<BedReading>,
}

/// The lows of one night at a bed, uncovered, and at the garden's screen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BedReading {
    pub night: NightOf,
    /// How much of a clear, calm night it was, 0 to 1: so much of the offset shows.
    pub clear_calm: f64,
    pub screen: Celsius,
    pub bed: Celsius,
    /// Somebody was asked about it and said that it is right.
    pub confirmed: bool,
}

/// How far the difference of two thermometers lies from the offset of their places on one night, K: each reads within
/// 0.5 K, and air moves (assumed).
pub const NIGHTLY_SPREAD: f64 = 0.9;
/// Part of that variance which all beds of a night have in common: they are compared with one thermometer at the screen,
/// and the air moves there too (assumed: of 0.81 K² its 0.25, and half of what the two thermometers leave).
pub const COMMON_OF_NIGHT: f64 = 0.5;
/// Part of the variance of offsets that the beds of a garden have in common: a screen in a poor place makes all of them
/// wrong alike (assumed).
const IN_COMMON: f64 = 0.3;
/// On a night less clear and calm than this nothing is to be seen of an offset.
const LEAST_CLEAR_CALM: f64 = 0.1;

/// The spread of a part of a night's variance, K.
fn of_night(part: f64) -> f64 {
    NIGHTLY_SPREAD * part.sqrt()
}

/// The offsets, in the order of the beds.
///
/// ```text
/// y = w (m + p (sqrt(0.3) g + sqrt(0.7) d)) + c + e,   g, d ~ N(0, 1),   c, e ~ N(0, 0.9^2 / 2)
/// ```
///
/// | symbol   | meaning                                                          | unit | accepted range |
/// |----------|------------------------------------------------------------------|------|----------------|
/// | `y`      | bed less screen on one night                                     | K    | any            |
/// | `w`      | how much of a clear, calm night it was, and so of the offset shows | -  | 0.1 to 1       |
/// | `m`, `p` | published offset and its spread                                  | K    | p above 0      |
/// | `g`, `d` | what all beds of the garden have in common, what this one has alone | - |                |
/// | `c`, `e` | what a night has in common at all beds, what it has at this one alone | K |               |
///
/// All `g`, `d` and `c` together, with the bounded pull of [`Pull`](super::bounded::Pull): no report moves an offset, of its
/// own bed or another, by more than half the published spread of that one. The screen's low is one report, though it stands
/// in those of all beds.
///
/// **Method error.** `tests/learning.rs`: how often the 80 % interval holds the truth, of a bed that is read every night,
/// seldom and never. How much beds differ is taken as published and not learned.
/// **Refuses.** Numbers that are none, slips of unit and values far off come back as questions and teach nothing; nights
/// that are less clear and calm are left out. An offset without a spread stays.
/// **Source.** Lindley and Smith 1972, Bayes Estimates for the Linear Model, J. R. Stat. Soc. B 34, 1-41, from memory;
/// spread of a night and common part are assumed.
/// **Check.** One bed, one night near by: the textbook mean of a normal with a normal beforehand, `p^2/(p^2 + 0.9^2)` of the
/// way (worked by hand).
///
/// ```
/// # use counterpane::learn::{Figure, bed_offset::{BedReading, BedReadings, learn}};
/// # use counterpane::{units::{Celsius, Kelvins}, zone::NightOf};
/// let reading = BedReading {
///     night: NightOf(chrono::NaiveDate::default()),
///     clear_calm: 1.0,
///     screen: Celsius(-1.0),
///     bed: Celsius(-1.6),
///     confirmed: false,
/// };
/// let open = Figure { mean: Kelvins(0.0), spread: Kelvins(0.5) };
/// let beds = learn(&[BedReadings { published: open, readings: vec![reading] }]);
/// assert!((beds[0].learned.mean.0 + 0.6 * 0.25 / 1.06).abs() < 1e-8);
/// ```
pub fn learn(beds: &[BedReadings]) -> Vec<Learned> {
    let sorted: Vec<(Vec<Seen>, Vec<Asked>)> = beds.iter().map(sort).collect();
    let group = |(bed, (seen, _)): (&BedReadings, &(Vec<Seen>, Vec<Asked>))| (bed.published, seen.clone());
    let seen: Vec<(Figure, Vec<Seen>)> = beds.iter().zip(&sorted).map(group).collect();
    let groups: Vec<Group<'_>> = seen.iter().map(|(published, seen)| Group { published: *published, seen }).collect();
    let nothing = groups.iter().all(|group| group.seen.is_empty());
    let figures = if nothing {
        beds.iter().map(|bed| bed.published).collect()
    } else {
        pooled::learn(&groups, IN_COMMON, of_night(COMMON_OF_NIGHT))
    };
    let learned = beds.iter().zip(sorted).zip(figures);
    learned
        .map(|((bed, (seen, asked)), learned)| Learned {
            published: bed.published,
            learned,
            nights: seen.iter().map(|seen| seen.night).collect(),
            asked,
        })
        .collect()
}

/// What can be used, one of each night, and what is asked about.
fn sort(bed: &BedReadings) -> (Vec<Seen>, Vec<Asked>) {
    let (mut seen, mut asked) = (Vec::new(), Vec::new());
    for reading in &bed.readings {
        match doubt(reading, bed.published) {
            Some(doubt) if !(reading.confirmed && doubt.can_be_confirmed()) => {
                asked.push(Asked { night: reading.night, bed: None, doubt });
            }
            _ if reading.clear_calm < LEAST_CLEAR_CALM => {}
            _ => seen.push(Seen {
                night: reading.night,
                value: (reading.bed - reading.screen).0,
                loading: reading.clear_calm,
                spread: of_night(1.0 - COMMON_OF_NIGHT),
            }),
        }
    }
    (by_night(seen), in_order(asked))
}

fn doubt(reading: &BedReading, published: Figure) -> Option<Doubt> {
    if !(0.0..=1.0).contains(&reading.clear_calm) {
        return Some(Doubt::Unusable);
    }
    let offset = Kelvins(published.mean.0 * reading.clear_calm);
    let spread = (published.spread.0 * reading.clear_calm).hypot(NIGHTLY_SPREAD);
    of_temperature(reading.bed, Estimate { mean: reading.screen + offset, spread: Kelvins(spread) })
}
