//! Cut lists: quotes picked in every way, in an order, and what becomes of them whatever
//! happens to the event. On recordings of a letter and vows, heard by two recorders and
//! written down by tiny.en.

mod handed_over;
mod lists;
mod outlive;

use axum::http::Method;
use serde_json::{Value, json};

use crate::app::{Reply, TestApp};
use crate::landing::Landing;

const LAPEL: &str = "Corin, lapel";
const CAMERA: &str = "Camera";

/// A cut list of an event.
struct Desk<'a> {
    app: &'a TestApp,
    id: String,
}

impl<'a> Desk<'a> {
    fn of(app: &'a TestApp, event: &str, name: &str) -> Self {
        let reply = app.post(&format!("/events/{event}/cuts"), &json!({ "name": name }));
        assert_eq!(reply.status, 201, "{}", reply.json());
        let id = reply.json()["id"].as_str().expect("an id").to_owned();
        Self { app, id }
    }

    fn path(&self, rest: &str) -> String {
        format!("/cuts/{}{rest}", self.id)
    }

    fn show(&self) -> Value {
        let reply = self.app.get(&self.path(""));
        assert_eq!(reply.status, 200, "{}", reply.json());
        reply.json()
    }

    fn version(&self) -> i64 {
        self.show()["cut"]["version"].as_i64().expect("a version")
    }

    /// Sends something with the version that stands.
    fn send(&self, method: Method, rest: &str, mut body: Value) -> Reply {
        if body.get("version").is_none() {
            body["version"] = json!(self.version());
        }
        let kind = [("content-type", "application/json")];
        let body = body.to_string().into_bytes();
        self.app.send(method, &self.path(rest), &kind, body)
    }

    fn add(&self, quote: &Value) -> Reply {
        self.send(Method::POST, "/quotes", json!({ "quotes": [quote] }))
    }

    /// The quote that was put in.
    fn added(&self, quote: &Value) -> Value {
        let reply = self.add(quote);
        assert_eq!(reply.status, 201, "{}", reply.json());
        reply.json()["quotes"][0].clone()
    }

    fn drop_quote(&self, quote: &Value) -> Reply {
        let rest = format!("/quotes/{}?version={}", text(quote, "id"), self.version());
        self.app
            .send(Method::DELETE, &self.path(&rest), &[], Vec::new())
    }
}

fn text<'a>(value: &'a Value, member: &str) -> &'a str {
    let text = value[member].as_str();
    text.unwrap_or_else(|| panic!("no {member} in {value:#}"))
}

fn number(value: &Value, member: &str) -> i64 {
    let number = value[member].as_i64();
    number.unwrap_or_else(|| panic!("no {member} in {value:#}"))
}

/// What a recorder has of a quote.
fn heard<'a>(quote: &'a Value, label: &str) -> &'a Value {
    let backups = quote["backups"].as_array().expect("backups").iter();
    let mut all = std::iter::once(&quote["chosen"]).chain(backups);
    let found = all.find(|one| one["source"]["label"] == label);
    found.unwrap_or_else(|| panic!("no {label} in {quote:#}"))
}

fn kinds(quote: &Value) -> Vec<&str> {
    let problems = quote["problems"].as_array().expect("problems").iter();
    problems.map(|one| text(one, "kind")).collect()
}

