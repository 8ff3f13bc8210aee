//! The least sum of costs with one offer per bed, while shared means last: exactly, or with the gap that is left.
//!
//! ```text
//! minimise  sum over beds of cost(offer) + sum over kinds of work asked for of trip(kind)
//! so that   sum over beds of uses(offer, m) + trips of m  <=  limit(m)      for each of the means m
//! ```
//!
//! **Method.** For each set of kinds of work: prices on the means (Lagrange multipliers, found by subgradients) part the
//! beds from each other and give a bound that no choice can undercut; offers that would lie above the best choice
//! found are put aside for good, and what is left is searched depth first against the same bound.
//!
//! **Method error.** None where `bound` comes to `cost`; else their difference, and only after [`NODES`] steps. Swept
//! against trying everything, and against its own bound for large gardens, in `solve/tests.rs`.
//!
//! **Source.** M. L. Fisher, 1981, Management Science 27, 1-18 (Lagrangian relaxation, with step lengths after Held, Wolfe
//! and Crowder); from memory.

/// One way to treat a bed, as numbers.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Offer {
    pub cost: f64,
    /// Of each of the means, not below 0.
    pub uses: Vec<f64>,
    /// The kinds of work it belongs to, a bit each.
    pub kinds: u8,
}

/// What walking and fetching costs, once for all beds of a kind of work.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Trip {
    pub cost: f64,
    pub uses: Vec<f64>,
}

/// What is to be chosen. Each bed's first offer uses nothing, and belongs to no kind of work.
#[derive(Clone, Debug)]
pub(super) struct Question {
    pub beds: Vec<Vec<Offer>>,
    pub limits: Vec<f64>,
    /// By bit of [`Offer::kinds`].
    pub trips: Vec<Trip>,
}

/// What was chosen.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Answer {
    /// For each bed the place of its offer.
    pub chosen: Vec<usize>,
    pub cost: f64,
    /// No choice costs less.
    pub bound: f64,
}

/// Steps of the search for one set of kinds of work: a fraction of a second, where a sure end is worth more than the
/// last hundredth of a minute.
const NODES: usize = 3_000;
/// Two costs nearer than this are the same, min.
const SAME: f64 = 1e-7;
/// Means are not overdrawn but by what rounding does to a sum.
const ROUNDING: f64 = 1e-9;

/// The cheapest choice. The same question has the same answer.
pub(super) fn solve(question: &Question) -> Answer {
    let nothing = vec![0; question.beds.len()];
    let mut best = Answer { cost: question.cost(&nothing), bound: f64::INFINITY, chosen: nothing };
    let all = question.beds.iter().flatten().fold(0, |kinds, offer| kinds | offer.kinds);
    // The fullest sets first: they mostly hold the answer, and its cost then rules out the others at a glance.
    let mut sets: Vec<u8> = (0..=all).filter(|set| set & !all == 0).collect();
    sets.sort_by_key(|set| std::cmp::Reverse(set.count_ones()));
    for kinds in sets {
        let Some(mut search) = Search::new(question, kinds, &best) else { continue };
        search.run();
        best.bound = best.bound.min(search.bound);
        if let Some(chosen) = search.found {
            let cost = question.cost(&chosen);
            if cost < best.cost - ROUNDING {
                best = Answer { chosen, cost, ..best };
            }
        }
    }
    question.in_garden_order(&mut best.chosen);
    best.bound = best.bound.min(best.cost);
    best
}

impl Question {
    fn offers<'q>(&'q self, chosen: &'q [usize]) -> impl Iterator<Item = &'q Offer> {
        self.beds.iter().zip(chosen).filter_map(|(offers, at)| offers.get(*at))
    }

    fn kinds(&self, chosen: &[usize]) -> u8 {
        self.offers(chosen).fold(0, |kinds, offer| kinds | offer.kinds)
    }

    fn trips(&self, kinds: u8) -> impl Iterator<Item = &Trip> {
        self.trips.iter().enumerate().filter(move |(bit, _)| kinds & (1 << bit) != 0).map(|(_, trip)| trip)
    }

