//! counterpane tells a garden, in time, which beds want a cover tonight.
pub mod units;
pub mod zone;
pub mod weather;
pub mod night;
pub mod crops;
pub mod beds;
pub mod rounds;
pub mod settings;
pub mod risk;
pub mod plan;
pub mod message;
pub mod service;
