//! counterpane tells a garden, in time, which beds want a cover tonight.
//!
//! ```text
//! feed, thermometer -> Forecast -> Night -> BedNight -> BedRisk -> Plan -> Letter -> outbox -> mail
//!                                    ^         ^           ^         ^
//!                                 offset   exposure      crops    covers, worth, what was last said
//! ```
//!
//! One direction: each arrow is a function from values to a value, and the present is one of its arguments. All of it
//! is arithmetic on values except [`service`], the only room that knows of disk, network, clock and environment.
//!
//! In the order in which it reads best:
//!
//! 1. [`units`]: temperatures, differences, speeds, chances; how they are read, printed and kept plausible.
//! 2. [`zone`]: the time on a garden's wall, and the date a night belongs to.
//! 3. [`weather`]: a forecast, whoever made it; humidity, the sun, radiation.
//! 4. [`night`]: from the forecast to the garden's screen ([`night::screen`]), to each bed's air, plants and soil
//!    ([`night::bed`]), and what a cover adds ([`night::cover`]), each with its spread.
//! 5. [`crops`]: what each part of each crop can stand, with sources; the figures are in the folder `crops/`.
//! 6. [`beds`]: the garden as its manager describes it.
//! 7. [`risk`]: bed and night to expected damage.
//! 8. [`plan`]: one measure for each bed, with its reason; and whether to say it ([`plan::said`]).
//! 9. [`rounds`]: when to look.
//! 10. [`journal`]: what was read, covered, picked and harmed; times as people say them; logs; cold nights.
//! 11. [`message`]: the plan in words, as text, as HTML, and as a document for other programs.
//! 12. [`score`]: predicted nights beside what was observed, and what acting on them would have cost; [`replay`]
//!     foretells the nights of a past record for it, [`chart`] draws it.
//! 13. [`learn`]: published figures moved by what nights have shown, each with its uncertainty; [`lessons`] gathers those
//!     nights from the journal and names the figures.
//! 14. [`season`]: what one winter of a garden came to, and what to change in the next.
//! 15. [`settings`]: files to checked values, or the list of everything that is wrong with them.
//! 16. [`service`]: the world. [`service::look`] gathers and decides, [`service::daemon`] is the loop,
//!     [`service::store`] remembers, [`service::outbox`] and [`service::mail`] hand over, [`service::cli`] is the
//!     command line.
//!
//! `DEVELOPERS.md` has the map, what must stay true, recipes and decisions.

// What comes from outside must be answered, not fallen over. Tests may fall over; so these are not in `Cargo.toml`,
// which speaks for the crates of `tests/` too.
#![cfg_attr(
    not(test),
    warn(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::print_stdout,
        clippy::let_underscore_future
    )
)]

pub mod beds;
pub mod chart;
pub mod crops;
mod hash;
pub mod journal;
pub mod learn;
pub mod lessons;
pub mod message;
pub mod night;
pub mod plan;
pub mod replay;
pub mod risk;
pub mod rounds;
pub mod score;
pub mod season;
pub mod service;
pub mod settings;
pub mod units;
pub mod weather;
mod words;
pub mod zone;
