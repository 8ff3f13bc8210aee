//! The world: the only room that knows of disk, network, clock and environment.
//! Everything outside it is arithmetic on values.

pub mod cli;
pub mod clock;
pub mod daemon;
pub mod doctor;
pub mod failpoint;
pub mod feed;
pub mod files;
pub mod health;
pub mod healthz;
pub mod lives;
pub mod look;
pub mod mail;
pub mod notify;
pub mod outbox;
pub mod signs;
pub mod store;
pub mod turns;
pub mod zones;
