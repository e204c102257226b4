//! The clock as a person sees it on the page.

use axum::http::Method;
use serde_json::{Value, json};

use crate::browser::Browser;
use crate::landing::Landing;

/// On a page that shows an event whose clock is solved.
pub(super) async fn sees_the_clock(browser: &Browser, landing: &Landing) {
    let shown = "const image = document.getElementById('clock-picture');
         return image.complete && image.naturalWidth > 0
             ? {source: image.getAttribute('src'), alt: image.alt} : null";
    let picture = browser.wait("the picture of the clock", shown).await;
    let alt = picture["alt"].as_str().expect("a text for it");
    assert!(
        alt.contains("2 of 2 recordings on the event clock"),
        "{alt}"
    );
    let rows = browser
        .run(
            "return [...document.querySelectorAll('#clock-list tr')].map(row =>
                [...row.children].map(cell => cell.textContent))",
        )
        .await;
    let rows = rows.as_array().expect("rows");
    assert_eq!(rows.len(), 2, "{rows:?}");
    assert!(
        rows.iter().any(|row| row[2] == "0:00.00"),
        "one is the first: {rows:?}"
    );
    for row in rows {
        assert!(
            row[4].as_str().is_some_and(|off| off.ends_with(" ms")),
            "{row}"
        );
        assert_eq!(row[5], "sound", "{row}");
    }
    all_that_was_said_is_listed(browser).await;
    a_fix_shows_in_a_new_picture(browser, landing, &picture["source"]).await;
}

async fn all_that_was_said_is_listed(browser: &Browser) {
    browser.click("#said summary").await;
    let lines = browser
        .wait(
            "what was said",
            "const lines = [...document.querySelectorAll('#said-list .text')];
             return lines.length > 0 ? lines.map(line => line.textContent.toLowerCase()) : null",
        )
        .await;
    let lines = lines.as_array().expect("lines");
    let with = |word: &str| {
        let has = |line: &&Value| line.as_str().is_some_and(|line| line.contains(word));
        lines.iter().filter(has).count()
    };
    assert_eq!(
        (with("ferry bell"), with("kettle")),
        (1, 1),
        "each once: {lines:?}"
    );
    browser.click("#said summary").await;
}

async fn a_fix_shows_in_a_new_picture(browser: &Browser, landing: &Landing, before: &Value) {
    let clock = landing
        .app
        .get(&format!("/events/{}/clock", landing.event))
        .json();
    let camera = clock["recordings"]
        .as_array()
        .and_then(|all| all.iter().find(|r| r["source"]["label"] == "Camera"))
        .expect("the camera");
    let id = camera["recording"]["id"].as_str().expect("an id");
    let start = camera["start_exact_ms"].as_f64().expect("a start");
    let body = json!({"start_ms": start}).to_string();
    let path = format!("/recordings/{id}/clock");
    let kind = [("content-type", "application/json")];
    let reply = landing
        .app
        .send(Method::PUT, &path, &kind, body.into_bytes());
    assert_eq!(reply.status, 202);
    let changed = format!(
        "const image = document.getElementById('clock-picture');
         const found = [...document.querySelectorAll('#clock-list td')].map(d => d.textContent);
         return image.complete && image.naturalWidth > 0 && found.includes('by hand')
             && image.getAttribute('src') !== {before}"
    );
    browser.wait("the camera placed by hand", &changed).await;
}
