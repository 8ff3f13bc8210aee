use super::*;
use crate::beds::sample::{bed, cloth, garden};
use crate::beds::{Bed, Crew, Garden};
use crate::crops::sample::crop;
use crate::crops::{Catalogue, HarvestHabit, Life, Organ};
use crate::night::NoNight;
use crate::night::cover::Layers;
use crate::plan::CoverUse;
use crate::plan::said::Elsewhere;
use crate::risk::assess;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, NaiveDate};

/// The page of a garden whose beds are all to be covered, but for the last, which is left.
fn page(rows: Vec<Bed>, change: impl FnOnce(&mut Garden)) -> String {
    page_of(rows, change, |_| {})
}

/// The same, of a plan that was changed.
fn page_of(rows: Vec<Bed>, change: impl FnOnce(&mut Garden), measures: impl FnOnce(&mut Plan<'_>)) -> String {
    let crop = crop("kale", HarvestHabit::Whole, Life::Annual, &[(Organ::Leaf, 1.0, None)]);
    let catalogue = Catalogue { crops: [(crop.id.clone(), crop)].into(), ..Catalogue::default() };
    let mut garden = garden(rows, vec![cloth(2)]);
    change(&mut garden);
    let of = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    let sunset = DateTime::UNIX_EPOCH + Duration::days(20_834) + Duration::hours(22);
    let risks = assess(&garden, of, None, &catalogue);
    let now = sunset - Duration::hours(4);
    let mut plan =
        crate::plan::decide(&garden, of, sunset, Err(NoNight::NoForecast), risks, crate::plan::Before::default(), now);
    let last = plan.beds.len() - 1;
    for (index, bed) in plan.beds.iter_mut().enumerate() {
        bed.measure = if index == last { Measure::Leave } else { Measure::Cover };
        let name = garden.covers[0].name.clone();
        bed.cover =
            (index < last).then_some(CoverUse { name, stock: 0, pieces: 1, layers: Layers::One, together_with: None });
        bed.do_by = (index < last).then_some(plan.deadline);
        (bed.work, bed.tonight) = (Minutes(8.0), Minutes(5.0));
    }
    measures(&mut plan);
    hand_out(&plan)
}

fn beds(count: usize) -> Vec<Bed> {
    (1..=count).map(|number| bed(&format!("R{number}"), &[("kale", "grown")])).collect()
}

#[test]
fn each_bed_with_work_has_a_row_with_what_by_when_how_long_and_who() {
    let page = page(beds(3), |garden| garden.crew = Some(Crew { people: 2, minutes: Minutes(30.0) }));
    assert_eq!(page.matches("class=\"tick\"").count(), 2, "{page}");
    for said in [
        "<strong>R1</strong>",
        "Cover with: white cloth.",
        ">16:30<",
        ">5<",
        ">1<",
        ">2<",
        "At risk, left as they are: R3.",
    ] {
        assert!(page.contains(said), "no {said:?} in {page}");
    }
    // Their heading stands once, in the part that a browser repeats on each page.
    assert_eq!(page.split("</thead>").next().map(|head| head.matches("The plot").count()), Some(1));
    assert_eq!(page.matches("Cover, and weigh the edges down").count(), 1);
}

/// Who goes to the shed must know what is not there.
#[test]
fn covers_that_another_garden_has_are_said_to_be_there() {
    for (pieces, of, said) in [
        (3, 5, "3 of 5 pieces of white cloth are at Hillside tonight."),
        (1, 5, "1 of 5 pieces of white cloth is at Hillside tonight."),
        (5, 5, "All 5 pieces of white cloth are at Hillside tonight."),
        (2, 2, "Both pieces of white cloth are at Hillside tonight."),
        (1, 1, "The only piece of white cloth is at Hillside tonight."),
    ] {
        let away = Elsewhere { stock: 0, garden: "Hillside".into(), pieces };
        let page = page_of(beds(3), |garden| garden.covers[0].count = of, |plan| plan.elsewhere = vec![away]);
        assert!(page.contains(said), "no {said:?} in {page}");
    }
}

#[test]
fn one_piece_over_two_beds_has_one_row() {
    let two_people = |garden: &mut Garden| garden.crew = Some(Crew { people: 2, minutes: Minutes(30.0) });
    let page = page_of(beds(4), two_people, |plan| {
        for (bed, (pieces, other)) in plan.beds.iter_mut().zip([(1, "R2"), (0, "R1")]) {
            bed.tonight = Minutes(if pieces == 1 { 8.0 } else { 0.0 });
            bed.cover = bed.cover.take().map(|cover| CoverUse { pieces, together_with: Some(other.into()), ..cover });
        }
    });
    assert_eq!(page.matches("class=\"tick\"").count(), 2, "{page}");
    assert!(page.contains("<strong>R1 and R2, one piece</strong>"), "{page}");
}

#[test]
fn names_are_only_names() {
    let wicked = "<script>alert(1)</script> \"&'";
    let mut rows = beds(2);
    rows[0].name = Some(wicked.into());
    let page = page(rows, |garden| {
        garden.name = wicked.into();
        garden.covers[0].name = wicked.into();
    });
    assert!(!page.contains("<script") && !page.contains("\"&'"), "{page}");
    assert_eq!(page.matches("&#60;script&#62;").count(), 3, "{page}");
}

#[test]
fn it_needs_nothing_else_and_names_no_paper() {
    let page = page(beds(3), |_| {});
    for foreign in ["http", "<img", "url(", "<script", " size:", "background-color", "A4", "letter;"] {
        assert!(!page.contains(foreign), "{foreign}");
    }
}

/// What a mail may take: a page of 500 beds is a tenth of what relays refuse.
#[test]
fn a_garden_of_a_list_full_of_beds_stays_small() {
    assert!(page(beds(15), |_| {}).len() < 12_000);
    assert!(page(beds(500), |_| {}).len() < 300_000);
}
