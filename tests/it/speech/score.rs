//! Word error rate by NIST's sclite, on words brought to one form.

use std::fs;
use std::process::Command;

use sayback::core::text::normal;
use xtask::oracle;

/// What sclite counts.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Errors {
    /// Words of the reference.
    pub words: u32,
    /// Words taken for others.
    pub substituted: u32,
    /// Words left out.
    pub deleted: u32,
    /// Words added.
    pub inserted: u32,
}

impl Errors {
    /// Word error rate in percent.
    pub fn percent(self) -> f64 {
        100.0 * f64::from(self.total()) / f64::from(self.words.max(1))
    }

    /// All errors.
    pub fn total(self) -> u32 {
        self.substituted + self.deleted + self.inserted
    }
}

/// Both sides of a comparison are written like this: hyphens part words; then
/// the normal form of search (lower case, no punctuation, no apostrophes);
/// titles and numbers up to twenty in letters.
pub fn plain(text: &str) -> String {
    const NUMBERS: [&str; 21] = [
        "zero",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
        "twenty",
    ];
    text.split(|c: char| c.is_whitespace() || c == '-' || c == '–' || c == '—')
        .map(normal)
        .filter(|word| !word.is_empty())
        .map(|word| match word.as_str() {
            "mr" => "mister".into(),
            "mrs" => "missus".into(),
            "ok" => "okay".into(),
            number => match number.parse::<usize>() {
                Ok(value) if value < NUMBERS.len() => NUMBERS[value].into(),
                _ => word,
            },
        })
        .collect::<Vec<String>>()
        .join(" ")
}

/// Scores utterances: name, what was said, what was heard.
pub fn errors(utterances: &[(String, String, String)]) -> Errors {
    let dir = tempfile::tempdir().expect("a scratch folder");
    let (said, heard) = (dir.path().join("said.trn"), dir.path().join("heard.trn"));
    let lines = |pick: fn(&(String, String, String)) -> &String| {
        utterances
            .iter()
            .map(|utterance| format!("{} ({})\n", plain(pick(utterance)), utterance.0))
            .collect::<String>()
    };
    fs::write(&said, lines(|utterance| &utterance.1)).expect("the reference");
    fs::write(&heard, lines(|utterance| &utterance.2)).expect("the hypothesis");
    let run = Command::new(oracle::sclite())
        .arg("-r")
        .arg(&said)
        .args(["trn", "-h"])
        .arg(&heard)
        .args(["trn", "-i", "rm", "-o", "pralign", "stdout"])
        .output()
        .expect("sclite runs");
    let text = String::from_utf8_lossy(&run.stdout).into_owned();
    let (errors, scored) = counted(&text);
    assert_eq!(
        scored,
        utterances.len(),
        "sclite scored every utterance: {text}"
    );
    errors
}

/// The sum of what an alignment report of sclite counts, and of how many utterances.
pub fn counted(report: &str) -> (Errors, usize) {
    // "Scores: (#C #S #D #I) 21 0 1 0", one line an utterance.
    let mut errors = Errors::default();
    let mut scored = 0;
    for line in report
        .lines()
        .filter_map(|line| line.strip_prefix("Scores: (#C #S #D #I)"))
    {
        let counts: Vec<u32> = line
            .split_whitespace()
            .filter_map(|n| n.parse().ok())
            .collect();
        let [correct, substituted, deleted, inserted] = counts[..] else {
            panic!("sclite's scores: {line}");
        };
        errors.words += correct + substituted + deleted;
        errors.substituted += substituted;
        errors.deleted += deleted;
        errors.inserted += inserted;
        scored += 1;
    }
    (errors, scored)
}
