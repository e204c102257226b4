//! Where do recordings lie, and what does a person know better? The clock, whole,
//! on a small event.

use axum::http::Method;
use serde_json::{Value, json};

use crate::app::{Reply, TestApp, write_tone};
use crate::landing::Landing;

/// How far an instant may be off that is taken from one recording to the other:
/// the goal of the clock for 99 of 100 instants, ms.
const CLOCK_MS: f64 = 10.0;

fn clock(landing: &Landing) -> Value {
    let reply = landing.app.get(&format!("/events/{}/clock", landing.event));
    assert_eq!(reply.status, 200, "{}", reply.json());
    reply.json()
}

fn of<'a>(clock: &'a Value, label: &str) -> &'a Value {
    let all = clock["recordings"].as_array().expect("recordings");
    let found = all.iter().find(|r| r["source"]["label"] == label);
    found.unwrap_or_else(|| panic!("no {label} in {clock}"))
}

fn id(recording: &Value) -> &str {
    recording["recording"]["id"].as_str().expect("an id")
}

fn start(recording: &Value) -> f64 {
    let exact = recording["start_exact_ms"].as_f64().expect("a start");
    let whole = recording["start_ms"].as_f64().expect("a start");
    assert!((exact - whole).abs() <= 0.5, "{recording}");
    exact
}

fn put(app: &TestApp, recording: &str, body: &Value) -> Reply {
    let kind = [("content-type", "application/json")];
    let path = format!("/recordings/{recording}/clock");
    app.send(Method::PUT, &path, &kind, body.to_string().into_bytes())
}

fn release(app: &TestApp, recording: &str) -> Reply {
    app.send(
        Method::DELETE,
        &format!("/recordings/{recording}/clock"),
        &[],
        vec![],
    )
}

/// The event takes seconds to make, so one is asked everything.
#[test]
fn recordings_lie_on_one_clock_and_a_person_may_know_better() {
    let landing = Landing::new();
    the_clock_says_where_each_recording_lies(&landing);
    the_picture_shows_it(&landing);
    moments_are_listed_once(&landing);
    nonsense_is_refused(&landing);
    a_fix_is_kept_until_it_is_released(&landing);
}

fn the_clock_says_where_each_recording_lies(landing: &Landing) {
    let clock = clock(landing);
    assert_eq!(clock["state"], "solved", "{clock}");
    assert_eq!(clock["event"]["title"], "Tarrow Landing");
    assert!(
        clock["solved_at"]
            .as_str()
            .is_some_and(|at| at.ends_with('Z'))
    );
    let (lapel, camera) = (of(&clock, "Corin, lapel"), of(&clock, "Camera"));
    for recording in [lapel, camera] {
        assert_eq!(
            (&recording["how"], &recording["island"]),
            (&json!("sound"), &json!(0))
        );
        assert_eq!(recording["fix"], Value::Null);
        assert!(
            recording["uncertainty_ms"]
                .as_f64()
                .is_some_and(|ms| ms < 40.0),
            "{recording}"
        );
        assert_eq!(recording["pieces"].as_array().map(Vec::len), Some(1));
    }
    // The clock begins with its first sound, and each line is heard at one time of
    // it by both, but for the sound's way, which the truth has in it too.
    assert_eq!(start(lapel).min(start(camera)), 0.0, "{clock}");
    for line in ["letter-corin-2", "letter-ottilie-1", "vows-corin-1"] {
        let at = |label: &str, recording: &Value| {
            let rate = 1.0 + recording["rate_ppm"].as_f64().expect("a rate") / 1e6;
            start(recording) + landing.line_at(label, line).0 / rate
        };
        let apart = at("Corin, lapel", lapel) - at("Camera", camera);
        assert!(
            apart.abs() <= CLOCK_MS,
            "{line} is {apart} ms apart: {clock}"
        );
    }
    let pairs = clock["pairs"].as_array().expect("pairs");
    assert_eq!(pairs.len(), 1, "{clock}");
    let pair = &pairs[0];
    assert_eq!(
        (&pair["finding"], &pair["used"]),
        (&json!("shared"), &json!(true))
    );
    let starts = if pair["a"]["id"] == id(lapel) {
        start(camera) - start(lapel)
    } else {
        start(lapel) - start(camera)
    };
    let offset = pair["offset_ms"].as_f64().expect("an offset");
    assert!((offset - starts).abs() <= CLOCK_MS, "{pair} but {starts}");
}

