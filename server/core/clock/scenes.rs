//! Band levels of made-up events, for the tests of this room and of `moments`.

use super::track::{FRAME, TRACK_BANDS, Track, TrackLevels};

/// Levels of the bands over time at one place, dB from an arbitrary zero.
pub type Sound = Vec<[f32; TRACK_BANDS]>;

pub const FRAMES_A_SECOND: usize = 25;

/// Numbers that repeat on every run (splitmix64: Steele et al., OOPSLA 2014).
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(seed << 40)
    }

    /// Even from 0 to 1.
    pub fn even(&mut self) -> f32 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 40) as f32 / (1_u64 << 24) as f32
    }

    /// Even from −1 to 1.
    pub fn roll(&mut self) -> f32 {
        2.0 * self.even() - 1.0
    }

    /// About normal, deviation 1: six even numbers (each of variance 1/12).
    pub fn normal(&mut self) -> f32 {
        let sum: f32 = (0..6).map(|_| self.even()).sum();
        (sum - 3.0) * 2_f32.sqrt()
    }
}

/// Talk with pauses: each syllable of 80 to 360 ms has a level and a colour of its
/// own, sentences last 1 to 7 s.
pub fn talk(seconds: usize, seed: u64) -> Sound {
    let mut chance = Chance::new(seed);
    let (mut speaks, mut left, mut syllable) = (true, 100_i32, 0_i32);
    let mut goal = [0.0; TRACK_BANDS];
    let mut now = [-40.0; TRACK_BANDS];
    let frame = |_| {
        left -= 1;
        if left <= 0 {
            speaks = !speaks;
            let length = if speaks {
                25.0 + 150.0 * chance.even()
            } else {
                5.0 + 150.0 * chance.even() * chance.even()
            };
            left = length as i32;
        }
        syllable -= 1;
        if syllable <= 0 {
            syllable = 2 + (7.0 * chance.even()) as i32;
            let loud = 8.0 * chance.normal();
            goal = std::array::from_fn(|_| loud + 7.0 * chance.normal());
        }
        for (now, goal) in now.iter_mut().zip(goal) {
            *now += 0.6 * (if speaks { goal } else { -40.0 } - *now);
        }
        now
    };
    (0..seconds * FRAMES_A_SECOND).map(frame).collect()
}

/// Music: a note every 160 ms, the whole repeating after `loop_seconds`.
pub fn music(seconds: usize, loop_seconds: usize, seed: u64) -> Sound {
    let mut chance = Chance::new(seed);
    let mut note = [0.0; TRACK_BANDS];
    let once: Sound = (0..loop_seconds * FRAMES_A_SECOND)
        .map(|n| {
            if n % 4 == 0 {
                note = std::array::from_fn(|_| 6.0 * chance.normal());
            }
            note
        })
        .collect();
    once.into_iter()
        .cycle()
        .take(seconds * FRAMES_A_SECOND)
        .collect()
}

/// Applause: bursts of several seconds whose frames move by chance alone.
pub fn applause(seconds: usize, seed: u64) -> Sound {
    let mut chance = Chance::new(seed);
    let frame = |n: usize| {
        let at = (n % 750) as f32 / 25.0;
        let swell = 10.0 - 4.0 * (at - 6.0).abs();
        std::array::from_fn(|_| swell.max(-30.0) + chance.normal())
    };
    (0..seconds * FRAMES_A_SECOND).map(frame).collect()
}

/// A recorder: starts `start_s` into the sound, hears `length_s` of it, its clock
/// `ppm` fast, over noise of `noise_db`.
#[derive(Clone, Copy)]
pub struct Recorder {
    pub start_s: f64,
    pub length_s: f64,
    pub ppm: f64,
    pub noise_db: f32,
}

impl Recorder {
    pub fn hears(&self, sound: &[[f32; TRACK_BANDS]], seed: u64) -> Track {
        let mut chance = Chance::new(seed);
        let rate = 1.0 + self.ppm / 1e6;
        let frames = (self.length_s * rate * FRAMES_A_SECOND as f64) as usize;
        let power = |db: f32| 10_f32.powf(db / 10.0);
        let levels = (0..frames).map(|n| {
            let at = (n as f64 + 0.5) / rate + self.start_s * FRAMES_A_SECOND as f64 - 0.5;
            let first = at.max(0.0) as usize;
            let share = (at - first as f64) as f32;
            let level = |n: usize, band: usize| sound.get(n).map_or(-60.0, |frame| frame[band]);
            std::array::from_fn::<u8, TRACK_BANDS, _>(|band| {
                let heard = level(first, band) * (1.0 - share) + level(first + 1, band) * share;
                let noise = self.noise_db + 2.0 * chance.normal();
                let dbfs = 10.0 * (power(heard) + power(noise)).log10() - 50.0;
                ((dbfs + 120.0) * 2.0).round().clamp(0.0, 255.0) as u8
            })
        });
        of_levels(levels.collect())
    }

    /// Where an instant of this recording lies in another of the same sound, s.
    pub fn truth(&self, other: &Self, here_s: f64) -> f64 {
        let event = self.start_s + here_s / (1.0 + self.ppm / 1e6);
        (event - other.start_s) * (1.0 + other.ppm / 1e6)
    }
}

pub fn of_levels(levels: Vec<TrackLevels>) -> Track {
    Track::new((levels.len() * FRAME) as u64, levels)
}
