//! How a crop stands: height and width of its leaves.

use super::value::Value;
use crate::crops::Stature;
use crate::units::Limits;

const HEIGHT: Limits =
    Limits { what: "height", low: 0.02, high: 5.0, unit: "m", why: "no leaf of a garden bed is so low, or so high" };
const LEAF_WIDTH: Limits =
    Limits { what: "leaf width", low: 0.003, high: 0.5, unit: "m", why: "a needle is wider, a rhubarb leaf narrower" };

/// `{ height_m = 0.4, leaf_width_m = 0.10 }`: both are needed, for one alone does not say how cold a leaf gets.
pub(super) fn read_stature(value: &Value<'_>) -> Option<Stature> {
    let table = value.table()?;
    let height = table.required("height_m", "height_m = 0.4 (of the upper leaves over the soil)");
    let height = height.and_then(|value| value.number(&HEIGHT));
    let leaf_width = table.required("leaf_width_m", "leaf_width_m = 0.10 (of a leaf or leaflet across)");
    let leaf_width = leaf_width.and_then(|value| value.number(&LEAF_WIDTH));
    table.finish();
    Some(Stature { height: height?, leaf_width: leaf_width? })
}
