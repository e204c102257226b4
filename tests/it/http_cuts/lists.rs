//! Lists as such: their names, their order, their versions, and who was quicker. On a
//! recording in which nobody speaks.

use std::time::Instant;

use axum::http::Method;
use serde_json::{Value, json};

use super::{Desk, kinds, number, text};
use crate::app::{TestApp, write_tone};

/// A server with an event of one quiet recording of twenty seconds; its id.
fn quiet() -> (TestApp, String, String) {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("a.wav");
    write_tone(&file, 20.0, 300.0);
    app.add(&event, "Lectern", "stand", &[file]);
    app.wait_idle();
    let recording = app.only_recording(&event);
    let id = text(&recording, "id").to_owned();
    (app, event, id)
}

fn stretch(recording: &str, start_ms: i64, note: &str) -> Value {
    json!({"recording": recording, "start_ms": start_ms, "end_ms": start_ms + 40, "note": note})
}

fn notes(list: &Value) -> Vec<&str> {
    let quotes = list["quotes"].as_array().expect("quotes").iter();
    quotes.map(|quote| text(quote, "note")).collect()
}

fn id(list: &Value, n: usize) -> String {
    text(&list["quotes"][n], "id").to_owned()
}

#[test]
fn a_list_is_made_put_in_order_and_taken_back() {
    let (app, event, recording) = quiet();
    let desk = Desk::of(&app, &event, "film");
    for note in ["a", "b", "c"] {
        desk.added(&stretch(&recording, 100, note));
    }
    let list = desk.show();
    let one = &list["quotes"][0];
    // Nobody speaks there: that is no fault of the quote.
    assert_eq!(
        (
            &one["text"],
            &one["text_now"],
            &one["person"],
            kinds(one).contains(&"words gone")
        ),
        (&json!(""), &Value::Null, &Value::Null, false)
    );
    assert_eq!(
        (number(one, "length_ms"), number(&list, "length_ms")),
        (40, 120)
    );
    assert_eq!(
        (
            &one["chosen"]["start_ms"],
            &one["chosen"]["verdict"],
            &one["chosen"]["covers"]
        ),
        (&json!(100), &Value::Null, &json!(true))
    );
    // Before the file begins there is nothing of it, and that is told.
    let nudge = format!("/quotes/{}/nudge", id(&list, 0));
    let early = desk
        .send(Method::POST, &nudge, json!({"in": {"ms": -250}}))
        .json();
    let early = &early["quotes"][0];
    assert_eq!(
        kinds(early)
            .iter()
            .filter(|kind| **kind == "out of the file")
            .count(),
        1
    );
    assert_eq!(
        (
            number(early, "length_ms"),
            &early["chosen"]["start_ms"],
            &early["chosen"]["covers"]
        ),
        (290, &json!(0), &json!(false))
    );

    let place = format!("/quotes/{}/place", id(&list, 0));
    let version = desk.version();
    for _ in 0..2 {
        let body = json!({"version": version, "place": 3});
        assert_eq!(desk.send(Method::PUT, &place, body).status, 200);
    }
    assert_eq!(notes(&desk.show()), ["b", "c", "a"]);
    let order: Vec<String> = [2, 1, 0].into_iter().map(|n| id(&list, n)).collect();
    let reply = desk.send(Method::PUT, "/order", json!({ "quotes": order }));
    assert_eq!(reply.status, 200, "{}", reply.json());
    assert_eq!(notes(&desk.show()), ["c", "b", "a"]);
    for (rest, body, field) in [
        (
            "/order".to_owned(),
            json!({"quotes": [id(&list, 0)]}),
            "quotes",
        ),
        (place.clone(), json!({"place": 4}), "place"),
        (place, json!({"place": 0}), "place"),
    ] {
        let refused = desk.send(Method::PUT, &rest, body).problem(422);
        assert_eq!(refused["field"], field);
    }

    let kept = desk.send(
        Method::POST,
        "/versions",
        json!({"name": "for\nthe couple"}),
    );
    assert_eq!(kept.status, 201, "{}", kept.json());
    let kept = kept.json();
    assert_eq!(text(&kept, "name"), "for the couple");
    desk.drop_quote(&desk.show()["quotes"][0]);
    assert_eq!(notes(&desk.show()), ["b", "a"]);
    let undo = |to: Value| desk.send(Method::POST, "/restore", json!({ "to": to }));
    assert_eq!(undo(Value::Null).json()["quotes"], 3);
    assert_eq!(undo(Value::Null).json()["quotes"], 2, "an undo is undone");
    assert_eq!(undo(kept["version"].clone()).json()["quotes"], 3);
    assert_eq!(notes(&desk.show()), ["c", "b", "a"]);
    let versions = app.get(&desk.path("/versions")).json();
    let all = versions["versions"].as_array().expect("versions");
    assert_eq!(text(&all[0], "before"), "restore");
    let named = all.iter().filter(|one| !one["name"].is_null()).count();
    assert_eq!(
        (named, all.len()),
        (1, number(&versions["cut"], "version") as usize - 1)
    );
    let forget = desk.path(&format!("/versions/{}", number(&kept, "version")));
    assert_eq!(
        app.send(Method::DELETE, &forget, &[], Vec::new()).status,
        204
    );
    undo(kept["version"].clone()).problem(404);

    assert_eq!(
        app.send(Method::DELETE, "/cuts/film", &[], Vec::new())
            .status,
        204
    );
    app.get("/cuts/film").problem(404);
}

