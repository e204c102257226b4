//! Prepares a machine: looks for what is missing, says what it installs and
//! installs it with the system's own package manager. Without the right to
//! install, it prints the exact command and stops.

mod manager;
mod tools;

use crate::oracle;
use anyhow::{Result, bail};
pub use manager::Manager;
use tools::{BUILD, TESTS, Tool};

/// What a machine is prepared for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Purpose {
    /// Building and using the program.
    Build,
    /// Running every test as well.
    Tests,
}

/// Makes the machine ready for the purpose. Does nothing, in well under two
/// seconds, when all is there.
///
/// # Errors
/// When something is missing and may not be installed, with the command that
/// would install it; when an installation fails; when something has no
/// package on this system.
pub fn prepare(purpose: Purpose) -> Result<()> {
    let wanted = BUILD.iter().chain(match purpose {
        Purpose::Build => &[],
        Purpose::Tests => TESTS,
    });
    let missing: Vec<&Tool> = wanted.filter(|tool| !(tool.is_there)()).collect();
    if missing.is_empty() {
        println!("set-up: programs for {} are all there", purpose.said());
    } else {
        install(&missing)?;
    }
    if purpose == Purpose::Tests {
        oracle::prepare()?;
    }
    Ok(())
}

impl Purpose {
    fn said(self) -> &'static str {
        match self {
            Purpose::Build => "building",
            Purpose::Tests => "building and testing",
        }
    }
}

fn install(missing: &[&Tool]) -> Result<()> {
    println!("set-up: missing on this machine:");
    for tool in missing {
        println!("  {} ({})", tool.name, tool.why);
    }
    let Some(manager) = Manager::of_this_machine() else {
        bail!(
            "no known package manager (apt-get, dnf, pacman, brew) on this machine: \
             install the above by hand, then run this again"
        );
    };
    let packages = packages(missing, manager)?;
    manager.install(&packages)?;
    // A package that installed without bringing its program is found out here
    // and not in the middle of a build.
    let still: Vec<&str> = missing
        .iter()
        .filter(|tool| !(tool.is_there)())
        .map(|tool| tool.name)
        .collect();
    if !still.is_empty() {
        bail!(
            "installed {} but still not found: {}",
            packages.join(" "),
            still.join(", ")
        );
    }
    Ok(())
}

fn packages(missing: &[&Tool], manager: Manager) -> Result<Vec<&'static str>> {
    let mut packages = Vec::new();
    for tool in missing {
        let names = tool.packages(manager);
        if names.is_empty() {
            bail!(
                "{} has no {} package: put it on the search path by hand ({}), then run this again",
                tool.name,
                manager.program(),
                tool.why
            );
        }
        packages.extend_from_slice(names);
    }
    packages.sort_unstable();
    packages.dedup();
    Ok(packages)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: &str) -> &'static Tool {
        BUILD
            .iter()
            .chain(TESTS)
            .find(|tool| tool.name == name)
            .expect("a known tool")
    }

    #[test]
    fn each_package_is_asked_for_once() {
        let compiler = named("C++ compiler");
        let make = named("make");
        let packages = packages(&[make, compiler, make], Manager::Apt).expect("apt has them");
        assert_eq!(packages, ["build-essential"]);
    }

    #[test]
    fn a_tool_without_a_package_is_named_with_its_use() {
        let error = packages(&[named("sclite")], Manager::Dnf).expect_err("not packaged there");
        assert!(error.to_string().contains("sclite"), "{error}");
        assert!(error.to_string().contains("word error rate"), "{error}");
    }

    #[test]
    fn apt_has_every_tool() {
        for tool in BUILD.iter().chain(TESTS) {
            assert!(!tool.packages(Manager::Apt).is_empty(), "{}", tool.name);
            assert!(
                !tool.packages(Manager::AptUbuntu).is_empty(),
                "{}",
                tool.name
            );
        }
    }
}
