use super::*;
use proptest::prelude::*;

#[test]
fn the_wave_agrees_with_stepwise_conduction() {
    // 1 m of soil in layers of 1 cm, surface a cosine of amplitude 10 about 5 °C, 20 days to settle.
    let (diffusivity, layer, step) = (5e-7, 0.01, 60.0);
    let mut soil = [5.0; 101];
    let mut lowest = [f64::INFINITY; 101];
    for minute in 0..20 * 1440 {
        soil[0] = 5.0 - 10.0 * (TAU * f64::from(minute) * step / DAY).cos();
        let before = soil;
        for z in 1..100 {
            soil[z] += diffusivity * step / layer / layer * (before[z - 1] - 2.0 * before[z] + before[z + 1]);
        }
        if minute >= 19 * 1440 {
            for (lowest, now) in lowest.iter_mut().zip(soil) {
                *lowest = lowest.min(now);
            }
        }
    }
    for (z, stepwise) in lowest.iter().enumerate().take(31) {
        let share = share_of_the_wave(z as f64 * layer, 1.0, Sides::NONE, diffusivity);
        let Celsius(ours) = soil_minimum(Celsius(5.0), Celsius(-5.0), share);
        assert!((ours - stepwise).abs() < 0.05, "{z} cm: {ours} and stepwise {stepwise}");
    }
}

#[test]
fn the_frost_agrees_with_stepwise_freezing() {
    // Enthalpy in layers of 2 mm, soil at 0 °C and unfrozen, surface held below. Air acts through the n-factor.
    let (layer, step, heat_capacity) = (0.002, 1.0, 2.0e6);
    for (below, hours) in [(1.0, 48.0), (3.0, 12.0), (6.0, 6.0), (6.0, 24.0)] {
        let surface = -below * SURFACE_FACTOR;
        let mut enthalpy = [0.0_f64; 150];
        let temperature = |h: f64| {
            if h < -LATENT_HEAT_OF_SOIL {
                (h + LATENT_HEAT_OF_SOIL) / heat_capacity
            } else {
                h.max(0.0) / heat_capacity
            }
        };
        for _ in 0..(hours * 3600.0 / step) as u32 {
            let t: Vec<f64> = enthalpy.iter().map(|h| temperature(*h)).collect();
            for z in 0..149 {
                // From the surface to the middle of the first layer it is half a layer.
                let above = if z == 0 { 2.0 * (surface - t[0]) } else { t[z - 1] - t[z] };
                enthalpy[z] += FROZEN_CONDUCTIVITY * (above + t[z + 1] - t[z]) / layer / layer * step;
            }
        }
        let frozen: f64 = enthalpy.iter().map(|h| (-h / LATENT_HEAT_OF_SOIL).clamp(0.0, 1.0) * layer).sum();
        let ours = frost_depth(below * hours, 0.0);
        assert!(ours >= frozen * 0.97 && ours <= frozen * 1.06, "{below} K, {hours} h: {ours} and stepwise {frozen}");
    }
}

/// Soil at 0 °C under five days of -3 °C and then a thaw of 2 °C, whose n-factor is 1: what is frozen of it, m.
#[test]
fn a_thaw_leaves_no_less_frost_than_stepwise_thawing() {
    let (layer, step, heat_capacity) = (0.005, 8.0, 2.0e6);
    let mut enthalpy = [0.0_f64; 100];
    let temperature = |h: f64| match h {
        h if h < -LATENT_HEAT_OF_SOIL => (h + LATENT_HEAT_OF_SOIL) / heat_capacity,
        h => h.max(0.0) / heat_capacity,
    };
    let conductivity = |h: f64| if h < 0.0 { FROZEN_CONDUCTIVITY } else { SOIL_CONDUCTIVITY };
    let mut frost = 0.0;
    for hour in 0..5 * 24 + 48 {
        let air = if hour < 5 * 24 { -3.0 } else { 2.0 };
        let surface = if air < 0.0 { air * SURFACE_FACTOR } else { air };
        for _ in 0..(3600.0 / step) as u32 {
            let now: Vec<(f64, f64)> = enthalpy.iter().map(|h| (temperature(*h), conductivity(*h))).collect();
            let flow = |a: (f64, f64), b: (f64, f64)| 2.0 * a.1 * b.1 / (a.1 + b.1) * (a.0 - b.0);
            for z in 0..99 {
                let above = if z == 0 { 2.0 * now[0].1 * (surface - now[0].0) } else { flow(now[z - 1], now[z]) };
                enthalpy[z] += (above - flow(now[z], now[z + 1])) / layer / layer * step;
            }
        }
        frost = frost_left(frost, 1.0, Celsius(air));
        let thawing = hour - 5 * 24 + 1;
        if [6, 12, 24, 48].contains(&thawing) {
            let frozen: f64 = enthalpy.iter().map(|h| (-h / LATENT_HEAT_OF_SOIL).clamp(0.0, 1.0) * layer).sum();
            let ours = frost_depth(frost, 0.0);
            assert!(ours >= frozen && ours < frozen + 0.07, "{thawing} h of thaw: {ours} and stepwise {frozen}");
        }
    }
}