/// The event takes seconds to make, so one is asked everything.
#[test]
fn quotes_are_picked_in_every_way_and_outlive_everything() {
    let landing = Landing::new();
    let desk = Desk::of(&landing.app, &landing.event, "film");
    every_way_of_picking_lies_at_the_same_time(&landing, &desk);
    a_quote_is_nudged_by_ms_and_by_frames(&desk);
    a_hearing_is_chosen(&landing, &desk);
    handed_over::a_list_is_written_in_every_format(&desk);
    handed_over::a_folder_has_the_sound_bit_by_bit(&landing, &desk);
    handed_over::a_single_quote_is_handed_over(&desk);
    handed_over::a_folder_can_be_stopped(&desk);
    handed_over::a_whole_event_is_handed_over(&landing, &desk);
    handed_over::what_is_offline_is_told_and_the_rest_is_written(&landing, &desk);
    nonsense_is_refused_by_the_name_of_the_field(&landing, &desk);
    outlive::corrected_words_are_told_beside_those_that_were_picked(&landing, &desk);
    outlive::a_quote_goes_with_its_file_when_the_clock_is_put_elsewhere(&landing, &desk);
    outlive::moments_that_are_found_anew_take_nothing_away(&landing, &desk);
    outlive::a_file_that_is_gone_is_told(&landing, &desk);
    outlive::an_event_that_goes_takes_its_lists_along(&landing, &desk);
}

fn every_way_of_picking_lies_at_the_same_time(landing: &Landing, desk: &Desk<'_>) {
    let found = landing.app.get("/search?q=%22ferry%20bell%22").json();
    let hit = &found["hits"][0];
    // A hit as it is.
    let by_hit = desk.added(hit);
    assert!(
        text(&by_hit, "text").to_lowercase().contains("ferry bell"),
        "{by_hit:#}"
    );
    assert_eq!(by_hit["text"], by_hit["text_now"]);
    assert_eq!(
        (&by_hit["start_ms"], &by_hit["end_ms"]),
        (&hit["start_ms"], &hit["end_ms"])
    );
    assert_eq!(kinds(&by_hit), [""; 0]);
    // The same words, counted.
    let moment = landing
        .app
        .get(&format!("/moments/{}", text(hit, "moment")))
        .json();
    let words = moment["words"].as_array().expect("words");
    let matched = &hit["matched"][0];
    let by_words = desk.added(&json!({
        "moment": hit["moment"], "from": matched["from"], "to": matched["to"], "note": "n",
    }));
    // And the same stretch of a file, and of the clock.
    let best = &hit["heard_on"][0];
    let by_file = desk.added(&json!({
        "recording": best["recording"]["id"], "start_ms": best["start_ms"], "end_ms": best["end_ms"],
    }));
    let by_clock = desk.added(&json!({"start_ms": hit["start_ms"], "end_ms": hit["end_ms"]}));
    for other in [&by_words, &by_file, &by_clock] {
        assert_eq!(other["text"], by_hit["text"], "{other:#}");
        assert_eq!(other["moments"], by_hit["moments"]);
        for member in ["start_ms", "end_ms"] {
            let off = number(other, member) - number(&by_hit, member);
            assert!(off.abs() <= 1, "{member} {off}: {other:#}");
        }
    }
    // Every recorder has it where a hit says that it is, whole, and the best is used.
    for one in hit["heard_on"].as_array().expect("hearings") {
        let label = text(&one["source"], "label");
        let told = heard(&by_hit, label);
        for member in ["start_ms", "end_ms", "verdict", "timecode", "play"] {
            assert_eq!(told[member], one[member], "{label} {member}");
        }
        assert_eq!(
            (&told["covers"], &told["online"], &told["heard"]),
            (&json!(true), &json!(true), &json!(true))
        );
    }
    assert_eq!(by_hit["chosen"]["source"], best["source"]);
    // A whole moment, with the words of a cut at their own times.
    let whole = desk.added(&json!({"moment": hit["moment"]}));
    let own = whole["words"].as_array().expect("words");
    assert_eq!(own.len(), words.len());
    assert_eq!(
        (&own[0]["start_ms"], &own[0]["text"]),
        (&json!(0), &words[0]["text"])
    );
    let last = own.last().expect("a word");
    let off = number(last, "end_ms") - number(&whole, "length_ms");
    assert!(off.abs() <= 1, "{whole:#}");

    let list = desk.show();
    let quotes = list["quotes"].as_array().expect("quotes");
    let mut at_ms = 0;
    for (n, quote) in (1..).zip(quotes) {
        assert_eq!((number(quote, "place"), number(quote, "at_ms")), (n, at_ms));
        assert_eq!(
            number(quote, "length_ms"),
            number(quote, "end_ms") - number(quote, "start_ms")
        );
        at_ms += number(quote, "length_ms");
    }
    assert_eq!((quotes.len(), number(&list, "length_ms")), (5, at_ms));
    assert_eq!(list["frame_rate"], "25");
    // Only the first is needed from here on.
    for quote in &quotes[1..] {
        assert_eq!(desk.drop_quote(quote).status, 200);
    }
}

