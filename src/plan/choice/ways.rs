//! Every way to treat a bed: what it leaves at risk, and what it takes tonight and tomorrow.

use super::super::aftermath::loss_left;
use super::super::harvest;
use super::super::said::SaidBed;
use super::super::{Before, CoverUse, Measure};
use super::solve::Offer;
use crate::beds::{Bed, BedKind, Caution, CoverStock, Garden};
use crate::crops::Life;
use crate::night::Winds;
use crate::night::cover::{Cover, Layers};
use crate::risk::{BedRisk, PlantingRisk, pieces_for, pieces_over};

/// Person-minutes for a bed of 1.2 by 2.4 m with hoops and cloth ready, and for uncovering and folding (assumed; no
/// published figure was found, a garden's own times should replace them).
const COVER_PER_SQUARE_METRE: f64 = 4.0 / 2.88;
const UNCOVER_PER_BED: f64 = 3.0;
pub const WIND_FACTOR: f64 = 1.5;
/// Person-minutes to carry one pot one way (common practice).
pub const CARRY_PER_POT: f64 = 1.5;
/// Wind in the hours of the work at which it takes longer, and wind then or around the low in which no cover is laid, m/s
/// (assumed; flapping covers harm the crop).
pub const HARD_TO_HANDLE: f64 = 5.0;
pub const TOO_WINDY: f64 = 12.0;
/// A measure that averts less than this part of the expected loss is no help (assumed).
const SOME_HELP: f64 = 0.25;
/// What was said before is changed only where that gains more than this, person-minutes (assumed: telling people anew,
/// and one cover taken off, carried and laid again).
const KEPT_FOR: f64 = 10.0;
/// Part of the chance from which a garden asks for work at which what was asked for is still asked for (assumed).
const STILL_ASKED: f64 = 0.7;
/// Worth of not leaving roots in soil that is too cold for them, min: more than any bed has, so that only a want of time
/// leaves them there.
const DUG_FIRST: f64 = 1e4;

/// Kinds of work that people fetch their things for, a bit each, and what fetching them and walking takes, person-minutes,
/// once for all beds (assumed).
const HARVEST: u8 = 0b001;
const COVER: u8 = 0b010;
const CARRY: u8 = 0b100;
pub(super) const TRIPS: [f64; 3] = [1.0, 2.0, 1.0];

/// Walking and fetching for some kinds of work, person-minutes.
pub(in super::super) fn trips(kinds: u8) -> f64 {
    TRIPS.iter().enumerate().filter(|(bit, _)| kinds & (1 << bit) != 0).map(|(_, minutes)| minutes).sum()
}

/// One way to treat a bed.
#[derive(Clone, Debug)]
pub(super) struct Way {
    pub measure: Measure,
    pub cover: Option<Laid>,
    /// Expected loss that remains.
    pub loss: f64,
    /// Work of this afternoon, and of the morning after.
    pub tonight: f64,
    pub tomorrow: f64,
    /// Of the work, what would be done within days without any frost.
    pub anyhow: f64,
    /// Whether it is what was last said of this bed: then it is done, or people are at it.
    pub is_said: bool,
    /// Whether its cover lies there, or its pots stand inside, since the night before.
    pub is_out: bool,
    /// The bed that one piece covers together with this one, by its place in the garden.
    pub together: Option<usize>,
}

/// A cover from a stock, and its pieces of all layers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Laid {
    pub stock: usize,
    pub cover: Cover,
    pub pieces: u32,
}

impl Way {
    /// Loss and work together, as a garden weighs them.
    pub fn total(&self, caution: Caution) -> f64 {
        caution.loss_counts() * self.loss + self.work() - self.anyhow
    }

    pub fn work(&self) -> f64 {
        self.tonight + self.tomorrow
    }

    pub fn kinds(&self) -> u8 {
        kinds_of(self.measure, self.cover.is_some(), self.is_out)
    }

    /// As numbers, for a garden with so many stocks: pieces of each, minutes of all work, minutes of work that is new.
    pub fn offer(&self, stocks: usize, caution: Caution) -> Offer {
        let mut uses = vec![0.0; stocks + 2];
        if let Some(laid) = self.cover
            && let Some(pieces) = uses.get_mut(laid.stock)
        {
            *pieces = f64::from(laid.pieces);
        }
        uses[stocks] = self.tonight;
        uses[stocks + 1] = if self.is_said { 0.0 } else { self.tonight };
        Offer { cost: self.total(caution) - if self.is_said { KEPT_FOR } else { 0.0 }, uses, kinds: self.kinds() }
    }
}

