//! The world: the only part of the project that knows a clock, a disk, a network and an environment.
//! Everything outside is arithmetic on values that this part fetches, keeps and sends.

pub mod clock;
pub mod mail;
pub mod outbox;
pub mod store;
