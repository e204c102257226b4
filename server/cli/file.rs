//! An answer that is kept as a file.

use std::path::Path;

use anyhow::Context;

use super::client::Client;
use super::error::CliError;
use super::show::{remark, safe};

/// Writes the answer at `path` to `file`; what is there already is replaced as a whole.
///
/// # Errors
/// [`CliError::Usage`] for a name with another ending: nobody's recording is written over
/// by a slip. What the service says when it refuses, and when the file can't be written.
pub fn keep(client: &Client, path: &str, file: &Path, ending: &str) -> Result<(), CliError> {
    let ends_so = |end: &std::ffi::OsStr| end.eq_ignore_ascii_case(ending);
    if !file.extension().is_some_and(ends_so) {
        return Err(CliError::Usage(format!(
            "it is written as {}; let the name '{}' end in .{ending}",
            ending.to_uppercase(),
            file.display()
        )));
    }
    let answer = client.get(path)?;
    let half = file.with_extension(format!("{ending}.part"));
    std::fs::write(&half, answer.text())
        .and_then(|()| std::fs::rename(&half, file))
        .with_context(|| format!("cannot write '{}'", file.display()))?;
    remark(&format!("wrote {}", safe(&file.to_string_lossy())));
    Ok(())
}
