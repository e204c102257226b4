//! One event from cards to a found line, twice: without a server and with one.

use std::path::Path;
use std::process::Command;

use serde_json::Value;

use super::{Bench, clock, cut, redacted, script};

/// Two recorders that heard three lines, and a note somebody left on a card.
fn cards(folder: &Path) {
    let lines = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/lines");
    let (lav, lectern) = (folder.join("Ottilie's lav"), folder.join("Lectern"));
    for recorder in [&lav, &lectern] {
        std::fs::create_dir_all(recorder).expect("a folder");
    }
    std::fs::write(lectern.join("notes.wav"), "buy milk").expect("a file");
    let said = lav.join("REC01.flac");
    let mut join = Command::new(xtask::oracle::ffmpeg());
    join.args(["-v", "error"]);
    for n in 1..=3 {
        join.arg("-i")
            .arg(lines.join(format!("letter-ottilie-{n}.flac")));
    }
    let pauses = "[0]apad=pad_dur=2[a];[1]apad=pad_dur=2[b];[a][b][2]concat=n=3:v=0:a=1";
    join.args(["-filter_complex", pauses]).arg(&said);
    assert!(join.status().expect("ffmpeg starts").success());
    // The lectern started 1.5 s sooner and stood further away.
    let made = Command::new(xtask::oracle::ffmpeg())
        .args(["-v", "error", "-i"])
        .arg(&said)
        .args([
            "-af",
            "adelay=1500,volume=0.4,aecho=1:0.6:37|61:0.5|0.35",
            "-ar",
            "48000",
        ])
        .arg(lectern.join("0001.wav"))
        .status();
    assert!(made.expect("ffmpeg starts").success());
}

/// Every list of the event, in JSON and without what differs between runs.
fn everything(bench: &Bench, event: &str) -> Vec<(String, Value)> {
    let shown = bench.json(&["event", "show", event, "--json"]);
    let recordings = shown["recordings"].as_array().expect("recordings").clone();
    let mut all = vec![
        ("event show".to_owned(), shown),
        (
            "event list".to_owned(),
            bench.json(&["event", "list", "--json"]),
        ),
        ("status".to_owned(), bench.json(&["status", "--json"])),
        (
            "find".to_owned(),
            bench.json(&["find", "the \"kettle will\" sing*", "--json"]),
        ),
        ("clock".to_owned(), bench.json(&["clock", event, "--json"])),
        (
            "model list".to_owned(),
            bench.json(&["model", "list", "--json"]),
        ),
    ];
    for recording in &recordings {
        let id = recording["id"].as_str().expect("an id");
        all.push((
            format!("words {id}"),
            bench.json(&["words", id, "--format", "json"]),
        ));
    }
    for (name, answer) in &mut all {
        match name.as_str() {
            "find" => answer["took_ms"] = Value::Null,
            // A rate is measured, and nobody measures once nothing is left.
            "status" => answer["rate"] = Value::Null,
            _ => {}
        }
    }
    all
}

fn of<'a>(all: &'a [(String, Value)], name: &str) -> &'a Value {
    let found = all.iter().find(|(named, _)| named.starts_with(name));
    &found.unwrap_or_else(|| panic!("no answer to {name}")).1
}

