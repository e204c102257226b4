//! What do the stamps in the files say?

use crate::clock::{How, Member, Placed, StampAt, Warning};

/// Two of a recorder's stamps are this exact against each other, ppm of the time
/// between: its clock's crystal.
const STAMP_PPM: f64 = 100.0;
/// A stamp may be written some time before the first sample is taken, ms.
const STAMP_LATE_MS: f64 = 1_000.0;

/// Where a lot would lie by stamps against recordings of the same sources that are
/// placed: how much later than it lies now, and half of the 95 % interval, both ms.
pub(super) fn by_stamp(
    members: &[Member],
    placed: &[Placed],
    lot: &[usize],
    reference: &[usize],
) -> Option<(f64, f64)> {
    let mut found: Vec<(u8, f64, f64)> = Vec::new();
    for &m in lot {
        for &r in reference {
            if let Some((rank, apart, within)) = apart(&members[m], &members[r]) {
                let starts = placed[r].placement.start_ms() - placed[m].placement.start_ms();
                let known = placed[r].uncertainty_ms.unwrap_or(0.0);
                found.push((rank, starts + apart, within.hypot(known)));
            }
        }
    }
    let best = found.iter().map(|(rank, ..)| *rank).min()?;
    found.retain(|(rank, ..)| *rank == best);
    let within = found
        .iter()
        .map(|(_, _, within)| *within)
        .fold(f64::MAX, f64::min);
    let shifts: Vec<f64> = found.iter().map(|(_, by, _)| *by).collect();
    let middle = crate::clock::fit::median(shifts.clone());
    let off = shifts.iter().map(|by| (by - middle).abs()).collect();
    Some((middle, within.max(2.0 * crate::clock::fit::median(off))))
}

/// How much later `member` began than `other` by the best stamps both have, and
/// how exact that is, ms.
fn apart(member: &Member, other: &Member) -> Option<(u8, f64, f64)> {
    if member.source != other.source {
        return None;
    }
    let usable = |s: &&StampAt| s.at_ms.is_finite() && s.within_ms.is_finite();
    let mut both: Vec<(StampAt, StampAt)> = Vec::new();
    for mine in member.stamps.iter().filter(usable) {
        both.extend(
            other
                .stamps
                .iter()
                .filter(usable)
                .filter(|s| s.rank == mine.rank)
                .map(|s| (*mine, *s)),
        );
    }
    let (mine, theirs) = both.into_iter().min_by_key(|(mine, _)| mine.rank)?;
    let by = mine.at_ms - theirs.at_ms;
    let within = mine.within_ms.abs().max(theirs.within_ms.abs()) + by.abs() * STAMP_PPM / 1e6;
    Some((mine.rank, by, within))
}

/// Stamps that say another place than the sound.
pub(super) fn disagreements(members: &[Member], placed: &[Placed]) -> Vec<Warning> {
    let sure: Vec<usize> = (0..members.len())
        .filter(|&n| {
            placed[n].island == 0 && matches!(placed[n].how, How::Sound | How::Joined | How::ByHand)
        })
        .collect();
    let mut warnings = Vec::new();
    for (k, &n) in sure.iter().enumerate() {
        // Against all others of the source; with one other, the later is told.
        let mut off: Vec<(f64, f64)> = Vec::new();
        let mut earlier = false;
        for (j, &other) in sure.iter().enumerate() {
            if j == k {
                continue;
            }
            if let Some((_, apart, within)) = apart(&members[n], &members[other]) {
                let heard = placed[n].placement.start_ms() - placed[other].placement.start_ms();
                off.push((apart - heard, within));
                earlier |= heard >= 0.0;
            }
        }
        let within = off.iter().map(|(_, within)| *within).fold(0.0, f64::max);
        let by_ms = crate::clock::fit::median(off.iter().map(|(by, _)| *by).collect());
        let limit = 2.0 * within + STAMP_LATE_MS;
        if by_ms.abs() > limit && (off.len() > 1 || earlier) {
            warnings.push(Warning::StampDisagrees { member: n, by_ms });
        }
    }
    warnings
}
