//! What is handed over, read by the programs that it is for: `OpenTimelineIO` 0.18.1, its
//! adapter `cmx_3600` (otio-cmx3600-adapter 1.0.0), webvtt-py 0.6.0, srt 3.5.3, Python's
//! readers of tables and HTML, NIST's md-eval.

mod list;
mod timeline;
mod whole_day;

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use sayback::core::timecode::FrameRate;
use sayback::export::cut::{Cut, CutFormat, Options, Written};
use serde_json::{Value, json};
use xtask::oracle;

use crate::export::md_eval;
use list::{NAMES, day, random_day};

/// A file, with the rate that a reader has to be told.
struct Job {
    kind: &'static str,
    file: Written,
    rate: f64,
}

/// What the readers find in each file.
fn read(jobs: &[Job]) -> Vec<Value> {
    let folder = tempfile::tempdir().expect("a folder");
    let asked = jobs.iter().enumerate().map(|(n, job)| {
        let path = folder.path().join(format!("{n}_{}", job.file.name));
        std::fs::write(&path, &job.file.text).expect("a file");
        json!({ "kind": job.kind, "path": path, "rate": job.rate })
    });
    let asked = Value::Array(asked.collect()).to_string();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/hand_over.py");
    let mut python = Command::new(oracle::python())
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut stdin = python.stdin.take().expect("a way in");
    stdin.write_all(asked.as_bytes()).expect("it listens");
    drop(stdin);
    let done = python.wait_with_output().expect("it ends");
    assert!(done.status.success(), "{done:?}");
    let found: Vec<Value> = serde_json::from_slice(&done.stdout).expect("JSON");
    assert_eq!(found.len(), jobs.len());
    found
}

fn written(cut: &Cut, format: CutFormat, options: &Options) -> Vec<Written> {
    let laid = cut.laid().expect("it can be cut");
    format.write(&laid, options).expect("it can be written")
}

fn job(cut: &Cut, format: CutFormat, kind: &'static str, options: &Options) -> Job {
    Job {
        kind,
        file: written(cut, format, options).remove(0),
        rate: cut.rate.per_second(),
    }
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("no number: {value}"))
}

fn array(value: &Value) -> &Vec<Value> {
    value
        .as_array()
        .unwrap_or_else(|| panic!("no list: {value}"))
}

/// Ours and OpenTimelineIO's labels of frames all over a day and about its minutes, and
/// the way back.
#[test]
fn labels_of_frames_are_those_of_opentimelineio() {
    let frames = |rate: FrameRate| -> Vec<u64> {
        // Where labels could be dropped it begins again after a day of the drop-frame
        // count even if none is, 86 s before all labels have been used.
        let drop = FrameRate::new(rate.fraction().0 as u32, rate.fraction().1 as u32, true);
        let day = drop.unwrap_or(rate).frames_in_a_day();
        let minute = day / 1_440;
        let spread = (0..day).step_by(1_009);
        let about = (1..1_440).flat_map(|n| [n * minute - 1, n * minute, n * minute + 3]);
        spread.chain(about).chain([day - 1]).collect()
    };
    let jobs: Vec<Job> = FrameRate::ALL
        .iter()
        .map(|rate| {
            let text = json!({ "drop": rate.is_drop(), "frames": frames(*rate) }).to_string();
            let name = "frames.json".into();
            Job {
                kind: "labels",
                file: Written { name, text },
                rate: rate.per_second(),
            }
        })
        .collect();
    for (found, rate) in read(&jobs).iter().zip(FrameRate::ALL) {
        let found = array(found);
        assert_eq!(found.len(), frames(rate).len());
        for (read, frame) in found.iter().zip(frames(rate)) {
            assert_eq!(
                read[0].as_str(),
                Some(&*rate.label(frame)),
                "{frame} at {rate}"
            );
            assert_eq!(number(&read[1]), frame as f64);
            assert_eq!(rate.frame_of(&rate.label(frame)), Ok(frame));
        }
    }
}

