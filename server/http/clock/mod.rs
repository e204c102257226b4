//! Where do the recordings of an event lie? `/events/{event}/clock`.

pub mod picture;
