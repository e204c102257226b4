//! What is there still to do, and who does it next?
//!
//! In: files and uploads of an event ([`Engine::add`], [`Engine::add_upload`]).
//! Out: recordings, their segments, their words, and lines that can be found,
//! all in the store. Nothing is handed from step to step in memory.
//!
//! ```text
//! add ─┬─ probe ─ detect ─┐                 ┌─ transcribe ─┐
//!      └─ probe ─ detect ─┴─ align ─ group ─┴─ transcribe ─┴─ voices ─ meaning
//! ```
//! `meaning` only while there is a model for it.
//!
//! One file a step, in `steps/`.
//!
//! - The queue is rows of the store ([`crate::store::Claim`], leases). A step
//!   reads, works with no transaction open, and writes its output, 'done' and
//!   the next job in one transaction. Killed at any instant, a step has written
//!   all or nothing; `transcribe` writes window by window and goes on behind the
//!   last one written.
//! - Workers are threads of their own, never the async ones: some for the light
//!   steps, some for `transcribe`, which share one model, loaded when first needed.
//! - An error that may pass is tried again, later each time, a few times; any
//!   other ends that file's way, and the others go on. A full disk is waited for.
//!
//! This room never writes to an original, never knows SQL, never answers HTTP.
//!
//! Cost of the queue itself (unoptimised build, two cores): a claim among 10,000
//! jobs of 20 events 0.5 ms, of which nearly all is the `fsync` of its commit
//! (without it 0.02 ms); 10,000 files added in 0.9 s with 4 MiB more memory. A
//! step costs two commits, a file of silence six.

mod add;
mod change;
mod config;
mod engine;
mod error;
mod held;
mod look;
mod meaning;
mod names;
mod owner;
mod people;
mod sending;
mod steps;
mod takes;
#[cfg(test)]
mod tests;
mod time_left;
mod upload;
mod walk;
mod worker;

pub use add::{Accepted, Add, AddReport, Already, Refused};
pub use change::{Change, What};
pub use config::{EngineConfig, Model, ShelfModel};
pub use engine::{Engine, Idle};
pub use error::JobsError;
pub use look::{Listed, Listing, look_into};
pub use meaning::Meant;
pub use sending::{KEPT_FOR, NewSending, Pouring, Sending, SendingError};
pub use time_left::Status;
pub use upload::{Upload, safe_name};
pub use walk::Roots;
