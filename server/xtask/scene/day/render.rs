//! What does each recorder's file hold?
//!
//! A sound is read once for each microphone, straight at the instants at which
//! the recorder's own clock takes samples, so that a file's time is exact; the
//! room and the noise are added block by block. Memory holds what is sounding.

use std::fs::File;
use std::io::{BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context, Result, ensure};
use sayback_core::units::ANALYSIS_RATE_HZ;

use super::corpus::Corpus;
use super::spec::{Bed, BedSound, Day, Take};
use super::truth::{Clock, Run};
use crate::scene::lines::DRY_RMS;
use crate::scene::noise::{self, Noise};
use crate::scene::random::Random;
use crate::scene::room::{Reverb, reflections};
use crate::scene::sinc::{REACH, Sinc};
use crate::scene::wav::SampleFormat;

const RATE: f64 = ANALYSIS_RATE_HZ as f64;
const BLOCK: usize = 8_000;

/// A take's samples: raw 16-bit little-endian at the analysis rate.
#[derive(Clone, Debug)]
pub struct Rendered {
    path: PathBuf,
    samples: u64,
}

impl Rendered {
    /// A take that was rendered before.
    ///
    /// # Errors
    /// When there is no such file.
    pub fn open(path: &Path) -> Result<Self> {
        let facts = path.metadata();
        let facts = facts.with_context(|| format!("cannot read {}", path.display()))?;
        Ok(Self {
            path: path.to_owned(),
            samples: facts.len() / 2,
        })
    }

    /// Length in samples.
    #[must_use]
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Length, ms.
    #[must_use]
    pub fn length_ms(&self) -> f64 {
        self.samples as f64 * 1000.0 / RATE
    }

    /// The same file, of which only the first `samples` are looked at.
    #[must_use]
    pub fn cut(&self, samples: u64) -> Self {
        Self {
            path: self.path.clone(),
            samples: self.samples.min(samples),
        }
    }

    /// Samples `from..to`, as far as they exist, full scale 1.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn read(&self, from: u64, to: u64) -> Result<Vec<f32>> {
        let to = to.min(self.samples);
        let from = from.min(to);
        let mut file = File::open(&self.path)?;
        file.seek(SeekFrom::Start(from * 2))?;
        let mut bytes = vec![0; (to - from) as usize * 2];
        file.read_exact(&mut bytes)?;
        let sample = |b: &[u8]| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0;
        Ok(bytes.chunks_exact(2).map(sample).collect())
    }
}

/// Renders every take of `day` under `folder`, one after another.
///
/// # Errors
/// When a take makes no sense or the disk fails.
pub fn render(day: &Day, corpus: &Corpus, folder: &Path) -> Result<Vec<Rendered>> {
    let beds = beds(day);
    let mut done: Vec<Rendered> = Vec::new();
    for (number, take) in day.takes.iter().enumerate() {
        done.push(match take.copy_of {
            Some((of, gain_db)) => {
                let path = folder.join(format!("take-{number}.raw"));
                let samples = copy(
                    done.get(of).context("a copy of a later take")?,
                    gain_db,
                    &path,
                )?;
                Rendered { path, samples }
            }
            None => render_take(day, corpus, &beds, number, folder)?,
        });
    }
    Ok(done)
}

/// The sound of every bed of `day`.
#[must_use]
pub fn beds(day: &Day) -> Vec<Arc<Vec<f32>>> {
    let beds = day.beds.iter().enumerate();
    beds.map(|(n, bed)| Arc::new(sound(day.seed, n, bed)))
        .collect()
}

/// Renders one take that is no copy; `beds` as [`beds`] gives them.
///
/// # Errors
/// When the take makes no sense or the disk fails.
pub fn render_take(
    day: &Day,
    corpus: &Corpus,
    beds: &[Arc<Vec<f32>>],
    number: usize,
    folder: &Path,
) -> Result<Rendered> {
    let path = folder.join(format!("take-{number}.raw"));
    let samples = Renderer::new(day, corpus, beds, &Sinc::new(), number).write(&path)?;
    Ok(Rendered { path, samples })
}

fn copy(of: &Rendered, gain_db: f64, path: &Path) -> Result<u64> {
    let gain = 10_f64.powf(gain_db / 20.0) as f32;
    let mut out = Out::create(path)?;
    let mut at = 0;
    while at < of.samples {
        let mut block = of.read(at, at + BLOCK as u64)?;
        block.iter_mut().for_each(|x| *x *= gain);
        at += block.len() as u64;
        out.write(&block)?;
    }
    out.finish()
}

