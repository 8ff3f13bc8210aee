//! night
pub mod cover;
pub mod exposure;
