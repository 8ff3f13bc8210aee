//! What about a garden is worth a second look before any frost: soil too shallow for its roots, plants too close, and
//! settings that can be meant as they stand, and mostly are slips.

use super::harvest;
use crate::beds::Garden;
use crate::crops::{Catalogue, Crop, Life, Organ};
use crate::risk::pieces_for;
use crate::rounds::{RoundKind, Timetable, next_round, night_hours};
use crate::zone::NightOf;
use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, Utc};

/// One thing that can be meant; a remark, never a fault.
#[derive(Clone, Debug, PartialEq)]
pub enum Remark {
    /// The soil is shallower than a root crop wants, both in m.
    Shallow { bed: String, crop: String, depth: f64, wants: f64 },
    /// Each plant has less room across than it grows to, both in m.
    Close { bed: String, crop: String, room: f64, spread: f64 },
    /// A crop stands there more than once, and neither cultivar nor date tells its sowings apart.
    Alike { bed: String, crop: String },
    /// A side is longer than a bed worked by hand is, m.
    Long { bed: String, side: f64 },
    /// It was planted longer ago than its kind lives, days.
    Old { bed: String, crop: String, planted: NaiveDate, days: i64 },
    /// No bed is covered by as many pieces as there are.
    SmallCover { cover: String, count: u32 },
    /// A crew without minutes or people.
    NobodyWorks,
    /// The zone is no place's, and knows no summer time.
    NoPlace { zone: String },
    /// On the shortest day the list for the afternoon is made when the work should be done already.
    LateList { made_at: DateTime<Utc>, deadline: DateTime<Utc> },
}

/// Plants in rows stand closer one way than the other, and their leaves meet before they hinder each other: below this
/// part of a plant's spread its room is worth a remark (assumed).
const TOO_CLOSE: f64 = 0.75;

/// A bed longer than this, m, is rather one whose size was written in centimetres or feet (common practice: beds worked by
/// hand are 1 to 2 m wide and up to some 15 m long).
const LONG: f64 = 40.0;

/// Names of zones that stand for one offset all the year (the zone database's own, for old systems).
const NO_PLACES: [&str; 7] = ["EST", "MST", "HST", "WET", "CET", "EET", "MET"];

/// The remarks on a garden at a day, in its order, the garden's own first. Of soil and room only what its manager has
/// measured or counted is judged.
pub fn remarks(garden: &Garden, catalogue: &Catalogue, timetable: &Timetable, today: NaiveDate) -> Vec<Remark> {
    let mut remarks = of_the_whole(garden, timetable, today);
    for bed in &garden.beds {
        let side = bed.length.max(bed.width);
        if side > LONG {
            remarks.push(Remark::Long { bed: bed.title(), side });
        }
        let mut alike: Vec<&str> = Vec::new();
        for planting in &bed.plantings {
            let Some(crop) = catalogue.crops.get(&planting.crop) else { continue };
            let is_twice = bed.plantings_of(&planting.crop).count() > 1;
            if is_twice && bed.sowing_of(planting).is_none() && !alike.contains(&planting.crop.as_str()) {
                alike.push(&planting.crop);
                remarks.push(Remark::Alike { bed: bed.title(), crop: crop.name.clone() });
            }
            let (title, name) = (bed.title(), crop.name.clone());
            if let Some(planted) = planting.planted {
                let days = (today - planted).num_days();
                if lives_for(crop.growing.life).is_some_and(|most| days > most) {
                    remarks.push(Remark::Old { bed: title.clone(), crop: name.clone(), planted, days });
                }
            }
            let wants = crop.growing.bed_depth;
            if let Some(depth) = bed.soil_depth.filter(|depth| is_root_crop(crop) && *depth < wants - 1e-9) {
                remarks.push(Remark::Shallow { bed: title.clone(), crop: name.clone(), depth, wants });
            }
            let spread = crop.growing.spread;
            if planting.plants.is_some() {
                let area = bed.area() * planting.part_of_bed;
                let room = (area / harvest::plants(bed, planting, crop)).sqrt();
                if room < TOO_CLOSE * spread {
                    remarks.push(Remark::Close { bed: title, crop: name, room, spread });
                }
            }
        }
    }
    remarks
}

