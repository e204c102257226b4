//! A data folder of its own and the program run on it.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

/// A data folder that goes away, and speech models that stay.
pub(crate) struct Bench {
    /// Everything of this test.
    pub(crate) root: TempDir,
    models: PathBuf,
}

/// How a command went.
pub(crate) struct Run {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// A server, until it is dropped.
pub(crate) struct Served {
    child: Child,
    /// What it said when it was ready.
    pub(crate) said: String,
}

impl Bench {
    /// With the model of the tests.
    pub(crate) fn new() -> Self {
        let model = xtask::oracle::model("tiny.en");
        let models = model.parent().expect("a model lies in a folder");
        Self {
            root: tempfile::tempdir().expect("a folder"),
            models: models.to_path_buf(),
        }
    }

    /// With no model at all.
    pub(crate) fn without_model() -> Self {
        let root = tempfile::tempdir().expect("a folder");
        let models = root.path().join("models");
        Self { root, models }
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }

    /// The program on this folder, nothing of the environment choosing another.
    pub(crate) fn command<S: AsRef<OsStr>>(&self, args: &[S]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
        for name in [
            "SAYBACK_DATA",
            "SAYBACK_MODELS",
            "SAYBACK_MODEL",
            "RUST_LOG",
        ] {
            command.env_remove(name);
        }
        command
            .arg("--data")
            .arg(self.path("data"))
            .arg("--models")
            .arg(&self.models)
            .args(args)
            .current_dir(self.root.path())
            .stdin(Stdio::null());
        command
    }

    pub(crate) fn run<S: AsRef<OsStr>>(&self, args: &[S]) -> Run {
        Run::of(&mut self.command(args))
    }

    /// Runs what must end well and answer in JSON.
    #[track_caller]
    pub(crate) fn json(&self, args: &[&str]) -> Value {
        let run = self.run(args);
        assert_eq!(run.code, 0, "{args:?}: {}", run.err);
        run.json()
    }

    /// Makes an event and says its id.
    #[track_caller]
    pub(crate) fn event(&self, title: &str) -> String {
        let made = self.json(&["event", "new", title, "--json"]);
        made["id"].as_str().expect("an event has an id").to_owned()
    }

    /// Starts a server on this folder.
    pub(crate) fn serve(&self) -> Served {
        Served::of(&mut self.command(&["serve", "--listen", "127.0.0.1:0"]))
    }
}

impl Served {
    /// Starts a server by a command that serves.
    pub(crate) fn of(command: &mut Command) -> Self {
        let mut child = command
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let stdout = child.stdout.take().expect("standard output is a pipe");
        let mut said = String::new();
        BufReader::new(stdout)
            .read_line(&mut said)
            .expect("the server says where it is");
        Served { child, said }
    }
}

impl Run {
    pub(crate) fn of(command: &mut Command) -> Self {
        let output = command.output().expect("the program starts");
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).expect("UTF-8"),
            err: String::from_utf8(output.stderr).expect("UTF-8"),
        }
    }

    #[track_caller]
    pub(crate) fn json(&self) -> Value {
        let read = serde_json::from_str(&self.out);
        read.unwrap_or_else(|e| panic!("{e} in {:?}; it said {}", self.out, self.err))
    }

    /// Asserts how it ended and that standard error says `words`.
    #[track_caller]
    pub(crate) fn says(&self, code: i32, words: &[&str]) {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        for word in words {
            assert!(self.err.contains(word), "no {word:?} in {}", self.err);
        }
        let escapes = self.err.chars().chain(self.out.chars());
        let odd: Vec<char> = escapes.filter(|c| c.is_control() && *c != '\n').collect();
        assert!(odd.is_empty(), "control characters {odd:?} in {}", self.err);
    }
}

impl Served {
    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Asks the server to stop, as a person or the system would.
    pub(crate) fn stop(&mut self) -> i32 {
        signal(self.child.id(), "TERM");
        let status = self.child.wait().expect("the server ends");
        status.code().unwrap_or(-1)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // Only a test that failed half-way comes here with a server running.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Sends a signal to a process that this test started.
pub(crate) fn signal(pid: u32, name: &str) {
    let sent = Command::new("kill")
        .args(["-s", name, &pid.to_string()])
        .status();
    assert!(sent.expect("kill starts").success(), "no process {pid}");
}

/// An answer without what differs from run to run: ids, times of day, measures
/// and the folder of the test. What is left is its shape and its names.
pub(crate) fn redacted(answer: &Value, root: &Path) -> String {
    let mut answer = answer.clone();
    redact(&mut answer, "", &root.to_string_lossy());
    serde_json::to_string_pretty(&answer).expect("JSON can be written")
}

fn redact(value: &mut Value, key: &str, root: &str) {
    let number = value.is_number();
    match value {
        Value::Object(members) => {
            for (name, member) in members {
                redact(member, name, root);
            }
        }
        // Where they stand depends on what a model makes of the words before.
        Value::Array(items) if key == "matched" => {
            *items = vec![format!("[{} spans]", items.len()).into()];
        }
        Value::Array(items) if key == "why" => *items = vec!["[why]".into()],
        Value::Array(items) => {
            for item in items {
                redact(item, key, root);
            }
        }
        Value::String(text) => match key {
            "id" | "intake" | "recording" | "moment" | "job" => *text = "[id]".into(),
            "created_at" | "at" | "solved_at" => *text = "[time]".into(),
            "text" | "play" | "verdict" | "reason" | "channels_why" => *text = format!("[{key}]"),
            _ => *text = text.replace(root, "[root]"),
        },
        _ if number && (key.ends_with("_ms") || is_measure(key)) => {
            *value = format!("[{key}]").into();
        }
        _ => {}
    }
}

fn is_measure(key: &str) -> bool {
    matches!(
        key,
        "confidence"
            | "level_dbfs"
            | "snr_db"
            | "score"
            | "certainty"
            | "rate"
            | "rate_ppm"
            | "agreement"
            | "points"
            | "words"
            | "segments"
            | "version"
    )
}
