//! counterpane tells a garden, in time, which beds want a cover tonight.
pub mod beds;
pub mod crops;
pub mod message;
pub mod night;
pub mod plan;
pub mod risk;
pub mod rounds;
pub mod service;
pub mod settings;
pub mod units;
pub mod weather;
mod words;
pub mod zone;
