//! The nights of a season, and what each came to.

use super::Span;
use super::covers::lying;
use crate::beds::Garden;
use crate::crops::Catalogue;
use crate::crops::damage::DamageClass;
use crate::journal::event::{ColdNight, Known, PlaceLow, cold_nights, foretold_in_time, work_ends};
use crate::journal::{Damage, Place};
use crate::night::Estimate;
use crate::plan::said::{Said, SaidBed};
use crate::units::{Celsius, Minutes};
use crate::words::words;
use crate::zone::NightOf;
use std::collections::{BTreeMap, BTreeSet};

/// What a night came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Work was asked for in time, and it came: measured below the garden's most tender threshold, or damage was found.
    Hit,
    /// It came, and work was asked for only when the time for it was over.
    Late,
    /// No work was asked for, and damage was found.
    Miss,
    /// Work was asked for, and it was measured to stay above the threshold; no damage was found.
    FalseAlarm,
    /// It was cold, no work was asked for, and nobody wrote down damage.
    Passed,
    /// Not cold, and nothing was asked for.
    Quiet,
    /// Nobody measured it, or nobody looked ahead.
    NotKnown,
}

words!(Verdict { Hit = "hit", Late = "late", Miss = "miss", FalseAlarm = "false alarm", Passed = "passed", Quiet = "quiet", NotKnown = "not known" });

impl Verdict {
    /// From whether work was asked for, whether anybody `looked` ahead, whether it was cold (`None`: nobody measured), and whether
    /// damage was found.
    pub fn of(asked: Option<Asked>, looked: bool, cold: Option<bool>, harmed: bool) -> Verdict {
        match (asked, cold, harmed) {
            (Some(Asked::InTime), _, true) | (Some(Asked::InTime), Some(true), _) => Verdict::Hit,
            (Some(Asked::Late), _, true) | (Some(Asked::Late), Some(true), _) => Verdict::Late,
            (None, _, true) => Verdict::Miss,
            (Some(_), Some(false), false) => Verdict::FalseAlarm,
            (None, Some(true), false) if looked => Verdict::Passed,
            (None, Some(false), false) if looked => Verdict::Quiet,
            (None, _, false) | (_, None, false) => Verdict::NotKnown,
        }
    }
}

/// When work was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asked {
    InTime,
    Late,
}

/// One night in figures.
#[derive(Clone, Debug, PartialEq)]
pub struct NightFigures {
    pub of: NightOf,
    /// The low at the garden's screen as the last round before the end of work foretold it.
    pub foretold: Option<Estimate>,
    /// The lowest air of the whole night, at the garden's screen where it was measured, else at the coldest bed.
    pub measured: Option<(Celsius, Place)>,
    /// The lowest air measured anywhere in the garden, by single looks as well.
    pub coldest: Option<Celsius>,
    /// Of a cold night the garden's most tender threshold.
    pub begins: Option<Celsius>,
    /// The beds of the last list before the end of work; empty where there was nothing to say, `None` where nobody looked ahead.
    pub last_list: Option<Vec<SaidBed>>,
    /// Those of the last list after it, if there was one.
    pub in_the_dark: Vec<SaidBed>,
    /// Beds that were covered, as far as it was written down.
    pub covered: Vec<String>,
    /// Of the damage that was found, the worst.
    pub worst: Option<DamageClass>,
    /// How many plantings were reported on, those without damage included.
    pub reports: usize,
    /// Beds with damage for which no work was ever asked: another bed's warning did not help them.
    pub missed: Vec<String>,
    pub verdict: Verdict,
    /// Laying and taking off its covers, person-minutes; `None` where nobody wrote one down.
    pub work: Option<Minutes>,
    /// What its covers saved, person-minutes; `None` where there were none, or it cannot be reckoned.
    pub saved: Option<Minutes>,
}

impl NightFigures {
    /// Beds that work was asked for in time.
    pub fn asked(&self) -> impl Iterator<Item = &SaidBed> {
        self.last_list.iter().flatten().filter(|bed| bed.measure.is_work())
    }

    /// Beds that work was asked for only when the time for it was over.
    pub fn asked_late(&self) -> impl Iterator<Item = &SaidBed> {
        let in_time = |said: &&SaidBed| self.said_of(&said.bed).is_some_and(|said| said.measure.is_work());
        self.in_the_dark.iter().filter(|said| said.measure.is_work()).filter(move |said| !in_time(said))
    }

    /// Whether work was asked for, in time or later.
    pub fn is_warned(&self) -> bool {
        self.asked().chain(self.asked_late()).next().is_some()
    }

    /// What the last list before the end of work said of a bed.
    pub fn said_of(&self, bed: &str) -> Option<&SaidBed> {
        self.last_list.iter().flatten().find(|said| said.bed == bed)
    }

    /// Whether work was asked for at a bed, and if so, whether in time.
    pub fn was_asked(&self, bed: &str) -> Option<Asked> {
        let of_bed = |said: &SaidBed| said.bed == bed;
        if self.asked().any(of_bed) {
            Some(Asked::InTime)
        } else {
            self.asked_late().any(of_bed).then_some(Asked::Late)
        }
    }

