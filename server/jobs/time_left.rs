//! How fast is the work, and how long will it take?

use crate::store::{JobKind, RunningRow, StatusRow, StepRate};

/// How far the work is, with what can be worked out from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Status {
    /// What the store says.
    pub row: StatusRow,
    /// Sound finished a second of waiting, over all steps that are left; `None`
    /// while a step that is left has done nothing yet, and when nothing is left.
    pub rate: Option<f64>,
    /// How long the rest will take, ms, if nothing is added; `None` while a step
    /// that is left has done nothing yet.
    pub time_left_ms: Option<i64>,
    /// What keeps all work waiting, in words: no model, a full disk.
    pub troubles: Vec<String>,
}

impl Status {
    pub(super) fn of(row: StatusRow, troubles: Vec<String>) -> Self {
        let time_left_ms = time_left_ms(&row);
        let left_ms = (row.audio_ms_total - row.audio_ms_done) as f64 + unopened_ms(&row);
        let rate = time_left_ms
            .filter(|ms| *ms > 0)
            .map(|ms| left_ms / ms as f64);
        Self {
            row,
            rate: rate.filter(|rate| *rate > 0.0),
            time_left_ms,
            troubles,
        }
    }
}

/// Speech as a share of sound, until something is known.
const SPEECH_SHARE: f64 = 0.5;

/// The longer of what the two lanes, which work side by side, have left.
fn time_left_ms(row: &StatusRow) -> Option<i64> {
    let step = |kind| row.steps.iter().find(|step| step.kind == kind);
    let (detect, transcribe) = (step(JobKind::Detect)?, step(JobKind::Transcribe)?);
    if row.unopened > 0 && row.recordings == 0 {
        return None;
    }
    let undetected_ms = detect.left_ms + unopened_ms(row);
    let share = if row.detected_ms > 0 {
        row.speech_ms as f64 / row.detected_ms as f64
    } else {
        SPEECH_SHARE
    };
    // What several recorders heard is listened to once.
    let once = if row.grouped_ms > 0 {
        (row.distinct_ms as f64 / row.grouped_ms as f64).min(1.0)
    } else {
        1.0
    };
    let ungrouped_ms = (row.speech_ms - row.grouped_ms).max(0) as f64;
    let unwritten_ms = transcribe.left_ms + (ungrouped_ms + undetected_ms * share) * once;
    let light = time(detect, undetected_ms)?;
    // Recordings that are listened to side by side take their times together.
    let at_work = |running: &&RunningRow| running.kind == JobKind::Transcribe;
    let side_by_side = row.running.iter().filter(at_work).count().max(1);
    let model = time(transcribe, unwritten_ms)? / side_by_side as f64;
    Some(light.max(model).round() as i64)
}

/// Files nobody has opened are taken to be as long as the others are, ms.
fn unopened_ms(row: &StatusRow) -> f64 {
    row.unopened as f64 * row.audio_ms_total as f64 / row.recordings.max(1) as f64
}

/// How long a step takes for this much sound, ms, at its latest rate.
fn time(step: &StepRate, left_ms: f64) -> Option<f64> {
    if left_ms <= 0.0 {
        return Some(0.0);
    }
    (step.recent_audio_ms > 0.0).then(|| left_ms * step.recent_wall_ms / step.recent_audio_ms)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{JobId, QueueCounts};

    fn row() -> StatusRow {
        let step = |kind, left_ms, recent_audio_ms, recent_wall_ms| StepRate {
            kind,
            left_ms,
            recent_audio_ms,
            recent_wall_ms,
        };
        StatusRow {
            paused: false,
            jobs: QueueCounts::default(),
            audio_ms_total: 400_000,
            audio_ms_done: 100_000,
            detected_ms: 300_000,
            speech_ms: 150_000,
            grouped_ms: 150_000,
            distinct_ms: 150_000,
            recordings: 4,
            unopened: 0,
            steps: vec![
                step(JobKind::Detect, 100_000.0, 300_000.0, 3_000.0),
                step(JobKind::Transcribe, 100_000.0, 50_000.0, 5_000.0),
            ],
            running: Vec::new(),
            problems: Vec::new(),
        }
    }

    #[test]
    fn the_slower_lane_counts() {
        // 100 s to detect at 100 times real time: 1 s. Of it, half is speech, so
        // 100 + 50 s to transcribe at 10 times real time: 15 s.
        let status = Status::of(row(), Vec::new());
        assert_eq!(status.time_left_ms, Some(15_000));
        assert_eq!(status.rate, Some(20.0));
    }

    #[test]
    fn what_is_listened_to_side_by_side_takes_its_time_together() {
        let mut busy = row();
        let running = |id: i64| RunningRow {
            id: JobId(id),
            kind: JobKind::Transcribe,
            name: "a.wav".into(),
            source_label: "a".into(),
            progress: 0.5,
        };
        busy.running = (1..=3).map(running).collect();
        let status = Status::of(busy, Vec::new());
        assert_eq!(status.time_left_ms, Some(5_000));
    }

    #[test]
    fn unopened_files_count_as_the_mean_of_the_others() {
        let mut more = row();
        more.unopened = 2;
        // 200 s more, half of it speech: 10 s more; the rate stays the same.
        let status = Status::of(more, Vec::new());
        assert_eq!(
            (status.rate, status.time_left_ms),
            (Some(20.0), Some(25_000))
        );
    }

    #[test]
    fn nothing_is_said_before_anything_is_known() {
        let mut fresh = row();
        fresh.steps[1].recent_audio_ms = 0.0;
        let status = Status::of(fresh, Vec::new());
        assert_eq!((status.rate, status.time_left_ms), (None, None));
    }

    #[test]
    fn what_several_recorders_heard_counts_once() {
        let mut shared = row();
        shared.distinct_ms = 50_000;
        // Of the 50 s of speech to come, a third: 116.7 s at 10 times real time.
        let status = Status::of(shared.clone(), Vec::new());
        assert_eq!(status.time_left_ms, Some(11_667));
        // Speech that is found but not grouped is to be listened to, too.
        shared.grouped_ms = 75_000;
        shared.distinct_ms = 75_000;
        let status = Status::of(shared, Vec::new());
        assert_eq!(status.time_left_ms, Some(22_500));
    }

    #[test]
    fn nothing_left_takes_no_time() {
        let mut over = row();
        over.audio_ms_done = over.audio_ms_total;
        over.steps[0].left_ms = 0.0;
        over.steps[1].left_ms = 0.0;
        let status = Status::of(over, Vec::new());
        assert_eq!((status.rate, status.time_left_ms), (None, Some(0)));
    }
}