/// The kinds of work that a measure asks for, a bit each. For what is out since the night before nothing is fetched.
pub(in super::super) fn kinds_of(measure: Measure, has_cover: bool, is_out: bool) -> u8 {
    let cover = if has_cover && !is_out { COVER } else { 0 };
    match measure {
        Measure::Harvest => HARVEST | cover,
        Measure::BringIn if is_out => 0,
        Measure::BringIn => CARRY,
        Measure::Cover | Measure::Leave | Measure::Fine | Measure::Unknown => cover,
    }
}

/// What all beds of one list have in common.
pub(super) struct Means<'g> {
    pub garden: &'g Garden,
    /// Times by which wind stretches the work with covers.
    wind_factor: f64,
    is_storm: bool,
    before: Before<'g>,
}

impl<'g> Means<'g> {
    pub fn new(garden: &'g Garden, winds: Winds, before: Before<'g>) -> Means<'g> {
        let wind_factor = if winds.laying.0 > HARD_TO_HANDLE { WIND_FACTOR } else { 1.0 };
        let is_storm = winds.laying.0.max(winds.at_the_low.0) > TOO_WINDY;
        Means { garden, wind_factor, is_storm, before }
    }

    /// Every way that helps, leaving it first, as if there were covers in plenty.
    pub fn ways(&self, risk: &BedRisk<'_>) -> Vec<Way> {
        let mut leaving = leave(risk);
        let covers = self.covers(risk.bed);
        let open_loss = leaving.loss;
        let too_cold = harvest::soil_too_cold(risk).is_some();
        let mut ways = Vec::new();
        let before = |loss: &dyn Fn(Option<Cover>) -> f64, laid: &Laid| match laid.cover.layers {
            Layers::One => None,
            Layers::Two => Some(loss(Some(Cover { layers: Layers::One, ..laid.cover }))),
        };
        let open = |cover: Option<Cover>| risk.expected_loss(cover).0;
        // A second layer must itself be worth the name.
        let adds = |loss: &dyn Fn(Option<Cover>) -> f64, laid: &Laid| {
            before(loss, laid).is_none_or(|one| helps(one, loss(Some(laid.cover))))
        };
        let was_said = |measure: Measure, laid: &Laid| {
            let way = Way { measure, cover: Some(*laid), ..leave(risk) };
            self.is_said(risk.bed, &way)
        };
        let is_cover = |laid: &&Laid| adds(&open, laid) || was_said(Measure::Cover, laid);
        for laid in covers.iter().filter(|laid| !too_cold && is_cover(laid)) {
            let (tonight, tomorrow) = self.cover_work(risk.bed.area(), laid);
            let loss = open(Some(laid.cover));
            ways.push(Way { measure: Measure::Cover, cover: Some(*laid), loss, tonight, tomorrow, ..leave(risk) });
        }
        let work = harvest::work(risk).0;
        if work > 0.0 {
            let forgone = harvest::growth_forgone(risk).0;
            // Of what stays in the bed.
            let staying = |cover: Option<Cover>| loss_after_picking(risk, cover) - forgone;
            let (open, anyhow) = (staying(None), work * harvest::PICKED_ANYHOW);
            let pick = Way { measure: Measure::Harvest, loss: open + forgone, tonight: work, anyhow, ..leave(risk) };
            for laid in &covers {
                let covered = staying(Some(laid.cover));
                let loss = covered + forgone;
                // A cover over what is left must itself be worth laying.
                if (adds(&staying, laid) && helps(open, covered)) || was_said(Measure::Harvest, laid) {
                    let (tonight, tomorrow) = self.cover_work(risk.bed.area(), laid);
                    ways.push(Way { cover: Some(*laid), loss, tonight: work + tonight, tomorrow, ..pick.clone() });
                }
            }
            ways.push(pick);
        }
        if let BedKind::Containers { count, movable: true, .. } = risk.bed.kind
            && !too_cold
        {
            let carry = CARRY_PER_POT * f64::from(count);
            let loss = risk.loss_under_a_roof().0;
            // In, and out again.
            ways.push(Way { measure: Measure::BringIn, loss, tonight: carry, tomorrow: carry, ..leave(risk) });
        }
        // What is ripe is picked wherever that pays, however small a part of the bed it is: it would be picked anyhow. A few
        // sprigs of a bush that lives for years are no such harvest.
        let ripe = harvest::picks(risk).iter().any(|pick| {
            let of = |planting: &&PlantingRisk<'_>| pick.is_of(planting);
            risk.plantings.iter().find(of).is_some_and(|planting| planting.crop.growing.life != Life::Perennial)
        });
        let is_ripe = |way: &Way| (ripe || too_cold) && way.measure == Measure::Harvest && way.cover.is_none();
        for way in &mut ways {
            let picking = if way.measure == Measure::Harvest { work } else { 0.0 };
            self.compare_with_before(risk.bed, way, picking);
        }
        // What lies there already is not taken off for helping a little less than it would have to.
        ways.retain(|way| is_ripe(way) || way.is_said || helps(open_loss, way.loss));
        if too_cold {
            leaving.loss += DUG_FIRST;
        }
        ways.insert(0, leaving);
        ways
    }

    /// The ways where picking was `said`, and what it was to pick is frozen by now: to leave it, or with the cover that was to
    /// lie over the rest.
    pub fn ways_after_picking(&self, risk: &BedRisk<'_>, said: &SaidBed) -> Vec<Way> {
        let is_same = |way: &Way| match way.measure {
            Measure::Cover => said.cover.is_some() && self.cover_use(way).map(|cover| cover.title()) == said.cover,
            measure => measure == Measure::Leave,
        };
        let mut ways = self.ways(risk);
        ways.retain(is_same);
        for way in ways.iter_mut().filter(|way| way.measure == Measure::Cover) {
            (way.is_said, way.tonight) = (true, said.minutes.unwrap_or(way.tonight));
        }
        ways
    }

    /// One piece over two neighbours, each in danger and helped by it. The first of the pair takes the piece and the work.
    pub fn together(&self, pair: [(usize, &BedRisk<'_>); 2]) -> Vec<[Way; 2]> {
        let [(first, a), (second, b)] = pair;
        let Some((length, width, area)) = a.bed.together_with(b.bed) else { return Vec::new() };
        let mut ways = Vec::new();
        for laid in
            self.stocks().filter(|(_, stock)| stock.kind.can_span_beds() && pieces_over(length, width, stock) == 1)
        {
            let cover = laid.1.cover(Layers::One);
            let laid = Laid { stock: laid.0, cover, pieces: 1 };
            let (loss_a, loss_b) = (a.expected_loss(Some(cover)).0, b.expected_loss(Some(cover)).0);
            let ((open_a, open_b), (tonight, tomorrow)) = ((leave(a), leave(b)), self.cover_work(area, &laid));
            if !helps(open_a.loss, loss_a) || !helps(open_b.loss, loss_b) {
                continue;
            }
            let measure = Measure::Cover;
            let mut way_a =
                Way { measure, cover: Some(laid), loss: loss_a, tonight, tomorrow, together: Some(second), ..open_a };
            let rest = Laid { pieces: 0, ..laid };
            let mut way_b = Way { measure, cover: Some(rest), loss: loss_b, together: Some(first), ..open_b };
            self.compare_with_before(a.bed, &mut way_a, 0.0);
            self.compare_with_before(b.bed, &mut way_b, 0.0);
            ways.push([way_a, way_b]);
        }
        ways
    }

    /// From which chance of damage on a bed is asked for: one that was asked for already stays so a little below it. A
    /// forecast that goes up and down by a little would else send people out and call them off in turn.
    pub fn asks_from(&self, risk: &BedRisk<'_>) -> f64 {
        let asked = self.before.said_of(&risk.bed.id).is_some_and(|said| said.measure.is_work());
        self.garden.caution.fine_below().0 * if asked { STILL_ASKED } else { 1.0 }
    }

    /// The stock and the pieces of the cover that was last said for a bed.
    pub fn said_cover(&self, bed: &Bed) -> Option<Laid> {
        Some(self.said_laid(bed)?.0)
    }

    /// The bed with which this one was last said to share one piece.
    pub fn said_to_share_with(&self, bed: &Bed) -> Option<&'g Bed> {
        self.garden.beds.get(self.said_laid(bed)?.1?)
    }

    fn said_laid(&self, bed: &Bed) -> Option<(Laid, Option<usize>)> {
        let said = self.before.said_of(&bed.id)?.cover.as_ref()?;
        let has_title =
            |laid: &Laid, together| self.cover_of(Some(*laid), together).is_some_and(|cover| cover.title() == *said);
        let alone = self.covers(bed).into_iter().find(|laid| has_title(laid, None));
        let here = self.garden.beds.iter().position(|one| one.id == bed.id)?;
        let shared = || {
            let cover = |(stock, one): (usize, &CoverStock)| Laid { stock, cover: one.cover(Layers::One), pieces: 1 };
            let mut pairs =
                self.stocks().map(cover).flat_map(|laid| (0..self.garden.beds.len()).map(move |other| (laid, other)));
            let (laid, other) = pairs.find(|(laid, other)| has_title(laid, Some(*other)))?;
            // The first of two has the piece.
            Some((Laid { pieces: u32::from(here < other), ..laid }, Some(other)))
        };
        alone.map(|laid| (laid, None)).or_else(shared)
    }

    fn is_said(&self, bed: &Bed, way: &Way) -> bool {
        let said = self.before.said_of(&bed.id).filter(|_| way.measure.is_work());
        said.is_some_and(|said| {
            said.measure == way.measure && said.cover == self.cover_use(way).map(|cover| cover.title())
        })
    }

    /// What was asked for counts with the minutes that it had then: a wind that rises does not stretch what lies there. What the
    /// night before has left out is no work again. `picking` is the part of the work that is none with covers.
    fn compare_with_before(&self, bed: &Bed, way: &mut Way, picking: f64) {
        let kept = way.cover.and_then(|laid| {
            let kind = self.garden.covers.get(laid.stock)?.kind;
            self.before.minutes_to_close(&bed.id, &self.cover_use(way)?, kind)
        });
        if let Some(minutes) = kept {
            (way.tonight, way.is_out) = (picking + minutes.min(way.tonight - picking), true);
        } else if way.measure == Measure::BringIn && self.before.is_inside(&bed.id) {
            (way.tonight, way.is_out) = (0.0, true);
        }
        way.is_said = self.is_said(bed, way);
        // What took none, as it lay there, takes its time once somebody has taken it off.
        let counts = |minutes: &f64| way.is_said && (way.is_out || *minutes > 0.0);
        if let Some(minutes) = self.before.said_of(&bed.id).and_then(|said| said.minutes).filter(counts) {
            way.tonight = minutes;
        }
    }

    /// The cover of a way, by the name on the shelf.
    pub fn cover_use(&self, way: &Way) -> Option<CoverUse> {
        self.cover_of(way.cover, way.together)
    }

    fn cover_of(&self, laid: Option<Laid>, together: Option<usize>) -> Option<CoverUse> {
        let laid = laid?;
        let name = self.garden.covers.get(laid.stock)?.name.clone();
        let together_with = together.and_then(|bed| Some(self.garden.beds.get(bed)?.id.clone()));
        Some(CoverUse { name, stock: laid.stock, pieces: laid.pieces, layers: laid.cover.layers, together_with })
    }

    fn stocks(&self) -> impl Iterator<Item = (usize, &CoverStock)> {
        let laid_tonight = !self.is_storm;
        self.garden.covers.iter().enumerate().filter(move |(_, stock)| laid_tonight && stock.count > 0)
    }

    /// Every stock in one layer, then those that can be doubled in two.
    fn covers(&self, bed: &Bed) -> Vec<Laid> {
        let laid = |layers: Layers| {
            let fits = move |stock: &CoverStock| layers == Layers::One || stock.kind.can_be_doubled();
            self.stocks().filter(move |(_, stock)| fits(stock)).map(move |(index, stock)| Laid {
                stock: index,
                cover: stock.cover(layers),
                pieces: pieces_for(bed, stock).saturating_mul(layers.times()),
            })
        };
        laid(Layers::One).chain(laid(Layers::Two)).collect()
    }

    /// To lay it, and to take it off and fold it.
    fn cover_work(&self, area: f64, laid: &Laid) -> (f64, f64) {
        let (lay, take_off) = cover_minutes(area, laid.pieces, laid.cover.layers.times());
        (lay * self.wind_factor, take_off * self.wind_factor)
    }
}

