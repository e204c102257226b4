//! When did a device say that a recording began, as a number?

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use sayback_core::clock::StampAt;

use crate::media::StampKind;
use crate::store::{RecordingRow, StampRow};

/// Stamps of a recording as ms from 1970, the most exact first. Local times without
/// a zone count as if in UTC: only differences of one kind are ever used.
pub(super) fn stamp_times(recording: &RecordingRow) -> Vec<StampAt> {
    let mut stamps: Vec<StampAt> = recording.stamps.iter().filter_map(stamp_time).collect();
    stamps.sort_by_key(|stamp| stamp.rank);
    stamps
}

fn stamp_time(stamp: &StampRow) -> Option<StampAt> {
    let kind: StampKind = serde_json::from_value(stamp.kind.as_str().into()).ok()?;
    let at_ms = exact(stamp).or_else(|| written(&stamp.at));
    let (at_ms, within_ms) = match kind {
        // A copy of a file has the time of the copying: it may be off by any amount.
        StampKind::FileTime => return None,
        _ if exact(stamp).is_some() => (at_ms?, 1.0),
        _ => (at_ms?, 1_000.0),
    };
    Some(StampAt {
        rank: kind as u8,
        at_ms,
        within_ms,
    })
}

/// The day's midnight and the samples since.
fn exact(stamp: &StampRow) -> Option<f64> {
    let since = stamp.samples? as f64 * 1000.0 / f64::from(stamp.rate_hz.filter(|r| *r > 0)?);
    let date: Date = stamp.at.get(..10)?.parse().ok()?;
    let midnight = date.to_zoned(TimeZone::UTC).ok()?;
    Some(midnight.timestamp().as_millisecond() as f64 + since)
}

fn written(at: &str) -> Option<f64> {
    let ms = match at.parse::<Timestamp>() {
        Ok(at) => at.as_millisecond(),
        Err(_) => {
            let local: DateTime = at.parse().ok()?;
            let zoned = local.to_zoned(TimeZone::UTC).ok()?;
            zoned.timestamp().as_millisecond()
        }
    };
    Some(ms as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(kind: &str, at: &str, samples: Option<i64>) -> StampRow {
        StampRow {
            file_hash: String::new(),
            kind: kind.into(),
            at: at.into(),
            samples,
            rate_hz: samples.map(|_| 48_000),
            frame_rate: None,
        }
    }

    #[test]
    fn samples_are_more_exact_than_seconds() {
        let day = 1_781_913_600_000.0; // 2026-06-20T00:00:00Z
        let bext = stamp("bext", "2026-06-20T10:00:00", Some(48_000 * 36_000 + 24));
        let found = stamp_time(&bext).unwrap();
        assert_eq!((found.rank, found.within_ms), (0, 1.0));
        assert!((found.at_ms - day - 36_000_000.5).abs() < 1e-6, "{found:?}");
        let camera = stamp_time(&stamp("container", "2026-06-20T10:00:00Z", None)).unwrap();
        assert_eq!(
            (camera.at_ms - day, camera.within_ms),
            (36_000_000.0, 1_000.0)
        );
    }

    #[test]
    fn the_time_of_a_file_may_be_that_of_its_copying() {
        let copied = stamp("file", "2026-06-20T10:00:00Z", None);
        assert_eq!(stamp_time(&copied), None);
    }

    #[test]
    fn what_says_nothing_is_left_out() {
        for at in ["", "10:00:00", "someday"] {
            assert_eq!(stamp_time(&stamp("bext", at, None)), None, "{at}");
        }
    }
}
