//! Fits what evenings teach of nights, and says how good that is where it was not fitted:
//! `cargo bench --bench fit_dusk -- DIR [--write]`.
//!
//! `DIR` as `stations.rs` says. Each station, or group of stations within 40 km, is foretold with coefficients fitted
//! without it. `--write` writes `src/night/dusk/coefficients.rs`.
//!
//! The fit: for each station s, y = X b_s + e, with b_s ~ N(mean, diag(between²)) and e ~ N(0, noise²), by
//! expectation and maximisation (Dempster, Laird and Rubin 1977; from memory), each group of stations counting as one; then
//! the logarithm of what is left against the spread terms; then its shape as two normals, again by EM.

mod stations;

use counterpane::night::cooling::{DuskNight, DuskRegression};
use counterpane::night::dusk::{Evening, SPREAD_TERMS, Shape, TERM_NAMES, TERMS, Taught, TaughtPair};
use counterpane::replay::{Foretold, PastNight, foretell, past_nights};
use counterpane::score::Scored;
use counterpane::score::table::table;
use counterpane::units::Celsius;
use counterpane::weather::Site;
use stations::{Record, records};
use std::fmt::Write as _;
use std::path::Path;

struct Station {
    name: String,
    site: Site,
    group: usize,
    nights: Vec<PastNight>,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    let Some(folder) = arguments.iter().find(|argument| !argument.starts_with("--")) else {
        println!("no folder of station records was given; nothing to fit");
        return;
    };
    let stations = read(Path::new(folder));
    let groups = stations.iter().map(|station| station.group).max().map_or(0, |last| last + 1);
    let pair = |left_out: Option<usize>| -> (Taught, Taught) {
        (fit(&stations, left_out, false), fit(&stations, left_out, true))
    };
    let all = pair(None);
    let left_out: Vec<(Taught, Taught)> = (0..groups).map(|group| pair(Some(group))).collect();
    for (name, (mean, between)) in TERM_NAMES.iter().zip(all.0.mean.iter().zip(all.0.between)) {
        println!("evening  {name:36} {mean:8.3} +- {between:.3}");
    }
    for (name, (mean, between)) in TERM_NAMES.iter().zip(all.1.mean.iter().zip(all.1.between)) {
        println!("outlook  {name:36} {mean:8.3} +- {between:.3}");
    }
    for as_feed in [false, true] {
        println!("\n{}", if as_feed { "sky and wind of the night known" } else { "from the evening alone" });
        score(&stations, &left_out, as_feed);
    }
    if arguments.iter().any(|argument| argument == "--write") {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/src/night/dusk/coefficients.rs");
        std::fs::write(path, source(&stations, &all, &left_out)).expect("a file that can be written");
    }
}

fn read(folder: &Path) -> Vec<Station> {
    let mut stations: Vec<Station> = Vec::new();
    for Record { name, site, zone, hours } in records(folder) {
        let near = |other: &&Station| {
            (other.site.latitude - site.latitude).abs() < 0.3 && (other.site.longitude - site.longitude).abs() < 0.45
        };
        let next = stations.iter().map(|station| station.group + 1).max().unwrap_or(0);
        let group = stations.iter().find(near).map_or(next, |other| other.group);
        let nights = past_nights(&hours.hours, &site, &zone);
        println!("{name}: {} nights", nights.len());
        stations.push(Station { name, site, group, nights });
    }
    stations
}

type Row = [f64; TERMS];

/// One station's nights as the fit sees them, and what it counts for.
struct Sample {
    weight: f64,
    rows: Vec<Row>,
    spread_rows: Vec<[f64; SPREAD_TERMS]>,
    falls: Vec<f64>,
    nights: Vec<DuskNight>,
}

