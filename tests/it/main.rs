//! The product as its users meet it, and what no one here wrote to hold it
//! against. One binary: one link.

mod docker;
mod tidy;
