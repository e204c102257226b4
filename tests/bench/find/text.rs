//! What is said in each event, before it sounds.

use sayback::core::text::normal;
use serde::{Deserialize, Serialize};
use xtask::scene::lines;
use xtask::scene::random::Random;

use crate::pools::{HELD, NUMBERS, Names, TUNING};
use crate::{held, sets, tuning};

/// The voices of made-up lines, by speaker.
pub const VOICES: [&str; 4] = ["slt", "rms", "awb", "kal16"];

/// May anything be chosen by its figures?
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Group {
    Tuning,
    HeldOut,
}

impl Group {
    pub const ALL: [Self; 2] = [Self::Tuning, Self::HeldOut];

    pub fn name(self) -> &'static str {
        match self {
            Self::Tuning => "tuning",
            Self::HeldOut => "held out",
        }
    }
}

/// A line that is to be said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Words parted by single spaces.
    pub text: String,
    /// What an editor remembers of it, written by hand.
    pub half: Option<String>,
    /// Position in [`VOICES`].
    pub speaker: usize,
    /// Whether the next line goes on with it after a pause of two seconds.
    pub goes_on: bool,
    /// A recording of it; none when a synthesiser says it.
    pub recorded: Option<Recorded>,
}

/// Where a real reading of a line is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recorded {
    pub file: std::path::PathBuf,
    /// From, to, ms.
    pub span: (i64, i64),
    /// Times of its words within the span, ms; none when only the line's are known.
    pub words: Option<Vec<(i64, i64)>>,
}

/// All that is said in an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Text {
    pub name: String,
    pub group: Group,
    /// Of queries, and of the sound.
    pub seed: u64,
    /// Names that are said.
    pub names: Vec<String>,
    pub lines: Vec<Line>,
}

/// Every event of the set.
pub fn all(tuned: &[u64], held_out: &[u64]) -> Vec<Text> {
    let mut texts = vec![landing()];
    texts.extend(tuned.iter().map(|&seed| made_up(seed, Group::Tuning)));
    texts.extend(held_out.iter().map(|&seed| made_up(seed, Group::HeldOut)));
    texts.push(readings());
    texts
}

/// The lines of a pool in an order and with names and numbers of a seed.
fn made_up(seed: u64, group: Group) -> Text {
    let random = &mut Random::new(seed, "find/text");
    let (templates, names) = match group {
        Group::Tuning => (&tuning::LINES, &TUNING),
        Group::HeldOut => (&held::LINES, &HELD),
    };
    let mut order: Vec<usize> = (0..templates.len()).collect();
    random.shuffle(&mut order);
    let (mut lines, mut said) = (Vec::new(), Vec::new());
    for n in order {
        let (template, half) = templates[n];
        let text = filled(template, names, random, &mut said);
        let speaker = random.below(VOICES.len());
        let parts: Vec<&str> = text.split(" | ").collect();
        for (n, part) in parts.iter().enumerate() {
            lines.push(Line {
                text: (*part).to_owned(),
                half: (n == 0).then(|| half.to_owned()),
                speaker,
                goes_on: n + 1 < parts.len(),
                recorded: None,
            });
        }
    }
    said.sort();
    said.dedup();
    Text {
        name: format!("seed {seed}"),
        group,
        seed,
        names: said,
        lines,
    }
}

/// A template with its slots filled; what names it was given.
fn filled(template: &str, names: &Names, random: &mut Random, said: &mut Vec<String>) -> String {
    let mut text = String::new();
    let mut rest = template;
    while let Some((before, after)) = rest.split_once('{') {
        let (slot, after) = after.split_once('}').expect("a slot ends");
        text.push_str(before);
        let pool = match slot {
            "p" => names.people,
            "f" => names.families,
            "l" => names.places,
            "t" => names.animals,
            _ => {
                text.push_str(NUMBERS[random.below(NUMBERS.len())].0);
                rest = after;
                continue;
            }
        };
        // Nobody is named twice in a line.
        let free: Vec<&&str> = pool.iter().filter(|name| !text.contains(**name)).collect();
        let name = free[random.below(free.len())];
        said.push((*name).to_string());
        text.push_str(name);
        rest = after;
    }
    text + rest
}

