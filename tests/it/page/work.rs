//! The work as a person watches and steers it on the page.

use std::path::Path;

use serde_json::json;

use super::in_browser;
use crate::app::{TestApp, write_tone};
use crate::browser::Browser;

#[test]
fn a_person_pauses_the_work_and_tries_a_file_again() {
    let app = TestApp::start();
    assert_eq!(app.post("/queue/pause", &json!({})).status, 204);
    let event = app.event("Boathouse");
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    write_tone(&path("a.wav"), 0.5, 300.0);
    std::fs::write(path("notes.wav"), "kettle, lamp, two oars").expect("a file");
    app.add(
        &event,
        "Lectern",
        "stand",
        &[path("a.wav"), path("notes.wav")],
    );
    in_browser(async |browser| {
        browser.open(&app.url).await;
        browser.click("[data-view=add]").await;
        let told = browser
            .wait(
                "the work",
                "const work = document.getElementById('work');
                 return work.hidden ? null : document.getElementById('work-text').textContent",
            )
            .await;
        assert!(
            told.as_str().is_some_and(|t| t.starts_with("Paused")),
            "{told}"
        );
        browser.click("#work-pause").await;
        browser
            .wait("the end", "return document.getElementById('work').hidden")
            .await;
        browser.wait("the tone", &ready(1)).await;
        browser
            .wait(
                "the problem",
                "return document.querySelector('#problems-list button') !== null",
            )
            .await;
        other_work_leaves_buttons_alone(&browser, || {
            write_tone(&path("b.wav"), 0.5, 400.0);
            app.add(&event, "Lectern", "stand", &[path("b.wav")]);
        })
        .await;
        write_tone(&path("notes.wav"), 0.5, 500.0);
        browser.click("#problems-list button").await;
        browser.wait("the mended file", &ready(3)).await;
        browser
            .wait(
                "that no problem is left",
                "return document.getElementById('problems').hidden",
            )
            .await;
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

/// A click is lost when its button is made anew between press and release.
async fn other_work_leaves_buttons_alone(browser: &Browser, work: impl FnOnce()) {
    browser
        .run(
            "for (const list of ['problems-list', 'recordings-list'])
                document.getElementById(list).firstElementChild.seen = true;
             return 1",
        )
        .await;
    work();
    browser.wait("the other file", &ready(2)).await;
    let kept = browser
        .run(
            "return ['problems-list', 'recordings-list'].map(list =>
                [...document.getElementById(list).children].some(child => child.seen))",
        )
        .await;
    assert_eq!(kept, json!([true, true]));
}

/// Whether so many recordings are ready.
fn ready(recordings: usize) -> String {
    format!(
        "return document.querySelectorAll('#recordings-list .state.ready').length === {recordings}"
    )
}

#[test]
fn what_keeps_all_work_waiting_is_seen_at_once() {
    let app = TestApp::with(|settings| settings.model = "/nowhere/model.bin".into());
    let event = app.event("Boathouse");
    let line = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/lines/letter-ottilie-1.flac");
    app.add(&event, "Lectern", "stand", &[line]);
    in_browser(async |browser| {
        browser.open(&app.url).await;
        let told = browser
            .wait(
                "the reason",
                "return document.querySelector('#work:not([hidden]) #work-text.trouble')?.textContent",
            )
            .await;
        assert!(
            told.as_str()
                .is_some_and(|t| t.contains("/nowhere/model.bin")),
            "{told}"
        );
        browser.click("[data-view=add]").await;
        let listed = browser
            .wait(
                "the reason",
                "return document.querySelector('#problems-list li')?.textContent",
            )
            .await;
        assert!(
            listed.as_str().is_some_and(|t| !t.trim().starts_with(':')),
            "{listed}"
        );
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}
