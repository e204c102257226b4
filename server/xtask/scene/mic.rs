//! What reaches one microphone?
//!
//! The sum, on the event clock at the analysis rate, of every sound delayed
//! and weakened by its distance, the room, and the background: in blocks, in
//! order, holding only the sounds that are sounding.

use std::collections::VecDeque;
use std::sync::Arc;

use sayback_core::units::ANALYSIS_RATE_HZ;

use super::lines::{DRY_RMS, DryLine};
use super::noise::Noise;
use super::random::Random;
use super::room::{Reverb, reflections};
use super::sinc::{REACH, Sinc};
use super::spec::{MicSpec, Place, RecorderSpec, SPEED_OF_SOUND, SceneSpec, Spot};

const RATE: f64 = ANALYSIS_RATE_HZ as f64;

/// Everything that can sound: the dry lines and the beds.
pub struct Score<'a> {
    /// The scene.
    pub spec: &'a SceneSpec,
    /// The dry lines the scene's lines point into.
    pub dry: &'a [DryLine],
    /// The sound of each stretch of applause or music, of RMS 1: pieces with
    /// their start on the event clock.
    pub beds: Vec<Vec<(f64, Arc<Vec<f32>>)>>,
}

/// How one line is heard by one microphone.
#[derive(Clone, Debug)]
pub struct Path {
    /// Position in the scene's lines.
    pub line: usize,
    /// Metres from mouth to microphone.
    pub distance_m: f64,
    /// Amplitude against the dry recording, before the recorder's own gain.
    pub gain: f64,
}

/// A microphone's view of the scene, worked out before any sound is made.
#[derive(Clone, Debug)]
pub struct Ear {
    /// The lines it hears while its recorder runs.
    pub paths: Vec<Path>,
    /// Amplitude from dry sound at one metre to full scale.
    pub preamp: f64,
    /// RMS of its background against full scale.
    pub noise_rms: f64,
}

impl Ear {
    /// Works out what `mic` of `recorder` hears.
    #[must_use]
    pub fn new(score: &Score, recorder: &RecorderSpec, mic: &MicSpec) -> Self {
        let mut paths = Vec::new();
        let (mut energy, mut seconds) = (0.0, 0.0);
        for (index, line) in score.spec.lines.iter().enumerate() {
            let Some(distance_m) = line_distance_m(score.spec, mic, index) else {
                continue;
            };
            let dry = &score.dry[line.line];
            let heard_s = line.start_s + distance_m / SPEED_OF_SOUND;
            if heard_s >= recorder.end_s
                || heard_s + dry.length_s() / line.speed <= recorder.start_s
            {
                continue;
            }
            let gain = 10_f64.powf(line.effort_db / 20.0) / distance_m;
            let sounding_s = dry.sounding_s() / line.speed;
            energy += (gain * DRY_RMS).powi(2) * sounding_s;
            seconds += sounding_s;
            paths.push(Path {
                line: index,
                distance_m,
                gain,
            });
        }
        let level = 10_f64.powf(mic.level_dbfs / 20.0);
        let preamp = if seconds > 0.0 {
            level / (energy / seconds).sqrt()
        } else {
            level / DRY_RMS
        };
        Self {
            paths,
            preamp,
            noise_rms: level * 10_f64.powf(-mic.snr_db / 20.0),
        }
    }
}

fn line_distance_m(spec: &SceneSpec, mic: &MicSpec, line: usize) -> Option<f64> {
    let line = &spec.lines[line];
    let places = &spec.parts[line.part].places;
    match &mic.spot {
        Spot::Worn { person, mouth_m } if *person == line.speaker => Some(*mouth_m),
        Spot::Worn { person, .. } => places.get(person)?.distance_m(places.get(&line.speaker)?),
        Spot::Fixed(place) => places.get(&line.speaker)?.distance_m(place),
        // A hand-held microphone, 10 cm from the mouth.
        Spot::Desk { open } => open
            .iter()
            .any(|(part, person)| *part == line.part && *person == line.speaker)
            .then_some(0.1),
    }
}

fn bed_distance_m(spec: &SceneSpec, mic: &MicSpec, at_s: f64, place: &Place) -> Option<f64> {
    match &mic.spot {
        Spot::Fixed(here) => here.distance_m(place),
        Spot::Worn { person, .. } => {
            let part = spec
                .parts
                .iter()
                .find(|part| part.start_s <= at_s && at_s < part.end_s)?;
            part.places.get(person)?.distance_m(place)
        }
        Spot::Desk { .. } => None,
    }
}

/// A sound on its way to the microphone.
struct Arrival<'a> {
    /// When its first sample is heard, in samples of the event clock.
    at: f64,
    speed: f64,
    gain: f32,
    distance_m: f64,
    sound: Sound<'a>,
}

enum Sound<'a> {
    Line(&'a [f32]),
    Bed(Arc<Vec<f32>>),
}

impl Arrival<'_> {
    fn dry(&self) -> &[f32] {
        match &self.sound {
            Sound::Line(samples) => samples,
            Sound::Bed(samples) => samples,
        }
    }

    /// A sample by which its direct sound is over.
    fn over(&self) -> i64 {
        (self.at + self.dry().len() as f64 / self.speed) as i64 + REACH as i64 + 1
    }
}

/// A sound that is sounding.
struct Voice {
    first: i64,
    samples: Vec<f32>,
    gain: f32,
    distance_m: f32,
    echoes: Vec<(usize, f32)>,
    last: i64,
}

