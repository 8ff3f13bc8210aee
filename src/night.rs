//! One night near the ground: from the air in the screen to the plant, the soil and the damage.

pub mod cooling;
pub mod dose;
pub mod leaf;
pub mod soil;
