//! `sayback clock`: where the recordings of an event lie, and what a person knows
//! better.

use serde_json::{Value, json};

use crate::core::Cancel;

use super::answers::{self, ClockRecording, EventDetail};
use super::args::{Clock, ClockCancel, ClockCommand, ClockFix, ClockSolve};
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::file;
use super::progress;
use super::show::{Paint, Table, length, out, position, remark, safe};

/// Runs one of the clock commands. Ctrl-C sets `cancel`; what is queued stays
/// queued.
///
/// # Errors
/// What the service says when it refuses, and when a picture can't be written.
pub fn run(client: &Client, clock: &Clock, cancel: &Cancel) -> Result<Outcome, CliError> {
    match (&clock.command, &clock.event) {
        (Some(ClockCommand::Fix(fix)), _) => place(client, fix, cancel),
        (Some(ClockCommand::Solve(solve)), _) => solve_again(client, solve, cancel),
        (Some(ClockCommand::Cancel(stop)), _) => call_off(client, stop),
        (None, Some(event)) => {
            if let Some(file) = &clock.picture {
                file::keep(
                    client,
                    &format!("/events/{}/clock.svg", quoted(event)),
                    file,
                    "svg",
                )?;
            }
            show(client, event, clock.json.json)
        }
        (None, None) => Err(CliError::Usage("which event?".into())),
    }
}

fn show(client: &Client, event: &str, json: bool) -> Result<Outcome, CliError> {
    let answer = client.get(&format!("/events/{}/clock", quoted(event)))?;
    let clock: answers::Clock = answer.read()?;
    let outcome = match clock.state.as_str() {
        "solved" => Outcome::Done,
        _ => Outcome::Partly,
    };
    if json {
        out(answer.text())?;
        return Ok(outcome);
    }
    out(&described(&clock, Paint::stdout()))?;
    if let Some(next) = next(&clock, event) {
        remark(&next);
    }
    Ok(outcome)
}

fn place(client: &Client, fix: &ClockFix, cancel: &Cancel) -> Result<Outcome, CliError> {
    let detail: EventDetail = client
        .get(&format!("/events/{}", quoted(&fix.event)))?
        .read()?;
    let id = named(&detail, &fix.recording)?;
    let path = format!("/recordings/{}/clock", quoted(id));
    match said(fix, &detail)? {
        Some(body) => client.put(&path, &body)?,
        None => client.delete(&path)?,
    };
    let event = &detail.event.id;
    see_through(client, event, fix.no_wait, fix.json.json, cancel)
}

/// What is said about the place; `None` to take it back.
fn said(fix: &ClockFix, detail: &EventDetail) -> Result<Option<Value>, CliError> {
    Ok(match (fix.start, fix.at, &fix.same_as) {
        (Some(start), _, _) => Some(json!({ "start_ms": start })),
        (_, Some(at), Some((other, other_at))) => Some(json!({
            "file_ms": at,
            "same_as": { "recording": named(detail, other)?, "file_ms": other_at },
        })),
        _ => None,
    })
}

/// The recording with this id or file name.
fn named<'a>(detail: &'a EventDetail, name: &str) -> Result<&'a str, CliError> {
    let all = &detail.recordings;
    if let Some(recording) = all.iter().find(|recording| recording.id == name) {
        return Ok(&recording.id);
    }
    let ids: Vec<&str> = all
        .iter()
        .filter(|recording| recording.file == name)
        .map(|recording| recording.id.as_str())
        .collect();
    match ids.as_slice() {
        [one] => Ok(one),
        [] => Err(CliError::Usage(format!(
            "there is no recording '{name}' in '{}'; `sayback clock {}` shows them",
            detail.event.title, detail.event.id
        ))),
        several => Err(CliError::Usage(format!(
            "several recordings are called '{name}'; use an id: {}",
            several.join(", ")
        ))),
    }
}

