//! A ceremony in two languages: what is kept of each.

use std::process::Command;

use sayback::core::Cancel;
use sayback::core::text::Names;
use sayback::core::units::FileMs;
use sayback::media::{ChannelPick, read_analysis};
use sayback::speech::{HeardWord, Known, Span, Whisper, default_threads, listen};
use xtask::oracle;

use super::{score, windows};

/// Lines of ours, in turn.
const LINES: [(&str, &str); 16] = [
    ("en", "Good afternoon, and welcome to our old boat house."),
    (
        "de",
        "Guten Tag und herzlich willkommen in unserem alten Bootshaus.",
    ),
    (
        "en",
        "We are here because two people have found each other.",
    ),
    (
        "de",
        "Wir sind hier, weil zwei Menschen sich gefunden haben.",
    ),
    (
        "en",
        "My grandmother came from the mountains with one small suitcase.",
    ),
    (
        "de",
        "Meine Großmutter kam mit einem kleinen Koffer aus den Bergen.",
    ),
    (
        "en",
        "She always said that a house needs a table and a song.",
    ),
    (
        "de",
        "Sie sagte immer, ein Haus braucht einen Tisch und ein Lied.",
    ),
    (
        "de",
        "Heute Abend essen wir zusammen, und morgen regnet es vielleicht.",
    ),
    ("en", "Tonight we eat together, and tomorrow it may rain."),
    ("de", "Bitte hebt eure Gläser auf das Brautpaar."),
    ("en", "Please raise your glasses to the happy couple."),
    ("en", "I will love you in the morning and in the evening."),
    ("de", "Ich werde dich am Morgen lieben und am Abend."),
    ("en", "Thank you all for coming such a long way."),
    (
        "de",
        "Ich danke euch allen, dass ihr von so weit gekommen seid.",
    ),
];

/// Word error rates by language and by what the model is told.
pub fn table() {
    let (samples, spans) = sound();
    let mut whisper = Whisper::load(&oracle::model("base"), default_threads()).expect("a model");
    println!(
        "\nbase, {} lines in turn, {} s",
        LINES.len(),
        samples.len() / 16_000
    );
    let none = Names::default();
    for (title, languages) in [
        ("en", &["en"][..]),
        ("de", &["de"]),
        ("automatic", &[]),
        ("en and de", &["en", "de"]),
    ] {
        let languages: Vec<String> = languages.iter().map(|&code| code.to_owned()).collect();
        let known = Known {
            glossary: &[],
            names: &none,
            languages: &languages,
        };
        let mut lines: Vec<Vec<HeardWord>> = vec![Vec::new(); LINES.len()];
        for passage in windows(&samples, &spans) {
            let heard = listen(&mut whisper, &passage, &known, &Cancel::new(), &mut |_| {});
            for (line, word) in heard.expect("words") {
                lines[line].push(word);
            }
        }
        let mut row = format!("{title:<12}");
        for language in ["en", "de"] {
            let own = || {
                LINES
                    .iter()
                    .zip(&lines)
                    .filter(|((own, _), _)| *own == language)
            };
            let utterances: Vec<(String, String, String)> = own()
                .enumerate()
                .map(|(n, ((_, said), words))| {
                    let texts: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
                    (format!("line_{n}"), (*said).to_owned(), texts.join(" "))
                })
                .collect();
            let right = own()
                .filter(|(_, words)| {
                    let told = words
                        .iter()
                        .filter(|w| w.language.as_deref() == Some(language));
                    2 * told.count() > words.len()
                })
                .count();
            row += &format!(
                "  {language}: {:.1} % word error rate, language right in {right} of {}",
                score::errors(&utterances).percent(),
                own().count()
            );
            if std::env::var_os("SHOW").is_some() {
                for (_, said, heard) in &utterances {
                    println!("  said {said}\n  heard {heard}");
                }
            }
        }
        println!("{row}");
    }
}

/// English by flite, German by espeak-ng, with half a second to a second between.
fn sound() -> (Vec<f32>, Vec<Span>) {
    let dir = tempfile::tempdir().expect("a scratch folder");
    let file = dir.path().join("line.wav");
    let mut samples = vec![0.0_f32; 8_000];
    let mut spans = Vec::new();
    for (n, (language, text)) in LINES.iter().enumerate() {
        let mut voice = if *language == "en" {
            let mut voice = Command::new(oracle::flite());
            voice.args(["-voice", "slt", "-t", text, "-o"]);
            voice
        } else {
            let mut voice = Command::new(oracle::espeak());
            voice.args(["-v", language, "-s", "140", text, "-w"]);
            voice
        };
        assert!(voice.arg(&file).status().expect("a voice").success());
        let length = sayback::media::probe(&file)
            .expect("a line's sound")
            .duration_ms;
        let end = FileMs(length);
        let dry = read_analysis(&file, ChannelPick::Mix, FileMs(0), end).expect("samples");
        let power: f32 = dry.iter().map(|s| s * s).sum::<f32>() / dry.len().max(1) as f32;
        let start = samples.len();
        samples.extend(dry.iter().map(|s| s * 0.08 / power.sqrt().max(1e-6)));
        let ms = |at: usize| FileMs((at / 16) as i64);
        spans.push(Span {
            start: ms(start),
            end: ms(samples.len()),
        });
        samples.extend(vec![0.0; 8_000 + 1_600 * (n % 5)]);
    }
    (samples, spans)
}
