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

    /// Processor time so far, the system's part of it too (proc(5): fields 14 and 15
    /// of `stat`, in hundredths).
    pub fn processor_time(&self) -> Duration {
        let stat = fs::read_to_string(format!("/proc/{}/stat", self.child.id()));
        let stat = stat.expect("proc(5)");
        let (_, rest) = stat.rsplit_once(')').expect("a name in brackets");
        let fields: Vec<&str> = rest.split_whitespace().collect();
        let hundredths = |field: usize| fields[field - 3].parse::<u64>().expect("a number");
        Duration::from_millis(10 * (hundredths(14) + hundredths(15)))
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
