//! The transcript as a person reads, hears and corrects it.

mod choices;
mod event;

use axum::http::Method;
use fantoccini::key::Key;
use serde_json::{Value, json};

use super::in_browser;
use crate::app::TestApp;
use crate::browser::Browser;
use crate::landing::Landing;
use event::{Said, deck_ms};

/// Lets go of keys that are held, and holds them.
const LET_GO: char = '\u{e000}';
const SHIFT: char = '\u{e008}';
const CTRL: char = '\u{e009}';

#[test]
fn a_person_reads_hears_and_corrects_what_was_said() {
    let landing = Landing::new();
    let said = Said::of(&landing);
    in_browser(async |browser| {
        browser.open(&said.page(&landing)).await;
        reads_it_by_part_and_person(&browser, &landing, &said).await;
        the_word_that_sounds_is_marked(&browser, &said).await;
        choices::reads_one_person_and_one_part(&browser, &landing, &said).await;
        corrects_a_word_and_takes_it_back(&browser, &landing, &said).await;
        loses_nothing_where_somebody_was_quicker(&browser, &landing, &said).await;
        collects_words_by_keyboard(&browser, &landing, &said).await;
        a_link_to_words_opens_there(&browser, &said).await;
        names_a_speaker(&browser, &landing).await;
        choices::keeps_a_text_whose_moment_is_gone(&browser, &landing, &said).await;
        // It also logs what the server refused.
        let refused = |told: &String| !told.contains("status of 409");
        let complaints: Vec<String> = browser.end().await;
        let complaints: Vec<String> = complaints.into_iter().filter(refused).collect();
        assert_eq!(complaints, [""; 0], "the browser complained");
    });
}

#[test]
fn the_transcript_says_when_nothing_is_there() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    in_browser(async |browser| {
        browser
            .open(&format!("{}/?event={event}&view=read", app.url))
            .await;
        let told = "const told = document.querySelector('.read .nothing-there');
            return told && !told.hidden && told.textContent.includes('Nothing was said')";
        browser.wait("that nothing is there", told).await;
    });
}

async fn reads_it_by_part_and_person(browser: &Browser, landing: &Landing, said: &Said) {
    let all = format!(
        "return document.querySelectorAll('.utterance').length === {}",
        said.moments.len()
    );
    browser.wait("every moment", &all).await;
    let first_ms = said.moments[0]["end_ms"].as_i64().expect("an end");
    let second_ms = said.moments[1]["start_ms"].as_i64().expect("a start");
    let between = i64::midpoint(first_ms, second_ms);
    let parts = json!({"parts": [
        {"name": "letters", "start_ms": 0, "end_ms": between},
        {"name": "vows", "start_ms": between, "end_ms": between + 600_000},
    ]});
    let kind = [("content-type", "application/json")];
    let path = format!("/events/{}/parts", landing.event);
    let reply = landing
        .app
        .send(Method::PUT, &path, &kind, parts.to_string().into_bytes());
    assert_eq!(reply.status, 200, "{}", reply.json());
    let shown = browser
        .wait(
            "the parts",
            "const rows = [...document.querySelectorAll('.utterance')];
             return document.querySelectorAll('h2.part').length === 2 && rows.map(row => ({
                id: row.dataset.id,
                part: row.querySelector('h2.part > span')?.textContent ?? null,
                name: row.querySelector('.turn .name')?.textContent ?? null,
                text: row.querySelector('.words').textContent}))",
        )
        .await;
    for (n, (row, moment)) in shown
        .as_array()
        .expect("rows")
        .iter()
        .zip(&said.moments)
        .enumerate()
    {
        assert_eq!((&row["id"], &row["text"]), (&moment["id"], &moment["text"]));
        let part = [json!("letters"), json!("vows")].get(n).cloned();
        assert_eq!(row["part"], part.unwrap_or(Value::Null), "{row}");
        let name = moment["person"]["name"].as_str();
        if n < 2 {
            assert_eq!(
                row["name"].as_str(),
                name.or(Some("Unknown speaker")),
                "{row}"
            );
        }
    }
    assert_eq!(shown.as_array().map(Vec::len), Some(said.moments.len()));
}