    /// Of all beds, and the trips that they need.
    pub fn cost(&self, chosen: &[usize]) -> f64 {
        let beds: f64 = self.offers(chosen).map(|offer| offer.cost).sum();
        beds + self.trips(self.kinds(chosen)).map(|trip| trip.cost).sum::<f64>()
    }

    /// Of equal choices the one that serves the beds that stand first.
    fn in_garden_order(&self, chosen: &mut [usize]) {
        for first in 0..chosen.len() {
            if chosen[first] != 0 {
                continue;
            }
            for later in first + 1..chosen.len() {
                if chosen[later] == 0 {
                    continue;
                }
                let (given, of_first) = (&self.beds[later][chosen[later]], &self.beds[first]);
                let same = |offer: &Offer| offer.uses == given.uses && offer.kinds == given.kinds;
                let Some(taken) = of_first.iter().position(same) else { continue };
                let now = of_first[0].cost + given.cost;
                let then = of_first[taken].cost + self.beds[later][0].cost;
                if (then - now).abs() < ROUNDING {
                    (chosen[first], chosen[later]) = (taken, 0);
                    break;
                }
            }
        }
    }
}

/// An offer that is still open, its uses in parts of what there is.
#[derive(Clone)]
struct Open {
    /// Its place among the bed's offers.
    at: usize,
    cost: f64,
    uses: Vec<f64>,
}

/// The search with the trips of some kinds of work paid, and no other work done.
struct Search {
    beds: Vec<Vec<Open>>,
    /// Cost of the trips.
    fixed: f64,
    found: Option<Vec<usize>>,
    /// Of what was found, or of what was known before.
    cost: f64,
    bound: f64,
    means: usize,
}

impl Search {
    /// `None` where the trips alone are too much.
    fn new(question: &Question, kinds: u8, known: &Answer) -> Option<Search> {
        let mut limits = question.limits.clone();
        for trip in question.trips(kinds) {
            limits.iter_mut().zip(&trip.uses).for_each(|(limit, uses)| *limit -= uses);
        }
        if limits.iter().any(|limit| *limit < -ROUNDING) {
            return None;
        }
        let fixed = question.trips(kinds).map(|trip| trip.cost).sum();
        let beds = question.beds.iter().map(|offers| open_offers(offers, kinds, &limits)).collect();
        Some(Search { beds, fixed, found: None, cost: known.cost, bound: f64::NEG_INFINITY, means: limits.len() })
    }

    fn run(&mut self) {
        let prices = self.price();
        if self.bound >= self.cost - SAME {
            return;
        }
        // What lies above the best choice even at these prices is in no better one.
        for bed in &mut self.beds {
            let reduced = |open: &Open| open.cost + dot(&prices, &open.uses);
            let least = bed.iter().map(reduced).fold(f64::INFINITY, f64::min);
            bed.retain(|open| self.bound + reduced(open) - least <= self.cost);
        }
        let mut walk = Walk { beds: &self.beds, least: self.cost, best: None, nodes: 0, path: self.nothing() };
        let all = self.beds.iter().enumerate().map(|(bed, offers)| (bed, (0..offers.len()).collect()));
        walk.descend(all.collect(), self.fixed, vec![1.0; self.means], prices);
        let (best, least, whole) = (walk.best.take(), walk.least, walk.nodes < NODES);
        if let Some(path) = best {
            let places = self.beds.iter().zip(path).filter_map(|(bed, at)| Some(bed.get(at)?.at));
            (self.found, self.cost) = (Some(places.collect()), least);
        }
        if whole {
            self.bound = self.cost;
        }
    }

