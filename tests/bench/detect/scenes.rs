//! Generated scenes: synthesised speech in noise, with the truth taken from
//! the dry speech before anything is added.

use std::path::Path;
use std::process::Command;

use xtask::oracle;

use super::case::{Case, HOP, bridge};
use super::labelled::read_wav;
use super::sounds::{self, Random};

/// Sentences that parameters may be fitted on.
pub const TUNING: [&str; 14] = [
    "The ferry is late again, so the boathouse will have to wait.",
    "Put the kettle on, would you?",
    "I wrote this letter at the kitchen table, with the window open.",
    "Yes.",
    "When I first met you, you were carrying a boat on your head.",
    "We have forty chairs and thirty nine cushions.",
    "Nobody told me there would be a goose.",
    "Do you remember the storm, the summer we painted the jetty?",
    "I promise to keep the lamp lit, and to answer when you call.",
    "Thank you all for coming across the water.",
    "My grandmother used to say that a rope remembers every knot.",
    "Oh, not now.",
    "Raise your glasses, please, to the two of them.",
    "She said she would never marry a man who could not row.",
];

/// Sentences kept apart: figures are given on them, no weight is fitted on them.
pub const HELD_OUT: [&str; 14] = [
    "Before we begin, please mind the wet step by the landing.",
    "There was a heron on the roof this morning, and I took it as a sign.",
    "No.",
    "I will carry the heavy end, always.",
    "He fixed the engine with a spoon and a piece of string.",
    "Welcome, everybody.",
    "Our mother kept every ticket from every crossing she ever made.",
    "If the tide turns while we are speaking, that is only fair.",
    "You taught me how to whistle, and how to wait.",
    "Is this thing on?",
    "So here is to the long way home, and to whoever is rowing.",
    "I have loved you since the day you lost both oars.",
    "The cake is in the shed, under the blue sail.",
    "Whatever the weather, we will leave a light in the window.",
];

const VOICES: [&str; 4] = ["slt", "rms", "awb", "kal16"];

/// What the speech is mixed into.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bed {
    /// Pink noise.
    Pink,
    /// 50 or 60 Hz and harmonics.
    Hum,
    /// Generated chords and arpeggios.
    Music,
    /// Wind gusts.
    Wind,
}

impl Bed {
    /// The bed's name in the table.
    pub fn name(self) -> &'static str {
        match self {
            Self::Pink => "pink noise",
            Self::Hum => "hum",
            Self::Music => "music",
            Self::Wind => "wind",
        }
    }

    fn sound(self, seed: u64, length: usize) -> Vec<f32> {
        match self {
            Self::Pink => sounds::pink(seed).take(length).collect(),
            Self::Hum => {
                let base_hz = if seed.is_multiple_of(2) { 50.0 } else { 60.0 };
                sounds::hum(seed, base_hz).take(length).collect()
            }
            Self::Music => music(seed, length),
            Self::Wind => sounds::wind(seed).take(length).collect(),
        }
    }
}

/// Dry speech: sentences of several voices with pauses of 0.4 to 3 s, and
/// which frames hold speech.
pub struct Dry {
    samples: Vec<f32>,
    truth: Vec<bool>,
}

/// Where the lines of a scene come from.
pub enum Lines<'a> {
    /// Sentences said by a speech synthesiser in four voices, with a folder to
    /// work in.
    Said(&'a [&'a str], &'a Path),
    /// Recorded lines, 16 kHz mono, clean.
    Recorded(&'a [Vec<f32>]),
}

impl Lines<'_> {
    fn line(&self, turn: usize, random: &mut Random) -> Vec<f32> {
        match self {
            Self::Said(sentences, work) => {
                let sentence = sentences[random.pick(sentences.len())];
                speak(sentence, VOICES[turn % VOICES.len()], work)
            }
            Self::Recorded(lines) => lines[random.pick(lines.len())].clone(),
        }
    }
}

/// Six lines in turn on one dry track, their levels within `spread_db`.
pub fn dry(lines: &Lines<'_>, seed: u64, spread_db: f32) -> Dry {
    let mut random = Random::new(seed);
    let mut samples = vec![0.0; (random.between(0.3, 2.5) * 16_000.0) as usize];
    let mut truth = Vec::new();
    for turn in 0..6 {
        let said = lines.line(seed as usize + turn, &mut random);
        let level_db = random.between(-spread_db, 0.0);
        let size = 10.0_f32.powf(level_db / 20.0) / active_level(&said);
        samples.resize(samples.len().next_multiple_of(HOP), 0.0);
        truth.resize(samples.len() / HOP, false);
        truth.extend(loud_frames(&said));
        samples.extend(said.iter().map(|s| s * size));
        let pause = (random.between(0.4, 3.0) * 16_000.0) as usize;
        samples.resize(samples.len() + pause, 0.0);
    }
    truth.resize(samples.len() / HOP, false);
    bridge(&mut truth);
    Dry { samples, truth }
}

