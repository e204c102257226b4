//! Which sounds without speech must the detector stay silent on?
//!
//! Generated sounds for tests and figures, each from a seed, at 16 kHz, full
//! scale 1.0. Endless iterators, so that ten minutes need no memory. Not part
//! of the product.

#![allow(
    dead_code,
    reason = "the figures share this file and use other parts of it"
)]

use std::f32::consts::TAU;

const RATE_HZ: f32 = 16_000.0;

/// A small generator of random numbers (splitmix64, public domain), so that a
/// seed gives the same sound on every machine.
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// The sequence belonging to `seed`.
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D_4C95_7F2D)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly spread over `low..high`.
    pub fn between(&mut self, low: f32, high: f32) -> f32 {
        let unit = (self.next() >> 40) as f32 / (1u64 << 24) as f32;
        low + (high - low) * unit
    }

    /// One of `0..count`.
    pub fn pick(&mut self, count: usize) -> usize {
        (self.next() % count.max(1) as u64) as usize
    }

    /// Near enough Gaussian: mean 0, deviation 1, the sum of four even ones.
    pub fn gauss(&mut self) -> f32 {
        let bits = self.next();
        let sum: f32 = (0..4)
            .map(|n| ((bits >> (16 * n)) & 0xFFFF) as f32 / 65_536.0 - 0.5)
            .sum();
        // Four even ones of variance 1/12 each.
        sum * 3.0_f32.sqrt()
    }
}

/// White noise of deviation 1.
pub fn white(seed: u64) -> impl Iterator<Item = f32> {
    let mut random = Random::new(seed);
    std::iter::repeat_with(move || random.gauss())
}

/// Pink noise, about −3 dB an octave from 10 Hz up, deviation near 1: a sum of
/// one-pole low-passes at octave-spaced corners, which is the definition up to
/// a ripple of a fraction of a dB.
pub fn pink(seed: u64) -> impl Iterator<Item = f32> {
    let mut random = Random::new(seed);
    let mut stages: [(f32, f32, f32); 10] = std::array::from_fn(|n| {
        let corner_hz = 10.0 * 2.0_f32.powi(n as i32);
        let pole = (-TAU * corner_hz / RATE_HZ).exp();
        // Equal power a corner: each low-pass brings the same variance.
        (0.0, pole, (0.1 * (1.0 - pole * pole)).sqrt())
    });
    std::iter::repeat_with(move || {
        stages
            .iter_mut()
            .map(|(state, pole, gain)| {
                *state = *pole * *state + *gain * random.gauss();
                *state
            })
            .sum()
    })
}

/// Brown noise (−6 dB an octave above 30 Hz) of deviation 1.
pub fn brown(seed: u64) -> impl Iterator<Item = f32> {
    let mut random = Random::new(seed);
    let pole = (-TAU * 30.0 / RATE_HZ).exp();
    let mut state = 0.0;
    std::iter::repeat_with(move || {
        state = pole * state + (1.0 - pole * pole).sqrt() * random.gauss();
        state
    })
}

/// Wind on a microphone: brown noise in gusts that rise and fall by some
/// 10 dB over a second, above a quiet floor of the microphone's own noise.
pub fn wind(seed: u64) -> impl Iterator<Item = f32> {
    let mut gusts = Random::new(seed ^ 0xBEEF);
    let mut own = white(seed ^ 0xFACE);
    let (mut level_db, mut target_db) = (0.0_f32, 0.0_f32);
    let mut left = 0;
    brown(seed).map(move |sample| {
        if left == 0 {
            target_db = 5.0 * gusts.gauss();
            left = (gusts.between(0.3, 1.5) * RATE_HZ) as usize;
        }
        left -= 1;
        level_db += (target_db - level_db) * (1.0 / (0.25 * RATE_HZ));
        sample * 10.0_f32.powf(level_db / 20.0) + 0.002 * own.next().unwrap_or(0.0)
    })
}

/// Mains hum: `base_hz` and its harmonics to 2 kHz, odd ones stronger, with a
/// slow breathing of 1 dB and a little white noise 50 dB below.
pub fn hum(seed: u64, base_hz: f32) -> impl Iterator<Item = f32> {
    let mut random = Random::new(seed);
    let partials: Vec<(f32, f32, f32)> = (1..=(2000.0 / base_hz) as usize)
        .map(|n| {
            let odd = if n % 2 == 1 { 1.0 } else { 0.5 };
            let size = odd * random.between(0.5, 1.0) / n as f32;
            (base_hz * n as f32, size, random.between(0.0, 1.0))
        })
        .collect();
    sines(partials, seed, 0.1, 0.003)
}

