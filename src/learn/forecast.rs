//! How far a feed's lows lie off this garden's screen, and how widely they scatter: by lead day, and by whether the night
//! was clear and calm.

use super::bounded::{Balance, Pull, settle};
use super::doubt::{Doubt, of_temperature};
use super::kalman::{Loading, State};
use super::{Asked, Figure, Learned, Seen, by_night, in_order};
use crate::night::Estimate;
pub use crate::night::corrections::LEAD_DAYS;
use crate::night::corrections::{OfFeed, OfLeadDay, published_shift};
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
    lead_days: [LeadDay; LEAD_DAYS],
}

/// Of one lead day: the shift of a night that is not clear and calm, and by how much that of a wholly clear, calm one
/// differs from it; and what comes of both.
#[derive(Clone, Debug, PartialEq)]
struct LeadDay {
    state: State,
    cells: [Cell; 2],
}

/// Of one lead day and sky.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Measured less forecast, on a night that is wholly of that sky. It rests on the nights of both skies: how far the
    /// garden's screen lies off a feed shows in all of them.
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
    let clear_calm = if sky == Sky::ClearCalm { 1.0 } else { 0.0 };
    let (mean, spread) = published_shift((site.mean, site.spread), clear_calm);
    Figure { mean, spread }
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
/// Each lead day by itself. Two figures follow the nights as in [`State`], with the pull of each night bounded so that it
/// moves the shift under no sky by more than half its published spread. The factor `k` of each sky is where
///
/// ```text
/// v_i = o + w_i c + error                  o: shift where it is not clear and calm, o + c: where it wholly is
/// sum_i u_i (psi(d_i/S_i)^2/b - 1) = ln k / 0.25^2,   S_i^2 = P_i + k^2 s_i^2,   u_i = k^2 s_i^2 / S_i^2
/// ```
///
/// | symbol   | meaning                                                       | unit | accepted range |
/// |----------|---------------------------------------------------------------|------|----------------|
/// | `v`      | measured less forecast                                        | K    | any            |
/// | `w`      | how much of a clear, calm night it was                        | -    | 0 to 1         |
/// | `d`      | `v` less the shift as known before it                         | K    | any            |
/// | `s`, `P` | planning spread; variance of the shift's error before it      | K, K² | s above 0     |
/// | `psi, b` | as in [`Pull`], corner 1.5                                    | -    |                |
///
/// With neither corner nor `b` it would be the likelihood's own equation for a normal scatter. With them each square is
/// divided by `b` = 0.778, the mean of what the corner leaves of it, so that the sum is 0 on average where `k` is true. A
/// night's scatter counts for the sky of its larger half.
///
/// **Method error.** `tests/learning.rs`: how often the 80 % intervals of all of them hold the truth.
/// **Refuses.** Numbers that are none, slips of unit and values far off come back as questions and teach nothing.
/// **Source.** Proposal 2 of Huber 1964 (see [`Pull`]), with a normal distribution of `ln k` beforehand: ours.
/// **Check.** Its parts have theirs; the whole has the recovery tests.
pub fn learn(nights: &[ForecastNight], site: Figure) -> Forecasts {
    let lead_day =
        |lead_day: usize| learn_lead_day(nights.iter().filter(|night| counted(night.lead_day) == lead_day), site);
    Forecasts { lead_days: std::array::from_fn(|index| lead_day(index + 1)) }
}

fn counted(lead_day: usize) -> usize {
    lead_day.clamp(1, LEAD_DAYS)
}

/// How much of the two figures shows in a night that is so clear and calm.
fn loading(clear_calm: f64) -> Loading {
    [1.0, clear_calm]
}

impl Forecasts {
    fn lead_day(&self, lead_day: usize) -> &LeadDay {
        &self.lead_days[counted(lead_day) - 1]
    }

    /// Of one lead day and sky.
    pub fn cell(&self, lead_day: usize, sky: Sky) -> &Cell {
        let [clear_calm, other] = &self.lead_day(lead_day).cells;
        match sky {
            Sky::ClearCalm => clear_calm,
            Sky::Other => other,
        }
    }

    /// The correction of a night, between the two skies by how clear and calm it is. Without a night this is what the
    /// night takes without it.
    pub fn at(&self, lead_day: usize, clear_calm: f64) -> Correction {
        let at = self.lead_day(lead_day).correction().at(clear_calm);
        Correction { shift: Figure { mean: at.shift, spread: at.spread }, factor: at.factor }
    }

    /// As a night takes it.
    pub fn corrections(&self) -> OfFeed {
        self.lead_days.each_ref().map(LeadDay::correction)
    }
}

impl LeadDay {
    fn correction(&self) -> OfLeadDay {
        let [clear_calm, other] = &self.cells;
        OfLeadDay {
            shift: self.state.mean,
            covariance: self.state.covariance,
            factors: [other.factor.value, clear_calm.factor.value],
            nights: clear_calm.shift.nights.clone(),
        }
    }
}

/// The two figures before any night, with the spreads by which one night may not move the shift far.
struct Published {
    first: State,
    most: [(Loading, f64); 2],
}

impl Published {
    fn of(site: Figure) -> Published {
        let most = |sky, clear_calm| (loading(clear_calm), MOST_PER_NIGHT * published(site, sky).spread.0);
        Published {
            first: State {
                mean: [site.mean.0, CLEAR_CALM_SHIFT],
                covariance: [[site.spread.0.powi(2), 0.0], [0.0, CLEAR_CALM_SPREAD.powi(2)]],
            },
            most: [most(Sky::ClearCalm, 1.0), most(Sky::Other, 0.0)],
        }
    }
}

