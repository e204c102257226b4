//! Whose work is built in, and may it be? Reads every package of the lock file
//! by `cargo metadata` and holds its licence against `.deny.toml`.
//!
//! The rules have cargo-deny's form and meaning. The check is our own because
//! cargo-deny 0.20 is 143 more packages to compile on each fresh machine, for
//! an answer that takes this under a second.

use crate::process::{cargo, output};
use anyhow::{Context, Result, anyhow, bail};
use serde::Deserialize;
use spdx::{Expression, Licensee, ParseMode};

#[derive(Deserialize)]
struct File {
    licenses: Table,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    allow: Vec<String>,
    #[serde(default)]
    exceptions: Vec<ExceptionText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ExceptionText {
    #[serde(rename = "crate")]
    package: String,
    allow: Vec<String>,
}

struct Rules {
    allow: Vec<Licensee>,
    exceptions: Vec<(String, Vec<Licensee>)>,
}

#[derive(Deserialize)]
struct Metadata {
    packages: Vec<Package>,
}

#[derive(Deserialize)]
struct Package {
    name: String,
    version: String,
    license: Option<String>,
}

/// Checks every package that any build, test or chore of this workspace takes
/// in, on any system.
///
/// # Errors
/// Naming each package whose licence is missing, unreadable or not allowed,
/// and each exception that nothing needs.
pub fn check() -> Result<()> {
    let path = crate::root().join(".deny.toml");
    let text = std::fs::read_to_string(&path)
        .with_context(|| format!("could not read {}", path.display()))?;
    let rules = Rules::parse(&text).with_context(|| path.display().to_string())?;
    let metadata = output(cargo().args(["metadata", "--format-version=1", "--locked"]))?;
    let metadata: Metadata = serde_json::from_str(&metadata)?;
    let problems = rules.problems(&metadata.packages);
    if !problems.is_empty() {
        bail!("licences:\n  {}", problems.join("\n  "));
    }
    println!(
        "the licences of {} packages are allowed",
        metadata.packages.len()
    );
    Ok(())
}

impl Rules {
    fn parse(text: &str) -> Result<Rules> {
        let file: File = toml::from_str(text)?;
        let exceptions = file.licenses.exceptions.into_iter();
        Ok(Rules {
            allow: licensees(&file.licenses.allow)?,
            exceptions: exceptions
                .map(|one| Ok((one.package, licensees(&one.allow)?)))
                .collect::<Result<_>>()?,
        })
    }

    fn problems(&self, packages: &[Package]) -> Vec<String> {
        let refused = packages.iter().filter_map(|package| {
            let why = self.refusal(package).err()?;
            Some(format!("{} {}: {why}", package.name, package.version))
        });
        let idle = self
            .exceptions
            .iter()
            .filter(|(name, _)| packages.iter().all(|package| package.name != *name))
            .map(|(name, _)| format!("the exception for {name} is no longer needed"));
        refused.chain(idle).collect()
    }

    fn refusal(&self, package: &Package) -> Result<()> {
        let text = package
            .license
            .as_deref()
            .ok_or_else(|| anyhow!("states no licence"))?;
        // Old packages write "MIT/Apache-2.0" for "MIT OR Apache-2.0".
        let expression = Expression::parse_mode(text, ParseMode::LAX)
            .map_err(|error| anyhow!("can't read its licence '{text}': {}", error.reason))?;
        let own = self
            .exceptions
            .iter()
            .filter(|(name, _)| *name == package.name)
            .flat_map(|(_, allow)| allow);
        let allowed: Vec<&Licensee> = self.allow.iter().chain(own).collect();
        let met = expression.evaluate(|asked| allowed.iter().any(|one| one.satisfies(asked)));
        if !met {
            bail!("{text} is not allowed");
        }
        Ok(())
    }
}

fn licensees(names: &[String]) -> Result<Vec<Licensee>> {
    names
        .iter()
        .map(|name| Licensee::parse(name).map_err(|error| anyhow!("'{name}': {}", error.reason)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULES: &str = r#"
        [licenses]
        allow = ["MIT", "ISC", "Apache-2.0 WITH LLVM-exception"]
        exceptions = [{ crate = "decoder", allow = ["MPL-2.0"] }]
    "#;

    fn problems(packages: &[(&str, Option<&str>)]) -> Vec<String> {
        let decoder = ("decoder", Some("MPL-2.0"));
        let packages: Vec<Package> = std::iter::once(&decoder)
            .chain(packages)
            .map(|(name, license)| Package {
                name: (*name).to_owned(),
                version: "1.0.0".to_owned(),
                license: license.map(str::to_owned),
            })
            .collect();
        Rules::parse(RULES).expect("good rules").problems(&packages)
    }

    #[test]
    fn one_allowed_choice_is_enough_but_every_part_must_be_allowed() {
        assert_eq!(problems(&[("a", Some("MIT OR GPL-3.0-only"))]), [""; 0]);
        assert_eq!(problems(&[("a", Some("GPL-3.0-only/MIT"))]), [""; 0]);
        assert_eq!(
            problems(&[("a", Some("MIT AND GPL-3.0-only"))]),
            ["a 1.0.0: MIT AND GPL-3.0-only is not allowed"]
        );
        assert_eq!(
            problems(&[("a", Some("ISC AND (GPL-2.0 OR MIT)"))]),
            [""; 0]
        );
    }

    #[test]
    fn a_licence_with_an_exception_is_not_the_plain_one() {
        assert_eq!(
            problems(&[("a", Some("Apache-2.0 WITH LLVM-exception"))]),
            [""; 0]
        );
        assert_eq!(problems(&[("a", Some("Apache-2.0"))]).len(), 1);
    }

    #[test]
    fn an_exception_holds_for_its_package_alone() {
        assert_eq!(
            problems(&[("other", Some("MPL-2.0"))]),
            ["other 1.0.0: MPL-2.0 is not allowed"]
        );
    }

    #[test]
    fn no_licence_and_nonsense_are_refused() {
        assert_eq!(problems(&[("a", None)]), ["a 1.0.0: states no licence"]);
        assert!(problems(&[("a", Some("do as you like"))])[0].contains("can't read"));
    }

    #[test]
    fn an_exception_without_its_package_is_reported() {
        let problems = Rules::parse(RULES).expect("good rules").problems(&[]);
        assert_eq!(problems, ["the exception for decoder is no longer needed"]);
    }
}
