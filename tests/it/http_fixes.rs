//! What a person puts right, over the network and on the command line.

mod history;
mod late;

use std::process::Command;

use axum::http::Method;
use serde_json::{Value, json};

use crate::app::{Reply, TestApp};
use crate::cli::Run;
use crate::queue::desk::{Ears, line, quick};

/// A server, an event, and its moments, which ears that need no model have heard.
struct Desk {
    app: TestApp,
    event: String,
}

impl Desk {
    /// Each line is a file of a recorder.
    fn of(lines: &[&str]) -> Self {
        let app = TestApp::working(quick(&Ears::default()));
        let event = app.event("Tarrow Landing");
        let files: Vec<_> = lines.iter().map(|id| line(id)).collect();
        app.add(&event, "Lectern", "stand", &files);
        let status = app.wait_idle();
        assert_eq!(status["problems"], json!([]), "{status}");
        Self { app, event }
    }

    fn moments(&self) -> Vec<Value> {
        let list = self.app.get(&format!("/events/{}/moments", self.event));
        list.json()["moments"].as_array().expect("moments").clone()
    }

    fn moment(&self, id: &str) -> Value {
        let reply = self.app.get(&format!("/moments/{id}"));
        assert_eq!(reply.status, 200, "{}", reply.json());
        reply.json()
    }

    /// Asks for a change of a version by somebody.
    fn change(&self, id: &str, what: &str, version: &Value, body: &Value) -> Reply {
        let mut body = body.clone();
        body["version"] = version.clone();
        if body["by"].is_null() {
            body["by"] = "Maro".into();
        }
        let method = match what {
            "words" | "times" => Method::PUT,
            _ => Method::POST,
        };
        let kind = [("content-type", "application/json")];
        let path = format!("/moments/{id}/{what}");
        self.app
            .send(method, &path, &kind, body.to_string().into_bytes())
    }

    /// The same of the version that stands, which is taken.
    #[track_caller]
    fn fix(&self, id: &str, what: &str, body: &Value) -> Vec<Value> {
        let version = &self.moment(id)["version"];
        let reply = self.change(id, what, version, body);
        assert_eq!(reply.status, 200, "{}", reply.json());
        reply.json()["moments"].as_array().expect("moments").clone()
    }

    /// How many moments have the very words.
    fn finds(&self, words: &str) -> Value {
        let asked = format!("/search?q=%22{words}%22");
        self.app.get(&asked).json()["total"].clone()
    }

    fn sayback(&self, args: &[&str]) -> Run {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
        command
            .env("USER", "corin")
            .env_remove("SAYBACK_MODEL")
            .arg("--data")
            .arg(self.app.data.path())
            .args(args);
        Run::of(&mut command)
    }
}

fn id(moment: &Value) -> &str {
    moment["id"].as_str().expect("an id")
}

/// Making the event takes longer than all of this, so one is asked everything.
#[test]
fn a_moment_is_put_right() {
    let desk = Desk::of(&["letter-ottilie-1", "vows-corin-1"]);
    let (one, island) = {
        let moments = desk.moments();
        let elsewhere = moments.iter().find(|m| m["island"] != moments[0]["island"]);
        (
            id(&moments[0]).to_owned(),
            elsewhere.map(|m| id(m).to_owned()),
        )
    };
    words_are_written_and_found_at_once(&desk, &one);
    the_second_of_two_is_told_both_texts(&desk, &one);
    nonsense_is_refused(&desk, &one, island.as_deref());
    moments_are_split_timed_and_joined(&desk, &one);
    the_command_line_does_the_same(&desk, &one);
    eight_at_once_lose_nothing(&desk, &one);
    everything_can_be_taken_back(&desk, &one);
}

