//! Written texts as a person meets them on the page.

use axum::http::Method;
use fantoccini::key::Key;
use serde_json::{Value, json};

use super::in_browser;
use crate::browser::Browser;
use crate::landing::Landing;

/// What the landing event says, with one sentence that nobody does.
const LETTER: &str = "My grandfather Ambrose rang the ferry bell every evening for forty years. \
    Dear Corin, it is six in the morning and the kettle will not stop singing. \
    The heron on the mooring post has never once looked impressed. \
    Ottilie, I promise to row when you are tired.";
const HERON: &str = "The heron on the mooring post has never once looked impressed.";

/// On a page that shows the landing event.
pub(super) async fn finds_where_a_text_was_read(browser: &Browser, landing: &Landing) {
    browser.click("[data-view=texts]").await;
    // Nothing is there yet, so the form is what there is to see.
    browser
        .wait(
            "the form",
            "return document.getElementById('script-add').open",
        )
        .await;
    what_cannot_be_taken_is_told(browser).await;
    pastes(browser, LETTER, "Corin's letter").await;
    browser.wait("the pass", PASS).await;
    let answer = passes(landing);
    sees_the_pass(browser, &answer).await;
    plays_a_sentence(browser, &answer).await;
    marks_a_part(browser, landing, &answer["passes"][0]).await;
    captions_are_linked(browser, landing).await;
    removes_by_a_second_press(browser, landing).await;
}

/// Whether a pass is shown.
const PASS: &str = "return document.querySelector('#passes .pass') !== null";
const NEWS: &str = "return document.querySelector('#scripts-news').textContent";

fn scripts(landing: &Landing) -> Value {
    let path = format!("/events/{}/scripts", landing.event);
    landing.app.get(&path).json()["scripts"].clone()
}

/// What the server says of the first text.
fn passes(landing: &Landing) -> Value {
    let scripts = scripts(landing);
    let id = scripts[0]["id"].as_str().expect("a text");
    landing.app.get(&format!("/scripts/{id}/passes")).json()
}

async fn what_cannot_be_taken_is_told(browser: &Browser) {
    let refused = |why: &str, field: &str| {
        format!(
            "const news = document.getElementById('scripts-news');
             return news.classList.contains('trouble') && news.textContent.includes({})
                && document.getElementById('{field}').getAttribute('aria-invalid') === 'true'",
            json!(why)
        )
    };
    browser.click("#script-keep").await;
    let why = refused("a text needs a title", "script-name");
    browser.wait("that a title is missing", &why).await;
    drops(browser, "photo.txt", &[0xff, 0xd8, 0xff, 0xe0, 0]).await;
    let why = refused("photo.txt is not plain text", "script-words");
    browser.wait("that a picture is no text", &why).await;
    // A text of two bytes a letter, as some word processors save it.
    let wide = "\u{feff}… —".encode_utf16().flat_map(u16::to_le_bytes);
    drops(browser, "Vows.txt", &wide.collect::<Vec<u8>>()).await;
    let dropped = "return document.getElementById('script-words').value === '… —'
        && document.getElementById('script-name').value === 'Vows'";
    browser.wait("the dropped file", dropped).await;
    browser.click("#script-keep").await;
    let why = refused("nothing in this text can be spoken", "script-words");
    browser.wait("that there are no words", &why).await;
}

/// Drops a file on the form.
async fn drops(browser: &Browser, name: &str, bytes: &[u8]) {
    let script = format!(
        "const dataTransfer = new DataTransfer();
         dataTransfer.items.add(new File([new Uint8Array({})], {}));
         const drop = new DragEvent('drop', {{dataTransfer, bubbles: true, cancelable: true}});
         return !document.getElementById('script-words').dispatchEvent(drop)",
        json!(bytes),
        json!(name)
    );
    assert_eq!(browser.run(&script).await, true, "the page takes the file");
}

async fn pastes(browser: &Browser, text: &str, title: &str) {
    for (field, value) in [("script-name", title), ("script-words", text)] {
        let clear = format!("document.getElementById('{field}').value = ''; return 1");
        browser.run(&clear).await;
        browser.type_into(&format!("#{field}"), value).await;
    }
    browser.click("#script-keep").await;
}

