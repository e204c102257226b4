//! Starting other programs: a command is shown before it runs, and named when
//! it fails.

use anyhow::{Context, Result, bail};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The command as a person would type it.
pub fn shown(command: &Command) -> String {
    std::iter::once(command.get_program())
        .chain(command.get_args())
        .map(|part| quoted(&part.to_string_lossy()))
        .collect::<Vec<_>>()
        .join(" ")
}

fn quoted(part: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=:,+@%".contains(c);
    if !part.is_empty() && part.chars().all(plain) {
        part.to_owned()
    } else {
        format!("'{}'", part.replace('\'', "'\\''"))
    }
}

/// Shows the command, runs it and fails unless it succeeds. It has no
/// standard input: nothing may wait for an answer.
pub fn run(command: &mut Command) -> Result<()> {
    println!("$ {}", shown(command));
    let status = command
        .stdin(Stdio::null())
        .status()
        .with_context(|| format!("could not start: {}", shown(command)))?;
    if !status.success() {
        bail!("failed ({status}): {}", shown(command));
    }
    Ok(())
}

/// Runs the command quietly and gives what it printed; on failure the error
/// holds what it complained about.
pub fn output(command: &mut Command) -> Result<String> {
    let done = command
        .stdin(Stdio::null())
        .output()
        .with_context(|| format!("could not start: {}", shown(command)))?;
    if !done.status.success() {
        bail!(
            "failed ({}): {}\n{}",
            done.status,
            shown(command),
            String::from_utf8_lossy(&done.stderr).trim_end()
        );
    }
    Ok(String::from_utf8_lossy(&done.stdout).into_owned())
}

/// Whether the command can be started and succeeds, with nothing shown.
pub fn succeeds(command: &mut Command) -> bool {
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

/// Lets the command take this program's place, so that it alone hears Ctrl-C
/// and its exit code is the one that counts.
///
/// # Errors
/// When it can't be started.
#[cfg(unix)]
pub fn become_it(mut command: Command) -> Result<()> {
    use std::os::unix::process::CommandExt;
    let error = command.exec();
    Err(error).with_context(|| format!("could not start: {}", shown(&command)))
}

/// Runs the command in the foreground until it ends.
///
/// # Errors
/// When it can't be started or fails.
#[cfg(not(unix))]
pub fn become_it(mut command: Command) -> Result<()> {
    run(&mut command)
}

/// Where a program lies on the search path.
pub fn on_path(name: &str) -> Option<PathBuf> {
    on(&std::env::var_os("PATH")?, name)
}

fn on(search_path: &OsStr, name: &str) -> Option<PathBuf> {
    std::env::split_paths(search_path)
        .map(|folder| folder.join(name))
        .find(|file| is_program(file))
}

fn is_program(file: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        std::fs::metadata(file).is_ok_and(|m| m.is_file() && m.permissions().mode() & 0o111 != 0)
    }
    #[cfg(not(unix))]
    {
        file.is_file()
    }
}

/// The cargo that runs this chore, so that its toolchain is kept.
pub fn cargo() -> Command {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.current_dir(crate::root());
    command
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shown_command_can_be_pasted() {
        let mut command = Command::new("apt-get");
        command.args(["install", "a b", "it's", "--yes"]);
        assert_eq!(shown(&command), "apt-get install 'a b' 'it'\\''s' --yes");
    }

    #[test]
    fn a_failing_command_is_named_with_its_complaint() {
        let error = output(Command::new("sh").args(["-c", "echo broken >&2; exit 3"]))
            .expect_err("exit code 3 is a failure");
        let text = error.to_string();
        assert!(text.contains("broken") && text.contains("sh -c"), "{text}");
    }

    #[test]
    fn only_programs_are_found_on_the_path() {
        assert!(on_path("sh").is_some());
        assert_eq!(on(OsStr::new("/etc"), "passwd"), None, "not executable");
    }
}
