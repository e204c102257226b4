//! Which runs of yes and no are stretches worth keeping?
//!
//! In: one decision per frame. Out: half-open stretches of frames, padded,
//! joined over short gaps, long enough.

/// Lengths in frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shape {
    /// Shortest run of yes that counts.
    pub least: usize,
    /// Frames added before a run.
    pub lead: usize,
    /// Frames added after a run.
    pub trail: usize,
    /// Padded runs closer than this are joined.
    pub bridge: usize,
}

/// Makes stretches of decisions that come one by one.
#[derive(Clone, Debug)]
pub struct Stretches {
    shape: Shape,
    frame: usize,
    run_from: Option<usize>,
    /// Padded stretch that may still grow.
    open: Option<(usize, usize)>,
}

impl Stretches {
    /// Starts before the first frame.
    #[must_use]
    pub fn new(shape: Shape) -> Self {
        Self {
            shape,
            frame: 0,
            run_from: None,
            open: None,
        }
    }

    /// Takes the next decision; answers a stretch `(from, to)` that is over.
    pub fn push(&mut self, speech: bool) -> Option<(usize, usize)> {
        let mut over = None;
        match (speech, self.run_from) {
            (true, None) => self.run_from = Some(self.frame),
            (false, Some(from)) => {
                over = self.end_run(from, self.frame);
                self.run_from = None;
            }
            _ => {}
        }
        // While a run lasts it may yet join the open stretch.
        let earliest = self
            .run_from
            .unwrap_or(self.frame)
            .saturating_sub(self.shape.lead);
        if let Some((_, to)) = self.open
            && over.is_none()
            && earliest > to + self.shape.bridge
        {
            over = self.open.take();
        }
        self.frame += 1;
        over
    }

    /// Answers what is left, at most two stretches, none past the last frame.
    pub fn finish(&mut self) -> [Option<(usize, usize)>; 2] {
        let first = self
            .run_from
            .take()
            .and_then(|from| self.end_run(from, self.frame));
        let cut = |(from, to): (usize, usize)| (from, to.min(self.frame));
        [first.map(cut), self.open.take().map(cut)]
    }

    /// Where the stretch begins that could still change; earlier frames are no
    /// longer needed.
    #[must_use]
    pub fn needed_from(&self) -> usize {
        let run = self
            .run_from
            .unwrap_or(self.frame)
            .saturating_sub(self.shape.lead);
        self.open.map_or(run, |(from, _)| from.min(run))
    }

    fn end_run(&mut self, from: usize, to: usize) -> Option<(usize, usize)> {
        if to - from < self.shape.least {
            return None;
        }
        let padded = (from.saturating_sub(self.shape.lead), to + self.shape.trail);
        match self.open {
            Some((open_from, open_to)) if padded.0 <= open_to + self.shape.bridge => {
                self.open = Some((open_from, padded.1));
                None
            }
            _ => self.open.replace(padded),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SHAPE: Shape = Shape {
        least: 3,
        lead: 2,
        trail: 4,
        bridge: 5,
    };

    fn run(decisions: &[bool]) -> Vec<(usize, usize)> {
        let mut stretches = Stretches::new(SHAPE);
        let mut found: Vec<_> = decisions
            .iter()
            .filter_map(|yes| stretches.push(*yes))
            .collect();
        found.extend(stretches.finish().into_iter().flatten());
        found
    }

    /// The rule written over the whole list at once.
    fn naive(decisions: &[bool]) -> Vec<(usize, usize)> {
        let mut found: Vec<(usize, usize)> = Vec::new();
        let mut n = 0;
        while n < decisions.len() {
            let from = n;
            while n < decisions.len() && decisions[n] {
                n += 1;
            }
            if n - from >= SHAPE.least {
                let (a, b) = (from.saturating_sub(SHAPE.lead), n + SHAPE.trail);
                match found.last_mut() {
                    Some(last) if a <= last.1 + SHAPE.bridge => last.1 = b,
                    _ => found.push((a, b)),
                }
            }
            n += 1;
        }
        for stretch in &mut found {
            stretch.1 = stretch.1.min(decisions.len());
        }
        found
    }

    proptest! {
        #[test]
        fn streaming_is_the_rule_over_the_whole(
            runs in prop::collection::vec((any::<bool>(), 1usize..15), 0..40)
        ) {
            let decisions: Vec<bool> = runs
                .iter()
                .flat_map(|(yes, length)| std::iter::repeat_n(*yes, *length))
                .collect();
            prop_assert_eq!(run(&decisions), naive(&decisions));
        }
    }
}