fn words_are_written_and_found_at_once(desk: &Desk, one: &str) {
    let before = desk.moment(one);
    let heard = before["text"].as_str().expect("a text").to_owned();
    assert_eq!(before["by_hand"], false);
    assert_eq!(before["heard"][0]["text"], heard.as_str());
    assert_eq!(before["heard"][0]["model"], "ears");
    let text = format!("{heard} bicycle");
    let now = desk.fix(one, "words", &json!({"text": text}));
    assert_eq!(now.len(), 1);
    assert_eq!(
        (&now[0]["text"], &now[0]["by_hand"]),
        (&json!(text), &json!(true))
    );
    assert_eq!(
        now[0]["version"],
        before["version"].as_i64().expect("one") + 1
    );
    let words = now[0]["words"].as_array().expect("words");
    let (last, others) = words.split_last().expect("words");
    let old = before["words"].as_array().expect("words");
    assert_eq!(others.len(), old.len());
    assert_eq!(others[0], old[0], "what is as before keeps its time");
    assert_eq!(
        (&last["confidence"], &last["by_hand"]),
        (&json!(1.0), &json!(true))
    );
    assert_eq!(desk.finds("bicycle"), 1);
    let from = now[0]["words_from"]["id"].as_str().expect("a recording");
    let transcript = desk.app.get(&format!("/recordings/{from}/words")).json();
    let told = transcript["hearings"].as_array().expect("hearings").iter();
    let own = told
        .clone()
        .find(|h| h["moment"] == one)
        .expect("the moment");
    assert_eq!(
        (&own["text"], &own["version"]),
        (&json!(text), &now[0]["version"])
    );
    let changes = desk.app.get(&format!("/moments/{one}/changes")).json();
    let change = &changes["changes"][0];
    assert_eq!(
        (&change["kind"], &change["by"]),
        (&json!("words"), &json!("Maro"))
    );
    assert!(
        change["at"].as_str().is_some_and(|at| at.ends_with('Z')),
        "{change}"
    );
    assert_eq!(change["before"][0]["text"], heard.as_str());
    assert_eq!(change["after"][0]["text"], text.as_str());
}

fn the_second_of_two_is_told_both_texts(desk: &Desk, one: &str) {
    let seen = desk.moment(one)["version"].clone();
    let first = json!({"text": "broken bicycle", "by": "Ottilie"});
    assert_eq!(desk.change(one, "words", &seen, &first).status, 200);
    let mine = json!({"text": "spoken tricycle", "by": "Corin"});
    let problem = desk.change(one, "words", &seen, &mine).problem(409);
    assert_eq!(problem["type"], "urn:sayback:problem:changed-meanwhile");
    assert_eq!(problem["yours"]["text"], "spoken tricycle");
    let theirs = &problem["theirs"];
    assert_eq!(
        (&theirs["text"], &theirs["by"], &theirs["kind"]),
        (&json!("broken bicycle"), &json!("Ottilie"), &json!("words"))
    );
    assert!(theirs["at"].is_string());
    assert_eq!(theirs["version"], seen.as_i64().expect("one") + 1);
    assert_eq!(desk.moment(one)["text"], "broken bicycle");
    assert_eq!(
        (desk.finds("tricycle"), desk.finds("broken")),
        (json!(0), json!(1))
    );
}

fn nonsense_is_refused(desk: &Desk, one: &str, island: Option<&str>) {
    let before = desk.moment(one);
    let version = &before["version"];
    let long = "a".repeat(1 << 20);
    let elsewhere = island.expect("two files without common sound lie on clocks of their own");
    let with_version = &desk.moment(elsewhere)["version"];
    for (what, body, field) in [
        ("words", json!({"text": long}), "text"),
        ("words", json!({"text": "ring \u{7} the bell"}), "text"),
        ("words", json!({"text": "\u{1b}[2J"}), "text"),
        ("words", json!({"text": "ho ".repeat(6_000)}), "text"),
        ("words", json!({"text": "x", "by": " "}), "by"),
        ("words", json!({"text": "x", "by": "a\nb"}), "by"),
        ("words", json!({"text": "x", "by": "a".repeat(101)}), "by"),
        ("split", json!({}), "at_word"),
        ("split", json!({"at_word": 1, "at_ms": 1}), "at_word"),
        ("split", json!({"at_word": 99}), "at_word"),
        ("split", json!({"at_ms": -1}), "at_ms"),
        ("times", json!({"end_ms": 1_000_000_000}), "end_ms"),
        ("times", json!({"start_ms": i64::MIN}), "start_ms"),
        (
            "times",
            json!({"words": [{"word": 0, "start_ms": i64::MAX, "end_ms": i64::MIN}]}),
            "words",
        ),
        (
            "join",
            json!({"with": one, "with_version": version}),
            "with",
        ),
        (
            "join",
            json!({"with": elsewhere, "with_version": with_version}),
            "with",
        ),
        ("undo", json!({"to": 0}), "to"),
        ("undo", json!({"to": i64::MAX}), "to"),
    ] {
        let problem = desk.change(one, what, version, &body).problem(422);
        assert_eq!(problem["field"], field, "{what}: {problem}");
    }
    desk.change("none", "words", version, &json!({"text": "x"}))
        .problem(404);
    desk.change(
        one,
        "join",
        version,
        &json!({"with": "none", "with_version": 1}),
    )
    .problem(404);
    desk.change(one, "words", &json!("newest"), &json!({"text": "x"}))
        .problem(422);
    desk.app.get("/moments/none").problem(404);
    desk.app.get("/moments/none/changes").problem(404);
    assert_eq!(desk.moment(one), before, "nothing was changed");
}

