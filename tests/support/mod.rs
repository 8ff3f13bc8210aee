//! What several test files share.
#![allow(dead_code, reason = "each test file uses its own part of this")]

pub mod feed;
pub mod golden;
pub mod installation;
pub mod outbox_rows;
pub mod smtp_sink;
pub mod weather_documents;