/// Cues of both kinds, at the milliseconds of the cut's clock; the words of all of them
/// are those of the list.
#[test]
fn captions_are_read_by_both_kinds_of_parsers() {
    let cut = day(FrameRate::R25);
    let options = Options::of(&cut);
    let found = read(&[
        job(&cut, CutFormat::Vtt, "vtt", &options),
        job(&cut, CutFormat::Srt, "srt", &options),
    ]);
    let (vtt, srt) = (array(&found[0]), array(&found[1]));
    assert_eq!(vtt.len(), srt.len());
    let laid = cut.laid().expect("it can be cut");
    let cues: Vec<(i64, &str)> = vtt
        .iter()
        .map(|cue| (cue[0].as_i64().expect("ms"), cue[2].as_str().expect("text")))
        .collect();
    for placed in laid.quotes() {
        let (start, end) = (laid.ms(placed.start), laid.ms(placed.end));
        let inside = cues.iter().filter(|(at, _)| (start..end).contains(at));
        let read: Vec<&str> = inside
            .flat_map(|(_, text)| text.split_whitespace())
            .collect();
        let said: Vec<&str> = placed.quote.text.split_whitespace().collect();
        assert_eq!(read, said, "quote {}", placed.number);
    }
    for (n, (a, b)) in vtt.iter().zip(srt).enumerate() {
        assert_eq!((&a[0], &a[1]), (&b[0], &b[1]));
        assert_eq!(b[3].as_u64(), Some(n as u64 + 1));
        // What WebVTT has as a voice, SubRip has in its text.
        let who = a[3]
            .as_str()
            .map_or(String::new(), |who| format!("{who}: "));
        let text = format!("{who}{}", a[2].as_str().expect("text"));
        let plain = text.replace('<', "‹").replace('>', "›").replace('\\', "/");
        let plain = plain.replace('{', "(").replace('}', ")");
        assert_eq!(b[2].as_str(), Some(&*plain));
    }
    let voices = vtt.iter().filter_map(|cue| cue[3].as_str());
    let voices: std::collections::BTreeSet<&str> = voices.collect();
    assert!(
        voices.contains("Ottilie & \"Tilly\", <née> Bell"),
        "{voices:?}"
    );
}

#[test]
fn tables_are_read_with_every_name() {
    let cut = day(FrameRate::R29_97_DROP);
    let options = Options {
        word_markers: true,
        ..Options::of(&cut)
    };
    let found = read(&[
        job(&cut, CutFormat::Csv, "csv", &options),
        job(&cut, CutFormat::Markers, "csv", &options),
    ]);
    let rows = array(&found[0]);
    assert_eq!(rows.len(), cut.quotes.len());
    for (row, quote) in rows.iter().zip(&cut.quotes) {
        let (take, media) = (&quote.takes[0], &cut.media[quote.takes[0].media]);
        assert_eq!(row["text"].as_str(), Some(&*guarded(&quote.text)));
        assert_eq!(row["file"].as_str(), Some(&*guarded(&media.file_name)));
        assert_eq!(row["from_sample"].as_str(), Some(&*take.from.to_string()));
        assert_eq!(row["online"] == "yes", media.online);
        let frame = |name: &str| {
            let label = row[name].as_str().expect("a label");
            cut.rate.frame_of(label).expect("a label that exists")
        };
        let day = cut.rate.frames_in_a_day();
        let taken = (frame("source_out") + day - frame("source_in")) % day;
        assert_eq!(taken, frame("cut_out") - frame("cut_in"));
    }
    let names: Vec<&str> = rows
        .iter()
        .filter_map(|row| row["person"].as_str())
        .collect();
    for name in NAMES {
        assert!(names.contains(&&*guarded(name)), "{name:?} in {names:?}");
    }
    let markers = array(&found[1]);
    let words: usize = cut.quotes.iter().map(|quote| quote.words.len()).sum();
    assert_eq!(markers.len(), cut.quotes.len() + words);
}