fn fit(stations: &[Station], left_out: Option<usize>, outlook: bool) -> Taught {
    let samples: Vec<Sample> = stations
        .iter()
        .filter(|station| Some(station.group) != left_out)
        .map(|station| {
            let size = stations.iter().filter(|other| other.group == station.group).count();
            let evening = |night: &PastNight| Evening { outlook: night.outlook.filter(|_| outlook), ..night.evening };
            let evenings: Vec<(Evening, Celsius)> =
                station.nights.iter().map(|night| (evening(night), night.low)).collect();
            Sample {
                weight: 1.0 / size as f64,
                rows: evenings.iter().map(|(evening, _)| evening.terms()).collect(),
                spread_rows: evenings.iter().map(|(evening, _)| evening.spread_terms()).collect(),
                falls: evenings.iter().map(|(evening, low)| (*low - evening.air).0).collect(),
                nights: evenings
                    .iter()
                    .map(|(evening, low)| DuskNight {
                        dusk_air: evening.air,
                        dusk_dew_point: evening.dew_point.unwrap_or(Celsius(evening.air.0 - 7.5)),
                        minimum: *low,
                    })
                    .collect(),
            }
        })
        .collect();

    let mut mean = pooled(&samples);
    let mut between = [0.0; TERMS];
    for (index, deviation) in between.iter_mut().enumerate() {
        // A start at a third of a kelvin's effect for a term of ordinary size.
        let values: Vec<f64> =
            samples.iter().flat_map(|sample| sample.rows.iter().map(move |row| row[index])).collect();
        let middle = values.iter().sum::<f64>() / values.len() as f64;
        let variance = values.iter().map(|value| (value - middle).powi(2)).sum::<f64>() / values.len() as f64;
        *deviation = 0.3 / variance.sqrt().max(0.3);
    }
    // A term that no night of this kind has is left at nothing.
    let unused: Vec<usize> = (0..TERMS)
        .filter(|index| samples.iter().all(|sample| sample.rows.iter().all(|row| row[*index] == 0.0)))
        .collect();
    let mut noise_squared = 4.0;
    let weights: f64 = samples.iter().map(|sample| sample.weight).sum();
    for _ in 0..30 {
        let posteriors: Vec<(Row, [Row; TERMS])> =
            samples.iter().map(|sample| posterior(sample, &mean, &between, noise_squared)).collect();
        let (mut squares, mut count) = (0.0, 0.0);
        for (sample, (own, covariance)) in samples.iter().zip(&posteriors) {
            for (row, fall) in sample.rows.iter().zip(&sample.falls) {
                let uncertain: f64 = row.iter().zip(covariance).map(|(x, line)| x * dot(line, row)).sum();
                squares += sample.weight * ((fall - dot(own, row)).powi(2) + uncertain);
                count += sample.weight;
            }
        }
        for index in 0..TERMS {
            let weighted = samples.iter().zip(&posteriors);
            mean[index] = weighted.clone().map(|(sample, (own, _))| sample.weight * own[index]).sum::<f64>() / weights;
            let scatter = weighted.map(|(sample, (own, covariance))| {
                sample.weight * ((own[index] - mean[index]).powi(2) + covariance[index][index])
            });
            between[index] = (scatter.sum::<f64>() / weights).sqrt().max(1e-3);
        }
        noise_squared = squares / count;
    }
    unused.iter().for_each(|index| (mean[*index], between[*index]) = (0.0, 0.0));
    // What is left of each night at coefficients drawn toward its own station.
    let left: Vec<(f64, f64, [f64; SPREAD_TERMS])> = samples
        .iter()
        .flat_map(|sample| {
            let (own, _) = posterior(sample, &mean, &between.map(|deviation| deviation.max(1e-3)), noise_squared);
            let nights = sample.rows.iter().zip(&sample.falls).zip(&sample.spread_rows);
            nights.map(|((row, fall), spread)| (sample.weight, fall - dot(&own, row), *spread)).collect::<Vec<_>>()
        })
        .collect();
    let widening = widening(&left);
    let scaled: Vec<(f64, f64)> = left
        .iter()
        .map(|(weight, error, spread)| {
            let log: f64 = spread.iter().zip(&widening).map(|(term, by)| term * by).sum();
            (*weight, error / log.clamp(-1.4, 1.4).exp())
        })
        .collect();
    let noise = (scaled.iter().map(|(weight, error)| weight * error * error).sum::<f64>() / total(&scaled)).sqrt();
    let nights: Vec<DuskNight> = samples.iter().flat_map(|sample| sample.nights.clone()).collect();
    let regression = DuskRegression::fit(&nights).expect("enough nights");
    Taught {
        mean,
        between,
        noise,
        widening,
        shape: shape(&scaled.iter().map(|(weight, error)| (*weight, error / noise)).collect::<Vec<_>>()),
        regression: [regression.a, regression.b, regression.c, regression.standard_deviation.0],
    }
}

