//! `cargo bench --bench names`: how many of an event's names are written where they
//! are said, and how many where they are not, by way of telling the model; and what
//! becomes of speech without names, and of two languages in one event.
//!
//! `SEEDS=11,12` are the events, `MODELS=tiny.en` the models; `SHOW=1` prints lines.

#[path = "names/languages.rs"]
mod languages;
#[path = "words/processor.rs"]
mod processor;
#[path = "names/scene.rs"]
mod scene;
#[path = "../it/speech/score.rs"]
mod score;
// The lines of the poem are of no use here.
#[allow(dead_code)]
#[path = "../it/speech/sets.rs"]
mod sets;

use std::collections::HashMap;

use processor::processor_time;
use sayback::core::Cancel;
use sayback::core::text::{HeardText, NameSaid, Names, normal, parts};
use sayback::core::units::FileMs;
use sayback::media::{ChannelPick, read_analysis};
use sayback::speech::{
    Ask, HeardWord, Known, Passage, Recogniser, Span, SpeechError, Whisper, default_threads,
    listen, pack,
};
use scene::Scene;
use xtask::oracle;

/// Events that nothing was chosen by.
const SEEDS: &str = "11,12";
const WAYS: [&str; 5] = [
    "told nothing",
    "told always",
    "by sound",
    "told again",
    "both",
];

fn main() {
    let of = |name: &str, or: &str| std::env::var(name).unwrap_or_else(|_| or.to_owned());
    for model in of("MODELS", "tiny.en").split(',') {
        let mut ears = Ears::load(model);
        let seeds: Vec<u64> = of("SEEDS", SEEDS)
            .split(',')
            .map(|s| s.parse().expect("a number"))
            .collect();
        let mut all = [Counts::default(); WAYS.len()];
        for seed in seeds {
            let scene = Scene::new(seed);
            println!(
                "\n{model}, event {seed}: {} names in the list, {} s",
                scene.glossary.len(),
                scene.samples.len() / 16_000
            );
            let heard = every_way(&mut ears, &scene);
            for (way, (lines, all)) in heard.iter().zip(&mut all).enumerate() {
                let counts = counted(&scene, lines);
                println!("{:<14}{}", WAYS[way], counts.row());
                all.add(counts);
            }
            println!("{}", costs(&mut ears));
            if std::env::var_os("SHOW").is_some() {
                show(&scene, &heard);
            }
        }
        println!("\n{model}, all");
        for (way, counts) in WAYS.iter().zip(all) {
            println!("{way:<14}{}", counts.row());
        }
        without_names(model, &mut ears);
    }
    if of("LANGUAGES", "1") == "1" {
        languages::table();
    }
}

/// A model that hears nothing twice that it heard before, and counts.
struct Ears {
    inner: Whisper,
    heard: HashMap<(u64, Option<String>, Option<String>), Vec<HeardWord>>,
    /// Of hearings that were told nothing, and of those again that were told names.
    first: Cost,
    again: Cost,
}

/// What hearing some sound took of the processor.
#[derive(Clone, Copy, Default)]
struct Cost {
    sound_s: f64,
    processor_s: f64,
}

impl Cost {
    fn add(&mut self, other: Self) {
        self.sound_s += other.sound_s;
        self.processor_s += other.processor_s;
    }
}

/// What a block took: each beside the other.
fn costs(ears: &mut Ears) -> String {
    let (first, again) = (
        std::mem::take(&mut ears.first),
        std::mem::take(&mut ears.again),
    );
    format!(
        "heard {:.0} s of sound in {:.1} s of the processor, again {:.0} s in {:.1} s",
        first.sound_s, first.processor_s, again.sound_s, again.processor_s
    )
}

impl Ears {
    fn load(model: &str) -> Self {
        Self {
            inner: Whisper::load(&oracle::model(model), default_threads()).expect("a model"),
            heard: HashMap::new(),
            first: Cost::default(),
            again: Cost::default(),
        }
    }
}

impl Recogniser for Ears {
    fn recognise(
        &mut self,
        samples: &[f32],
        ask: &Ask,
        cancel: &Cancel,
        progress: &mut dyn FnMut(f32),
    ) -> Result<Vec<HeardWord>, SpeechError> {
        let sum = samples.iter().fold(0_u64, |sum, s| {
            sum.rotate_left(5).wrapping_mul(0x0100_0000_01b3) ^ u64::from(s.to_bits())
        });
        let key = (sum, ask.language.clone(), ask.prompt.clone());
        if let Some(words) = self.heard.get(&key) {
            return Ok(words.clone());
        }
        let before = processor_time();
        let words = self.inner.recognise(samples, ask, cancel, progress)?;
        let cost = Cost {
            sound_s: samples.len() as f64 / 16_000.0,
            processor_s: (processor_time() - before).as_secs_f64(),
        };
        match (ask.brief, &ask.prompt) {
            (true, _) => self.again.add(cost),
            (false, None) => self.first.add(cost),
            (false, Some(_)) => {}
        }
        self.heard.insert(key, words.clone());
        Ok(words)
    }

