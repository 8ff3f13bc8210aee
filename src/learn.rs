//! What the nights teach: coefficients of other places, bent to this one as its own nights come in.

pub mod dusk;
