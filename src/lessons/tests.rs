use super::lows::{LoggedNight, NightLow};
use super::*;
use crate::beds::sample;
use crate::journal::event::Written;
use crate::journal::{Entry, Place, Reading, Sampled, What};
use crate::night::Estimate;
use crate::night::screen::{CLEAR_CALM_SHIFT, CLEAR_CALM_SPREAD, UNKNOWN_SITE_SPREAD};
use crate::rounds::RoundKind;
use crate::units::{Celsius, Kelvins, MetresPerSecond};
use chrono::{DateTime, Duration, NaiveDate, Utc};
use proptest::prelude::*;

fn garden() -> Garden {
    sample::garden(vec![sample::bed("A1", &[("kale", "leafy")])], Vec::new())
}

fn night(day: i64) -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2027, 1, 1).expect("a date") + Duration::days(day))
}

/// A clear, calm night that the morning's forecast gave -1 °C.
fn foretold(garden: &Garden, day: i64) -> ForecastAtRound {
    let span = span_of(garden, night(day));
    ForecastAtRound {
        night: span.of,
        made_at: span.sunset - Duration::hours(4),
        round: RoundKind::Afternoon,
        provider: Some("nws".into()),
        issued: None,
        low: Estimate { mean: Celsius(-1.5), spread: Kelvins(2.0) },
        feed_low: Some(Celsius(-1.0)),
        lead_hours: 19.0,
        cloud: 0.1,
        wind_10m: MetresPerSecond(1.0),
        clear_calm: 1.0,
        readings: 0,
    }
}

fn lessons(garden: &Garden, lows: Vec<NightLow>) -> Lessons {
    Lessons { foretold: (0..10).map(|day| foretold(garden, day)).collect(), lows, ..Lessons::default() }
}

fn screen(day: i64, low: f64) -> NightLow {
    NightLow { night: night(day), place: Place::Screen, low: Celsius(low), spread: Kelvins(0.0) }
}

/// What is added to a clear, calm night's low, and by what its spread is multiplied; `None` is as published.
fn taught(garden: &Garden, lessons: &Lessons) -> Option<(f64, f64)> {
    let corrections = forecasts::corrections(&forecasts::of(garden, lessons));
    corrections.at("nws", 1, 1.0).map(|correction| (correction.shift.0, correction.factor))
}

/// A log of a night that falls by half a kelvin in the hour from 4 °C, with the hours that are kept.
fn log(garden: &Garden, kept: impl Fn(i64) -> bool) -> Option<(LoggedNight, f64)> {
    let span = span_of(garden, night(0));
    let whole = (span.end() - span.sunset).num_hours();
    let rows: Vec<(i64, DateTime<Utc>)> = (0..=(span.end() - span.sunset).num_minutes() / 10)
        .map(|row| (row * 10 / 60, span.sunset + Duration::minutes(row * 10)))
        .filter(|(hour, _)| kept(*hour))
        .collect();
    let air = |at: DateTime<Utc>| 4.0 - 0.5 * (at.min(span.sunrise) - span.sunset).num_minutes() as f64 / 60.0;
    let mut hours: Vec<i64> = rows.iter().map(|(hour, _)| *hour).filter(|hour| *hour < whole).collect();
    hours.dedup();
    let (_, last) = *rows.last()?;
    let low = rows.iter().map(|(_, at)| air(*at)).fold(f64::INFINITY, f64::min);
    let hours = u32::try_from(hours.len()).expect("hours of a night");
    let log = LoggedNight { night: night(0), place: Place::Screen, low: Celsius(low), hours, last };
    Some((log, air(span.sunrise)))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    /// Missing rows make no low warmer: the low is that of the night, or there is none.
    #[test]
    fn a_log_with_holes_has_the_low_of_the_night_or_none(gone in prop::collection::btree_set(0i64..17, 0..4)) {
        let garden = garden();
        let Some((log, low)) = log(&garden, |hour| !gone.contains(&hour)) else { return Ok(()) };
        let lows = lows::of(&garden, &[log], &[]);
        if gone.is_empty() {
            prop_assert_eq!(lows.len(), 1);
        }
        for found in lows {
            prop_assert!((found.low.0 - low).abs() < 1e-9, "{:?} where {} was", found, low);
        }
    }

    /// One odd low, whatever it is, moves what is added by at most half its published spread, and never by itself to a
    /// surer list than the least factor allows.
    #[test]
    fn an_odd_low_makes_no_night_much_warmer(odd in -60.0f64..90.0, others in prop::collection::vec(-4.0f64..1.0, 0..8)) {
        let garden = garden();
        let lows = |odd: Option<f64>| {
            let others = (0..).zip(&others).map(|(day, low)| screen(day, *low));
            others.chain(odd.map(|odd| screen(9, odd))).collect::<Vec<_>>()
        };
        let without = taught(&garden, &lessons(&garden, lows(None))).map_or(CLEAR_CALM_SHIFT, |(shift, _)| shift);
        let with = taught(&garden, &lessons(&garden, lows(Some(odd)))).map_or(CLEAR_CALM_SHIFT, |(shift, _)| shift);
        let published = UNKNOWN_SITE_SPREAD.hypot(CLEAR_CALM_SPREAD);
        prop_assert!((with - without).abs() <= published / 2.0 + 1e-9, "{} to {}", without, with);
    }
}