fn moments_are_split_timed_and_joined(desk: &Desk, one: &str) {
    let halves = desk.fix(one, "split", &json!({"at_word": 1}));
    assert_eq!(
        (&halves[0]["text"], &halves[1]["text"]),
        (&json!("broken"), &json!("bicycle"))
    );
    assert_eq!(halves[0]["end_ms"], halves[1]["start_ms"]);
    assert_eq!(desk.finds("broken%20bicycle"), 0);
    let two = id(&halves[1]).to_owned();
    let at = |moment: &Value, name: &str| moment["hearings"][0][name].as_i64().expect("a time");
    let (start, end) = (at(&halves[1], "start_ms"), at(&halves[1], "end_ms"));
    // Nobody's moment grows into another.
    let version = &desk.moment(&two)["version"];
    let into = json!({"start_ms": start - 100});
    let problem = desk.change(&two, "times", version, &into).problem(422);
    assert_eq!(problem["field"], "start_ms", "{problem}");
    let later = json!({"start_ms": start + 50,
        "words": [{"word": 0, "start_ms": start + 60, "end_ms": end - 1}]});
    let timed = desk.fix(&two, "times", &later);
    assert_eq!(at(&timed[0], "start_ms"), start + 50);
    assert_eq!(timed[0]["words"][0]["start_ms"], start + 60);
    let with_version = &desk.moment(&two)["version"];
    let joined = desk.fix(
        one,
        "join",
        &json!({"with": two, "with_version": with_version}),
    );
    assert_eq!(
        (joined.len(), &joined[0]["text"]),
        (1, &json!("broken bicycle"))
    );
    desk.app.get(&format!("/moments/{two}")).problem(404);
    // Who still has the other half before them is told where it went.
    let late = desk.change(&two, "words", with_version, &json!({"text": "tandem"}));
    let problem = late.problem(409);
    assert_eq!(problem["theirs"]["now_in"], json!([one]), "{problem}");
    assert_eq!(problem["yours"]["text"], "tandem");
}