#[test]
fn an_event_is_found_on_every_recording_with_and_without_a_server() {
    let bench = Bench::new();
    cards(&bench.path("cards"));
    let event = bench.event("Ferry wedding");

    let added = bench.run(&["add", "Ferry wedding", "cards", "--json"]);
    // The note is refused; the recordings beside it are taken in all the same.
    assert_eq!(added.code, 1, "{}", added.err);
    insta::assert_snapshot!(redacted(&added.json(), bench.root.path()), @r#"
    {
      "accepted": [
        {
          "file": "[root]/cards/Lectern/0001.wav",
          "intake": "[id]"
        },
        {
          "file": "[root]/cards/Ottilie's lav/REC01.flac",
          "intake": "[id]"
        }
      ],
      "already": [],
      "failed": [],
      "refused": [
        {
          "file": "[root]/cards/Lectern/notes.wav",
          "reason": "[reason]"
        }
      ]
    }
    "#);

    let direct = everything(&bench, &event);
    insta::assert_snapshot!(redacted(of(&direct, "event show"), bench.root.path()), @r#"
    {
      "counts": {
        "recordings": 2,
        "segments": "[segments]",
        "sources": 2,
        "words": "[words]"
      },
      "created_at": "[time]",
      "date": null,
      "frame_rate": null,
      "id": "[id]",
      "intakes": [
        {
          "file": "notes.wav",
          "id": "[id]",
          "path": "[root]/cards/Lectern/notes.wav",
          "reason": "[reason]",
          "source": {
            "id": "[id]",
            "label": "Lectern",
            "placement": "ambient"
          },
          "state": "refused"
        }
      ],
      "languages": [],
      "names": 0,
      "recordings": [
        {
          "channels": "mix",
          "channels_why": "[channels_why]",
          "codec": "PCM, 16-bit integer",
          "container": "WAV",
          "duration_ms": "[duration_ms]",
          "error": null,
          "file": "0001.wav",
          "id": "[id]",
          "path": "[root]/cards/Lectern/0001.wav",
          "rate_hz": 48000,
          "segments": "[segments]",
          "source": {
            "id": "[id]",
            "label": "Lectern",
            "placement": "ambient"
          },
          "speech_ms": "[speech_ms]",
          "stamps": [
            {
              "at": "[time]",
              "kind": "file",
              "rate_hz": null,
              "samples": null
            }
          ],
          "state": "ready",
          "take": {
            "id": "[id]",
            "of": 1,
            "order": 1
          },
          "warnings": []
        },
        {
          "channels": "mix",
          "channels_why": "[channels_why]",
          "codec": "Free Lossless Audio Codec",
          "container": "FLAC",
          "duration_ms": "[duration_ms]",
          "error": null,
          "file": "REC01.flac",
          "id": "[id]",
          "path": "[root]/cards/Ottilie's lav/REC01.flac",
          "rate_hz": 16000,
          "segments": "[segments]",
          "source": {
            "id": "[id]",
            "label": "Ottilie's lav",
            "placement": "ambient"
          },
          "speech_ms": "[speech_ms]",
          "stamps": [
            {
              "at": "[time]",
              "kind": "file",
              "rate_hz": null,
              "samples": null
            }
          ],
          "state": "ready",
          "take": {
            "id": "[id]",
            "of": 1,
            "order": 1
          },
          "warnings": []
        }
      ],
      "sources": [
        {
          "id": "[id]",
          "label": "Lectern",
          "placement": "ambient",
          "wearer": null
        },
        {
          "id": "[id]",
          "label": "Ottilie's lav",
          "placement": "ambient",
          "wearer": null
        }
      ],
      "title": "Ferry wedding"
    }
    "#);
    insta::assert_snapshot!(redacted(of(&direct, "event list"), bench.root.path()), @r#"
    {
      "events": [
        {
          "counts": {
            "recordings": 2,
            "segments": "[segments]",
            "sources": 2,
            "words": "[words]"
          },
          "created_at": "[time]",
          "date": null,
          "frame_rate": null,
          "id": "[id]",
          "languages": [],
          "names": 0,
          "title": "Ferry wedding"
        }
      ]
    }
    "#);
    insta::assert_snapshot!(redacted(of(&direct, "find"), bench.root.path()), @r#"
    {
      "hits": [
        {
          "also": null,
          "doubt": null,
          "end_ms": "[end_ms]",
          "event": {
            "id": "[id]",
            "title": "Ferry wedding"
          },
          "guess": false,
          "heard_on": [
            {
              "end_ms": "[end_ms]",
              "play": "[play]",
              "rank": 1,
              "recording": {
                "file": "REC01.flac",
                "id": "[id]"
              },
              "source": {
                "id": "[id]",
                "label": "Ottilie's lav",
                "placement": "ambient"
              },
              "start_ms": "[start_ms]",
              "timecode": null,
              "verdict": "[verdict]",
              "why": [
                "[why]"
              ]
            },
            {
              "end_ms": "[end_ms]",
              "play": "[play]",
              "rank": 2,
              "recording": {
                "file": "0001.wav",
                "id": "[id]"
              },
              "source": {
                "id": "[id]",
                "label": "Lectern",
                "placement": "ambient"
              },
              "start_ms": "[start_ms]",
              "timecode": null,
              "verdict": "[verdict]",
              "why": [
                "[why]"
              ]
            }
          ],
          "language": "en",
          "match": "close",
          "matched": [
            "[2 spans]"
          ],
          "moment": "[id]",
          "not_heard_on": [],
          "part": null,
          "person": {
            "certainty": "[certainty]",
            "id": "[id]",
            "name": "speaker 1",
            "why": "by voice"
          },
          "runs_over": [],
          "score": "[score]",
          "start_ms": "[start_ms]",
          "text": "[text]",
          "version": "[version]"
        }
      ],
      "more": false,
      "query": "the \"kettle will\" sing*",
      "took_ms": null,
      "total": 1
    }
    "#);
    heard_by_both(of(&direct, "find"));
    clock::on_one_clock(of(&direct, "clock"));

    let mut server = bench.serve();
    assert!(server.said.contains("http://127.0.0.1:"), "{}", server.said);
    let served = everything(&bench, &event);
    for ((name, direct), (_, served)) in direct.iter().zip(&served) {
        assert_eq!(direct, served, "{name}");
    }
    adding_again_changes_nothing(&bench);
    let second = bench.run(&["serve", "--listen", "127.0.0.1:0"]);
    second.says(3, &["already works on", "--data"]);
    assert_eq!(server.stop(), 0);
    assert!(!bench.path("data/server.json").exists());

    for_people(&bench, &event);
    script::a_letter_is_found_by_its_text(&bench, &event);
    cut::quotes_are_collected(&bench, &event);
    clock::a_person_knows_better(&bench, &event);
}

/// The words and where they are, on both recorders.
fn heard_by_both(found: &Value) {
    let hit = &found["hits"][0];
    let text = hit["text"].as_str().unwrap_or_default().to_lowercase();
    assert!(text.contains("kettle will not stop sing"), "{found}");
    let heard = hit["heard_on"].as_array().expect("hearings");
    let labels: Vec<&str> = heard
        .iter()
        .filter_map(|h| h["source"]["label"].as_str())
        .collect();
    assert_eq!(labels.len(), 2, "{found}");
    let start = |label: &str| {
        let hearing = heard.iter().find(|h| h["source"]["label"] == label);
        hearing
            .and_then(|h| h["start_ms"].as_i64())
            .expect("a position")
    };
    // One heard the words, the other has them by the clock: its goal for any
    // instant is 10 ms, and each file rounds to a whole one.
    let apart = start("Lectern") - start("Ottilie's lav");
    assert!((apart - 1500).abs() <= 11, "{apart} ms apart: {found}");
}

fn adding_again_changes_nothing(bench: &Bench) {
    let again = bench.run(&[
        "add",
        "Ferry wedding",
        "--source",
        "Lectern",
        "cards/Lectern/0001.wav",
        "--json",
    ]);
    assert_eq!(again.code, 0, "{}", again.err);
    let again = again.json();
    assert_eq!(again["accepted"], serde_json::json!([]), "{again}");
    assert_eq!(
        again["already"].as_array().map(Vec::len),
        Some(1),
        "{again}"
    );
}

fn for_people(bench: &Bench, event: &str) {
    let found = bench.run(&["find", "kettle", "singing"]);
    found.says(0, &["1 line in"]);
    for part in [
        "kettle",
        "Ferry wedding",
        "Lectern (",
        "Ottilie's lav (",
        "00:00:0",
        "cards/Lectern/0001.wav",
        "cards/Ottilie's lav/REC01.flac",
    ] {
        assert!(found.out.contains(part), "no {part:?} in {}", found.out);
    }
    let shown = bench.run(&["event", "show", event]);
    shown.says(0, &[]);
    for part in [
        "Ferry wedding",
        "2 recordings",
        "Lectern",
        "ready",
        "notes.wav",
    ] {
        assert!(shown.out.contains(part), "no {part:?} in {}", shown.out);
    }
    let status = bench.run(&["status"]);
    status.says(0, &[]);
    assert!(status.out.contains("nothing left to do"), "{}", status.out);
    let json = bench.json(&["event", "show", event, "--json"]);
    let id = json["recordings"][0]["id"].as_str().expect("an id");
    let words = bench.run(&["words", id]);
    words.says(0, &[]);
    assert!(words.out.starts_with("00:00:0"), "{}", words.out);
    assert!(words.out.to_lowercase().contains("kettle"), "{}", words.out);
    for (format, begins) in [
        ("vtt", "WEBVTT\n\nNOTE\n"),
        ("srt", "1\n00:00:0"),
        ("ctm", ";; Recording: "),
        ("stm", ";; Recording: "),
    ] {
        let words = bench.run(&["words", id, "--format", format]);
        words.says(0, &[]);
        assert!(words.out.starts_with(begins), "{}", words.out);
        assert!(words.out.to_lowercase().contains("kettle"), "{}", words.out);
    }
}
