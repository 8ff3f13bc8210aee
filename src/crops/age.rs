//! The stage of a planting from its date, where the manager has not named it.

use super::{CountedFrom, Crop, Harm, Life};

/// The stage of a planting, and on whose word.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage<'c> {
    /// A stage of the crop.
    pub name: &'c str,
    pub from: StageFrom<'c>,
}

/// Where a stage comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum StageFrom<'c> {
    /// The manager has named it.
    Manager,
    /// Told from the date of planting.
    Calendar {
        /// Days from planting to the night, 0 and above.
        days: i64,
        start: CountedFrom,
        /// Fewest and most days to the first harvest from this start.
        to_maturity: Option<(u16, u16)>,
        /// What it may be as well: the most tender was taken.
        or: Vec<&'c str>,
    },
}

impl StageFrom<'_> {
    /// The word in `--json`.
    pub fn word(&self) -> &'static str {
        match self {
            StageFrom::Manager => "manager",
            StageFrom::Calendar { .. } => "calendar",
        }
    }
}

/// A plant counts as newly set out for two weeks, days.
const NEWLY_SET: i64 = 14;
/// Of the days to the first harvest: when seed leaves are left behind, when a seedling is one no more, and when the part
/// that is harvested begins to form (assumed; broccoli of 50 days from setting out shows its head after about 35).
const SEEDLING: f64 = 0.1;
const LEAFY: f64 = 1.0 / 3.0;
const FORMING: f64 = 2.0 / 3.0;
/// In the cold a crop may take this many times the most days that a table gives (assumed: tables are of good growing
/// weather, and in winter their days are minima).
const SLOW: f64 = 2.0;
/// Days that a plant spends in its nursery before it is set out: four to six weeks, common practice.
const NURSERY: (u16, u16) = (28, 42);
/// Two thresholds that are closer than this are equally tender, K (half of the spread of a published figure).
const EQUALLY_TENDER: f64 = 0.5;
/// Below this share of the worth a part does not decide how tender a stage is (assumed, as for a bed).
const WEIGHTY: f64 = 0.2;

/// Whether a date tells the stage at all: not of what lives for years and sleeps in between, nor where no table has the
/// days to maturity.
pub fn can_tell(crop: &Crop, to_maturity: Option<(u16, u16)>) -> bool {
    crop.growing.life != Life::Perennial && to_maturity.is_some() && !crop.stages.is_empty()
}

/// The stage of a planting by the calendar: every stage that it may be in, fast or slow, and of those the most tender;
/// of equally tender ones the last, in which there is most to lose.
///
/// ```text
/// stage i:  from s_i d_min  to  2 s_(i+1) d_max  days after planting
/// ```
///
/// | symbol         | meaning                                                     | unit | accepted range |
/// |----------------|-------------------------------------------------------------|------|----------------|
/// | `d_min, d_max` | days to the first harvest from this start, fewest and most  | d    | 1 and above    |
/// | `s_i`          | share of them at which the stage begins: seedling 0.1, leafy 1/3 (0 when set out), then 2/3 and evenly to 1 | - | 0 to 1 |
///
/// **Method error.** Unknown: the shares are assumed, and cold slows growth by more than any table says. A planting is
/// therefore in several stages at once for most of its life, and the list names the others.
/// **Refuses.** Nothing. Where [`can_tell`] is false it may be any stage, and the most tender is taken; a date after the
/// night counts as planted on it.
/// **Source.** Days to maturity: the crop's own sources. Two weeks as newly set, and the shares: assumed.
/// **Check.** None known: no table of stages by days was found. `the_days_of_a_seed_packet_make_the_stages` holds the
/// rows that a grower would expect.
pub fn by_calendar(crop: &Crop, start: CountedFrom, own_days: Option<(u16, u16)>, days: i64) -> Stage<'_> {
    let days = days.max(0);
    let to_maturity = own_days.or(crop.growing.days_to_maturity).map(|days| from_start(days, crop, start));
    let candidates = match to_maturity {
        Some(to_maturity) if can_tell(crop, Some(to_maturity)) => candidates(crop, start, to_maturity, days),
        _ => crop.stages.iter().map(String::as_str).collect(),
    };
    let tenderness = |stage: &&str| tenderness(crop, stage);
    let tenderest = candidates.iter().map(tenderness).fold(f64::NEG_INFINITY, f64::max);
    let chosen = candidates.iter().rfind(|stage| tenderness(stage) >= tenderest - EQUALLY_TENDER);
    let name = chosen.copied().unwrap_or_default();
    let or = candidates.iter().copied().filter(|stage| *stage != name).collect();
    Stage { name, from: StageFrom::Calendar { days, start, to_maturity, or } }
}