/// A running microphone.
pub struct Mic<'a> {
    sinc: &'a Sinc,
    coming: VecDeque<Arrival<'a>>,
    sounding: Vec<Voice>,
    reverb: Option<Reverb>,
    noise: Vec<(Noise, f32)>,
    random: Random,
    at: i64,
    room: bool,
    send: Vec<f32>,
}

impl<'a> Mic<'a> {
    /// A microphone that begins to listen at sample `at` of the event clock.
    /// `name` names its random streams.
    #[must_use]
    pub fn new(
        score: &'a Score,
        mic: &MicSpec,
        ear: &Ear,
        sinc: &'a Sinc,
        at: i64,
        name: &str,
    ) -> Self {
        let seed = score.spec.seed;
        let noise = mic
            .noise
            .iter()
            .enumerate()
            .map(|(n, &(kind, share))| {
                let total: f64 = mic.noise.iter().map(|(_, share)| share).sum();
                let gain = ear.noise_rms * (share / total).sqrt();
                (
                    Noise::new(kind, Random::new(seed, &format!("{name}/noise/{n}"))),
                    gain as f32,
                )
            })
            .collect();
        Self {
            sinc,
            coming: arrivals(score, mic, ear),
            sounding: Vec::new(),
            reverb: mic.room.as_ref().map(Reverb::new),
            noise,
            random: Random::new(seed, &format!("{name}/room")),
            at,
            room: mic.room.is_some(),
            send: Vec::new(),
        }
    }

    /// Appends the next `count` samples to `out`.
    pub fn listen(&mut self, count: usize, out: &mut Vec<f32>) {
        let start = out.len();
        out.resize(start + count, 0.0);
        let block = &mut out[start..];
        self.start_voices(count);
        self.send.clear();
        self.send.resize(count, 0.0);
        for voice in &self.sounding {
            voice.add(block, self.at, 0, voice.gain);
            for &(late, gain) in &voice.echoes {
                voice.add(block, self.at, late, voice.gain * gain);
            }
            // The room hears every sound as if from one metre.
            voice.add(&mut self.send, self.at, 0, voice.gain * voice.distance_m);
        }
        if let Some(reverb) = &mut self.reverb {
            for (sample, &dry) in block.iter_mut().zip(&self.send) {
                *sample += reverb.next(dry);
            }
        }
        for (noise, gain) in &mut self.noise {
            noise.add(block, *gain);
        }
        self.at += count as i64;
        let at = self.at;
        self.sounding.retain(|voice| voice.last > at);
    }

    fn start_voices(&mut self, count: usize) {
        let end = self.at + count as i64;
        while self
            .coming
            .front()
            .is_some_and(|next| next.at.floor() as i64 - (REACH as i64) < end)
        {
            let Some(next) = self.coming.pop_front() else {
                break;
            };
            if next.over() < self.at {
                continue;
            }
            let echoes = if self.room {
                reflections(next.distance_m, &mut self.random)
            } else {
                Vec::new()
            };
            let voice = Voice::new(&next, echoes, self.sinc);
            if voice.last > self.at {
                self.sounding.push(voice);
            }
        }
    }
}

impl Voice {
    fn new(arrival: &Arrival, echoes: Vec<(usize, f32)>, sinc: &Sinc) -> Self {
        let dry = arrival.dry();
        let first = arrival.at.floor() as i64 - REACH as i64;
        let from = (first as f64 - arrival.at) * arrival.speed;
        let count = (dry.len() as f64 / arrival.speed) as usize + 2 * REACH + 1;
        let samples = sinc.read(dry, from, arrival.speed, count);
        let tail = echoes.iter().map(|&(late, _)| late).max().unwrap_or(0);
        let last = first + (count + tail) as i64;
        let distance_m = arrival.distance_m as f32;
        Self {
            first,
            samples,
            gain: arrival.gain,
            distance_m,
            echoes,
            last,
        }
    }

    /// Adds what falls into `block`, which begins at sample `at`, `late`
    /// samples late.
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
}

fn arrivals<'a>(score: &'a Score, mic: &MicSpec, ear: &Ear) -> VecDeque<Arrival<'a>> {
    let lines = ear.paths.iter().map(|path| {
        let line = &score.spec.lines[path.line];
        Arrival {
            at: (line.start_s + path.distance_m / SPEED_OF_SOUND) * RATE,
            speed: line.speed,
            gain: (path.gain * ear.preamp) as f32,
            distance_m: path.distance_m,
            sound: Sound::Line(&score.dry[line.line].samples),
        }
    });
    let beds = score
        .spec
        .beds
        .iter()
        .zip(&score.beds)
        .flat_map(|(bed, pieces)| {
            let gain = DRY_RMS * 10_f64.powf(bed.level_db / 20.0) * ear.preamp;
            pieces.iter().filter_map(move |(start_s, samples)| {
                let distance_m = bed_distance_m(score.spec, mic, *start_s, &bed.place)?;
                Some(Arrival {
                    at: (start_s + distance_m / SPEED_OF_SOUND) * RATE,
                    speed: 1.0,
                    gain: (gain / distance_m) as f32,
                    distance_m,
                    sound: Sound::Bed(Arc::clone(samples)),
                })
            })
        });
    let mut all: Vec<_> = lines.chain(beds).collect();
    all.sort_by(|a, b| a.at.total_cmp(&b.at));
    all.into()
}