struct Out {
    file: BufWriter<File>,
    bytes: Vec<u8>,
    samples: u64,
}

impl Out {
    fn create(path: &Path) -> Result<Self> {
        let file = File::create(path).with_context(|| format!("cannot make {}", path.display()))?;
        Ok(Self {
            file: BufWriter::with_capacity(1 << 16, file),
            bytes: Vec::new(),
            samples: 0,
        })
    }

    fn write(&mut self, block: &[f32]) -> Result<()> {
        self.bytes.clear();
        for &sample in block {
            SampleFormat::Int16.put(sample, &mut self.bytes);
        }
        self.samples += block.len() as u64;
        self.file
            .write_all(&self.bytes)
            .context("cannot write sound")
    }

    fn finish(mut self) -> Result<u64> {
        self.file.flush().context("cannot write sound")?;
        Ok(self.samples)
    }
}

/// A sound on its way to the microphone.
struct Coming {
    /// When its first sample is heard, event seconds.
    at_s: f64,
    length_s: f64,
    speed: f64,
    gain: f32,
    distance_m: f64,
    what: What,
}

enum What {
    Utterance(usize),
    Sound(Arc<Vec<f32>>),
}

/// A sound that is sounding, at its samples in the file.
struct Voice {
    first: i64,
    samples: Vec<f32>,
    gain: f32,
    distance_m: f32,
    echoes: Vec<(usize, f32)>,
}

impl Voice {
    fn add(&self, block: &mut [f32], at: i64, late: usize, gain: f32) {
        let begins = self.first + late as i64 - at;
        let (skip, lead) = ((-begins).max(0) as usize, begins.max(0) as usize);
        if skip >= self.samples.len() || lead >= block.len() {
            return;
        }
        for (out, sample) in block[lead..].iter_mut().zip(&self.samples[skip..]) {
            *out += gain * sample;
        }
    }

    fn last(&self) -> i64 {
        let tail = self.echoes.iter().map(|&(late, _)| late).max().unwrap_or(0);
        self.first + (self.samples.len() + tail) as i64
    }
}

struct Renderer<'a> {
    corpus: &'a Corpus,
    sinc: &'a Sinc,
    clock: Clock,
    coming: Vec<Coming>,
    random: Random,
    reverb: Reverb,
    /// Samples after which the room is silent.
    ring: usize,
    noise: Noise,
    noise_gain: f32,
}

impl<'a> Renderer<'a> {
    fn new(
        day: &'a Day,
        corpus: &'a Corpus,
        beds: &[Arc<Vec<f32>>],
        sinc: &'a Sinc,
        number: usize,
    ) -> Self {
        let take = &day.takes[number];
        let stream = |what: &str| Random::new(day.seed, &format!("take/{number}/{what}"));
        let level = 10_f64.powf(take.level_dbfs / 20.0);
        let coming = coming(day, corpus, beds, take, level);
        let mut random = stream("room");
        Self {
            corpus,
            sinc,
            clock: Clock::of(take),
            coming,
            reverb: Reverb::varied(&take.room, &mut random),
            random,
            ring: (1.2 * take.room.rt60_s * RATE) as usize,
            noise: Noise::new(take.noise, stream("noise")),
            noise_gain: (level * 10_f64.powf(-take.snr_db / 20.0)) as f32,
        }
    }

    fn write(mut self, path: &Path) -> Result<u64> {
        let mut out = Out::create(path)?;
        let runs = self.clock.runs().to_vec();
        ensure!(!runs.is_empty(), "a take stops before it starts");
        let mut at = 0_i64;
        for (n, run) in runs.iter().enumerate() {
            let end_s = runs
                .get(n + 1)
                .map_or(self.clock.length_s(), |next| next.file_s);
            let end = (end_s * RATE).round() as i64;
            self.run(run, at, end, &mut out)?;
            at = end;
        }
        out.finish()
    }

