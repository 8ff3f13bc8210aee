//! How far a feed's lows lie off this garden's screen, and how widely they scatter: by lead day, and by whether the night
//! was clear and calm.

use super::bounded::{Balance, Pull, settle};
use super::doubt::{Doubt, of_temperature};
use super::kalman::State;
use super::{Asked, Figure, Learned, Seen, by_night, in_order};
use crate::night::Estimate;
pub use crate::night::corrections::LEAD_DAYS;
use crate::night::corrections::{self, OfFeed};
use crate::night::dose::Z_90;
use crate::night::screen::{CLEAR_CALM_SHIFT, CLEAR_CALM_SPREAD};
use crate::units::{Celsius, Kelvins};
use crate::zone::NightOf;

/// Nights that a feed may treat apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sky {
    ClearCalm,
    Other,
}

impl Sky {
    /// That of a night that is clear and calm to a degree of 0 to 1: by its larger half.
    pub fn of(clear_calm: f64) -> Sky {
        if clear_calm >= 0.5 { Sky::ClearCalm } else { Sky::Other }
    }
}

/// A low that was forecast and then measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForecastNight {
    pub night: NightOf,
    /// 1 is within 24 h of the issue; 0 counts as 1.
    pub lead_day: usize,
    /// How much of a clear, calm night it was, 0 to 1.
    pub clear_calm: f64,
    /// The low as the feed had it, before any shift, with the planning spread of its lead day.
    pub forecast: Estimate,
    /// The low at the garden's screen.
    pub measured: Celsius,
    /// Somebody was asked about it and said that it is right.
    pub confirmed: bool,
}

/// What the nights so far say of a feed.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecasts {
    cells: [[Cell; 2]; LEAD_DAYS],
}

/// Of one lead day and sky.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Measured less forecast.
    pub shift: Learned,
    pub factor: Factor,
}

/// By how much the planning spread is multiplied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Factor {
    /// 1 where nothing was seen.
    pub value: f64,
    /// One standard deviation of its natural logarithm.
    pub log_spread: f64,
}

impl Factor {
    /// Before any night: planning spreads are taken to be right within a quarter (assumed).
    pub const PUBLISHED: Factor = Factor { value: 1.0, log_spread: 0.25 };

    /// Where it lies with a chance of 80 %.
    pub fn interval_80(self) -> (f64, f64) {
        let half = (Z_90 * self.log_spread).exp();
        (self.value / half, self.value * half)
    }
}

/// What is done to a forecast low on one night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    pub shift: Figure,
    pub factor: f64,
}

impl Correction {
    /// The low to expect: moved, its planning spread multiplied, and the error of the shift added to it.
    ///
    /// The form of Gneiting, Raftery, Westveld and Goldman 2005, Mon. Wea. Rev. 133, 1098-1118, `N(a + b X, c + d S^2)`,
    /// with `b` 1, `c` the variance of the shift and `d` the square of the factor.
    pub fn apply(self, forecast: Estimate) -> Estimate {
        let widened = Estimate { mean: forecast.mean, spread: Kelvins(forecast.spread.0 * self.factor) };
        widened.moved(self.shift.mean, self.shift.spread)
    }
}

/// What is taken of a feed before any night: the garden's offset as set or assumed, and on clear, calm nights the shift of
/// all forecasts.
pub fn published(site: Figure, sky: Sky) -> Figure {
    match sky {
        Sky::Other => site,
        Sky::ClearCalm => Figure {
            mean: Kelvins(site.mean.0 + CLEAR_CALM_SHIFT),
            spread: Kelvins(site.spread.0.hypot(CLEAR_CALM_SPREAD)),
        },
    }
}