fn learn_lead_day<'n>(nights: impl Iterator<Item = &'n ForecastNight>, site: Figure) -> LeadDay {
    let skies = [(Sky::ClearCalm, 1.0), (Sky::Other, 0.0)];
    let (mut seen, mut asked) = (Vec::new(), [Vec::new(), Vec::new()]);
    for one in nights {
        let sky = Sky::of(one.clear_calm);
        match doubt(one, published(site, sky)) {
            Some(doubt) if !(one.confirmed && doubt.can_be_confirmed()) => {
                asked[usize::from(sky == Sky::Other)].push(Asked { night: one.night, bed: None, doubt })
            }
            _ => seen.push(Seen {
                night: one.night,
                value: (one.measured - one.forecast.mean).0,
                loading: one.clear_calm,
                spread: one.forecast.spread.0,
            }),
        }
    }
    let (seen, asked) = (by_night(seen), asked.map(in_order));
    let before = Published::of(site);
    let [clear_asked, other_asked] = asked;
    if seen.is_empty() || !site.is_open() {
        let unseen = |sky, asked| Cell {
            shift: Learned { asked, ..Learned::unseen(published(site, sky)) },
            factor: Factor::PUBLISHED,
        };
        let cells = [unseen(Sky::ClearCalm, clear_asked), unseen(Sky::Other, other_asked)];
        return LeadDay { state: before.first, cells };
    }
    // What is scatter under one sky depends on the shift, and that a little on the scatter under the other.
    let mut factors = [Factor::PUBLISHED; 2];
    for _ in 0..20 {
        let last = factors;
        for (index, (sky, _)) in skies.into_iter().enumerate() {
            factors[index] = scatter(&seen, &before, sky, factors.map(|factor| factor.value));
        }
        if (0..2).all(|index| (factors[index].value - last[index].value).abs() < 1e-9) {
            break;
        }
    }
    let (state, _) = follow(&seen, &before, factors.map(|factor| factor.value));
    let cell = |index: usize, asked| {
        let (sky, clear_calm) = skies[index];
        let (mean, variance) = state.seen_by(loading(clear_calm));
        let learned = Figure { mean, spread: Kelvins(variance.sqrt()) };
        let nights = seen.iter().map(|seen| seen.night).collect();
        Cell { shift: Learned { published: published(site, sky), learned, nights, asked }, factor: factors[index] }
    };
    LeadDay { state, cells: [cell(0, clear_asked), cell(1, other_asked)] }
}

fn doubt(one: &ForecastNight, published: Figure) -> Option<Doubt> {
    let is_sound = one.forecast.spread.0 > 0.0 && (0.0..=1.0).contains(&one.clear_calm);
    if !is_sound {
        return Some(Doubt::Unusable);
    }
    of_temperature(one.measured, one.forecast.moved(published.mean, published.spread))
}

/// What was new on a night: its sky, its distance from what was known, and the variances that it had of both kinds.
struct New {
    sky: Sky,
    distance: f64,
    known: f64,
    scatter: f64,
}

/// The figures after all nights, each with its planning spread times the factor of its sky, and what was new on each.
fn follow(seen: &[Seen], published: &Published, [clear_calm, other]: [f64; 2]) -> (State, Vec<New>) {
    let (mut state, mut last) = (published.first, None::<NightOf>);
    let mut news = Vec::with_capacity(seen.len());
    for night in seen {
        let days = last.map_or(0, |last| (night.night.0 - last.0).num_days());
        state = state.faded(published.first, (-(days as f64) / FADES_IN_DAYS).exp());
        let (sky, loading) = (Sky::of(night.loading), loading(night.loading));
        let factor = if sky == Sky::ClearCalm { clear_calm } else { other };
        let scatter = (factor * night.spread).powi(2);
        let (expected, known) = state.seen_by(loading);
        news.push(New { sky, distance: night.value - expected.0, known, scatter });
        let pull = state.pull_within(loading, scatter, &published.most);
        state = state.updated(Kelvins(night.value), loading, scatter, pull);
        last = Some(night.night);
    }
    (state, news)
}

/// The factor of the planning spread under one sky, given that under the other: clear and calm first.
fn scatter(seen: &[Seen], published: &Published, sky: Sky, factors: [f64; 2]) -> Factor {
    let pull = Pull::with_corner(SCATTER_CORNER);
    let (a, b, c) = (pull.a(), pull.b(), SCATTER_CORNER);
    let precision = Factor::PUBLISHED.log_spread.powi(-2);
    // Mean slope and mean square of one night's pull; `inside` is the part of E Z^2 within the corner.
    let inside = b - c * c * (1.0 - a);
    let fourth = 3.0 * inside - c * c * (a - inside) + c.powi(4) * (1.0 - a);
    let (slope, square) = (2.0 * inside / b, fourth / (b * b) - 1.0);
    let nights = seen.iter().filter(|seen| Sky::of(seen.loading) == sky).count() as f64;
    if nights == 0.0 {
        return Factor::PUBLISHED;
    }
    let at = |log: f64| {
        let factors = if sky == Sky::ClearCalm { [log.exp(), factors[1]] } else { [factors[0], log.exp()] };
        let mut sum = Balance { pull: -precision * log, slope: precision, square: precision };
        for new in follow(seen, published, factors).1.into_iter().filter(|new| new.sky == sky) {
            let whole = new.known + new.scatter;
            let share = new.scatter / whole;
            let scattered = pull.psi(new.distance / whole.sqrt()).powi(2) / b - 1.0;
            sum.add(Balance { pull: scattered, slope: share * slope, square: share * square }, share);
        }
        sum
    };
    // Each night adds at most what one at the corner does, and takes at most 1.
    let (log, balance) = settle((-nights / precision, nights * (c * c / b - 1.0) / precision), at);
    Factor { value: log.exp(), log_spread: balance.spread() }
}
