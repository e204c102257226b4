//! `sayback levels`: how loud a recording is, and what is wrong with its sound.

use super::answers::Levels;
use super::args;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{out, position, safe};

/// Prints the levels of a recording.
///
/// # Errors
/// What the service says when it refuses.
pub fn run(client: &Client, asked: &args::Levels) -> Result<Outcome, CliError> {
    let bound = |name: &str, at: Option<f64>| at.map(|ms| format!("{name}={}", ms.round() as i64));
    let bounds: Vec<String> = [bound("start_ms", asked.from), bound("end_ms", asked.to)]
        .into_iter()
        .flatten()
        .collect();
    let answer = client.get(&format!(
        "/recordings/{}/levels?{}",
        quoted(&asked.recording),
        bounds.join("&")
    ))?;
    if asked.json.json {
        out(answer.text())?;
    } else {
        out(&told(&answer.read()?))?;
    }
    Ok(Outcome::Done)
}

fn told(levels: &Levels) -> String {
    let level = |value: Option<f64>, unit: &str| {
        value.map_or_else(|| "-".to_owned(), |value| format!("{value:.1} {unit}"))
    };
    let mut lines = vec![format!(
        "{}  {} – {}",
        safe(&levels.recording.file),
        position(levels.start_ms),
        position(levels.end_ms)
    )];
    for (what, value) in [
        ("loudness", level(levels.integrated_lufs, "LUFS")),
        ("loudest 3 s", level(levels.max_short_term_lufs, "LUFS")),
        ("loudness range", level(levels.range_lu, "LU")),
        ("true peak", level(levels.true_peak_dbtp, "dBTP")),
        ("sample peak", level(levels.sample_peak_dbfs, "dBFS")),
        ("clipped", format!("{} samples", levels.clipped_samples)),
        ("flat tops", format!("{} samples", levels.flat_samples)),
        (
            "digital silence",
            format!("{:.2} s", levels.silent_ms as f64 / 1000.0),
        ),
    ] {
        lines.push(format!("  {what:<16}{value}"));
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::answers::RecordingName;

    #[test]
    fn levels_have_units_and_what_is_not_known_is_a_dash() {
        let levels = Levels {
            recording: RecordingName {
                id: "r".into(),
                file: "DESK\u{1b}.wav".into(),
            },
            start_ms: 0,
            end_ms: 61_000,
            integrated_lufs: Some(-23.04),
            max_short_term_lufs: Some(-18.0),
            range_lu: None,
            true_peak_dbtp: Some(-0.96),
            sample_peak_dbfs: None,
            clipped_samples: 3,
            flat_samples: 12,
            silent_ms: 1_250,
        };
        let expected = "DESK\\u{1b}.wav  00:00:00.000 – 00:01:01.000
  loudness        -23.0 LUFS
  loudest 3 s     -18.0 LUFS
  loudness range  -
  true peak       -1.0 dBTP
  sample peak     -
  clipped         3 samples
  flat tops       12 samples
  digital silence 1.25 s";
        assert_eq!(told(&levels), expected);
    }
}
