//! Beds and gardens for tests.

use super::{Bed, BedKind, Caution, CoverStock, Garden, Hardened, Planting};
use crate::night::cover::CoverKind;
use crate::night::exposure::Exposure;
use crate::units::{Minutes, Scale};
use crate::weather::Site;
use crate::zone::Zone;
use chrono::Duration;

/// A garden at 36 N, 80 W, where a square metre is worth 20 minutes.
pub(crate) fn garden(beds: Vec<Bed>, covers: Vec<CoverStock>) -> Garden {
    Garden {
        id: "plot".into(),
        name: "The plot".into(),
        site: Site { latitude: 36.0, longitude: -80.0, elevation: 250.0 },
        zone: Zone::bundled(chrono_tz::America::New_York).expect("its rules are bundled"),
        shown: Scale::Celsius,
        offset: None,
        finish_before_sunset: Duration::minutes(30),
        worth_per_square_metre: Minutes(20.0),
        caution: Caution::Even,
        people: Vec::new(),
        covers,
        beds,
        crew: None,
        own_figures: Vec::new(),
        learned: Default::default(),
    }
}

/// A raised bed of 2.4 by 1.2 m in the open, shared evenly by the crops that are named with their stage.
pub(crate) fn bed(id: &str, crops: &[(&str, &str)]) -> Bed {
    let planting = |(crop, stage): &(&str, &str)| Planting {
        crop: (*crop).into(),
        cultivar: None,
        stage: Some((*stage).into()),
        hardened: Some(Hardened::No),
        planted: None,
        start: None,
        raised: None,
        part_of_bed: 1.0 / crops.len() as f64,
        plants: None,
        worth: None,
    };
    Bed {
        id: id.into(),
        name: None,
        kind: BedKind::Raised,
        length: 2.4,
        width: 1.2,
        height: Bed::RAISED,
        mulch: 0.0,
        exposure: Exposure::Open,
        soil_depth: None,
        offset: None,
        learned_offset: None,
        beside: None,
        path: Bed::PATH,
        plantings: crops.iter().map(planting).collect(),
    }
}

/// Medium row cover of 3.6 by 2.4 m.
pub(crate) fn cloth(count: u32) -> CoverStock {
    CoverStock {
        name: "white cloth".into(),
        kind: CoverKind::MediumRowCover,
        count,
        length: 3.6,
        width: 2.4,
        rests_on_plants: false,
        shared_with: Vec::new(),
    }
}
