//! Times along the picture.

/// Steps between two labels, s.
const STEPS_S: [f64; 19] = [
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1_800.0, 3_600.0, 7_200.0,
    10_800.0, 21_600.0, 43_200.0, 86_400.0, 604_800.0,
];

/// At most so many labels.
const LABELS: f64 = 8.0;

/// Whole times inside `[from, to]` at which a label stands, ms.
pub fn ticks(from_ms: f64, to_ms: f64) -> Vec<f64> {
    let span = to_ms - from_ms;
    if !(span.is_finite() && span > 0.0) {
        return Vec::new();
    }
    let fits = |step: &&f64| span / (**step * 1000.0) <= LABELS;
    let longest = STEPS_S[STEPS_S.len() - 1];
    let step = match STEPS_S.iter().find(fits) {
        Some(step) => step * 1000.0,
        // Longer than weeks: whole multiples of a week.
        None => (span / (longest * 1000.0 * LABELS)).ceil() * longest * 1000.0,
    };
    let first = (from_ms / step).ceil();
    let count = ((to_ms / step).floor() - first + 1.0).max(0.0);
    (0..count as u32)
        .map(|n| (first + f64::from(n)) * step)
        .collect()
}

/// A time as `h:mm:ss`, to the nearest second.
pub fn time(ms: f64) -> String {
    let seconds = (ms / 1000.0).round();
    let sign = if seconds < 0.0 { "-" } else { "" };
    let seconds = seconds.abs() as u64;
    format!(
        "{sign}{}:{:02}:{:02}",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}

/// How far something may be off: `± 1.4 ms`, `± 3.0 s`, `± 2 min`.
pub fn doubt(ms: f64) -> String {
    if ms < 9.95 {
        format!("± {:.1} ms", ms.max(0.0))
    } else if ms < 999.5 {
        format!("± {ms:.0} ms")
    } else if ms < 99_950.0 {
        format!("± {:.1} s", ms / 1000.0)
    } else {
        format!("± {:.0} min", ms / 60_000.0)
    }
}
