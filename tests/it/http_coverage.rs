//! What has no backup, on an event whose truth is known to the sample.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use axum::http::Method;
use sayback::jobs::EngineConfig;
use sayback::speech::ModelShelf;
use serde_json::{Value, json};
use xtask::scene::{self, Truth};

use crate::app::{MODEL, Reply, TestApp};

/// A server that puts recordings on one clock and writes no words.
fn app() -> TestApp {
    let shelf = ModelShelf::default_dir().expect("a home");
    let mut config = EngineConfig::new(shelf, MODEL.into());
    config.recognisers = 0;
    TestApp::working(config)
}

fn put(app: &TestApp, event: &str, parts: &Value) -> Reply {
    let path = format!("/events/{event}/parts");
    let kind = [("content-type", "application/json")];
    app.send(Method::PUT, &path, &kind, parts.to_string().into_bytes())
}

/// What has a backup, once everything is listened through and placed.
fn coverage(app: &TestApp, event: &str, sources: usize) -> Value {
    let begun = Instant::now();
    loop {
        let detail = app.get(&format!("/events/{event}")).json();
        let there = detail["sources"].as_array().map_or(0, Vec::len);
        let told = app.get(&format!("/events/{event}/coverage")).json();
        if there == sources && told["finished"] == true {
            return told;
        }
        assert!(begun.elapsed() < Duration::from_secs(240), "{told}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// The middles of the lines of a part that so many recorders heard, event ms.
fn lines_of(truth: &Truth, part: &str, recorders: impl Fn(usize) -> bool) -> Vec<f64> {
    let heard_by = |line: usize| {
        let heard = |recorder: &&scene::truth::RecorderTruth| {
            recorder.hearings.iter().any(|hearing| hearing.line == line)
        };
        let mut labels: Vec<&str> = truth
            .recorders
            .iter()
            .filter(heard)
            .map(|recorder| recorder.label.as_str())
            .collect();
        labels.sort_unstable();
        labels.dedup();
        labels.len()
    };
    truth
        .lines
        .iter()
        .enumerate()
        .filter(|(n, line)| line.part == part && recorders(heard_by(*n)))
        .map(|(_, line)| line.start_ms.midpoint(line.end_ms))
        .collect()
}

#[test]
fn what_one_recorder_alone_has_is_told_and_a_second_one_ends_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let truth = scene::demo::build(folder.path()).expect("the demo");
    let app = app();
    let event = app.event("Boathouse");
    let parts: Vec<Value> = truth
        .parts
        .iter()
        .map(|part| {
            json!({
                "name": part.name,
                "start_ms": part.start_ms as i64,
                "end_ms": part.end_ms as i64,
            })
        })
        .collect();
    let reply = put(&app, &event, &json!({ "parts": parts }));
    assert_eq!(
        reply.json()["parts"][0]["required"],
        true,
        "unless it is said"
    );

    let sources = scene::demo_sources();
    let add = |n: usize| {
        let source = sources[n];
        let paths: Vec<PathBuf> = vec![folder.path().join(source.folder)];
        app.add(&event, source.label, source.placement.as_str(), &paths);
    };
    add(0);
    let alone = coverage(&app, &event, 1);
    assert_eq!(alone["backed_up"], false);
    for part in alone["parts"].as_array().expect("parts") {
        assert_eq!(
            part["backed_up"], false,
            "one recorder is no backup: {part}"
        );
        assert_eq!(part["more_ms"], 0, "{part}");
    }

    (1..sources.len()).for_each(add);
    let told = coverage(&app, &event, sources.len());
    let part = |name: &str| {
        let parts = told["parts"].as_array().expect("parts");
        parts
            .iter()
            .find(|part| part["name"] == name)
            .expect("a part")
            .clone()
    };
    // The event clock starts with the first sound, so does the truth.
    let gap_at = |name: &str, at: f64| {
        let part = part(name);
        let gaps = part["gaps"].as_array().expect("gaps").clone();
        gaps.into_iter().find(|gap| {
            let bound = |which: &str| gap[which].as_f64().expect("a time");
            bound("start_ms") <= at && at < bound("end_ms")
        })
    };
    let alone = lines_of(&truth, "letters", |count| count == 1);
    assert!(alone.len() > 3, "{alone:?}");
    for at in alone {
        let gap = gap_at("letters", at);
        assert!(
            gap.is_some(),
            "{at} ms was heard once and is no gap: {told:#}"
        );
    }
    assert_eq!(told["backed_up"], false);
    let ceremony = part("ceremony");
    let (more, all) = (&ceremony["more_ms"], &ceremony["speech_ms"]);
    let share = more.as_f64().expect("a time") / all.as_f64().expect("a time");
    assert!(share > 0.9, "everybody was in one room: {ceremony:#}");

    an_outline_says_the_same(&app, &event, &told);

    let page = app.get(&format!("/events/{event}/coverage.html"));
    assert_eq!(page.status, 200);
    assert!(
        page.header("content-security-policy")
            .starts_with("default-src 'none'")
    );
    let html = String::from_utf8(page.body).expect("UTF-8");
    assert!(
        html.contains("Keep the cards. Not backed up: letters"),
        "{html}"
    );
}

/// Of every moment, how many have it: added up, what coverage tells of all parts.
fn an_outline_says_the_same(app: &TestApp, event: &str, told: &Value) {
    let outline = app.get(&format!("/events/{event}/outline")).json();
    let list = |name: &str| outline["moments"][name].as_array().expect(name).clone();
    let number = |value: &Value| value.as_i64().expect("a number");
    let moments = app
        .get(&format!("/events/{event}/moments?limit=1000"))
        .json();
    let moments = moments["moments"].as_array().expect("moments");
    let own: Vec<&Value> = moments.iter().filter(|m| m["island"] == 0).collect();
    assert!(own.len() > 20 && own.len() < 1000);
    for name in [
        "start_ms",
        "end_ms",
        "person",
        "certainty",
        "best",
        "good",
        "doubtful",
    ] {
        assert_eq!(list(name).len(), own.len(), "{name}");
    }
    let recordings = outline["recordings"].as_array().expect("a list");
    let mut sums = [0; 3];
    for (n, moment) in own.iter().enumerate() {
        let at = |name: &str| list(name)[n].clone();
        assert_eq!(at("id"), moment["id"]);
        assert_eq!(
            (at("start_ms"), at("end_ms")),
            (moment["start_ms"].clone(), moment["end_ms"].clone())
        );
        assert_eq!(at("doubtful"), true, "nobody has listened to the words yet");
        let best = number(&at("best")) as usize;
        assert_eq!(recordings[best], moment["hearings"][0]["recording"]["id"]);
        sums[number(&at("good")) as usize] += number(&at("end_ms")) - number(&at("start_ms"));
    }
    let parts = told["parts"].as_array().expect("parts").iter();
    let parts: Vec<&Value> = parts.chain([&told["elsewhere"]]).collect();
    let told = ["none_ms", "one_ms", "more_ms"]
        .map(|name| parts.iter().map(|part| number(&part[name])).sum::<i64>());
    assert_eq!(sums, told);
    let kinds = sums.iter().filter(|&&ms| ms > 0).count();
    assert!(kinds > 1, "more than one kind is there: {sums:?}");
}

#[test]
fn parts_are_taken_or_refused_with_the_reason() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let path = format!("/events/{event}/parts");
    assert_eq!(app.get(&path).json(), json!({ "parts": [] }));
    let letters = json!({
        "name": "  letters\u{202e} \n", "start_ms": -1_000, "end_ms": 60_000, "required": false
    });
    let kept = put(&app, &event, &json!({ "parts": [letters] })).json();
    let shown = json!({
        "name": "letters", "start_ms": -1_000, "end_ms": 60_000, "required": false
    });
    assert_eq!(kept, json!({ "parts": [shown] }));
    for (part, says) in [
        (
            json!({"name": " ", "start_ms": 0, "end_ms": 1}),
            "has no name",
        ),
        (
            json!({"name": "a", "start_ms": 1, "end_ms": 1}),
            "ends before",
        ),
    ] {
        let problem = put(&app, &event, &json!({ "parts": [part] })).problem(422);
        assert_eq!(problem["field"], "parts");
        let detail = problem["detail"].as_str().expect("a detail");
        assert!(detail.contains(says), "{detail}");
    }
    assert_eq!(
        app.get(&path).json(),
        kept,
        "what was refused changed nothing"
    );

    // Nothing was heard in it, and it is not required.
    let told = app.get(&format!("/events/{event}/coverage")).json();
    assert_eq!(told["backed_up"], true, "{told}");
    assert_eq!(told["parts"][0]["backed_up"], false, "{told}");
    for route in ["parts", "coverage", "coverage.html", "outline"] {
        app.get(&format!("/events/nobody/{route}")).problem(404);
    }
}
