//! Plan to subject, plain text and HTML: the only place with prose for growers.
//!
//! A message is first a [`Letter`], which says everything once in short texts; plain text and HTML are two ways to set
//! it. A reader who sees only the subject knows enough; the plain text is complete in 78 columns and can be read aloud.

mod ahead;
mod by_day;
mod by_hand;
pub mod calendar;
mod cautions;
mod changes;
pub mod cold_night;
pub mod document;
mod entries;
pub mod explain;
pub mod growth;
pub mod hand_out;
mod instructions;
pub mod journal_list;
pub mod learned;
mod letter;
mod look_again;
mod morning_after;
mod not_reached;
mod ready;
mod reasons;
pub mod season_page;
mod sentences;
mod store_away;
mod typeset;
mod work_order;

pub use ahead::ahead_letter;
pub use by_day::too_hot_letter;
pub use letter::{Context, Letter, Reader, evening_letter};
pub use look_again::{AtRiskOf, look_again_letter, quoted};
pub use morning_after::{NightOver, morning_after_letter};
pub use not_reached::{Fate, MissedRound, Quoted, Unreached, not_reached_letter, untold};
pub use ready::remark;
pub use sentences::caution;
pub use store_away::{store_away_letter, store_is_away};
pub use typeset::{html, plain_text};