async fn the_word_that_sounds_is_marked(browser: &Browser, said: &Said) {
    let moment = said.longest();
    let id = moment["id"].as_str().expect("an id");
    browser
        .wait(
            "the words with their times",
            "return document.querySelectorAll('.utterance .word[title]').length > 0
                || document.querySelector('#read-word').textContent.includes('sure')",
        )
        .await;
    browser
        .click(&format!("[data-id='{id}'] .word:nth-of-type(2)"))
        .await;
    browser
        .run(
            "window.frames = [];
             const look = () => {
                const word = document.querySelector('.word.sounds');
                window.frames.push([document.getElementById('deck-clock').textContent,
                    word?.closest('.utterance').dataset.id ?? null,
                    word ? [...word.parentNode.querySelectorAll('.word')].indexOf(word) : null]);
                if (window.frames.length < 3000) requestAnimationFrame(look);
             };
             requestAnimationFrame(look);
             return 1",
        )
        .await;
    browser
        .wait(
            "five words sound one after the other",
            "return new Set(window.frames.map(([, id, n]) => `${id}/${n}`)).size > 5",
        )
        .await;
    let frames = browser
        .run("return window.frames.filter(([, id]) => id !== null)")
        .await;
    let frames = frames.as_array().expect("frames");
    let mut last = -1;
    for frame in frames {
        let ms = deck_ms(frame[0].as_str().expect("a time"));
        let id = frame[1].as_str().expect("a moment");
        let n = frame[2].as_u64().expect("a word") as usize;
        let (start, end) = said.word_ms(id, n);
        // The deck writes hundredths.
        assert!(
            start < f64::from(ms + 10) && f64::from(ms) < end,
            "{ms} ms of the event, but word {n} is at {start} to {end}"
        );
        assert!(ms >= last, "{ms} after {last}");
        last = ms;
    }
    browser.click("#stop").await;
    browser
        .wait(
            "silence",
            "return document.querySelector('.word.sounds') === null",
        )
        .await;
}

async fn corrects_a_word_and_takes_it_back(browser: &Browser, landing: &Landing, said: &Said) {
    let moment = &said.moments[0];
    let id = moment["id"].as_str().expect("an id");
    let before = moment["text"].as_str().expect("a text");
    let (_, rest) = before.split_once(' ').expect("words");
    let after = format!("Zephyrine {rest}");
    edits(browser, id).await;
    browser
        .type_into(".field-words", &format!("{CTRL}a{LET_GO}{after}"))
        .await;
    browser.press(Key::Enter.into()).await;
    let asked = "return document.activeElement.matches('.editing .field input')";
    browser.wait("that it asks who it is", asked).await;
    browser.type_into(":focus", "Ines").await;
    browser.click(".editing .save").await;
    stands(browser, id, &after).await;
    let hand = format!("return document.querySelector(\"[data-id='{id}'] .word\").className");
    assert_eq!(browser.run(&hand).await, "word hand");
    let kept = landing.app.get(&format!("/moments/{id}")).json();
    assert_eq!(kept["text"], after, "{kept}");
    assert_eq!(finds(landing, "zephyrine"), [id]);
    // The focus is back in the transcript, and its history tells who it was.
    let focus = "return document.activeElement.closest('.utterance')?.dataset.id";
    assert_eq!(browser.run(focus).await, id);
    let told =
        "return document.querySelector('.changes .about')?.textContent.startsWith('Ines wrote')";
    browser.wait("the history", told).await;
    browser.click("[data-key='moment-undo']").await;
    stands(browser, id, before).await;
    let back = landing.app.get(&format!("/moments/{id}")).json();
    assert_eq!(back["text"], before, "{back}");
    assert_eq!(finds(landing, "zephyrine"), [""; 0]);
}

/// The moments in which a word is said as it is written.
fn finds(landing: &Landing, word: &str) -> Vec<String> {
    let answer = landing.app.get(&format!("/search?q={word}")).json();
    let hits = answer["hits"].as_array().expect("hits").iter();
    hits.filter(|hit| hit["match"] == "exact")
        .map(|hit| hit["moment"].as_str().expect("an id").to_owned())
        .collect()
}

/// Opens the words of a moment by the keyboard.
async fn edits(browser: &Browser, id: &str) {
    let focus = format!("document.querySelector(\"[data-id='{id}'] .word\").focus(); return 1");
    browser.run(&focus).await;
    browser.press(Key::F2.into()).await;
    let opened = "return document.activeElement.classList.contains('field-words')";
    browser.wait("the field", opened).await;
}

async fn stands(browser: &Browser, id: &str, text: &str) {
    let shown = format!(
        "const row = document.querySelector(\"[data-id='{id}']\");
         return row.querySelector('.editing') === null
            && row.querySelector('.words').textContent === {}",
        json!(text)
    );
    browser.wait("the words", &shown).await;
}

