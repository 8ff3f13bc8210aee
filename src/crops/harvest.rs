//! What a crop's taste and keeping ask of whoever picks it.

/// What is known of picking a crop, beside how it is taken. All of it common practice.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Harvest {
    /// What a frost that it stands does for its flavour, in a word or two: `sweeter`.
    pub better_after_frost: Option<String>,
    /// How long it stays good once it is ready, and what becomes of it then.
    pub past_best: Option<PastBest>,
}

/// A crop that does not wait.
#[derive(Clone, Debug, PartialEq)]
pub struct PastBest {
    /// Days from ready to past its best, 1 to 60.
    pub days: u16,
    /// What becomes of it: `turns woody and bitter`.
    pub what: String,
}
