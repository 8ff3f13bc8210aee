//! What is learned against truths that are known: how often the interval holds the truth, and what one report can do.

#[path = "support/chance.rs"]
mod chance;
mod learning {
    pub mod worlds;
}

use chance::Chance;
use counterpane::learn::bed_offset::{self, BedReading, BedReadings};
use counterpane::learn::cover_gain::{self, PairedReading};
use counterpane::learn::doubt::Doubt;
use counterpane::learn::forecast::{self, ForecastNight, Sky};
use counterpane::learn::tolerance::{self, DamageReport};
use counterpane::night::Estimate;
use counterpane::night::cover::{Cover, CoverConditions, CoverKind};
use counterpane::night::dose::Z_90;
use counterpane::night::screen::{CLEAR_CALM_SHIFT, CLEAR_CALM_SPREAD};
use counterpane::units::{Celsius, Kelvins};
use learning::worlds::{KALE_LIKE, QUANTITIES, Quantity, figure, night};

/// Share of repeats in which the 80 % interval holds the truth.
fn held(quantity: &Quantity, nights: usize, repeats: u64) -> f64 {
    let holds = |seed: &u64| {
        let trial = (quantity.trial)(&mut Chance::new(1_000 + seed), nights, None, false);
        (trial.truth - trial.learned.mean.0).abs() <= Z_90 * trial.learned.spread.0
    };
    (0..repeats).filter(holds).count() as f64 / repeats as f64
}

fn mean_spread(quantity: &Quantity, nights: usize, repeats: u64) -> f64 {
    let spread = |seed| (quantity.trial)(&mut Chance::new(seed), nights, None, false).learned.spread.0;
    (0..repeats).map(spread).sum::<f64>() / repeats as f64
}

/// A thousand repeats know a share of 0.8 within 0.013: 0.74 to 0.86 is four and a half of these.
#[test]
fn eighty_in_a_hundred_intervals_hold_the_truth() {
    for quantity in &QUANTITIES {
        let (three, thirty) = (held(quantity, 3, 300), held(quantity, 30, 1_000));
        let spreads = [0, 3, 30].map(|nights| mean_spread(quantity, nights, 20));
        let [none, after_three, after_thirty] = spreads;
        println!(
            "{}: of 80 % intervals {:.1} % hold after 3 nights, {:.1} % after 30; spread {none:.3}, {after_three:.3}, \
             {after_thirty:.3}",
            quantity.name,
            three * 100.0,
            thirty * 100.0
        );
        assert!((0.74..=0.86).contains(&thirty), "{}: {thirty}", quantity.name);
        // 300 repeats: four standard errors more on either side.
        assert!((0.70..=0.90).contains(&three), "{}: {three}", quantity.name);
    }
}

#[test]
fn more_nights_never_widen_an_interval_on_average() {
    for quantity in &QUANTITIES {
        let spreads = [0, 1, 2, 3, 5, 10, 20, 40].map(|nights| mean_spread(quantity, nights, 40));
        assert!(spreads.windows(2).all(|pair| pair[1] <= pair[0]), "{}: {spreads:?}", quantity.name);
    }
}

/// Whatever it says, first of all or after others that agree, and though somebody has said that it is right.
#[test]
fn one_report_moves_nothing_by_more_than_half_its_published_spread() {
    for quantity in &QUANTITIES {
        let most = (quantity.trial)(&mut Chance::new(0), 0, None, false).learned.spread.0 / 2.0;
        let mut farthest = 0.0f64;
        for (seed, nights) in (0..16).flat_map(|seed| [0, 1, 4, 30].map(|nights| (seed, nights))) {
            let mean = |odd| (quantity.trial)(&mut Chance::new(seed), nights, odd, false).learned.mean.0;
            let before = mean(None);
            for odd in [-40.0, -3.0, -1.0, 1.0, 3.0, 40.0] {
                farthest = farthest.max((mean(Some(odd)) - before).abs());
            }
        }
        println!("{}: one report moves it by {farthest:.3} of {most:.3} at most", quantity.name);
        assert!(farthest <= most + 1e-6, "{}: {farthest} of {most}", quantity.name);
        // And the first one counts for something.
        assert!(farthest > 0.1 * most, "{}: {farthest} of {most}", quantity.name);
    }
}

