//! Entries of covers as a list takes them: what was laid and taken off, and when.

use super::What;
use super::event::Written;
use crate::beds::Garden;
use crate::night::cover::Layers;
use crate::plan::CoverUse;
use crate::plan::before::{Hand, HandOn};

/// What entries say of the covers of a garden, in order of time. Where somebody did not say which cover it was, and the
/// garden has no choice, it is that one.
pub fn hands(garden: &Garden, entries: &[Written]) -> Vec<Hand> {
    let standing = entries.iter().filter(|written| written.stands());
    let hands = standing.filter_map(|Written { entry, .. }| {
        let (bed, on) = match &entry.what {
            What::Covered(laid) => {
                let layers = if laid.layers > 1 { Layers::Two } else { Layers::One };
                let only = match garden.covers.as_slice() {
                    [only] => Some(&only.name),
                    _ => None,
                };
                let title = laid.cover.as_ref().or(only).map(|name| CoverUse::titled(name, layers));
                (&laid.bed, HandOn::Laid(title))
            }
            What::Uncovered(off) => (&off.bed, HandOn::TakenOff),
            _ => return None,
        };
        Some(Hand { at: entry.at, bed: bed.clone(), on })
    });
    hands.collect()
}