    fn languages(
        &mut self,
        samples: &[f32],
        among: &[String],
    ) -> Result<Vec<(String, f32)>, SpeechError> {
        let before = processor_time();
        let likely = self.inner.languages(samples, among)?;
        self.first.processor_s += (processor_time() - before).as_secs_f64();
        Ok(likely)
    }
}

/// The windows of some samples.
fn windows(samples: &[f32], spans: &[Span]) -> Vec<Passage> {
    let sample = |ms: FileMs| (ms.0.max(0) as usize * 16).min(samples.len());
    let mut read = |from, to| Ok::<_, ()>(samples[sample(from)..sample(to)].to_vec());
    let end = FileMs((samples.len() / 16) as i64);
    let windows = pack(spans, end).into_iter();
    windows
        .map(|window| window.assemble(&mut read).expect("samples"))
        .collect()
}

/// Words of each line, by way.
fn every_way(ears: &mut Ears, scene: &Scene) -> Vec<Vec<Vec<String>>> {
    let (none, names) = (Names::default(), Names::new(&scene.glossary));
    let mut heard: Vec<Vec<Vec<String>>> = vec![vec![Vec::new(); scene.lines.len()]; WAYS.len()];
    let told = format!("{}.", scene.glossary.join(", "));
    for passage in windows(&scene.samples, &scene.spans) {
        let plain = known(&scene.glossary, &none);
        let with = known(&scene.glossary, &names);
        let untold = hear(ears, &passage, &plain);
        let ask = Ask {
            prompt: Some(told.clone()),
            ..Ask::default()
        };
        let always = ears.recognise(passage.samples(), &ask, &Cancel::new(), &mut |_| {});
        let always = passage.place(always.expect("words"));
        let again = hear(ears, &passage, &with);
        let texts = |words: &[HeardWord]| -> Vec<String> {
            words.iter().map(|word| word.text.clone()).collect()
        };
        let ways: [&dyn Fn(usize) -> Vec<String>; WAYS.len()] = [
            &|line| texts(&own(&untold, line)),
            &|line| texts(&own(&always, line)),
            &|line| by_sound(&names, &own(&untold, line)),
            &|line| texts(&own(&again, line)),
            &|line| by_sound(&names, &own(&again, line)),
        ];
        for (lines, way) in heard.iter_mut().zip(ways) {
            for (line, words) in lines.iter_mut().enumerate() {
                words.extend(way(line));
            }
        }
    }
    heard
}

/// The words of one line.
fn own(words: &[(usize, HeardWord)], line: usize) -> Vec<HeardWord> {
    let own = words.iter().filter(|(n, _)| *n == line);
    own.map(|(_, word)| word.clone()).collect()
}

fn known<'a>(glossary: &'a [String], names: &'a Names) -> Known<'a> {
    Known {
        glossary,
        names,
        languages: &[],
    }
}

fn hear(ears: &mut Ears, passage: &Passage, known: &Known<'_>) -> Vec<(usize, HeardWord)> {
    listen(ears, passage, known, &Cancel::new(), &mut |_| {}).expect("words")
}

/// The names that the jobs put in by sound: what a second hearing found stays.
fn put_in(names: &Names, words: &[HeardWord]) -> Vec<NameSaid> {
    let heard: Vec<HeardText> = words.iter().map(Into::into).collect();
    let mut said = names.said(&heard);
    said.retain(|name| {
        words[name.from..name.to]
            .iter()
            .all(|word| word.heard.is_none())
    });
    said
}

fn by_sound(names: &Names, words: &[HeardWord]) -> Vec<String> {
    let (mut made, mut at) = (Vec::new(), 0);
    for name in put_in(names, words) {
        made.extend(words[at..name.from].iter().map(|word| word.text.clone()));
        made.extend(name.words);
        at = name.to;
    }
    made.extend(words[at..].iter().map(|word| word.text.clone()));
    made
}

