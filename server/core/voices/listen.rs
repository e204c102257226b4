//! What does a stretch of speech say about its speaker's voice?

use super::encoder::{Encoder, FRAMES, LANES};
use super::mel::{HOP, Mel, MelFrame};
use crate::units::{ANALYSIS_RATE_HZ, SILENCE_DBFS};

/// One level for each such time, and one decision who speaks, ms.
pub(super) const STEP_MS: i64 = 100;
/// Samples of a step.
const STEP: usize = ANALYSIS_RATE_HZ as usize / 10;
/// Frames from one window to the next: 0.8 s, half a window.
const WINDOW_HOP: usize = FRAMES / 2;
/// Level that speech is brought to, dBFS. The model hears levels, not their
/// logarithms: on labelled meetings voices were told apart best at this one (equal
/// error rate 0.15; 0.20 at -30, 0.17 at -18, 0.34 at -36).
const TAUGHT_DBFS: f32 = -24.0;
/// Steps so far below the loud ones are pauses, dB.
pub(super) const PAUSE_DB: f32 = 20.0;

/// The voice in a window of 1.6 s.
#[derive(Clone, Debug, PartialEq)]
pub struct Glance {
    /// Start, ms from the first sample.
    pub from_ms: i64,
    /// End, ms from the first sample.
    pub to_ms: i64,
    /// The share of it that is no pause, 0 to 1.
    pub voiced: f32,
    /// The voice, of length 1 (or 0, for silence).
    pub voice: Vec<f32>,
}

/// A stretch of speech, listened to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Listened {
    /// The voice, window by window, each 0.8 s after the one before.
    pub glances: Vec<Glance>,
    /// RMS level of each 100 ms, dBFS.
    pub levels_dbfs: Vec<f32>,
}

/// Listens to stretches of speech, one after the other.
///
/// Takes some 0.03 s of processor time for each second of speech, and a kilobyte for
/// each 0.8 s.
pub struct Ear<'a> {
    encoder: &'a Encoder,
    mel: Mel,
    /// Windows that wait until there are enough of them: of which stretch, which
    /// glance, and their frames.
    waiting: Vec<(usize, usize, Vec<MelFrame>)>,
    heard: Vec<Listened>,
}

impl<'a> Ear<'a> {
    /// With the voice model it is to use.
    #[must_use]
    pub fn new(encoder: &'a Encoder) -> Self {
        Self {
            encoder,
            mel: Mel::new(),
            waiting: Vec::new(),
            heard: Vec::new(),
        }
    }

    /// Takes the next stretch: mono, 16 kHz. What is not finite counts as silence.
    pub fn hear(&mut self, samples: &[f32]) {
        let levels_dbfs = levels(samples);
        let loud = loud_dbfs(&levels_dbfs);
        let frames = self.mel.frames(samples);
        let number = self.heard.len();
        let mut heard = Listened {
            glances: Vec::new(),
            levels_dbfs,
        };
        for start in starts(frames.len()).filter(|_| loud > SILENCE_DBFS) {
            let end = (start + FRAMES).min(frames.len());
            let ms = |frame: usize| (frame * HOP) as i64 * 1000 / i64::from(ANALYSIS_RATE_HZ);
            let (from_ms, to_ms) = (ms(start), ms(end));
            let mut window = frames.get(start..end).unwrap_or_default().to_vec();
            // Somebody farther away in the same stretch is brought up too.
            let here = heard.loud_dbfs(from_ms, to_ms).max(loud - PAUSE_DB);
            let gain = 10f32.powf((TAUGHT_DBFS - here.max(SILENCE_DBFS)) / 10.0);
            let powers = window.as_flattened_mut().iter_mut();
            powers.for_each(|x| *x *= gain);
            self.waiting.push((number, heard.glances.len(), window));
            heard.glances.push(Glance {
                from_ms,
                to_ms,
                voiced: heard.voiced(from_ms, to_ms, loud),
                voice: Vec::new(),
            });
        }
        self.heard.push(heard);
        while self.waiting.len() >= LANES {
            self.run();
        }
    }

    /// The stretches taken, in order.
    #[must_use]
    pub fn finish(mut self) -> Vec<Listened> {
        while !self.waiting.is_empty() {
            self.run();
        }
        self.heard
    }

    fn run(&mut self) {
        let now: Vec<_> = self
            .waiting
            .drain(..LANES.min(self.waiting.len()))
            .collect();
        let windows: Vec<&[MelFrame]> = now.iter().map(|(_, _, frames)| &frames[..]).collect();
        let voices = self.encoder.voices(&windows);
        for ((stretch, glance, _), voice) in now.iter().zip(voices) {
            let heard = self.heard.get_mut(*stretch);
            if let Some(glance) = heard.and_then(|heard| heard.glances.get_mut(*glance)) {
                glance.voice = voice;
            }
        }
    }
}

impl Listened {
    /// Level of the loud steps of a part.
    fn loud_dbfs(&self, from_ms: i64, to_ms: i64) -> f32 {
        loud_dbfs(self.levels(from_ms, to_ms))
    }

    fn levels(&self, from_ms: i64, to_ms: i64) -> &[f32] {
        let step = |ms: i64| usize::try_from(ms / STEP_MS).unwrap_or(0);
        let end = step(to_ms).min(self.levels_dbfs.len());
        self.levels_dbfs.get(step(from_ms)..end).unwrap_or_default()
    }

    /// The share of a stretch that is no pause.
    fn voiced(&self, from_ms: i64, to_ms: i64, loud_dbfs: f32) -> f32 {
        let levels = self.levels(from_ms, to_ms);
        let voiced = levels.iter().filter(|level| **level > loud_dbfs - PAUSE_DB);
        voiced.count() as f32 / levels.len().max(1) as f32
    }
}

/// Where windows start: each half a window later, the last one at the end.
fn starts(frames: usize) -> impl Iterator<Item = usize> {
    let last = frames.saturating_sub(FRAMES);
    let even = (0..last).step_by(WINDOW_HOP);
    // One that is almost the last is left out.
    even.filter(move |start| start + WINDOW_HOP / 2 <= last)
        .chain((frames > 1).then_some(last))
}

/// RMS level of each step, dBFS.
pub(super) fn levels(samples: &[f32]) -> Vec<f32> {
    samples.chunks(STEP).map(level_dbfs).collect()
}

fn level_dbfs(samples: &[f32]) -> f32 {
    let finite = samples.iter().filter(|sample| sample.is_finite());
    let power: f32 = finite.map(|sample| sample * sample).sum();
    let level = 10.0 * (power / samples.len().max(1) as f32).log10();
    if level.is_finite() {
        level.max(SILENCE_DBFS)
    } else {
        SILENCE_DBFS
    }
}

/// Level of the loud steps: the mean power of those that are no pauses beside the
/// loudest tenth.
pub(super) fn loud_dbfs(levels_dbfs: &[f32]) -> f32 {
    let mut sorted: Vec<f32> = levels_dbfs.to_vec();
    sorted.sort_by(f32::total_cmp);
    let Some(top) = sorted.get(sorted.len() * 9 / 10) else {
        return SILENCE_DBFS;
    };
    let loud: Vec<f32> = levels_dbfs
        .iter()
        .filter(|level| **level > top - PAUSE_DB)
        .map(|level| 10f32.powf(level / 10.0))
        .collect();
    let mean = loud.iter().sum::<f32>() / loud.len().max(1) as f32;
    if mean > 0.0 {
        (10.0 * mean.log10()).max(SILENCE_DBFS)
    } else {
        SILENCE_DBFS
    }
}
