//! Whether to say anything: a pure function of what we want to say, what was last said of this night, and when.
//!
//! What was said is remembered as measures, not as text: a forecast that moves by a tenth of a degree without changing
//! a measure is no news.

use super::before::still_out;
use super::{BedPlan, CoverUse, Measure, Plan};
use crate::beds::{CoverStock, Garden};
use crate::risk::PlantingRisk;
use crate::rounds::{AllQuiet, RoundKind};
use crate::words::words;
use chrono::{DateTime, Duration, Utc};
use serde::{Deserialize, Serialize};
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

/// What a garden was last told of a night.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Said {
    pub at: DateTime<Utc>,
    pub beds: Vec<SaidBed>,
    /// Pieces of each cover that the list uses, by the name on the shelf.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub covers: BTreeMap<String, u32>,
    /// In the word of the morning after: beds whose cover or pots were to stay as they were.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kept: Option<Vec<String>>,
    /// Of these, the beds whose cover was to be opened by day.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub open: Vec<String>,
}

/// Pieces of a shared cover that another garden's list of the same night uses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Elsewhere {
    /// Index into the garden's stock.
    pub stock: usize,
    /// The name of the garden that has them.
    pub garden: String,
    pub pieces: u32,
}

/// The list that stands, of those said of a night, oldest first: one that knows nothing replaces none.
pub fn standing(said: &[Said]) -> Option<&Said> {
    said.iter().rfind(|said| said.has_work() || !said.is_unknown())
}

/// Pieces of covers, by their names in small letters, that the lists of one night have in use, oldest first. Until the
/// `deadline` of that garden what was called off is given back; later it lies on beds in the dark, and stays there. A list
/// that knows nothing replaces none.
pub fn pieces_in_use(said: &[Said], deadline: DateTime<Utc>) -> BTreeMap<String, u32> {
    let stands = |said: &Said| said.at <= deadline && (said.has_work() || !said.is_unknown());
    let standing = said.iter().rposition(stands).unwrap_or(0);
    let mut most = BTreeMap::new();
    for (name, pieces) in said.iter().skip(standing).flat_map(|said| &said.covers) {
        let so_far: &mut u32 = most.entry(name.to_lowercase()).or_default();
        *so_far = (*so_far).max(*pieces);
    }
    most
}

/// Pieces that the lists of the night before have left on beds, by the names of their covers in small letters: all that they
/// had in use, and once the word of the morning is among them, no more than on the beds that it leaves covered, and that
/// the coming night was `told` to want. Of a bed that is uncovered one piece comes off at least; one piece over two beds is
/// counted as there until both are.
pub fn pieces_left(lists: &[Said], deadline: DateTime<Utc>, told: Option<&Said>) -> BTreeMap<String, u32> {
    let mut left = pieces_in_use(lists, deadline);
    let Some(out) = still_out(lists, deadline) else { return left };
    if lists.iter().all(|said| said.kept.is_none()) {
        return left;
    }
    let stays = out.clone().after_the_morning(lists, told);
    let is_it = |cover: &str, name: &str| CoverUse::name_in(cover).to_lowercase() == name;
    // Under one piece lies a bed, or it and its neighbour; it comes off once nothing of it stays.
    let on = |said: &Said, name: &str| -> BTreeSet<(String, String)> {
        let covers = said.beds.iter().filter_map(|bed| Some((&bed.bed, bed.cover.as_deref()?)));
        let covers = covers.filter(|(_, cover)| is_it(cover, name));
        covers
            .map(|(bed, cover)| {
                let (bed, other) = (bed.as_str(), CoverUse::together_in(cover).unwrap_or(bed));
                (bed.min(other).to_string(), bed.max(other).to_string())
            })
            .collect()
    };
    left.retain(|name, pieces| {
        let staying = on(&stays, name);
        let off = on(&out, name).difference(&staying).count();
        *pieces = pieces.saturating_sub(u32::try_from(off).unwrap_or(u32::MAX)).max(1);
        !staying.is_empty()
    });
    left
}