/// The dry speech in a bed, `snr_db` measured over the frames with speech; the
/// whole is then set to a level drawn from the seed.
pub fn mixed(dry: &Dry, set: &str, bed: &[f32], snr_db: f32, seed: u64) -> Case {
    let speech = rms_where(&dry.samples, &dry.truth);
    let noise = rms_where(bed, &vec![true; bed.len() / HOP]);
    let bed_gain = speech / noise * 10.0_f32.powf(-snr_db / 20.0);
    let mut mix: Vec<f32> = dry
        .samples
        .iter()
        .zip(bed.iter().cycle())
        .map(|(s, b)| s + b * bed_gain)
        .collect();
    let peak = mix.iter().fold(1e-9_f32, |peak, s| peak.max(s.abs()));
    let gain = 10.0_f32.powf(Random::new(seed ^ 0x6A1).between(-40.0, -1.0) / 20.0) / peak;
    mix.iter_mut().for_each(|s| *s *= gain);
    Case::new(set, mix, dry.truth.clone())
}

/// Signal-to-noise ratios of the scenes, dB.
const SNRS_DB: [f32; 4] = [20.0, 10.0, 5.0, 0.0];

/// Scenes in every generated bed for the given seeds.
pub fn in_beds(lines: &Lines<'_>, seeds: std::ops::Range<u64>) -> Vec<Case> {
    let mut cases = Vec::new();
    for seed in seeds {
        let dry = dry(lines, seed, 8.0);
        for bed in [Bed::Pink, Bed::Hum, Bed::Music, Bed::Wind] {
            let sound = bed.sound(seed, dry.samples.len());
            for snr_db in SNRS_DB {
                let set = format!("{} {snr_db} dB", bed.name());
                cases.push(mixed(&dry, &set, &sound, snr_db, seed));
            }
        }
    }
    cases
}

/// Scenes in played music: `pieces` are mono tracks at 16 kHz.
pub fn in_pieces(lines: &Lines<'_>, pieces: &[Vec<f32>], seeds: std::ops::Range<u64>) -> Vec<Case> {
    let mut cases = Vec::new();
    for seed in seeds {
        let dry = dry(lines, seed, 8.0);
        let piece = &pieces[seed as usize % pieces.len()];
        let last = piece.len().saturating_sub(dry.samples.len());
        let from = (Random::new(seed).between(0.1, 0.9) * last as f32) as usize;
        for snr_db in SNRS_DB {
            let set = format!("played music {snr_db} dB");
            cases.push(mixed(&dry, &set, &piece[from..], snr_db, seed));
        }
    }
    cases
}

/// Scenes of voices near and far (levels within 24 dB) in a quiet room, 40 dB
/// above its pink noise; and of voices across a room that rings for half a
/// second, 15 dB above its noise.
pub fn in_rooms(lines: &Lines<'_>, seeds: std::ops::Range<u64>) -> Vec<Case> {
    let mut cases = Vec::new();
    for seed in seeds {
        let near_and_far = dry(lines, seed, 24.0);
        let bed = Bed::Pink.sound(seed, near_and_far.samples.len());
        cases.push(mixed(&near_and_far, "near and far 40 dB", &bed, 40.0, seed));
        let mut ringing = dry(lines, seed + 50, 8.0);
        ringing.samples = rung(&ringing.samples, seed);
        let bed = Bed::Pink.sound(seed, ringing.samples.len());
        cases.push(mixed(&ringing, "ringing room 15 dB", &bed, 15.0, seed));
    }
    cases
}

