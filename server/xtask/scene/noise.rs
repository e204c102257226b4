//! What does a recorder hear when nobody speaks?
//!
//! Endless generated sounds at the analysis rate, each of RMS 1 by
//! construction (from its filter's energy, not from what came out), so that a
//! signal-to-noise ratio is a number one can choose.

use std::f64::consts::TAU;

use sayback_core::units::ANALYSIS_RATE_HZ;
use serde::{Deserialize, Serialize};

use super::random::Random;

/// Samples a second.
pub(super) const RATE: f64 = ANALYSIS_RATE_HZ as f64;

/// Kinds of background.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum NoiseKind {
    /// Equal power at all frequencies: electronics.
    White,
    /// Equal power an octave: rooms, crowds, water.
    Pink,
    /// Falls 6 dB an octave above 20 Hz: wind, traffic, handling.
    Brown,
    /// Mains: 50 Hz and seven harmonics falling as 1/n.
    Hum,
    /// A band: held chords and plucked notes.
    Music,
}

/// A running background.
pub enum Noise {
    /// See [`NoiseKind::White`].
    White(Random),
    /// See [`NoiseKind::Pink`].
    Pink(Box<Pink>),
    /// See [`NoiseKind::Brown`].
    Brown(Random, f32),
    /// See [`NoiseKind::Hum`].
    Hum(Vec<Tone>),
    /// See [`NoiseKind::Music`].
    Music(Box<Music>),
}

impl Noise {
    /// Starts a background of `kind`.
    #[must_use]
    pub fn new(kind: NoiseKind, mut random: Random) -> Self {
        match kind {
            NoiseKind::White => Self::White(random),
            NoiseKind::Pink => Self::Pink(Box::new(Pink::new(random))),
            NoiseKind::Brown => Self::Brown(random, 0.0),
            NoiseKind::Hum => {
                let power: f64 = (1..=8).map(|n| 0.5 / f64::from(n * n)).sum();
                let tones = (1..=8)
                    .map(|n| {
                        let height = 1.0 / (f64::from(n) * power.sqrt());
                        Tone::new(50.0 * f64::from(n), height, random.between(0.0, TAU), 1.0)
                    })
                    .collect();
                Self::Hum(tones)
            }
            NoiseKind::Music => Self::Music(Box::new(Music::new(random))),
        }
    }

    /// Adds the next samples, scaled by `gain`, to `out`.
    pub fn add(&mut self, out: &mut [f32], gain: f32) {
        for sample in out {
            let next = match self {
                Self::White(random) => random.normal(),
                Self::Pink(pink) => pink.next(),
                Self::Brown(random, last) => {
                    // One pole at 20 Hz; 1 - pole^2 keeps the power at 1.
                    const POLE: f32 = 0.992_177; // exp(-2 pi 20 / 16000)
                    *last = POLE * *last + (1.0 - POLE * POLE).sqrt() * random.normal();
                    *last
                }
                Self::Hum(tones) => tones.iter_mut().map(Tone::next).sum(),
                Self::Music(music) => music.next(),
            };
            *sample += gain * next;
        }
    }
}

/// Pink noise by six first-order filters side by side (P. Kellet's refined
/// set, public since 1999; within 0.05 dB of -3 dB an octave over ten).
pub struct Pink {
    random: Random,
    poles: [f32; 6],
    before: f32,
    scale: f32,
}

impl Pink {
    const POLES: [(f32, f32); 6] = [
        (0.998_86, 0.055_517_9),
        (0.993_32, 0.075_075_9),
        (0.969, 0.153_852),
        (0.8665, 0.310_485_6),
        (0.55, 0.532_952_2),
        (-0.7616, -0.016_898),
    ];

    fn new(random: Random) -> Self {
        let mut pink = Self {
            random,
            poles: [0.0; 6],
            before: 0.0,
            scale: 1.0,
        };
        // The slowest pole has fallen by 290 dB after two seconds.
        let energy: f64 = (0..2 * ANALYSIS_RATE_HZ)
            .map(|n| f64::from(pink.filter(if n == 0 { 1.0 } else { 0.0 })).powi(2))
            .sum();
        pink.poles = [0.0; 6];
        pink.before = 0.0;
        pink.scale = (1.0 / energy.sqrt()) as f32;
        pink
    }

    fn filter(&mut self, white: f32) -> f32 {
        let mut sum = white * 0.5362 + self.before;
        for (state, (pole, gain)) in self.poles.iter_mut().zip(Self::POLES) {
            *state = pole * *state + gain * white;
            sum += *state;
        }
        self.before = white * 0.115_926;
        sum
    }

    fn next(&mut self) -> f32 {
        let white = self.random.normal();
        self.filter(white) * self.scale
    }
}

/// A sine that may die away, by a turning phasor.
#[derive(Clone, Debug)]
pub struct Tone {
    at: (f64, f64),
    turn: (f64, f64),
}

