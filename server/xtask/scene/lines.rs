//! Which words can a scene say, and what do they sound like without a room?
//!
//! The dry lines in `tests/lines`: a list (`lines.json`) with a FLAC file of
//! 16 kHz mono beside it for each line, spoken by a synthesiser. The words and
//! the people are ours. [`speak`] makes the files again.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, ensure};
use sayback_core::units::ANALYSIS_RATE_HZ;
use serde::{Deserialize, Serialize};

use super::spoken;

const WORDS: &str = "words.json";

const RATE: f64 = ANALYSIS_RATE_HZ as f64;

/// RMS of every dry line over its sounding stretches, after loading: -20 dBFS.
pub const DRY_RMS: f64 = 0.1;

/// Somebody who speaks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    /// As called in the scene.
    pub name: String,
    /// As written on the invitation.
    pub full_name: String,
    /// The synthesiser's voice.
    pub voice: String,
}

/// An entry of the list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// Its name, and its file's.
    pub id: String,
    /// Part of the demo event.
    pub part: String,
    /// Who says it.
    pub speaker: String,
    /// The words.
    pub text: String,
}

/// The list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct List {
    /// Who speaks.
    pub people: Vec<Person>,
    /// What is said, in the demo's order.
    pub lines: Vec<Entry>,
}

/// A line with its sound.
#[derive(Clone, Debug)]
pub struct DryLine {
    /// Its entry in the list.
    pub entry: Entry,
    /// 16 kHz mono, RMS [`DRY_RMS`] over its spans.
    pub samples: Vec<f32>,
    /// Sounding stretches in seconds from the first sample: 10 ms frames less
    /// than 40 dB below the loudest, joined across gaps up to 120 ms (the
    /// closures of stops and the ends of words).
    pub spans_s: Vec<(f64, f64)>,
}

impl DryLine {
    /// A line of any sound, 16 kHz mono, brought to the RMS of all.
    ///
    /// # Errors
    /// When it is silent.
    pub fn of(entry: Entry, mut samples: Vec<f32>) -> Result<Self> {
        let spans_s = spans(&samples);
        ensure!(!spans_s.is_empty(), "{} is silent", entry.id);
        let gain = (DRY_RMS / rms(&samples, &spans_s)) as f32;
        samples.iter_mut().for_each(|x| *x *= gain);
        Ok(Self {
            entry,
            samples,
            spans_s,
        })
    }

    /// Seconds of the whole dry recording.
    #[must_use]
    pub fn length_s(&self) -> f64 {
        self.samples.len() as f64 / RATE
    }

    /// Seconds that sound.
    #[must_use]
    pub fn sounding_s(&self) -> f64 {
        self.spans_s.iter().map(|(start, end)| end - start).sum()
    }
}

/// The folder of the dry lines in this repository.
#[must_use]
pub fn folder() -> PathBuf {
    crate::root().join("tests/lines")
}

/// Reads the list.
///
/// # Errors
/// When `lines.json` is missing or is no such list.
pub fn list() -> Result<List> {
    let path = folder().join("lines.json");
    let text = std::fs::read_to_string(&path)
        .with_context(|| format!("cannot read {}", path.display()))?;
    serde_json::from_str(&text)
        .with_context(|| format!("{} is not a list of lines", path.display()))
}

/// Start and end of every word of the lines, words as the text's spaces part them,
/// by line: in seconds of the dry recording, as the synthesiser tells.
///
/// # Errors
/// When `words.json` is missing or is no such table.
pub fn words() -> Result<BTreeMap<String, Vec<(f64, f64)>>> {
    let path = folder().join(WORDS);
    let text = std::fs::read_to_string(&path)
        .with_context(|| format!("cannot read {}", path.display()))?;
    serde_json::from_str(&text).with_context(|| format!("{} has no words", path.display()))
}

/// Reads every line with its sound (about 17 MB).
///
/// # Errors
/// When the list or a file is missing or broken.
pub fn load() -> Result<Vec<DryLine>> {
    list()?
        .lines
        .into_iter()
        .map(|entry| load_line(&folder(), entry))
        .collect()
}