#[test]
fn without_lows_or_rounds_everything_stays_as_published() {
    let garden = garden();
    assert_eq!(taught(&garden, &lessons(&garden, Vec::new())), None);
    assert_eq!(taught(&garden, &Lessons { lows: vec![screen(0, -3.0)], ..Lessons::default() }), None);
    // A thermometer at a bed is not the garden's screen.
    let at_bed = NightLow { place: Place::Bed { bed: "A1".into() }, ..screen(0, -3.0) };
    assert_eq!(taught(&garden, &lessons(&garden, vec![at_bed])), None);
    // Rounds in the night know part of it, and a low that somebody gave is no feed's.
    for change in [
        |round: &mut ForecastAtRound| round.made_at += Duration::hours(6),
        |round: &mut ForecastAtRound| round.provider = None,
        |round: &mut ForecastAtRound| round.feed_low = None,
        |round: &mut ForecastAtRound| round.provider = Some("hand-given-low".into()),
    ] {
        let mut lessons = lessons(&garden, vec![screen(0, -3.0)]);
        assert!(taught(&garden, &lessons).is_some());
        lessons.foretold.iter_mut().for_each(change);
        assert_eq!(taught(&garden, &lessons), None);
    }
}

#[test]
fn a_minimum_counts_for_the_night_that_it_has_seen() {
    let garden = garden();
    let span = span_of(&garden, night(0));
    let low = |at: DateTime<Utc>, of: Sampled| {
        let reading = Reading {
            place: Place::Screen,
            temperature: Celsius(-3.0),
            dew_point: None,
            of,
            thermometer: None,
            height: None,
            shielded: None,
            sure: false,
        };
        let entry = Entry::new(at, at, "-3C", What::Reading(reading));
        let written = Written { id: 1, key: entry.key(), entry, corrected_by: None };
        let corrected = Written { corrected_by: Some(2), ..written.clone() };
        assert_eq!(lows::of(&garden, &[], &[corrected]), []);
        lows::of(&garden, &[], &[written]).pop()
    };
    let since = |hours: i64| Sampled::Minimum { since: Some(span.sunset + Duration::hours(hours)) };
    let morning = span.sunrise + Duration::hours(1);
    assert_eq!(low(morning, since(0)), Some(screen(0, -3.0)));
    assert_eq!(low(morning, Sampled::Minimum { since: None }), Some(screen(0, -3.0)));
    // As "last night" is written down, to the whole minute.
    let to_the_minute = span.sunrise - Duration::seconds(span.sunrise.timestamp().rem_euclid(60));
    assert!(to_the_minute < span.sunrise, "this sunrise has seconds");
    assert_eq!(low(to_the_minute, since(0)), Some(screen(0, -3.0)));
    for (at, of) in [
        (morning, Sampled::Instant),
        (morning, Sampled::Maximum { since: None }),
        // Set back when the night was half over; of the night before too; read before the coldest hour.
        (morning, since(7)),
        (morning, since(-14)),
        (span.sunrise - Duration::minutes(122), since(0)),
    ] {
        assert_eq!(low(at, of), None, "{at} {of:?}");
    }
    // Read shortly before sunrise: the earlier, the colder it may have become and the less it says.
    let mut last = (-3.0, 0.0);
    for minutes in (10..=120).step_by(10) {
        let early = low(span.sunrise - Duration::minutes(minutes), since(0)).expect("a low");
        assert!(early.low.0 < last.0 && early.spread.0 > last.1 && !early.is_whole(), "{minutes}: {early:?}");
        last = (early.low.0, early.spread.0);
    }
    assert!((last.0 + 3.6).abs() < 0.01 && (last.1 - 0.6 * 2.0_f64.sqrt()).abs() < 0.01, "{last:?}");
}

