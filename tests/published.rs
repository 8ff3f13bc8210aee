//! The formulas against rows of other authors: each table has its source above it, and a tolerance that is the printed
//! precision or the known difference of two formulas, not what happens to pass.

mod published {
    #[path = "../bench/psychrometer.rs"]
    mod psychrometer;

    mod buds;
    mod cooling;
    mod dose;
    mod dose_fit;
    mod humidity;
    mod leaf;
    mod learn;
    mod radiation;
    mod score;
    mod sun;

    /// Compares one number with its row.
    #[track_caller]
    pub fn check(what: &str, found: f64, expected: f64, tolerance: f64) {
        assert!((found - expected).abs() <= tolerance, "{what}: {found}, row {expected} within {tolerance}");
    }
}
