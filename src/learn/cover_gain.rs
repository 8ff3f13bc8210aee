//! What a kind of cover gains in this garden, from a thermometer under it and one beside it in the same hours.

use super::doubt::{Doubt, of_temperature};
use super::pooled::{self, Group};
use super::{Asked, Figure, Learned, Seen, by_night, in_order};
use crate::night::Estimate;
use crate::night::cover::{Cover, CoverConditions, CoverGain};
use crate::units::{Celsius, Kelvins};
use crate::zone::NightOf;

/// Two thermometers on one night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairedReading {
    pub night: NightOf,
    /// The number of its bed, for whoever asks about it.
    pub bed: usize,
    pub conditions: CoverConditions,
    /// In the open bed.
    pub open: Celsius,
    /// Under the cover, in the same hours.
    pub under: Celsius,
    /// Somebody was asked about it and said that it is right.
    pub confirmed: bool,
}

/// Part of the variance between low and high gain that is this garden's cloth and way of laying it, and so can be learned;
/// the rest is from night to night (assumed: trials report neither apart).
const LASTING: f64 = 0.5;
/// How well two thermometers tell a difference: each within 0.5 K (assumed), K.
const PAIR_SPREAD: f64 = 0.707;

/// A cover's gain on a still night after a sunny day, as published and as learned.
#[derive(Clone, Debug, PartialEq)]
pub struct LearnedGain {
    pub cover: Cover,
    pub gain: Learned,
}

/// What is known of a cover's lasting gain without any reading, and its scatter from night to night, K.
fn published(cover: Cover) -> (Figure, f64) {
    let whole = cover.gain(CoverConditions { wind_10m: 0.0, left_by_the_day: 1.0 });
    let lasting = Figure { mean: whole.mean, spread: Kelvins(whole.spread.0 * LASTING.sqrt()) };
    (lasting, whole.spread.0 * (1.0 - LASTING).sqrt())
}

/// Learns what a cover gains, from pairs in any order.
///
/// ```text
/// y = l G + e,   G ~ N(m, v/2),   e ~ N(0, v/2 + 0.707^2)
/// ```
///
/// | symbol   | meaning                                                     | unit | accepted range |
/// |----------|-------------------------------------------------------------|------|----------------|
/// | `y`      | under the cover less beside it, mean of a night             | K    | any            |
/// | `l`      | what the day has left, see [`CoverConditions::left_by`]     | -    | 0 to 1         |
/// | `G`      | lasting gain of this garden's cover                         | K    |                |
/// | `m`, `v` | mean and variance of the published gain, see [`Cover::gain`] | K, K² |              |
///
/// With the bounded pull of [`Pull`](super::bounded::Pull): no night moves the gain by more than half the published
/// spread of `G`. Taken as normal, though the published gain is lopsided.
///
/// **Method error.** `tests/learning.rs`: how often the 80 % interval holds the truth. The halves are assumed.
/// **Refuses.** Numbers that are none, slips of unit and values far off come back as questions and teach nothing; nights
/// of more than 4 m/s, on which wind takes from the gain, are left out.
/// **Source.** As [`Pull`](super::bounded::Pull); the published gains as in [`CoverKind`](crate::night::cover::CoverKind).
/// **Check.** One pair near by: the textbook mean, `v_G/(v_G + v_e)` of the way (worked by hand). A low tunnel gains 2, 5, 7 K:
/// `m` 4.688704, `v` 3.860779.
///
/// ```
/// # use counterpane::learn::cover_gain::{PairedReading, learn};
/// # use counterpane::night::cover::{Cover, CoverConditions, CoverKind};
/// # use counterpane::{units::Celsius, zone::NightOf};
/// let pair = PairedReading {
///     night: NightOf(chrono::NaiveDate::default()),
///     bed: 0,
///     conditions: CoverConditions { wind_10m: 1.0, left_by_the_day: 1.0 },
///     open: Celsius(-4.0),
///     under: Celsius(1.4),
///     confirmed: false,
/// };
/// let learned = learn(Cover::one(CoverKind::LowTunnel), &[pair]).gain;
/// let (off, half) = (5.4 - 4.688704, 3.860779 / 2.0);
/// assert!((learned.moved().0 - off * half / (2.0 * half + 0.707 * 0.707)).abs() < 1e-5);
/// ```
pub fn learn(cover: Cover, pairs: &[PairedReading]) -> LearnedGain {
    let (published, nightly) = published(cover);
    let spread = nightly.hypot(PAIR_SPREAD);
    let (mut seen, mut asked) = (Vec::new(), Vec::new());
    for pair in pairs {
        match doubt(pair, published, spread) {
            Some(doubt) if !(pair.confirmed && doubt.can_be_confirmed()) => {
                asked.push(Asked { night: pair.night, bed: Some(pair.bed), doubt })
            }
            // Wind takes from it in a way that is not known well enough to learn from.
            _ if pair.conditions.carried_off() > 0.0 => {}
            _ => seen.push(Seen {
                night: pair.night,
                value: (pair.under - pair.open).0,
                loading: pair.conditions.left_by_the_day,
                spread,
            }),
        }
    }
    let (seen, asked) = (by_night(seen), in_order(asked));
    let learned = match pooled::learn(&[Group { published, seen: &seen }], 0.0, 0.0).first() {
        Some(learned) if !seen.is_empty() => *learned,
        _ => published,
    };
    let nights = seen.iter().map(|seen| seen.night).collect();
    LearnedGain { cover, gain: Learned { published, learned, nights, asked } }
}

fn doubt(pair: &PairedReading, published: Figure, spread: f64) -> Option<Doubt> {
    let left = pair.conditions.left_by_the_day;
    if !(0.0..=1.0).contains(&left) || !pair.conditions.wind_10m.is_finite() {
        return Some(Doubt::Unusable);
    }
    let gained = Kelvins(published.mean.0 * left * (1.0 - pair.conditions.carried_off()));
    let spread = Kelvins((published.spread.0 * left).hypot(spread));
    of_temperature(pair.under, Estimate { mean: pair.open + gained, spread })
}

impl LearnedGain {
    /// A gain as it was accepted.
    pub fn accepted(cover: Cover, learned: Figure) -> LearnedGain {
        LearnedGain { cover, gain: Learned { learned, ..Learned::unseen(published(cover).0) } }
    }

    /// The gain on a night like this, with what was learned in the place of what was published. Without a pair it is
    /// [`Cover::gain`]; wind takes from what was learned as it does from the rest, and no cover is expected to cool.
    pub fn on(&self, conditions: CoverConditions) -> CoverGain {
        let gain = self.cover.gain(conditions);
        let counted = conditions.left_by_the_day * (1.0 - conditions.carried_off());
        let (_, nightly) = published(self.cover);
        // Both sides shrink alike, so that what is lopsided stays so.
        let shrunk = nightly.hypot(self.gain.learned.spread.0) / gain.spread.0;
        let (below, above) = gain.sides;
        CoverGain {
            mean: Kelvins((gain.mean.0 + self.gain.moved().0 * counted).max(0.0)),
            spread: Kelvins(gain.spread.0 * shrunk),
            sides: (Kelvins(below.0 * shrunk), Kelvins(above.0 * shrunk)),
        }
    }
}
