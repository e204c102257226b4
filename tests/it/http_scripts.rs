//! Written texts: kept, found in what was said, and what follows from that. On recordings
//! of a letter that is read twice, heard by two recorders and written down by tiny.en.

use axum::http::Method;
use serde_json::{Value, json};
use xtask::scene::lines;

use crate::app::{Reply, TestApp};
use crate::landing::Landing;

/// What is said: the letter without the sentence of the porridge; something else; the
/// letter from its fourth line on, where another line is left out.
const SAID: [&str; 13] = [
    "letter-ottilie-1",
    "letter-ottilie-2",
    "letter-ottilie-3",
    "letter-ottilie-4",
    "letter-ottilie-5",
    "letter-ottilie-6",
    "letter-ottilie-7",
    "letter-ottilie-8",
    "welcome-2",
    "letter-ottilie-4",
    "letter-ottilie-5",
    "letter-ottilie-7",
    "letter-ottilie-8",
];

/// The sentences of the written letter that each line says, as the answer counts them.
const SENTENCES: [(&str, &[usize]); 8] = [
    ("letter-ottilie-1", &[0, 1]),
    ("letter-ottilie-2", &[2]),
    ("letter-ottilie-3", &[3]),
    ("letter-ottilie-4", &[4]),
    ("letter-ottilie-5", &[5]),
    ("letter-ottilie-6", &[6]),
    ("letter-ottilie-7", &[8]),
    ("letter-ottilie-8", &[9, 10]),
];
const PORRIDGE: usize = 7;

fn letter() -> String {
    let file = lines::folder().join("texts/letter-ottilie.txt");
    std::fs::read_to_string(file).expect("the letter")
}

fn add(app: &TestApp, event: &str, body: &Value) -> Reply {
    app.post(&format!("/events/{event}/scripts"), body)
}

fn send(app: &TestApp, method: Method, path: &str, body: &Value) -> Reply {
    let kind = [("content-type", "application/json")];
    app.send(method, path, &kind, body.to_string().into_bytes())
}

#[test]
fn texts_are_kept_changed_and_removed() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let reply = add(
        &app,
        &event,
        &json!({"title": " The  letter ", "text": letter()}),
    );
    assert_eq!(reply.status, 201);
    let script = reply.json();
    assert_eq!(
        (&script["title"], &script["version"]),
        (&json!("The letter"), &json!(1))
    );
    let sentences = script["sentences"].as_array().expect("sentences");
    assert_eq!(sentences.len(), 12, "{script:#}");
    assert_eq!(
        sentences[PORRIDGE],
        "I love that you salt your porridge and think nobody sees."
    );
    let id = script["id"].as_str().expect("an id");
    let path = format!("/scripts/{id}");
    assert_eq!(app.get(&path).json(), script);

    let list = app.get("/events/Boathouse/scripts").json();
    assert_eq!(list["scripts"][0]["id"], id);
    assert!(
        list["scripts"][0]["words"]
            .as_u64()
            .is_some_and(|n| n > 120),
        "{list}"
    );
    assert_eq!(list["scripts"][0].get("text"), None);

    let change = json!({"version": 1, "title": "Vows", "text": "I will row.", "part": "vows"});
    let changed = send(&app, Method::PUT, &path, &change).json();
    assert_eq!(
        (&changed["version"], &changed["part"]),
        (&json!(2), &json!("vows"))
    );
    let late = send(&app, Method::PUT, &path, &change).problem(409);
    assert_eq!(late["version"], 2);

    for (body, field) in [
        (json!({"title": " ", "text": "x"}), "title"),
        (json!({"title": "x".repeat(201), "text": "x"}), "title"),
        (json!({"title": "x", "text": "… —"}), "text"),
        (json!({"title": "x", "text": "x".repeat(200_001)}), "text"),
        (json!({"title": "x", "text": "x", "part": "\u{1b}"}), "part"),
    ] {
        assert_eq!(add(&app, &event, &body).problem(422)["field"], field);
    }
    add(&app, "nobody", &json!({"title": "x", "text": "x"})).problem(404);

    // Nothing was said yet: nothing is found, and that is no error.
    let found = app.get(&format!("{path}/passes")).json();
    assert_eq!(
        (&found["passes"], &found["most_complete"]),
        (&json!([]), &Value::Null)
    );
    let none = app.get(&format!("{path}/captions")).problem(404);
    assert_eq!(none["type"], "urn:sayback:problem:no-such-pass");
    let part = json!({"name": "vows", "pass": 1});
    app.post(&format!("{path}/part"), &part).problem(404);

    assert_eq!(app.send(Method::DELETE, &path, &[], Vec::new()).status, 204);
    app.get(&path).problem(404);
    app.get(&format!("{path}/passes")).problem(404);
}

