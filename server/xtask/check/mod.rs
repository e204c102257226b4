//! `cargo xtask test`: everything that must hold before a change is taken.

pub mod licences;
mod tally;

use crate::oracle::locate;
use crate::process::{self, cargo, output, succeeds};
use crate::setup::{self, Purpose};
use anyhow::{Context, Result, bail};
use std::path::PathBuf;
use std::process::Command;
use std::time::{Duration, Instant};

/// The models that the tests write words down, tell voices apart and find by meaning
/// with.
const MODELS: [&str; 3] = ["tiny.en", "voices", "meaning"];

/// A part of the whole check.
#[derive(Clone, Copy, PartialEq, Eq, Debug, clap::ValueEnum)]
pub enum Part {
    /// `cargo fmt --check`.
    Format,
    /// The licence of every package that is built in.
    Licences,
    /// `cargo clippy`, warnings are errors.
    Lints,
    /// Every test, with what they need.
    Tests,
}

/// Runs the given parts, or all when none is given, in the order of their
/// cost. Prints what each stage took, and closes with how many tests passed.
///
/// # Errors
/// At the first stage that fails. All tests run, also after one has failed.
pub fn run(parts: &[Part]) -> Result<()> {
    let wanted = |part| parts.is_empty() || parts.contains(&part);
    let mut stages = Stages::default();
    let done = stages.run(wanted);
    stages.print();
    if let Some(tally) = done? {
        // The closing line is what other programs read.
        println!("\n{} passed, {} failed", tally.passed, tally.failed);
    }
    Ok(())
}

#[derive(Default)]
struct Stages {
    took: Vec<(&'static str, Duration)>,
}

impl Stages {
    fn run(&mut self, wanted: impl Fn(Part) -> bool) -> Result<Option<tally::Tally>> {
        let purpose = if wanted(Part::Tests) {
            Purpose::Tests
        } else {
            Purpose::Build
        };
        self.stage("set-up", || {
            look_for_components(wanted(Part::Format), wanted(Part::Lints))?;
            setup::prepare(purpose)
        })?;
        if wanted(Part::Format) {
            let form = ["fmt", "--all", "--check"];
            self.stage("format", || process::run(cargo().args(form)))?;
        }
        if wanted(Part::Licences) {
            self.stage("licences", licences::check)?;
        }
        if wanted(Part::Lints) {
            let lints = ["clippy", "--workspace", "--all-targets", "--locked"];
            let strict = ["--", "-D", "warnings"];
            self.stage("lints", || process::run(cargo().args(lints).args(strict)))?;
        }
        if !wanted(Part::Tests) {
            return Ok(None);
        }
        let tests = ["test", "--workspace", "--locked"];
        self.stage("build", || {
            process::run(cargo().args(tests).arg("--no-run"))
        })?;
        self.stage("models", fetch_models)?;
        let every_one = ["--no-fail-fast"];
        self.stage("tests", || tally::run(cargo().args(tests).args(every_one)))
            .map(Some)
    }

    fn stage<T>(&mut self, name: &'static str, work: impl FnOnce() -> Result<T>) -> Result<T> {
        println!("\n=== {name}");
        let begun = Instant::now();
        let done = work();
        self.took.push((name, begun.elapsed()));
        done.with_context(|| format!("stage '{name}'"))
    }

    fn print(&self) {
        println!("\nstage           min:s");
        for (name, took) in &self.took {
            println!("{name:<14} {:>6}", minutes(*took));
        }
        let total = self.took.iter().map(|(_, took)| *took).sum();
        println!("{:<14} {:>6}", "together", minutes(total));
    }
}

fn minutes(took: Duration) -> String {
    let seconds = took.as_secs_f64().round() as u64;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// The parts of Rust that a minimal installation leaves out.
fn look_for_components(format: bool, lints: bool) -> Result<()> {
    let wanted = [(format, "fmt"), (lints, "clippy")];
    for (_, command) in wanted.iter().filter(|(wanted, _)| *wanted) {
        if !succeeds(cargo().args([command, "--version"])) {
            bail!(
                "`cargo {command}` is not installed. Run this, then start again:\n\n    \
                 rustup component add rustfmt clippy\n"
            );
        }
    }
    Ok(())
}

/// The program fetches its own models, as a user's would.
fn fetch_models() -> Result<()> {
    for model in MODELS {
        if locate::model(model).is_ok() {
            println!("{model} is there");
            continue;
        }
        let program = built("debug")?;
        process::run(Command::new(program).args(["model", "get", model]))?;
        // The tests look on that shelf: they must agree with the program about it.
        locate::model(model)?;
    }
    Ok(())
}

/// The program as the given profile builds it, in this workspace's target
/// folder.
///
/// # Errors
/// When cargo can't say where that is, or the program was not built.
pub fn built(profile: &str) -> Result<PathBuf> {
    let metadata = output(cargo().args(["metadata", "--format-version=1", "--no-deps"]))?;
    let metadata: serde_json::Value = serde_json::from_str(&metadata)?;
    let target = metadata["target_directory"]
        .as_str()
        .context("cargo metadata names no target directory")?;
    let program = PathBuf::from(target).join(profile).join("sayback");
    if !program.is_file() {
        bail!("{} was not built", program.display());
    }
    Ok(program)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_minutes_and_seconds() {
        assert_eq!(minutes(Duration::from_millis(59_600)), "1:00");
        assert_eq!(minutes(Duration::from_secs(754)), "12:34");
        assert_eq!(minutes(Duration::ZERO), "0:00");
    }

    #[test]
    fn a_failed_stage_is_named_and_timed() {
        let mut stages = Stages::default();
        let failed: Result<()> = stages.stage("lints", || bail!("a warning"));
        let error = failed.expect_err("the work failed");
        assert_eq!(format!("{error:#}"), "stage 'lints': a warning");
        assert_eq!(stages.took.len(), 1);
    }
}