#[test]
fn the_order_of_reports_does_not_matter() {
    for quantity in &QUANTITIES {
        for seed in 0..20 {
            let learned = |shuffled| (quantity.trial)(&mut Chance::new(seed), 12, Some(4.0), shuffled).learned;
            assert_eq!(learned(false), learned(true), "{}", quantity.name);
        }
    }
}

#[test]
fn without_a_night_the_published_figures_come_back() {
    let site = figure(0.3, 1.0);
    let none = forecast::learn(&[], site);
    for lead_day in [0, 1, 4, 7, 9] {
        for clear_calm in [0.0, 0.25, 0.5, 1.0] {
            let correction = none.at(lead_day, clear_calm);
            // As `night::screen` takes them without this.
            assert!((correction.shift.mean.0 - (0.3 + CLEAR_CALM_SHIFT * clear_calm)).abs() < 1e-12);
            assert!((correction.shift.spread.0 - 1.0f64.hypot(CLEAR_CALM_SPREAD * clear_calm)).abs() < 1e-12);
            assert_eq!(correction.factor, 1.0);
        }
        for sky in [Sky::ClearCalm, Sky::Other] {
            let shift = &none.cell(lead_day, sky).shift;
            assert_eq!((shift.learned, shift.nights.len()), (forecast::published(site, sky), 0));
        }
    }
    let beds = [(0.0, 0.5), (-2.0, 1.0), (0.4, 0.0)]
        .map(|(mean, spread)| BedReadings { published: figure(mean, spread), readings: Vec::new() });
    for (learned, bed) in bed_offset::learn(&beds).iter().zip(&beds) {
        assert_eq!((learned.learned, learned.published), (bed.published, bed.published));
    }
    for kind in [CoverKind::LightRowCover, CoverKind::MediumRowCover, CoverKind::LowTunnel, CoverKind::ClearPlastic] {
        let cover = Cover::one(kind);
        let learned = cover_gain::learn(cover, &[]);
        assert_eq!(learned.gain.learned, learned.gain.published);
        for (wind_10m, left_by_the_day) in [(0.0, 1.0), (2.0, 0.5), (5.0, 0.8), (9.0, 1.0)] {
            let conditions = CoverConditions { wind_10m, left_by_the_day };
            let (found, as_published) = (learned.on(conditions), cover.gain(conditions));
            assert_eq!(found.mean, as_published.mean);
            assert!((found.spread.0 - as_published.spread.0).abs() < 1e-12);
            assert!((found.sides.0.0 - as_published.sides.0.0).abs() < 1e-12);
        }
    }
    let learned = tolerance::learn(KALE_LIKE, &[]);
    assert_eq!((learned.figures(), learned.shift.moved()), (KALE_LIKE, Kelvins(0.0)));
}

fn forecast_night(index: usize, low: f64, measured: f64, confirmed: bool) -> ForecastNight {
    ForecastNight {
        night: night(index),
        lead_day: 1,
        clear_calm: 0.0,
        forecast: Estimate { mean: Celsius(low), spread: Kelvins(1.8) },
        measured: Celsius(measured),
        confirmed,
    }
}

/// Each slip is asked about and teaches nothing until somebody says that it is right.
#[test]
fn slips_are_asked_about_and_not_used() {
    let site = figure(0.0, 1.0);
    let good = [forecast_night(0, -2.0, -3.0, false), forecast_night(1, 0.0, -1.0, false)];
    let without = forecast::learn(&good, site);
    for (measured, is_usable) in [(28.4, true), (-16.0, true), (85.0, false), (f64::NAN, false)] {
        let with = |confirmed| {
            let rows = [good[0], forecast_night(2, -2.0, measured, confirmed), good[1]];
            forecast::learn(&rows, site).cell(1, Sky::Other).clone()
        };
        let (asked, confirmed) = (with(false), with(true));
        assert_eq!(asked.shift.learned, without.cell(1, Sky::Other).shift.learned, "{measured}");
        assert_eq!((asked.shift.nights.len(), asked.shift.asked[0].night), (2, night(2)));
        assert_eq!(confirmed.shift.nights.len(), if is_usable { 3 } else { 2 }, "{measured}");
        assert_eq!(confirmed.shift.asked.is_empty(), is_usable, "{measured}");
    }
    let swapped = forecast::learn(&[forecast_night(0, -2.0, 28.4, false)], site);
    let doubt = swapped.cell(1, Sky::Other).shift.asked[0].doubt;
    assert!(matches!(doubt, Doubt::LooksLikeFahrenheit { would_be } if (would_be.0 + 2.0).abs() < 1e-9), "{doubt:?}");
}

