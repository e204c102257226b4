//! What becomes of quotes when words, clock, moments, files and the event change.

use axum::http::Method;
use serde_json::json;

use super::{CAMERA, Desk, LAPEL, first, heard, kinds, number, text};
use crate::landing::Landing;

/// How far an instant may be off that is taken from one recording to the other: the goal
/// of the clock for 99 of 100 instants, ms.
const CLOCK_MS: i64 = 10;

pub(super) fn corrected_words_are_told_beside_those_that_were_picked(
    landing: &Landing,
    desk: &Desk<'_>,
) {
    let before = first(desk);
    let path = format!(
        "/moments/{}",
        before["moments"][0].as_str().expect("a moment")
    );
    let heard = landing.app.get(&path).json();
    let put = |version: i64, written: &str| {
        let body = json!({"version": version, "by": "Maro", "text": written}).to_string();
        let kind = [("content-type", "application/json")];
        let words = format!("{path}/words");
        let reply = landing
            .app
            .send(Method::PUT, &words, &kind, body.into_bytes());
        assert_eq!(reply.status, 200, "{}", reply.json());
        number(&reply.json()["moments"][0], "version")
    };
    let was = text(&heard, "text");
    let written = was.replace(" bell", " gong");
    assert_ne!(was, written);
    let version = put(number(&heard, "version"), &written);
    let now = first(desk);
    assert_eq!(now["text"], before["text"]);
    let said = text(&now, "text_now");
    assert_eq!(said, text(&before, "text").replace(" bell", " gong"));
    assert_eq!(kinds(&now), ["words changed"]);
    for member in ["start_ms", "end_ms", "chosen", "backups"] {
        assert_eq!(now[member], before[member], "{member}");
    }
    // What is cut in two is told of both.
    let count = text(&heard, "text").split(' ').count();
    let split = json!({"version": version, "by": "Maro", "at_word": count - 1});
    let halves = landing.app.post(&format!("{path}/split"), &split);
    assert_eq!(halves.status, 200, "{}", halves.json());
    assert_eq!(text(&first(desk), "text_now"), said);
    let version = number(&landing.app.get(&path).json(), "version");
    let undo = json!({"version": version, "by": "Maro", "to": number(&heard, "version")});
    let undone = landing.app.post(&format!("{path}/undo"), &undo);
    assert_eq!(undone.status, 200, "{}", undone.json());
    assert_eq!(first(desk)["text_now"], before["text"]);
}

pub(super) fn a_quote_goes_with_its_file_when_the_clock_is_put_elsewhere(
    landing: &Landing,
    desk: &Desk<'_>,
) {
    let before = first(desk);
    for label in [LAPEL, CAMERA] {
        let recording = &heard(&before, label)["recording"]["id"];
        let path = format!("/recordings/{}/clock", recording.as_str().expect("an id"));
        let clock = landing
            .app
            .get(&format!("/events/{}/clock", landing.event))
            .json();
        let all = clock["recordings"].as_array().expect("recordings");
        let own = all.iter().find(|one| one["recording"]["id"] == *recording);
        let start_ms = own.expect("it is placed")["start_exact_ms"]
            .as_f64()
            .expect("a start");
        let body = json!({"start_ms": start_ms + 60_000.0}).to_string();
        let kind = [("content-type", "application/json")];
        let reply = landing
            .app
            .send(Method::PUT, &path, &kind, body.into_bytes());
        assert_eq!(reply.status, 202);
    }
    landing.app.wait_idle();
    let now = first(desk);
    let later = number(&now, "start_ms") - number(&before, "start_ms");
    assert!((later - 60_000).abs() <= CLOCK_MS, "{later}: {now:#}");
    assert_eq!(
        (&now["text"], &now["text_now"]),
        (&before["text"], &before["text_now"])
    );
    for label in [LAPEL, CAMERA] {
        let off =
            number(heard(&now, label), "start_ms") - number(heard(&before, label), "start_ms");
        assert!(off.abs() <= CLOCK_MS, "{label}: {off}");
    }
    assert_eq!(kinds(&now), kinds(&before));
    for label in [LAPEL, CAMERA] {
        let recording = text(&heard(&before, label)["recording"], "id");
        let path = format!("/recordings/{recording}/clock");
        landing.app.send(Method::DELETE, &path, &[], Vec::new());
    }
    landing.app.wait_idle();
}

/// From scratch: places, moments and words are forgotten and found once more.
pub(super) fn moments_that_are_found_anew_take_nothing_away(landing: &Landing, desk: &Desk<'_>) {
    // This one is nobody's correction, so that its moment goes.
    let found = landing.app.get("/search?q=kettle").json();
    let other = found["hits"]
        .as_array()
        .expect("hits")
        .iter()
        .find(|hit| hit["moment"] != first(desk)["moments"][0] && hit["guess"] == false);
    let picked = other.map(|hit| desk.added(hit));
    let before = desk.show();
    let path = format!("/events/{}/clock/solve", landing.event);
    assert_eq!(landing.app.post(&path, &json!({"anew": true})).status, 202);
    // Also while nothing is placed and no words are there.
    let meanwhile = desk.show();
    assert_eq!(meanwhile["quotes"][0]["text"], before["quotes"][0]["text"]);
    landing.app.wait_idle();
    let now = desk.show();
    assert_eq!(
        now["cut"], before["cut"],
        "no person did anything to the list"
    );
    for (n, quote) in now["quotes"].as_array().expect("quotes").iter().enumerate() {
        let was = &before["quotes"][n];
        for member in ["id", "text", "text_now", "person"] {
            assert_eq!(quote[member], was[member], "{member}");
        }
        for label in [LAPEL, CAMERA] {
            let off =
                number(heard(quote, label), "start_ms") - number(heard(was, label), "start_ms");
            assert!(off.abs() <= CLOCK_MS, "{label}: {off}");
        }
    }
    if let Some(picked) = picked {
        let n = now["quotes"].as_array().expect("quotes").len() - 1;
        assert_ne!(
            now["quotes"][n]["moments"], picked["moments"],
            "it was found anew"
        );
    }
}

pub(super) fn a_file_that_is_gone_is_told(landing: &Landing, desk: &Desk<'_>) {
    let before = first(desk);
    let label = text(&before["chosen"]["source"], "label");
    let recorder = landing
        .truth
        .recorders
        .iter()
        .find(|one| one.label == label);
    let file = landing.files(recorder.expect("a recorder")).remove(0);
    let away = file.with_extension("away");
    std::fs::rename(&file, &away).expect("it is moved");
    let now = first(desk);
    assert_eq!(
        (&now["chosen"]["online"], kinds(&now)),
        (&json!(false), {
            let mut all = kinds(&before);
            all.push("offline");
            all
        })
    );
    std::fs::rename(&away, &file).expect("it is put back");
    assert_eq!(first(desk), before);
}

pub(super) fn an_event_that_goes_takes_its_lists_along(landing: &Landing, desk: &Desk<'_>) {
    let version = desk.version();
    let path = format!("/events/{}", landing.event);
    let reply = landing.app.send(Method::DELETE, &path, &[], Vec::new());
    assert_eq!(reply.status, 204);
    landing.app.get(&desk.path("")).problem(404);
    let late = json!({"version": version, "quotes": [{"start_ms": 0, "end_ms": 5}]});
    desk.send(Method::POST, "/quotes", late).problem(404);
}
