//! The table `[harvest]` at the end of a crop file.

use super::super::reader::Table;
use crate::crops::{Harvest, PastBest};
use crate::units::Limits;

const STANDS: Limits =
    Limits { what: "days", low: 1.0, high: 60.0, unit: "days", why: "what stands longer needs no reminder" };

/// Reads `[harvest]`, which may be left out.
pub(super) fn read_harvest(root: &Table<'_>) -> Harvest {
    let Some(table) = root.table("harvest") else { return Harvest::default() };
    let text = |key: &'static str| table.optional(key).and_then(|value| value.text()).map(str::to_string);
    let better_after_frost = text("better_after_frost");
    let (stands, if_left) = (table.optional("stands_days"), table.optional("if_left"));
    match (&stands, &if_left) {
        (Some(_), None) => drop(table.required("if_left", "if_left = \"turns woody\"")),
        (None, Some(_)) => drop(table.required("stands_days", "stands_days = 10")),
        _ => {}
    }
    let days = stands.and_then(|value| value.count(&STANDS)).and_then(|days| u16::try_from(days).ok());
    let what = if_left.and_then(|value| value.text()).map(str::to_string);
    table.finish();
    let past_best = days.zip(what).map(|(days, what)| PastBest { days, what });
    Harvest { better_after_frost, past_best }
}