/// What is not about one bed.
fn of_the_whole(garden: &Garden, timetable: &Timetable, today: NaiveDate) -> Vec<Remark> {
    let mut remarks = Vec::new();
    // An offset under a name, of a clock that is never put forward; `UTC` stands for itself.
    let zone = garden.zone.name();
    if NO_PLACES.contains(&zone) || zone.starts_with("Etc/") {
        remarks.push(Remark::NoPlace { zone: zone.to_string() });
    }
    if garden.crew.is_some_and(|crew| crew.person_minutes().0 <= 0.0) {
        remarks.push(Remark::NobodyWorks);
    }
    for stock in garden.covers.iter().filter(|stock| stock.count > 0) {
        if !garden.beds.is_empty() && garden.beds.iter().all(|bed| pieces_for(bed, stock) > stock.count) {
            remarks.push(Remark::SmallCover { cover: stock.name.clone(), count: stock.count });
        }
    }
    remarks.extend(late_list(garden, timetable, today));
    remarks
}

/// Whether the afternoon's list comes in time on the coming shortest day; nothing where it is never made.
fn late_list(garden: &Garden, timetable: &Timetable, today: NaiveDate) -> Option<Remark> {
    let month = if garden.site.latitude < 0.0 { 6 } else { 12 };
    let of_year = |year| NaiveDate::from_ymd_opt(year, month, 21);
    let shortest = of_year(today.year()).filter(|day| *day >= today).or_else(|| of_year(today.year() + 1))?;
    let deadline = night_hours(&garden.site, &garden.zone, NightOf(shortest)).0 - garden.finish_before_sunset;
    let mut after = garden.zone.instant(shortest.and_time(NaiveTime::MIN));
    // The rounds of a day are four, and clock times may name several more.
    let made = (0..24).find_map(|_| {
        let round = next_round(timetable, &garden.site, &garden.zone, after)?;
        after = round.due;
        (round.kind == RoundKind::Afternoon).then_some(round)
    })?;
    let is_late = made.night == NightOf(shortest) && made.due >= deadline;
    is_late.then_some(Remark::LateList { made_at: made.due, deadline })
}

/// Days after which a plant of its kind is gone, with room for what stands over a winter; none for what stays.
fn lives_for(life: Life) -> Option<i64> {
    match life {
        Life::Annual => Some(400),
        Life::Biennial => Some(800),
        Life::Perennial => None,
    }
}

