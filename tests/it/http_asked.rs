//! Whatever is asked is no error, filters leave what they name, and what is removed is
//! gone at once.

use std::io::{Read, Write};
use std::net::TcpStream;

use axum::http::Method;
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use serde_json::{Value, json};

use crate::app::{Reply, TestApp};
use crate::landing::Landing;

fn asked(app: &TestApp, query: &str, more: &str) -> Value {
    let query = utf8_percent_encode(query, NON_ALPHANUMERIC);
    let reply = app.get(&format!("/search?q={query}{more}"));
    assert_eq!(reply.status, 200, "{query} {more}: {}", reply.json());
    reply.json()
}

fn gone(app: &TestApp, path: &str) -> Reply {
    app.send(Method::DELETE, path, &[], Vec::new())
}

/// The status of a search whose address no client would send.
fn raw(app: &TestApp, query: &str) -> String {
    let address = app.url.trim_start_matches("http://");
    let mut stream = TcpStream::connect(address).expect("a connection");
    let request = format!(
        "GET /api/v1/search?q={query} HTTP/1.1\r\nhost: {address}\r\nconnection: close\r\n\r\n"
    );
    // The server may answer and hang up before it has read all of it.
    let _ = stream.write_all(request.as_bytes());
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    let answer = String::from_utf8_lossy(&answer);
    answer.split(' ').nth(1).unwrap_or("none").to_owned()
}

fn first(app: &TestApp, query: &str) -> (String, String) {
    let answer = asked(app, query, "");
    let hit = &answer["hits"][0];
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    (text(&hit["match"]), text(&hit["text"]))
}

pub fn nothing_that_is_typed_is_an_error(landing: &Landing) {
    let app = &landing.app;
    let paragraph = "so she said that the ferry bell rang twice and nobody came ".repeat(40);
    for query in [
        "",
        "   ",
        "the of and to",
        "?!… — '\" *",
        "🎉🛶 💍",
        "\0 \u{1} \u{7f}",
        "ferry\" OR facts : \"e",
        "NEAR(ferry bell, 2) AND NOT words : x ^ferry -bell",
        "'; DROP TABLE said; --",
        "%' OR 1=1 --",
        "ferry* bell* *",
        "我愿意 שלום नमस्ते",
        &"x".repeat(3_000),
        &paragraph,
    ] {
        for more in [
            "",
            "&typing=true",
            "&sort=clock&facets=true",
            "&confidence=0.5",
        ] {
            asked(app, query, more);
        }
    }
    // What is far too long for an address is refused as such, and nothing else breaks.
    let status = raw(app, &"ferry%20".repeat(131_072));
    assert!(["400", "414", "431"].contains(&status.as_str()), "{status}");
    assert_eq!(app.get("/health").json()["status"], "ok");
}

pub fn a_line_is_found_as_it_is_remembered(landing: &Landing) {
    let app = &landing.app;
    for query in [
        "the feri bell",
        "the bit about the ferry bells",
        "ferry's bell",
        "fairy bell",
        "bell of the ferry",
    ] {
        let (_, text) = first(app, query);
        assert!(
            text.to_lowercase().contains("ferry bell"),
            "{query}: {text}"
        );
    }
    assert_eq!(first(app, "ferry bell").0, "exact");
    assert_ne!(first(app, "feri bell").0, "exact");
    let typed = asked(app, "ferry be", "&typing=true");
    let text = typed["hits"][0]["text"].as_str().expect("a text");
    assert!(text.to_lowercase().contains("ferry bell"), "{typed}");
    let said = app.get("/search/words?begin=FERR").json();
    assert_eq!(said["words"][0]["word"], "ferry", "{said}");
}