/// Shared covers of a garden that another has in use, by their names in small letters.
pub fn elsewhere(garden: &Garden, other: &Garden, in_use: &BTreeMap<String, u32>) -> Vec<Elsewhere> {
    let used = |stock: &CoverStock| in_use.get(&stock.name.to_lowercase()).copied();
    let shared = garden.covers.iter().enumerate().filter(|(_, stock)| stock.shared_with.contains(&other.id));
    let pieces = shared.filter_map(|(stock, of)| Some((stock, used(of).filter(|pieces| *pieces > 0)?)));
    pieces.map(|(stock, pieces)| Elsewhere { stock, garden: other.name.clone(), pieces }).collect()
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SaidBed {
    pub bed: String,
    pub measure: Measure,
    pub cover: Option<String>,
    /// Of damage, uncovered: it tells a bed that is given up from one that is no longer in danger.
    pub chance: f64,
    /// Of damage that remains with the measure.
    #[serde(default)]
    pub remaining: f64,
    /// Person-minutes of its work before the night, as it was when it was asked; what was said before this was kept has none.
    #[serde(default)]
    pub minutes: Option<f64>,
    /// The word of the reason for its measure; what was said before this was kept has none.
    #[serde(default)]
    pub reason: Option<String>,
    /// The crops that it asks to pick, as the catalogue has them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub picks: Vec<String>,
    /// Whether something of what grows there was picked or lost before.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_picked: bool,
    /// What each of its plantings was expected to lose; what was said before this was kept has none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub losses: Vec<SaidLoss>,
}

/// What a list expected of one planting, as parts of all that it was worth, 0 to 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SaidLoss {
    /// As the catalogue has it.
    pub crop: String,
    /// Lost in the open.
    pub open: f64,
    /// Lost all the same, under the cover or roof that was asked for.
    pub left: f64,
}

impl SaidBed {
    /// What of all that a crop in it was worth was expected to be lost in the open, and all the same, 0 to 1 each. What was
    /// said before losses were kept has the chance of its tenderest part instead.
    pub fn expected(&self, crop: &str) -> (f64, f64) {
        if self.losses.is_empty() {
            return (self.chance, self.remaining);
        }
        let loss = self.losses.iter().find(|loss| loss.crop == crop);
        loss.map_or((0.0, 0.0), |loss| (loss.open, loss.left))
    }

    /// Whether its cover lay there when it was asked for, and took no work.
    pub(super) fn lies_there(&self) -> bool {
        self.measure == Measure::Cover && self.takes_no_work()
    }

    /// Whether it was out when it was asked for.
    fn takes_no_work(&self) -> bool {
        self.measure.is_work() && self.minutes == Some(0.0)
    }

    /// Whether somebody has done the picking that `before` asked for, and nothing else is asked now: that is no news.
    fn has_done(&self, before: &SaidBed) -> bool {
        let rest = match self.measure {
            Measure::Cover => self.cover == before.cover,
            Measure::Fine | Measure::Leave => before.cover.is_none(),
            _ => false,
        };
        // Where something was picked before that list already, this may be that: then it is told once too often.
        before.measure == Measure::Harvest && self.is_picked && !before.is_picked && rest
    }
}

/// What a garden is told, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SayReason {
    /// The first warning for this night.
    First,
    /// A bed joins, or a measure becomes stronger.
    Worse,
    /// Less is asked, but something still is.
    Better,
    /// Nothing is left to do that had been asked for.
    CalledOff,
    /// There is no usable weather, or hours are missing.
    DataMissing,
    /// A sign of life on its own schedule.
    AllQuiet,
    /// The day turns too hot or too bright for covers that the word of the morning left on.
    TooHotByDay,
    /// The morning after: uncover, and note what the night did.
    MorningAfter,
}

/// Why nothing is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SilentReason {
    /// The same has been said already.
    Unchanged,
    /// Nothing is in danger, and the next sign of life is not due.
    Quiet,
    /// The morning after a night for which nothing was asked.
    NothingToUncover,
    /// Less is asked than before: it goes out with the next planned mail.
    BetterCanWait,
}

/// How a list differs from what was last said.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Changes {
    /// Beds for which more is asked, with what was asked before.
    pub worse: Vec<(String, Measure)>,
    /// Beds for which less is asked, with what was asked before.
    pub better: Vec<(String, Measure)>,
    /// Beds with the same measure, of which it protects much less than was said.
    pub riskier: Vec<String>,
    /// Beds with the same measure and another cover.
    pub other_cover: Vec<String>,
    /// Beds that had a cover and are to have none of it, or one layer of two, with what it was called: see
    /// [`CoverUse::title`].
    pub freed: Vec<(String, String)>,
    /// Beds whose cover lay there, and is to be laid again.
    pub again: Vec<String>,
    /// Whether any of the worse asks for more than before, rather than for something else.
    pub asks_more: bool,
}

impl Said {
    /// What a plan says.
    pub fn of(plan: &Plan<'_>) -> Said {
        let beds = plan.beds.iter().map(|bed| SaidBed {
            bed: bed.risk.bed.id.clone(),
            measure: bed.measure,
            cover: bed.cover.as_ref().map(CoverUse::title),
            chance: bed.deciding().map_or(0.0, |(_, organ)| organ.open.chance.0),
            remaining: bed.remaining_chance().0,
            minutes: Some(bed.tonight.0),
            reason: Some(bed.reason.word().into()),
            picks: picks_of(bed),
            is_picked: bed.risk.is_picked(),
            losses: losses_of(plan.garden, bed),
        });
        let mut covers = BTreeMap::new();
        for cover in plan.beds.iter().filter_map(|bed| bed.cover.as_ref()) {
            *covers.entry(cover.name.clone()).or_default() += cover.pieces;
        }
        Said { at: plan.made_at, beds: beds.collect(), covers, ..Said::default() }
    }

