//! Who speaks: named once, told, taken back, forgotten.

use axum::http::Method;
use serde_json::{Value, json};

use crate::app::Reply;
use crate::landing::Landing;

fn people(landing: &Landing) -> Vec<Value> {
    let path = format!("/events/{}/people", landing.event);
    let list = landing.app.get(&path).json();
    list["people"].as_array().expect("people").clone()
}

fn named(landing: &Landing, name: &str) -> Value {
    let all = people(landing);
    let found = all.iter().find(|person| person["name"] == name);
    found
        .unwrap_or_else(|| panic!("no {name} in {all:?}"))
        .clone()
}

fn send(landing: &Landing, method: Method, path: &str, body: &Value) -> Reply {
    landing.app.send(
        method,
        path,
        &[("content-type", "application/json")],
        body.to_string().into_bytes(),
    )
}

/// Who speaks where these words are, and the moment.
fn speaker(landing: &Landing, words: &str) -> (Value, String) {
    let answer = landing.app.get(&format!("/search?q={words}")).json();
    let hit = &answer["hits"][0];
    let moment = hit["moment"].as_str().expect("a moment");
    (hit["person"].clone(), moment.to_owned())
}

fn rename(landing: &Landing, person: &Value, change: &Value) -> Reply {
    let id = person["id"].as_str().expect("an id");
    send(landing, Method::PATCH, &format!("/people/{id}"), change)
}

/// Asked of an event that another test has made: that takes seconds.
pub(crate) fn people_are_named_told_and_forgotten(landing: &Landing) {
    crate::meaning::lines_are_found_by_what_they_mean(landing);
    let wearer = named(landing, "wearer of Corin, lapel");
    assert_eq!(wearer["wears"][0]["label"], "Corin, lapel");
    let other = named(landing, "speaker 1");
    assert_eq!(
        (&wearer["moments"], &other["moments"]),
        (&json!(2), &json!(1))
    );
    assert!(
        other["unnamed"] == true && other["has_voice"] == true,
        "{other}"
    );

    one_name_is_everywhere(landing, &wearer, &other);
    what_is_told_is_certain_and_can_be_taken_back(landing);
    wearers_swap(landing);
    people_are_made_one_and_go(landing);
    a_voice_is_known_again_elsewhere_where_that_is_wanted(landing);
    voices_are_forgotten(landing);
}

fn one_name_is_everywhere(landing: &Landing, wearer: &Value, other: &Value) {
    let change = json!({"name": "  Ottilie ", "role": "bride"});
    let row = rename(landing, other, &change).json();
    assert_eq!(
        (&row["name"], &row["role"], &row["unnamed"]),
        (&json!("Ottilie"), &json!("bride"), &json!(false))
    );
    assert_eq!(speaker(landing, "kettle").0["name"], "Ottilie");
    let taken = rename(landing, wearer, &json!({"name": "Ottilie"})).problem(409);
    assert!(
        taken["detail"]
            .as_str()
            .is_some_and(|d| d.contains("there already")),
        "{taken}"
    );
    for blank in ["", " \u{200b}\n"] {
        let refused = rename(landing, wearer, &json!({"name": blank})).problem(422);
        assert_eq!(refused["field"], "name");
    }
    rename(landing, wearer, &json!({"name": "Corin"}));
    assert_eq!(speaker(landing, "grandfather").0["name"], "Corin");
    // Whose microphone only overhears it is told.
    let answer = landing.app.get("/search?q=kettle").json();
    let lapel = answer["hits"][0]["heard_on"].as_array().expect("hearings");
    let lapel = lapel
        .iter()
        .find(|one| one["source"]["label"] == "Corin, lapel")
        .expect("the lapel");
    let why = json!("Corin wears it and does not speak here");
    assert!(
        lapel["why"]
            .as_array()
            .is_some_and(|all| all.contains(&why)),
        "{lapel}"
    );
    // A person named twice is told of, not made.
    let twice = send(
        landing,
        Method::POST,
        &format!("/events/{}/people", landing.event),
        &json!({"name": "Corin"}),
    );
    twice.problem(409);
}

fn what_is_told_is_certain_and_can_be_taken_back(landing: &Landing) {
    let path = format!("/events/{}/people", landing.event);
    let halbert = send(landing, Method::POST, &path, &json!({"name": "Halbert"}));
    assert_eq!(halbert.status, 201);
    let halbert = halbert.json();
    let (_, moment) = speaker(landing, "kettle");
    let path = format!("/moments/{moment}/person");
    let unknown = send(
        landing,
        Method::PUT,
        &path,
        &json!({"person": "nobody", "by": "Ada"}),
    );
    assert_eq!(unknown.problem(422)["field"], "person");
    let told = send(
        landing,
        Method::PUT,
        &path,
        &json!({"person": halbert["id"], "by": "Ada"}),
    );
    let told = told.json();
    assert_eq!(
        (&told["person"]["name"], &told["person"]["certainty"]),
        (&json!("Halbert"), &json!(1.0))
    );
    // It stands after who speaks was found again.
    for _ in 0..2 {
        let now = speaker(landing, "kettle").0;
        assert_eq!(
            (&now["name"], &now["certainty"]),
            (&json!("Halbert"), &json!(1.0)),
            "{now}"
        );
        landing.app.wait_idle();
    }
    let back = send(
        landing,
        Method::PUT,
        &path,
        &json!({"person": null, "by": "Ada"}),
    );
    assert_eq!(back.json()["person"], Value::Null);
    landing.app.wait_idle();
    let now = speaker(landing, "kettle").0;
    assert!(
        now["name"] == "Ottilie" && now["why"] == "by voice",
        "{now}"
    );
}