fn the_picture_shows_it(landing: &Landing) {
    let reply = landing
        .app
        .get(&format!("/events/{}/clock.svg", landing.event));
    assert_eq!(
        (reply.status, reply.header("content-type")),
        (200, "image/svg+xml")
    );
    let policy = reply.header("content-security-policy");
    assert!(
        policy.contains("default-src 'none'") && !policy.contains("script"),
        "{policy}"
    );
    let svg = String::from_utf8(reply.body.clone()).expect("UTF-8");
    for part in [
        "<svg ",
        "Tarrow Landing",
        "Corin, lapel",
        "Camera",
        "class=\"speech\"",
        "</svg>",
    ] {
        assert!(svg.contains(part), "no {part} in {svg}");
    }
}

fn moments_are_listed_once(landing: &Landing) {
    let list = |more: &str| {
        let reply = landing
            .app
            .get(&format!("/events/{}/moments?{more}", landing.event));
        assert_eq!(reply.status, 200, "{}", reply.json());
        reply.json()
    };
    let all = list("");
    let moments = all["moments"].as_array().expect("moments");
    assert_eq!(all["total"].as_u64(), Some(moments.len() as u64));
    let with = |word: &str| {
        let text = |m: &&Value| {
            m["text"]
                .as_str()
                .is_some_and(|t| t.to_lowercase().contains(word))
        };
        moments.iter().filter(text).count()
    };
    assert_eq!(with("ferry bell"), 1, "each line once: {all}");
    assert_eq!(with("kettle"), 1, "each line once: {all}");
    for moment in moments {
        let at = |name: &str| moment[name].as_i64().expect("on the event clock");
        assert!(at("start_ms") < at("end_ms"));
        let ranks: Vec<_> = moment["hearings"]
            .as_array()
            .expect("hearings")
            .iter()
            .collect();
        for (n, hearing) in ranks.iter().enumerate() {
            assert_eq!(hearing["rank"], n + 1, "{moment}");
        }
    }
    let first = &moments[0];
    let (from, to) = (first["start_ms"].as_i64(), first["end_ms"].as_i64());
    let (from, to) = (from.expect("a start"), to.expect("an end"));
    assert_eq!(
        list(&format!("to_ms={}", from + 1))["moments"],
        json!([first])
    );
    assert_eq!(list(&format!("from_ms={to}"))["total"], moments.len() - 1);
    assert_eq!(list("limit=1&offset=1")["moments"], json!([moments[1]]));
    let path = format!("/events/{}/moments?limit=0", landing.event);
    assert_eq!(landing.app.get(&path).problem(422)["field"], "limit");
}

