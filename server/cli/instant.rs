//! Instants as they are typed.

/// An instant in ms: `hh:mm:ss.mmm`, `mm:ss`, or seconds; a minus sign before it
/// means before zero.
///
/// # Errors
/// What would have been understood.
pub fn of(text: &str) -> Result<f64, String> {
    let wrong = || format!("'{text}' is no time; write hh:mm:ss.mmm, mm:ss or seconds");
    let (sign, rest) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text),
    };
    let parts: Vec<&str> = rest.split(':').collect();
    if parts.len() > 3 {
        return Err(wrong());
    }
    let mut ms = 0.0;
    for (n, part) in parts.iter().enumerate() {
        let last = n + 1 == parts.len();
        let plain = |c: char| c.is_ascii_digit() || (last && c == '.');
        if !part.starts_with(|c: char| c.is_ascii_digit()) || !part.chars().all(plain) {
            return Err(wrong());
        }
        let value: f64 = part.parse().map_err(|_| wrong())?;
        if n > 0 && value >= 60.0 {
            return Err(wrong());
        }
        ms = ms * 60.0 + value * 1000.0;
    }
    // To the microsecond: what is typed is no finer.
    Ok(sign * (ms * 1000.0).round() / 1000.0)
}

/// A recording and an instant in it: `RECORDING@TIME`.
///
/// # Errors
/// What would have been understood.
pub fn of_recording(text: &str) -> Result<(String, f64), String> {
    let Some((recording, time)) = text.rsplit_once('@').filter(|(name, _)| !name.is_empty()) else {
        return Err(format!(
            "'{text}' names no recording and time; write RECORDING@TIME"
        ));
    };
    Ok((recording.to_owned(), of(time)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_are_read_as_they_are_shown() {
        for (text, ms) in [
            ("0", 0.0),
            ("12.5", 12_500.0),
            ("3600", 3_600_000.0),
            ("1:02", 62_000.0),
            ("01:01:11.005", 3_671_005.0),
            ("-00:00:00.001", -1.0),
            ("100:00:00", 360_000_000.0),
            ("0.0005", 0.5),
        ] {
            assert_eq!(of(text), Ok(ms), "{text}");
        }
        for text in [
            "", "-", "--1", "+1", "1:60", "1:2:3:4", "a", "1e3", "inf", "nan", ":1", "1:", "1.2:3",
            "1..2", " 1", "0x1",
        ] {
            assert!(of(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_recording_may_have_an_at_in_its_name() {
        assert_eq!(
            of_recording("a@b.wav@1:00"),
            Ok(("a@b.wav".into(), 60_000.0))
        );
        for text in ["a.wav", "@1:00", "a.wav@", "a.wav@later"] {
            assert!(of_recording(text).is_err(), "{text}");
        }
    }
}