    /// Prices that raise the bound as far as it goes, with choices found on the way. No price, no scarcity: then the
    /// cheapest offers fit.
    fn price(&mut self) -> Vec<f64> {
        const ROUNDS: usize = 400;
        let mut prices = vec![0.0; self.means];
        let mut best_prices = prices.clone();
        let (mut stride, mut since) = (1.0, 0);
        for round in 0..ROUNDS {
            let pick = |bed: &Vec<Open>| {
                let reduced = bed.iter().map(|open| open.cost + dot(&prices, &open.uses));
                let least = reduced.enumerate().reduce(|best, next| if next.1 < best.1 { next } else { best });
                least.unwrap_or((0, 0.0))
            };
            let picks: Vec<(usize, f64)> = self.beds.iter().map(pick).collect();
            let bound = self.fixed + picks.iter().map(|(_, reduced)| reduced).sum::<f64>() - prices.iter().sum::<f64>();
            let mut chosen: Vec<usize> = picks.into_iter().map(|(at, _)| at).collect();
            let over: Vec<f64> = self.used(&chosen).into_iter().map(|used| used - 1.0).collect();
            let rises = bound > self.bound + SAME;
            if bound > self.bound {
                self.bound = bound;
                best_prices.clone_from(&prices);
            }
            since = if rises { 0 } else { since + 1 };
            if self.bound >= self.cost - SAME {
                break;
            }
            if round == 0 && over.iter().any(|over| *over > ROUNDING) {
                // Where means are short the cheapest offers are far from what fits: begin with nothing.
                let mut served = self.nothing();
                self.improve(&mut served);
                self.take(&served);
            } else if round == 0 || (rises && round % 5 == 0) || round == ROUNDS - 1 {
                self.mend(&mut chosen);
                self.improve(&mut chosen);
                self.take(&chosen);
            }
            if since >= 15 {
                (stride, since) = (stride * 0.5, 0);
            }
            let Some(slope) = slope(&over, &prices).filter(|_| stride > 1e-4) else { break };
            climb(&mut prices, &slope, stride * (self.cost - bound));
        }
        best_prices
    }

    /// Each bed's offer that uses nothing.
    fn nothing(&self) -> Vec<usize> {
        let is_free = |open: &Open| open.uses.iter().all(|uses| *uses <= 0.0);
        self.beds.iter().map(|bed| bed.iter().position(is_free).unwrap_or(0)).collect()
    }

    fn used(&self, chosen: &[usize]) -> Vec<f64> {
        let mut used = vec![0.0; self.means];
        for (bed, at) in self.beds.iter().zip(chosen) {
            used.iter_mut().zip(&bed[*at].uses).for_each(|(used, uses)| *used += uses);
        }
        used
    }

    /// Gives up offers until the means suffice, the one that costs least for what it frees first.
    fn mend(&self, chosen: &mut [usize]) {
        let mut used = self.used(chosen);
        loop {
            let overdrawn = |used: &[f64]| used.iter().map(|used| (used - 1.0).max(0.0)).sum::<f64>();
            let over = overdrawn(&used);
            if over <= ROUNDING {
                return;
            }
            let mut best: Option<(f64, usize, usize)> = None;
            for (index, bed) in self.beds.iter().enumerate() {
                let now = &bed[chosen[index]];
                for (at, open) in bed.iter().enumerate().filter(|(at, _)| *at != chosen[index]) {
                    let then: f64 = (used.iter().zip(&now.uses).zip(&open.uses))
                        .map(|((used, before), after)| (used - before + after - 1.0).max(0.0))
                        .sum();
                    let price = (open.cost - now.cost) / (over - then);
                    if then < over - 1e-12 && best.is_none_or(|(least, ..)| price < least) {
                        best = Some((price, index, at));
                    }
                }
            }
            let Some((_, index, at)) = best else { return };
            self.change(chosen, &mut used, index, at);
        }
    }

    /// Better offers where the means allow, the greatest gain first.
    fn improve(&self, chosen: &mut [usize]) {
        let mut used = self.used(chosen);
        loop {
            let mut best: Option<(f64, usize, usize)> = None;
            for (index, bed) in self.beds.iter().enumerate() {
                let now = &bed[chosen[index]];
                for (at, open) in bed.iter().enumerate() {
                    let gain = now.cost - open.cost;
                    if gain <= SAME || best.is_some_and(|(most, ..)| gain <= most) {
                        continue;
                    }
                    let mut after = used.iter().zip(&now.uses).zip(&open.uses);
                    if after.all(|((used, before), after)| used - before + after <= 1.0 + ROUNDING) {
                        best = Some((gain, index, at));
                    }
                }
            }
            let Some((_, index, at)) = best else { return };
            self.change(chosen, &mut used, index, at);
        }
    }

    fn change(&self, chosen: &mut [usize], used: &mut [f64], index: usize, at: usize) {
        let (before, after) = (&self.beds[index][chosen[index]].uses, &self.beds[index][at].uses);
        used.iter_mut().zip(before).zip(after).for_each(|((used, before), after)| *used += after - before);
        chosen[index] = at;
    }