/// Days to maturity from this start, where the table counts from the other.
pub fn from_start((low, high): (u16, u16), crop: &Crop, start: CountedFrom) -> (u16, u16) {
    match (crop.growing.counted_from, start) {
        (CountedFrom::Seed, CountedFrom::Transplant) => {
            // A plant that was sown elsewhere has half of its life before it at least.
            (low.saturating_sub(NURSERY.1).max(low / 2), high.saturating_sub(NURSERY.0).max(high / 2))
        }
        (CountedFrom::Transplant, CountedFrom::Seed) => (low.saturating_add(NURSERY.0), high.saturating_add(NURSERY.1)),
        _ => (low, high),
    }
}

/// What grows from this start, in days: before it stands where it stands now, and until its first harvest. Both count from
/// seed, or of a clove, tuber or division from its planting. Days are the middle of those that a table gives; `None` where
/// no table has them, and of what lives for years.
pub fn days_grown(crop: &Crop, start: CountedFrom, own_days: Option<(u16, u16)>) -> Option<(f64, f64)> {
    let days = own_days.or(crop.growing.days_to_maturity).filter(|days| can_tell(crop, Some(*days)))?;
    let middle = |(low, high): (u16, u16)| (f64::from(low) + f64::from(high)) / 2.0;
    let from_here = middle(from_start(days, crop, start));
    let in_all = match start {
        CountedFrom::Transplant => middle(from_start(days, crop, CountedFrom::Seed)),
        CountedFrom::Seed | CountedFrom::Division => from_here,
    };
    Some(((in_all - from_here).max(0.0), in_all))
}

/// Days of the same count at which a crop is in a stage: it begins, is in its middle, or ripe if it is the last, and ends.
pub fn days_in_stage(
    crop: &Crop,
    start: CountedFrom,
    own_days: Option<(u16, u16)>,
    stage: &str,
) -> Option<(f64, f64, f64)> {
    let start = match stage {
        "transplant" => CountedFrom::Transplant,
        // It is not set out yet.
        "emerging" | "seedling" => CountedFrom::Seed,
        _ => start,
    };
    let (before, in_all) = days_grown(crop, start, own_days)?;
    if stage == "transplant" {
        let ends = (before + NEWLY_SET as f64).min(in_all);
        return Some((before, (before + ends) / 2.0, ends));
    }
    let stages = still_to_come(crop, start);
    // Asleep in the soil: nothing has grown yet.
    let Some(index) = stages.iter().position(|name| *name == stage) else { return Some((0.0, 0.0, 0.0)) };
    let begins = shares(&stages, start);
    let day = |share: f64| before + share * (in_all - before);
    Some(match begins.get(index + 1) {
        Some(next) => (day(begins[index]), (day(begins[index]) + day(*next)) / 2.0, day(*next)),
        None => (day(begins[index]), in_all, in_all),
    })
}

/// Stages that do not lie behind what is begun so, in order of growth.
fn still_to_come(crop: &Crop, start: CountedFrom) -> Vec<&str> {
    let passed: &[&str] = match start {
        CountedFrom::Seed => &["transplant", "dormant"],
        CountedFrom::Transplant | CountedFrom::Division => &["emerging", "seedling", "transplant", "dormant"],
    };
    crop.stages.iter().map(String::as_str).filter(|stage| !passed.contains(stage)).collect()
}

/// Share of the days to the first harvest at which each of these stages begins.
fn shares(stages: &[&str], start: CountedFrom) -> Vec<f64> {
    let young = |stage: &str| matches!(stage, "emerging" | "seedling" | "leafy");
    let forming = stages.iter().filter(|stage| !young(stage)).count().max(1) as f64;
    let mut formed = 0.0;
    let begins = stages.iter().map(|stage| match *stage {
        "emerging" => 0.0,
        "seedling" => SEEDLING,
        "leafy" if start == CountedFrom::Seed => LEAFY,
        "leafy" => 0.0,
        _ => {
            formed += 1.0;
            FORMING + (1.0 - FORMING) * (formed - 1.0) / forming
        }
    });
    begins.collect()
}

/// The stages that a planting may be in, in order of growth; at least one.
fn candidates(crop: &Crop, start: CountedFrom, (low, high): (u16, u16), days: i64) -> Vec<&str> {
    let has = |name: &str| crop.stages.iter().find(|stage| *stage == name);
    if let Some(newly_set) = has("transplant").filter(|_| start == CountedFrom::Transplant && days < NEWLY_SET) {
        return vec![newly_set];
    }
    let stages = still_to_come(crop, start);
    if stages.is_empty() {
        // All that its file knows lies behind it: any of that, rather than nothing at risk.
        return crop.stages.iter().map(String::as_str).collect();
    }
    let begins = shares(&stages, start);
    let days = days as f64;
    let may_be = |index: usize| {
        // Something grows from the first day on.
        let begun = index == 0 || days >= begins[index] * f64::from(low);
        let over = begins.get(index + 1).is_some_and(|next| days >= SLOW * next * f64::from(high));
        begun && !over
    };
    (0..stages.len()).filter(|index| may_be(*index)).map(|index| stages[index]).collect()
}

