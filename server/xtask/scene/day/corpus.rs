//! Who speaks for hours without repeating themselves?
//!
//! Four voices of flite reading sentences of words of our own lines, in random
//! order: made once, kept beside the other fetched things, 16 kHz mono.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use anyhow::{Context, Result, ensure};
use sayback_core::units::ANALYSIS_RATE_HZ;

use crate::oracle;
use crate::scene::lines::{self, DRY_RMS};
use crate::scene::random::Random;

/// The voices; an utterance's voice is its number modulo this.
pub const VOICES: usize = 4;
/// Utterances of the whole corpus: about 45 minutes.
pub const WHOLE: usize = 320;
/// Changes when what is said changes.
const VERSION: u32 = 1;

/// Utterances, as 16-bit samples of RMS [`DRY_RMS`] over what sounds.
pub struct Corpus {
    said: Vec<Utterance>,
}

/// An utterance.
pub struct Utterance {
    samples: Vec<i16>,
    /// Seconds that sound.
    pub sounding_s: f64,
}

impl Utterance {
    /// Seconds of it all.
    #[must_use]
    pub fn length_s(&self) -> f64 {
        self.samples.len() as f64 / f64::from(ANALYSIS_RATE_HZ)
    }

    /// Its samples.
    #[must_use]
    pub fn samples(&self) -> Vec<f32> {
        self.samples
            .iter()
            .map(|&x| f32::from(x) / 32_768.0)
            .collect()
    }
}

impl Corpus {
    /// The first `count` utterances (at most [`WHOLE`]), spoken now where they
    /// are missing: a second of work for ten utterances.
    ///
    /// # Errors
    /// When flite is missing or the cache can't be written.
    pub fn load(count: usize) -> Result<Self> {
        /// One at a time in this process; others write under other names.
        static SPEAKING: Mutex<()> = Mutex::new(());
        let _alone = SPEAKING.lock().unwrap_or_else(PoisonError::into_inner);
        let folder = oracle::cache()?.join(format!("talk-{VERSION}"));
        std::fs::create_dir_all(&folder)
            .with_context(|| format!("cannot make {}", folder.display()))?;
        let texts = texts(count.min(WHOLE))?;
        let next = AtomicUsize::new(0);
        let work = || -> Result<()> {
            loop {
                let number = next.fetch_add(1, Ordering::Relaxed);
                let Some(text) = texts.get(number) else {
                    return Ok(());
                };
                speak(&folder, number, text)?;
            }
        };
        let done: Vec<Result<()>> = std::thread::scope(|scope| {
            let workers: Vec<_> = (0..2).map(|_| scope.spawn(work)).collect();
            let ended = workers.into_iter().map(|worker| worker.join());
            ended
                .map(|end| end.unwrap_or_else(|_| anyhow::bail!("speaking broke off")))
                .collect()
        });
        done.into_iter().collect::<Result<()>>()?;
        let said = (0..texts.len()).map(|number| load(&path(&folder, number)));
        Ok(Self {
            said: said.collect::<Result<_>>()?,
        })
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.said.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.said.is_empty()
    }

    /// An utterance; wraps round.
    ///
    /// # Panics
    /// When the corpus is empty.
    #[must_use]
    pub fn get(&self, number: usize) -> &Utterance {
        &self.said[number % self.said.len()]
    }
}

fn path(folder: &Path, number: usize) -> PathBuf {
    folder.join(format!("{number:03}.wav"))
}

fn texts(count: usize) -> Result<Vec<String>> {
    let list = lines::list()?;
    let mut words: Vec<String> = list
        .lines
        .iter()
        .flat_map(|line| line.text.split_whitespace())
        .map(|word| {
            word.chars()
                .filter(|c| c.is_alphabetic() || *c == '\'')
                .collect::<String>()
                .to_lowercase()
        })
        .filter(|word| word.len() > 1)
        .collect();
    words.sort();
    words.dedup();
    ensure!(!words.is_empty(), "the lines have no words");
    let mut random = Random::new(u64::from(VERSION), "talk");
    let mut sentence = || {
        let count = 5 + random.below(8);
        let chosen: Vec<&str> = (0..count)
            .map(|_| words[random.below(words.len())].as_str())
            .collect();
        format!("{}.", chosen.join(" "))
    };
    Ok((0..count)
        .map(|_| format!("{} {}", sentence(), sentence()))
        .collect())
}

/// Speaks a text into the folder unless it is there.
fn speak(folder: &Path, number: usize, text: &str) -> Result<()> {
    let to = path(folder, number);
    if to.is_file() {
        return Ok(());
    }
    let voice = ["slt", "rms", "awb", "kal16"][number % VOICES];
    // Under another name until it is whole: others may be at it too.
    let new = folder.join(format!("{number:03}-{}.new", std::process::id()));
    let status = Command::new(oracle::locate::flite()?)
        .args(["-voice", voice, "-t", text, "-o"])
        .arg(&new)
        .status()
        .context("cannot run flite")?;
    ensure!(status.success(), "flite failed: {status}");
    std::fs::rename(&new, &to).with_context(|| format!("cannot write {}", to.display()))
}

fn load(path: &Path) -> Result<Utterance> {
    let about = || format!("cannot read {}", path.display());
    let mut reader = hound::WavReader::open(path).with_context(about)?;
    ensure!(
        reader.spec().sample_rate == ANALYSIS_RATE_HZ && reader.spec().channels == 1,
        "{} is not 16 kHz mono",
        path.display()
    );
    let samples: Vec<f32> = reader
        .samples::<i16>()
        .map(|x| x.map(|x| f32::from(x) / 32_768.0))
        .collect::<Result<_, _>>()
        .with_context(about)?;
    let spans = lines::spans(&samples);
    ensure!(!spans.is_empty(), "{} is silent", path.display());
    let gain = DRY_RMS / lines::rms(&samples, &spans);
    Ok(Utterance {
        samples: samples
            .iter()
            .map(|&x| (f64::from(x) * gain * 32_768.0).clamp(-32_768.0, 32_767.0) as i16)
            .collect(),
        sounding_s: spans.iter().map(|(from, to)| to - from).sum(),
    })
}
