//! Chores, written in the language of the project: set-up, demo, tests,
//! benches and the scenes they are made of. `cargo xtask --help` lists them.
//!
//! As a library it lends the tests what they are held against: programs, real
//! recordings and models, in [`oracle`], and recordings of made-up events, in
//! [`scene`].

pub mod bench;
pub mod check;
pub mod demo;
pub mod oracle;
pub mod process;
pub mod scene;
pub mod setup;

use std::path::{Path, PathBuf};

/// The root of the repository this was built from.
pub fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).unwrap_or(here).to_path_buf()
}
