//! sayback takes in the recordings of an event, finds the speech in every one
//! of them, writes down the words and serves search over who said what and
//! when, in every recording that heard it.
//!
//! The way of the data, one room a step:
//!
//! ```text
//! files ─ media ─ signal ─ clock ─ moments ─ speech ─ text ─ store ─ http / cli / web
//!         open    detect   one     each     words    match  SQL     search, play, export
//!                          clock   once
//! ```
//!
//! `jobs` walks recordings and events along that way, step by step, and can be
//! killed at any instant. `signal`, `clock`, `moments` and `text` live in the
//! package `sayback-core`, which can reach neither file nor network.

pub use sayback_core as core;

pub mod cli;
pub mod export;
pub mod http;
pub mod jobs;
pub mod media;
pub mod speech;
pub mod store;
pub mod web;
