//! Reading a part of it, and a text whose moment is gone.

use fantoccini::key::Key;
use serde_json::{Value, json};

use super::event::Said;
use crate::browser::Browser;
use crate::landing::Landing;

/// How many moments are in sight of the list.
const ROWS: &str = "[...document.querySelectorAll('.utterance')].map(row => row.dataset.id)";

/// One person, one part, and everything again.
pub(super) async fn reads_one_person_and_one_part(
    browser: &Browser,
    landing: &Landing,
    said: &Said,
) {
    let person = said.moments.iter().find_map(|m| m["person"]["id"].as_str());
    let person = person.expect("somebody who speaks");
    let theirs = |moment: &&Value| moment["person"]["id"] == person;
    chooses(browser, "read-person", person).await;
    shows(browser, said.moments.iter().filter(theirs)).await;
    chooses(browser, "read-person", "").await;
    chooses(browser, "read-part", "1").await;
    let path = format!("/events/{}/parts", landing.event);
    let from = landing.app.get(&path).json()["parts"][1]["start_ms"].as_i64();
    let inside = |moment: &&Value| moment["end_ms"].as_i64() > from;
    shows(browser, said.moments.iter().filter(inside)).await;
    chooses(browser, "read-part", "").await;
    shows(browser, said.moments.iter()).await;
}

async fn chooses(browser: &Browser, select: &str, value: &str) {
    browser
        .run(&format!(
            "const select = document.getElementById('{select}');
             if (select.disabled) throw new Error('it can not be chosen');
             select.value = {};
             select.dispatchEvent(new Event('change')); return 1",
            json!(value)
        ))
        .await;
}

async fn shows(browser: &Browser, moments: impl Iterator<Item = &Value>) {
    let ids: Vec<&Value> = moments.map(|moment| &moment["id"]).collect();
    let shown = format!(
        "return JSON.stringify({ROWS}) === {}",
        json!(json!(ids).to_string())
    );
    browser.wait("these moments and no others", &shown).await;
}

/// What was typed is kept beside the transcript when its moment became part of another.
pub(super) async fn keeps_a_text_whose_moment_is_gone(
    browser: &Browser,
    landing: &Landing,
    said: &Said,
) {
    let id = |n: usize| said.moments[n]["id"].as_str().expect("an id");
    super::edits(browser, id(1)).await;
    browser.type_into(".field-words", " and more").await;
    said.joins(landing, id(0), id(1), "Jonas");
    browser.press(Key::Enter.into()).await;
    browser
        .wait(
            "the text beside the transcript",
            "const kept = document.querySelector('#read-drafts:not([hidden]) .stands');
             return kept?.textContent.endsWith(' and more')
                && document.querySelector('.editing') === null",
        )
        .await;
    let one_less = format!("return {ROWS}.length === {}", said.moments.len() - 1);
    browser.wait("one moment less", &one_less).await;
    browser.click("#read-drafts [data-key^='drop/']").await;
    let gone = "return document.querySelector('#read-drafts').hidden";
    browser.wait("nothing unsaved", gone).await;
}