    /// Whether somebody was asked to do something.
    pub fn has_work(&self) -> bool {
        self.beds.iter().any(|bed| bed.measure.is_work())
    }

    /// Whether somebody was asked to do more than to leave what is out.
    fn wants_people(&self) -> bool {
        self.beds.iter().any(|bed| bed.measure.is_work() && !bed.takes_no_work())
    }

    /// Whether a bed was out in the cold and in danger, or nothing was known of it.
    pub fn was_out(&self, bed: &str) -> bool {
        let measure = self.beds.iter().find(|said| said.bed == bed).map(|bed| bed.measure);
        measure.is_some_and(|measure| !matches!(measure, Measure::Fine | Measure::BringIn))
    }

    fn is_all_fine(&self) -> bool {
        self.beds.iter().all(|bed| bed.measure == Measure::Fine)
    }

    /// Whether nothing is known of a bed.
    pub fn is_unknown(&self) -> bool {
        self.beds.iter().any(|bed| bed.measure == Measure::Unknown)
    }
}

/// The crops of a bed that are to be picked.
fn picks_of(bed: &BedPlan<'_>) -> Vec<String> {
    let is_picked = |planting: &&PlantingRisk<'_>| bed.picks.iter().any(|pick| pick.is_of(planting));
    let mut crops: Vec<String> =
        bed.risk.plantings.iter().filter(is_picked).map(|planting| planting.crop.id.clone()).collect();
    crops.sort();
    crops.dedup();
    crops
}

/// What each planting of a bed is expected to lose, where frost or chill can take anything from it. Of several of one crop the
/// parts are those of all of them together.
fn losses_of(garden: &Garden, bed: &BedPlan<'_>) -> Vec<SaidLoss> {
    let cover = bed.cover.as_ref().and_then(|used| Some(garden.covers.get(used.stock)?.cover(used.layers)));
    let mut crops: BTreeMap<&str, (f64, f64, f64)> = BTreeMap::new();
    for planting in bed.risk.plantings.iter().filter(|planting| planting.worth.0 > 0.0) {
        let (worth, open, left) = crops.entry(&planting.crop.id).or_default();
        *worth += planting.worth.0;
        *open += planting.expected_loss(None).0;
        if bed.measure != Measure::BringIn {
            *left += planting.expected_loss(cover).0;
        }
    }
    let is_some = |(_, (_, open, left)): &(&str, (f64, f64, f64))| *open > 0.0 || *left > 0.0;
    let parts = crops.into_iter().filter(is_some);
    parts
        .map(|(crop, (worth, open, left))| SaidLoss { crop: crop.into(), open: open / worth, left: left / worth })
        .collect()
}

/// Work that is no longer asked although the chance of damage rose by this much is a bed given up, not an all-clear
/// (assumed).
const GIVEN_UP: f64 = 0.05;

/// A chance that rises by this much under the same measure is news: people may do more than the list asks (assumed).
const RISKIER: f64 = 0.2;

/// What changed from one list to the next. A bed that was not on the last list counts as fine there.
pub fn changes(last: &Said, next: &Said) -> Changes {
    let mut changes = Changes::default();
    for bed in &next.beds {
        let before = last.beds.iter().find(|said| said.bed == bed.bed);
        let measure = before.map_or(Measure::Fine, |said| said.measure);
        if before.is_some_and(|before| bed.has_done(before)) {
            continue;
        }
        let stays = |cover: &String| bed.cover.as_ref().is_some_and(|now| CoverUse::has_all_of(now, cover));
        if let Some(cover) = before.and_then(|said| said.cover.as_ref()).filter(|cover| !stays(cover)) {
            changes.freed.push((bed.bed.clone(), cover.clone()));
        }
        let given_up = bed.measure == Measure::Leave
            && before.is_some_and(|said| said.measure.is_work() && bed.chance > said.chance + GIVEN_UP);
        let order = if given_up { Ordering::Greater } else { urgency(bed.measure).cmp(&urgency(measure)) };
        match order {
            Ordering::Greater => {
                // Where nothing was known, that covers stay where they lie asks for nothing more.
                changes.asks_more |= !(measure == Measure::Unknown && bed.takes_no_work());
                changes.worse.push((bed.bed.clone(), measure));
            }
            Ordering::Less => changes.better.push((bed.bed.clone(), measure)),
            Ordering::Equal if measure != bed.measure => changes.worse.push((bed.bed.clone(), measure)),
            Ordering::Equal => {
                if before.is_some_and(|said| bed.remaining > said.remaining + RISKIER) {
                    changes.asks_more = true;
                    changes.riskier.push(bed.bed.clone());
                }
                let came_off = |said: &SaidBed| said.cover == bed.cover && said.lies_there() && !bed.lies_there();
                if before.is_some_and(came_off) {
                    changes.asks_more = true;
                    changes.again.push(bed.bed.clone());
                }
                if before.is_some_and(|said| said.cover != bed.cover) {
                    changes.other_cover.push(bed.bed.clone());
                }
            }
        }
    }
    changes
}

