//! counterpane tells a garden, in time, which beds want a cover tonight.

pub mod crops;
pub mod service;
pub mod units;
pub mod weather;
pub mod zone;
