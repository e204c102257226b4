//! Why a command did not do what it was asked.

use serde::Deserialize;
use serde_json::Value;

use super::show::safe;

/// How a command that ran to its end went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Everything asked was done.
    Done,
    /// Nothing was found, or some files could not be taken in.
    Partly,
    /// Somebody pressed Ctrl-C.
    Interrupted,
}

impl Outcome {
    /// The exit code, as `--help` tells it.
    #[must_use]
    pub fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Partly => 1,
            // 128 and the number of SIGINT, as shells have it.
            Self::Interrupted => 130,
        }
    }
}

/// Why a command failed.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// The command line makes no sense together with what is there.
    #[error("{0}")]
    Usage(String),
    /// The service refused.
    #[error("{0}")]
    Refused(Box<Problem>),
    /// The server of this data folder cannot be reached.
    #[error(
        "the server at {url} does not answer ({cause}); \
         look at its log, or stop it and try again without it"
    )]
    Unreachable {
        /// Its address.
        url: String,
        /// Why.
        cause: String,
    },
    /// The service answered something this version does not understand.
    #[error(
        "the answer to {path} makes no sense ({cause}); are server and command of one version?"
    )]
    Answer {
        /// What was asked.
        path: String,
        /// Why.
        cause: String,
    },
    /// Whoever read standard output has read enough.
    #[error("standard output was closed")]
    Closed,
    /// Anything else.
    #[error(transparent)]
    Other(#[from] anyhow::Error),
}

impl CliError {
    /// The exit code, as `--help` tells it.
    #[must_use]
    pub fn code(&self) -> u8 {
        match self {
            Self::Usage(_) => 2,
            // `sayback find … | head -3` did what it was asked.
            Self::Closed => 0,
            _ => 3,
        }
    }

    /// What to do next, where the message does not say.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        let Self::Refused(problem) = self else {
            return None;
        };
        let hint = match problem.kind.rsplit(':').next()? {
            "no-such-event" => "`sayback event list` shows the events",
            "changed-meanwhile" => "`sayback fix show ID` tells what stands, and its version",
            "no-such-moment" => "`sayback fix list RECORDING` shows the moments",
            "no-such-recording" => "`sayback event show EVENT` shows the recordings",
            _ => return None,
        };
        Some(hint.to_owned())
    }
}

/// What the service says when it refuses (RFC 9457).
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Problem {
    /// What kind.
    #[serde(rename = "type", default)]
    pub kind: String,
    /// The kind in a few words.
    #[serde(default)]
    pub title: String,
    /// What went wrong and what to do.
    #[serde(default)]
    pub detail: String,
    /// Which part of the request is at fault.
    #[serde(default)]
    pub field: Option<String>,
    /// Under which id the log has it.
    #[serde(default)]
    pub instance: Option<String>,
    /// The HTTP status.
    #[serde(default)]
    pub status: u16,
    /// What was sent, where somebody was quicker.
    #[serde(default)]
    pub yours: Value,
    /// What stands there.
    #[serde(default)]
    pub theirs: Value,
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Some(field) = &self.field {
            write!(f, "{}: ", safe(field))?;
        }
        let said = if self.detail.is_empty() {
            &self.title
        } else {
            &self.detail
        };
        write!(f, "{}", safe(said))?;
        match &self.instance {
            Some(instance) if self.status >= 500 => write!(f, " ({})", safe(instance)),
            _ => Ok(()),
        }
    }
}