#[test]
fn a_letter_is_found_in_both_passes_with_what_was_skipped() {
    let landing = Landing::saying(&SAID);
    let app = &landing.app;
    let reply = add(
        app,
        &landing.event,
        &json!({"title": "Letter", "text": letter()}),
    );
    let id = reply.json()["id"].as_str().expect("an id").to_owned();
    let path = format!("/scripts/{id}");
    let found = app.get(&format!("{path}/passes")).json();
    let passes = found["passes"].as_array().expect("passes").clone();
    assert_eq!(passes.len(), 2, "{found:#}");
    assert_eq!(
        (&found["most_complete"], &found["moments_unwritten"]),
        (&json!(1), &json!(0))
    );

    // The signature is not said in the recordings.
    assert_eq!(passes[0]["left_out"], json!([PORRIDGE, 11]));
    assert_eq!(passes[1]["left_out"], json!([0, 1, 2, 3, 6, PORRIDGE, 11]));
    every_sentence_lies_in_its_line(&landing, &passes);
    the_best_hearing_is_named(&landing, &passes);

    captions_are_what_was_written(&landing, &path, &passes);
    a_part_is_marked(&landing, &path, &passes[1]);
    a_correction_counts_at_once(&landing, &path, &passes[0]);
}

/// By the truth of the scene: each line's start and end on the event clock.
fn every_sentence_lies_in_its_line(landing: &Landing, passes: &[Value]) {
    let truth = &landing.truth.lines;
    for (pass, lines) in passes.iter().zip([0..8, 9..13]) {
        for line in lines {
            let line = &truth[line];
            let own = SENTENCES
                .iter()
                .find(|(id, _)| *id == line.id)
                .expect("a line");
            for sentence in own.1 {
                let said = &pass["sentences"][*sentence]["said"];
                let at = |which: &str| said[which].as_f64().unwrap_or(f64::NAN);
                let (start, end) = (at("start_ms"), at("end_ms"));
                // A word's time is right to 150 ms.
                let inside = start >= line.start_ms - 150.0 && end <= line.end_ms + 150.0;
                assert!(inside, "{sentence}: {said:#} in {line:?}");
            }
        }
    }
}

fn the_best_hearing_is_named(landing: &Landing, passes: &[Value]) {
    for pass in passes {
        for sentence in pass["sentences"].as_array().expect("sentences") {
            let said = &sentence["said"];
            if said.is_null() {
                continue;
            }
            let best = &said["best"];
            assert_eq!(best["rank"], 1, "{said:#}");
            let play = best["play"].as_str().expect("a fragment");
            assert!(play.contains("/audio#t="), "{play}");
            let audio = play.split('#').next().expect("a path");
            let headers = [("range", "bytes=0-99")];
            let reply = landing
                .app
                .send_to(Method::GET, audio, &headers, Vec::new());
            assert!(matches!(reply.status, 200 | 206), "{}", reply.status);
        }
        // As the search ranks them: every moment's first hearing.
        let best = &pass["best"];
        let labels = ["Corin, lapel", "Camera"];
        assert!(
            labels.contains(&best["source"]["label"].as_str().expect("a label")),
            "{best}"
        );
        let lasts =
            |of: &Value| of["end_ms"].as_f64().expect("ms") - of["start_ms"].as_f64().expect("ms");
        assert!((lasts(best) - lasts(pass)).abs() < 100.0, "{best} {pass}");
    }
}