fn solve_again(client: &Client, solve: &ClockSolve, cancel: &Cancel) -> Result<Outcome, CliError> {
    let detail: EventDetail = client
        .get(&format!("/events/{}", quoted(&solve.event)))?
        .read()?;
    let event = &detail.event.id;
    client.post(
        &format!("/events/{}/clock/solve", quoted(event)),
        &json!({ "anew": solve.anew }),
    )?;
    see_through(client, event, solve.no_wait, solve.json.json, cancel)
}

fn call_off(client: &Client, stop: &ClockCancel) -> Result<Outcome, CliError> {
    let path = format!("/events/{}/clock", quoted(&stop.event));
    let clock: answers::Clock = client.get(&path)?.read()?;
    let Some(job) = &clock.job else {
        return Err(CliError::Usage(format!(
            "there is no clock to be worked out in '{}' yet",
            safe(&clock.event.title)
        )));
    };
    client.post(&format!("/jobs/{}/cancel", quoted(job)), &json!({}))?;
    show(client, &stop.event, stop.json.json)?;
    Ok(Outcome::Done)
}

/// Waits for the work, and for the words that depend on it, then shows the clock.
fn see_through(
    client: &Client,
    event: &str,
    no_wait: bool,
    json: bool,
    cancel: &Cancel,
) -> Result<Outcome, CliError> {
    if no_wait {
        if !json {
            remark("the work waits in the queue; `sayback serve` does it");
        }
        show(client, event, json)?;
        return Ok(Outcome::Done);
    }
    let waited = progress::see_through(client, event, cancel);
    let shown = show(client, event, json)?;
    match waited?.0 {
        Outcome::Done => Ok(shown),
        other => Ok(other),
    }
}

fn described(clock: &answers::Clock, paint: Paint) -> String {
    let placed = clock.recordings.iter().filter(|r| r.start_ms.is_some());
    let mut text = format!(
        "{}  {} of {} recordings on the event clock, {} long\n",
        paint.strong(&safe(&clock.event.title)),
        placed.count(),
        clock.recordings.len(),
        length(clock.length_ms)
    );
    if !clock.recordings.is_empty() {
        let mut table = Table::new(&[
            "RECORDER",
            "FILE",
            "START",
            "RATE",
            "MAY BE OFF",
            "FOUND",
            "AGREE",
            "RECORDING",
        ]);
        for recording in &clock.recordings {
            table.row(&row(recording));
        }
        text.push_str(&format!("\n{}", table.render(paint)));
    }
    let own = clock.recordings.iter().flat_map(|r| &r.warnings);
    let mut warnings: Vec<&String> = clock.warnings.iter().chain(own).collect();
    // What concerns two recordings is told with both.
    let mut told = std::collections::HashSet::new();
    warnings.retain(|warning| told.insert(*warning));
    if !warnings.is_empty() {
        text.push('\n');
    }
    for warning in warnings {
        text.push_str(&format!("{}\n", safe(warning)));
    }
    text
}

fn row(recording: &ClockRecording) -> [String; 8] {
    let or_dash = |text: Option<String>| text.unwrap_or_else(|| "-".into());
    let how = match recording.island {
        // Found, but on a clock that nothing ties to the event's.
        Some(island) if island > 0 && recording.how != "unplaced" => {
            format!("{}, apart {island}", recording.how)
        }
        _ => recording.how.clone(),
    };
    [
        recording.source.label.clone(),
        recording.recording.file.clone(),
        or_dash(recording.start_ms.map(position)),
        or_dash(recording.rate_ppm.map(rate)),
        or_dash(recording.uncertainty_ms.map(doubt)),
        how,
        or_dash(recording.agreement.map(|a| format!("{:.0} %", a * 100.0))),
        recording.recording.id.clone(),
    ]
}

/// `+12.3 ppm`, `0.0 ppm`.
fn rate(ppm: f64) -> String {
    match (ppm * 10.0).round() / 10.0 {
        0.0 => "0.0 ppm".into(),
        ppm => format!("{ppm:+.1} ppm"),
    }
}

