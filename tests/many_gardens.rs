//! A thousand gardens are worked out with what their beds share; nothing of it may differ from working out each bed at
//! each hour.

#[path = "bench/evening.rs"]
mod evening;

use evening::{BEDS, Outcome, gardens, plainly, sharing};

#[test]
fn sharing_among_beds_changes_nothing() {
    let mut shared = Vec::new();
    let mut actions = [0; 3];
    for garden in gardens(60) {
        sharing(&garden, &mut shared);
        let plain = plainly(&garden);
        assert_eq!((plain.len(), shared.len()), (BEDS, BEDS));
        for (plain, shared) in plain.iter().zip(&shared) {
            actions[usize::from(plain.action)] += 1;
            // Solved to 1e-9 and 1e-5 °C, from the same start: the same digits but for the wet bulb of an hour that lies
            // within the slack of another.
            assert!((plain.lowest_wet_bulb - shared.lowest_wet_bulb).abs() < 1e-9, "{plain:?} {shared:?}");
            assert!((plain.lowest_leaf - shared.lowest_leaf).abs() < 1e-5, "{plain:?} {shared:?}");
            assert!((plain.chance.0 - shared.chance.0).abs() < 1e-5, "{plain:?} {shared:?}");
            let rest =
                |outcome: &Outcome| (outcome.lowest_air, outcome.lowest_at, outcome.hours_below, outcome.frost_point);
            assert_eq!(rest(plain), rest(shared));
        }
    }
    assert!(actions.iter().all(|count| *count > 100), "the gardens are not varied: {actions:?}");
}
