//! Meetings with labels: nobody wears a microphone, nobody is named. Scored by NIST's
//! md-eval.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use sayback::core::signal::{DetectorParams, SpeechDetector};
use sayback::core::units::EventMs;
use sayback::core::voices::{Ear, Encoder, Found, Speaker};
use xtask::oracle;

use super::event::{Event, Heard, Line};

/// An excerpt.
pub struct Meeting {
    pub name: String,
    pub samples: Vec<f32>,
    /// Who speaks, from, to, s; by the labels.
    pub labels: Vec<(String, f64, f64)>,
}

/// Time that was scored, and what is wrong in it, s.
#[derive(Clone, Copy, Debug, Default)]
pub struct Errors {
    pub scored_s: f64,
    pub missed_s: f64,
    pub false_s: f64,
    pub speaker_s: f64,
}

impl Errors {
    /// Diarization error rate, %.
    pub fn rate(self) -> f64 {
        100.0 * (self.missed_s + self.false_s + self.speaker_s) / self.scored_s
    }
}

/// Whose speech is given to be told apart.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Speech {
    Detected,
    Labelled,
}

/// The excerpts of the unpacked `pyannote.audio` 4.0.7.
pub fn all(root: &Path) -> Vec<Meeting> {
    let data = root.join("tests/data");
    let mut meetings: Vec<Meeting> = Vec::new();
    for part in ["train", "development", "test"] {
        let path = data.join(format!("debug.{part}.rttm"));
        let text = std::fs::read_to_string(&path).expect("labels");
        for line in text.lines() {
            let fields: Vec<&str> = line.split_whitespace().collect();
            let number = |n: usize| fields[n].parse::<f64>().expect("a number");
            let (name, from_s) = (fields[1], number(3));
            // Without an accent: md-eval wants none.
            let label = (fields[7].replace('É', "E"), from_s, from_s + number(4));
            match meetings.iter_mut().find(|meeting| meeting.name == name) {
                Some(meeting) => meeting.labels.push(label),
                None => meetings.push(Meeting {
                    name: name.to_owned(),
                    samples: samples(&wav(&data, name)),
                    labels: vec![label],
                }),
            }
        }
    }
    meetings
}

/// The WAV called `name`, whose labels spell it without its accent.
fn wav(folder: &Path, name: &str) -> PathBuf {
    let plain = folder.join(format!("{name}.wav"));
    if plain.is_file() {
        return plain;
    }
    folder.join(format!("{}.wav", name.replacen('n', "ñ", 1)))
}

fn samples(path: &Path) -> Vec<f32> {
    let mut reader = hound::WavReader::open(path).expect("a recording");
    assert_eq!(
        (reader.spec().channels, reader.spec().sample_rate),
        (1, 16_000)
    );
    let samples: Result<Vec<f32>, _> = reader.samples::<f32>().collect();
    samples.expect("samples")
}

impl Meeting {
    /// The stretches of speech, listened to; nobody wears a microphone.
    pub fn event(&self, speech: Speech, encoder: &Encoder) -> Event {
        let stretches = match speech {
            Speech::Detected => self.detected(),
            Speech::Labelled => self.labelled(),
        };
        let mut ear = Ear::new(encoder);
        for (start, end) in &stretches {
            let at = |ms: i64| (ms.max(0) as usize * 16).min(self.samples.len());
            ear.hear(&self.samples[at(start.0)..at(end.0)]);
        }
        let heard = stretches.into_iter().zip(ear.finish());
        Event {
            stretches: heard
                .map(|((start, end), listened)| Heard {
                    start,
                    end,
                    heard_by: Vec::new(),
                    listened,
                })
                .collect(),
            worn: Vec::new(),
            lines: self.lines(),
        }
    }

    fn lines(&self) -> Vec<Line> {
        let names: BTreeSet<&String> = self.labels.iter().map(|(who, ..)| who).collect();
        let line = |(who, from, to): &(String, f64, f64)| {
            let (start_ms, end_ms) = (1_000.0 * from, 1_000.0 * to);
            Line {
                speaker: names.iter().position(|name| *name == who).unwrap_or(0),
                worn: false,
                start_ms,
                end_ms,
                spans_ms: vec![(start_ms, end_ms)],
            }
        };
        self.labels.iter().map(line).collect()
    }

