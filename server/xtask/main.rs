//! Chores: parse, run, exit code.

use clap::{Parser, Subcommand};
use std::process::ExitCode;
use xtask::check::{self, Part};
use xtask::setup::{self, Purpose};
use xtask::{bench, demo, scene};

/// Chores of this repository.
#[derive(Parser)]
#[command(
    name = "cargo xtask",
    bin_name = "cargo xtask",
    disable_version_flag = true
)]
struct Arguments {
    #[command(subcommand)]
    chore: Chore,
}

#[derive(Subcommand)]
enum Chore {
    /// Install what is missing on this machine.
    ///
    /// Looks for what the build needs (a C++ compiler, make, cmake) and
    /// installs it with the system's package manager, saying what. Without the
    /// right to install it prints the exact command and stops.
    Setup {
        /// Also what the tests need: second decoders, scorers, a browser, a
        /// Python environment with pinned packages, and real recordings.
        #[arg(long)]
        tests: bool,
    },
    /// Build recordings of a made-up event, with the exact truth about them.
    ///
    /// Writes a folder for each recorder and truth.json: where every line is
    /// in every file, what the recorders' clocks did, what clipped.
    Scene(scene::Args),
    /// Run every check, as a change must pass it.
    ///
    /// Prepares the machine (as `setup --tests`), then checks form, licences,
    /// lints and all tests. Closes with what each stage took and how many
    /// tests passed.
    Test {
        /// Only these parts.
        #[arg(value_enum)]
        parts: Vec<Part>,
    },
    /// From a fresh machine to a found line.
    ///
    /// Prepares the machine (as `setup`), builds, fetches the speech model,
    /// makes the demo event and takes in its recordings, prints a found line
    /// with every recording that heard it, and leaves the server running.
    Demo(demo::Args),
    /// Measure speed, accuracy and memory, and print tables.
    Bench(bench::Args),
}

fn main() -> ExitCode {
    let done = match Arguments::parse().chore {
        Chore::Setup { tests: false } => setup::prepare(Purpose::Build),
        Chore::Setup { tests: true } => setup::prepare(Purpose::Tests),
        Chore::Scene(arguments) => scene::run(&arguments),
        Chore::Bench(arguments) => bench::run(&arguments),
        Chore::Demo(arguments) => demo::run(&arguments),
        Chore::Test { parts } => check::run(&parts),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error:#}");
            ExitCode::FAILURE
        }
    }
}
