use super::*;
use crate::beds::sample::{bed, cloth, garden};
use crate::message::plain_text;
use crate::plan::said::SaidBed;

/// What is said in the morning of the pots P1 and P2, of which those in `inside` are wanted in again.
fn morning(inside: &[&str]) -> String {
    let garden = garden(["P1", "P2"].map(|id| bed(id, &[])).into(), vec![cloth(1)]);
    let bed = |id: &str| SaidBed {
        bed: id.into(),
        measure: Measure::BringIn,
        cover: None,
        chance: 0.5,
        remaining: 0.0,
        minutes: None,
        reason: None,
        picks: Vec::new(),
        is_picked: false,
        losses: Vec::new(),
    };
    let said = Said { beds: vec![bed("P1"), bed("P2")], ..Said::default() };
    let kept = Kept { covers: Vec::new(), inside: inside.iter().map(|id| (*id).to_string()).collect() };
    let over = NightOver { of: NightOf("2027-01-16".parse().expect("a date")), said: &said, kept: &kept, at_risk: &[] };
    let reader = Reader { role: Role::Volunteer };
    plain_text(&morning_after_letter(&garden, &Catalogue::default(), over, None, None, reader))
}

#[test]
fn pots_that_tonight_wants_inside_stay_there() {
    let text = morning(&["P1", "P2"]);
    assert!(text.contains("LEAVE INSIDE") && text.contains("Tonight wants them in again."), "{text}");
    assert!(!text.to_lowercase().contains("back out"), "{text}");
    let text = morning(&["P2"]);
    let at = |what: &str| text.find(what);
    assert!(at("LEAVE INSIDE") < at("[ ] P2") && at("[ ] P2") < at("CARRY THE POTS BACK OUT"), "{text}");
    assert!(at("CARRY THE POTS BACK OUT") < at("[ ] P1"), "{text}");
    let text = morning(&[]);
    assert!(text.contains("CARRY THE POTS BACK OUT") && !text.contains("LEAVE INSIDE"), "{text}");
}