#[test]
fn beds_covers_and_crops_ask_as_well() {
    let bed = |screen: f64, bed: f64| BedReading {
        night: night(0),
        clear_calm: 1.0,
        screen: Celsius(screen),
        bed: Celsius(bed),
        confirmed: false,
    };
    let beds = BedReadings { published: figure(-2.0, 1.0), readings: vec![bed(-1.0, 26.6), bed(-1.0, f64::NAN)] };
    let learned = bed_offset::learn(&[beds]);
    assert_eq!((learned[0].learned, learned[0].asked.len()), (figure(-2.0, 1.0), 2));

    let pair = |under: f64, wind_10m: f64| PairedReading {
        bed: 0,
        night: night(0),
        conditions: CoverConditions { wind_10m, left_by_the_day: 1.0 },
        open: Celsius(-3.0),
        under: Celsius(under),
        confirmed: false,
    };
    // Swapped unit, no measurement; and a windy night, which is right and tells nothing of still ones.
    let gain =
        cover_gain::learn(Cover::one(CoverKind::Sheet), &[pair(30.0, 1.0), pair(85.0, 1.0), pair(-3.0, 8.0)]).gain;
    assert_eq!((gain.learned, gain.asked.len(), gain.nights.len()), (gain.published, 2, 0));

    let report = |class: u8, felt: f64, spread: f64| DamageReport {
        bed: 0,
        night: night(0),
        class,
        felt: Estimate { mean: Celsius(felt), spread: Kelvins(spread) },
        confirmed: false,
    };
    // Dead in a mild night, a class there is not, and no numbers.
    let reports = [
        report(5, 4.0, 0.5),
        report(7, -4.0, 0.5),
        report(2, f64::NAN, 0.5),
        report(2, -4.0, -0.1),
        report(0, -16.0, 0.5),
    ];
    let learned = tolerance::learn(KALE_LIKE, &reports);
    assert_eq!((learned.figures(), learned.shift.asked.len()), (KALE_LIKE, 5));
}

/// Several reports of one night share its weather and teach no more than one.
#[test]
fn a_night_counts_once() {
    let report = DamageReport {
        bed: 0,
        night: night(0),
        class: 3,
        felt: Estimate { mean: Celsius(-3.0), spread: Kelvins(1.0) },
        confirmed: false,
    };
    let (one, many) = (tolerance::learn(KALE_LIKE, &[report]), tolerance::learn(KALE_LIKE, &[report; 8]));
    assert!((one.shift.learned.mean.0 - many.shift.learned.mean.0).abs() < 1e-9);
    assert!((one.shift.learned.spread.0 - many.shift.learned.spread.0).abs() < 1e-9);
    // More harm than such a night does: a more tender crop, so both thresholds rise.
    assert!(one.figures().damage_begins > KALE_LIKE.damage_begins && one.figures().severe > KALE_LIKE.severe);
    let site = figure(0.0, 1.0);
    let rows = [forecast_night(0, -2.0, -3.0, false); 4];
    let (one, many) = (forecast::learn(&rows[..1], site), forecast::learn(&rows, site));
    assert_eq!(one.at(1, 0.0), many.at(1, 0.0));
}