/// What was learned fades by 1/e in so many days, for feeds change their models and errors their season (assumed: a shift
/// then wanders by about 0.2 of its published spread in a month).
pub const FADES_IN_DAYS: f64 = 1825.0;
/// A night moves the shift by at most this part of its published spread; what it then does to it by way of the factor stays
/// within the half that is promised (swept in `tests/learning.rs`).
const MOST_PER_NIGHT: f64 = 0.4;
/// Beyond this a night's scatter counts no more, in standard deviations: then no night moves the factor by more than half
/// its published spread (`tests/learning.rs`).
const SCATTER_CORNER: f64 = 1.5;

/// Learns from nights in any order. `site` is the garden's offset as the night takes it without this, with its spread.
///
/// Each lead day and sky by itself. The shift follows the nights as in [`State`], with the pull of each bounded so that
/// one night moves it by at most half its published spread. The factor `k` is where
///
/// ```text
/// sum_i w_i (psi(v_i/S_i)^2/b - 1) = ln k / 0.25^2,   S_i^2 = P_i + k^2 s_i^2,   w_i = k^2 s_i^2 / S_i^2
/// ```
///
/// | symbol   | meaning                                                       | unit | accepted range |
/// |----------|---------------------------------------------------------------|------|----------------|
/// | `v`      | measured less forecast, less the shift as known before it     | K    | any            |
/// | `s`, `P` | planning spread; variance of the shift's error before it      | K, K² | s above 0     |
/// | `psi, b` | as in [`Pull`], corner 1.5                                    | -    |                |
///
/// which is the likelihood's own equation for a normal scatter where no night lies beyond the corner.
///
/// **Method error.** `tests/learning.rs`: how often the 80 % intervals of both hold the truth.
/// **Refuses.** Numbers that are none, slips of unit and values far off come back as questions and teach nothing.
/// **Source.** Proposal 2 of Huber 1964 (see [`Pull`]), with a normal distribution of `ln k` beforehand: ours.
/// **Check.** Its parts have theirs; the whole has the recovery tests.
pub fn learn(nights: &[ForecastNight], site: Figure) -> Forecasts {
    let cell = |lead_day: usize, sky: Sky| {
        let of_cell =
            nights.iter().filter(|night| counted(night.lead_day) == lead_day && Sky::of(night.clear_calm) == sky);
        learn_cell(of_cell, published(site, sky))
    };
    Forecasts { cells: std::array::from_fn(|index| [cell(index + 1, Sky::ClearCalm), cell(index + 1, Sky::Other)]) }
}

fn counted(lead_day: usize) -> usize {
    lead_day.clamp(1, LEAD_DAYS)
}

impl Forecasts {
    /// Of one lead day and sky.
    pub fn cell(&self, lead_day: usize, sky: Sky) -> &Cell {
        let [clear_calm, other] = &self.cells[counted(lead_day) - 1];
        match sky {
            Sky::ClearCalm => clear_calm,
            Sky::Other => other,
        }
    }

    /// The correction of a night, between the two skies by how clear and calm it is. Variances go by the square, as those
    /// of a shift that grows with it do; so without a night this is what the night takes without it.
    pub fn at(&self, lead_day: usize, clear_calm: f64) -> Correction {
        let [clear, other] = [Sky::ClearCalm, Sky::Other].map(|sky| self.cell(lead_day, sky).correction());
        let at = corrections::between(&clear, &other, clear_calm);
        Correction { shift: Figure { mean: at.shift, spread: at.spread }, factor: at.factor }
    }

    /// As a night takes it.
    pub fn corrections(&self) -> OfFeed {
        self.cells.each_ref().map(|skies| skies.each_ref().map(Cell::correction))
    }
}

impl Cell {
    fn correction(&self) -> corrections::Correction {
        corrections::Correction {
            shift: self.shift.learned.mean,
            spread: self.shift.learned.spread,
            factor: self.factor.value,
            nights: self.shift.nights.clone(),
        }
    }
}

