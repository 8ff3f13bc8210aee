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
    let stands = table.optional("stands_days");
    let days = stands.as_ref().and_then(|value| value.count(&STANDS)).and_then(|days| u16::try_from(days).ok());
    let what = text("if_left");
    for (there, other, missing, example) in [
        (stands.is_some(), what.is_some(), "if_left", "if_left = \"turns woody\""),
        (what.is_some(), stands.is_some(), "stands_days", "stands_days = 10"),
    ] {
        if there && !other && table.optional(missing).is_none() {
            table.fault(format!("{missing} is missing in {}", table.name()), "", format!("add {example}"));
        }
    }
    table.finish();
    let past_best = days.zip(what).map(|(days, what)| PastBest { days, what });
    Harvest { better_after_frost, past_best }
}