/// What names came to.
#[derive(Clone, Copy, Default)]
struct Counts {
    said: usize,
    found: usize,
    invented: usize,
    errors: score::Errors,
}

impl Counts {
    fn add(&mut self, other: Self) {
        self.said += other.said;
        self.found += other.found;
        self.invented += other.invented;
        self.errors.words += other.errors.words;
        self.errors.substituted += other.errors.substituted;
        self.errors.deleted += other.errors.deleted;
        self.errors.inserted += other.errors.inserted;
    }

    fn row(&self) -> String {
        format!(
            "names said {:>4}  written {:>4} ({:>4.1} %)  where not said {:>3}  word error rate {:.1} %",
            self.said,
            self.found,
            100.0 * self.found as f64 / self.said.max(1) as f64,
            self.invented,
            self.errors.percent()
        )
    }
}

fn counted(scene: &Scene, heard: &[Vec<String>]) -> Counts {
    let mut counts = Counts::default();
    let mut utterances = Vec::new();
    for (n, (line, heard)) in scene.lines.iter().zip(heard).enumerate() {
        let said: Vec<String> = line.text.split(' ').map(str::to_owned).collect();
        for name in &scene.glossary {
            let (said, found) = (times(&said, name), times(heard, name));
            counts.said += said;
            counts.found += said.min(found);
            counts.invented += found.saturating_sub(said);
        }
        utterances.push((format!("line_{n}"), line.text.clone(), heard.join(" ")));
    }
    counts.errors = score::errors(&utterances);
    counts
}

/// How often a name stands in words, with the s of a genitive or of a family or without.
fn times(words: &[String], name: &str) -> usize {
    let name: Vec<String> = name.split(' ').map(normal).collect();
    let words: Vec<String> = words.iter().flat_map(|word| parts(word)).collect();
    let is_here = |at: usize| {
        let there = words.get(at..at + name.len());
        there.is_some_and(|there| {
            there.iter().zip(&name).enumerate().all(|(n, (word, own))| {
                let s = (n + 1 == name.len())
                    .then(|| word.strip_suffix('s'))
                    .flatten();
                word == own || s == Some(own)
            })
        })
    };
    (0..words.len()).filter(|at| is_here(*at)).count()
}

fn show(scene: &Scene, heard: &[Vec<Vec<String>>]) {
    for (n, line) in scene.lines.iter().enumerate() {
        println!("  said          {}", line.text);
        for (way, lines) in WAYS.iter().zip(heard) {
            println!("  {way:<14}{}", lines[n].join(" "));
        }
    }
}

/// Real speech with the names of a made-up event, few and 5,000.
fn without_names(model: &str, ears: &mut Ears) {
    let scene = Scene::glossary_of(11);
    let many = scene::thousands();
    let mut samples = sets::passages();
    samples.push(sets::sonnet());
    samples.push(sets::telephone());
    println!("\n{model}, real speech without the names of the list");
    for (title, glossary) in [
        ("no names", &Vec::new()),
        ("its names", &scene),
        ("5,000 names", &many),
    ] {
        let names = Names::new(glossary);
        let mut put = 0;
        let mut utterances = Vec::new();
        for sample in &samples {
            let length = sayback::media::probe(&sample.file)
                .expect("a recording")
                .duration_ms;
            let end = FileMs(length);
            let sound =
                read_analysis(&sample.file, ChannelPick::Mix, FileMs(0), end).expect("samples");
            let whole = [Span {
                start: FileMs(0),
                end,
            }];
            let mut words = Vec::new();
            for passage in windows(&sound, &whole) {
                words.extend(
                    hear(ears, &passage, &known(glossary, &names))
                        .into_iter()
                        .map(|(_, w)| w),
                );
            }
            let made = by_sound(&names, &words);
            if std::env::var_os("SHOW").is_some() {
                let first: Vec<&str> = words
                    .iter()
                    .map(|w| w.heard.as_deref().unwrap_or(&w.text))
                    .collect();
                println!("  heard {}\n  made  {}", first.join(" "), made.join(" "));
            }
            let heard = words
                .iter()
                .filter(|w| w.heard.as_deref().is_some_and(|h| !h.is_empty()));
            put += heard.count();
            put += put_in(&names, &words).len();
            utterances.push((sample.name.clone(), sample.words.clone(), made.join(" ")));
        }
        let errors = score::errors(&utterances);
        println!(
            "{title:<14}word error rate {:.1} % ({} of {} words), names put in {put}; {}",
            errors.percent(),
            errors.total(),
            errors.words,
            costs(ears)
        );
    }
}
