//! Fruit buds: the temperatures that kill a tenth and nine tenths, as curves.

use super::check;
use counterpane::night::dose::DamageCurve;
use counterpane::units::Celsius;

type Bud = (&'static str, &'static str, f64, f64, f64, f64);

/// Fruit, stage, T10 and T90 in °F as printed, both in °C to the hundredth; after 30 minutes.
/// Source: Penn State Extension, orchard frost: critical temperatures for various fruits, after Washington State
/// University EB0419 (1989).
const PENN_STATE: &[Bud] = &[
    ("apple", "silver tip", 15.0, 2.0, -9.44, -16.67),
    ("apple", "green tip", 18.0, 10.0, -7.78, -12.22),
    ("apple", "half-inch green", 23.0, 15.0, -5.0, -9.44),
    ("apple", "tight cluster", 27.0, 21.0, -2.78, -6.11),
    ("apple", "first pink", 28.0, 24.0, -2.22, -4.44),
    ("apple", "full pink", 28.0, 25.0, -2.22, -3.89),
    ("apple", "first bloom", 28.0, 25.0, -2.22, -3.89),
    ("apple", "full bloom", 28.0, 25.0, -2.22, -3.89),
    ("apple", "post bloom", 28.0, 25.0, -2.22, -3.89),
    ("pear", "scales separating", 15.0, 0.0, -9.44, -17.78),
    ("pear", "buds exposed", 20.0, 6.0, -6.67, -14.44),
    ("pear", "tight cluster", 24.0, 15.0, -4.44, -9.44),
    ("pear", "first white", 25.0, 19.0, -3.89, -7.22),
    ("pear", "full white", 26.0, 22.0, -3.33, -5.56),
    ("pear", "first bloom", 27.0, 23.0, -2.78, -5.0),
    ("pear", "full bloom", 28.0, 24.0, -2.22, -4.44),
    ("pear", "post bloom", 28.0, 24.0, -2.22, -4.44),
    ("peach", "first swell", 18.0, 1.0, -7.78, -17.22),
    ("peach", "calyx green", 21.0, 5.0, -6.11, -15.0),
    ("peach", "calyx red", 23.0, 9.0, -5.0, -12.78),
    ("peach", "first pink", 25.0, 15.0, -3.89, -9.44),
    ("peach", "first bloom", 26.0, 21.0, -3.33, -6.11),
    ("peach", "full bloom", 27.0, 24.0, -2.78, -4.44),
    ("peach", "post bloom", 28.0, 25.0, -2.22, -3.89),
    ("sweet cherry", "first swell", 17.0, 5.0, -8.33, -15.0),
    ("sweet cherry", "side green", 22.0, 9.0, -5.56, -12.78),
    ("sweet cherry", "green tip", 25.0, 14.0, -3.89, -10.0),
    ("sweet cherry", "tight cluster", 26.0, 17.0, -3.33, -8.33),
    ("sweet cherry", "open cluster", 27.0, 21.0, -2.78, -6.11),
    ("sweet cherry", "first white", 27.0, 24.0, -2.78, -4.44),
    ("sweet cherry", "first bloom", 28.0, 25.0, -2.22, -3.89),
    ("sweet cherry", "full bloom", 28.0, 25.0, -2.22, -3.89),
    ("sweet cherry", "post bloom", 28.0, 25.0, -2.22, -3.89),
];

/// The same of apricot and European plum, 30 minutes assumed. Source: copies of a Michigan State University table of
/// critical spring temperatures for tree fruit bud development.
const MICHIGAN_STATE: &[Bud] = &[
    ("apricot", "tips separate", 20.0, 0.0, -6.67, -17.78),
    ("apricot", "calyx red", 22.0, 9.0, -5.56, -12.78),
    ("apricot", "first white", 24.0, 14.0, -4.44, -10.0),
    ("apricot", "first bloom", 25.0, 19.0, -3.89, -7.22),
    ("apricot", "full bloom", 27.0, 22.0, -2.78, -5.56),
    ("apricot", "in the shuck", 27.0, 24.0, -2.78, -4.44),
    ("apricot", "green fruit", 28.0, 25.0, -2.22, -3.89),
    ("European plum", "first swell", 14.0, 0.0, -10.0, -17.78),
    ("European plum", "side white", 17.0, 3.0, -8.33, -16.11),
    ("European plum", "tip green", 20.0, 7.0, -6.67, -13.89),
    ("European plum", "tight cluster", 24.0, 16.0, -4.44, -8.89),
    ("European plum", "first white", 26.0, 22.0, -3.33, -5.56),
    ("European plum", "first bloom", 27.0, 23.0, -2.78, -5.0),
    ("European plum", "full bloom", 28.0, 23.0, -2.22, -5.0),
    ("European plum", "post bloom", 28.0, 23.0, -2.22, -5.0),
];

#[test]
fn every_bud_loses_a_tenth_and_nine_tenths_where_the_tables_say() {
    for (fruit, stage, t10_f, t90_f, t10_c, t90_c) in PENN_STATE.iter().chain(MICHIGAN_STATE) {
        let bud = format!("{fruit}, {stage}");
        let (t10, t90) = (Celsius::from_fahrenheit(*t10_f), Celsius::from_fahrenheit(*t90_f));
        check(&bud, t10.0, *t10_c, 0.005);
        check(&bud, t90.0, *t90_c, 0.005);
        let Ok(curve) = DamageCurve::new(t10, t90) else { panic!("{bud} refused") };
        for form in [DamageCurve::logistic, DamageCurve::probit] {
            check(&bud, form(&curve, t10).0, 0.1, 1e-9);
            check(&bud, form(&curve, t90).0, 0.9, 1e-9);
        }
    }
}

/// The order of both tables is the order of growth: a bud never grows hardier as it opens.
#[test]
fn no_bud_grows_hardier_as_it_opens() {
    for pair in [PENN_STATE, MICHIGAN_STATE].iter().flat_map(|table| table.windows(2)) {
        if let [(fruit, stage, t10, t90, ..), (next_fruit, _, next_t10, next_t90, ..)] = pair {
            assert!(fruit != next_fruit || (t10 <= next_t10 && t90 <= next_t90), "{fruit} after {stage}");
        }
    }
}
