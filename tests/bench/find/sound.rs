//! How an event sounds, and what is really said in it when.
//!
//! Four speakers stand together; two wear a recorder, and a camera stands metres off
//! in a ringing room. Voices are flite's; real readings are played in their place.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use sayback::core::text::parts;
use sayback::core::units::FileMs;
use sayback::media::{ChannelPick, read_analysis};
use serde::{Deserialize, Serialize};
use xtask::scene;
use xtask::scene::lines::{DryLine, Entry, say};
use xtask::scene::random::Random;
use xtask::scene::spec::{
    ChannelSpec, Container, LineSpec, MicSpec, NoiseKind, PartSpec, Place, Placement, RecorderSpec,
    RoomSpec, SampleFormat, SceneSpec, Spot,
};

use crate::text::{Line, Text, VOICES};

/// Raised when the same text would sound otherwise than before.
pub const VERSION: u32 = 2;

/// Who wears a recorder, by speaker.
const WEARERS: usize = 2;
/// Of a line that goes on, s; the product parts speech at a second and a half.
const PAUSE_S: f64 = 2.0;
const ROOM: &str = "boathouse";

/// A word of the truth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Word {
    /// As it is written in the text.
    pub written: String,
    /// In normal form, without apostrophes and case.
    pub normal: String,
    /// Event clock, ms.
    pub start_ms: i64,
    pub end_ms: i64,
}

/// A line of the truth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SaidLine {
    pub words: Vec<Word>,
    pub half: Option<String>,
    /// Whether the next line goes on with it.
    pub goes_on: bool,
}

/// What is really said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Said {
    pub names: Vec<String>,
    pub lines: Vec<SaidLine>,
    /// Speech in all, ms.
    pub speech_ms: i64,
}

/// A recorder's file.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct File {
    pub label: String,
    pub placement: String,
    pub path: PathBuf,
}

/// Renders an event into a folder.
pub fn render(text: &Text, folder: &Path) -> (Vec<File>, Said) {
    let random = &mut Random::new(text.seed, "find/sound");
    let (mut dry, mut times) = (Vec::new(), Vec::new());
    for (n, line) in text.lines.iter().enumerate() {
        let (line, words) = sounding(n, line);
        dry.push(line);
        times.push(words);
    }
    let spec = spec(text, &dry, random);
    let truth = scene::build_of(&spec, &dry, folder).expect("a scene");
    let files = truth.recorders.iter().map(|recorder| File {
        label: recorder.label.clone(),
        placement: recorder.placement.as_str().to_owned(),
        path: folder.join(&recorder.files[0].path),
    });
    (files.collect(), said(text, &spec, &times))
}

/// The dry sound of a line, and its words' times, s.
fn sounding(n: usize, line: &Line) -> (DryLine, Vec<(f64, f64)>) {
    let entry = Entry {
        id: format!("line-{n}"),
        part: "all".into(),
        speaker: VOICES[line.speaker].into(),
        text: line.text.clone(),
    };
    let Some(recorded) = &line.recorded else {
        return say(entry, VOICES[line.speaker]).expect("flite says it");
    };
    let (from, to) = recorded.span;
    let samples = read_analysis(&recorded.file, ChannelPick::Mix, FileMs(from), FileMs(to));
    let dry = DryLine::of(entry, samples.expect("a reading")).expect("a sound");
    let s = |ms: i64| ms as f64 / 1000.0;
    let words = match &recorded.words {
        Some(words) => words.iter().map(|word| (s(word.0), s(word.1))).collect(),
        // Only where the line lies is known, so each of its words lies there.
        None => vec![(0.0, s(to - from)); line.text.split(' ').count()],
    };
    (dry, words)
}

fn said(text: &Text, spec: &SceneSpec, times: &[Vec<(f64, f64)>]) -> Said {
    let mut speech_ms = 0.0;
    let lines = text.lines.iter().zip(&spec.lines).zip(times);
    let lines = lines
        .map(|((line, at), times)| {
            let ms = |s: f64| ((at.start_s + s / at.speed) * 1000.0).round() as i64;
            let last = times.last().map_or(0.0, |time| time.1);
            speech_ms += 1000.0 * (last - times.first().map_or(0.0, |time| time.0)) / at.speed;
            let words = line.text.split(' ').zip(times).flat_map(|(word, time)| {
                let word = word.trim_matches(|c: char| !c.is_alphanumeric());
                let parts = parts(word);
                let whole = parts.len() == 1;
                parts.into_iter().map(move |normal| Word {
                    written: if whole {
                        word.to_owned()
                    } else {
                        normal.clone()
                    },
                    normal,
                    start_ms: ms(time.0),
                    end_ms: ms(time.1),
                })
            });
            SaidLine {
                words: words.collect(),
                half: line.half.clone(),
                goes_on: line.goes_on,
            }
        })
        .collect();
    Said {
        names: text.names.clone(),
        lines,
        speech_ms: speech_ms as i64,
    }
}