fn total(weighted: &[(f64, f64)]) -> f64 {
    weighted.iter().map(|(weight, _)| weight).sum()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Least squares over all stations, each group counting as one.
fn pooled(samples: &[Sample]) -> Row {
    let mut normal = [[0.0; TERMS]; TERMS];
    let mut right = [0.0; TERMS];
    for sample in samples {
        for (row, fall) in sample.rows.iter().zip(&sample.falls) {
            for i in 0..TERMS {
                right[i] += sample.weight * row[i] * fall;
                for j in 0..TERMS {
                    normal[i][j] += sample.weight * row[i] * row[j];
                }
            }
        }
    }
    (0..TERMS).for_each(|i| normal[i][i] += 1e-6);
    let inverse = inverse(normal);
    std::array::from_fn(|i| dot(&inverse[i], &right))
}

/// A station's own coefficients, drawn toward the mean of all, and their covariance.
fn posterior(sample: &Sample, mean: &Row, between: &Row, noise_squared: f64) -> (Row, [Row; TERMS]) {
    let mut precision = [[0.0; TERMS]; TERMS];
    let mut right: Row = std::array::from_fn(|i| mean[i] / between[i].powi(2));
    for i in 0..TERMS {
        precision[i][i] = between[i].powi(-2);
    }
    for (row, fall) in sample.rows.iter().zip(&sample.falls) {
        for i in 0..TERMS {
            right[i] += row[i] * fall / noise_squared;
            for j in 0..TERMS {
                precision[i][j] += row[i] * row[j] / noise_squared;
            }
        }
    }
    let covariance = inverse(precision);
    (std::array::from_fn(|i| dot(&covariance[i], &right)), covariance)
}

/// Of a symmetric positive matrix, by elimination with pivots.
fn inverse<const N: usize>(mut matrix: [[f64; N]; N]) -> [[f64; N]; N] {
    let mut inverse = [[0.0; N]; N];
    (0..N).for_each(|i| inverse[i][i] = 1.0);
    for column in 0..N {
        let pivot = (column..N).max_by(|a, b| matrix[*a][column].abs().total_cmp(&matrix[*b][column].abs()));
        let pivot = pivot.expect("a row");
        matrix.swap(column, pivot);
        inverse.swap(column, pivot);
        let by = 1.0 / matrix[column][column];
        for j in 0..N {
            matrix[column][j] *= by;
            inverse[column][j] *= by;
        }
        for row in (0..N).filter(|row| *row != column) {
            let times = matrix[row][column];
            for j in 0..N {
                matrix[row][j] -= times * matrix[column][j];
                inverse[row][j] -= times * inverse[column][j];
            }
        }
    }
    inverse
}

/// The logarithm of what is left against the spread terms, drawn a little toward nothing.
fn widening(left: &[(f64, f64, [f64; SPREAD_TERMS])]) -> [f64; SPREAD_TERMS] {
    const N: usize = SPREAD_TERMS + 1;
    const TOWARD_NOTHING: f64 = 20.0;
    let mut normal = [[0.0; N]; N];
    let mut right = [0.0; N];
    for (weight, error, spread) in left {
        let row: [f64; N] = std::array::from_fn(|i| if i == 0 { 1.0 } else { spread[i - 1] });
        // A tenth of a degree more, so that a lucky night does not count for many.
        let log = (error.abs() + 0.1).ln();
        for i in 0..N {
            right[i] += weight * row[i] * log;
            for j in 0..N {
                normal[i][j] += weight * row[i] * row[j];
            }
        }
    }
    (1..N).for_each(|i| normal[i][i] += TOWARD_NOTHING);
    let inverse = inverse(normal);
    std::array::from_fn(|i| dot(&inverse[i + 1], &right))
}

/// Two normals for what is left, then shifted and scaled to mean 0 and variance 1.
fn shape(scaled: &[(f64, f64)]) -> Shape {
    let density = |z: f64, (mean, deviation): (f64, f64)| (-((z - mean) / deviation).powi(2) / 2.0).exp() / deviation;
    let (mut ordinary, mut first, mut second) = (0.8, (0.2, 0.8), (-0.8, 1.2));
    let all = total(scaled);
    for _ in 0..500 {
        let (mut a, mut b) = ([0.0; 3], [0.0; 3]);
        for (weight, z) in scaled {
            let (p, q) = (ordinary * density(*z, first), (1.0 - ordinary) * density(*z, second));
            let share = p / (p + q);
            for (power, value) in [1.0, *z, z * z].into_iter().enumerate() {
                a[power] += weight * share * value;
                b[power] += weight * (1.0 - share) * value;
            }
        }
        let moments = |m: [f64; 3]| (m[1] / m[0], (m[2] / m[0] - (m[1] / m[0]).powi(2)).sqrt());
        (ordinary, first, second) = (a[0] / all, moments(a), moments(b));
    }
    let mean = ordinary * first.0 + (1.0 - ordinary) * second.0;
    let square = |(mean, deviation): (f64, f64)| mean * mean + deviation * deviation;
    let deviation = (ordinary * square(first) + (1.0 - ordinary) * square(second) - mean * mean).sqrt();
    let moved = |(own, spread): (f64, f64)| ((own - mean) / deviation, spread / deviation);
    Shape { ordinary, first: moved(first), second: moved(second) }
}

fn score(stations: &[Station], left_out: &[(Taught, Taught)], as_feed: bool) {
    let mut all: Vec<Foretold> = Vec::new();
    let mut scored: Vec<Scored> = Vec::new();
    for station in stations {
        let (evening, outlook) = left_out[station.group];
        let pair: &'static TaughtPair = Box::leak(Box::new(TaughtPair { without: &[], evening, outlook }));
        let foretold = foretell(&station.nights, pair, as_feed);
        line(&station.name, &foretold);
        scored.extend(foretold.iter().map(|night| {
            let night = night.scored();
            Scored { block: night.block + 100_000 * u32::try_from(station.group).expect("few groups"), ..night }
        }));
        all.extend(foretold);
    }
    line("all", &all);
    // Stations of one group share their weather: their months are resampled together.
    print!("{}", table(&scored));
}

fn line(name: &str, nights: &[Foretold]) {
    let mae = |of: &dyn Fn(&Foretold) -> Option<f64>| {
        let errors: Vec<f64> = nights.iter().filter_map(|night| Some((of(night)? - night.observed.0).abs())).collect();
        errors.iter().sum::<f64>() / errors.len() as f64
    };
    let taught = |night: &Foretold| night.nights_before >= 60;
    let own = mae(&|night| Some(night.low.median().0));
    let imported = mae(&|night| Some(night.imported.0));
    let late = mae(&|night| taught(night).then(|| night.low.median().0));
    let refitted = mae(&|night| night.refitted.filter(|_| taught(night)).map(|low| low.0));
    let clear: Vec<f64> = nights
        .iter()
        .filter(|night| night.clear_calm == Some(true))
        .map(|night| night.low.median().0 - night.observed.0)
        .collect();
    let inside = |clear_only: bool| {
        let nights: Vec<&Foretold> =
            nights.iter().filter(|night| !clear_only || night.clear_calm == Some(true)).collect();
        let within = |night: &&&Foretold| (0.1..=0.9).contains(&night.low.share_at_or_below(night.observed));
        100.0 * nights.iter().filter(within).count() as f64 / nights.len() as f64
    };
    println!(
        "{name:7} n {:4}  MAE {own:.3}, imported {imported:.3} ({:+.1} %); after 60 nights {late:.3}, refitted {refitted:.3} \
         ({:+.1} %); clear calm n {} bias {:+.2}; central 80 %: {:.1}, clear calm {:.1}",
        nights.len(),
        100.0 * (own / imported - 1.0),
        100.0 * (late / refitted - 1.0),
        clear.len(),
        clear.iter().sum::<f64>() / clear.len() as f64,
        inside(false),
        inside(true),
    );
}

fn source(stations: &[Station], all: &(Taught, Taught), left_out: &[(Taught, Taught)]) -> String {
    let mut out = String::from(
        "//! Written by `cargo bench --bench fit_dusk -- DIR --write`; not by hand.\n\n#![allow(clippy::approx_constant)] // A fit that comes out near pi is no pi.\n\nuse super::{Shape, Taught, TaughtPair};\n\n",
    );
    let write = |out: &mut String, indent: &str, (evening, outlook): &(Taught, Taught), without: &str| {
        let _ = writeln!(out, "{indent}without: &[{without}],");
        for (name, taught) in [("evening", evening), ("outlook", outlook)] {
            let list = |values: &[f64]| {
                let texts: Vec<String> = values.iter().map(|value| format!("{value:.4}")).collect();
                texts.join(", ").replace("-0.0000", "0.0000")
            };
            let shape = &taught.shape;
            let _ = writeln!(
                out,
                "{indent}{name}: Taught {{ mean: [{}], between: [{}], noise: {:.4}, widening: [{}], shape: Shape {{ \
                 ordinary: {:.4}, first: ({:.4}, {:.4}), second: ({:.4}, {:.4}) }}, regression: [{}] }},",
                list(&taught.mean),
                list(&taught.between),
                taught.noise,
                list(&taught.widening),
                shape.ordinary,
                shape.first.0,
                shape.first.1,
                shape.second.0,
                shape.second.1,
                list(&taught.regression),
            );
        }
    };
    out.push_str("/// From all stations.\npub static ALL: TaughtPair = TaughtPair {\n");
    write(&mut out, "    ", all, "");
    out.push_str("};\n\n/// Each from all stations but those named, with their places.\npub static LEFT_OUT: &[TaughtPair] = &[\n");
    for (group, pair) in left_out.iter().enumerate() {
        let names: Vec<String> = stations
            .iter()
            .filter(|station| station.group == group)
            .map(|station| format!("({:?}, {:.4}, {:.4})", station.name, station.site.latitude, station.site.longitude))
            .collect();
        out.push_str("    TaughtPair {\n");
        write(&mut out, "        ", pair, &names.join(", "));
        out.push_str("    },\n");
    }
    out.push_str("];\n");
    out
}