async fn loses_nothing_where_somebody_was_quicker(
    browser: &Browser,
    landing: &Landing,
    said: &Said,
) {
    let id = said.moments[1]["id"].as_str().expect("an id");
    edits(browser, id).await;
    let mine = "Mine are other words";
    browser
        .type_into(".field-words", &format!("{CTRL}a{LET_GO}{mine}"))
        .await;
    said.writes(landing, id, "Jonas", "Theirs are new words");
    // Whether it was told before or is refused now, both are there and mine is in the field.
    browser.type_into(".field-words", "\u{e007}").await;
    let both = browser
        .wait(
            "both texts",
            "const theirs = document.querySelector('.theirs:not([hidden])');
             return theirs && {field: document.querySelector('.field-words').value,
                mine: theirs.querySelector('.mine').textContent,
                stands: theirs.querySelector('.stands').textContent,
                who: theirs.innerText.includes('by Jonas')}",
        )
        .await;
    let expected =
        json!({"field": mine, "mine": mine, "stands": "Theirs are new words", "who": true});
    assert_eq!(both, expected);
    // Nothing was written over what stands.
    let kept = landing.app.get(&format!("/moments/{id}")).json();
    assert_eq!(kept["text"], "Theirs are new words");
    // What is typed outlives the page.
    browser.open(&said.page(landing)).await;
    let again = format!(
        "return document.querySelector('.field-words')?.value === {}",
        json!(mine)
    );
    browser.wait("what was typed", &again).await;
    browser
        .wait(
            "that it is told",
            "return document.querySelector('.theirs:not([hidden]) .take-mine') !== null",
        )
        .await;
    browser.click(".take-mine").await;
    stands(browser, id, mine).await;
    let kept = landing.app.get(&format!("/moments/{id}")).json();
    assert_eq!(kept["text"], mine);
    let changes = landing.app.get(&format!("/moments/{id}/changes")).json();
    assert_eq!(changes["changes"][1]["by"], "Jonas", "{changes}");
}

async fn collects_words_by_keyboard(browser: &Browser, landing: &Landing, said: &Said) {
    let moment = said.longest();
    let id = moment["id"].as_str().expect("an id");
    let words: Vec<&str> = said.text(id).split(' ').collect();
    let focus =
        format!("document.querySelectorAll(\"[data-id='{id}'] .word\")[1].focus(); return 1");
    browser.run(&focus).await;
    let right = char::from(Key::Right);
    browser
        .type_into(":focus", &format!("{SHIFT}{right}{right}"))
        .await;
    let picked = browser
        .run("return [...document.querySelectorAll('.word.picked')].map(w => w.textContent)")
        .await;
    assert_eq!(picked, json!(words[1..4]));
    let told =
        "return document.querySelector('.picked-bar .told').textContent.startsWith('3 words, ')";
    browser.wait("how long they are", told).await;
    browser.click("#pick-collect").await;
    let path = format!("/events/{}/cuts", landing.event);
    browser
        .wait(
            "that it is collected",
            "return document.querySelector('#pick-into').selectedOptions[0]?.text === 'Cut 1'",
        )
        .await;
    let cuts = landing.app.get(&path).json();
    let cut = cuts["cuts"][0]["id"].as_str().expect("a cut list");
    let cut = landing.app.get(&format!("/cuts/{cut}")).json();
    assert_eq!(cut["quotes"][0]["text"], words[1..4].join(" "), "{cut}");
    assert_eq!(cut["quotes"][0]["moments"], json!([id]));
}

async fn a_link_to_words_opens_there(browser: &Browser, said: &Said) {
    browser
        .run(
            "navigator.clipboard.writeText = async text => { window.copied = text; };
             document.getElementById('pick-link').click(); return 1",
        )
        .await;
    let link = browser.wait("a link", "return window.copied").await;
    let link = link.as_str().expect("an address");
    assert!(link.contains("view=read") && link.contains("#t="), "{link}");
    browser.open("about:blank").await;
    browser.open(link).await;
    let words: Vec<&str> = said
        .text(said.longest()["id"].as_str().expect("an id"))
        .split(' ')
        .collect();
    let picked = format!(
        "const picked = [...document.querySelectorAll('.word.picked')].map(w => w.textContent);
         return JSON.stringify(picked) === {}",
        json!(json!(words[1..4]).to_string())
    );
    browser.wait("the same words", &picked).await;
}

async fn names_a_speaker(browser: &Browser, landing: &Landing) {
    let path = format!("/events/{}/people", landing.event);
    let people = landing.app.get(&path).json();
    let unnamed = people["people"].as_array().expect("people").iter();
    let unnamed = unnamed.filter(|person| person["unnamed"] == true);
    let speaker = unnamed
        .max_by_key(|person| person["moments"].as_i64())
        .expect("somebody without a name");
    let id = speaker["id"].as_str().expect("an id");
    browser.click(&format!("[data-key='open/{id}']")).await;
    let field = format!("return document.activeElement.id === 'person-name-{id}'");
    browser.wait("the field", &field).await;
    browser.type_into(":focus", "Corin Aldersea").await;
    browser.press(Key::Enter.into()).await;
    browser
        .wait(
            "the name in the transcript",
            "return [...document.querySelectorAll('.utterance .turn .name')]
                .some(name => name.textContent.includes('Corin Aldersea'))",
        )
        .await;
    let people = landing.app.get(&path).json();
    let named = people["people"].as_array().expect("people").iter();
    let mut named = named.filter(|person| person["name"] == "Corin Aldersea");
    assert_eq!(named.next().expect("the name")["unnamed"], false);
}