/// What an editor remembers of the demo's lines.
const LANDING: [(&str, &str); 26] = [
    ("letter-ottilie-1", "the bit about the kettle singing"),
    ("letter-ottilie-3", "missing the ferry the first time"),
    ("letter-ottilie-4", "the other oar went to live with otters"),
    ("letter-ottilie-6", "singing while mending nets"),
    ("letter-ottilie-7", "leave a lamp on in the window"),
    ("letter-ottilie-8", "grandma's green boots at the boathouse"),
    ("letter-corin-1", "the dog ate two letters"),
    (
        "letter-corin-3",
        "ring it for the living and for those out on the water",
    ),
    ("letter-corin-5", "toast burnt on only one side"),
    ("letter-corin-6", "sewing my name in the collar"),
    ("letter-corin-7", "the button in my pocket since the flood"),
    ("welcome-2", "the wet rope that caught an uncle"),
    ("welcome-4", "carrying sheep and an angry goose"),
    ("welcome-6", "marriage is a ferry that goes both ways"),
    ("reading-4", "a straw hat and a silver spoon"),
    ("reading-6", "old stones side by side under the water"),
    ("vows-corin-2", "listening to the hedgehog story"),
    ("vows-corin-3", "never painting the kitchen again"),
    ("vows-corin-4", "I will be your harbour and your wind"),
    ("vows-ottilie-2", "dry matches in each pocket"),
    ("vows-ottilie-3", "reading the map and not laughing"),
    ("rings-1", "the rings in a jam jar"),
    ("toast-jory-2", "the bathtub submarine behind the church"),
    ("toast-jory-4", "the aunt asked if he could clean fish"),
    ("toast-halvard-2", "broken bike and snails in his pocket"),
    (
        "toast-halvard-4",
        "the pear tree that would bloom for the wedding",
    ),
];

/// The lines of the demo.
fn landing() -> Text {
    let list = lines::list().expect("the dry lines");
    let lines = list.lines.iter().map(|entry| {
        let speaker = list.people.iter().position(|p| p.name == entry.speaker);
        let half = LANDING.iter().find(|(id, _)| *id == entry.id);
        Line {
            text: entry.text.clone(),
            half: half.map(|(_, half)| (*half).to_owned()),
            speaker: speaker.expect("one of the people"),
            goes_on: false,
            recorded: None,
        }
    });
    Text {
        name: "landing".into(),
        group: Group::Tuning,
        seed: 20,
        names: xtask::scene::demo::NAMES.map(str::to_owned).to_vec(),
        lines: lines.collect(),
    }
}

/// Real read passages: five sentences and a poem.
fn readings() -> Text {
    let mut lines = Vec::new();
    for (speaker, (file, words)) in sets::aligned_passages().into_iter().enumerate() {
        let end = words.last().map_or(0, |word| word.2) + 200;
        let texts: Vec<String> = words.iter().map(|word| normal(&word.0)).collect();
        lines.push(Line {
            text: texts.join(" "),
            half: None,
            speaker: speaker % VOICES.len(),
            goes_on: false,
            recorded: Some(Recorded {
                file,
                span: (0, end),
                words: Some(words.iter().map(|word| (word.1, word.2)).collect()),
            }),
        });
    }
    let sonnet = sets::sonnet();
    for line in sets::sonnet_lines() {
        let words: Vec<String> = line.words.split_whitespace().map(str::to_owned).collect();
        if words.len() < 4 {
            continue;
        }
        lines.push(Line {
            text: words.join(" "),
            half: None,
            speaker: 0,
            goes_on: false,
            recorded: Some(Recorded {
                file: sonnet.file.clone(),
                span: (line.from_ms, line.to_ms),
                words: None,
            }),
        });
    }
    Text {
        name: "readings".into(),
        group: Group::HeldOut,
        seed: 21,
        names: Vec::new(),
        lines,
    }
}