    /// Keeps a choice that fits and is the best so far.
    fn take(&mut self, chosen: &[usize]) {
        let cost = self.fixed + self.beds.iter().zip(chosen).map(|(bed, at)| bed[*at].cost).sum::<f64>();
        if cost < self.cost - ROUNDING && self.used(chosen).iter().all(|used| *used <= 1.0 + ROUNDING) {
            self.cost = cost;
            self.found = Some(self.beds.iter().zip(chosen).map(|(bed, at)| bed[*at].at).collect());
        }
    }
}

/// Offers that are possible and better than every other in something.
fn open_offers(offers: &[Offer], kinds: u8, limits: &[f64]) -> Vec<Open> {
    let fits = |offer: &&Offer| offer.uses.iter().zip(limits).all(|(uses, limit)| *uses <= limit + ROUNDING);
    let within = offers.iter().enumerate().filter(|(_, offer)| offer.kinds & !kinds == 0);
    let within: Vec<(usize, &Offer)> = within.filter(|(_, offer)| fits(offer)).collect();
    let kept = undominated(&within.iter().map(|(_, offer)| (*offer).clone()).collect::<Vec<_>>());
    let open = kept.into_iter().filter_map(|at| within.get(at));
    let part = |(uses, limit): (&f64, &f64)| if *uses > 0.0 { uses / limit.max(ROUNDING) } else { 0.0 };
    open.map(|(at, offer)| Open { at: *at, cost: offer.cost, uses: offer.uses.iter().zip(limits).map(part).collect() })
        .collect()
}

/// The places of offers that are better than every other in something: cost, means or kinds of work.
pub(super) fn undominated(offers: &[Offer]) -> Vec<usize> {
    let beats = |at: usize, other: usize| {
        let (a, b) = (&offers[at], &offers[other]);
        let no_worse = a.cost <= b.cost && a.kinds & !b.kinds == 0 && a.uses.iter().zip(&b.uses).all(|(a, b)| a <= b);
        let same = no_worse && a.cost >= b.cost && a.kinds == b.kinds && a.uses == b.uses;
        at != other && no_worse && (!same || at < other)
    };
    (0..offers.len()).filter(|one| !(0..offers.len()).any(|other| beats(other, *one))).collect()
}

fn dot(prices: &[f64], uses: &[f64]) -> f64 {
    prices.iter().zip(uses).map(|(price, uses)| price * uses).sum()
}

/// Depth first. At each step the prices are mended for what is left, and the bed on which they decide least is settled
/// next.
struct Walk<'s> {
    beds: &'s [Vec<Open>],
    /// Cost of the best choice so far.
    least: f64,
    best: Option<Vec<usize>>,
    nodes: usize,
    /// The offer of each bed; of beds that are not settled yet without meaning.
    path: Vec<usize>,
}

