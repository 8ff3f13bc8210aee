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
    /// The advice for a crop: of the class that names it, else of the one for crops that are taken like it.
    pub fn after_frost(&self, crop: &Crop) -> Option<&AfterFrost> {
        let named = self.after_frost.iter().find(|class| class.crops.contains(&crop.id));
        named.or_else(|| self.after_frost.iter().find(|class| class.harvested.contains(&crop.growing.harvested)))
    }
}