/// The warmest temperature at which frost begins to harm a weighty part, °C, whatever its frame.
fn tenderness(crop: &Crop, stage: &str) -> f64 {
    let parts = crop.at_stage(stage).filter(|part| part.harm == Harm::Freezing && part.share >= WEIGHTY);
    parts.map(|part| part.damage_begins.0).fold(f64::NEG_INFINITY, f64::max)
}

#[cfg(test)]
mod tests {
    use super::super::sample::{crop, staged};
    use super::super::{HarvestHabit, Organ};
    use super::*;
    use CountedFrom::{Division, Seed, Transplant};

    /// Broccoli of the catalogue: 50 to 70 days from setting out, the head more tender than the leaves.
    fn broccoli() -> Crop {
        let parts = [("seedling", -2.2), ("transplant", -2.2), ("leafy", -4.0), ("heading", -2.0)];
        staged("broccoli", &parts, Some((50, 70)), Transplant)
    }

    fn garlic() -> Crop {
        staged("garlic", &[("dormant", -9.0), ("leafy", -7.0), ("bulbing", -7.0)], Some((240, 270)), Division)
    }

    fn lettuce() -> Crop {
        let parts = [("seedling", -1.1), ("transplant", -1.1), ("leafy", -2.0), ("heading", -2.2)];
        staged("lettuce", &parts, Some((70, 90)), Seed)
    }

    #[test]
    fn the_days_of_a_seed_packet_make_the_stages() {
        for (crop, start, days, expected, or) in [
            // The day of setting out, and a date still to come.
            (broccoli(), Transplant, 0, "transplant", vec![]),
            (broccoli(), Transplant, -3, "transplant", vec![]),
            (broccoli(), Transplant, 13, "transplant", vec![]),
            (broccoli(), Transplant, 14, "leafy", vec![]),
            (broccoli(), Transplant, 33, "leafy", vec![]),
            // From two thirds of fifty days on there may be a head; up to two thirds of 140 there need not be.
            (broccoli(), Transplant, 34, "heading", vec!["leafy"]),
            (broccoli(), Transplant, 92, "heading", vec!["leafy"]),
            (broccoli(), Transplant, 94, "heading", vec![]),
            // Sown: four to six weeks more.
            (broccoli(), Seed, 20, "seedling", vec![]),
            (broccoli(), Seed, 51, "seedling", vec!["leafy"]),
            (broccoli(), Seed, 53, "heading", vec!["seedling", "leafy"]),
            (broccoli(), Seed, 300, "heading", vec![]),
            (garlic(), Division, 0, "leafy", vec![]),
            (garlic(), Division, 200, "bulbing", vec!["leafy"]),
            // Set out though its days count from seed: 35 to 62 of them are left.
            (lettuce(), Transplant, 20, "leafy", vec![]),
            // Leaf and head are equally tender: the head is what there is to lose.
            (lettuce(), Transplant, 24, "heading", vec!["leafy"]),
            (lettuce(), Seed, 5, "seedling", vec![]),
            (lettuce(), Seed, 47, "seedling", vec!["leafy", "heading"]),
            (lettuce(), Seed, 70, "heading", vec!["leafy"]),
        ] {
            let stage = by_calendar(&crop, start, None, days);
            let StageFrom::Calendar { or: found, .. } = &stage.from else { panic!("{stage:?}") };
            assert_eq!((stage.name, found), (expected, &or), "{} {start:?} {days}", crop.id);
        }
    }

    #[test]
    fn the_gardens_own_days_take_the_place_of_the_tables() {
        assert_eq!(by_calendar(&broccoli(), Transplant, None, 40).name, "heading");
        assert_eq!(by_calendar(&broccoli(), Transplant, Some((90, 110)), 40).name, "leafy");
    }

    #[test]
    fn of_a_crop_that_no_date_tells_the_most_tender_stage_is_taken() {
        let mut thyme = staged("thyme", &[("transplant", -2.8), ("established", -10.0)], None, Transplant);
        thyme.growing.life = Life::Perennial;
        assert!(!can_tell(&thyme, None) && !can_tell(&thyme, Some((70, 100))));
        assert_eq!(by_calendar(&thyme, Transplant, None, 900).name, "transplant");
        let one = crop("one", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
        assert_eq!(by_calendar(&one, Seed, None, 900).name, "grown");
        let young = staged("young", &[("seedling", -1.0), ("transplant", -2.0)], Some((50, 70)), Transplant);
        assert_eq!(by_calendar(&young, Transplant, None, 900).name, "seedling");
    }
}
