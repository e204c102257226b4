//! Which recordings are rigid to each other?
//!
//! Tied by sample count: channels of one file, pieces of one take, copies.

use std::collections::BTreeMap;

use crate::clock::Member;

/// Recordings tied by sample count. A body has one clock; its time starts with its
/// first sample.
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

    /// The same, with `copies` too: pairs of members that began with the same
    /// sample.
    pub fn with_copies(members: &[Member], copies: impl Iterator<Item = (usize, usize)>) -> Self {
        let mut bodies = Self::of(members);
        for (a, b) in copies.filter(|(a, b)| a.max(b) < &members.len()) {
            bodies.tie(a, b);
        }
        bodies.list.retain(|body| !body.members.is_empty());
        for (index, body) in bodies.list.iter().enumerate() {
            for &(member, start) in &body.members {
                bodies.of[member] = (index, start);
            }
        }
        bodies
    }

    /// Moves all of the body of `b` to that of `a`, such that both start at once.
    fn tie(&mut self, a: usize, b: usize) {
        let ((to, start_a), (from, start_b)) = (self.of[a], self.of[b]);
        if to == from {
            return;
        }
        let moved = std::mem::take(&mut self.list[from]);
        // Both on a time that starts with what is first.
        let first = (start_a - start_b).min(0.0);
        let (later, later_b) = (-first, start_a - start_b - first);
        let body = &mut self.list[to];
        body.length_ms = (body.length_ms + later).max(moved.length_ms + later_b);
        body.members
            .iter_mut()
            .for_each(|(_, start)| *start += later);
        let moved = moved.members.into_iter();
        body.members
            .extend(moved.map(|(member, start)| (member, start + later_b)));
        for &(member, start) in &body.members {
            self.of[member] = (to, start);
        }
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
