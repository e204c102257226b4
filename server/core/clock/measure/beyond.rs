//! Does shared sound go on where both recordings hold speech?
//!
//! Two recorders that ran in one room share all of it. A song that was played
//! twice, heard by one recorder the first time and by another the second, fits
//! from its first beat to its last, and nothing before or after it does. So does
//! talk between two who meet for a minute and part; but nobody says a thing twice
//! to the sample, so talk is believed.

use super::reader::Reader;
use super::{NEAR_MS, SURE, compare, covered};
use crate::Cancel;
use crate::clock::{Finding, Member, Pair, Stretch};
use crate::units::FileMs;

/// A stretch this long (8 min) is longer than a piece of music: it needs no more.
const LONG_MS: f64 = 480_000.0;
/// Windows that are compared, at most; with fewer than the second nothing is said.
const WINDOWS: usize = 24;
const LEAST: usize = 8;
/// Length of a window, ms, and how far it keeps from the stretch.
const WINDOW_MS: f64 = 4_096.0;
/// Share of a window that is speech in both.
const SPEECH: f64 = 0.5;
/// Talk has at least this share of pauses, see [`crate::clock::Track::pauses`].
const TALK: f32 = 0.38;
/// Doubted are stretches with so large a share of windows that agree inside: what is
/// faint inside may well be too faint outside.
const INSIDE: f64 = 0.5;

/// Drops measured stretches that are short, amid looks that speak against them, and
/// do not go on; calls the pair a tie when none is left. `None` when cancelled.
pub(super) fn settle(
    members: &[Member],
    key: (usize, usize),
    pair: &mut Pair,
    reader: &mut Reader,
    cancel: &Cancel,
) -> Option<()> {
    if pair.finding != Finding::Shared {
        return Some(());
    }
    let mut doubted = Vec::new();
    for n in 0..pair.stretches.len() {
        let stretch = pair.stretches[n];
        if stretch.to_ms - stretch.from_ms >= LONG_MS
            || stretch.against < stretch.blocks
            || stretch.fine.is_none_or(|fine| fine.agreement < INSIDE)
            || is_talk(members, key, &stretch)
        {
            continue;
        }
        let windows = windows(members, key, &pair.stretches, n);
        if windows.len() < LEAST {
            continue;
        }
        let mut goes_on = false;
        for from in windows {
            if cancel.is_cancelled() {
                return None;
            }
            let lag = compare(reader, key, &stretch.line, from, from + WINDOW_MS);
            goes_on |= lag.is_some_and(|lag| lag.clear >= SURE && lag.lag_ms.abs() <= NEAR_MS);
            if goes_on {
                break;
            }
        }
        if !goes_on {
            doubted.push(n);
        }
    }
    if !doubted.is_empty() && doubted.len() == pair.stretches.len() {
        pair.finding = Finding::Tie;
    } else {
        let mut n = 0;
        pair.stretches.retain(|_| {
            n += 1;
            !doubted.contains(&(n - 1))
        });
    }
    Some(())
}

fn is_talk(members: &[Member], (a, b): (usize, usize), stretch: &Stretch) -> bool {
    let pauses = |member: usize, from: f64, to: f64| {
        let at = |ms: f64| FileMs(ms.round() as i64);
        members[member].track.pauses(at(from), at(to))
    };
    let (from, to) = (stretch.from_ms, stretch.to_ms);
    let there = |at: f64| stretch.line.map(at);
    pauses(a, from, to).max(pauses(b, there(from), there(to))) >= TALK
}

/// Starts of windows in the first recording that no stretch holds, with speech in
/// both where the line of the stretch `n` says; the fullest, in order.
fn windows(
    members: &[Member],
    (a, b): (usize, usize),
    stretches: &[Stretch],
    n: usize,
) -> Vec<f64> {
    let line = &stretches[n].line;
    let (a, b) = (&members[a], &members[b]);
    let low = line.map_back(0.0).max(0.0);
    let high = line.map_back(b.duration_ms).min(a.duration_ms);
    if !(low.is_finite() && high.is_finite()) {
        return Vec::new();
    }
    let count = ((high - low) / WINDOW_MS).max(0.0) as usize;
    let outside = |from: &f64| {
        stretches
            .iter()
            .all(|s| from + WINDOW_MS <= s.from_ms - WINDOW_MS || *from >= s.to_ms + WINDOW_MS)
    };
    let mut found: Vec<(f64, f64)> = (0..count)
        .map(|n| low + n as f64 * WINDOW_MS)
        .filter(outside)
        .map(|from| {
            let there = line.map(from);
            let here = covered(a.speech, from, from + WINDOW_MS);
            (here.min(covered(b.speech, there, there + WINDOW_MS)), from)
        })
        .filter(|(speech, _)| *speech >= SPEECH)
        .collect();
    found.sort_by(|x, y| y.0.total_cmp(&x.0));
    found.truncate(WINDOWS);
    let mut starts: Vec<f64> = found.into_iter().map(|(_, from)| from).collect();
    starts.sort_by(f64::total_cmp);
    starts
}
