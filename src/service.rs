//! The world: the only room that knows of disk, network, clock and environment.
//! Everything outside it is arithmetic on values.

pub mod feed;
