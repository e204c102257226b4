//! `cargo bench --bench invented`: words that are written down of sound in which
//! nobody speaks.
//!
//! Thirty minutes: generated noise, hum, wind, air conditioning, applause and
//! chords, and real instrumental music (`asterisk-moh-opsound-wav` 2.03). Three
//! ways: the library's plain call over each whole file; our recogniser made to
//! listen to all of it, as if the detector had let everything through; and the
//! product's way, detector first. Of ours, how many are shown as fact: not doubted.
//!
//! `MODEL=base` does one model, `LANGUAGES=en` tells it the language, `SEED=7` other generated sounds, `OURS=1` leaves the
//! plain call out, which takes most of the time, `SHOW=1` prints what was written,
//! `RUST_LOG=sayback::speech::belief=trace` what each phrase was judged by.
//! `KINDS='real music'` does some kinds only, `DETECTED=1` leaves the second way out;
//! `FILES=a.wav,b.wav` takes these instead, such as speech: what is shown as fact of
//! it, and what no longer is.

#[allow(dead_code, reason = "the figures on words use other parts of it")]
#[path = "../it/speech/paths.rs"]
mod paths;
#[path = "../../server/core/signal/sounds.rs"]
mod sounds;

use std::path::{Path, PathBuf};
use std::process::Command;

use sayback::core::Cancel;
use sayback::core::moments::{Attempt, SaidWord, fuse};
use sayback::core::text::Names;
use sayback::core::units::ANALYSIS_RATE_HZ;
use sayback::media::{ChannelPick, read_analysis};
use sayback::speech::{HeardWord, Known, ModelShelf, Span, Whisper, default_threads, listen, pack};
use sayback_core::units::FileMs;
use xtask::oracle;
use xtask::scene::noise::{applause, music};
use xtask::scene::random::Random;

const RATE: usize = ANALYSIS_RATE_HZ as usize;
/// Level of the generated sounds, as RMS of full scale (−30 dBFS).
const LEVEL: f32 = 0.0316;
/// Longest stretch given to the model at once, ms.
const WINDOW_MS: i64 = 30_000;

fn main() {
    let logs = tracing_subscriber::EnvFilter::from_default_env();
    let lines = tracing_subscriber::fmt().with_env_filter(logs);
    lines.without_time().with_ansi(false).init();
    let work = tempfile::tempdir().expect("a folder to work in");
    let shelf = ModelShelf::new(oracle::locate::models().expect("a shelf"));
    oracle::model("tiny.en");
    let seed = std::env::var("SEED").map_or(1, |seed| seed.parse().expect("a number"));
    let kinds: Vec<Kind> = match std::env::var("FILES") {
        Ok(files) => vec![("files", files.split(',').map(PathBuf::from).collect())],
        Err(_) => kinds(seed, work.path()),
    };
    let listed = std::env::var("KINDS").ok();
    let listed = |kind: &str| {
        listed
            .as_deref()
            .is_none_or(|all| all.split(',').any(|one| one == kind))
    };
    let kinds: Vec<Kind> = kinds.into_iter().filter(|(kind, _)| listed(kind)).collect();
    let only = std::env::var("MODEL").ok();
    let wanted = |name: &str| only.as_deref().is_none_or(|only| only == name);
    for model in shelf
        .list()
        .iter()
        .filter(|model| model.present && wanted(&model.name))
    {
        let path = shelf.path(&model.name).expect("a whole model");
        table(&model.name, &path, &kinds);
    }
}