pub fn filters_leave_what_they_name(landing: &Landing) {
    let app = &landing.app;
    let total = |more: &str| asked(app, "ferry bell", more)["total"].clone();
    assert_eq!(total("&event=Tarrow%20Landing"), 1);
    assert_eq!(total("&placement=worn&best=true"), 1);
    assert_eq!(total("&placement=camera"), 1);
    assert_eq!(total("&placement=camera&best=true"), 0);
    assert_eq!(total("&placement=feed"), 0);
    assert_eq!(total("&source=camera"), 1, "by label, whatever its case");
    assert_eq!(total("&source=nothing"), 0);
    assert_eq!(total("&person=nobody"), 0);
    assert_eq!(total("&language=de"), 0);
    assert_eq!(total("&from=1900-01-01&to=1900-12-31"), 0);
    assert_eq!(total("&from=19000101"), total("&from=1900-01-01"));
    assert_eq!(total("&part=toasts"), 0);
    assert_eq!(total("&confidence=1"), 0);
    let answer = asked(app, "", "&event=Tarrow%20Landing&sort=clock&facets=true");
    let hits = answer["hits"].as_array().expect("hits");
    let starts: Vec<i64> = hits.iter().filter_map(|h| h["start_ms"].as_i64()).collect();
    assert!(starts.len() > 1 && starts.is_sorted(), "{starts:?}");
    assert!(hits.iter().all(|hit| hit["matched"] == json!([])));
    let facets = &answer["facets"];
    assert_eq!(facets["events"][0]["hits"], answer["total"], "{facets}");
    let with = facets["backed_up"].as_u64().expect("a count");
    let without = facets["not_backed_up"].as_u64().expect("a count");
    assert_eq!(json!(with + without), answer["total"]);
    // A count is how many lines are left by what is counted.
    for (counts, filter) in [
        ("events", "event"),
        ("people", "person"),
        ("sources", "source"),
        ("placements", "placement"),
        ("languages", "language"),
    ] {
        let counts = facets[counts].as_array().expect("counts");
        assert!(
            filter == "person" || !counts.is_empty(),
            "{filter} {facets}"
        );
        for count in counts {
            let id = utf8_percent_encode(count["id"].as_str().expect("an id"), NON_ALPHANUMERIC);
            let more = format!("&event=Tarrow%20Landing&{filter}={id}");
            let more = more.replace("&event=Tarrow%20Landing&event=", "&event=");
            assert_eq!(asked(app, "", &more)["total"], count["hits"], "{count}");
        }
    }
}

pub fn searches_are_kept_under_a_name(landing: &Landing) {
    let app = &landing.app;
    let new =
        |name: &str, asked: &str| app.post("/searches", &json!({ "name": name, "asked": asked }));
    assert_eq!(new("bells", "q=bell&sort=clock").status, 201);
    assert_eq!(new("bells", "q=rope").status, 409);
    for wrong in [
        "limit=many",
        "placement=roof",
        "from=soon",
        "q=a&q=b",
        "q=a#b",
    ] {
        new("wrong", wrong).problem(422);
    }
    let kept = app.get("/searches").json();
    assert_eq!(kept["searches"][0]["asked"], "q=bell&sort=clock", "{kept}");
    assert_eq!(
        new("  two \u{0} words\n", "q=x").json()["name"],
        "two words"
    );
    assert_eq!(new("\u{200b} ", "q=x").status, 422);
    assert_eq!(gone(app, "/searches/two%20words").status, 204);
    assert_eq!(gone(app, "/searches/bells").status, 204);
    let problem = gone(app, "/searches/bells").problem(404);
    assert_eq!(problem["type"], "urn:sayback:problem:no-such-saved-search");
}

pub fn the_index_is_made_again_while_it_is_asked(landing: &Landing) {
    let app = &landing.app;
    let path = format!("/events/{}/index", landing.event);
    std::thread::scope(|scope| {
        let again = scope.spawn(|| {
            for _ in 0..10 {
                let state = app.post(&path, &json!({}));
                assert_eq!(state.json()["wrong"], json!([]));
            }
        });
        while !again.is_finished() {
            // Rows are put in within one transaction: never none, never two.
            assert_eq!(asked(app, "\"ferry bell\"", "")["total"], 1);
        }
    });
}

/// The last that is asked of an event.
pub fn an_event_that_is_removed_is_gone_at_once(landing: &Landing) {
    let app = &landing.app;
    let hit = asked(app, "ferry bell", "")["hits"][0].clone();
    let play = hit["heard_on"][0]["play"].as_str().expect("a fragment");
    let audio = play.trim_start_matches("/api/v1");
    let audio = audio.split('#').next().expect("an address");
    assert_eq!(app.get(audio).status, 200);
    let path = format!("/events/{}", landing.event);
    assert_eq!(gone(app, &path).status, 204);
    // Other events that say it stay.
    let left = asked(app, "ferry bell", "&limit=200");
    let left = left["hits"].as_array().expect("hits");
    assert!(
        left.iter()
            .all(|hit| hit["event"]["id"] != landing.event.as_str())
    );
    let event = format!("&event={}", landing.event);
    app.get(&format!("/search?q=bell{event}")).problem(404);
    app.get(&format!("/search/words?begin=f{event}"))
        .problem(404);
    app.get(audio).problem(404);
    let moment = hit["moment"].as_str().expect("an id");
    app.get(&format!("/moments/{moment}")).problem(404);
    gone(app, &path).problem(404);
}
