//! A made-up day: ten hours, eight recorders, ten thousand moments, and what its waves
//! look like from afar. Everything comes from the seed.

use sayback::core::signal::SpeechSegment;
use sayback::core::signal::peaks::{PeakMaker, Peaks};
use sayback::core::units::FileMs;
use xtask::scene::random::Random;

/// Its recorders: label, placement, who wears it.
pub const SOURCES: [(&str, &str, Option<usize>); 8] = [
    ("Lapel one", "worn", Some(0)),
    ("Lapel two", "worn", Some(1)),
    ("Desk", "feed", None),
    ("Lectern", "stand", None),
    ("Landing", "ambient", None),
    ("Camera one", "camera", None),
    ("Camera two", "camera", None),
    ("Camera three", "camera", None),
];
/// Its parts, of equal length.
pub const PARTS: [&str; 6] = [
    "arrival", "letters", "ceremony", "speeches", "dinner", "dancing",
];
const PEOPLE: [&str; 6] = [
    "Ottilie M",
    "Corin A",
    "Halvard Q",
    "Jory",
    "Ambrose M",
    "Wenna Q",
];
/// What its sentences are made of.
const WORDS: [&str; 48] = [
    "the",
    "ferry",
    "bell",
    "rang",
    "every",
    "evening",
    "for",
    "forty",
    "years",
    "and",
    "we",
    "rowed",
    "home",
    "with",
    "a",
    "lantern",
    "on",
    "bow",
    "boathouse",
    "smells",
    "of",
    "tar",
    "rope",
    "salt",
    "she",
    "kept",
    "kettle",
    "singing",
    "until",
    "morning",
    "came",
    "over",
    "landing",
    "heron",
    "stood",
    "still",
    "I",
    "promise",
    "to",
    "row",
    "when",
    "you",
    "are",
    "tired",
    "thank",
    "all",
    "coming",
    "today",
];
const MOMENTS: usize = 10_000;
const LENGTH_MS: i64 = 36_000_000;
/// Nobody speaks before all recorders run, ms.
const QUIET_MS: i64 = 60_000;
/// Samples of a bin of 10 ms that waves are made of: enough for a lowest and a highest.
const RATE_HZ: u32 = 400;

/// The day.
pub struct Event {
    /// Its number; there is one.
    pub number: usize,
    /// What it is called.
    pub title: String,
    /// The day.
    pub date: String,
    /// Who speaks.
    pub people: Vec<String>,
    /// In the order of time.
    pub moments: Vec<Moment>,
    /// Where the last word ends, ms.
    pub end_ms: i64,
    seed: u64,
}

/// A stretch of speech.
pub struct Moment {
    /// On the event clock, ms.
    pub start_ms: i64,
    /// On the event clock, ms, exclusive.
    pub end_ms: i64,
    /// Who speaks, by their place among the people; `None` where it is not known.
    pub person: Option<usize>,
    /// The recorders that have it, the best first, and how far it is above their noise, dB.
    pub heard: Vec<(usize, f32)>,
    /// Its words.
    pub words: Vec<Said>,
}

/// A word of a moment.
pub struct Said {
    /// As it is shown.
    pub text: String,
    /// `None` for what stands in no list of words.
    pub rank: Option<usize>,
    /// On the event clock, ms.
    pub start_ms: i64,
    /// On the event clock, ms, exclusive.
    pub end_ms: i64,
    /// How sure a model would be, 0 to 1.
    pub confidence: f32,
}

impl Event {
    /// The day of a seed.
    pub fn new(seed: u64) -> Self {
        let mut random = Random::new(seed, "a long day");
        let slot = (LENGTH_MS - QUIET_MS) / MOMENTS as i64;
        let moments: Vec<Moment> = (0..MOMENTS as i64)
            .map(|n| {
                moment(
                    QUIET_MS + n * slot + random.below(400) as i64,
                    slot,
                    &mut random,
                )
            })
            .collect();
        Self {
            number: 0,
            title: "A long day at Tarrow Landing".into(),
            date: "2026-06-20".into(),
            people: PEOPLE.map(str::to_owned).to_vec(),
            end_ms: moments.last().map_or(0, |moment| moment.end_ms),
            moments,
            seed,
        }
    }

    /// What a recorder's file looks like from afar; it begins at `begins_ms` of the event
    /// clock and is `length_ms` long. Syllables of four a second where it hears somebody,
    /// over noise.
    pub fn peaks(&self, source: usize, begins_ms: i64, length_ms: i64) -> Peaks {
        let mut random = Random::new(self.seed, &format!("waves {source}"));
        let mut maker = PeakMaker::new(1, RATE_HZ).expect("a rate");
        let mut speech = Vec::new();
        let mut heard = self
            .moments
            .iter()
            .filter_map(|m| {
                let snr = m.heard.iter().find(|(one, _)| *one == source)?.1;
                Some((m.start_ms - begins_ms, m.end_ms - begins_ms, snr))
            })
            .peekable();
        let noise = 0.002_f32;
        let mut frames = [0.0_f32; RATE_HZ as usize / 100];
        for at_ms in (0..length_ms).step_by(10) {
            while let Some((start, end, _)) = heard.next_if(|(_, end, _)| *end <= at_ms) {
                speech.push(segment(start, end));
            }
            let voice = heard.peek().filter(|(start, _, _)| *start <= at_ms);
            let size = voice.map_or(0.0, |(start, _, snr)| {
                let syllable = ((at_ms - start) as f32 * 0.0126).sin().abs();
                noise * 10_f32.powf(snr / 20.0) * (0.15 + 0.85 * syllable)
            });
            for frame in &mut frames {
                *frame = (noise + size).min(1.0) * (2.0 * random.unit() as f32 - 1.0);
            }
            maker.push(&frames);
        }
        speech.extend(heard.map(|(start, end, _)| segment(start, end)));
        maker.finish(&speech)
    }
}

fn segment(start_ms: i64, end_ms: i64) -> SpeechSegment {
    SpeechSegment {
        start: FileMs(start_ms),
        end: FileMs(end_ms),
        level_dbfs: -24.0,
        snr_db: 24.0,
        clipped: 0.0,
        reverb: 0.2,
    }
}

fn moment(start_ms: i64, slot_ms: i64, random: &mut Random) -> Moment {
    let mut at = start_ms;
    let until = start_ms + slot_ms - 700 - random.below(900) as i64;
    let mut words = Vec::new();
    while at < until {
        let text = WORDS[random.below(WORDS.len())];
        let length = 90 + 42 * text.len() as i64;
        words.push(Said {
            text: text.to_owned(),
            rank: Some(0),
            start_ms: at,
            end_ms: at + length,
            confidence: (1.0 - 0.7 * random.unit().powi(3)) as f32,
        });
        at += length + random.below(60) as i64;
    }
    let mut sources: Vec<usize> = (0..SOURCES.len()).collect();
    random.shuffle(&mut sources);
    sources.truncate(1 + random.below(SOURCES.len()));
    let mut snr = 22.0 * random.unit() as f32 + 16.0;
    let heard = sources.into_iter().map(|source| {
        let one = (source, snr);
        snr *= 0.85;
        one
    });
    Moment {
        start_ms,
        end_ms: words.last().map_or(start_ms + 500, |word| word.end_ms) + 50,
        person: (random.unit() < 0.9).then(|| random.below(PEOPLE.len())),
        heard: heard.collect(),
        words,
    }
}
