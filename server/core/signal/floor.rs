//! How loud is the noise under the speech, in each band?
//!
//! In: one level per band and frame. Out, a window (minus one frame) later: the level and the floor under it. A window's floor is the level that
//! its quietest share stays below, lifted to the mean of noise that has such a
//! share (after the minimum statistics of R. Martin, IEEE Trans. Speech Audio
//! Process. 9(5), 2001, with a quantile in place of the minimum). Of the
//! windows that end at, surround and start at a frame the highest floor
//! counts: noise that begins is known as noise from its first frame on,
//! because the window after it says so.

use super::bands::{BANDS, Levels};
use super::numbered::Numbered;
use super::quantile::{RunningQuantile, bin_of, level_of};

/// What one frame's bands hold and the floor under them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Floored {
    /// Level of each band, dBFS.
    pub levels: Levels,
    /// Mean level of the noise in each band, dBFS.
    pub floors: Levels,
}

/// Follows the noise floor of every band, looking both ways in time.
#[derive(Clone, Debug)]
pub struct FloorTracker {
    window: usize,
    reach: usize,
    share: f32,
    lift_db: Levels,
    quantiles: Vec<RunningQuantile>,
    /// Levels as histogram bins, and as they came.
    bins: Numbered<[u8; BANDS]>,
    levels: Numbered<Levels>,
    /// Quiet shares of the full windows, by the number of their last frame.
    windows: Numbered<[u8; BANDS]>,
    answered: usize,
}

impl FloorTracker {
    /// A tracker with windows of `window` frames, of which `share` is quiet;
    /// `reach` frames to either side cap the floor; `lift_db` is how far the
    /// mean of noise lies above its quiet share, per band.
    #[must_use]
    pub fn new(window: usize, share: f32, reach: usize, lift_db: Levels) -> Self {
        let window = window.clamp(2, usize::from(u16::MAX - 1));
        Self {
            window,
            reach: reach.clamp(1, window),
            share: share.clamp(0.0, 1.0),
            lift_db,
            quantiles: vec![RunningQuantile::new(); BANDS],
            bins: Numbered::from(0),
            levels: Numbered::from(0),
            windows: Numbered::from(window - 1),
            answered: 0,
        }
    }

    /// Takes the next frame; answers the one a window before, if there is one.
    pub fn push(&mut self, levels: &Levels) -> Option<Floored> {
        let number = self.bins.next();
        let bins = levels.map(bin_of);
        for (quantile, bin) in self.quantiles.iter_mut().zip(bins) {
            quantile.add(bin);
        }
        self.bins.push(bins);
        self.levels.push(*levels);
        if let Some(oldest) = number
            .checked_sub(self.window)
            .and_then(|n| self.bins.nearest(n))
        {
            for (quantile, bin) in self.quantiles.iter_mut().zip(oldest) {
                quantile.remove(*bin);
            }
        }
        if number + 1 < self.window {
            return None;
        }
        self.end_window();
        self.answer()
    }

    /// Answers the next frame after the last push; `None` when all are
    /// answered. A recording shorter than a window is one window.
    pub fn finish(&mut self) -> Option<Floored> {
        if self.answered == self.bins.next() {
            return None;
        }
        if self.windows.nearest(0).is_none() {
            self.end_window();
        }
        self.answer()
    }

    fn end_window(&mut self) {
        let share = self.share;
        let mut quiet = [0; BANDS];
        for (bin, quantile) in quiet.iter_mut().zip(&mut self.quantiles) {
            *bin = quantile.find(share);
        }
        self.windows.push(quiet);
    }

    fn answer(&mut self) -> Option<Floored> {
        let frame = self.answered;
        let levels = *self.levels.nearest(frame)?;
        let mut highest = [0; BANDS];
        for later in [0, self.window / 2, self.window - 1] {
            let quiet = self.windows.nearest(frame + later)?;
            for (highest, bin) in highest.iter_mut().zip(quiet) {
                *highest = (*highest).max(*bin);
            }
        }
        let mut cap = [u8::MAX; BANDS];
        let near = frame.saturating_sub(self.reach)..frame + self.reach + 1;
        for bins in self.bins.range(near) {
            for (cap, bin) in cap.iter_mut().zip(bins) {
                *cap = (*cap).min(*bin);
            }
        }
        let floors =
            std::array::from_fn(|band| level_of(highest[band].min(cap[band])) + self.lift_db[band]);
        self.answered += 1;
        self.levels.forget_before(self.answered);
        self.windows.forget_before(self.answered);
        self.bins
            .forget_before(self.answered.saturating_sub(self.reach));
        Some(Floored { levels, floors })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(levels: &[Levels], window: usize) -> Vec<Floored> {
        let mut tracker = FloorTracker::new(window, 0.1, 5, [0.0; BANDS]);
        let mut answers: Vec<Floored> = levels.iter().filter_map(|l| tracker.push(l)).collect();
        while let Some(answer) = tracker.finish() {
            answers.push(answer);
        }
        answers
    }

    #[test]
    fn every_frame_is_answered_once_in_order() {
        for length in [0, 1, 2, 99, 100, 101, 350] {
            let levels: Vec<Levels> = (0..length)
                .map(|n| [n as f32 * 0.1 - 90.0; BANDS])
                .collect();
            let answers = run(&levels, 100);
            assert_eq!(answers.len(), length);
            assert!(answers.iter().zip(&levels).all(|(a, l)| a.levels == *l));
        }
    }

    #[test]
    fn noise_that_begins_is_floor_from_its_first_second_on() {
        let levels: Vec<Levels> = (0..1000)
            .map(|n| [if n < 500 { -70.0 } else { -40.0 }; BANDS])
            .collect();
        let answers = run(&levels, 200);
        for (n, answer) in answers.iter().enumerate() {
            let expected = if n < 505 { -70.0 } else { -40.0 };
            assert_eq!(answer.floors[3], expected, "frame {n}");
        }
    }

    #[test]
    fn speech_before_the_first_pause_does_not_become_the_floor() {
        // 3 s of talk, then a talk of 70 % loud and 30 % quiet frames.
        let levels: Vec<Levels> = (0..3000)
            .map(|n| {
                let loud = n < 300 || n % 10 < 7;
                [if loud { -30.0 } else { -80.0 }; BANDS]
            })
            .collect();
        let answers = run(&levels, 800);
        assert!(answers.iter().all(|answer| answer.floors[0] == -80.0));
    }
}