async fn sees_the_pass(browser: &Browser, answer: &Value) {
    let shown = browser
        .run(
            "return {
                title: document.querySelector('.pass h3').textContent,
                about: document.querySelector('.pass .about').textContent,
                told: document.getElementById('script-told').textContent,
                lines: [...document.querySelectorAll('.pass .moment')].map(line => ({
                    time: line.querySelector('.time').textContent,
                    text: line.querySelector('.text').textContent,
                    struck: line.querySelector('del')?.textContent ?? null,
                    plays: line.querySelector('button.play') !== null,
                    source: line.querySelector('.placement').textContent})),
                unfolded: document.getElementById('script-add').open,
                focus: document.activeElement.id}",
        )
        .await;
    let pass = &answer["passes"][0];
    let start = position(pass["start_ms"].as_i64().expect("a start"));
    let reader = pass["person"]["name"].as_str().unwrap_or("unknown speaker");
    assert_eq!(
        shown["title"],
        format!("Pass 1: {reader}, at {start} of the event")
    );
    assert_eq!(shown["told"], "4 sentences, read 1 time.");
    let best = pass["best"]["source"]["label"].as_str().expect("a source");
    for part in [
        "1 of 4 sentences left out".to_owned(),
        format!("best over it: {best}"),
    ] {
        let about = shown["about"].as_str().expect("a text");
        assert!(about.contains(&part), "{part} in {about}");
    }
    assert_eq!(
        (&shown["unfolded"], &shown["focus"]),
        (&json!(false), &json!("script-title"))
    );
    // What the model heard between two sentences has a line of its own.
    let all = shown["lines"].as_array().expect("lines").iter();
    let lines: Vec<&Value> = all
        .filter(|line| line["plays"] == true || line["struck"] != Value::Null)
        .collect();
    assert_eq!(lines.len(), 4, "{lines:#?}");
    for (n, line) in lines.iter().enumerate() {
        let said = &pass["sentences"][n]["said"];
        if n == 2 {
            assert_eq!(*said, Value::Null, "{answer:#}");
            let left_out = json!({"time": "–", "text": format!("{HERON} left out"),
                "struck": HERON, "plays": false, "source": ""});
            assert_eq!(**line, left_out);
            continue;
        }
        let at = position(said["start_ms"].as_i64().expect("a start"));
        assert_eq!(
            (&line["plays"], &line["time"]),
            (&json!(true), &json!(at)),
            "{line}"
        );
        let best = said["best"]["source"]["label"].as_str().expect("a source");
        let source = line["source"].as_str().expect("a text");
        assert!(source.starts_with(best), "{best} in {source}");
        for step in said["words"].as_array().expect("words") {
            let word = step["written"].as_str().expect("a word");
            let text = line["text"].as_str().expect("a text");
            assert!(text.contains(word), "{word} in {text}");
            let heard = step["said"].as_str().expect("a word");
            let told = match step["kind"].as_str() {
                Some("changed") => format!("said: {heard}"),
                Some("added") => format!("{heard} added"),
                _ => continue,
            };
            assert!(text.contains(&told), "{told} in {text}");
        }
    }
}

/// As the page writes a time under an hour.
fn position(ms: i64) -> String {
    format!("{}:{:02}.{:02}", ms / 60_000, ms / 1000 % 60, ms / 10 % 100)
}

async fn plays_a_sentence(browser: &Browser, answer: &Value) {
    let said = &answer["passes"][0]["sentences"][3]["said"];
    let best = &said["best"];
    let at = said["start_ms"].as_f64().expect("ms");
    let length = best["end_ms"].as_f64().expect("ms") - best["start_ms"].as_f64().expect("ms");
    browser
        .run("[...document.querySelectorAll('.pass button.play')].at(-1).focus(); return 1")
        .await;
    browser.press(Key::Enter.into()).await;
    let player = browser
        .wait(
            "the sentence play",
            &format!(
                "const [minutes, seconds] = document.getElementById('deck-clock').textContent.split(':');
                 const at = (Number(minutes) * 60 + Number(seconds)) * 1000;
                 return at > {at} + 20 && {{at,
                     line: document.querySelector('.pass .plays .text')?.textContent,
                     deck: document.querySelector('#sources [aria-pressed=true]')?.textContent}}"
            ),
        )
        .await;
    let sounds = player["at"].as_f64().expect("ms");
    assert!(
        sounds <= at + length + 20.0,
        "{player} for {at} and {length} ms"
    );
    let line = player["line"].as_str().expect("the line that plays");
    assert!(line.contains("promise"), "{line}");
    let label = best["source"]["label"].as_str().expect("a source");
    let deck = player["deck"].as_str().expect("a text");
    assert!(deck.starts_with(label), "{deck}");
    browser.press(Key::Escape.into()).await;
    let stopped = "return document.querySelector('.pass .plays') === null";
    browser.wait("the end of it", stopped).await;
}