fn first(desk: &Desk<'_>) -> Value {
    desk.show()["quotes"][0].clone()
}

fn a_quote_is_nudged_by_ms_and_by_frames(desk: &Desk<'_>) {
    let before = first(desk);
    let quote = format!("/quotes/{}", text(&before, "id"));
    let nudge = |body: Value| desk.send(Method::POST, &format!("{quote}/nudge"), body);
    let reply = nudge(json!({"in": {"ms": -120}, "out": {"frames": 2}}));
    assert_eq!(reply.status, 200, "{}", reply.json());
    let now = reply.json()["quotes"][0].clone();
    assert_eq!(number(&now, "start_ms"), number(&before, "start_ms") - 120);
    assert_eq!(number(&now, "end_ms"), number(&before, "end_ms") + 80);
    assert_eq!(
        number(&now, "length_ms"),
        number(&before, "length_ms") + 200
    );
    assert_eq!(
        (&now["in"]["ms"], &now["out"]["frames"]),
        (&json!(-120), &json!(2))
    );
    assert_eq!(now["text"], before["text"]);
    for label in [LAPEL, CAMERA] {
        let by = number(heard(&now, label), "start_ms") - number(heard(&before, label), "start_ms");
        assert!((by + 120).abs() <= 1, "{label}: {by}");
    }
    // It begins before it ends, or nothing is written.
    let length = number(&now, "length_ms");
    let refused = nudge(json!({"in": {"ms": length}})).problem(422);
    assert_eq!(refused["field"], "in");
    let refused = nudge(json!({"out": {"frames": -100_000}})).problem(422);
    assert_eq!(refused["field"], "out");
    assert_eq!(first(desk), now);
    // Said outright it is the same however often it is said.
    let bounds = json!({"start_ms": before["start_ms"], "end_ms": before["end_ms"], "version": 1});
    desk.send(Method::PATCH, &quote, bounds.clone())
        .problem(409);
    let version = desk.version();
    for _ in 0..2 {
        let mut bounds = bounds.clone();
        bounds["version"] = json!(version);
        let back = desk.send(Method::PATCH, &quote, bounds).json();
        assert_eq!(back["cut"]["version"], version + 1);
        let back = &back["quotes"][0];
        assert_eq!(
            (&back["start_ms"], &back["end_ms"]),
            (&before["start_ms"], &before["end_ms"])
        );
    }
}