/// A crop that always comes through mild nights is no proof that it stands cold ones.
#[test]
fn mild_nights_without_harm_teach_next_to_nothing() {
    let mild: Vec<DamageReport> = (0..40)
        .map(|index| DamageReport {
            bed: 0,
            night: night(index),
            class: 0,
            felt: Estimate { mean: Celsius(1.0), spread: Kelvins(1.0) },
            confirmed: false,
        })
        .collect();
    let learned = tolerance::learn(KALE_LIKE, &mild).shift.learned;
    assert!((-0.5..=0.0).contains(&learned.mean.0) && learned.spread.0 > 0.6, "{learned:?}");
}
/// What one lead day has taught says nothing of the others. What clear, calm nights have taught is the garden's own offset
/// in part, and so says something of other nights; a night between the skies lies between them.
#[test]
fn lead_days_are_learned_apart_and_skies_share_the_garden() {
    let site = figure(0.0, 1.0);
    let too_warm: Vec<ForecastNight> = (0..12)
        .map(|index| ForecastNight {
            clear_calm: 0.9,
            ..forecast_night(index, 0.0, -3.0 + 0.1 * (index % 3) as f64, false)
        })
        .collect();
    let learned = forecast::learn(&too_warm, site);
    for (lead_day, sky) in [(2, Sky::ClearCalm), (7, Sky::Other)] {
        assert_eq!(learned.cell(lead_day, sky).shift.learned, forecast::published(site, sky));
    }
    let [clear, between, cloudy] = [1.0, 0.5, 0.0].map(|clear_calm| learned.at(1, clear_calm));
    assert!(clear.shift.mean.0 < -2.0 && clear.factor < 0.8, "{clear:?}");
    assert!((between.shift.mean.0 - (clear.shift.mean.0 + cloudy.shift.mean.0) / 2.0).abs() < 1e-12);
    assert!(cloudy.shift.spread.0 > 1.2 * clear.shift.spread.0 && cloudy.factor == 1.0, "{cloudy:?} {clear:?}");
    for (clear_calm, sky) in [(1.0, Sky::ClearCalm), (0.0, Sky::Other)] {
        assert_eq!(learned.at(1, clear_calm).shift, learned.cell(1, sky).shift.learned);
    }
    let forecast = Estimate { mean: Celsius(1.0), spread: Kelvins(1.8) };
    let corrected = clear.apply(forecast);
    assert!(corrected.mean < Celsius(-1.0) && corrected.spread < Kelvins(1.8), "{corrected:?}");
}

/// A shift that grows with how clear and calm it is comes back whole, though no night is wholly so.
#[test]
fn a_night_counts_for_as_much_of_a_sky_as_it_had() {
    let off = |clear_calm: f64| -1.0 - 3.0 * clear_calm;
    let nights: Vec<ForecastNight> = (0..400)
        .map(|index| {
            let clear_calm = 0.9 * (index % 20) as f64 / 19.0;
            ForecastNight { clear_calm, ..forecast_night(index, 2.0, 2.0 + off(clear_calm), true) }
        })
        .collect();
    let learned = forecast::learn(&nights, figure(0.0, 1.0));
    for clear_calm in [0.0, 0.25, 0.5, 0.75, 1.0] {
        let found = learned.at(1, clear_calm).shift.mean.0;
        assert!((found - off(clear_calm)).abs() < 0.3, "{clear_calm}: {found}");
    }
}

/// What a garden's own cover gains takes the place of the published gain, and its nights still differ.
#[test]
fn a_learned_gain_is_what_a_night_goes_by() {
    let cover = Cover::one(CoverKind::MediumRowCover);
    let conditions = CoverConditions { wind_10m: 1.0, left_by_the_day: 0.8 };
    let pair = |index| PairedReading {
        bed: 0,
        night: night(index),
        conditions,
        open: Celsius(-3.0),
        under: Celsius(-2.5),
        confirmed: false,
    };
    let pairs: Vec<PairedReading> = (0..30).map(pair).collect();
    let learned = cover_gain::learn(cover, &pairs);
    let (own, published) = (learned.on(conditions), cover.gain(conditions));
    assert!((0.4..0.8).contains(&own.mean.0) && published.mean.0 > 1.4, "{own:?} {published:?}");
    assert!(own.spread < published.spread && own.spread.0 > 0.9, "{own:?}");
    // In a gale neither gains anything.
    let gale = CoverConditions { wind_10m: 9.0, ..conditions };
    assert_eq!(learned.on(gale).mean, cover.gain(gale).mean);
}