/// A chord held on an organ: four notes with eight harmonics each.
pub fn chord(seed: u64) -> impl Iterator<Item = f32> {
    let mut random = Random::new(seed);
    let root_hz = random.between(110.0, 330.0);
    let mut partials = Vec::new();
    for semitones in [0.0, 4.0, 7.0, 12.0] {
        let note_hz = root_hz * 2.0_f32.powf(semitones / 12.0);
        for n in 1..=8 {
            partials.push((note_hz * n as f32, 0.4 / n as f32, random.between(0.0, 1.0)));
        }
    }
    sines(partials, seed, 0.0, 0.001)
}

/// Air conditioning: pink noise below a fan's tones at 120, 240 and 360 Hz,
/// whose blades beat the noise by 1 dB.
pub fn air_conditioning(seed: u64) -> impl Iterator<Item = f32> {
    let tones = sines(
        vec![(120.0, 0.5, 0.0), (240.0, 0.3, 0.3), (360.0, 0.15, 0.6)],
        seed,
        0.1,
        0.0,
    );
    let mut at = 0;
    pink(seed).zip(tones).map(move |(noise, tone)| {
        let beat = 1.0 + 0.12 * slow_sine(at, 1.3);
        at += 1;
        0.7 * noise * beat + tone
    })
}

/// Sines of (Hz, amplitude, phase in turns), breathing by `depth` at 0.2 Hz,
/// above white noise of deviation `noise`. Frequencies are rounded to 1 Hz, so
/// that one second of them repeats.
fn sines(
    partials: Vec<(f32, f32, f32)>,
    seed: u64,
    depth: f32,
    noise: f32,
) -> impl Iterator<Item = f32> {
    let second: Vec<f32> = (0..RATE_HZ as usize)
        .map(|n| {
            let at = n as f32 / RATE_HZ;
            partials
                .iter()
                .map(|(hertz, size, phase)| size * (TAU * (hertz.round() * at + phase)).sin())
                .sum()
        })
        .collect();
    let mut floor = white(seed ^ 0xF100);
    let mut at = 0;
    std::iter::repeat_with(move || {
        let sound = second[at % second.len()];
        let swell = 1.0 + depth * slow_sine(at, 0.2);
        at += 1;
        sound * swell + noise * floor.next().unwrap_or(0.0)
    })
}

/// A sine slow enough to be looked at every 10 ms only.
fn slow_sine(sample: usize, hertz: f32) -> f32 {
    // Wrapped each 10 s (whole periods at multiples of 0.1 Hz).
    let step = sample / 160 % 1000;
    (TAU * hertz * step as f32 / 100.0).sin()
}

/// Something like a voice: harmonics of a gliding pitch under three formants
/// that move to another place each syllable (four to six a second), phrases of
/// a second or two with half a second between them. RMS within a phrase near
/// 0.2.
pub fn voice(seed: u64) -> impl Iterator<Item = f32> {
    let mut random = Random::new(seed ^ 0x0A);
    let (mut pitch_hz, mut formants_hz) = (150.0_f32, [500.0_f32, 1500.0, 2500.0]);
    let (mut next_pitch_hz, mut next_formants_hz) = (pitch_hz, formants_hz);
    let (mut syllable, mut left, mut length, mut loud) = (0, 0, 1, 0.0);
    let mut phase = 0.0_f32;
    let mut sizes = [0.0_f32; 40];
    let mut at = 0_usize;
    std::iter::repeat_with(move || {
        if left == 0 {
            syllable += 1;
            let pause = syllable % 8 == 0;
            loud = if pause { 0.0 } else { random.between(0.5, 1.0) };
            let seconds = if pause {
                0.5
            } else {
                random.between(0.16, 0.25)
            };
            length = (seconds * RATE_HZ) as usize;
            left = length;
            next_pitch_hz = random.between(100.0, 220.0);
            next_formants_hz = [
                random.between(300.0, 800.0),
                random.between(900.0, 2200.0),
                random.between(2300.0, 3000.0),
            ];
        }
        left -= 1;
        // Every 4 ms the mouth has moved.
        if at.is_multiple_of(64) {
            pitch_hz += (next_pitch_hz - pitch_hz) * 0.06;
            for (now, next) in formants_hz.iter_mut().zip(next_formants_hz) {
                *now += (next - *now) * 0.06;
            }
            let done = 1.0 - left as f32 / length as f32;
            let swell = loud * (std::f32::consts::PI * done).sin().max(0.0);
            for (n, size) in sizes.iter_mut().enumerate() {
                let hertz = pitch_hz * (n + 1) as f32;
                let near: f32 = formants_hz
                    .iter()
                    .map(|formant| 1.0 / (1.0 + ((hertz - formant) / 120.0).powi(2)))
                    .sum();
                *size = if hertz < 4000.0 {
                    0.3 * swell * near
                } else {
                    0.0
                };
            }
        }
        at += 1;
        phase = (phase + pitch_hz / RATE_HZ).fract();
        sizes
            .iter()
            .enumerate()
            .map(|(n, size)| size * (TAU * ((n + 1) as f32 * phase).fract()).sin())
            .sum()
    })
}
