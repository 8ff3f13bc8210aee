//! counterpane tells a garden, in time, which beds want a cover tonight.
pub mod beds;
pub mod crops;
pub mod night;
pub mod rounds;
pub mod settings;
pub mod units;
pub mod weather;
pub mod zone;
