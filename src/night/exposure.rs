//! From the garden's screen to a bed: what lies round the bed and how that changes its cold night.
//!
//! The offsets hold in full on a clear, calm night and vanish on a windy or overcast one, because cold air drains and
//! walls matter only where the air stands still. They are common practice among growers, not measurements: a garden
//! states its own `offset` as soon as it has read a thermometer at the bed on a few cold nights.

use crate::units::Kelvins;
use crate::words::words;

/// What lies round a bed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Exposure {
    /// Nothing within about three times its height.
    Open,
    /// At the foot of a wall that the sun warmed.
    Wall,
    /// Under trees that hold part of the sky off.
    UnderTrees,
    /// Where cold air gathers.
    Hollow,
    /// Where cold air runs off.
    Slope,
}

words!(Exposure { Open = "open", Wall = "wall", UnderTrees = "under-trees", Hollow = "hollow", Slope = "slope" });

/// What an exposure does to a clear, calm night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExposureEffect {
    /// Air at the bed against the garden's screen.
    pub offset: Kelvins,
    /// How well that offset is known, one standard deviation.
    pub offset_spread: Kelvins,
    /// Share of the sky the plants see, 0 to 1.
    pub sky_view: f64,
    /// Share of the open wind that reaches the plants, 0 to 1.
    pub wind: f64,
}

/// An offset that the garden's nights have taught, and that was accepted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LearnedOffset {
    pub mean: Kelvins,
    /// One standard deviation, K; above 0.
    pub spread: Kelvins,
    /// How many nights it rests on.
    pub nights: usize,
}

impl Exposure {
    /// Common practice throughout; the sky view of a wall is that of a half-open hemisphere seen from near its foot.
    pub fn effect(self) -> ExposureEffect {
        let (offset, offset_spread, sky_view, wind) = match self {
            Exposure::Open => (0.0, 0.5, 1.0, 1.0),
            Exposure::Wall => (1.0, 0.8, 0.6, 0.6),
            Exposure::UnderTrees => (0.5, 0.7, 0.5, 0.6),
            Exposure::Hollow => (-2.0, 1.0, 1.0, 0.5),
            Exposure::Slope => (0.5, 0.7, 1.0, 1.0),
        };
        ExposureEffect { offset: Kelvins(offset), offset_spread: Kelvins(offset_spread), sky_view, wind }
    }
}
