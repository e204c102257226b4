//! Which runs of yes and no are stretches worth keeping?
//!
//! In: per frame, whether it may be speech, surely is, and is clear to hear.
//! Out: half-open stretches of frames that may be speech and somewhere surely
//! are (hysteresis in both directions of time), long enough, cut back to what
//! is clear, joined over short gaps.

/// Lengths in frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shape {
    /// Shortest run of likely speech that counts.
    pub least: usize,
    /// Frames kept before the first clear one.
    pub lead: usize,
    /// Frames kept after the last clear one.
    pub trail: usize,
    /// A run is cut back by at most so many frames at each end.
    pub cut: usize,
    /// Stretches closer than this are joined.
    pub bridge: usize,
}

/// What is decided of one frame.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Decision {
    /// It may be speech.
    pub likely: bool,
    /// It surely is.
    pub sure: bool,
    /// It stands out above the noise.
    pub clear: bool,
}

/// A run of likely speech that is not over.
#[derive(Clone, Copy, Debug)]
struct Run {
    from: usize,
    sure: bool,
    /// First and last clear frame.
    clear: Option<(usize, usize)>,
}

/// Makes stretches of decisions that come one by one.
#[derive(Clone, Debug)]
pub struct Stretches {
    shape: Shape,
    frame: usize,
    run: Option<Run>,
    /// A stretch that may still grow.
    open: Option<(usize, usize)>,
}

impl Stretches {
    /// Starts before the first frame.
    #[must_use]
    pub fn new(shape: Shape) -> Self {
        Self {
            shape,
            frame: 0,
            run: None,
            open: None,
        }
    }

    /// Takes the next decision; answers a stretch `(from, to)` that is over.
    pub fn push(&mut self, decision: Decision) -> Option<(usize, usize)> {
        let frame = self.frame;
        self.frame += 1;
        if decision.likely {
            let run = self.run.get_or_insert(Run {
                from: frame,
                sure: false,
                clear: None,
            });
            run.sure |= decision.sure;
            if decision.clear {
                let first = run.clear.map_or(frame, |(first, _)| first);
                run.clear = Some((first, frame));
            }
        } else if let Some(run) = self.run.take()
            && let Some(over) = self.end_run(run, frame)
        {
            return Some(over);
        }
        let earliest = self.run.map_or(frame, |run| run.from);
        let (_, to) = self.open?;
        if earliest > to + self.shape.bridge {
            return self.open.take();
        }
        None
    }

    /// Answers what is left, at most two stretches.
    pub fn finish(&mut self) -> [Option<(usize, usize)>; 2] {
        let run = self.run.take();
        let first = run.and_then(|run| self.end_run(run, self.frame));
        [first, self.open.take()]
    }

    /// Where the stretch begins that could still change; earlier frames are no
    /// longer needed.
    #[must_use]
    pub fn needed_from(&self) -> usize {
        let run = self.run.map_or(self.frame, |run| run.from);
        self.open.map_or(run, |(from, _)| from.min(run))
    }

    fn end_run(&mut self, run: Run, to: usize) -> Option<(usize, usize)> {
        if !run.sure || to - run.from < self.shape.least {
            return None;
        }
        let (from, to) = self.cut_back(run, to);
        match &mut self.open {
            Some(open) if from <= open.1 + self.shape.bridge => {
                open.1 = to;
                None
            }
            _ => self.open.replace((from, to)),
        }
    }

    fn cut_back(&self, run: Run, to: usize) -> (usize, usize) {
        let Some((first, last)) = run.clear else {
            return (run.from, to);
        };
        let shape = &self.shape;
        let from = first.saturating_sub(shape.lead).min(run.from + shape.cut);
        let until = (last + 1 + shape.trail).max(to.saturating_sub(shape.cut));
        (from.max(run.from), until.min(to))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SHAPE: Shape = Shape {
        least: 3,
        lead: 2,
        trail: 3,
        cut: 6,
        bridge: 5,
    };

    fn run(decisions: &[Decision]) -> Vec<(usize, usize)> {
        let mut stretches = Stretches::new(SHAPE);
        let mut found = Vec::new();
        for decision in decisions {
            let needed_from = stretches.needed_from();
            let over = stretches.push(*decision);
            assert!(over.is_none_or(|(from, _)| from >= needed_from));
            found.extend(over);
        }
        found.extend(stretches.finish().into_iter().flatten());
        found
    }

    /// The rule written over the whole list at once.
    fn naive(decisions: &[Decision]) -> Vec<(usize, usize)> {
        let mut found: Vec<(usize, usize)> = Vec::new();
        let mut n = 0;
        while n < decisions.len() {
            let from = n;
            while n < decisions.len() && decisions[n].likely {
                n += 1;
            }
            if n - from >= SHAPE.least && decisions[from..n].iter().any(|d| d.sure) {
                let clear: Vec<usize> = (from..n).filter(|k| decisions[*k].clear).collect();
                let (mut a, mut b) = (from as i64, n as i64);
                if let (Some(first), Some(last)) = (clear.first(), clear.last()) {
                    a = a.max((*first as i64 - 2).min(from as i64 + 6));
                    b = b.min((*last as i64 + 4).max(n as i64 - 6));
                }
                let (a, b) = (a as usize, b as usize);
                match found.last_mut() {
                    Some(last) if a <= last.1 + SHAPE.bridge => last.1 = b,
                    _ => found.push((a, b)),
                }
            }
            n += 1;
        }
        found
    }

    proptest! {
        #[test]
        fn streaming_is_the_rule_over_the_whole(
            runs in prop::collection::vec((0..4u8, any::<bool>(), 1usize..12), 0..40)
        ) {
            let decisions: Vec<Decision> = runs
                .iter()
                .flat_map(|(degree, clear, length)| {
                    let decision = Decision {
                        likely: *degree > 0,
                        sure: *degree > 2,
                        clear: *clear,
                    };
                    std::iter::repeat_n(decision, *length)
                })
                .collect();
            let found = run(&decisions);
            prop_assert_eq!(&found, &naive(&decisions));
            prop_assert!(found.iter().all(|(from, to)| from < to && *to <= decisions.len()));
            prop_assert!(found.windows(2).all(|two| two[0].1 < two[1].0));
        }
    }
}