fn wearers_swap(landing: &Landing) {
    let (corin, ottilie) = (named(landing, "Corin"), named(landing, "Ottilie"));
    let source = corin["wears"][0]["source"].as_str().expect("a source");
    let path = format!("/sources/{source}/wearers");
    let swap = json!({"wearers": [{"person": ottilie["id"], "from_ms": 60_000}, {"person": corin["id"], "from_ms": null}]});
    let now = send(landing, Method::PUT, &path, &swap).json();
    assert_eq!(
        now["wearers"],
        json!([{"person": corin["id"], "from_ms": null}, {"person": ottilie["id"], "from_ms": 60_000}])
    );
    assert_eq!(named(landing, "Ottilie")["wears"][0]["from_ms"], 60_000);
    for (wrong, says) in [
        (json!([{"person": "nobody"}]), "no person 'nobody'"),
        (
            json!([{"person": corin["id"]}, {"person": ottilie["id"]}]),
            "from the start",
        ),
    ] {
        let refused = send(landing, Method::PUT, &path, &json!({"wearers": wrong})).problem(422);
        assert!(
            refused["detail"].as_str().is_some_and(|d| d.contains(says)),
            "{refused}"
        );
    }
    landing.app.wait_idle();
    // The swap lies behind everything that was said.
    assert_eq!(speaker(landing, "grandfather").0["name"], "Corin");
}

fn people_are_made_one_and_go(landing: &Landing) {
    let (halbert, corin) = (named(landing, "Halbert"), named(landing, "Corin"));
    let id = |person: &Value| person["id"].as_str().expect("an id").to_owned();
    let path = format!("/people/{}/merge", id(&halbert));
    let own = send(
        landing,
        Method::POST,
        &path,
        &json!({"into": halbert["id"], "by": "Ada"}),
    );
    assert_eq!(own.problem(422)["field"], "into");
    let one = send(
        landing,
        Method::POST,
        &path,
        &json!({"into": corin["id"], "by": "Ada"}),
    );
    assert_eq!(one.json()["name"], "Corin");
    landing
        .app
        .get(&format!("/events/{}/people", landing.event))
        .json();
    let gone = format!("/people/{}", id(&halbert));
    send(landing, Method::PATCH, &gone, &json!({"name": "x"})).problem(404);
    assert_eq!(
        landing
            .app
            .send(Method::DELETE, &gone, &[], Vec::new())
            .status,
        404
    );
    landing.app.wait_idle();
}

/// The same recordings as another event, whose speakers nobody has named.
fn a_voice_is_known_again_elsewhere_where_that_is_wanted(landing: &Landing) {
    let event = landing.app.event("Next year");
    for recorder in &landing.truth.recorders {
        let placement = recorder.placement.as_str();
        landing
            .app
            .add(&event, &recorder.label, placement, &landing.files(recorder));
    }
    landing.app.wait_idle();
    let perhaps = || {
        let list = landing.app.get(&format!("/events/{event}/people")).json();
        let all = list["people"].as_array().expect("people").clone();
        let speaker = all.iter().find(|person| person["name"] == "speaker 1");
        speaker.expect("a speaker")["perhaps"].clone()
    };
    assert_eq!(perhaps(), Value::Null, "off until turned on");
    let on = json!({"across_events": true});
    assert_eq!(send(landing, Method::PUT, "/voices", &on).json(), on);
    let guess = perhaps();
    assert_eq!(
        (&guess["name"], &guess["event"]),
        (&json!("Ottilie"), &json!("Tarrow Landing")),
        "{guess}"
    );
    assert!(
        guess["alike"].as_f64().is_some_and(|alike| alike > 0.9),
        "{guess}"
    );
}

fn voices_are_forgotten(landing: &Landing) {
    assert!(
        people(landing)
            .iter()
            .any(|person| person["has_voice"] == true)
    );
    let path = format!("/events/{}/voices", landing.event);
    assert_eq!(
        landing
            .app
            .send(Method::DELETE, &path, &[], Vec::new())
            .status,
        204
    );
    assert!(
        people(landing)
            .iter()
            .all(|person| person["has_voice"] == false)
    );
    assert_eq!(
        speaker(landing, "kettle").0["name"],
        "Ottilie",
        "who spoke stays"
    );
    // Nobody is known by what was forgotten.
    let path = format!("/events/{}/voices", landing.event);
    assert_eq!(send(landing, Method::POST, &path, &json!({})).status, 202);
    landing.app.wait_idle();
    assert!(
        people(landing)
            .iter()
            .any(|person| person["has_voice"] == true)
    );
    assert_eq!(
        speaker(landing, "kettle").0["name"],
        "Ottilie",
        "and is found again"
    );
    let off = json!({"across_events": false});
    assert_eq!(send(landing, Method::PUT, "/voices", &off).json(), off);
}
