//! What about a bed is worth a second look before any frost: soil too shallow for its roots, plants too close.

use super::harvest;
use crate::beds::Garden;
use crate::crops::{Catalogue, Crop, Organ};

/// One thing about one planting; a remark, never a fault.
#[derive(Clone, Debug, PartialEq)]
pub enum BedRemark {
    /// The soil is shallower than a root crop wants, both in m.
    Shallow { bed: String, crop: String, depth: f64, wants: f64 },
    /// Each plant has less room across than it grows to, both in m.
    Close { bed: String, crop: String, room: f64, spread: f64 },
}

/// Plants in rows stand closer one way than the other, and their leaves meet before they hinder each other: below this
/// part of a plant's spread its room is worth a remark (assumed).
const TOO_CLOSE: f64 = 0.75;

/// The remarks on a garden, in its order. Only what its manager has measured or counted is judged.
pub fn remarks(garden: &Garden, catalogue: &Catalogue) -> Vec<BedRemark> {
    let mut remarks = Vec::new();
    for bed in &garden.beds {
        for planting in &bed.plantings {
            let Some(crop) = catalogue.crops.get(&planting.crop) else { continue };
            let (title, name) = (bed.title(), crop.name.clone());
            let wants = crop.growing.bed_depth;
            if let Some(depth) = bed.soil_depth.filter(|depth| is_root_crop(crop) && *depth < wants - 1e-9) {
                remarks.push(BedRemark::Shallow { bed: title.clone(), crop: name.clone(), depth, wants });
            }
            let spread = crop.growing.spread;
            if planting.plants.is_some() {
                let area = bed.area() * planting.part_of_bed;
                let room = (area / harvest::plants(bed, planting, crop)).sqrt();
                if room < TOO_CLOSE * spread {
                    remarks.push(BedRemark::Close { bed: title, crop: name, room, spread });
                }
            }
        }
    }
    remarks
}

fn is_root_crop(crop: &Crop) -> bool {
    crop.tolerances.iter().any(|tolerance| matches!(tolerance.organ, Organ::Root | Organ::Tuber))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beds::sample::{bed, garden};
    use crate::crops::sample::crop;
    use crate::crops::{HarvestHabit, Life};

    /// Remarks on a bed of 2.88 m² with one crop of 0.3 m spread that wants 0.3 m of soil.
    fn remarks_on(organ: Organ, depth: Option<f64>, plants: Option<u32>) -> Vec<BedRemark> {
        let crop = crop("carrot", HarvestHabit::RootAsWanted, Life::Biennial, &[(organ, 1.0, None)]);
        let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
        let mut bed = bed("R1", &[("carrot", "grown")]);
        (bed.soil_depth, bed.plantings[0].plants) = (depth, plants);
        remarks(&garden(vec![bed], Vec::new()), &catalogue)
    }

    #[test]
    fn roots_want_their_depth_and_leaves_do_not() {
        assert_eq!(remarks_on(Organ::Root, Some(0.3), None), []);
        let shallow = BedRemark::Shallow { bed: "R1".into(), crop: "carrot".into(), depth: 0.29, wants: 0.3 };
        assert_eq!(remarks_on(Organ::Root, Some(0.29), None), [shallow]);
        assert_eq!(remarks_on(Organ::Leaf, Some(0.29), None), []);
        assert_eq!(remarks_on(Organ::Root, None, None), []);
    }

    /// 56 plants on 2.88 m² have 0.227 m each, 57 have 0.2248: below three quarters of 0.3 m.
    #[test]
    fn plants_that_were_counted_want_their_room() {
        assert_eq!(remarks_on(Organ::Leaf, None, Some(56)), []);
        let found = remarks_on(Organ::Leaf, None, Some(57));
        assert!(
            matches!(found.as_slice(), [BedRemark::Close { room, .. }] if (room - 0.2248).abs() < 1e-3),
            "{found:?}"
        );
    }
}
