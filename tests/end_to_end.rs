//! The real program between a weather service and a relay inside the test, from forecast to mail.
//!
//! Each run is given its own clock. Nothing waits longer than for what is looked for.

mod support;

mod end_to_end {
    mod again;
    mod ahead;
    mod clock;
    mod daemon;
    mod enclosed;
    mod escalation;
    mod evening;
    mod feeds;
    mod look_again;
    mod post;
    mod shared;
    mod taught;
    mod written;
}