/// A low that was read early teaches, and less than one that was not.
#[test]
fn a_minimum_that_was_read_early_teaches_less() {
    let garden = garden();
    let taught = |spread: f64| {
        let low = |day| NightLow { spread: Kelvins(spread), ..screen(day, -4.0) };
        taught(&garden, &lessons(&garden, (0..3).map(low).collect())).expect("taught").0
    };
    assert!(taught(0.0) < taught(0.85) && taught(0.85) < CLEAR_CALM_SHIFT, "{} {}", taught(0.0), taught(0.85));
}

#[test]
fn a_thermometer_that_saw_all_of_a_night_goes_before_one_that_was_read_early() {
    let garden = garden();
    let span = span_of(&garden, night(0));
    let read = |at: DateTime<Utc>, value: f64| {
        let reading = Reading {
            place: Place::Screen,
            temperature: Celsius(value),
            dew_point: None,
            of: Sampled::Minimum { since: None },
            thermometer: None,
            height: None,
            shielded: None,
            sure: false,
        };
        let entry = Entry::new(at, at, "typed", What::Reading(reading));
        Written { id: 1, key: entry.key(), entry, corrected_by: None }
    };
    let entries = [read(span.sunrise - Duration::hours(1), -2.9), read(span.sunrise + Duration::hours(1), -3.0)];
    assert_eq!(lows::of(&garden, &[], &entries), [screen(0, -3.0)]);
}

#[test]
fn a_bed_under_a_cover_shows_the_cover_and_teaches_no_offset() {
    let garden = garden();
    let mut lessons =
        lessons(&garden, vec![screen(0, -3.0), NightLow { place: Place::Bed { bed: "A1".into() }, ..screen(0, -1.0) }]);
    assert!(beds::of(&garden, &lessons, &BTreeSet::new())[0].moved().0 > 0.0);
    lessons.covered.insert((night(0), "A1".into()), None);
    assert_eq!(beds::of(&garden, &lessons, &BTreeSet::new())[0].moved(), Kelvins(0.0));
}

/// A cover that gains just what is published is learned as published, whatever the day before was.
#[test]
fn an_unknown_day_makes_no_cover_gain_more() {
    use crate::night::cover::CoverConditions;
    let garden = sample::garden(vec![sample::bed("A1", &[("kale", "leafy")])], vec![sample::cloth(1)]);
    let cover = garden.covers[0].cover(Layers::One);
    let published = cover.gain(CoverConditions { wind_10m: 0.0, left_by_the_day: 1.0 }).mean;
    let under = Place::UnderCover { bed: "A1".into(), cover: None };
    let lows = (0..10).flat_map(|day| {
        let at = |place: &Place, low: f64| NightLow {
            night: night(day),
            place: place.clone(),
            low: Celsius(low),
            spread: Kelvins(0.0),
        };
        [at(&Place::Bed { bed: "A1".into() }, -4.0), at(&under, -4.0 + published.0)]
    });
    let mut lessons = lessons(&garden, lows.collect());
    lessons.covered = (0..10).map(|day| ((night(day), "A1".to_string()), Some(cover))).collect();
    let learned = covers::of(&garden, &lessons);
    let gain = &learned.iter().find(|learned| learned.cover == cover).expect("the cover").gain;
    assert_eq!(gain.nights.len(), 10);
    assert!(gain.moved().0.abs() < 1e-6, "moved by {:?}", gain.moved());
}

/// Neither a summer of warm nights nor the length of what is at hand changes what a winter has taught.
#[test]
fn summer_nights_do_not_push_out_a_winter() {
    let garden = garden();
    let rounds = |days: std::ops::Range<i64>, low: f64| {
        days.map(|day| ForecastAtRound { feed_low: Some(Celsius(low)), ..foretold(&garden, day) }).collect::<Vec<_>>()
    };
    let winter = rounds(0..10, -1.0);
    let lows = |days: i64| (0..days).map(|day| screen(day, if day < 10 { -3.0 } else { 20.0 })).collect::<Vec<_>>();
    let known = taught(&garden, &Lessons { foretold: winter.clone(), lows: lows(10), ..Lessons::default() });
    assert!(known.is_some());
    let foretold = [winter, rounds(10..210, 15.0)].concat();
    let after = taught(&garden, &Lessons { foretold, lows: lows(210), ..Lessons::default() });
    assert_eq!(after, known);
    // Of cold nights the newest count.
    let (old, new) = (rounds(0..160, -1.0), rounds(10..160, -1.0));
    let of = |foretold| taught(&garden, &Lessons { foretold, lows: lows(160), ..Lessons::default() });
    assert_eq!(of(old), of(new));
}
