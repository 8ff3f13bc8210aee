//! The world: the only room that knows of disk, network, clock and environment.
//! Everything outside it is arithmetic on values.

pub mod cli;
pub mod clock;
pub mod daemon;
pub mod failpoint;
pub mod feed;
pub mod files;
pub mod look;
pub mod mail;
pub mod outbox;
pub mod store;
