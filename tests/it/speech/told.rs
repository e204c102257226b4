//! What the model is told before it listens: names, and which languages may be spoken.

use std::path::{Path, PathBuf};
use std::process::Command;

use sayback::core::Cancel;
use sayback::core::text::{Names, normal};
use sayback::core::units::FileMs;
use sayback::media::{ChannelPick, probe, read_analysis};
use sayback::speech::{
    Ask, HeardWord, Known, Passage, Recogniser as _, Span, Whisper, listen, pack,
};
use xtask::oracle;
use xtask::scene::lines;
use xtask::scene::noise::applause;
use xtask::scene::random::Random;

/// Some files one after the other, a second apart, and the window that holds them.
fn window(files: &[PathBuf]) -> Passage {
    let mut samples = Vec::new();
    let mut spans = Vec::new();
    for file in files {
        let end = FileMs(probe(file).expect("a line").duration_ms);
        let start = samples.len();
        samples.extend(read_analysis(file, ChannelPick::Mix, FileMs(0), end).expect("samples"));
        let ms = |at: usize| FileMs((at / 16) as i64);
        spans.push(Span {
            start: ms(start),
            end: ms(samples.len()),
        });
        samples.extend(vec![0.0; 16_000]);
    }
    let windows = pack(&spans, FileMs((samples.len() / 16) as i64));
    assert_eq!(windows.len(), 1);
    let at = |ms: FileMs| (ms.0 as usize * 16).min(samples.len());
    let mut read = |from, to| Ok::<_, ()>(samples[at(from)..at(to)].to_vec());
    windows[0].assemble(&mut read).expect("a window")
}

fn hear(model: &mut Whisper, files: &[PathBuf], known: &Known<'_>) -> Vec<(usize, HeardWord)> {
    listen(model, &window(files), known, &Cancel::new(), &mut |_| {}).expect("words")
}

#[test]
fn told_names_are_written_where_they_are_said_and_all_else_stays() {
    let mut model = Whisper::load(&oracle::model("tiny.en"), 1).expect("a model");
    let files: Vec<PathBuf> = ["letter-corin-1", "welcome-1", "to-vows-1", "to-vows-2"]
        .map(|id| lines::folder().join(format!("{id}.flac")))
        .into();
    let glossary = [
        "Ottilie",
        "Corin",
        "Jory",
        "Tarrow Landing",
        "Zephyrine",
        "Mary",
    ];
    let glossary = glossary.map(str::to_owned);
    let none = Names::default();
    let untold = Known {
        glossary: &[],
        names: &none,
        languages: &[],
    };
    let plain = hear(&mut model, &files, &untold);
    let names = Names::new(&glossary);
    let told = Known {
        glossary: &glossary,
        names: &names,
        ..untold
    };
    let told = hear(&mut model, &files, &told);
    let text = |words: &[(usize, HeardWord)]| -> Vec<String> {
        words.iter().map(|(_, word)| word.text.clone()).collect()
    };
    let put: Vec<&(usize, HeardWord)> = told.iter().filter(|w| w.1.heard.is_some()).collect();
    assert!(!put.is_empty(), "{:?} {:?}", text(&plain), text(&told));
    for (line, word) in &put {
        // Who is named in each line.
        let said: &[&str] = match line {
            0 | 3 => &["ottilie"],
            1 => &["tarrow", "landing"],
            _ => &["jory", "corin"],
        };
        assert!(
            said.contains(&normal(&word.text).as_str()),
            "{line} {word:?}"
        );
    }
    // With what was heard in their place, the words are those of the first hearing.
    let heard: Vec<String> = told
        .iter()
        .map(|(_, word)| word.heard.clone().unwrap_or_else(|| word.text.clone()))
        .filter(|text| !text.is_empty())
        .collect();
    assert_eq!(heard.join(" "), text(&plain).join(" "));
}

/// Of ten rounds of applause the model, told names, wrote 264 words it was sure of, when
/// nothing told that nobody speaks.
#[test]
fn told_names_nothing_is_heard_in_applause() {
    let mut model = Whisper::load(&oracle::model("tiny.en"), 1).expect("a model");
    let ask = Ask {
        prompt: Some("Zephyrine, Ottilie, Corin, Tarrow Landing.".into()),
        ..Ask::default()
    };
    for n in 0..10_u32 {
        let claps = applause(8.0 + f64::from(n), Random::new(1 + u64::from(n), "claps"));
        let claps: Vec<f32> = claps.iter().map(|sample| sample * 0.1).collect();
        let heard = model.recognise(&claps, &ask, &Cancel::new(), &mut |_| {});
        assert_eq!(heard.expect("an answer"), [], "round {n}");
    }
}

fn spoken(language: &str, text: &str, file: &Path) -> PathBuf {
    let mut voice = Command::new(oracle::espeak());
    voice.args(["-v", language, "-s", "140", text, "-w"]);
    assert!(voice.arg(file).status().expect("a voice").success());
    file.to_owned()
}

/// Nobody says which; English by a voice of our lines, German by espeak-ng.
#[test]
fn a_ceremony_in_two_languages_keeps_both() {
    let mut model = Whisper::load(&oracle::model("base"), 2).expect("a model");
    let dir = tempfile::tempdir().expect("a scratch folder");
    let files = [
        lines::folder().join("welcome-1.flac"),
        spoken(
            "de",
            "Wir sind hier, weil zwei Menschen sich gefunden haben.",
            &dir.path().join("german.wav"),
        ),
    ];
    let none = Names::default();
    let known = Known {
        glossary: &[],
        names: &none,
        languages: &[],
    };
    let words = hear(&mut model, &files, &known);
    for (n, language, said) in [(0, "en", "welcome"), (1, "de", "menschen")] {
        let own = || words.iter().filter(|(line, _)| *line == n);
        let mut own_language = own().map(|(_, word)| word.language.as_deref());
        assert!(own_language.all(|code| code == Some(language)), "{words:?}");
        assert!(
            own().any(|(_, word)| normal(&word.text) == said),
            "{words:?}"
        );
    }
}