fn spec(text: &Text, dry: &[DryLine], random: &mut Random) -> SceneSpec {
    let mut at_s = 1.0;
    let lines: Vec<LineSpec> = text
        .lines
        .iter()
        .zip(dry)
        .enumerate()
        .map(|(n, (line, dry))| {
            let speed = if line.recorded.is_some() {
                1.0
            } else {
                random.between(0.95, 1.08)
            };
            let spec = LineSpec {
                line: n,
                speaker: VOICES[line.speaker].into(),
                part: 0,
                start_s: at_s,
                speed,
                effort_db: random.between(-2.0, 2.0),
            };
            let pause_s = if line.goes_on {
                PAUSE_S
            } else {
                random.between(0.5, 2.2)
            };
            at_s += dry.length_s() / speed + pause_s;
            spec
        })
        .collect();
    let end_s = at_s + 1.0;
    let spots = [(0.0, 0.0), (0.8, 0.0), (0.4, 1.2), (-0.7, 0.9)];
    let places: BTreeMap<String, Place> = VOICES
        .iter()
        .zip(spots)
        .map(|(voice, (x, y))| ((*voice).to_owned(), Place::new(ROOM, x, y)))
        .collect();
    let mut recorders: Vec<RecorderSpec> = (0..WEARERS)
        .map(|n| worn(VOICES[n], end_s, random))
        .collect();
    recorders.push(camera(end_s, random));
    SceneSpec {
        seed: text.seed,
        title: text.name.clone(),
        date: "2026-06-20".into(),
        clock_s: 14 * 3600,
        length_s: end_s,
        parts: vec![PartSpec {
            name: "all".into(),
            start_s: 0.0,
            end_s,
            places,
        }],
        lines,
        beds: Vec::new(),
        recorders,
    }
}

fn worn(voice: &str, end_s: f64, random: &mut Random) -> RecorderSpec {
    let mic = MicSpec {
        spot: Spot::Worn {
            person: voice.into(),
            mouth_m: random.between(0.2, 0.3),
        },
        level_dbfs: -26.0,
        snr_db: random.between(24.0, 32.0),
        noise: vec![(NoiseKind::Pink, 1.0)],
        room: Some(RoomSpec {
            critical_m: 3.0,
            rt60_s: 0.4,
        }),
    };
    let mut recorder = recorder(Placement::Worn, end_s, mic, random);
    recorder.label = format!("worn {voice}");
    recorder.folder = format!("worn-{voice}");
    recorder.wearer = Some(voice.into());
    recorder
}

/// Metres off, in noise and in a ringing room: from the demo's camera (18 dB, 4.4 m) to
/// a worse one.
fn camera(end_s: f64, random: &mut Random) -> RecorderSpec {
    let far_m = random.between(3.5, 6.0);
    let mic = MicSpec {
        spot: Spot::Fixed(Place::new(ROOM, 0.3, far_m)),
        level_dbfs: -30.0,
        snr_db: random.between(12.0, 18.0),
        noise: vec![(NoiseKind::Pink, 0.7), (NoiseKind::Brown, 0.3)],
        room: Some(RoomSpec {
            critical_m: 5.0,
            rt60_s: random.between(0.3, 0.5),
        }),
    };
    recorder(Placement::Camera, end_s, mic, random)
}

fn recorder(placement: Placement, end_s: f64, mic: MicSpec, random: &mut Random) -> RecorderSpec {
    RecorderSpec {
        label: placement.as_str().into(),
        folder: placement.as_str().into(),
        stem: "REC".into(),
        placement,
        wearer: None,
        // All from one instant, which is then the event clock's first.
        start_s: 0.0,
        end_s,
        drift_ppm: random.between(-30.0, 30.0),
        clock_error_s: 0,
        rate_hz: 16_000,
        format: SampleFormat::Int16,
        container: Container::Wav,
        channels: vec![ChannelSpec::Mic(mic)],
        split_at_s: Vec::new(),
        safety_files_db: None,
    }
}