    /// Samples `from..to` of the file, during which the clock runs evenly.
    fn run(&mut self, run: &Run, from: i64, to: i64, out: &mut Out) -> Result<()> {
        let mut next = 0;
        let mut voices: Vec<Voice> = Vec::new();
        let mut quiet = self.ring;
        let (mut at, mut block, mut send) = (from, Vec::new(), Vec::new());
        while at < to {
            let count = BLOCK.min((to - at) as usize);
            block.clear();
            block.resize(count, 0.0);
            send.clear();
            send.resize(count, 0.0);
            let until_s = run.event_s((at + count as i64) as f64 / RATE);
            let since_s = run.event_s(at as f64 / RATE);
            while let Some(sound) = self.coming.get(next)
                && sound.at_s < until_s
            {
                if sound.at_s + sound.length_s > since_s - 0.1 {
                    let echoes = reflections(sound.distance_m, &mut self.random);
                    voices.push(self.voice(sound, run, echoes));
                }
                next += 1;
            }
            for voice in &voices {
                voice.add(&mut block, at, 0, voice.gain);
                for &(late, gain) in &voice.echoes {
                    voice.add(&mut block, at, late, voice.gain * gain);
                }
                // The room hears every sound as if from one metre.
                voice.add(&mut send, at, 0, voice.gain * voice.distance_m);
            }
            quiet = if voices.is_empty() { quiet + count } else { 0 };
            if quiet < self.ring + BLOCK {
                for (sample, dry) in block.iter_mut().zip(&send) {
                    *sample += self.reverb.next(*dry);
                }
            }
            self.noise.add(&mut block, self.noise_gain);
            out.write(&block)?;
            at += count as i64;
            voices.retain(|voice| voice.last() > at);
        }
        Ok(())
    }

    fn voice(&self, sound: &Coming, run: &Run, echoes: Vec<(usize, f32)>) -> Voice {
        let spoken;
        let dry: &[f32] = match &sound.what {
            What::Utterance(number) => {
                spoken = self.corpus.get(*number).samples();
                &spoken
            }
            What::Sound(samples) => samples,
        };
        let starts = run.file_s(sound.at_s) * RATE;
        let first = starts.floor() as i64 - REACH as i64;
        let step = sound.speed / run.pace;
        let count = (dry.len() as f64 / step) as usize + 2 * REACH + 1;
        let samples = self
            .sinc
            .read(dry, (first as f64 - starts) * step, step, count);
        Voice {
            first,
            samples,
            gain: sound.gain,
            distance_m: sound.distance_m as f32,
            echoes,
        }
    }
}

/// What reaches a microphone, in order; a dry sound one metre away measures
/// what makes the talk it hears `level` on average.
fn coming(
    day: &Day,
    corpus: &Corpus,
    beds: &[Arc<Vec<f32>>],
    take: &Take,
    level: f64,
) -> Vec<Coming> {
    let mut all = Vec::new();
    let (mut energy, mut seconds) = (0.0, 0.0);
    for said in &day.said {
        let part = day.part_at(said.start_s);
        let Some(distance_m) = day.distance_m(take, said.speaker, part) else {
            continue;
        };
        let utterance = corpus.get(said.utterance);
        let at_s = said.start_s + Day::delay_s(distance_m);
        let length_s = utterance.length_s() / said.speed;
        if at_s > take.end_s || at_s + length_s < take.start_s {
            continue;
        }
        let gain = 10_f64.powf(said.effort_db / 20.0) / distance_m;
        let sounding_s = utterance.sounding_s / said.speed;
        energy += (gain * DRY_RMS).powi(2) * sounding_s;
        seconds += sounding_s;
        all.push(Coming {
            at_s,
            length_s,
            speed: said.speed,
            gain: gain as f32,
            distance_m,
            what: What::Utterance(said.utterance),
        });
    }
    for (bed, sound) in day.beds.iter().zip(beds) {
        let part = day.part_at(bed.start_s);
        let Some(distance_m) = day.away_m(take, &bed.place, part) else {
            continue;
        };
        all.push(Coming {
            at_s: bed.start_s + Day::delay_s(distance_m),
            length_s: bed.length_s,
            speed: 1.0,
            gain: (DRY_RMS * 10_f64.powf(bed.level_db / 20.0) / distance_m) as f32,
            distance_m,
            what: What::Sound(Arc::clone(sound)),
        });
    }
    let preamp = if seconds > 0.0 {
        level / (energy / f64::max(seconds, 1e-9)).sqrt()
    } else {
        level / DRY_RMS
    };
    all.iter_mut().for_each(|one| one.gain *= preamp as f32);
    all.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    all
}

fn sound(seed: u64, number: usize, bed: &Bed) -> Vec<f32> {
    match bed.sound {
        BedSound::Applause => {
            noise::applause(bed.length_s, Random::new(seed, &format!("bed/{number}")))
        }
        BedSound::Song(song) => noise::music(bed.length_s, Random::new(song, "song")),
    }
}
