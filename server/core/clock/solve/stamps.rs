//! What do the stamps in the files say?

use super::fixes::middle;
use crate::clock::fit::median;
use crate::clock::{How, Member, Placed, StampAt, Warning};

/// Two of a recorder's stamps are this exact against each other, ppm of the time
/// between: its clock's crystal.
const STAMP_PPM: f64 = 100.0;
/// A stamp may be written some time before the first sample is taken, ms.
const STAMP_LATE_MS: f64 = 1_000.0;

/// Where a lot would lie by stamps against recordings of the same sources that are
/// placed: how much later than it lies now, and half of the 95 % interval, both ms;
/// no interval where those recordings have none. `None` where there are no stamps,
/// or where no answer has most of them for it.
pub(super) fn by_stamp(
    members: &[Member],
    placed: &[Placed],
    lot: &[usize],
    reference: &[usize],
) -> Option<(f64, Option<f64>)> {
    let mut found: Vec<Said> = Vec::new();
    for &m in lot {
        for &r in reference {
            if let Some((rank, apart, within)) = apart(&members[m], &members[r]) {
                let starts = placed[r].placement.start_ms() - placed[m].placement.start_ms();
                found.push(Said {
                    rank,
                    by: starts + apart,
                    within,
                    known: placed[r].uncertainty_ms,
                });
            }
        }
    }
    let best = found.iter().map(|said| said.rank).min()?;
    found.retain(|said| said.rank == best);
    let beside = |one: &Said| -> Vec<usize> {
        let same = |other: &Said| agree(one.by - other.by, one.within.max(other.within));
        (0..found.len()).filter(|&n| same(&found[n])).collect()
    };
    let most = found.iter().map(beside).max_by_key(Vec::len)?;
    if 2 * most.len() <= found.len() {
        return None;
    }
    let most: Vec<&Said> = most.into_iter().map(|n| &found[n]).collect();
    let middle = median(most.iter().map(|said| said.by).collect());
    let off = median(most.iter().map(|said| (said.by - middle).abs()).collect());
    let each = most
        .iter()
        .filter_map(|said| Some(said.within.hypot(said.known?)));
    let within = each.min_by(f64::total_cmp);
    Some((middle, within.map(|ms| ms.max(2.0 * off))))
}

/// What the stamps of two recordings say of their lots.
struct Said {
    rank: u8,
    /// How much later the one is to be, ms.
    by: f64,
    /// How exact that is, ms.
    within: f64,
    /// The interval of the one that is placed, ms.
    known: Option<f64>,
}

/// Whether stamps that are this exact may differ by that much, ms.
fn agree(by_ms: f64, within_ms: f64) -> bool {
    by_ms.abs() <= 2.0 * within_ms + STAMP_LATE_MS
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

/// Stamps that say another place than the sound: those that fewer than half of the
/// source's agree with. Of two halves the one with the first recording is believed.
pub(super) fn disagreements(members: &[Member], placed: &[Placed]) -> Vec<Warning> {
    let mut sure: Vec<usize> = (0..members.len())
        .filter(|&n| {
            placed[n].island == 0 && matches!(placed[n].how, How::Sound | How::Joined | How::ByHand)
        })
        .collect();
    let start = |n: usize| placed[n].placement.start_ms();
    sure.sort_by(|&x, &y| start(x).total_cmp(&start(y)));
    let mut warnings = Vec::new();
    for &n in &sure {
        let mut off: Vec<(f64, f64)> = Vec::new();
        let (mut compared, mut with_first) = (0, None);
        for &other in sure.iter().filter(|&&other| other != n) {
            let Some((_, apart, within)) = apart(&members[n], &members[other]) else {
                continue;
            };
            let by = apart - (start(n) - start(other));
            let same = agree(by, within);
            compared += 1;
            // In order of time: `n` itself is the first if it is before this one.
            let n_is_first = start(n) < start(other) || (start(n) == start(other) && n < other);
            with_first.get_or_insert(same || n_is_first);
            if !same {
                off.push((by, within));
            }
        }
        let with = compared - off.len() + 1;
        let outvoted =
            2 * with < compared + 1 || (2 * with == compared + 1 && with_first == Some(false));
        if let Some((by_ms, _)) = middle(off).filter(|_| outvoted) {
            warnings.push(Warning::StampDisagrees { member: n, by_ms });
        }
    }
    warnings.sort_by_key(|warning| match warning {
        Warning::StampDisagrees { member, .. } => *member,
        _ => 0,
    });
    warnings
}
