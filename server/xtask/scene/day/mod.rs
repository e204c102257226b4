//! What does a whole day sound like on many recorders, cheaply?
//!
//! Days of hours, for the clock: rendered straight at the analysis rate, each
//! sound once a microphone, read at the pace of the recorder's own clock, into
//! raw 16-bit files that can be read anywhere. Talk is fresh ([`corpus`]): no
//! utterance comes twice at one speed. In: a [`Day`], written by [`chance`] or
//! [`cases`]. Out: [`Rendered`] files, and by [`truth`] which instants of two
//! recordings are the same.
//!
//! Seconds and metres in specs, ms in truths, dBFS, ppm. Noise and the tail of
//! the room are each microphone's own; only direct sound and what is in the
//! room is shared. Nothing here knows how the clock works.

pub mod cases;
pub mod chance;
pub mod corpus;
pub mod render;
pub mod spec;
pub mod truth;
pub mod yardstick;

pub use chance::Chances;
pub use corpus::Corpus;
pub use render::{Rendered, render, render_take};
pub use spec::{Bed, BedSound, Day, Ear, Part, Said, Stop, Take};
pub use truth::Clock;