/// A name as it stands in a cell.
fn guarded(text: &str) -> String {
    let lines: Vec<String> = text
        .lines()
        .map(on_one_line)
        .filter(|l| !l.is_empty())
        .collect();
    let text = lines.join("\n");
    match text.starts_with(['=', '+', '-', '@']) {
        true => format!("'{text}"),
        false => text,
    }
}

/// Without control characters and marks of direction.
fn on_one_line(text: &str) -> String {
    let kept = text
        .chars()
        .filter(|c| !matches!(c, '\u{202E}' | '\u{200F}'));
    let blank: String = kept.map(|c| if c.is_control() { ' ' } else { c }).collect();
    blank.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_page_is_whole_and_says_what_was_said() {
    let cut = day(FrameRate::R24);
    let found = read(&[job(&cut, CutFormat::Page, "page", &Options::of(&cut))]);
    assert_eq!(found[0]["lost"], json!([]));
    let tags = array(&found[0]["tags"]);
    for absent in ["script", "link", "img", "a", "iframe"] {
        assert!(!tags.contains(&json!(absent)), "{tags:?}");
    }
    let quotes = array(&found[0]["quotes"]);
    assert_eq!(quotes.len(), cut.quotes.len());
    for (read, quote) in quotes.iter().zip(&cut.quotes) {
        assert_eq!(read["said"].as_str(), Some(&*on_one_line(&quote.text)));
        let who = quote.person.as_deref().map(on_one_line);
        assert_eq!(read["who"].as_str(), who.as_deref());
    }
    let page = written(&cut, CutFormat::Page, &Options::of(&cut))
        .remove(0)
        .text;
    for media in &cut.media {
        for private in [&media.target_url, &media.file_name, &media.id, &media.label] {
            assert!(!page.contains(private.as_str()), "{private}");
        }
    }
}

/// NIST's md-eval finds no fault with the file, and all of it speech.
#[test]
fn speakers_are_read_by_a_scorer() {
    let cut = day(FrameRate::R25);
    let rttm = written(&cut, CutFormat::Rttm, &Options::of(&cut))
        .remove(0)
        .text;
    let lines = rttm.lines().filter(|line| !line.starts_with(";;"));
    let seconds = |line: &str| line.split(' ').nth(4).and_then(|s| s.parse::<f64>().ok());
    let all: f64 = lines.filter_map(seconds).sum();
    let (time, missed) = md_eval(&rttm, &rttm);
    assert!(
        (time - all).abs() < 0.02 && missed == 0.0,
        "{time} of {all}: {missed}"
    );
}

/// 2,000 quotes in every format, and none is lost.
#[test]
fn two_thousand_quotes_are_all_read() {
    let cut = random_day(FrameRate::R25, 2_000);
    let options = Options::of(&cut);
    let mut jobs = vec![
        job(&cut, CutFormat::Otio, "otio", &options),
        job(&cut, CutFormat::Csv, "csv", &options),
        job(&cut, CutFormat::Srt, "srt", &options),
        job(&cut, CutFormat::Page, "page", &options),
    ];
    let lists = written(&cut, CutFormat::Edl, &options).into_iter();
    jobs.extend(lists.map(|file| Job {
        kind: "edl",
        file,
        rate: 25.0,
    }));
    assert_eq!(jobs.len(), 4 + 3, "999 events a list");
    let found = read(&jobs);
    timeline::is_the_cut(&found[0], &cut);
    assert_eq!(array(&found[1]).len(), 2_000);
    assert!(array(&found[2]).len() >= 2_000);
    assert_eq!(array(&found[3]["quotes"]).len(), 2_000);
    let events = found[4..].iter().map(|list| timeline::events(list).len());
    assert_eq!(events.collect::<Vec<_>>(), [999, 999, 2]);
}