async fn marks_a_part(browser: &Browser, landing: &Landing, pass: &Value) {
    browser.click(".mark button").await;
    browser
        .wait(
            "that a name is missing",
            "return document.getElementById('scripts-news').textContent.includes('a part needs a name')",
        )
        .await;
    browser.type_into("#pass-1-part", "letters").await;
    browser.press(Key::Enter.into()).await;
    let listed = "return document.querySelector('#scripts-list .placement').textContent
        .includes('part letters')";
    browser.wait("the part in the list", listed).await;
    let news = browser.run(NEWS).await;
    assert!(
        news.as_str()
            .is_some_and(|n| n.starts_with("The part letters is marked from ")),
        "{news}"
    );
    let path = format!("/events/{}/parts", landing.event);
    let parts = landing.app.get(&path).json()["parts"].clone();
    assert_eq!(parts[0]["name"], "letters");
    assert_eq!(
        (&parts[0]["start_ms"], &parts[0]["end_ms"]),
        (&pass["start_ms"], &pass["end_ms"])
    );
}

async fn captions_are_linked(browser: &Browser, landing: &Landing) {
    let links = browser
        .run(
            "return [...document.querySelectorAll('.after a')].map(a =>
                [a.getAttribute('href'), a.textContent])",
        )
        .await;
    let links = links.as_array().expect("links");
    assert_eq!(links.len(), 4, "on two clocks, in two forms: {links:?}");
    for link in links {
        let path = link[0].as_str().expect("an address");
        let reply = landing.app.send_to(Method::GET, path, &[], Vec::new());
        let kind = match link[1].as_str() {
            Some(".vtt") => "text/vtt",
            _ => "application/x-subrip",
        };
        assert!(reply.header("content-type").starts_with(kind), "{path}");
        let text = String::from_utf8(reply.body).expect("UTF-8");
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(
            (flat.contains("ferry bell"), flat.contains("heron")),
            (true, false),
            "{text}"
        );
    }
}

async fn removes_by_a_second_press(browser: &Browser, landing: &Landing) {
    const REMOVE: &str = "document.querySelector('#scripts-list li button:last-child')";
    let named = format!("return {REMOVE}.textContent");
    browser.run(&format!("{REMOVE}.focus(); return 1")).await;
    browser.press(Key::Enter.into()).await;
    assert_eq!(browser.run(&named).await, "press again to remove");
    // Looking away takes it back.
    browser.press(Key::Tab.into()).await;
    assert_eq!(browser.run(&named).await, "remove");
    assert_eq!(scripts(landing).as_array().map(Vec::len), Some(1));
    browser.run(&format!("{REMOVE}.focus(); return 1")).await;
    browser.press(Key::Enter.into()).await;
    browser.press(Key::Enter.into()).await;
    browser
        .wait(
            "that it is gone",
            "return document.querySelector('#scripts-list li') === null
                && document.getElementById('script').hidden",
        )
        .await;
    assert_eq!(scripts(landing), json!([]));
    let news = browser.run(NEWS).await;
    assert_eq!(news, "Corin's letter was removed.");
}

#[test]
fn of_two_readings_the_more_complete_is_named() {
    let landing = Landing::saying(&[
        "letter-ottilie-4",
        "letter-ottilie-6",
        "welcome-2",
        "letter-ottilie-4",
        "letter-ottilie-5",
        "letter-ottilie-6",
    ]);
    let text = "You rowed back for me with one oar, and you told me the other one had gone to live \
        with the otters. I have been looking for that lost oar ever since. I love that you sing \
        when you mend your nets, the same four notes every time.";
    let body = json!({"title": "<b>Letter</b>", "text": text});
    let path = format!("/events/{}/scripts", landing.event);
    assert_eq!(landing.app.post(&path, &body).status, 201);
    in_browser(async |browser| {
        browser.open(&landing.app.url).await;
        browser.click("[data-view=texts]").await;
        let listed = "return document.querySelector('#scripts-list .name')?.textContent";
        assert_eq!(browser.wait("the text", listed).await, "<b>Letter</b>");
        browser.click("#scripts-list .name").await;
        browser.wait("the passes", PASS).await;
        let shown = browser
            .run(
                "return [...document.querySelectorAll('.pass')].map(pass =>
                    [pass.querySelector('h3 .tag')?.textContent ?? '',
                     [...pass.querySelectorAll('.out .text')].map(line => line.textContent)])",
            )
            .await;
        let oar = "I have been looking for that lost oar ever since. left out";
        assert_eq!(shown, json!([["", [oar]], ["most complete", []]]));
        let told = browser
            .run("return document.getElementById('script-told').textContent")
            .await;
        assert_eq!(
            told,
            "3 sentences, read 2 times. Pass 2 is the most complete."
        );
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}
