//! The names of an event: what is taken, and what it does to words.

use axum::http::Method;
use serde_json::{Value, json};

use crate::app::{MODEL, Reply, TestApp};

fn put(app: &TestApp, event: &str, what: &str, body: &Value) -> Reply {
    let path = format!("/events/{event}/{what}");
    let kind = [("content-type", "application/json")];
    app.send(Method::PUT, &path, &kind, body.to_string().into_bytes())
}

#[test]
fn a_list_of_names_is_taken_or_refused_with_the_number() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let names = |list: Vec<String>| put(&app, &event, "glossary", &json!({ "names": list }));
    let kept = |list: &[&str]| names(list.iter().map(|&name| name.to_owned()).collect()).json();
    assert_eq!(
        kept(&[
            "  Ottilie  Marrowby ",
            "",
            "Biscuit",
            "Biscuit",
            "\u{202e}שרה\u{202c}",
            "…",
            "Jo\u{1b}ry\0"
        ]),
        json!({ "names": ["Ottilie Marrowby", "Biscuit", "שרה", "Jo ry"] })
    );
    let path = format!("/events/{event}/glossary");
    assert_eq!(app.get(&path).json()["names"][1], "Biscuit");
    assert_eq!(app.get(&format!("/events/{event}")).json()["names"], 4);

    let many = |count: usize| (0..count).map(|n| format!("Name {n}")).collect::<Vec<_>>();
    let refused = |list: Vec<String>, says: &str| {
        let problem = names(list).problem(422);
        assert_eq!(problem["field"], "names");
        let detail = problem["detail"].as_str().expect("a detail").to_owned();
        assert!(detail.contains(says), "{detail}");
    };
    refused(many(5_001), "5001 names; an event has at most 5000");
    refused(vec!["x".repeat(81)], "81 characters");
    // What was refused changed nothing.
    assert_eq!(app.get(&path).json()["names"][0], "Ottilie Marrowby");
    assert_eq!(names(many(5_000)).json()["names"][4_999], "Name 4999");
    assert_eq!(kept(&[]), json!({ "names": [] }));
    app.get("/events/nobody/glossary").problem(404);
}

#[test]
fn a_language_that_the_model_does_not_know_is_refused_with_its_name() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let say = |codes: &[&str]| put(&app, &event, "languages", &json!({ "languages": codes }));
    assert_eq!(say(&["en", "en"]).json(), json!({ "languages": ["en"] }));
    for (code, status) in [
        ("de", 409),
        ("xx", 409),
        ("EN", 422),
        ("", 422),
        ("e\u{0}n", 422),
    ] {
        let problem = say(&["en", code]).problem(status);
        assert_eq!(problem["field"], "languages");
        let detail = problem["detail"].as_str().expect("a detail");
        assert_eq!(detail.contains(MODEL), status == 409, "{detail}");
    }
    let problem = say(&["en"; 101]).problem(422);
    assert_eq!(problem["field"], "languages");
    let detail = problem["detail"].as_str().expect("a detail");
    assert!(detail.contains("101 codes"), "{detail}");
    assert_eq!(say(&["en"; 100]).status, 200);
    let kept = app.get(&format!("/events/{event}/languages")).json();
    assert_eq!(kept, json!({ "languages": ["en"] }));
    assert_eq!(say(&[]).json(), json!({ "languages": [] }));
}

/// What stands in the one recording of an event: each word with what was heard for it.
fn words(app: &TestApp, recording: &str) -> Vec<(String, Option<String>)> {
    let transcript = app.get(&format!("/recordings/{recording}/words")).json();
    let hearings = transcript["hearings"].as_array().expect("hearings").clone();
    let words = hearings
        .iter()
        .flat_map(|h| h["words"].as_array().expect("words"));
    words
        .map(|word| {
            assert_eq!(word["language"], "en", "{word}");
            let text = word["text"].as_str().expect("a text").to_owned();
            (text, word["heard"].as_str().map(str::to_owned))
        })
        .collect()
}

#[test]
fn names_change_what_is_written_and_can_be_taken_back() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let line = xtask::scene::lines::folder().join("letter-corin-1.flac");
    app.add(&event, "Lectern", "stand", &[line]);
    app.wait_idle();
    let recording = app.only_recording(&event);
    let id = recording["id"].as_str().expect("an id").to_owned();
    let plain = words(&app, &id);
    assert!(plain.iter().all(|(_, heard)| heard.is_none()), "{plain:?}");
    let has = |words: &[(String, Option<String>)]| words.iter().any(|w| w.0 == "Adalie,");
    assert!(!has(&plain), "{plain:?}");

    // The model writes 'Adali' for the name of this line, which is another.
    let glossary = json!({ "names": ["Corin", "Adalie"] });
    assert_eq!(put(&app, &event, "glossary", &glossary).status, 200);
    let named = words(&app, &id);
    assert!(has(&named), "{plain:?} became {named:?}");
    assert_eq!(named.len(), plain.len());
    for (before, after) in plain.iter().zip(&named) {
        let heard = (after.0 != before.0).then_some(&before.0);
        assert_eq!(after.1.as_ref(), heard, "{after:?}");
    }
    let found = |query: &str| {
        let path = format!("/search?q=%22{query}%22&event={event}");
        app.get(&path).json()["total"].clone()
    };
    assert_eq!(found("adalie"), 1);

    let none = json!({ "names": [] });
    assert_eq!(put(&app, &event, "glossary", &none).status, 200);
    assert_eq!(words(&app, &id), plain);
    assert_eq!(found("adalie"), 0);

    // What a person puts right keeps what was heard for its names, and is theirs.
    assert_eq!(put(&app, &event, "glossary", &glossary).status, 200);
    let moments = app.get(&format!("/events/{event}/moments")).json();
    let moments = moments["moments"].as_array().expect("moments").clone();
    let told = |m: &Value| {
        m["text"]
            .as_str()
            .is_some_and(|text| text.contains("Adalie"))
    };
    let moment = moments.iter().find(|m| told(m)).expect("the moment");
    let path = format!("/moments/{}/words", moment["id"].as_str().expect("an id"));
    let text = format!("{} indeed", moment["text"].as_str().expect("a text"));
    let body = json!({ "version": moment["version"], "by": "Maro", "text": text });
    let kind = [("content-type", "application/json")];
    let reply = app.send(Method::PUT, &path, &kind, body.to_string().into_bytes());
    assert_eq!(reply.status, 200, "{}", reply.json());
    let fixed = words(&app, &id);
    let named: Vec<_> = named.into_iter().filter(|word| word.1.is_some()).collect();
    let kept = || fixed.iter().filter(|word| word.1.is_some()).cloned();
    assert_eq!(kept().collect::<Vec<_>>(), named);
    assert_eq!(put(&app, &event, "glossary", &none).status, 200);
    assert_eq!((found("adalie"), found("indeed")), (json!(1), json!(1)));
}
