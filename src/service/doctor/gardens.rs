//! What each garden's manager has set that every list depends on.

use super::{Doctor, Finding};
use crate::message;

impl Doctor<'_> {
    /// One line per garden: which mistake it minds more.
    pub(super) fn cautions(&self) -> Vec<Finding> {
        let gardens = self.settings.gardens.iter().map(|settings| &settings.garden);
        gardens
            .map(|garden| {
                let figures =
                    format!("what each would have asked: counterpane replay --garden {} --out FILE", garden.id);
                let caution = message::caution(garden.caution);
                Finding::ok(format!("caution of {}", garden.id), format!("{caution}; {figures}"))
            })
            .collect()
    }
}
