//! `sayback status`: how far the work is.

use crate::core::Cancel;

use super::answers::{Status, WorkProblem};
use super::args;
use super::client::Client;
use super::error::{CliError, Outcome};
use super::progress::{Waited, follow, look, pace, percent};
use super::show::{Paint, about, length, out, remark, safe};

/// Characters of the bar.
const BAR: i64 = 30;

/// Prints how far the work is, once or until it is done. `served` says whether
/// somebody works on this data folder.
///
/// # Errors
/// What the service says when it refuses.
pub fn run(
    client: &Client,
    asked: &args::Status,
    served: bool,
    cancel: &Cancel,
) -> Result<Outcome, CliError> {
    let event = asked.event.as_deref();
    let answer = look(client, event)?;
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let mut status: Status = answer.read()?;
    let mut outcome = Outcome::Done;
    if asked.watch && served {
        let (waited, last) = follow(client, event, cancel)?;
        status = last;
        if waited == Waited::Interrupted {
            outcome = Outcome::Interrupted;
        }
    }
    out(&described(&status, Paint::stdout()))?;
    if !served && status.jobs.waiting > 0 {
        remark("nobody works on this data folder; `sayback serve` does");
    }
    Ok(outcome)
}

fn described(status: &Status, paint: Paint) -> String {
    let jobs = &status.jobs;
    let open = jobs.waiting + jobs.running;
    let mut lines = Vec::new();
    let (done, total) = (length(status.audio_ms_done), length(status.audio_ms_total));
    if open > 0 {
        let share = percent(status);
        let full = usize::try_from(share * BAR / 100).unwrap_or(0);
        let rest = usize::try_from(BAR).unwrap_or(0) - full;
        let mut parts = vec![format!("{done} of {total}")];
        parts.extend(pace(status));
        lines.push(format!(
            "[{}{}] {share:>3} %  {}",
            "#".repeat(full),
            "-".repeat(rest),
            parts.join(", ")
        ));
    } else if jobs.done + jobs.failed > 0 {
        lines.push(format!("nothing left to do, {total} of recordings"));
    } else {
        lines.push("nothing was added yet".to_owned());
    }
    lines.push(format!(
        "steps: {} waiting, {} running, {} done, {} failed",
        jobs.waiting, jobs.running, jobs.done, jobs.failed
    ));
    if status.paused {
        lines.push(paint.strong("the queue is paused"));
    }
    for job in &status.running {
        let share = (job.progress.clamp(0.0, 1.0) * 100.0).floor();
        let (step, file, source) = (safe(&job.step), safe(&job.file), safe(&job.source));
        lines.push(format!("{step:<10} {share:>3} %  {file} ({source})"));
    }
    for problem in &status.problems {
        lines.push(told(problem, paint));
    }
    lines.join("\n")
}

/// What went wrong with a file; or, without one, with all work.
fn told(problem: &WorkProblem, paint: Paint) -> String {
    let said = paint.wrong(&about(&problem.file, &problem.reason));
    match problem.step.as_str() {
        "" => said,
        step => format!("{:<10} {said}", safe(step)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_text_says_how_far_and_how_fast() {
        let status: Status = serde_json::from_value(serde_json::json!({
            "paused": false,
            "jobs": {"waiting": 3, "running": 1, "done": 7, "failed": 1},
            "audio_ms_total": 7_200_000, "audio_ms_done": 3_744_000,
            "rate": 14.23, "time_left_ms": 250_000,
            "running": [{"job": "9", "step": "transcribe", "file": "a\nb.wav",
                         "source": "Lectern", "progress": 0.316}],
            "problems": [{"file": "", "step": "", "reason": "the disk is full"},
                         {"job": "4", "file": "notes.wav", "step": "probe",
                          "reason": "notes.wav is no sound"}],
        }))
        .expect("a status");
        let text = described(&status, Paint::stdout());
        assert_eq!(
            text,
            "[###############---------------]  52 %  1 h 02 min of 2 h 00 min, \
             14.2 times real time, 4 min 10 s left\n\
             steps: 3 waiting, 1 running, 7 done, 1 failed\n\
             transcribe  31 %  a\\nb.wav (Lectern)\n\
             the disk is full\n\
             probe      notes.wav is no sound"
        );
    }
}
