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

#[cfg(test)]
mod tests {
    use super::super::super::made::recording;
    use super::super::super::wire::SameInstant;
    use super::*;

    fn said(start_ms: Option<f64>, file_ms: Option<f64>, other: Option<(&str, f64)>) -> ClockFix {
        ClockFix {
            start_ms,
            file_ms,
            same_as: other.map(|(recording, file_ms)| SameInstant {
                recording: recording.into(),
                file_ms,
            }),
        }
    }

    #[test]
    fn a_place_is_a_start_or_two_instants_that_are_the_same() {
        let others = [recording("a"), recording("b")];
        let fixed = |said| checked(&said, &others[0], &others).expect("it makes sense");
        let start = store::ClockFix::Start { event_ms: -1_500.5 };
        assert_eq!(fixed(said(Some(-1_500.5), None, None)), start);
        let same = store::ClockFix::Same {
            file_ms: 60_000.0,
            other: "b".into(),
            other_ms: 0.0,
        };
        assert_eq!(fixed(said(None, Some(60_000.0), Some(("b", 0.0)))), same);
    }

    #[test]
    fn nonsense_is_refused_by_field_and_says_what_to_do() {
        let others = [recording("a"), recording("b")];
        for (said, field, told) in [
            (said(None, None, None), "start_ms", "either start_ms, or"),
            (
                said(Some(f64::NAN), None, None),
                "start_ms",
                "within a week",
            ),
            (
                said(Some(f64::INFINITY), None, None),
                "start_ms",
                "within a week",
            ),
            (
                said(Some(604_800_001.0), None, None),
                "start_ms",
                "within a week",
            ),
            (said(Some(0.0), Some(1.0), None), "start_ms", "by itself"),
            (
                said(Some(0.0), None, Some(("b", 1.0))),
                "start_ms",
                "by itself",
            ),
            (said(None, Some(1.0), None), "same_as", "needs same_as"),
            (
                said(None, None, Some(("b", 1.0))),
                "file_ms",
                "needs file_ms",
            ),
            (
                said(None, Some(1.0), Some(("a", 1.0))),
                "same_as.recording",
                "'a.wav' can't be placed by itself",
            ),
            (
                said(None, Some(1.0), Some(("c", 1.0))),
                "same_as.recording",
                "no recording 'c'",
            ),
            (
                said(None, Some(-0.1), Some(("b", 1.0))),
                "file_ms",
                "60000 ms long",
            ),
            (
                said(None, Some(1.0), Some(("b", 60_000.1))),
                "same_as.file_ms",
                "'b.wav'",
            ),
            (
                said(None, Some(1.0), Some(("b", f64::NAN))),
                "same_as.file_ms",
                "'b.wav'",
            ),
        ] {
            let problem = checked(&said, &others[0], &others).expect_err("nonsense");
            assert_eq!(problem.status, 422);
            assert_eq!(problem.members["field"], field, "{}", problem.detail);
            assert!(problem.detail.contains(told), "{}", problem.detail);
        }
    }
}