fn a_hearing_is_chosen(landing: &Landing, desk: &Desk<'_>) {
    let before = first(desk);
    let quote = format!("/quotes/{}", text(&before, "id"));
    let backup = &before["backups"][0];
    let wanted = &backup["recording"]["id"];
    let body = json!({"hearing": wanted, "backups_wanted": 0, "note": "Ζωή: \"ja\",\nnein"});
    let now = desk.send(Method::PATCH, &quote, body).json()["quotes"][0].clone();
    assert_eq!(
        (&now["hearing"], &now["chosen"]["recording"]["id"]),
        (wanted, wanted)
    );
    assert_eq!(now["backups"][0]["source"], before["chosen"]["source"]);
    assert_eq!(
        (number(&now, "backups_wanted"), text(&now, "note")),
        (0, "Ζωή: \"ja\",\nnein")
    );
    // A note alone leaves the choice; null takes it back.
    let now = desk.send(Method::PATCH, &quote, json!({"note": ""})).json();
    assert_eq!(&now["quotes"][0]["hearing"], wanted);
    let body = json!({"hearing": null, "backups_wanted": null});
    let now = desk.send(Method::PATCH, &quote, body).json()["quotes"][0].clone();
    assert_eq!(
        (&now["hearing"], &now["backups_wanted"]),
        (&Value::Null, &Value::Null)
    );
    assert_eq!(now["chosen"], before["chosen"]);
    let body = json!({"hearing": "r0000000000000000"});
    let refused = desk.send(Method::PATCH, &quote, body).problem(422);
    assert_eq!(refused["field"], "hearing");
    // The sound of it is there.
    let play = text(&now["chosen"], "play")
        .split('#')
        .next()
        .expect("a path");
    let range = [("range", "bytes=0-99")];
    let reply = landing.app.send_to(Method::GET, play, &range, Vec::new());
    assert_eq!(reply.status, 206);
}

fn nonsense_is_refused_by_the_name_of_the_field(landing: &Landing, desk: &Desk<'_>) {
    let quote = first(desk);
    let recording = &quote["chosen"]["recording"]["id"];
    let moment = &quote["moments"][0];
    let before = desk.show();
    for (picked, field) in [
        (json!({}), "moment"),
        (json!({"start_ms": 5}), "end_ms"),
        (json!({"start_ms": 5, "end_ms": 5}), "end_ms"),
        (json!({"start_ms": 9, "end_ms": 5}), "end_ms"),
        (
            json!({"start_ms": 80_000_000, "end_ms": 80_000_500}),
            "start_ms",
        ),
        (
            json!({"start_ms": i64::MIN, "end_ms": i64::MAX}),
            "start_ms",
        ),
        (json!({"recording": recording}), "start_ms"),
        (
            json!({"recording": recording, "start_ms": -1, "end_ms": 5}),
            "start_ms",
        ),
        (
            json!({"recording": recording, "start_ms": 0, "end_ms": 9_000_000}),
            "end_ms",
        ),
        (
            json!({"recording": recording, "start_ms": 0, "end_ms": 9, "from": 1}),
            "recording",
        ),
        (json!({"moment": moment, "from": 3, "to": 3}), "from"),
        (json!({"moment": moment, "from": -1}), "from"),
        (json!({"moment": moment, "to": 1_000}), "to"),
        (
            json!({"moment": moment, "matched": [{"from": 500, "to": 501}]}),
            "matched",
        ),
        (json!({"moment": moment, "hearing": "nobody"}), "hearing"),
        (
            json!({"moment": moment, "backups_wanted": 101}),
            "backups_wanted",
        ),
        (json!({"moment": moment, "note": "a\0b"}), "note"),
        (
            json!({"moment": moment, "note": "x".repeat(1 << 20)}),
            "note",
        ),
    ] {
        assert_eq!(desk.add(&picked).problem(422)["field"], field, "{picked}");
    }
    desk.add(&json!({"moment": "nobody"})).problem(404);
    desk.add(&json!({"recording": "nobody", "start_ms": 0, "end_ms": 5}))
        .problem(404);
    // Another event's moments are none of this list's.
    let other = landing.app.event("Boathouse");
    let elsewhere = Desk::of(&landing.app, &other, "other");
    elsewhere.add(&json!({ "moment": moment })).problem(404);
    elsewhere
        .add(&json!({"recording": recording, "start_ms": 0, "end_ms": 5}))
        .problem(404);
    // Of several, the one that is wrong is told, and none is taken.
    let good = json!({ "moment": moment });
    let several = json!({"quotes": [good, {"moment": moment, "to": 1_000}]});
    let refused = desk.send(Method::POST, "/quotes", several).problem(422);
    assert!(
        text(&refused, "detail").starts_with("quote 2: "),
        "{refused}"
    );
    assert_eq!(desk.show(), before);
}
