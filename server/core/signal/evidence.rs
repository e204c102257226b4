//! How much does a frame and its surroundings look like speech?
//!
//! In: what was measured of each frame. Out: one number per frame, the
//! evidence for speech in log-odds: 0 is even, +2.3 ten to one for. It is the
//! sum of six measures, each weighted:
//!
//! - *movement*: how far the shape of the spectrum (band levels less their
//!   mean) moves in 80 ms. Speech is a change of shape, four to eight times a
//!   second; hum, wind, fans and held chords keep theirs, however loud.
//! - *jitter*: the same over 40 ms. In noise it is as large as the movement,
//!   in speech smaller.
//! - *hold*: whether the partials stay where they are ([`super::texture`]).
//! - *depth*: how far the level lies below that of the loud moments.
//! - *excess*: how far the bands rise above what noise does.
//! - *ratio*: signal to noise.

use super::marks::Top;
use super::numbered::Numbered;
use super::params::{DetectorParams, frames};

/// What is known of a frame as soon as it is heard.
#[derive(Clone, Copy, Debug, Default)]
pub struct Heard {
    /// Mean square of the change of shape over 80 ms, dB².
    pub movement: f32,
    /// The same over 40 ms, dB².
    pub jitter: f32,
    /// Likeness of the fine structure with that 60 ms before.
    pub hold: f32,
    /// How high its samples reach.
    pub top: Top,
}

/// What is known once the noise floor is.
#[derive(Clone, Copy, Debug, Default)]
pub struct Above {
    /// Mean over the bands of what lies above the noise's own reach, dB.
    pub excess_db: f32,
    /// Level of the whole above the floor, dB.
    pub ratio_db: f32,
    /// Level over 160 ms, dBFS.
    pub level_dbfs: f32,
}

/// Weighs the evidence with the surroundings of each frame.
#[derive(Clone, Debug)]
pub struct Evidence {
    params: DetectorParams,
    change: usize,
    hold: usize,
    depth: usize,
    short: usize,
}

impl Evidence {
    /// Takes the lengths and weights from the parameters.
    #[must_use]
    pub fn new(params: DetectorParams) -> Self {
        Self {
            change: frames(params.movement_ms / 2, 0),
            hold: frames(params.hold_ms / 2, 0),
            depth: frames(params.depth_ms / 2, 0),
            short: frames(params.excess_ms / 2, 0),
            params,
        }
    }

    /// How many frames after a frame must be known to weigh it.
    #[must_use]
    pub fn ahead(&self) -> usize {
        self.change.max(self.hold).max(self.depth).max(self.short)
    }

    /// The evidence for speech in frame `frame`, in log-odds, where the
    /// loud moments have `loud_dbfs`. At the ends of a recording the
    /// surroundings are what there is of them.
    pub(super) fn weigh(
        &self,
        frame: usize,
        heard: &Numbered<Heard>,
        above: &Numbered<Above>,
        loud_dbfs: f32,
    ) -> f32 {
        let around = |reach: usize| frame.saturating_sub(reach)..frame + reach + 1;
        let (mut movement, mut jitter, mut count) = (0.0, 0.0, 0.0);
        for heard in heard.range(around(self.change)) {
            movement += heard.movement;
            jitter += heard.jitter;
            count += 1.0;
        }
        let movement_db = change_db(movement / f32::max(count, 1.0));
        let jitter_db = change_db(jitter / f32::max(count, 1.0));
        let hold = mean(heard.range(around(self.hold)).map(|h| h.hold));
        let deepest_db = -self.params.depth_most_db.abs();
        let depth = |a: &Above| (a.level_dbfs - loud_dbfs).clamp(deepest_db, 0.0);
        let here_db = above.nearest(frame).map_or(0.0, depth);
        let depth_db = here_db.max(mean(above.range(around(self.depth)).map(depth)));
        let excess = mean(above.range(around(self.short)).map(|a| a.excess_db));
        let excess_db = 10.0 * (excess + 0.1).log10();
        let ratio_db = mean(above.range(around(self.short)).map(|a| a.ratio_db));
        let p = &self.params;
        p.constant
            + p.movement_per_db * movement_db
            + p.standing_per_db * (movement_db - p.standing_db).min(0.0)
            + p.jitter_per_db * jitter_db
            + p.hold_whole * hold
            + p.depth_per_db * depth_db
            + p.excess_per_db * excess_db
            + p.ratio_per_db * ratio_db.clamp(0.0, p.ratio_most_db)
    }
}

/// A mean square change as a level: 0 dB is 1 dB² of change.
fn change_db(mean_square: f32) -> f32 {
    // What rounding levels to 16 bits does, so that silence has a value.
    10.0 * (mean_square + 0.05).log10()
}

fn mean(values: impl Iterator<Item = f32>) -> f32 {
    let (mut sum, mut count) = (0.0, 0.0);
    for value in values {
        sum += value;
        count += 1.0;
    }
    sum / f32::max(count, 1.0)
}