/// `1.4 ms`, `320 ms`, `3.0 s`.
fn doubt(ms: f64) -> String {
    if ms < 9.95 {
        format!("{ms:.1} ms")
    } else if ms < 999.5 {
        format!("{ms:.0} ms")
    } else {
        length(ms.round() as i64)
    }
}

/// What to know or do about a clock that is not solved.
fn next(clock: &answers::Clock, event: &str) -> Option<String> {
    Some(match clock.state.as_str() {
        "none" => "nothing is on one clock yet; that is done as recordings are added".into(),
        "waiting" => "the clock is worked out once all files of the event are looked through; \
             `sayback status` tells how far that is"
            .into(),
        "working" => "the clock is being worked out".into(),
        "failed" => format!(
            "the clock could not be worked out ({}); `sayback clock solve {}` tries again",
            safe(clock.error.as_deref().unwrap_or("nobody knows why")),
            safe(event)
        ),
        "cancelled" => format!(
            "working out the clock was cancelled; `sayback clock solve {}` does it after all",
            safe(event)
        ),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(state: &str) -> answers::Clock {
        serde_json::from_value(json!({
            "event": {"id": "e", "title": "Ferry wedding"}, "state": state, "error": null,
            "length_ms": 3_723_000,
            "recordings": [
                {"recording": {"id": "r1", "file": "0001.wav"},
                 "source": {"label": "Lectern", "placement": "stand"}, "start_ms": -1500,
                 "rate_ppm": -12.34, "how": "sound", "uncertainty_ms": 0.81, "agreement": 0.974,
                 "island": 0, "warnings": ["it fits 'b' twice"]},
                {"recording": {"id": "r2", "file": "b\n.wav"},
                 "source": {"label": "Lectern", "placement": "stand"}, "start_ms": null,
                 "rate_ppm": -0.04, "how": "sound", "uncertainty_ms": 1500.0, "agreement": 0.5,
                 "island": 2, "warnings": ["it fits 'b' twice"]},
                {"recording": {"id": "r3", "file": "0003.wav"},
                 "source": {"label": "Phone", "placement": "ambient"}, "start_ms": null,
                 "rate_ppm": null, "how": "unplaced", "uncertainty_ms": null, "agreement": null,
                 "island": 3, "warnings": []},
            ],
            "warnings": ["one of all"],
        }))
        .expect("a clock")
    }

    #[test]
    fn a_clock_is_a_table_and_what_is_odd_about_it() {
        assert_eq!(
            described(&clock("solved"), Paint::stdout()),
            "Ferry wedding  1 of 3 recordings on the event clock, 1 h 02 min long\n\
             \n\
             RECORDER  FILE      START          RATE       MAY BE OFF  FOUND           AGREE  RECORDING\n\
             Lectern   0001.wav  -00:00:01.500  -12.3 ppm  0.8 ms      sound           97 %   r1\n\
             Lectern   b\\n.wav   -              0.0 ppm    1.5 s       sound, apart 2  50 %   r2\n\
             Phone     0003.wav  -              -          -           unplaced        -      r3\n\
             \n\
             one of all\n\
             it fits 'b' twice\n"
        );
    }

    #[test]
    fn what_is_not_solved_says_what_to_do() {
        for (state, told) in [
            ("none", "as recordings are added"),
            ("waiting", "sayback status"),
            ("working", "being worked out"),
            (
                "failed",
                "(nobody knows why); `sayback clock solve Ferry` tries again",
            ),
            (
                "cancelled",
                "was cancelled; `sayback clock solve Ferry` does it after all",
            ),
        ] {
            let next = next(&clock(state), "Ferry").expect("something to know");
            assert!(next.contains(told), "{next}");
        }
        assert_eq!(next(&clock("solved"), "Ferry"), None);
    }
}