/// A kind of sound: its name and files.
type Kind = (&'static str, Vec<PathBuf>);

fn kinds(seed: u64, work: &Path) -> Vec<Kind> {
    let write = |name: &str, sound: &[f32]| {
        let file = work.join(name).with_extension("wav");
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: ANALYSIS_RATE_HZ,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(&file, spec).expect("a file");
        for sample in sound {
            let sample = (sample * 32_768.0).clamp(-32_768.0, 32_767.0);
            writer.write_sample(sample as i16).expect("room");
        }
        writer.finalize().expect("a whole file");
        file
    };
    let flat = |name: &str, sound: &mut dyn Iterator<Item = f32>, seconds: usize| {
        let sound: Vec<f32> = sound.take(seconds * RATE).map(|s| s * LEVEL).collect();
        write(name, &sound)
    };
    let claps: Vec<f32> = (0..10_u64)
        .flat_map(|n| {
            let mut one = applause(8.0 + n as f64, Random::new(seed + n, "claps"));
            one.extend(vec![0.0; 6 * RATE]);
            one
        })
        .map(|sample| sample * LEVEL * 3.0)
        .take(150 * RATE)
        .collect();
    vec![
        (
            "noise",
            vec![
                flat("white", &mut sounds::white(seed), 60),
                flat("pink", &mut sounds::pink(seed + 1), 60),
                flat("brown", &mut sounds::brown(seed + 2), 60),
            ],
        ),
        (
            "hum",
            vec![
                flat("hum50", &mut sounds::hum(seed + 3, 50.0), 60),
                flat("hum60", &mut sounds::hum(seed + 4, 60.0), 60),
            ],
        ),
        ("wind", vec![flat("wind", &mut sounds::wind(seed + 5), 270)]),
        (
            "air conditioning",
            vec![flat("air", &mut sounds::air_conditioning(seed + 6), 120)],
        ),
        ("applause", vec![write("applause", &claps)]),
        (
            "made-up band",
            vec![flat(
                "band",
                &mut music(240.0, Random::new(seed + 7, "band")).into_iter(),
                240,
            )],
        ),
        ("real music", real_music(work)),
    ]
}

/// Two minutes and some of each of five pieces, from their beginning.
fn real_music(work: &Path) -> Vec<PathBuf> {
    let folder = oracle::data("asterisk-moh-opsound-wav").join("usr/share/asterisk/moh");
    let mut pieces: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("pieces of music")
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "wav"))
        .collect();
    pieces.sort();
    let piece = |path: &PathBuf| {
        let to = work.join(path.file_name().expect("a name"));
        let status = Command::new(oracle::ffmpeg())
            .args(["-v", "error", "-y", "-t", "162", "-i"])
            .arg(path)
            .args(["-ar", "16000", "-ac", "1", "-c:a", "pcm_s16le"])
            .arg(&to)
            .status();
        assert!(status.is_ok_and(|status| status.success()), "ffmpeg");
        to
    };
    pieces.iter().map(piece).collect()
}

/// Words, and those of them that are shown as fact.
#[derive(Clone, Copy, Default)]
struct Count {
    words: usize,
    fact: usize,
}

impl Count {
    fn add(&mut self, other: Self) {
        self.words += other.words;
        self.fact += other.fact;
    }
}

fn table(name: &str, model: &Path, kinds: &[Kind]) {
    let mut whisper = Whisper::load(model, default_threads()).expect("a model");
    let ours: Vec<Vec<(Count, Count)>> = kinds
        .iter()
        .map(|(_, files)| files.iter().map(|file| both(&mut whisper, file)).collect())
        .collect();
    drop(whisper);
    let context = std::env::var_os("OURS")
        .is_none()
        .then(|| paths::load_plain(model));
    println!("\n{name}: invented words an hour, in brackets those shown as fact");
    println!(
        "{:<18}{:>8}{:>12}{:>20}{:>20}",
        "", "minutes", "plain call", "all listened to", "detector first"
    );
    let mut total = Sum::default();
    for ((kind, files), ours) in kinds.iter().zip(&ours) {
        let mut sum = Sum::default();
        for (file, (all, detected)) in files.iter().zip(ours) {
            let plain = context.as_ref().map(|context| {
                let text = paths::plain(context, default_threads(), file);
                text.split_whitespace().filter(|word| said(word)).count()
            });
            sum.add(&Sum {
                minutes: milliseconds(file) as f64 / 60_000.0,
                plain,
                all: *all,
                detected: *detected,
            });
        }
        row(kind, &sum);
        total.add(&sum);
    }
    row("together", &total);
}

