//! What to do with a crop after a frost: when to look, what harm looks like, what not to do, what may be eaten.

use super::{Catalogue, Crop, Evidence, HarvestHabit};
use crate::words::words;

/// Advice for a class of crops that frost harms alike.
#[derive(Clone, Debug, PartialEq)]
pub struct AfterFrost {
    /// The heading of the class in its file.
    pub class: String,
    /// Crops of the class by identifier.
    pub crops: Vec<String>,
    /// Crops that no class names belong here by how they are taken.
    pub harvested: Vec<HarvestHabit>,
    /// Only plants in these stages belong here; in any where there are none.
    pub stages: Vec<String>,
    /// What to do with plants that are harmed.
    pub then: Then,
    /// Sign and step in one sentence, for somebody with cold hands.
    pub short: String,
    /// What harm looks like, and when it shows.
    pub injury: String,
    /// What not to do.
    pub do_not: Option<String>,
    /// Whether what froze may be eaten.
    pub food: Option<String>,
    /// A later look than those of the first two weeks, where harm shows later still.
    pub look_again: Option<String>,
    pub evidence: Evidence,
    /// Keys into the bibliography.
    pub sources: Vec<String>,
}

/// What to do with plants that are harmed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Then {
    /// Leave them: they come again, or it cannot be told yet.
    Wait,
    /// Pick what is sound, now.
    Pick,
    /// They are lost: clear them before they rot.
    Pull,
    /// They are lost, and there is time to sow again.
    Resow,
}

words!(Then { Wait = "wait", Pick = "pick", Pull = "pull", Resow = "resow" });

impl Catalogue {
    /// The advice for a crop in a stage. Classes for that stage come before those for any, and those that name the crop
    /// before those for crops that are taken like it.
    pub fn after_frost(&self, crop: &Crop, stage: &str) -> Option<&AfterFrost> {
        let rank = |class: &AfterFrost| {
            let named = class.crops.contains(&crop.id);
            let at_stage = class.stages.iter().any(|at| at == stage);
            let fits =
                (named || class.harvested.contains(&crop.growing.harvested)) && (at_stage || class.stages.is_empty());
            fits.then_some((!at_stage, !named))
        };
        // Of equals the first in the file.
        let ranked = self.after_frost.iter().filter_map(|class| Some((rank(class)?, class)));
        ranked.min_by_key(|(rank, _)| *rank).map(|(_, class)| class)
    }
}