    fn detected(&self) -> Vec<(EventMs, EventMs)> {
        let mut detector = SpeechDetector::new(DetectorParams::default());
        let mut segments = Vec::new();
        for piece in self.samples.chunks(1_600) {
            detector.push(piece, &mut segments);
        }
        detector.finish(&mut segments);
        let bounds = segments
            .iter()
            .map(|s| (EventMs(s.start.0), EventMs(s.end.0)));
        bounds.collect()
    }

    fn labelled(&self) -> Vec<(EventMs, EventMs)> {
        let mut spans: Vec<(i64, i64)> = self
            .labels
            .iter()
            .map(|(_, from, to)| ((1_000.0 * from) as i64, (1_000.0 * to) as i64))
            .collect();
        spans.sort_unstable();
        let mut joined: Vec<(EventMs, EventMs)> = Vec::new();
        for (from, to) in spans {
            match joined.last_mut() {
                Some((_, end)) if from <= end.0 => end.0 = end.0.max(to),
                _ => joined.push((EventMs(from), EventMs(to))),
            }
        }
        joined
    }
}

/// The same speech, all by one speaker: what any other answer has to beat.
pub fn one_for_all(found: &Found) -> Found {
    let mut found = found.clone();
    for turn in &mut found.turns {
        turn.speaker = Some(Speaker::Unnamed(1));
        turn.also = None;
    }
    found
}

/// md-eval's answer over all excerpts, on the whole of each.
pub fn errors(meetings: &[Meeting], found: &[Found], collar_s: f64) -> Errors {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut truth, mut said, mut whole) = (String::new(), String::new(), String::new());
    for (meeting, found) in meetings.iter().zip(found) {
        let name = &meeting.name;
        let length_s = meeting.samples.len() as f64 / 16_000.0;
        let _ = writeln!(whole, "{name} 1 0.000 {length_s:.3}");
        for (who, from, to) in &meeting.labels {
            speaker(&mut truth, name, *from, *to, who);
        }
        for turn in &found.turns {
            let (from, to) = (turn.start.0 as f64 / 1e3, turn.end.0 as f64 / 1e3);
            speaker(
                &mut said,
                name,
                from,
                to.min(length_s),
                &named(turn.speaker),
            );
            if turn.also.is_some() {
                speaker(&mut said, name, from, to.min(length_s), &named(turn.also));
            }
        }
    }
    let write = |ending: &str, text: &str| {
        let path = folder.path().join(ending);
        std::fs::write(&path, text).expect("room on the disk");
        path
    };
    let answer = Command::new("perl")
        .arg(oracle::md_eval())
        .args(["-c", &collar_s.to_string(), "-r"])
        .arg(write("truth.rttm", &truth))
        .arg("-s")
        .arg(write("said.rttm", &said))
        .arg("-u")
        .arg(write("whole.uem", &whole))
        .output()
        .expect("perl runs");
    let answer = String::from_utf8_lossy(&answer.stdout).into_owned();
    let read = |name: &str| seconds(&answer, name).unwrap_or_else(|| panic!("{name}: {answer}"));
    Errors {
        scored_s: read("SCORED SPEAKER TIME"),
        missed_s: read("MISSED SPEAKER TIME"),
        false_s: read("FALARM SPEAKER TIME"),
        speaker_s: read("SPEAKER ERROR TIME"),
    }
}

fn speaker(to: &mut String, name: &str, from: f64, until: f64, who: &str) {
    if until > from {
        let length = until - from;
        let _ = writeln!(
            to,
            "SPEAKER {name} 1 {from:.3} {length:.3} <NA> <NA> {who} <NA> <NA>"
        );
    }
}

fn named(speaker: Option<Speaker>) -> String {
    match speaker {
        Some(Speaker::Unnamed(number)) => format!("speaker{number}"),
        Some(Speaker::Person(number)) => format!("person{number}"),
        None => "unknown".to_owned(),
    }
}

/// The last figure of that name: that of all files together.
fn seconds(answer: &str, name: &str) -> Option<f64> {
    let line = answer
        .lines()
        .rfind(|line| line.trim_start().starts_with(name))?;
    let (_, figures) = line.split_once('=')?;
    figures.split_whitespace().next()?.parse().ok()
}
