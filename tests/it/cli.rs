//! The command line, through the real program: what it answers with and
//! without a server, how it ends, and what it says when things go wrong.

mod bad_day;
mod bad_input;
mod clock;
mod coverage;
mod cut;
mod day;
mod long;
mod one_by_one;
mod run;
mod script;
mod stopping;
mod story;
mod too_large;

pub(crate) use run::{Bench, Run, redacted};