fn the_command_line_does_the_same(desk: &Desk, one: &str) {
    let version = || desk.moment(one)["version"].as_i64().expect("a version");
    let seen = format!("{one}@{}", version());
    let ids = desk.moment(one)["words_from"]["id"].clone();
    let listed = desk.sayback(&["fix", "list", ids.as_str().expect("an id")]);
    listed.says(0, &[]);
    assert!(listed.out.contains(&seen), "{}", listed.out);
    let written = desk.sayback(&["fix", "words", &seen, "a broken", "tandem"]);
    written.says(0, &[]);
    assert_eq!(
        written.out,
        format!("{one}@{}  a broken tandem\n", version())
    );
    assert_eq!(desk.finds("tandem"), 1);
    desk.sayback(&["fix", "words", &seen, "a spoken tandem"])
        .says(
            3,
            &[
                "yours:  a spoken tandem",
                "theirs: a broken tandem",
                "changed by corin",
                "fix show",
            ],
        );
    desk.sayback(&["fix", "words", one, "x"])
        .says(2, &["which version", "fix show"]);
    let shown = desk.sayback(&["fix", "show", one]);
    shown.says(0, &[]);
    for part in [
        "a broken tandem",
        "by hand",
        "ears heard in",
        "WORD",
        "times in",
    ] {
        assert!(shown.out.contains(part), "no {part:?} in {}", shown.out);
    }
    let seen = || format!("{one}@{}", version());
    let split = desk.sayback(&["fix", "split", &seen(), "--word", "2", "--by", "Ottilie"]);
    split.says(0, &[]);
    let other = split.out.lines().nth(1).expect("two lines");
    let other = other.split_whitespace().next().expect("an id").to_owned();
    desk.sayback(&["fix", "join", &seen(), &other]).says(0, &[]);
    let words = desk.moment(one)["words"].clone();
    let end_ms = words[1]["end_ms"].as_i64().expect("a time");
    let start = words[1]["start_ms"].as_i64().expect("a time") as f64 / 1000.0;
    let word = format!("1={start:.3},{:.3}", (end_ms - 5) as f64 / 1000.0);
    desk.sayback(&["fix", "times", &seen(), "--word", &word])
        .says(0, &[]);
    assert_eq!(desk.moment(one)["words"][1]["end_ms"], end_ms - 5);
    desk.sayback(&["fix", "undo", &seen()]).says(0, &[]);
    assert_eq!(desk.moment(one)["words"], words);
    let history = desk.sayback(&["fix", "history", one]);
    history.says(0, &[]);
    let newest: Vec<&str> = history.out.lines().take(3).collect();
    for (line, part) in newest
        .iter()
        .zip(["corin  undo", "corin  times", "corin  join"])
    {
        assert!(line.contains(part), "no {part:?} in {line}");
    }
    let direct: Value = desk.sayback(&["fix", "show", one, "--json"]).json();
    assert_eq!(direct, desk.moment(one));
    desk.sayback(&["listen", &desk.event, "--no-wait"])
        .says(0, &["no other model"]);
}

fn eight_at_once_lose_nothing(desk: &Desk, one: &str) {
    let begun = desk.moment(one)["version"].as_i64().expect("a version");
    std::thread::scope(|scope| {
        for n in 0..8 {
            scope.spawn(move || {
                let mut version = json!(begun);
                loop {
                    let mine = json!({"text": format!("take {n}"), "by": format!("Editor {n}")});
                    let reply = desk.change(one, "words", &version, &mine);
                    if reply.status == 200 {
                        return;
                    }
                    let problem = reply.problem(409);
                    assert_eq!(problem["yours"]["text"], mine["text"]);
                    assert!(problem["theirs"]["text"].as_str().is_some(), "{problem}");
                    version = problem["theirs"]["version"].clone();
                }
            });
        }
    });
    let changes = desk.app.get(&format!("/moments/{one}/changes")).json();
    let changes = &changes["changes"].as_array().expect("changes")[..8];
    let versions: Vec<i64> = changes
        .iter()
        .filter_map(|c| c["version"].as_i64())
        .collect();
    assert_eq!(versions, (begun + 1..=begun + 8).rev().collect::<Vec<_>>());
    let mut texts: Vec<&str> = changes
        .iter()
        .filter_map(|change| change["after"][0]["text"].as_str())
        .collect();
    texts.sort_unstable();
    assert_eq!(
        texts,
        (0..8).map(|n| format!("take {n}")).collect::<Vec<_>>()
    );
}

fn everything_can_be_taken_back(desk: &Desk, one: &str) {
    let changes = desk.app.get(&format!("/moments/{one}/changes")).json();
    let first = changes["changes"]
        .as_array()
        .and_then(|all| all.last())
        .expect("a change");
    let to = &first["before"][0]["version"];
    let now = desk.fix(one, "undo", &json!({"to": to}));
    assert_eq!(now[0]["text"], first["before"][0]["text"]);
    assert_eq!(now[0]["by_hand"], false);
    assert_eq!(now[0]["text"], now[0]["heard"][0]["text"]);
    assert_eq!(desk.finds("take"), 0);
}