impl Walk<'_> {
    /// The beds in `rest` are open, with the offers that may still be better; the others cost `cost` and leave `left` of
    /// the means.
    fn descend(&mut self, mut rest: Vec<(usize, Vec<usize>)>, mut cost: f64, mut left: Vec<f64>, mut prices: Vec<f64>) {
        const ROUNDS: usize = 24;
        if self.nodes >= NODES {
            return;
        }
        self.nodes += 1;
        for (bed, offers) in &mut rest {
            let fits = |at: &usize| within(&self.beds[*bed][*at].uses, &left);
            offers.retain(fits);
        }
        let (mut best_bound, mut best_prices, mut stride) = (f64::NEG_INFINITY, prices.clone(), 1.0);
        for _ in 0..ROUNDS {
            let mut bound = cost - dot(&prices, &left);
            let mut over: Vec<f64> = left.iter().map(|left| -left).collect();
            let mut total = cost;
            for (bed, offers) in &rest {
                let reduced = offers.iter().map(|at| (*at, self.reduced(*bed, *at, &prices)));
                let least = reduced.reduce(|best, next| if next.1 < best.1 { next } else { best });
                // Nothing that is better than the best choice fits any more.
                let Some((at, reduced)) = least else { return };
                let open = &self.beds[*bed][at];
                bound += reduced;
                total += open.cost;
                over.iter_mut().zip(&open.uses).for_each(|(over, uses)| *over += uses);
                self.path[*bed] = at;
            }
            if total < self.least - ROUNDING && over.iter().all(|over| *over <= ROUNDING) {
                self.least = total;
                self.best = Some(self.path.clone());
            }
            if bound >= self.least - SAME {
                return;
            }
            if bound > best_bound + SAME {
                best_prices.clone_from(&prices);
            } else {
                stride *= 0.7;
            }
            best_bound = best_bound.max(bound);
            let Some(slope) = slope(&over, &prices) else { break };
            climb(&mut prices, &slope, stride * (self.least - bound));
        }
        // What lies above the best choice even at these prices is in no better one; a bed with one offer left is settled.
        let mut open_beds = Vec::with_capacity(rest.len());
        for (bed, offers) in rest {
            let mut offers: Vec<(f64, usize)> =
                offers.into_iter().map(|at| (self.reduced(bed, at, &best_prices), at)).collect();
            offers.sort_by(|a, b| a.0.total_cmp(&b.0));
            let first = offers.first().map_or(0.0, |first| first.0);
            offers.retain(|(reduced, _)| best_bound + reduced - first < self.least - SAME);
            if let [(_, at)] = offers[..] {
                let open = &self.beds[bed][at];
                self.path[bed] = at;
                cost += open.cost;
                left.iter_mut().zip(&open.uses).for_each(|(left, uses)| *left -= uses);
            } else {
                open_beds.push((bed, offers));
            }
        }
        if left.iter().any(|left| *left < -ROUNDING) {
            return;
        }
        let second = |offers: &[(f64, usize)]| offers.get(1).map_or(f64::INFINITY, |second| second.0 - offers[0].0);
        let closest = (0..open_beds.len()).min_by(|a, b| second(&open_beds[*a].1).total_cmp(&second(&open_beds[*b].1)));
        let Some(closest) = closest else {
            if cost < self.least - ROUNDING {
                self.least = cost;
                self.best = Some(self.path.clone());
            }
            return;
        };
        let (bed, offers) = open_beds.remove(closest);
        let places = |(bed, offers): &(usize, Vec<(f64, usize)>)| (*bed, offers.iter().map(|(_, at)| *at).collect());
        let rest: Vec<(usize, Vec<usize>)> = open_beds.iter().map(places).collect();
        let settled = self.path.clone();
        for (reduced, at) in &offers {
            // Offers that follow add more.
            if best_bound + reduced - offers[0].0 >= self.least - SAME {
                return;
            }
            let open = &self.beds[bed][*at];
            self.path.clone_from(&settled);
            self.path[bed] = *at;
            let left: Vec<f64> = left.iter().zip(&open.uses).map(|(left, uses)| left - uses).collect();
            self.descend(rest.clone(), cost + open.cost, left, best_prices.clone());
        }
    }

    fn reduced(&self, bed: usize, at: usize, prices: &[f64]) -> f64 {
        let open = &self.beds[bed][at];
        open.cost + dot(prices, &open.uses)
    }
}

fn within(uses: &[f64], left: &[f64]) -> bool {
    uses.iter().zip(left).all(|(uses, left)| *uses <= left + ROUNDING)
}

/// Where more is asked than there is prices rise, where less they fall, but never below nothing. `None` at a rest.
fn slope(over: &[f64], prices: &[f64]) -> Option<Vec<f64>> {
    let slope = over.iter().zip(prices);
    let slope: Vec<f64> = slope.map(|(over, price)| if *price <= 0.0 && *over < 0.0 { 0.0 } else { *over }).collect();
    slope.iter().any(|slope| slope.abs() > ROUNDING).then_some(slope)
}

/// A step along the slope that would close a gap if the bound were straight.
fn climb(prices: &mut [f64], slope: &[f64], gap: f64) {
    let length: f64 = slope.iter().map(|slope| slope * slope).sum();
    let step = gap.max(SAME) / length;
    prices.iter_mut().zip(slope).for_each(|(price, slope)| *price = (*price + step * slope).max(0.0));
}

#[cfg(test)]
mod tests;
