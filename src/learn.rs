//! What nights have taught: published figures moved by what was seen, each with its uncertainty and the nights it rests
//! on.
//!
//! ```text
//! nights -> forecast     shift and spread of a feed, by lead day and sky
//!        -> bed_offset   each bed against the garden's screen, all beds together
//!        -> cover_gain   what a kind of cover gains here
//!        -> tolerance    what a crop stands in a stage
//! ```
//!
//! Each learner takes the published figure as what is known beforehand. Without a night it gives that back exactly, and no
//! single report moves a figure by more than half its published spread, whatever the report says ([`bounded`]). What
//! looks like a slip is asked about and not used ([`doubt`]).

pub mod bed_offset;
pub mod bounded;
pub mod cover_gain;
pub mod doubt;
pub mod forecast;
pub mod kalman;
mod pooled;
pub mod tolerance;

use crate::units::Kelvins;
use crate::zone::NightOf;
use doubt::Doubt;
use std::collections::BTreeMap;

/// A difference of temperatures as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    pub mean: Kelvins,
    /// One standard deviation; 0 and above.
    pub spread: Kelvins,
}

impl Figure {
    /// Whether it can be learned from: both numbers, and a spread that leaves something to learn.
    fn is_open(self) -> bool {
        self.mean.0.is_finite() && self.spread.0.is_finite() && self.spread.0 > 0.0
    }
}

/// A figure before and after what was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Learned {
    /// As published or set.
    pub published: Figure,
    /// With what was seen; equal to `published` where nothing was.
    pub learned: Figure,
    /// The nights it rests on, in order, each once.
    pub nights: Vec<NightOf>,
    /// What was not used until somebody has said that it is right, in order of nights.
    pub asked: Vec<Asked>,
}

impl Learned {
    /// A figure of which nothing has been seen.
    fn unseen(published: Figure) -> Learned {
        Learned { published, learned: published, nights: Vec::new(), asked: Vec::new() }
    }

    /// What was seen less what was published.
    pub fn moved(&self) -> Kelvins {
        Kelvins(self.learned.mean.0 - self.published.mean.0)
    }
}

/// A report that was set aside, and why.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    pub night: NightOf,
    /// At which bed, by the number that its report has; `None` where the figure itself says so.
    pub bed: Option<usize>,
    pub doubt: Doubt,
}

/// One thing seen: of a night, a value and how far it counts.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Seen {
    night: NightOf,
    /// In kelvins.
    value: f64,
    /// How much of the figure showed on that night, 0 to 1.
    loading: f64,
    /// Standard deviation of the value about the figure, K.
    spread: f64,
}

/// What was seen, one of each night: what is read twice in a night shares its weather and counts once, as a mean. In
/// order of nights, and the same whatever the order it came in.
fn by_night(seen: impl IntoIterator<Item = Seen>) -> Vec<Seen> {
    let mut nights: BTreeMap<NightOf, Vec<Seen>> = BTreeMap::new();
    for one in seen {
        nights.entry(one.night).or_default().push(one);
    }
    let mean = |of: &[Seen], part: fn(&Seen) -> f64| {
        let mut parts: Vec<f64> = of.iter().map(part).collect();
        parts.sort_by(f64::total_cmp);
        parts.iter().sum::<f64>() / of.len() as f64
    };
    let one_of = |(night, all): (NightOf, Vec<Seen>)| Seen {
        night,
        value: mean(&all, |seen| seen.value),
        loading: mean(&all, |seen| seen.loading),
        spread: mean(&all, |seen| seen.spread),
    };
    nights.into_iter().map(one_of).collect()
}

/// In order of nights, whatever the order it came in.
fn in_order(mut asked: Vec<Asked>) -> Vec<Asked> {
    asked.sort_by(|a, b| a.night.cmp(&b.night).then(a.bed.cmp(&b.bed)).then_with(|| a.doubt.order(&b.doubt)));
    asked
}
