//! How much a frost harmed, in six classes that anybody can tell apart at the bed.

use crate::units::Probability;
use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;

/// How much of a planting is harmed.
///
/// The scale is our own; that damage is scored in a few classes of plants or leaf area harmed is common practice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "u8", into = "u8")]
pub struct DamageClass(u8);

/// Words, and the share of the planting harmed that each class stands for: from, to.
const SCALE: [(&str, f64, f64); 6] = [
    ("none: nothing to see", 0.0, 0.01),
    ("traces: a few leaf tips or edges", 0.01, 0.1),
    ("slight: some leaves on some plants", 0.1, 0.3),
    ("marked: about half of it", 0.3, 0.6),
    ("heavy: most of it, the hearts still sound", 0.6, 0.9),
    ("dead: nothing will grow again", 0.9, 1.0),
];

impl DamageClass {
    /// All of them, none first.
    pub fn all() -> impl Iterator<Item = DamageClass> {
        (0..6).map(DamageClass)
    }

    /// The class of a number, or what the scale is.
    ///
    /// ```
    /// # use counterpane::crops::damage::DamageClass;
    /// assert_eq!(DamageClass::new(5).map(|class| class.words()), Ok("dead: nothing will grow again"));
    /// assert!(DamageClass::new(7).unwrap_err().starts_with("There is no class 7."));
    /// ```
    pub fn new(number: u8) -> Result<DamageClass, String> {
        if usize::from(number) < SCALE.len() {
            return Ok(DamageClass(number));
        }
        let scale: Vec<String> = DamageClass::all().map(|class| format!("  {} {}", class.0, class.words())).collect();
        Err(format!("There is no class {number}. The classes are:\n{}", scale.join("\n")))
    }

    /// Its number, 0 to 5.
    pub fn number(self) -> u8 {
        self.0
    }

    fn row(self) -> (&'static str, f64, f64) {
        SCALE.get(usize::from(self.0)).copied().unwrap_or(("none", 0.0, 0.0))
    }

    /// The class in words.
    pub fn words(self) -> &'static str {
        self.row().0
    }

    /// The part of the plants' green that is harmed, 0 to 1: from and to. Edges are assumed, in the steps an eye can
    /// tell apart; neighbours meet.
    pub fn share(self) -> RangeInclusive<f64> {
        let (_, from, to) = self.row();
        from..=to
    }

    /// The middle of [`DamageClass::share`].
    pub fn typical(self) -> Probability {
        let (_, from, to) = self.row();
        Probability((from + to) / 2.0)
    }
}

impl TryFrom<u8> for DamageClass {
    type Error = String;
    fn try_from(number: u8) -> Result<DamageClass, String> {
        DamageClass::new(number)
    }
}

impl From<DamageClass> for u8 {
    fn from(class: DamageClass) -> u8 {
        class.0
    }
}

/// Whether what was harmed can still be used. Whether it is safe to eat is for an extension service to say.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Usable {
    Yes,
    Partly,
    No,
}

crate::words::words!(Usable { Yes = "yes", Partly = "partly", No = "no" });

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_classes_cover_all_harm_once_and_in_order() {
        let mut end = 0.0;
        for class in DamageClass::all() {
            let share = class.share();
            assert_eq!(*share.start(), end, "{}", class.words());
            assert!(share.contains(&class.typical().0));
            end = *share.end();
        }
        assert_eq!(end, 1.0);
    }

    #[test]
    fn no_class_comes_in_by_a_file_that_none_may_be_typed() {
        assert_eq!(serde_json::from_str::<DamageClass>("4").ok(), DamageClass::new(4).ok());
        assert!(serde_json::from_str::<DamageClass>("6").is_err());
    }
}
