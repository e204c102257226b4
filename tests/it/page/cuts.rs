//! A cut list on the page, as an editor works on it: on recordings of a letter and vows,
//! heard by two recorders.

mod edges;
mod heard;
mod kept;
mod long;
mod order;

use serde_json::{Value, json};

use super::in_browser;
use crate::app::Reply;
use crate::browser::Browser;
use crate::landing::Landing;

/// A cut list on the page and on the server.
struct Desk<'a> {
    browser: &'a Browser,
    landing: &'a Landing,
    /// The list's id.
    cut: String,
}

impl Desk<'_> {
    fn path(&self, rest: &str) -> String {
        format!("/cuts/{}{rest}", self.cut)
    }

    /// The list as the server tells it.
    fn list(&self) -> Value {
        let reply = self.landing.app.get(&self.path(""));
        assert_eq!(reply.status, 200, "{}", reply.json());
        reply.json()
    }

    fn quote(&self, place: usize) -> Value {
        self.list()["quotes"][place - 1].clone()
    }

    /// The words of its quotes in order, as the server tells them.
    fn order(&self) -> Vec<String> {
        let list = self.list();
        let quotes = list["quotes"].as_array().expect("quotes").iter();
        let texts = quotes.map(|quote| quote["text"].as_str().expect("a text").to_owned());
        texts.collect()
    }

    /// Does something behind the page's back.
    fn behind(&self, rest: &str, mut body: Value) -> Reply {
        body["version"] = self.list()["cut"]["version"].clone();
        let kind = [("content-type", "application/json")];
        let body = body.to_string().into_bytes();
        let method = axum::http::Method::PATCH;
        self.landing.app.send(method, &self.path(rest), &kind, body)
    }

    /// Waits until the rows of the page have these words.
    async fn sees(&self, order: &[String]) {
        let order = serde_json::to_string(order).expect("JSON");
        let rows = "[...document.querySelectorAll('li.quote .words')].map(row => row.textContent)";
        let script = format!("return JSON.stringify({rows}) === JSON.stringify({order})");
        self.browser
            .wait(&format!("the order {order}"), &script)
            .await;
    }

    /// Waits until the page has told something that holds these words.
    async fn told(&self, words: &str) -> String {
        let words = serde_json::to_string(words).expect("JSON");
        let script = format!(
            "const t = document.getElementById('cut-news').textContent;
             return t.includes({words}) ? t : null"
        );
        let told = self
            .browser
            .wait(&format!("it tell {words}"), &script)
            .await;
        told.as_str().expect("a text").to_owned()
    }

    /// The quote at a place is looked at.
    async fn choose(&self, place: usize) {
        let row = format!("li.quote:nth-child({place})");
        self.browser.click(&format!("{row} .words")).await;
        let chosen = format!("return document.querySelector('{row}').classList.contains('chosen')");
        self.browser.wait("the quote chosen", &chosen).await;
    }
}

/// The event takes seconds to make, so one is asked everything.
#[test]
fn an_editor_collects_lines_and_puts_them_in_order_by_ear() {
    let landing = Landing::new();
    in_browser(async |browser| {
        let desk = makes_a_list(&browser, &landing).await;
        collects(&desk).await;
        order::by_keys_buttons_and_drag(&desk).await;
        edges::are_nudged_by_frames_ms_and_words(&desk).await;
        edges::are_dragged_on_the_wave(&desk).await;
        heard::another_hearing_is_chosen(&desk).await;
        heard::back_to_back(&desk).await;
        kept::notes_and_names(&desk).await;
        kept::versions_are_gone_back_to(&desk).await;
        kept::what_somebody_else_did_loses_nothing(&desk).await;
        kept::files_are_those_of_the_server(&desk).await;
        kept::a_list_is_removed_by_a_second_press(&desk).await;
        // It also logs what the server refused.
        let refused = |told: &String| {
            !["409", "422"]
                .iter()
                .any(|n| told.contains(&format!("status of {n}")))
        };
        let complaints: Vec<String> = browser.end().await;
        let complaints: Vec<String> = complaints.into_iter().filter(refused).collect();
        assert_eq!(complaints, [""; 0], "the browser complained");
    });
}

async fn makes_a_list<'a>(browser: &'a Browser, landing: &'a Landing) -> Desk<'a> {
    let url = format!("{}/?event={}&view=cuts", landing.app.url, landing.event);
    browser.open(&url).await;
    // Where there is none yet, the form waits with a name.
    browser
        .wait(
            "a name proposed",
            "return document.getElementById('cut-new-name').value === 'Cut 1'",
        )
        .await;
    browser
        .run("document.getElementById('cut-new-name').select(); return 1")
        .await;
    browser.type_into("#cut-new-name", "Film, \"short\"").await;
    browser.click("#cut-make").await;
    browser
        .wait(
            "the list",
            "return document.getElementById('cut-title').textContent === 'Film, \"short\"'",
        )
        .await;
    let cuts = landing
        .app
        .get(&format!("/events/{}/cuts", landing.event))
        .json();
    let cut = cuts["cuts"][0]["id"].as_str().expect("an id").to_owned();
    let address = browser.run("return location.search").await;
    assert!(
        address
            .as_str()
            .is_some_and(|a| a.contains(&format!("cut={cut}"))),
        "{address}"
    );
    Desk {
        browser,
        landing,
        cut,
    }
}

/// Adds quotes as other views do.
async fn collected(desk: &Desk<'_>, quotes: &Value, then: &str) -> Value {
    let (event, cut) = (&desk.landing.event, &desk.cut);
    let script = format!(
        "return (async () => {{
            const {{ Desk }} = await import('/page/shell/desk.js');
            const {{ collect }} = await import('/page/cuts/collect.js');
            const desk = new Desk();
            await desk.start({{ event: '{event}', place: null, cut: '{cut}' }});
            const quotes = {quotes};
            const got = await collect(desk, quotes);
            const told = desk.state.known.news.text;
            {then}
            return {{ told, got: got && {{ lengthMs: got.lengthMs }}, news: desk.state.known.news.text }};
        }})()"
    );
    desk.browser.run(&script).await
}

async fn collects(desk: &Desk<'_>) {
    let app = &desk.landing.app;
    let hit = app.get("/search?q=ferry%20bell").json()["hits"][0].clone();
    let moments = app
        .get(&format!("/events/{}/moments", desk.landing.event))
        .json();
    let first = &moments["moments"][0]["id"];
    let added = collected(desk, &json!([hit, {"moment": first}]), "").await;
    let length = desk.list()["length_ms"].as_i64().expect("a length");
    assert_eq!(added["got"]["lengthMs"], length, "{added}");
    let told = added["told"].as_str().expect("a text");
    assert!(
        told.starts_with("2 quotes added to Film, \"short\": 2 quotes, 0:"),
        "{told}"
    );
    // Both come to the page that looks at the list by themselves.
    desk.sees(&desk.order()).await;
    // Somebody was quicker: it is added all the same.
    let later = &moments["moments"][2]["id"];
    let stale = collected(
        desk,
        &json!([{"moment": later}]),
        "const { cuts } = desk.state.known;
         desk.state.set({ cuts: cuts.map((one) => ({ ...one, version: one.version - 1 })) });
         window.second = await collect(desk, quotes);
         await window.second.undo();",
    )
    .await;
    assert!(stale["got"].is_object(), "{stale}");
    let news = stale["news"].as_str().expect("a text");
    assert_eq!(news, "Taken out of Film, \"short\" again: 3 quotes.");
    assert_eq!(desk.order().len(), 3);
    desk.sees(&desk.order()).await;
}