/// Sound as it arrives across a room: the direct sound and as much again in
/// echoes that decay by 60 dB in 0.5 s (sparse random echoes of either sign).
fn rung(dry: &[f32], seed: u64) -> Vec<f32> {
    let mut random = Random::new(seed ^ 0xEC40);
    let mut echoes: Vec<(usize, f32)> = (0..750)
        .map(|n| {
            let at = (n as f32 + random.between(0.0, 1.0)) * 16_000.0 / 1500.0;
            let sign = if random.pick(2) == 0 { 1.0 } else { -1.0 };
            (48 + at as usize, sign * 10.0_f32.powf(-3.0 * at / 8_000.0))
        })
        .collect();
    let power: f32 = echoes.iter().map(|(_, size)| size * size).sum();
    echoes
        .iter_mut()
        .for_each(|(_, size)| *size /= power.sqrt());
    let mut wet = dry.to_vec();
    for (delay, size) in echoes {
        for (to, from) in wet.iter_mut().skip(delay).zip(dry) {
            *to += size * from;
        }
    }
    wet
}

/// Runs the speech synthesiser.
fn speak(text: &str, voice: &str, work: &Path) -> Vec<f32> {
    let path = work.join("line.wav");
    let status = Command::new(oracle::flite())
        .args(["-voice", voice, "-t", text, "-o"])
        .arg(&path)
        .status();
    assert!(
        status.is_ok_and(|status| status.success()),
        "flite did not say '{text}'"
    );
    read_wav(&path)
}

/// Frames within 35 dB of the sentence's loud level, measured over 30 ms.
fn loud_frames(said: &[f32]) -> Vec<bool> {
    let limit = active_level(said) * 10.0_f32.powf(-35.0 / 20.0);
    (0..said.len() / HOP)
        .map(|n| {
            let from = (n * HOP).saturating_sub(HOP);
            rms(&said[from..said.len().min((n + 2) * HOP)]) > limit
        })
        .collect()
}

/// RMS over the louder half of the frames.
fn active_level(said: &[f32]) -> f32 {
    let mut levels: Vec<f32> = said.chunks(HOP).map(rms).collect();
    levels.sort_by(f32::total_cmp);
    let loud = &levels[levels.len() / 2..];
    rms(loud).max(1e-6)
}

fn rms(samples: &[f32]) -> f32 {
    (samples.iter().map(|s| s * s).sum::<f32>() / samples.len().max(1) as f32).sqrt()
}

fn rms_where(samples: &[f32], truth: &[bool]) -> f32 {
    let kept: Vec<f32> = samples
        .chunks(HOP)
        .zip(truth)
        .filter(|(_, speech)| **speech)
        .map(|(frame, _)| rms(frame))
        .collect();
    rms(&kept).max(1e-9)
}

/// A tune: each bar a chord of a random progression, held or as an arpeggio,
/// with plucked or swelling notes of six harmonics, and a bass.
fn music(seed: u64, length: usize) -> Vec<f32> {
    let mut random = Random::new(seed ^ 0x3115);
    let mut sound = vec![0.0; length];
    let beat = (60.0 / random.between(80.0, 140.0) * 16_000.0) as usize;
    let root_hz = random.between(130.0, 260.0);
    let mut at = 0;
    while at < length {
        let step = [0.0, 5.0, 7.0, 9.0, 2.0][random.pick(5)];
        let minor = random.pick(2) == 0;
        let third = if minor { 3.0 } else { 4.0 };
        let notes = [step, step + third, step + 7.0, step + 12.0];
        let plucked = random.pick(2) == 0;
        add_note(
            &mut sound,
            at,
            4 * beat,
            root_hz / 2.0 * semitones(step),
            plucked,
        );
        if random.pick(2) == 0 {
            for note in notes {
                add_note(&mut sound, at, 4 * beat, root_hz * semitones(note), plucked);
            }
        } else {
            for eighth in 0..8 {
                let note = notes[random.pick(4)];
                let from = at + eighth * beat / 2;
                add_note(&mut sound, from, beat, root_hz * semitones(note), true);
            }
        }
        at += 4 * beat;
    }
    sound
}

fn semitones(count: f32) -> f32 {
    2.0_f32.powf(count / 12.0)
}

fn add_note(sound: &mut [f32], from: usize, length: usize, hertz: f32, plucked: bool) {
    for n in 0..length.min(sound.len().saturating_sub(from)) {
        let seconds = n as f32 / 16_000.0;
        let left = (length - n) as f32 / 16_000.0;
        let swell = if plucked {
            (seconds / 0.005).min(1.0) * (-3.0 * seconds).exp()
        } else {
            (seconds / 0.08).min(1.0)
        } * (left / 0.05).min(1.0);
        let wave: f32 = (1..=6)
            .map(|k| {
                let k = k as f32;
                (std::f32::consts::TAU * hertz * k * seconds).sin() / (k * k.sqrt())
            })
            .sum();
        sound[from + n] += 0.2 * swell * wave;
    }
}
