//! What a garden's nights have taught, as far as it acts on lists.

use crate::night::corrections::Corrections;

/// Learned figures that take part; empty is as published.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InUse {
    /// Of forecasts: act at once.
    pub forecasts: Corrections,
}