impl Tone {
    /// A tone of peak `height` and starting `phase`, multiplied by `decay`
    /// every sample.
    fn new(hertz: f64, height: f64, phase: f64, decay: f64) -> Self {
        let turn = TAU * hertz / RATE;
        Self {
            at: (height * phase.cos(), height * phase.sin()),
            turn: (decay * turn.cos(), decay * turn.sin()),
        }
    }

    fn next(&mut self) -> f32 {
        let ((re, im), (cos, sin)) = (self.at, self.turn);
        self.at = (re * cos - im * sin, re * sin + im * cos);
        im as f32
    }
}

/// A slow band: a held three-note chord every two seconds from a short walk of
/// chords, and plucked notes of the chord on the half beats.
pub struct Music {
    random: Random,
    held: Vec<Tone>,
    plucked: Vec<Tone>,
    at: usize,
    chord: usize,
}

/// Peaks of a held and of a plucked note's first harmonic. Three held notes
/// have the power 3 * 0.45^2 / 2 * 1.42 (four harmonics: 1 + 1/4 + 1/9 + 1/16)
/// = 0.43, a plucked one 1.92^2 / 2 * 1.42 * 0.215 (its decay) = 0.56.
const HELD: f64 = 0.45;
const PLUCKED: f64 = 1.92;

impl Music {
    const BAR: usize = 2 * ANALYSIS_RATE_HZ as usize;
    const BEAT: usize = ANALYSIS_RATE_HZ as usize / 2;
    /// Semitones above A (110 Hz) of each chord's root, and whether it is major.
    const WALK: [(f64, bool); 4] = [(3.0, true), (0.0, false), (8.0, true), (10.0, true)];

    fn new(random: Random) -> Self {
        Self {
            random,
            held: Vec::new(),
            plucked: Vec::new(),
            at: 0,
            chord: 0,
        }
    }

    fn next(&mut self) -> f32 {
        if self.at.is_multiple_of(Self::BAR) {
            self.chord = (self.at / Self::BAR) % Self::WALK.len();
            self.held = self
                .notes()
                .flat_map(|hertz| self.voices(hertz, HELD, 1.0))
                .collect();
        }
        if self.at.is_multiple_of(Self::BEAT) {
            let note = self.random.below(3);
            let hertz = self.notes().nth(note).unwrap_or(110.0) * 4.0;
            // Falls by 60 dB in 1.5 s.
            let decay = 0.001_f64.powf(1.0 / (1.5 * RATE));
            self.plucked = self.voices(hertz, PLUCKED, decay);
        }
        // A soft start of 50 ms keeps chords from clicking.
        let swell = ((self.at % Self::BAR) as f32 / 800.0).min(1.0);
        self.at += 1;
        let held: f32 = self.held.iter_mut().map(Tone::next).sum();
        let plucked: f32 = self.plucked.iter_mut().map(Tone::next).sum();
        swell * held + plucked
    }

    fn notes(&self) -> impl Iterator<Item = f64> + use<> {
        let (root, major) = Self::WALK[self.chord];
        let third = if major { 4.0 } else { 3.0 };
        [0.0, third, 7.0]
            .into_iter()
            .map(move |step| 110.0 * ((root + step) / 12.0_f64).exp2())
    }

    /// A note with four harmonics falling as 1/n.
    fn voices(&mut self, hertz: f64, height: f64, decay: f64) -> Vec<Tone> {
        (1..=4)
            .map(|n| {
                let phase = self.random.between(0.0, TAU);
                Tone::new(hertz * f64::from(n), height / f64::from(n), phase, decay)
            })
            .collect()
    }
}

/// Applause: `seconds` of claps of many hands, swelling and dying away, of RMS
/// near 1. A clap is a burst of noise around 1 to 3 kHz that falls by 60 dB in
/// 15 to 40 ms.
#[must_use]
pub fn applause(seconds: f64, mut random: Random) -> Vec<f32> {
    let count = (seconds * RATE) as usize;
    let mut out = vec![0.0_f32; count];
    let claps = (seconds * 90.0) as usize;
    for _ in 0..claps {
        let place = random.unit();
        // Many at first, fewer at the end.
        let at = (place * place.sqrt() * count as f64) as usize;
        let height = random.between(0.3, 1.0) as f32;
        let fall = 0.001_f64.powf(1.0 / (random.between(0.015, 0.04) * RATE)) as f32;
        let (mut level, mut before, mut low) = (height, 0.0, 0.0);
        for sample in &mut out[at..count.min(at + 700)] {
            let white = random.normal();
            // Difference against lows, one pole against highs: a hand's band.
            low += 0.6 * ((white - before) - low);
            before = white;
            *sample += level * low;
            level *= fall;
        }
    }
    let power = out.iter().map(|x| f64::from(x * x)).sum::<f64>() / count.max(1) as f64;
    let scale = (1.0 / power.sqrt().max(1e-9)) as f32;
    out.iter_mut().for_each(|x| *x *= scale);
    out
}

/// `seconds` of the band, of RMS near 1.
#[must_use]
pub fn music(seconds: f64, random: Random) -> Vec<f32> {
    let mut out = vec![0.0; (seconds * RATE) as usize];
    Noise::new(NoiseKind::Music, random).add(&mut out, 1.0);
    out
}