fn load_line(folder: &Path, entry: Entry) -> Result<DryLine> {
    let path = folder.join(format!("{}.flac", entry.id));
    let about = || format!("cannot read {}", path.display());
    let mut reader = claxon::FlacReader::open(&path).with_context(about)?;
    let info = reader.streaminfo();
    ensure!(
        (info.sample_rate, info.channels, info.bits_per_sample) == (ANALYSIS_RATE_HZ, 1, 16),
        "{} is not 16 kHz mono 16-bit",
        path.display()
    );
    let whole: Vec<i32> = reader
        .samples()
        .collect::<Result<_, _>>()
        .with_context(about)?;
    let samples = whole.iter().map(|&x| x as f32 / 32_768.0).collect();
    DryLine::of(entry, samples)
}

/// Sounding stretches, in seconds.
pub(super) fn spans(samples: &[f32]) -> Vec<(f64, f64)> {
    const FRAME: usize = ANALYSIS_RATE_HZ as usize / 100;
    let powers: Vec<f32> = samples
        .chunks(FRAME)
        .map(|frame| frame.iter().map(|x| x * x).sum())
        .collect();
    let floor = powers.iter().fold(0.0_f32, |a, &b| a.max(b)) * 1e-4;
    let mut joined: Vec<(f64, f64)> = Vec::new();
    for (n, _) in powers
        .iter()
        .enumerate()
        .filter(|&(_, &power)| power > floor)
    {
        let (start, end) = (n as f64 * 0.01, (n + 1) as f64 * 0.01);
        match joined.last_mut() {
            Some(last) if start - last.1 <= 0.12 => last.1 = end,
            _ => joined.push((start, end)),
        }
    }
    if let Some(last) = joined.last_mut() {
        last.1 = last.1.min(samples.len() as f64 / RATE);
    }
    joined
}

/// RMS over the given stretches.
pub(super) fn rms(samples: &[f32], spans_s: &[(f64, f64)]) -> f64 {
    let (mut power, mut count) = (0.0, 0_usize);
    for &(start, end) in spans_s {
        let stretch = &samples[(start * RATE) as usize..((end * RATE) as usize).min(samples.len())];
        power += stretch.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>();
        count += stretch.len();
    }
    (power / count.max(1) as f64).sqrt()
}

/// Speaks every line of the list anew and writes the FLAC files and the times of
/// the words, for authors: asks for the programs `flite` and `ffmpeg`.
///
/// A line is cut to 20 ms around its sound, brought to -20 dBFS RMS (less if
/// it would clip) and rounded to 12 bits, which is 57 dB below the voice and
/// halves the files; FLAC stores the four empty bits for nothing.
///
/// # Errors
/// When a program is missing or fails, or a file cannot be written.
pub fn speak() -> Result<()> {
    let list = list()?;
    let mut words = BTreeMap::new();
    let raw = std::env::temp_dir().join(format!("dry-line-{}.wav", std::process::id()));
    for entry in &list.lines {
        let person = list
            .people
            .iter()
            .find(|person| person.name == entry.speaker);
        let voice = &person
            .with_context(|| format!("nobody is called {}", entry.speaker))?
            .voice;
        let (said, sounds) = spoken_by(voice, &entry.text, &raw)?;
        write_wav(&raw, &trimmed(&said))?;
        words.insert(
            entry.id.clone(),
            word_times(entry, voice, &sounds, cut(&said).0)?,
        );
        let flac = folder().join(format!("{}.flac", entry.id));
        run(Command::new("ffmpeg")
            .args(["-v", "error", "-y", "-i"])
            .arg(&raw)
            .args([
                "-c:a",
                "flac",
                "-compression_level",
                "12",
                "-map_metadata",
                "-1",
            ])
            .args(["-fflags", "+bitexact", "-flags:a", "+bitexact"])
            .arg(&flac))?;
    }
    std::fs::remove_file(&raw)?;
    // A line of the table for each line of the list.
    let rows: Vec<String> = words
        .iter()
        .map(|(id, times)| Ok(format!("  \"{id}\": {}", serde_json::to_string(times)?)))
        .collect::<Result<_>>()?;
    let table = format!("{{\n{}\n}}\n", rows.join(",\n"));
    Ok(std::fs::write(folder().join(WORDS), table)?)
}

