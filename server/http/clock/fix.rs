//! Can a recording be where a person says it is?

use super::super::problem::{Answer, Problem};
use super::super::wire::ClockFix;
use crate::store::{self, RecordingRow};

/// How far from its zero an event clock may reach, ms: a week before and after.
const FARTHEST_MS: f64 = 7.0 * 86_400_000.0;

/// What is said about `recording`, if it makes sense; `others` are the recordings
/// of its event.
///
/// # Errors
/// A problem that names the field and says what to do.
pub fn checked(
    said: &ClockFix,
    recording: &RecordingRow,
    others: &[RecordingRow],
) -> Answer<store::ClockFix> {
    match (said.start_ms, said.file_ms, &said.same_as) {
        (Some(event_ms), None, None) => {
            if !(event_ms.is_finite() && event_ms.abs() <= FARTHEST_MS) {
                return Err(Problem::field(
                    "start_ms",
                    "start_ms must lie within a week of the event clock's zero: from -604800000 \
                     to 604800000",
                ));
            }
            Ok(store::ClockFix::Start { event_ms })
        }
        (None, Some(file_ms), Some(same)) => {
            if same.recording == recording.id.0 {
                return Err(Problem::field(
                    "same_as.recording",
                    format!(
                        "'{}' can't be placed by itself; name another recording of the event",
                        recording.name
                    ),
                ));
            }
            let Some(other) = others.iter().find(|row| row.id.0 == same.recording) else {
                return Err(Problem::field(
                    "same_as.recording",
                    format!(
                        "there is no recording '{}' in the event of '{}'; name one by its id",
                        same.recording, recording.name
                    ),
                ));
            };
            inside("file_ms", file_ms, recording)?;
            inside("same_as.file_ms", same.file_ms, other)?;
            Ok(store::ClockFix::Same {
                file_ms,
                other: other.id.clone(),
                other_ms: same.file_ms,
            })
        }
        (Some(_), _, _) => Err(Problem::field(
            "start_ms",
            "start_ms stands by itself; leave it out, or leave out file_ms and same_as",
        )),
        (None, Some(_), None) => Err(Problem::field(
            "same_as",
            "file_ms needs same_as: the recording, and the instant in it that is the same",
        )),
        (None, None, Some(_)) => Err(Problem::field(
            "file_ms",
            "same_as needs file_ms: the instant in this recording that is the same",
        )),
        (None, None, None) => Err(Problem::field(
            "start_ms",
            "say either start_ms, or file_ms and same_as",
        )),
    }
}

/// Whether an instant lies in a file.
fn inside(field: &str, file_ms: f64, recording: &RecordingRow) -> Answer<()> {
    if file_ms.is_finite() && (0.0..=recording.duration_ms as f64).contains(&file_ms) {
        return Ok(());
    }
    Err(Problem::field(
        field,
        format!(
            "{field} must lie in '{}', which is {} ms long",
            recording.name, recording.duration_ms
        ),
    ))
}
