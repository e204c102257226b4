//! What does a room add to a voice?
//!
//! A few early reflections per pair of mouth and microphone, and a
//! reverberation tail per microphone, whose strength does not depend on the
//! distance: near microphones sound dry, far ones do not.

use sayback_core::units::ANALYSIS_RATE_HZ;

use super::random::Random;
use super::spec::{RoomSpec, SPEED_OF_SOUND};

/// Early reflections of a sound `distance_m` away: delay after the direct
/// sound in samples of the analysis rate, and gain against it.
#[must_use]
pub fn reflections(distance_m: f64, random: &mut Random) -> Vec<(usize, f32)> {
    (0..4)
        .map(|_| {
            let late_s = random.between(0.004, 0.028);
            let path_m = distance_m + late_s * SPEED_OF_SOUND;
            // Walls give back 60 % of the amplitude; the rest is distance.
            let gain = 0.6 * distance_m / path_m;
            let sign = if random.unit() < 0.5 { -1.0 } else { 1.0 };
            (
                (late_s * f64::from(ANALYSIS_RATE_HZ)) as usize,
                (sign * gain) as f32,
            )
        })
        .collect()
}

/// A reverberation tail: three all-passes that smear the sound (M. Schroeder,
/// 1962), then eight delay lines mixed by a Householder matrix, each with a
/// gain for the wanted decay and a gentle loss of highs.
pub struct Reverb {
    smear: [Smear; 3],
    lines: Vec<Line>,
    scale: f32,
}

struct Smear {
    delay: Vec<f32>,
    at: usize,
}

impl Smear {
    const GAIN: f32 = 0.65;

    fn new(length: usize) -> Self {
        Self {
            delay: vec![0.0; length],
            at: 0,
        }
    }

    fn next(&mut self, dry: f32) -> f32 {
        let late = self.delay[self.at];
        let kept = dry + Self::GAIN * late;
        self.delay[self.at] = kept;
        self.at = (self.at + 1) % self.delay.len();
        late - Self::GAIN * kept
    }
}

struct Line {
    delay: Vec<f32>,
    at: usize,
    gain: f32,
    low: f32,
}

impl Reverb {
    /// Prime lengths, 30 to 79 ms at 16 kHz.
    const LENGTHS: [usize; 8] = [487, 571, 661, 769, 877, 991, 1_123, 1_259];

    /// The tail of `room`: of a sound that measures 1 at one metre, it measures
    /// 1 / `critical_m` (in RMS, once it has built up).
    #[must_use]
    pub fn new(room: &RoomSpec) -> Self {
        Self::of_lengths(room, Self::LENGTHS, [73, 131, 211])
    }

    /// A tail like no other: no two microphones hear the same one.
    #[must_use]
    pub fn varied(room: &RoomSpec, random: &mut Random) -> Self {
        let mut vary = |length: usize| (length as f64 * random.between(0.8, 1.25)) as usize | 1;
        Self::of_lengths(
            room,
            Self::LENGTHS.map(&mut vary),
            [73, 131, 211].map(&mut vary),
        )
    }

    fn of_lengths(room: &RoomSpec, lengths: [usize; 8], smear: [usize; 3]) -> Self {
        let rate = f64::from(ANALYSIS_RATE_HZ);
        let lines = lengths
            .iter()
            .map(|&length| Line {
                delay: vec![0.0; length],
                at: 0,
                gain: 0.001_f64.powf(length as f64 / (room.rt60_s * rate)) as f32,
                low: 0.0,
            })
            .collect();
        let smear = smear.map(Smear::new);
        let mut reverb = Self {
            smear,
            lines,
            scale: 1.0,
        };
        // Its response to a sound that falls like speech above 500 Hz says how
        // strong it is; that sound, one pole of an impulse, has this energy:
        const POLE: f64 = 0.821_7; // exp(-2 pi 500 / 16000)
        let input = 1.0 / (1.0 - POLE * POLE);
        let energy: f64 = (0..(1.5 * room.rt60_s * rate) as i32)
            .map(|n| f64::from(reverb.next(POLE.powi(n) as f32)).powi(2))
            .sum::<f64>()
            / input;
        for line in &mut reverb.lines {
            line.delay.fill(0.0);
            line.low = 0.0;
        }
        reverb
            .smear
            .iter_mut()
            .for_each(|smear| smear.delay.fill(0.0));
        reverb.scale = (1.0 / (energy.sqrt() * room.critical_m)) as f32;
        reverb
    }

    /// The tail's next sample while `dry` goes in.
    pub fn next(&mut self, dry: f32) -> f32 {
        let dry = self
            .smear
            .iter_mut()
            .fold(dry, |dry, smear| smear.next(dry));
        let heard: [f32; 8] = std::array::from_fn(|n| {
            let line = &mut self.lines[n];
            // One pole against highs: -3 dB near 4 kHz a pass.
            line.low += 0.7 * (line.delay[line.at] - line.low);
            line.gain * line.low
        });
        let shared = heard.iter().sum::<f32>() * 0.25;
        let mut out = 0.0;
        for (n, line) in self.lines.iter_mut().enumerate() {
            out += if n % 2 == 0 { heard[n] } else { -heard[n] };
            line.delay[line.at] = dry + heard[n] - shared;
            line.at = (line.at + 1) % line.delay.len();
        }
        out * self.scale
    }
}
