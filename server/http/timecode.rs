//! Time of day by a recorder, as editors write it.

/// The time code of a position in a file: `hh:mm:ss:ff`, non-drop, wrapping at
/// 24 h.
///
/// `samples_since_midnight` and `rate_hz` are what the recorder wrote about the
/// file's first sample; `start_ms` is the position in the file; `frame_rate` is
/// frames a second, whole or a fraction such as `30000/1001`. Frames are counted
/// from midnight and numbered at the rate rounded up, SMPTE ST 12-1. `None`
/// where the frame rate is no rate from 1 to 120 or the rate of samples is 0.
#[must_use]
pub fn timecode(
    samples_since_midnight: u64,
    rate_hz: u32,
    start_ms: i64,
    frame_rate: &str,
) -> Option<String> {
    let (frames, seconds) = fraction(frame_rate)?;
    if rate_hz == 0 || start_ms < 0 {
        return None;
    }
    // Exact: milliseconds times samples fit in 128 bits.
    let rate = u128::from(rate_hz);
    let position =
        u128::from(samples_since_midnight) * 1000 + u128::from(start_ms.unsigned_abs()) * rate;
    let frame = position * u128::from(frames) / (rate * 1000 * u128::from(seconds));
    let numbered = u128::from(frames.div_ceil(seconds));
    let in_a_day = numbered * 86_400;
    let frame = frame % in_a_day;
    let second = frame / numbered;
    Some(format!(
        "{:02}:{:02}:{:02}:{:02}",
        second / 3600,
        second / 60 % 60,
        second % 60,
        frame % numbered
    ))
}

/// `25` or `30000/1001` as frames in seconds.
fn fraction(text: &str) -> Option<(u64, u64)> {
    let (frames, seconds) = text.split_once('/').unwrap_or((text, "1"));
    let frames: u64 = frames.trim().parse().ok()?;
    let seconds: u64 = seconds.trim().parse().ok()?;
    (seconds > 0 && frames >= seconds && frames <= 120 * seconds).then_some((frames, seconds))
}

#[cfg(test)]
mod tests {
    use super::timecode;

    /// Samples at 30000 Hz make a frame of 30000/1001 exactly 1001 samples; the
    /// frame numbers and codes are OpenTimelineIO's tests of non-drop code.
    #[test]
    fn non_drop_codes_at_29_97() {
        for (frame, code) in [
            (1_799, "00:00:59:29"),
            (1_800, "00:01:00:00"),
            (3_597, "00:01:59:27"),
            (10_789, "00:05:59:19"),
            (17_982, "00:09:59:12"),
            (53_946, "00:29:58:06"),
            (107_892, "00:59:56:12"),
            (2_589_407, "23:58:33:17"),
        ] {
            let samples = frame * 1001;
            assert_eq!(
                timecode(samples, 30_000, 0, "30000/1001").as_deref(),
                Some(code)
            );
        }
    }

    #[test]
    fn whole_rates_count_from_midnight_and_wrap() {
        let noon = 48_000 * 43_200;
        assert_eq!(
            timecode(noon, 48_000, 1_040, "25").as_deref(),
            Some("12:00:01:01")
        );
        assert_eq!(
            timecode(noon, 48_000, 1_039, "25").as_deref(),
            Some("12:00:01:00")
        );
        assert_eq!(
            timecode(noon * 2, 48_000, 0, "25").as_deref(),
            Some("00:00:00:00")
        );
    }

    #[test]
    fn what_is_no_rate_gives_no_code() {
        for bad in ["", "0", "1/0", "25/", "-25", "25.0", "1000", "x/y", "1/2"] {
            assert_eq!(timecode(0, 48_000, 0, bad), None, "{bad}");
        }
        assert_eq!(timecode(0, 0, 0, "25"), None);
        assert_eq!(timecode(0, 48_000, -1, "25"), None);
    }
}
