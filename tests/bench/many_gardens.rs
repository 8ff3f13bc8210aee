//! A thousand gardens of forty beds over a week, on one thread: `cargo bench --bench many_gardens`.
//!
//! Of each bed: lowest air and its hour, hours below a threshold, lowest wet bulb by the psychrometric equation with ice
//! below zero, frost point, lowest leaf by the energy balance, chance of damage with the spread of the night, and what to
//! do. The air of a bed is that of the garden and an offset, by how clear and calm each hour is.
//!
//! The limit of working out every bed at every hour is exponentials and powers: a wet bulb takes four exponentials, a leaf
//! about eight and a power, which is some 100 ns before anything else is done. With what beds share, nearly all hours are
//! struck out by comparisons; a profile has a fifth of the time in exponentials and powers, about one for three bed-hours.
//! The rest is arithmetic on each bed's air, and the few leaves and wet bulbs that may be the lowest. `evening.rs` says why
//! nothing is lost by it.
//!
//! `COUNTERPANE_PEER=SCRIPT` runs another program beside it, `python3 SCRIPT 1000 5`, which does the same work in its own
//! way and prints `... ns per bed-hour`; both figures then come out of one run of one machine.

mod evening;

use evening::{BEDS, HOURS, gardens, plainly, sharing};
use std::hint::black_box;
use std::process::Command;
use std::time::Instant;

const GARDENS: usize = 1000;
const RUNS: usize = 7;

fn main() {
    let gardens = gardens(GARDENS);
    let mut outcomes = Vec::new();
    let ours = best(RUNS, GARDENS, || {
        for garden in &gardens {
            sharing(black_box(garden), &mut outcomes);
            black_box(&outcomes);
        }
    });
    let plain = best(2, GARDENS / 20, || {
        for garden in &gardens[..GARDENS / 20] {
            black_box(plainly(black_box(garden)));
        }
    });
    println!(
        "{GARDENS} gardens, {BEDS} beds, {HOURS} hours; nanoseconds per bed-hour, best of {RUNS} runs, one thread"
    );
    println!("with what beds share     {ours:8.2}");
    println!("every bed at every hour  {plain:8.2}");
    exponential();
    if let Some(peer) = std::env::var_os("COUNTERPANE_PEER") {
        let peer = peer_figure(&peer);
        println!("peer                     {peer:8.2}   {:.1} times ours", peer / ours);
    }
}

/// The least time of some runs, in nanoseconds per bed-hour.
fn best(runs: usize, gardens: usize, mut work: impl FnMut()) -> f64 {
    let took = |_| {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64()
    };
    let least = (0..runs).map(took).fold(f64::INFINITY, f64::min);
    least * 1e9 / (gardens * BEDS * HOURS) as f64
}

/// What one exponential and one power cost here: the limit of a plain calculation, which needs several of each per hour.
fn exponential() {
    let values: Vec<f64> = (0..10_000).map(|n| f64::from(n) / 10_000.0).collect();
    let nanoseconds = |of: fn(f64) -> f64| {
        let run = |_| {
            let start = Instant::now();
            black_box(values.iter().map(|value| of(*black_box(value))).sum::<f64>());
            start.elapsed().as_secs_f64() * 1e9 / values.len() as f64
        };
        (0..20).map(run).fold(f64::INFINITY, f64::min)
    };
    println!("one exp                  {:8.2}", nanoseconds(f64::exp));
    println!("one pow                  {:8.2}", nanoseconds(|value| value.powf(1.0 / 7.0)));
}

fn peer_figure(script: &std::ffi::OsStr) -> f64 {
    let output = Command::new("python3").arg(script).args(["1000", "5"]).output().expect("python3 runs");
    let text = String::from_utf8_lossy(&output.stdout);
    let before = text.split(" ns per bed-hour").next().and_then(|text| text.split_whitespace().last());
    before.and_then(|figure| figure.parse().ok()).unwrap_or_else(|| panic!("no figure from the peer: {text}"))
}
