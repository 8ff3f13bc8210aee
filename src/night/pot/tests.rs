use super::*;
use proptest::prelude::*;
use std::f64::consts::TAU;

#[test]
fn the_lag_stays_near_the_whole_series() {
    // Zeros of J0: DLMF table 10.21.1 for the first three, McMahon's expansion beyond (error under 1e-4).
    let zero = |n: u32| match n {
        1 => 2.404826,
        2 => 5.520078,
        3 => 8.653728,
        _ => {
            let b = (f64::from(n) - 0.25) * TAU / 2.0;
            b + 1.0 / (8.0 * b) - 124.0 / (3.0 * (8.0 * b).powi(3))
        }
    };
    let mut worst: (f64, f64) = (0.0, 0.0);
    for percent in 1..400 {
        let time = f64::from(percent) / 100.0;
        let exact: f64 =
            (1..200).map(|n| zero(n).powi(2)).map(|square| 4.0 / square * (-square / SLOWEST_MODE * time).exp()).sum();
        let error = (-time).exp() - exact;
        worst = (worst.0.min(error), worst.1.max(error));
    }
    assert!(worst.0 > -0.001 && (0.19..0.21).contains(&worst.1), "{worst:?}");
}

/// The roots' ring of a long cylinder whose wall takes the air's temperature, in rings of equal width.
fn stepwise(radius: f64, start: f64, air: &[f64]) -> Vec<f64> {
    const RINGS: usize = 20;
    let width = radius / RINGS as f64;
    let middle = |ring: usize| (ring as f64 + 0.5) * width;
    let step = 0.2 * width * width * HEAT_CAPACITY_FROZEN / CONDUCTIVITY_FROZEN;
    let steps = (3600.0 / step).ceil();
    let step = 3600.0 / steps;
    let temperature = |heat: f64| match heat {
        heat if heat > 0.0 => heat / HEAT_CAPACITY,
        heat if heat < -LATENT_HEAT => (heat + LATENT_HEAT) / HEAT_CAPACITY_FROZEN,
        _ => 0.0,
    };
    let conductivity =
        |heat: f64| CONDUCTIVITY + (CONDUCTIVITY_FROZEN - CONDUCTIVITY) * (-heat / LATENT_HEAT).clamp(0.0, 1.0);
    let mut heat = [start * HEAT_CAPACITY; RINGS];
    let at = (radius * inside_of_the_ring(radius).sqrt() / width - 0.5).floor() as usize;
    air.iter()
        .map(|air| {
            for _ in 0..steps as u32 {
                let before = heat;
                // Heat that passes the outer edge of each ring, W per m of height and radian.
                let flow: Vec<f64> = (0..RINGS)
                    .map(|ring| {
                        let edge = (ring as f64 + 1.0) * width;
                        let here = temperature(before[ring]);
                        match before.get(ring + 1) {
                            Some(next) => {
                                let (a, b) = (conductivity(before[ring]), conductivity(*next));
                                edge * 2.0 * a * b / (a + b) * (temperature(*next) - here) / width
                            }
                            None => {
                                let wall = if *air < 0.0 { CONDUCTIVITY_FROZEN } else { CONDUCTIVITY };
                                edge * wall * (air - here) / (0.5 * width)
                            }
                        }
                    })
                    .collect();
                for ring in 0..RINGS {
                    let inner = if ring == 0 { 0.0 } else { flow[ring - 1] };
                    heat[ring] += step * (flow[ring] - inner) / (middle(ring) * width);
                }
            }
            // Between two rings by a straight line.
            let part = (radius * inside_of_the_ring(radius).sqrt() - middle(at)) / width;
            temperature(heat[at]) * (1.0 - part) + temperature(heat[at + 1]) * part
        })
        .collect()
}

#[test]
fn the_ball_agrees_with_stepwise_freezing() {
    let night: Vec<f64> = (0..14).map(|hour| 6.0 - 9.0 * (TAU / 52.0 * f64::from(hour)).sin()).collect();
    let spell: Vec<f64> =
        (0..72).map(|hour| 1.0 - f64::from(hour) / 24.0 - 7.0 * (TAU / 24.0 * f64::from(hour)).sin()).collect();
    for (radius, warm) in [(0.05, 1.0), (0.1, 1.0), (0.15, 1.0), (0.25, 1.6)] {
        for air in [&night, &vec![-5.0; 48], &spell] {
            let ours: Vec<f64> = pot_temperature(Celsius(6.0), air.iter().map(|air| (1.0, Celsius(*air))), radius)
                .map(|Celsius(ball)| ball)
                .collect();
            let exact = stepwise(radius, 6.0, air);
            let lowest = |values: &[f64]| values.iter().copied().fold(f64::INFINITY, f64::min);
            let error = lowest(&ours) - lowest(&exact);
            assert!(error < warm, "{radius} m: lowest {} and stepwise {}", lowest(&ours), lowest(&exact));
            let hourly = ours.iter().zip(&exact).map(|(ours, exact)| ours - exact).fold(0.0, f64::max);
            assert!(hourly < 3.0, "{radius} m: {hourly} too warm for an hour");
        }
    }
}

#[test]
fn nothing_unknown_becomes_a_temperature() {
    let hours = [(1.0, Celsius(f64::NAN)), (1.0, Celsius(5.0)), (1.0, Celsius(-5.0))];
    for start in [5.0, 0.0, -3.0] {
        assert!(pot_temperature(Celsius(start), hours.into_iter(), 0.15).all(|ball| ball.0.is_nan()), "{start}");
    }
}

proptest! {
    #[test]
    fn two_short_steps_are_one_long_one(start in -10.0f64..20.0, air in -20.0f64..20.0, a in 0.1f64..5.0, b in 0.1f64..5.0) {
        let last = |steps: &[(f64, Celsius)]| pot_temperature(Celsius(start), steps.iter().copied(), 0.15).last();
        let (Some(two), Some(one)) = (last(&[(a, Celsius(air)), (b, Celsius(air))]), last(&[(a + b, Celsius(air))]))
        else { return Err(TestCaseError::fail("no step")) };
        prop_assert!((two.0 - one.0).abs() < 1e-6);
        prop_assert!(one.0 >= start.min(air) - 1e-9 && one.0 <= start.max(air).max(0.0) + 1e-9);
    }

    #[test]
    fn colder_air_never_leaves_warmer_roots(
        air in proptest::collection::vec(-15.0f64..15.0, 1..60), by in 0.0f64..5.0, radius in 0.03f64..0.5,
    ) {
        let roots = |by: f64| {
            let hours = air.iter().map(move |air| (1.0, Celsius(air - by)));
            pot_temperature(Celsius(5.0 - by), hours, radius).collect::<Vec<_>>()
        };
        for (milder, colder) in roots(0.0).iter().zip(roots(by)) {
            prop_assert!(colder.0 <= milder.0 + 1e-6, "{} and {}", milder.0, colder.0);
        }
    }
}
