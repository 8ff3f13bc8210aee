//! What to do at a bed.

use super::sentences::minutes;
use crate::beds::named;
use crate::night::cover::Layers;
use crate::plan::{BedPlan, Measure, Pick};

/// What to do at a bed.
pub(super) fn instructions(bed: &BedPlan<'_>) -> Vec<String> {
    let mut lines: Vec<String> = bed
        .picks
        .iter()
        .map(|pick| {
            let sowings = (!pick.sowings.is_empty()).then(|| pick.sowings.join(", "));
            let crop = named(&super::letter::capitalised(&pick.crop), sowings);
            format!("{crop}: {} {}", uncapitalised(&pick.instruction), size(pick))
        })
        .collect();
    if let Some(cover) = &bed.cover {
        let what = match (cover.layers, cover.pieces_per_layer()) {
            // One piece over two beds: each of them says so.
            _ if cover.together_with.is_some() => cover.title(),
            (Layers::One, 1) | (Layers::Two, 1) => cover.title(),
            (Layers::One, pieces) => format!("{pieces} pieces of {}", cover.name),
            (Layers::Two, pieces) => format!("{}, {pieces} pieces side by side in each", cover.title()),
        };
        let (verb, edges) = if bed.measure == Measure::Harvest {
            ("Then cover with", ", edges down to the ground")
        } else {
            ("Cover with", "")
        };
        lines.push(format!("{verb}: {what}{edges}."));
    }
    // From last night, or laid by day.
    if bed.is_out {
        lines.push(if bed.measure == Measure::BringIn {
            "Inside since last night: leave it there.".into()
        } else {
            "It lies there already: see that it is closed, its edges down.".into()
        });
    }
    lines
}

/// "About 8 plants, 4 minutes."
fn size(pick: &Pick) -> String {
    // Less than a minute is one, by the time the knife is found.
    let time = minutes(pick.work.0.max(1.0).ceil());
    match pick.plants {
        Some(1) => format!("1 plant, {time}."),
        Some(plants) => format!("About {plants} plants, {time}."),
        None => format!("About {time}."),
    }
}

fn uncapitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().chain(letters).collect())
}
