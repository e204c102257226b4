//! The product as its users meet it, and what no one here wrote to hold it
//! against. One binary: one link.

mod bad_input_media;
mod docker;
mod media;
mod queue;
mod tidy;
