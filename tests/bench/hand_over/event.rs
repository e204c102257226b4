//! A made-up day with so many lines, each heard by all of eight recorders.

use xtask::scene::random::Random;

/// Its recorders: label, placement, who wears it.
pub const SOURCES: [(&str, &str, Option<usize>); 8] = [
    ("Lapel Ottilie", "worn", Some(0)),
    ("Lapel Corin", "worn", Some(1)),
    ("Desk", "feed", None),
    ("Lectern", "stand", None),
    ("Floor", "ambient", None),
    ("Camera one", "camera", None),
    ("Camera two", "camera", None),
    ("Camera three", "camera", None),
];
/// Its parts, of equal length.
pub const PARTS: [&str; 2] = ["letters", "toasts"];
/// What is said, over and over.
const WORDS: [&str; 12] = [
    "the",
    "ferry",
    "bell",
    "rang",
    "and",
    "nobody",
    "came",
    "to",
    "the",
    "boathouse",
    "until",
    "dusk",
];
/// From the beginning of one line to that of the next, ms: a day of ten hours has 8,000.
const APART_MS: i64 = 4_500;

/// The event.
pub struct Event {
    /// Its number; part of the paths of its files.
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
}

/// A line.
pub struct Moment {
    /// On the event clock, ms.
    pub start_ms: i64,
    /// On the event clock, ms, exclusive.
    pub end_ms: i64,
    /// Who speaks, by their place among the people.
    pub person: Option<usize>,
    /// The recorders that have it, the best first, and how far it is above their noise.
    pub heard: Vec<(usize, f32)>,
    /// Its words.
    pub words: Vec<Said>,
}

/// A word of it.
pub struct Said {
    /// As it is shown.
    pub text: String,
    /// How rare it is; all stand in the list of words.
    pub rank: Option<usize>,
    /// On the event clock, ms.
    pub start_ms: i64,
    /// On the event clock, ms, exclusive.
    pub end_ms: i64,
    /// How sure a model would be, 0 to 1.
    pub confidence: f32,
}

impl Event {
    /// So many lines of so many words.
    pub fn new(lines: usize, words: usize) -> Self {
        let mut random = Random::new(20_260_620, "hand-over");
        let moments: Vec<Moment> = (0..lines)
            .map(|n| moment(n as i64 * APART_MS + 30_000, words, &mut random))
            .collect();
        Self {
            number: 1,
            title: "Ferry landing".into(),
            date: "2026-06-20".into(),
            people: vec!["Ottilie".into(), "Corin".into()],
            end_ms: moments.last().map_or(0, |last| last.end_ms),
            moments,
        }
    }
}

fn moment(start_ms: i64, words: usize, random: &mut Random) -> Moment {
    let each = (APART_MS - 700) / words as i64;
    let said = (0..words as i64).map(|n| Said {
        text: WORDS[random.below(WORDS.len())].into(),
        rank: Some(0),
        start_ms: start_ms + n * each,
        end_ms: start_ms + (n + 1) * each - 20,
        confidence: 0.9,
    });
    let said: Vec<Said> = said.collect();
    let mut heard: Vec<usize> = (0..SOURCES.len()).collect();
    random.shuffle(&mut heard);
    Moment {
        start_ms,
        end_ms: start_ms + words as i64 * each,
        person: Some(random.below(2)),
        heard: heard
            .into_iter()
            .zip((8..30).rev().map(|snr| snr as f32))
            .collect(),
        words: said,
    }
}