/// Person-minutes in little wind to lay a cover of so many pieces over an area, m², and to take it off and fold it. A second
/// layer is laid like the first; both come off together.
pub fn cover_minutes(area: f64, pieces: u32, layers: u32) -> (f64, f64) {
    let more_pieces = f64::from(pieces.saturating_sub(1));
    (COVER_PER_SQUARE_METRE * area * f64::from(layers) + more_pieces, UNCOVER_PER_BED)
}

/// What is done if nothing is.
pub(super) fn leave(risk: &BedRisk<'_>) -> Way {
    Way {
        measure: Measure::Leave,
        cover: None,
        loss: risk.expected_loss(None).0,
        tonight: 0.0,
        tomorrow: 0.0,
        anyhow: 0.0,
        is_said: false,
        is_out: false,
        together: None,
    }
}

/// Whether a measure averts enough of a loss to be asked for.
pub(super) fn helps(loss: f64, with_measure: f64) -> bool {
    loss - with_measure >= SOME_HELP * loss
}

/// What is still lost when everything that can be picked and is in danger has been: the growth it would have made,
/// and the damage to what stays.
fn loss_after_picking(risk: &BedRisk<'_>, cover: Option<Cover>) -> f64 {
    loss_left(risk, Measure::Harvest, cover, risk).0
}
