//! Which movements of a recording's sound survive noise, distance and rooms?

use super::track::{TRACK_BANDS, Track};

/// Movements of the bands in one frame, in steps of half a dB.
pub(super) type Moves = [i8; TRACK_BANDS];

/// Frames to either side over which a band's mean is taken away (together about
/// 2 s): colour of the room and the microphone, automatic gain and swelling noise
/// stay behind it.
pub(super) const MEAN_REACH: usize = 25;

/// Largest movement that counts, steps: one knock on a microphone must not
/// outweigh a sentence.
pub(super) const CLIP: i32 = 30;

/// Levels are added to noise this many steps above the floor that a tenth of
/// the frames stay below: about its mean, so that noise alone hardly moves.
const ABOVE_FLOOR: i32 = 10;

/// A recording as the search for shared sound sees it: how far each band's level,
/// smoothed off at its noise floor, stands above its mean of the 2 s around.
#[derive(Clone)]
pub(super) struct Prepared {
    pub(super) moves: Vec<Moves>,
    /// Sum of squared movements before each frame.
    energy: Vec<u64>,
}

impl Prepared {
    /// Prepares a whole recording.
    pub(super) fn new(track: &Track) -> Self {
        Self::of(moves(track, 0, track.frames()))
    }

    pub(super) fn of(moves: Vec<Moves>) -> Self {
        let mut sum = 0;
        let mut energy = Vec::with_capacity(moves.len() + 1);
        energy.push(0);
        for frame in &moves {
            sum += energy_of(frame);
            energy.push(sum);
        }
        Self { moves, energy }
    }

    /// The `length` frames from `from` on, or what there is of them.
    pub(super) fn part(&self, from: usize, length: usize) -> Self {
        let end = self.moves.len();
        let (from, to) = (from.min(end), from.saturating_add(length).min(end));
        Self::of(self.moves[from..to].to_vec())
    }

    /// Number of frames, each [`super::FRAME_MS`] long.
    pub(super) fn frames(&self) -> usize {
        self.moves.len()
    }

    /// Sum of squared movements of `length` frames from `from` on; frames that do
    /// not exist have none.
    pub(super) fn energy(&self, from: usize, length: usize) -> f32 {
        let end = self.moves.len();
        let (from, to) = (from.min(end), from.saturating_add(length).min(end));
        (self.energy[to] - self.energy[from]) as f32
    }

    /// The same sound on a clock that runs `rate` times as fast, so that it has
    /// `rate` times as many frames.
    pub(super) fn at_rate(&self, rate: f64) -> Self {
        let frames = (self.moves.len() as f64 * rate) as usize;
        let stretched = (0..frames).map(|n| {
            // The middle of a frame goes to the middle of a frame.
            let at = ((n as f64 + 0.5) / rate - 0.5).max(0.0);
            let share = at.fract() as f32;
            let first = (at as usize).min(self.moves.len() - 1);
            let next = (first + 1).min(self.moves.len() - 1);
            std::array::from_fn(|band| {
                let (a, b) = (self.moves[first][band], self.moves[next][band]);
                (f32::from(a) * (1.0 - share) + f32::from(b) * share).round() as i8
            })
        });
        Self::of(stretched.collect())
    }
}

fn energy_of(frame: &Moves) -> u64 {
    let squares = frame.iter().map(|&m| i32::from(m) * i32::from(m));
    squares.sum::<i32>() as u64
}

/// The movements of the frames from `from` up to `to`.
pub(super) fn moves(track: &Track, from: usize, to: usize) -> Vec<Moves> {
    let to = to.min(track.frames());
    let from = from.min(to);
    let (first, last) = (
        from.saturating_sub(MEAN_REACH),
        (to + MEAN_REACH).min(track.frames()),
    );
    let rises = rises();
    let soft: Vec<[i16; TRACK_BANDS]> = (first..last)
        .map(|frame| {
            let floors = track.floors_at(frame);
            let levels = track.levels()[frame];
            std::array::from_fn(|band| {
                let noise = i32::from(floors[band]) + ABOVE_FLOOR;
                let above = i32::from(levels[band]) - noise;
                rises[(above + 255).clamp(0, 511) as usize]
            })
        })
        .collect();
    let mut sums = Vec::with_capacity(soft.len() + 1);
    let mut sum = [0_i32; TRACK_BANDS];
    sums.push(sum);
    for frame in &soft {
        for (sum, level) in sum.iter_mut().zip(frame) {
            *sum += i32::from(*level);
        }
        sums.push(sum);
    }
    (from - first..to - first)
        .map(|n| {
            let start = n.saturating_sub(MEAN_REACH);
            let end = (n + MEAN_REACH + 1).min(soft.len());
            let count = (end - start) as i32;
            std::array::from_fn(|band| {
                let mean = (sums[end][band] - sums[start][band]) as f32 / count as f32;
                let moved = (f32::from(soft[n][band]) - mean).round() as i32;
                moved.clamp(-CLIP, CLIP) as i8
            })
        })
        .collect()
}

/// How far noise with a sound lies above the noise alone, for sounds from 255
/// steps below it up: powers add.
fn rises() -> [i16; 512] {
    std::array::from_fn(|n| {
        let db = (n as f32 - 255.0) / 2.0;
        (20.0 * (1.0 + 10f32.powf(db / 10.0)).log10()).round() as i16
    })
}
