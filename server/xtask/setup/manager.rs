//! The system's package manager, and whether it may be used.

use crate::process::{on_path, run, shown, succeeds};
use anyhow::{Result, bail};
use std::process::Command;

/// A package manager this set-up knows how to call.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Manager {
    /// Debian and what is made from it.
    Apt,
    /// The same manager where some packages have other names.
    AptUbuntu,
    /// Fedora and its kin.
    Dnf,
    /// Arch.
    Pacman,
    /// macOS.
    Brew,
}

/// What this user may do.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Right {
    /// Install, as the command stands.
    Directly,
    /// Install through sudo, which asks for no password.
    BySudo,
    /// Not install.
    None,
}

impl Manager {
    /// The one this machine has, if it is known here.
    pub fn of_this_machine() -> Option<Manager> {
        let order = [
            (Manager::Apt, "apt-get"),
            (Manager::Dnf, "dnf"),
            (Manager::Pacman, "pacman"),
            (Manager::Brew, "brew"),
        ];
        let (manager, _) = order
            .into_iter()
            .find(|(_, program)| on_path(program).is_some())?;
        let release = std::fs::read_to_string("/etc/os-release").unwrap_or_default();
        if manager == Manager::Apt && release.lines().any(|line| line == "ID=ubuntu") {
            return Some(Manager::AptUbuntu);
        }
        Some(manager)
    }

    /// The program's name.
    pub fn program(self) -> &'static str {
        match self {
            Manager::Apt | Manager::AptUbuntu => "apt-get",
            Manager::Dnf => "dnf",
            Manager::Pacman => "pacman",
            Manager::Brew => "brew",
        }
    }

    /// Installs the packages, or says how somebody with the right to do so
    /// would.
    ///
    /// # Errors
    /// Without the right to install, with the exact command; when the
    /// manager fails.
    pub fn install(self, packages: &[&str]) -> Result<()> {
        self.carry_out(|right| self.commands(right, packages))
    }

    /// Has apt fetch the lists of what there is; the others do so by
    /// themselves.
    ///
    /// # Errors
    /// As [`Manager::install`].
    pub fn refresh(self) -> Result<()> {
        self.carry_out(|right| {
            let mut commands = self.commands(right, &[]);
            commands.pop();
            commands
        })
    }

    fn carry_out(self, commands: impl Fn(Right) -> Vec<Command>) -> Result<()> {
        match self.right() {
            Right::None => {
                let by_hand: Vec<String> = commands(Right::BySudo)
                    .iter()
                    .map(shown)
                    .map(|line| line.replacen("sudo -n ", "sudo ", 1))
                    .collect();
                bail!(
                    "this user may not install packages. Run this, then start again:\n\n    {}\n",
                    by_hand.join(" && ")
                );
            }
            right => {
                for mut command in commands(right) {
                    run(&mut command)?;
                }
                Ok(())
            }
        }
    }

    fn right(self) -> Right {
        if self == Manager::Brew || is_root() {
            Right::Directly
        } else if succeeds(Command::new("sudo").args(["-n", "true"])) {
            Right::BySudo
        } else {
            Right::None
        }
    }

    fn commands(self, right: Right, packages: &[&str]) -> Vec<Command> {
        let steps: &[&[&str]] = match self {
            // The lists may be empty on a fresh machine, or too old to fetch by.
            Manager::Apt | Manager::AptUbuntu => &[
                &["apt-get", "update", "--quiet"],
                &[
                    "apt-get",
                    "install",
                    "--yes",
                    "--quiet",
                    "--no-install-recommends",
                ],
            ],
            Manager::Dnf => &[&["dnf", "install", "--assumeyes"]],
            Manager::Pacman => &[&["pacman", "--sync", "--needed", "--noconfirm"]],
            Manager::Brew => &[&["brew", "install"]],
        };
        let mut commands: Vec<Command> = steps
            .iter()
            .map(|words| {
                let mut all = words.to_vec();
                if matches!(self, Manager::Apt | Manager::AptUbuntu) {
                    // Behind sudo, which passes no variables on.
                    all.splice(0..0, ["env", "DEBIAN_FRONTEND=noninteractive"]);
                }
                if right == Right::BySudo {
                    all.splice(0..0, ["sudo", "-n"]);
                }
                let mut command = Command::new(all[0]);
                command.args(&all[1..]);
                command
            })
            .collect();
        if let Some(last) = commands.last_mut() {
            last.args(packages);
        }
        commands
    }
}

fn is_root() -> bool {
    crate::process::output(Command::new("id").arg("-u")).is_ok_and(|uid| uid.trim() == "0")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sudo_is_put_before_every_step() {
        let lines: Vec<String> = Manager::Apt
            .commands(Right::BySudo, &["cmake"])
            .iter()
            .map(shown)
            .collect();
        assert_eq!(
            lines,
            [
                "sudo -n env DEBIAN_FRONTEND=noninteractive apt-get update --quiet",
                "sudo -n env DEBIAN_FRONTEND=noninteractive apt-get install --yes --quiet \
                 --no-install-recommends cmake"
            ]
        );
    }

    #[test]
    fn every_manager_ends_with_the_packages() {
        for manager in [Manager::Apt, Manager::Dnf, Manager::Pacman, Manager::Brew] {
            let commands = manager.commands(Right::Directly, &["one", "two"]);
            let last = shown(commands.last().expect("at least one step"));
            assert!(last.contains(manager.program()), "{last}");
            assert!(last.ends_with(" one two"), "{last}");
        }
    }
}