/// What was written of some sounds.
#[derive(Default)]
struct Sum {
    minutes: f64,
    /// Words of the plain call; none where it was left out.
    plain: Option<usize>,
    all: Count,
    detected: Count,
}

impl Sum {
    fn add(&mut self, other: &Self) {
        self.minutes += other.minutes;
        self.plain = other.plain.map(|words| self.plain.unwrap_or(0) + words);
        self.all.add(other.all);
        self.detected.add(other.detected);
    }
}

fn row(name: &str, sum: &Sum) {
    let hourly = |count: usize| 60.0 * count as f64 / sum.minutes;
    let cell = |count: &Count| format!("{:.0} ({:.0})", hourly(count.words), hourly(count.fact));
    let plain = |words| format!("{:.0}", hourly(words));
    println!(
        "{name:<18}{:>8.1}{:>12}{:>20}{:>20}",
        sum.minutes,
        sum.plain.map_or("-".into(), plain),
        cell(&sum.all),
        cell(&sum.detected)
    );
}

fn said(word: &str) -> bool {
    word.contains(char::is_alphanumeric)
}

fn milliseconds(file: &Path) -> i64 {
    sayback::media::probe(file)
        .expect("a recording")
        .duration_ms
}

/// Listening to all of a file, and to what the detector lets through.
fn both(whisper: &mut Whisper, file: &Path) -> (Count, Count) {
    let length = milliseconds(file);
    let all: Vec<Span> = (0..=length / WINDOW_MS)
        .map(|n| Span {
            start: FileMs(n * WINDOW_MS),
            end: FileMs(((n + 1) * WINDOW_MS).min(length)),
        })
        .filter(|span| span.start < span.end)
        .collect();
    let detected = paths::speech(file);
    let all = if std::env::var_os("DETECTED").is_some() {
        Vec::new()
    } else {
        all
    };
    (
        count(whisper, file, &all, length),
        count(whisper, file, &detected, length),
    )
}

fn count(whisper: &mut Whisper, file: &Path, spans: &[Span], length: i64) -> Count {
    let told = std::env::var("LANGUAGES").unwrap_or_default();
    let languages: Vec<String> = told.split_terminator(',').map(str::to_owned).collect();
    let known = Known {
        glossary: &[],
        names: &Names::default(),
        languages: &languages,
    };
    let mut heard: Vec<Vec<HeardWord>> = vec![Vec::new(); spans.len()];
    for window in pack(spans, FileMs(length)) {
        let passage = window
            .assemble(&mut |from, to| read_analysis(file, ChannelPick::Mix, from, to))
            .expect("the window's samples");
        let words = listen(whisper, &passage, &known, &Cancel::new(), &mut |_| {});
        for (span, word) in words.expect("an answer") {
            heard[span].push(word);
        }
    }
    let mut count = Count::default();
    for (span, words) in spans.iter().zip(heard) {
        let attempt = Attempt {
            hearer: 0,
            score: 0.0,
            words: words
                .iter()
                .map(|word| SaidWord {
                    text: word.text.clone(),
                    start_ms: word.start_ms as f64,
                    end_ms: word.end_ms as f64,
                    confidence: word.confidence,
                })
                .collect(),
        };
        let fused = fuse(&[attempt], span.end.0 - span.start.0).expect("one attempt");
        let fact = if fused.doubt.is_none() {
            words.len()
        } else {
            0
        };
        if std::env::var_os("SHOW").is_some() && !words.is_empty() {
            println!(
                "{} {} to {}: {:?} {}",
                file.display(),
                span.start.0,
                span.end.0,
                fused.doubt,
                words
                    .iter()
                    .map(|word| format!("{} ({:.2})", word.text, word.confidence))
                    .collect::<Vec<_>>()
                    .join(" ")
            );
        }
        count.add(Count {
            words: words.len(),
            fact,
        });
    }
    count
}