#[test]
fn names_are_kept_as_people_see_them_and_no_megabyte_is_one() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let cuts = format!("/events/{event}/cuts");
    for (typed, kept) in [
        ("Kurz,\r\n \"scharf\"", "Kurz, \"scharf\""),
        ("短い映画", "短い映画"),
        ("a\0b", "a b"),
        ("../../x", "../../x"),
    ] {
        let made = app.post(&cuts, &json!({ "name": typed }));
        assert_eq!(made.status, 201, "{}", made.json());
        assert_eq!(text(&made.json(), "name"), kept);
    }
    for bad in ["", "\0", "\u{202e}", &"x".repeat(201), &"x".repeat(1 << 20)] {
        assert_eq!(
            app.post(&cuts, &json!({ "name": bad })).problem(422)["field"],
            "name"
        );
    }
    let long = json!({"name": "x", "note": "x".repeat(1 << 20)});
    assert_eq!(app.post(&cuts, &long).problem(422)["field"], "note");
    app.post(&cuts, &json!({"name": "短い映画"})).problem(409);
    let list = app.get(&cuts).json();
    assert_eq!(list["cuts"].as_array().map(Vec::len), Some(4));
    app.post("/events/nobody/cuts", &json!({"name": "x"}))
        .problem(404);
    // By its name, in whatever script.
    let found = app.get("/cuts/%E7%9F%AD%E3%81%84%E6%98%A0%E7%94%BB").json();
    assert_eq!(text(&found["cut"], "name"), "短い映画");
}

#[test]
fn the_second_of_two_editors_is_told_which_version_stands() {
    let (app, event, recording) = quiet();
    let desk = Desk::of(&app, &event, "film");
    desk.added(&stretch(&recording, 0, "first"));
    let seen = desk.show();
    let version = number(&seen["cut"], "version");
    let quote = format!("/quotes/{}", id(&seen, 0));
    let late = |method: Method, rest: &str, mut body: Value| {
        body["version"] = json!(version);
        desk.send(method, rest, body)
    };
    assert_eq!(
        late(Method::PATCH, &quote, json!({"note": "ours"})).status,
        200
    );
    let nudge = format!("{quote}/nudge");
    for (method, rest, body) in [
        (Method::PATCH, quote.as_str(), json!({"note": "theirs"})),
        (Method::POST, &nudge, json!({"in": {"ms": 1}})),
        (
            Method::POST,
            "/quotes",
            json!({"quotes": [stretch(&recording, 0, "x")]}),
        ),
        (Method::POST, "/restore", json!({"to": 1})),
        (Method::POST, "/versions", json!({"name": "x"})),
        (Method::PATCH, "", json!({"name": "another"})),
    ] {
        let refused = late(method, rest, body).problem(409);
        assert_eq!(refused["version"], version + 1, "{rest}: {refused}");
    }
    let remove = format!("{}?version={version}", desk.path(&quote));
    app.send(Method::DELETE, &remove, &[], Vec::new())
        .problem(409);
    assert_eq!(notes(&desk.show()), ["ours"]);

    // Eight at once: whoever is refused looks again, and nothing is lost.
    std::thread::scope(|scope| {
        for editor in 0..8 {
            let (desk, recording) = (&desk, &recording);
            scope.spawn(move || {
                let mut added = 0;
                while added < 5 {
                    let quote = stretch(recording, 0, &format!("{editor}.{added}"));
                    let reply = desk.add(&quote);
                    match reply.status {
                        201 => added += 1,
                        status => assert_eq!(status, 409, "{}", reply.json()),
                    }
                }
            });
        }
    });
    let list = desk.show();
    let mut all: Vec<String> = notes(&list).into_iter().map(str::to_owned).collect();
    all.sort();
    all.dedup();
    assert_eq!(all.len(), 41);
}

/// The figures are told by `--nocapture`.
#[test]
fn two_thousand_quotes_are_shown_and_one_of_them_moved() {
    let (app, event, recording) = quiet();
    let desk = Desk::of(&app, &event, "long");
    let quotes: Vec<Value> = (0..2_000)
        .map(|n| stretch(&recording, n % 19_000, &n.to_string()))
        .collect();
    let begun = Instant::now();
    let added = desk.send(Method::POST, "/quotes", json!({ "quotes": quotes }));
    assert_eq!(added.status, 201, "{}", added.json());
    println!("2,000 quotes put in: {:?}", begun.elapsed());
    let begun = Instant::now();
    let list = desk.show();
    println!("shown: {:?}", begun.elapsed());
    assert_eq!(list["quotes"].as_array().map(Vec::len), Some(2_000));
    assert_eq!(number(&list, "length_ms"), 80_000);
    let version = json!(number(&list["cut"], "version"));
    let place = format!("/quotes/{}/place", id(&list, 1_999));
    let begun = Instant::now();
    let body = json!({"version": version, "place": 1});
    let moved = desk.send(Method::PUT, &place, body).json();
    println!("the last made the first: {:?}", begun.elapsed());
    assert_eq!(
        (&moved["quotes"][0]["place"], &moved["quotes"][0]["note"]),
        (&json!(1), &json!("1999"))
    );
    let more = desk.add(&stretch(&recording, 0, "x")).problem(422);
    assert_eq!(more["field"], "quotes");
}
