//! Runs `cargo test` and counts what it says, so that a run without tests, or
//! with tests left out, does not pass for a good one.

use crate::process::shown;
use anyhow::{Context, Result, bail};
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};

/// Tests of one run.
#[derive(Clone, Copy, Default, PartialEq, Eq, Debug)]
pub(super) struct Tally {
    pub passed: u64,
    pub failed: u64,
    pub ignored: u64,
}

impl Tally {
    /// Adds the numbers of a line like
    /// `test result: ok. 7 passed; 0 failed; 0 ignored; …`.
    fn read(&mut self, line: &str) {
        let Some((_, counts)) = line
            .strip_prefix("test result: ")
            .and_then(|rest| rest.split_once(". "))
        else {
            return;
        };
        for part in counts.split(';') {
            let mut words = part.split_whitespace();
            let (Some(Ok(count)), Some(what)) = (words.next().map(str::parse::<u64>), words.next())
            else {
                continue;
            };
            match what {
                "passed" => self.passed += count,
                "failed" => self.failed += count,
                "ignored" => self.ignored += count,
                _ => {}
            }
        }
    }
}

/// Runs the tests, passing on what they print.
pub(super) fn run(command: &mut Command) -> Result<Tally> {
    println!("$ {}", shown(command));
    let mut child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .with_context(|| format!("could not start: {}", shown(command)))?;
    let mut tally = Tally::default();
    let mut out = std::io::stdout().lock();
    if let Some(stdout) = child.stdout.take() {
        let mut lines = BufReader::new(stdout);
        let mut line = Vec::new();
        while lines.read_until(b'\n', &mut line)? > 0 {
            out.write_all(&line)?;
            tally.read(&String::from_utf8_lossy(&line));
            line.clear();
        }
    }
    drop(out);
    let status = child.wait()?;
    verdict(tally, status.success())
}

fn verdict(tally: Tally, succeeded: bool) -> Result<Tally> {
    let Tally {
        passed,
        failed,
        ignored,
    } = tally;
    if !succeeded || failed > 0 {
        bail!("{passed} passed, {failed} failed");
    }
    if ignored > 0 {
        bail!("{ignored} tests are ignored; every test runs or goes");
    }
    if passed == 0 {
        bail!("no test ran");
    }
    Ok(tally)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_counts_of_several_binaries_add_up() {
        let mut tally = Tally::default();
        for line in [
            "running 9 tests",
            "test a::b ... ok",
            "test result: ok. 7 passed; 0 failed; 1 ignored; 0 measured; 3 filtered out; finished in 0.00s",
            "test result: FAILED. 1 passed; 2 failed; 0 ignored; 0 measured; 0 filtered out; finished in 0.01s",
        ] {
            tally.read(line);
        }
        let expected = Tally {
            passed: 8,
            failed: 2,
            ignored: 1,
        };
        assert_eq!(tally, expected);
    }

    #[test]
    fn only_a_whole_good_run_passes() {
        let good = Tally {
            passed: 8,
            failed: 0,
            ignored: 0,
        };
        assert!(verdict(good, true).is_ok());
        assert!(verdict(good, false).is_err(), "cargo itself failed");
        assert!(verdict(Tally::default(), true).is_err(), "nothing ran");
        assert!(verdict(Tally { ignored: 1, ..good }, true).is_err());
        assert!(verdict(Tally { failed: 1, ..good }, true).is_err());
    }
}
