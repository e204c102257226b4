//! Which recordings are rigid to each other?

use std::collections::BTreeMap;

use crate::clock::Member;

/// Recordings tied by sample count: channels of one file, pieces of one take.
/// A body has one clock; its time starts with its first sample.
#[derive(Clone, Debug, Default)]
pub(super) struct Body {
    /// Members and where each starts on the body's time, ms.
    pub members: Vec<(usize, f64)>,
    /// Up to its last sample, ms.
    pub length_ms: f64,
}

/// Its take and place in it, its length in ms, its channels.
type File = (Option<(usize, u32)>, f64, Vec<usize>);

/// All bodies, and which one each member belongs to.
#[derive(Debug, Default)]
pub(super) struct Bodies {
    pub list: Vec<Body>,
    /// Body and start on its time, ms, for each member.
    pub of: Vec<(usize, f64)>,
}

impl Bodies {
    pub fn of(members: &[Member]) -> Self {
        // Files in order of (take, place in it); files of no take stand alone.
        let mut files: BTreeMap<usize, File> = BTreeMap::new();
        for (n, member) in members.iter().enumerate() {
            let file = files.entry(member.file).or_default();
            file.0 = file.0.or(member.take);
            file.1 = file.1.max(length(member));
            file.2.push(n);
        }
        let mut ordered: Vec<_> = files.into_values().collect();
        ordered.sort_by_key(|(take, _, _)| *take);
        let mut bodies = Self {
            list: Vec::new(),
            of: vec![(0, 0.0); members.len()],
        };
        let mut last: Option<(usize, u32)> = None;
        for (take, length_ms, inside) in ordered {
            // A piece goes on where the one before it ended; after a missing piece
            // nothing is known.
            let goes_on = matches!((last, take), (Some(l), Some(t))
                if l.0 == t.0 && l.1.checked_add(1) == Some(t.1));
            if !goes_on {
                bodies.list.push(Body::default());
            }
            let index = bodies.list.len() - 1;
            if let Some(body) = bodies.list.last_mut() {
                for member in inside {
                    body.members.push((member, body.length_ms));
                    bodies.of[member] = (index, body.length_ms);
                }
                body.length_ms += length_ms;
            }
            last = take;
        }
        bodies
    }
}

/// How long a member lasts, ms; 0 for what is no length.
pub(super) fn length(member: &Member) -> f64 {
    if member.duration_ms.is_finite() {
        member.duration_ms.max(0.0)
    } else {
        0.0
    }
}