/// Half a raised bed and the ground beside it in cells of 2 cm, from the middle outward; the share of the wave at 5 cm.
fn stepwise_share(width: f64, height: f64, from_side: f64) -> f64 {
    let (cell, diffusivity) = (0.02, 5e-7);
    let cells = |metres: f64| (metres / cell).round() as usize;
    let (bed, wide, high, deep) = (cells(width / 2.0), cells(width / 2.0 + 0.4), cells(height), cells(height + 0.8));
    let is_air = |z: usize, x: usize| z < high && x >= bed;
    let step = 0.22 * cell * cell / diffusivity;
    let mut soil = vec![vec![0.0_f64; wide]; deep];
    let mut lowest: f64 = 0.0;
    let at = ((width / 2.0 - from_side) / cell - 0.5).max(0.0);
    for count in 0..(5.0 * DAY / step) as u32 {
        let time = f64::from(count) * step;
        let air = -(TAU * time / DAY).cos();
        let before = soil.clone();
        let of = |z: usize, x: usize, here: f64| if is_air(z, x) { 2.0 * air - here } else { before[z][x] };
        for z in 0..deep {
            for x in (0..wide).filter(|x| !is_air(z, *x)) {
                let here = before[z][x];
                let up = if z == 0 { 2.0 * air - here } else { of(z - 1, x, here) };
                let down = if z + 1 < deep { of(z + 1, x, here) } else { here };
                let inner = if x == 0 { here } else { of(z, x - 1, here) };
                let outer = if x + 1 < wide { of(z, x + 1, here) } else { here };
                soil[z][x] = here + 0.22 * (up + down + inner + outer - 4.0 * here);
            }
        }
        if time > 4.0 * DAY {
            let (x, part) = (at.floor() as usize, at.fract());
            lowest = lowest.min(soil[2][x] * (1.0 - part) + soil[2][(x + 1).min(bed - 1)] * part);
        }
    }
    -lowest
}

#[test]
fn the_sides_agree_with_stepwise_conduction() {
    for (width, height, from_side) in [(1.2, 0.16, 0.15), (1.2, 0.5, 0.15), (0.6, 0.3, 0.15), (0.4, 0.3, 0.2)] {
        let ours = share_of_the_wave(0.05, 1.0, Sides { width, from_side, height }, 5e-7);
        let stepwise = stepwise_share(width, height, from_side);
        assert!((-0.005..0.05).contains(&(ours - stepwise)), "{width} by {height} m: {ours} and stepwise {stepwise}");
    }
}

#[test]
fn the_mulch_agrees_with_stepwise_conduction() {
    let (layer, step, diffusivity) = (0.01, 60.0, 5e-7);
    for thickness in [0.02, 0.05, 0.1] {
        // From the air through the mulch and half a layer of soil.
        let through =
            1.0 / (thickness / MULCH_CONDUCTIVITY + 0.5 * layer / SOIL_CONDUCTIVITY) * layer / SOIL_CONDUCTIVITY;
        let (mut soil, mut highest) = ([0.0_f64; 100], 0.0_f64);
        for minute in 0..12 * 1440 {
            let air = (TAU * f64::from(minute) * step / DAY).cos();
            let before = soil;
            for z in 0..99 {
                let above = if z == 0 { through * (air - before[0]) } else { before[z - 1] - before[z] };
                soil[z] += diffusivity * step / layer / layer * (above + before[z + 1] - before[z]);
            }
            if minute >= 11 * 1440 {
                highest = highest.max(soil[0]);
            }
        }
        let ours = through_mulch(thickness, diffusivity) * (-0.5 * layer / damping_depth(diffusivity)).exp();
        assert!((ours - highest).abs() < 0.01, "{thickness} m: {ours} and stepwise {highest}");
    }
}

#[test]
fn nothing_unknown_becomes_a_temperature() {
    assert!(soil_minimum(Celsius(f64::NAN), Celsius(0.0), 0.5).0.is_nan());
    assert!(soil_minimum(Celsius(5.0), Celsius(f64::NAN), 0.5).0.is_nan());
}

proptest! {
    #[test]
    fn sides_never_warm_and_mulch_never_cools(
        depth in 0.01f64..0.3, width in 0.05f64..200.0, part in 0.0f64..=0.5, height in 0.0f64..2.0, more in 0.0f64..1.0,
        mulch in 0.0f64..0.5, thicker in 0.0f64..0.3, degree_hours in 0.0f64..2000.0,
    ) {
        let sides = |height| Sides { width, from_side: part * width, height };
        let share = |height, mulch| share_of_the_wave(depth, through_mulch(mulch, 5e-7), sides(height), 5e-7);
        let here = share(height, mulch);
        prop_assert!((0.0..=1.0).contains(&here));
        prop_assert!(share(height + more, mulch) >= here && share(height, mulch + thicker) <= here);
        prop_assert!(here >= share_of_the_wave(depth, through_mulch(mulch, 5e-7), Sides::NONE, 5e-7) - 1e-12);
        prop_assert!(frost_depth(degree_hours, mulch + thicker) <= frost_depth(degree_hours, mulch) + 1e-12);
    }

    #[test]
    fn deeper_soil_is_never_colder_and_never_warmer_than_the_mean(
        mean in -10.0f64..25.0, below in 0.0f64..20.0, depth in 0.0f64..0.5, deeper in 0.0f64..0.5, alpha in 1e-7f64..1e-6,
    ) {
        let share = |depth| share_of_the_wave(depth, 1.0, Sides::NONE, alpha);
        let at = |depth| soil_minimum(Celsius(mean), Celsius(mean - below), share(depth)).0;
        prop_assert!(at(depth) <= at(depth + deeper) && at(depth + deeper) <= mean);
    }
}