fn is_root_crop(crop: &Crop) -> bool {
    crop.tolerances.iter().any(|tolerance| matches!(tolerance.organ, Organ::Root | Organ::Tuber))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beds::sample::{bed, cloth, garden};
    use crate::beds::{CoverStock, Crew};
    use crate::crops::HarvestHabit;
    use crate::crops::sample::crop;
    use crate::rounds::{AllQuiet, parse_schedule};
    use crate::units::Minutes;
    use crate::zone::Zone;

    const TODAY: NaiveDate = NaiveDate::from_ymd_opt(2026, 11, 27).expect("a date");

    fn timetable(afternoon: &str) -> Timetable {
        let schedule = |text: &str| parse_schedule(text).expect("a time");
        Timetable { morning: schedule("06:30"), afternoon: schedule(afternoon), all_quiet: AllQuiet::Weekly }
    }

    fn remarks_of(garden: &Garden) -> Vec<Remark> {
        super::remarks(garden, &Catalogue::default(), &timetable("13:00"), TODAY)
    }

    /// Remarks on a bed of 2.88 m² with one crop of 0.3 m spread that wants 0.3 m of soil.
    fn remarks_on(organ: Organ, depth: Option<f64>, plants: Option<u32>) -> Vec<Remark> {
        let crop = crop("carrot", HarvestHabit::RootAsWanted, Life::Biennial, &[(organ, 1.0, None)]);
        let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
        let mut bed = bed("R1", &[("carrot", "grown")]);
        (bed.soil_depth, bed.plantings[0].plants) = (depth, plants);
        remarks(&garden(vec![bed], Vec::new()), &catalogue, &timetable("13:00"), TODAY)
    }

    #[test]
    fn roots_want_their_depth_and_leaves_do_not() {
        assert_eq!(remarks_on(Organ::Root, Some(0.3), None), []);
        let shallow = Remark::Shallow { bed: "R1".into(), crop: "carrot".into(), depth: 0.29, wants: 0.3 };
        assert_eq!(remarks_on(Organ::Root, Some(0.29), None), [shallow]);
        assert_eq!(remarks_on(Organ::Leaf, Some(0.29), None), []);
        assert_eq!(remarks_on(Organ::Root, None, None), []);
    }

    /// 56 plants on 2.88 m² have 0.227 m each, 57 have 0.2248: below three quarters of 0.3 m.
    #[test]
    fn plants_that_were_counted_want_their_room() {
        assert_eq!(remarks_on(Organ::Leaf, None, Some(56)), []);
        let found = remarks_on(Organ::Leaf, None, Some(57));
        assert!(matches!(found.as_slice(), [Remark::Close { room, .. }] if (room - 0.2248).abs() < 1e-3), "{found:?}");
    }

    #[test]
    fn what_was_planted_longer_ago_than_it_lives_is_asked_about() {
        for (life, day, is_old) in [
            (Life::Annual, "2025-11-01", false),
            (Life::Annual, "2023-11-01", true),
            (Life::Biennial, "2025-03-01", false),
            (Life::Biennial, "2023-11-01", true),
            (Life::Perennial, "2003-11-01", false),
        ] {
            let crop = crop("mustard", HarvestHabit::RootAsWanted, life, &[(Organ::Leaf, 1.0, None)]);
            let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
            let mut bed = bed("R1", &[("mustard", "grown")]);
            bed.plantings[0].planted = Some(day.parse().expect("a date"));
            let found = remarks(&garden(vec![bed], Vec::new()), &catalogue, &timetable("13:00"), TODAY);
            assert_eq!(matches!(found.as_slice(), [Remark::Old { .. }]), is_old, "{life:?} {day}: {found:?}");
        }
    }

    #[test]
    fn sowings_that_nothing_tells_apart_are_remarked_on_once() {
        let crop = crop("carrot", HarvestHabit::RootAsWanted, Life::Biennial, &[(Organ::Leaf, 1.0, None)]);
        let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
        let remarks_on = |cultivars: [Option<&str>; 2]| {
            let mut bed = bed("R1", &[("carrot", "grown"), ("carrot", "grown")]);
            for (planting, cultivar) in bed.plantings.iter_mut().zip(cultivars) {
                planting.cultivar = cultivar.map(str::to_string);
            }
            remarks(&garden(vec![bed], Vec::new()), &catalogue, &timetable("13:00"), TODAY)
        };
        let alike = || vec![Remark::Alike { bed: "R1".into(), crop: "carrot".into() }];
        assert_eq!(remarks_on([None, None]), alike());
        assert_eq!(remarks_on([Some("Nantes"), Some("nantes")]), alike());
        assert_eq!(remarks_on([Some("Nantes"), None]), alike());
        assert_eq!(remarks_on([Some("Nantes"), Some("Autumn King")]), []);
    }

    #[test]
    fn sizes_that_are_rather_centimetres_are_asked_about() {
        let mut long = bed("R1", &[]);
        long.length = 120.0;
        let sheet = CoverStock { name: "sheet".into(), length: 0.4, width: 0.4, ..cloth(2) };
        let garden = garden(vec![long, bed("R2", &[])], vec![sheet, cloth(2)]);
        let found = remarks_of(&garden);
        let long = Remark::Long { bed: garden.beds[0].title(), side: 120.0 };
        assert_eq!(found, [Remark::SmallCover { cover: "sheet".into(), count: 2 }, long]);
    }

    #[test]
    fn a_crew_without_minutes_and_a_zone_of_no_place_are_asked_about() {
        let mut garden = garden(vec![bed("R1", &[])], Vec::new());
        assert_eq!(remarks_of(&garden), []);
        garden.crew = Some(Crew { people: 2, minutes: Minutes(0.0) });
        for (zone, is_place) in [("EST", false), ("Etc/GMT+5", false), ("EST5EDT", true), ("America/New_York", true)] {
            garden.zone = zone.parse().ok().and_then(Zone::bundled).expect("a zone");
            let remark = (!is_place).then(|| Remark::NoPlace { zone: zone.into() });
            assert_eq!(remarks_of(&garden), remark.into_iter().chain([Remark::NobodyWorks]).collect::<Vec<_>>());
        }
    }

    /// On the shortest day at 36 N the sun sets near 17:00.
    #[test]
    fn a_list_made_after_its_own_deadline_is_asked_about() {
        let garden = garden(vec![bed("R1", &[])], Vec::new());
        for (afternoon, is_late) in [("13:00", false), ("16:00", false), ("17:30", true), ("22:00", true)] {
            let found = remarks(&garden, &Catalogue::default(), &timetable(afternoon), TODAY);
            assert_eq!(matches!(found.as_slice(), [Remark::LateList { .. }]), is_late, "{afternoon}: {found:?}");
        }
    }
}