/// Whether nothing is known any more of a bed for which work was asked.
fn lost_sight_of_work(last: &Said, next: &Said) -> bool {
    let asked = |bed: &SaidBed| last.beds.iter().any(|said| said.bed == bed.bed && said.measure.is_work());
    next.beds.iter().any(|bed| bed.measure == Measure::Unknown && asked(bed))
}

/// How much a measure asks for attention. Two measures of one rank that differ are a change for the worse: people
/// would do the wrong thing.
fn urgency(measure: Measure) -> u8 {
    match measure {
        Measure::Fine => 0,
        Measure::Leave => 1,
        Measure::Unknown => 2,
        Measure::Cover | Measure::Harvest | Measure::BringIn => 3,
    }
}

/// Whether to say it. `last_word` is when the garden last heard anything at all.
pub fn whether(
    round: RoundKind,
    next: &Said,
    last: Option<&Said>,
    last_word: Option<DateTime<Utc>>,
    all_quiet: AllQuiet,
) -> Result<SayReason, SilentReason> {
    if round == RoundKind::Uncover {
        let asked = last.is_some_and(|last| last.has_work() || last.is_unknown());
        return if asked { Ok(SayReason::MorningAfter) } else { Err(SilentReason::NothingToUncover) };
    }
    let Some(last) = last else {
        return if next.is_unknown() {
            Ok(SayReason::DataMissing)
        } else if next.beds.iter().any(|bed| bed.measure != Measure::Fine) {
            Ok(SayReason::First)
        } else {
            // A margin, so that a weekly word on the same weekday is not put off by minutes.
            let due = Duration::days(all_quiet.days()) - Duration::hours(6);
            let heard = last_word.is_some_and(|word| next.at - word < due);
            if heard || round != RoundKind::Morning { Err(SilentReason::Quiet) } else { Ok(SayReason::AllQuiet) }
        };
    };
    // Weather that went missing since is news, and never an all-clear for what the last list asked.
    if next.is_unknown() && (!last.is_unknown() || lost_sight_of_work(last, next)) {
        return Ok(SayReason::DataMissing);
    }
    let changes = changes(last, next);
    if !changes.worse.is_empty() || !changes.riskier.is_empty() || !changes.again.is_empty() {
        return Ok(SayReason::Worse);
    }
    // What was picked as it was asked is not called off.
    let is_done = |asked: &SaidBed| next.beds.iter().any(|bed| bed.bed == asked.bed && bed.has_done(asked));
    if next.is_all_fine() && last.beds.iter().any(|asked| asked.measure.is_work() && !is_done(asked)) {
        return Ok(SayReason::CalledOff);
    }
    if changes.better.is_empty() && changes.other_cover.is_empty() {
        // That nothing is known is said with each planned mail.
        let again = next.is_unknown() && round == RoundKind::Afternoon;
        return if again { Ok(SayReason::DataMissing) } else { Err(SilentReason::Unchanged) };
    }
    // Between planned mails, less work is no reason to disturb anyone.
    if round == RoundKind::Dusk { Err(SilentReason::BetterCanWait) } else { Ok(SayReason::Better) }
}

/// What becomes of the night's entry in the crew's calendars.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalendarEntry {
    /// It is put in, or put right.
    Publish,
    /// It is taken out.
    Cancel,
}

words!(CalendarEntry { Publish = "PUBLISH", Cancel = "CANCEL" });

/// The calendar entry that goes with a list, from all lists said of this night, oldest first. There is one while there
/// is work beyond leaving what is out, and it is taken out when the list that asked for it no longer holds. Weather that went missing takes none
/// out. An all-clear that is said again, to somebody whom it did not reach, takes it out again.
pub fn calendar_entry(reason: SayReason, next: &Said, said: &[Said]) -> Option<CalendarEntry> {
    if next.wants_people() {
        return Some(CalendarEntry::Publish);
    }
    let stands = standing(said).is_some_and(Said::wants_people);
    let again = reason == SayReason::CalledOff && said.iter().any(Said::wants_people);
    (!next.is_unknown() && (stands || again)).then_some(CalendarEntry::Cancel)
}

#[cfg(test)]
mod tests;
