//! `cargo xtask bench`: how fast, how right, how much memory. Figures come
//! from this machine and say so by their user CPU time, which other work on it
//! disturbs least.

mod ingest;
mod steps;
mod watch;

use crate::process::{self, cargo, output};
use crate::setup::{self, Purpose};
use anyhow::{Result, bail};

/// What to measure.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Names of benches; all when none is given. Beside `ingest` they are the
    /// bench targets of the packages, in tests/bench.
    names: Vec<String>,
    /// Length of the recording that `ingest` takes in [default: 4]; several,
    /// parted by commas, for the cost curve of `clock` [default: 1,2,4,8].
    #[arg(long, value_name = "HOURS", value_delimiter = ',')]
    hours: Vec<f64>,
    /// How many days `clock` is measured on [default: 50].
    #[arg(long, value_name = "N")]
    seeds: Option<u64>,
    /// The first of their seeds [default: 101].
    #[arg(long, value_name = "SEED")]
    from: Option<u64>,
    /// `clock` without its cost curve.
    #[arg(long)]
    no_cost: bool,
    /// Only name the benches.
    #[arg(long)]
    list: bool,
}

/// Takes in a long recording; speed of each step and peak memory.
const INGEST: &str = "ingest";

/// How exactly recordings come to one clock; takes options of its own.
const CLOCK: &str = "clock";

/// A bench target.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Target {
    package: String,
    name: String,
}

/// Runs the named benches and prints their tables.
///
/// # Errors
/// When a name is unknown, a bench fails, or a figure misses its bound.
pub fn run(args: &Args) -> Result<()> {
    let metadata = output(cargo().args(["metadata", "--format-version=1", "--no-deps"]))?;
    let targets = targets(&serde_json::from_str(&metadata)?);
    let known: Vec<&str> = std::iter::once(INGEST)
        .chain(targets.iter().map(|target| target.name.as_str()))
        .collect();
    if args.list {
        println!("{}", known.join("\n"));
        return Ok(());
    }
    if let Some(unknown) = args
        .names
        .iter()
        .find(|name| !known.contains(&name.as_str()))
    {
        bail!(
            "no bench is called '{unknown}'; there are {}",
            known.join(", ")
        );
    }
    setup::prepare(Purpose::Tests)?;
    let wanted = |name: &str| args.names.is_empty() || args.names.iter().any(|one| one == name);
    for target in targets.iter().filter(|target| wanted(&target.name)) {
        println!("\n=== {}", target.name);
        let mut bench = cargo();
        bench.args(["bench", "--locked", "--package", &target.package]);
        bench.args(["--bench", &target.name]);
        if target.name == CLOCK {
            bench.arg("--").args(clock_options(args));
        }
        process::run(&mut bench)?;
    }
    if wanted(INGEST) {
        println!("\n=== {INGEST}");
        ingest::run(args.hours.first().copied().unwrap_or(4.0))?;
    }
    Ok(())
}

fn clock_options(args: &Args) -> Vec<String> {
    let mut options = Vec::new();
    let mut add = |name: &str, value: Option<String>| {
        options.extend(
            value
                .map(|value| [name.to_owned(), value])
                .into_iter()
                .flatten(),
        );
    };
    add("--seeds", args.seeds.map(|seeds| seeds.to_string()));
    add("--from", args.from.map(|from| from.to_string()));
    let hours: Vec<String> = args.hours.iter().map(f64::to_string).collect();
    add("--hours", (!hours.is_empty()).then(|| hours.join(",")));
    if args.no_cost {
        options.push("--no-cost".to_owned());
    }
    options
}

fn targets(metadata: &serde_json::Value) -> Vec<Target> {
    let list = |value: &serde_json::Value| value.as_array().cloned().unwrap_or_default();
    let mut found = Vec::new();
    for package in list(&metadata["packages"]) {
        for target in list(&package["targets"]) {
            if target["kind"][0] == "bench"
                && let (Some(package), Some(name)) =
                    (package["name"].as_str(), target["name"].as_str())
            {
                let (package, name) = (package.to_owned(), name.to_owned());
                found.push(Target { package, name });
            }
        }
    }
    found
}

/// `1:02:03` of a length in milliseconds.
fn clock(ms: u64) -> String {
    let seconds = (ms + 500) / 1000;
    format!(
        "{}:{:02}:{:02}",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bench_targets_are_read_from_cargo() {
        let metadata = serde_json::json!({"packages": [{"name": "sayback", "targets": [
            {"kind": ["lib"], "name": "sayback"},
            {"kind": ["bench"], "name": "detect"},
        ]}]});
        let expected = Target {
            package: "sayback".into(),
            name: "detect".into(),
        };
        assert_eq!(targets(&metadata), [expected]);
    }

    #[test]
    fn options_of_the_clock_are_handed_on() {
        let args = Args {
            names: Vec::new(),
            hours: vec![1.0, 2.5],
            seeds: Some(8),
            from: None,
            no_cost: true,
            list: false,
        };
        let options = ["--seeds", "8", "--hours", "1,2.5", "--no-cost"];
        assert_eq!(clock_options(&args), options);
    }

    #[test]
    fn lengths_are_hours_minutes_and_seconds() {
        assert_eq!(clock(14_400_000), "4:00:00");
        assert_eq!(clock(61_499), "0:01:01");
        assert_eq!(clock(0), "0:00:00");
    }
}
