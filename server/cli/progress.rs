//! How far the work is, told once or until it is done.

use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;

use crate::core::Cancel;

use super::answers::Status;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{count, length, remark, safe};

/// How often the work is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(250);

/// Without a terminal a line is written this often.
const TELL_EVERY: Duration = Duration::from_secs(30);

/// How long all work may be kept waiting by one trouble before it is told.
const PATIENCE: Duration = Duration::from_secs(30);

/// Why the waiting ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Waited {
    /// Nothing is left to do.
    Done,
    /// The queue rests.
    Paused,
    /// Somebody pressed Ctrl-C.
    Interrupted,
    /// Nothing can be done until somebody does something about this.
    Stuck(String),
}

/// The work of one event, or of all.
///
/// # Errors
/// What the service says when it refuses.
pub fn look(client: &Client, event: Option<&str>) -> Result<super::client::Answer, CliError> {
    match event {
        Some(event) => client.get(&format!("/status?event={}", quoted(event))),
        None => client.get("/status"),
    }
}

/// Shows the work on standard error until it is done, the queue is paused, or
/// `cancel` is set; returns also the last status.
///
/// # Errors
/// What the service says when it refuses, and when it stops answering.
pub fn follow(
    client: &Client,
    event: Option<&str>,
    cancel: &Cancel,
) -> Result<(Waited, Status), CliError> {
    let mut display = Display::new();
    let mut moved = Instant::now();
    loop {
        let status: Status = look(client, event)?.read()?;
        let waited = if status.jobs.waiting + status.jobs.running == 0 {
            Some(Waited::Done)
        } else if cancel.is_cancelled() {
            Some(Waited::Interrupted)
        } else if status.paused && status.jobs.running == 0 {
            Some(Waited::Paused)
        } else if status.jobs.running > 0 || trouble(&status).is_none() {
            moved = Instant::now();
            None
        } else if moved.elapsed() > PATIENCE {
            trouble(&status).map(|reason| Waited::Stuck(reason.to_owned()))
        } else {
            None
        };
        if let Some(waited) = waited {
            display.end();
            return Ok((waited, status));
        }
        display.show(&status);
        std::thread::sleep(LOOK_EVERY);
    }
}

/// Follows the work of an event to its end and tells why, if that is not that all
/// is done; returns also the last status.
///
/// # Errors
/// As [`follow`], and when nothing can be done until somebody does something.
pub fn see_through(
    client: &Client,
    event: &str,
    cancel: &Cancel,
) -> Result<(Outcome, Status), CliError> {
    let (waited, status) = follow(client, Some(event), cancel)?;
    let open = count(status.jobs.waiting + status.jobs.running, "step");
    let outcome = match waited {
        Waited::Done => Outcome::Done,
        Waited::Interrupted => {
            remark(&format!(
                "stopped; {open} stay in the queue: `sayback serve`, or adding anything, goes on"
            ));
            Outcome::Interrupted
        }
        Waited::Paused => {
            remark(&format!("the queue is paused; {open} stay in it"));
            Outcome::Partly
        }
        Waited::Stuck(reason) => {
            return Err(anyhow::anyhow!("{reason}; {open} stay in the queue").into());
        }
    };
    Ok((outcome, status))
}

/// What keeps all work waiting: a problem of no file.
fn trouble(status: &Status) -> Option<&str> {
    let all = status
        .problems
        .iter()
        .find(|problem| problem.file.is_empty());
    all.map(|problem| problem.reason.as_str())
}

/// A bar on a terminal, now and then a line elsewhere.
struct Display {
    bar: ProgressBar,
    plain: bool,
    told: Option<Instant>,
}

impl Display {
    fn new() -> Self {
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr());
        if let Ok(style) = ProgressStyle::with_template("{bar:30} {percent:>3} %  {wide_msg}") {
            bar.set_style(style);
        }
        Self {
            bar,
            plain: !std::io::stderr().is_terminal(),
            told: None,
        }
    }

    fn show(&mut self, status: &Status) {
        if self.plain {
            if self.told.is_none_or(|told| told.elapsed() >= TELL_EVERY) {
                self.told = Some(Instant::now());
                remark(&format!("{:>3} %  {}", percent(status), at_work(status)));
            }
            return;
        }
        self.bar
            .set_length(status.audio_ms_total.max(1).unsigned_abs());
        self.bar
            .set_position(status.audio_ms_done.max(0).unsigned_abs());
        self.bar.set_message(at_work(status));
    }

    fn end(&self) {
        self.bar.finish_and_clear();
    }
}

/// How much of the sound is done, 0 to 100, rounded down. A file that is not
/// opened yet has no known length, so 100 is said only once no job is left.
#[must_use]
pub fn percent(status: &Status) -> i64 {
    if status.audio_ms_total <= 0 {
        return 0;
    }
    let most = if status.jobs.waiting + status.jobs.running > 0 {
        99
    } else {
        100
    };
    (status.audio_ms_done.max(0) * 100 / status.audio_ms_total).min(most)
}

/// Speed and time left, as far as they are known, then what is at work.
fn at_work(status: &Status) -> String {
    let mut parts = pace(status);
    match status.running.as_slice() {
        [] => parts.extend(trouble(status).map(|reason| safe(reason).into_owned())),
        [one] => parts.push(format!("{} {}", safe(&one.step), safe(&one.file))),
        [first, rest @ ..] => parts.push(format!(
            "{} {} and {} more",
            safe(&first.step),
            safe(&first.file),
            rest.len()
        )),
    }
    if parts.is_empty() {
        return "starting".into();
    }
    parts.join(", ")
}

/// `12.3 times real time`, `3 min 20 s left`.
#[must_use]
pub fn pace(status: &Status) -> Vec<String> {
    let rate = status.rate.map(|rate| format!("{rate:.1} times real time"));
    let left = status.time_left_ms.map(|ms| format!("{} left", length(ms)));
    rate.into_iter().chain(left).collect()
}