fn learn_cell<'n>(nights: impl Iterator<Item = &'n ForecastNight>, published: Figure) -> Cell {
    let (mut seen, mut asked) = (Vec::new(), Vec::new());
    for one in nights {
        match doubt(one, published) {
            Some(doubt) if !(one.confirmed && doubt.can_be_confirmed()) => {
                asked.push(Asked { night: one.night, doubt })
            }
            _ => seen.push(Seen {
                night: one.night,
                value: (one.measured - one.forecast.mean).0,
                loading: 1.0,
                spread: one.forecast.spread.0,
            }),
        }
    }
    let seen = by_night(seen);
    let asked = in_order(asked);
    if seen.is_empty() || !published.is_open() {
        return Cell { shift: Learned { asked, ..Learned::unseen(published) }, factor: Factor::PUBLISHED };
    }
    let factor = scatter(&seen, published);
    let (state, _) = follow(&seen, published, factor.value);
    let learned = Figure { mean: state.mean, spread: Kelvins(state.variance.sqrt()) };
    let nights = seen.iter().map(|seen| seen.night).collect();
    Cell { shift: Learned { published, learned, nights, asked }, factor }
}

fn doubt(one: &ForecastNight, published: Figure) -> Option<Doubt> {
    let is_sound = one.forecast.spread.0 > 0.0 && (0.0..=1.0).contains(&one.clear_calm);
    if !is_sound {
        return Some(Doubt::Unusable);
    }
    of_temperature(one.measured, one.forecast.moved(published.mean, published.spread))
}

/// What was new on a night: its distance from what was known, and the variances that it had of both kinds.
struct New {
    distance: f64,
    known: f64,
    scatter: f64,
}

/// The shift after all nights, each with its planning spread times a factor, and what was new on each.
fn follow(seen: &[Seen], published: Figure, factor: f64) -> (State, Vec<New>) {
    let first = State { mean: published.mean, variance: published.spread.0.powi(2) };
    let (mut state, mut last) = (first, None::<NightOf>);
    let mut news = Vec::with_capacity(seen.len());
    for night in seen {
        let days = last.map_or(0, |last| (night.night.0 - last.0).num_days());
        state = state.faded(first, (-(days as f64) / FADES_IN_DAYS).exp());
        let scatter = (factor * night.spread).powi(2);
        news.push(New { distance: night.value - state.mean.0, known: state.variance, scatter });
        let pull = state.pull_within(scatter, MOST_PER_NIGHT * published.spread.0);
        state = state.updated(Kelvins(night.value), scatter, pull);
        last = Some(night.night);
    }
    (state, news)
}

/// The factor of the planning spread.
fn scatter(seen: &[Seen], published: Figure) -> Factor {
    let pull = Pull::with_corner(SCATTER_CORNER);
    let (a, b, c) = (pull.a(), pull.b(), SCATTER_CORNER);
    let precision = Factor::PUBLISHED.log_spread.powi(-2);
    // Mean slope and mean square of one night's pull; `inside` is the part of E Z^2 within the corner.
    let inside = b - c * c * (1.0 - a);
    let fourth = 3.0 * inside - c * c * (a - inside) + c.powi(4) * (1.0 - a);
    let (slope, square) = (2.0 * inside / b, fourth / (b * b) - 1.0);
    let at = |log: f64| {
        let mut sum = Balance { pull: -precision * log, slope: precision, square: precision };
        for new in follow(seen, published, log.exp()).1 {
            let whole = new.known + new.scatter;
            let share = new.scatter / whole;
            let scattered = pull.psi(new.distance / whole.sqrt()).powi(2) / b - 1.0;
            sum.add(Balance { pull: scattered, slope: share * slope, square: share * square }, share);
        }
        sum
    };
    // Each night adds at most what one at the corner does, and takes at most 1.
    let nights = seen.len() as f64;
    let (log, balance) = settle((-nights / precision, nights * (c * c / b - 1.0) / precision), at);
    Factor { value: log.exp(), log_spread: balance.spread() }
}