fn nonsense_is_refused(landing: &Landing) {
    let clock = clock(landing);
    let (lapel, camera) = (id(of(&clock, "Corin, lapel")), id(of(&clock, "Camera")));
    for (body, field) in [
        (json!({}), "start_ms"),
        (json!({"start_ms": 1e12}), "start_ms"),
        (json!({"start_ms": 0, "file_ms": 1}), "start_ms"),
        (json!({"file_ms": 1}), "same_as"),
        (
            json!({"file_ms": 1, "same_as": {"recording": lapel, "file_ms": 1}}),
            "same_as.recording",
        ),
        (
            json!({"file_ms": 1, "same_as": {"recording": "r0", "file_ms": 1}}),
            "same_as.recording",
        ),
        (
            json!({"file_ms": 1e9, "same_as": {"recording": camera, "file_ms": 1}}),
            "file_ms",
        ),
        (
            json!({"file_ms": 1, "same_as": {"recording": camera, "file_ms": -1}}),
            "same_as.file_ms",
        ),
    ] {
        let problem = put(&landing.app, lapel, &body).problem(422);
        assert_eq!(problem["field"], field, "{body}: {problem}");
    }
    put(&landing.app, lapel, &json!({"start_ms": "soon"})).problem(422);
    put(&landing.app, "r0", &json!({"start_ms": 0})).problem(404);
    let nothing = release(&landing.app, lapel).problem(404);
    assert_eq!(nothing["type"], "urn:sayback:problem:no-such-fix");
    let asked = landing.app.post("/events/none/clock/solve", &json!({}));
    asked.problem(404);
    assert_eq!(self::clock(landing), clock, "nothing was changed");
}

fn a_fix_is_kept_until_it_is_released(landing: &Landing) {
    let before = clock(landing);
    let camera = of(&before, "Camera");
    let fixed = start(camera) + 2_000.0;
    let reply = put(&landing.app, id(camera), &json!({"start_ms": fixed}));
    assert_eq!(reply.status, 202);
    landing.app.wait_idle();
    let after = clock(landing);
    let moved = of(&after, "Camera");
    assert_eq!(
        (&moved["how"], &moved["fix"]),
        (&json!("by hand"), &json!({"start_ms": fixed}))
    );
    assert!((start(moved) - fixed).abs() < 0.001, "{moved}");
    let told = moved["warnings"].to_string();
    assert!(
        told.contains("2.0 s earlier than where it was put by hand"),
        "{moved}"
    );

    assert_eq!(release(&landing.app, id(camera)).status, 202);
    landing.app.wait_idle();
    let back = clock(landing);
    let camera_back = of(&back, "Camera");
    assert_eq!(
        (&camera_back["how"], &camera_back["fix"]),
        (&json!("sound"), &Value::Null)
    );
    let moved = start(camera_back) - start(of(&back, "Corin, lapel"));
    let was = start(camera) - start(of(&before, "Corin, lapel"));
    assert!((moved - was).abs() < 1.0, "{was} and {moved}");

    // From scratch it is the same again, and words come back.
    let path = format!("/events/{}/clock/solve", landing.event);
    assert_eq!(landing.app.post(&path, &json!({"anew": true})).status, 202);
    landing.app.wait_idle();
    let anew = clock(landing);
    assert!(
        (start(of(&anew, "Camera")) - start(camera)).abs() < 1.0,
        "{anew}"
    );
    assert_eq!(landing.app.get("/search?q=ferry%20bell").json()["total"], 1);
}

#[test]
fn a_clock_that_waits_says_so() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let get = || app.get(&format!("/events/{event}/clock")).json();
    let empty = get();
    assert_eq!(
        (&empty["state"], &empty["recordings"]),
        (&json!("none"), &json!([]))
    );
    assert_eq!(app.post("/queue/pause", &json!({})).status, 204);
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.wav");
    write_tone(&path, 0.5, 300.0);
    app.add(&event, "Lectern", "stand", &[path]);
    assert_eq!(get()["state"], "waiting");
    let svg = app.get(&format!("/events/{event}/clock.svg"));
    let svg = String::from_utf8(svg.body).expect("UTF-8");
    assert!(svg.contains("Nothing is on the event clock yet."), "{svg}");
    assert_eq!(app.post("/queue/resume", &json!({})).status, 204);
    app.wait_idle();
    let solved = get();
    assert_eq!(solved["state"], "solved", "{solved}");
    // A single recording is the whole clock.
    let only = &solved["recordings"][0];
    assert_eq!(
        (&only["start_ms"], &only["island"]),
        (&json!(0), &json!(0)),
        "{solved}"
    );
    assert_eq!(only["end_ms"], 500, "{solved}");
    assert_eq!(solved["length_ms"], 500, "{solved}");
}
