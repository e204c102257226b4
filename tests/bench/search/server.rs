//! The product itself as a process of its own: its memory and its processor time are
//! nobody else's.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// A server on a shelf; it ends with this.
pub struct Server {
    child: Child,
    /// Its address, without a slash at the end.
    pub url: String,
}

impl Server {
    /// The program of this build, on a port of its own.
    pub fn start(folder: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_sayback"))
            .arg("serve")
            .arg("--data")
            .arg(folder)
            .args(["--listen", "127.0.0.1:0"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut said = String::new();
        let out = child.stdout.as_mut().expect("its output");
        let read = BufReader::new(out).read_line(&mut said);
        read.expect("what it says");
        let (_, url) = said.trim().rsplit_once(' ').unwrap_or_default();
        assert!(url.starts_with("http://"), "the server said: {said:?}");
        Self {
            url: url.to_owned(),
            child,
        }
    }

    /// Resident now, and the most so far, MB.
    pub fn memory_mb(&self) -> (f64, f64) {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id()));
        let status = status.expect("proc(5)");
        let kibibytes = |name: &str| {
            let line = status.lines().find_map(|line| line.strip_prefix(name));
            let number = line.and_then(|line| line.split_whitespace().next());
            number.and_then(|n| n.parse::<f64>().ok()).expect("a size")
        };
        let mb = |kibibytes: f64| kibibytes * 1024.0 / 1e6;
        (mb(kibibytes("VmRSS:")), mb(kibibytes("VmHWM:")))
    }

    /// What it has had so far of the processor, over the threads that it has now (the
    /// kernel's `schedstat`: on a core, and waiting for one, ns).
    pub fn run(&self) -> Run {
        let tasks = fs::read_dir(format!("/proc/{}/task", self.child.id()));
        let mut run = Run {
            ran: Duration::ZERO,
            waited: Duration::ZERO,
        };
        for task in tasks.expect("proc(5)") {
            // A thread may have ended meanwhile.
            let path = task.expect("a thread").path().join("schedstat");
            let Ok(text) = fs::read_to_string(path) else {
                continue;
            };
            let mut ns = text.split_whitespace().map_while(|n| n.parse().ok());
            run.ran += Duration::from_nanos(ns.next().unwrap_or(0));
            run.waited += Duration::from_nanos(ns.next().unwrap_or(0));
        }
        run
    }
}

/// What a process has had of the processor, and what it has waited for it.
#[derive(Clone, Copy)]
pub struct Run {
    /// On a core, the system's part of it too.
    pub ran: Duration,
    /// Ready to run and waiting for a core, over all threads.
    pub waited: Duration,
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