/// A line of other words, spoken by a voice of flite, and start and end of every word
/// of it in seconds of the dry recording; nothing is kept in `tests/lines`.
///
/// # Errors
/// When flite is missing or fails, or has no such voice of 16 kHz.
pub fn say(entry: Entry, voice: &str) -> Result<(DryLine, Vec<(f64, f64)>)> {
    let raw = std::env::temp_dir().join(format!("said-line-{}.wav", std::process::id()));
    let (said, sounds) = spoken_by(voice, &entry.text, &raw)?;
    std::fs::remove_file(&raw)?;
    let (from, to) = cut(&said);
    let words = word_times(&entry, voice, &sounds, from)?;
    Ok((DryLine::of(entry, said[from..to].to_vec())?, words))
}

/// The sound of a text, and flite's report on its sounds.
fn spoken_by(voice: &str, text: &str, raw: &Path) -> Result<(Vec<f32>, String)> {
    let sounds = report(
        Command::new("flite")
            .args(["-voice", voice, "-psdur", "-t", text, "-o"])
            .arg(raw),
    )?;
    let mut reader = hound::WavReader::open(raw)?;
    ensure!(
        reader.spec().sample_rate == ANALYSIS_RATE_HZ,
        "voice {voice} is not 16 kHz"
    );
    let said: Vec<f32> = reader
        .samples::<i16>()
        .map(|x| x.map(|x| f32::from(x) / 32_768.0))
        .collect::<Result<_, _>>()?;
    Ok((said, sounds))
}

/// When each word is said in the file that is cut at a sample, in seconds to 1 ms.
fn word_times(entry: &Entry, voice: &str, sounds: &str, cut: usize) -> Result<Vec<(f64, f64)>> {
    let alone = |word: &str| {
        let mut flite = Command::new("flite");
        flite.args(["-voice", voice, "-ps", "-t", word, "-o", "none"]);
        Ok(spoken::names(&report(&mut flite)?))
    };
    let alone: Vec<Vec<String>> = entry
        .text
        .split_whitespace()
        .map(alone)
        .collect::<Result<_>>()?;
    let times = spoken::words(&alone, &spoken::phones(sounds)?)
        .with_context(|| format!("the words of {}", entry.id))?;
    let moved = |s: f64| ((s - cut as f64 / RATE) * 1000.0).round() / 1000.0;
    Ok(times
        .into_iter()
        .map(|(a, b)| (moved(a), moved(b)))
        .collect())
}

/// The first sample of what is kept, and the one after the last.
fn cut(said: &[f32]) -> (usize, usize) {
    let spans_s = spans(said);
    let (Some(first), Some(last)) = (spans_s.first(), spans_s.last()) else {
        return (0, 0);
    };
    let from = ((first.0 - 0.02).max(0.0) * RATE) as usize;
    (from, (((last.1 + 0.02) * RATE) as usize).min(said.len()))
}

fn trimmed(said: &[f32]) -> Vec<f32> {
    let spans_s = spans(said);
    let (from, to) = cut(said);
    let peak = said.iter().fold(0.0_f32, |a, x| a.max(x.abs()));
    let gain = (DRY_RMS as f32 / rms(said, &spans_s) as f32).min(0.97 / peak);
    said[from..to]
        .iter()
        .map(|x| (x * gain * 2_048.0).round().clamp(-2_048.0, 2_047.0) / 2_048.0)
        .collect()
}

fn write_wav(path: &Path, samples: &[f32]) -> Result<()> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: ANALYSIS_RATE_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec)?;
    for sample in samples {
        writer.write_sample((sample * 32_768.0) as i16)?;
    }
    Ok(writer.finalize()?)
}

/// What a program writes to standard output.
fn report(command: &mut Command) -> Result<String> {
    let name = command.get_program().to_string_lossy().into_owned();
    let output = command
        .output()
        .with_context(|| format!("cannot run {name}; install it"))?;
    ensure!(output.status.success(), "{name} failed: {}", output.status);
    Ok(String::from_utf8(output.stdout)?)
}

fn run(command: &mut Command) -> Result<()> {
    let name = command.get_program().to_string_lossy().into_owned();
    let status = command
        .status()
        .with_context(|| format!("cannot run {name}; install it"))?;
    ensure!(status.success(), "{name} failed: {status}");
    Ok(())
}