fn captions_are_what_was_written(landing: &Landing, path: &str, passes: &[Value]) {
    let app = &landing.app;
    let reply = app.get(&format!("{path}/captions?pass=2&format=srt"));
    assert_eq!(reply.status, 200);
    assert!(
        reply
            .header("content-type")
            .starts_with("application/x-subrip")
    );
    assert!(reply.header("content-disposition").contains("Letter.srt"));
    let srt = String::from_utf8(reply.body).expect("UTF-8");
    let flat = srt.lines().collect::<Vec<_>>().join(" ");
    for (written, there) in [
        ("lost oar ever", true),
        ("porridge", false),
        ("kettle", false),
    ] {
        assert_eq!(flat.contains(written), there, "{written}\n{srt}");
    }
    let start = passes[1]["start_ms"].as_i64().expect("ms");
    let shown = |ms: i64| {
        format!(
            "00:{:02}:{:02},{:03} -->",
            ms / 60_000,
            ms / 1000 % 60,
            ms % 1000
        )
    };
    assert!(srt.contains(&shown(start)), "{srt}");

    // On a recording's own clock it begins as much sooner as the recorder started later.
    let best = &passes[1]["best"];
    let recording = best["recording"]["id"].as_str().expect("an id");
    let own = app.get(&format!(
        "{path}/captions?pass=2&format=srt&recording={recording}"
    ));
    let own = String::from_utf8(own.body).expect("UTF-8");
    let start = passes[1]["sentences"][4]["said"]["best"]["start_ms"]
        .as_i64()
        .expect("ms");
    let near = (-60..=60).any(|off| own.contains(&shown(start + off)));
    assert!(
        near || own.contains(&shown(best["start_ms"].as_i64().expect("ms"))),
        "{own}"
    );
    // The most complete pass, unless it is said which.
    let vtt = app.get(&format!("{path}/captions"));
    let vtt = String::from_utf8(vtt.body).expect("UTF-8");
    assert!(vtt.starts_with("WEBVTT") && vtt.contains("kettle"), "{vtt}");
    let problem = app
        .get(&format!("{path}/captions?format=docx"))
        .problem(422);
    assert_eq!(problem["field"], "format");
    for query in ["pass=3", "pass=0", "recording=none"] {
        app.get(&format!("{path}/captions?{query}")).problem(404);
    }
}

fn a_part_is_marked(landing: &Landing, path: &str, pass: &Value) {
    let app = &landing.app;
    let asked = json!({"name": "the letter", "pass": 2, "required": false});
    let part = app.post(&format!("{path}/part"), &asked).json();
    assert_eq!(
        (&part["start_ms"], &part["end_ms"]),
        (&pass["start_ms"], &pass["end_ms"])
    );
    let parts = app.get(&format!("/events/{}/parts", landing.event)).json();
    assert_eq!(parts["parts"], json!([part]));
    assert_eq!(app.get(path).json()["part"], "the letter");
    let hit = &app.get("/search?q=looking").json()["hits"];
    let marked = hit.as_array().expect("hits").iter();
    assert_eq!(
        marked.filter(|hit| hit["part"] == "the letter").count(),
        1,
        "{hit:#}"
    );
    let wrong = json!({"name": " ", "pass": 1});
    assert_eq!(
        app.post(&format!("{path}/part"), &wrong).problem(422)["field"],
        "name"
    );
}

fn a_correction_counts_at_once(landing: &Landing, path: &str, before: &Value) {
    let app = &landing.app;
    let said = &before["sentences"][5]["said"];
    let moment = said["moments"][0].as_str().expect("a moment");
    let moments = app
        .get(&format!("/events/{}/moments?limit=1000", landing.event))
        .json();
    let own = moments["moments"].as_array().expect("moments").iter();
    let own = own
        .clone()
        .find(|one| one["id"] == moment)
        .expect("the moment");
    let text = own["text"].as_str().expect("words");
    assert!(text.contains("looking"), "{text}");
    let body = json!({"version": own["version"], "by": "Jory", "text": text.replace("looking", "searching")});
    let fixed = send(app, Method::PUT, &format!("/moments/{moment}/words"), &body);
    assert_eq!(fixed.status, 200, "{}", fixed.json());
    let found = app.get(&format!("{path}/passes")).json();
    let words = found["passes"][0]["sentences"][5]["said"]["words"].clone();
    let changed = words.as_array().expect("words").iter();
    let other = changed.filter(|one| {
        one["said"]
            .as_str()
            .is_some_and(|s| s.contains("searching"))
    });
    assert_eq!(other.count(), 1, "{words:#}");
}
