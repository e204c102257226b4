//! When exactly did a recorder stop?

use super::reader::Reader;
use super::{SURE, compare};
use crate::Cancel;
use crate::clock::{Finding, Pair, Stretch};

/// Windows that are compared with either line, ms.
const WINDOW_MS: f64 = 1_000.0;
const STEP_MS: f64 = 500.0;
/// A window is on a line when its lag is below this, ms: voices differ by more only
/// when they stand apart, and the line is the middle of them.
const ON_LINE_MS: f64 = 30.0;
/// How far the search may be off to either side, ms.
const BEYOND_MS: f64 = 10_000.0;
/// No more than this is looked through, ms.
const LONGEST_MS: f64 = 120_000.0;

/// Moves the ends of stretches to where the sound changes from one line to the
/// next. `None` when cancelled.
pub(super) fn refine(
    key: (usize, usize),
    pair: &mut Pair,
    reader: &mut Reader,
    cancel: &Cancel,
) -> Option<()> {
    if pair.finding != Finding::Shared {
        return Some(());
    }
    for n in 1..pair.stretches.len() {
        let (before, after) = (pair.stretches[n - 1], pair.stretches[n]);
        let low = (before.to_ms - BEYOND_MS).max(before.from_ms);
        let high = (after.from_ms + BEYOND_MS).min(after.to_ms);
        if !(high > low && high - low <= LONGEST_MS) {
            continue;
        }
        let (mut last, mut first) = (None, None);
        let mut from = low;
        while from + WINDOW_MS <= high {
            if cancel.is_cancelled() {
                return None;
            }
            let to = from + WINDOW_MS;
            if on(reader, key, &before, from, to) {
                last = Some(to);
                // What fitted the later line before this was chance.
                first = None;
            } else if first.is_none() && on(reader, key, &after, from, to) {
                first = Some(from);
            }
            from += STEP_MS;
        }
        if let Some(to) = last {
            pair.stretches[n - 1].to_ms = to;
        }
        if let Some(from) = first {
            pair.stretches[n].from_ms = from;
        }
    }
    Some(())
}

fn on(reader: &mut Reader, key: (usize, usize), stretch: &Stretch, from: f64, to: f64) -> bool {
    compare(reader, key, &stretch.line, from, to)
        .is_some_and(|lag| lag.clear >= SURE && lag.lag_ms.abs() <= ON_LINE_MS)
}