    /// What was known of a bed at the last: of the thermometers in the dark too.
    pub fn last_word_of(&self, bed: &str) -> Option<&SaidBed> {
        self.in_the_dark.iter().find(|said| said.bed == bed).or_else(|| self.said_of(bed))
    }

    /// Whether it was measured anywhere below the garden's most tender threshold; `None` where nobody measured it. A look
    /// at a thermometer proves that it was cold, and only a low of the whole night that it was not.
    pub fn was_cold(&self) -> Option<bool> {
        let was_seen = self.coldest.zip(self.begins).is_some_and(|(low, begins)| low < begins);
        if was_seen { Some(true) } else { self.measured.as_ref().map(|_| false) }
    }

    /// Whether anything at all is known of it.
    pub fn is_known(&self) -> bool {
        self.foretold.is_some()
            || self.measured.is_some()
            || self.last_list.is_some()
            || !self.in_the_dark.is_empty()
            || !self.covered.is_empty()
            || self.reports > 0
    }
}

/// All nights from the first of a span to one of its nights.
pub(super) fn nights(
    garden: &Garden,
    catalogue: &Catalogue,
    span: Span,
    until: NightOf,
    known: &Known,
) -> Vec<NightFigures> {
    let cold: BTreeMap<NightOf, ColdNight> =
        cold_nights(garden, catalogue, known).into_iter().map(|night| (night.of, night)).collect();
    let foretold = foretold_in_time(garden, known);
    let mut lists: BTreeMap<NightOf, &Said> = BTreeMap::new();
    let mut later: BTreeMap<NightOf, &Said> = BTreeMap::new();
    // The word of a morning says again what the night's list was.
    for (night, said) in known.said.iter().filter(|(_, said)| said.kept.is_none()) {
        let lists = if said.at <= work_ends(garden, *night) { &mut lists } else { &mut later };
        lists.insert(*night, said);
    }
    let in_air = |low: &&PlaceLow| matches!(low.place, Place::Screen | Place::Bed { .. });
    let mut lows: BTreeMap<NightOf, Vec<&PlaceLow>> = BTreeMap::new();
    for low in known.whole.iter().filter(in_air) {
        lows.entry(low.night).or_default().push(low);
    }
    let mut coldest: BTreeMap<NightOf, Celsius> = BTreeMap::new();
    for low in known.lows.iter().chain(&known.whole).filter(in_air) {
        let found = coldest.entry(low.night).or_insert(low.low);
        *found = found.min(low.low);
    }
    let covered = lying(garden, known);
    let mut damage: BTreeMap<NightOf, Vec<&Damage>> = BTreeMap::new();
    for report in known.worst_reports(garden) {
        damage.entry(report.night).or_default().push(report.damage);
    }
    let figures = |of: NightOf| {
        let lows = lows.get(&of).map(Vec::as_slice).unwrap_or_default();
        let screen = lows.iter().find(|low| low.place == Place::Screen);
        let shown = screen.or_else(|| lows.iter().min_by(|a, b| a.low.0.total_cmp(&b.low.0)));
        let foretold = foretold.get(&of).copied();
        let list = lists.get(&of).map(|said| said.beds.clone());
        let lying = covered.get(&of).map(Vec::as_slice).unwrap_or_default();
        let covered = lying.iter().map(|lying| lying.laid.bed.clone()).collect();
        let reports = damage.get(&of).map(Vec::as_slice).unwrap_or_default();
        let mut night = NightFigures {
            of,
            foretold,
            measured: shown.map(|low| (low.low, low.place.clone())),
            coldest: coldest.get(&of).copied(),
            begins: cold.get(&of).map(|night| night.tender.begins),
            // Where a round looked and nothing was said, nothing was asked.
            last_list: list.or_else(|| foretold.map(|_| Vec::new())),
            in_the_dark: later.get(&of).map(|said| said.beds.clone()).unwrap_or_default(),
            covered,
            worst: reports.iter().map(|found| found.class).max(),
            reports: reports.len(),
            missed: Vec::new(),
            verdict: Verdict::NotKnown,
            work: None,
            saved: None,
        };
        let harmed: BTreeSet<&str> =
            reports.iter().filter(|found| found.class.number() > 0).map(|found| found.bed.as_str()).collect();
        let (asked, missed): (Vec<&str>, Vec<&str>) =
            harmed.into_iter().partition(|bed| night.was_asked(bed).is_some());
        let in_time = asked.iter().any(|bed| night.was_asked(bed) == Some(Asked::InTime));
        let warned = if night.asked().next().is_some() && (asked.is_empty() || in_time) {
            Some(Asked::InTime)
        } else {
            night.is_warned().then_some(Asked::Late)
        };
        night.verdict = match Verdict::of(warned, night.last_list.is_some(), night.was_cold(), !asked.is_empty()) {
            came @ (Verdict::Hit | Verdict::Late) => came,
            _ if !missed.is_empty() => Verdict::Miss,
            other => other,
        };
        night.missed = missed.into_iter().map(str::to_string).collect();
        night
    };
    span.nights().take_while(|night| *night <= until).map(figures).collect()
}
