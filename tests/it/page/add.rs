//! A day's recordings go in through the page.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::in_browser;
use crate::app::{TestApp, write_tone};
use crate::browser::Browser;
use crate::landing;

/// The rows of what was guessed: files, source, placement, wearer, why.
const GUESSES: &str = "return [...document.querySelectorAll('#guesses tr')].map(row => [
    row.querySelector('th').innerText, row.querySelector('td:nth-of-type(1) input').value,
    row.querySelector('select').value, row.querySelector('td:nth-of-type(3) input').value,
    row.querySelector('.why').innerText])";

/// Files as a card would name them, one of them broken, and one that is no recording.
fn card(folder: &Path) -> Vec<PathBuf> {
    let truth = landing::recordings(folder);
    let names = ["LAV Corin_001.wav", "CLIP0001.mov"];
    let mut paths = Vec::new();
    for (recorder, name) in truth.recorders.iter().zip(names) {
        let from = landing::files(folder, recorder).remove(0);
        let to = folder.join(name);
        std::fs::rename(from, &to).expect("it is renamed");
        paths.push(to);
    }
    for (name, text) in [("DESK_MIX.wav", "this is no sound"), ("notes.txt", "lunch")] {
        let path = folder.join(name);
        std::fs::write(&path, text).expect("a file");
        paths.push(path);
    }
    paths
}

async fn choose(browser: &Browser, files: &[PathBuf]) {
    let paths: Vec<&str> = files.iter().filter_map(|path| path.to_str()).collect();
    browser.type_into("#add-files", &paths.join("\n")).await;
}

#[test]
fn a_day_goes_in_over_a_lost_connection() {
    let folder = tempfile::tempdir().expect("a folder");
    let files = card(folder.path());
    let app = TestApp::start();
    in_browser(async |browser| {
        browser.open(&format!("{}/?view=add", app.url)).await;
        let event = makes_an_event(&browser, &app).await;
        choose(&browser, &files).await;
        puts_the_guesses_right(&browser).await;
        browser.network(false, 250_000).await;
        browser.click("#send").await;
        loses_the_connection(&browser, &app).await;
        sees_what_became_of_them(&browser, &app, &event, &files).await;
        puts_a_source_right(&browser, &app, &event).await;
        // It also logs what did not arrive, which was meant.
        let lost = |told: &String| !told.contains("net::ERR_");
        let complaints: Vec<String> = browser.end().await.into_iter().filter(lost).collect();
        assert_eq!(complaints, [""; 0], "the browser complained");
    });
}

async fn makes_an_event(browser: &Browser, app: &TestApp) -> String {
    let there = "return document.getElementById('add-into')?.textContent.includes('no event yet')";
    browser.wait("that there is no event", there).await;
    browser.click(".new-event button").await;
    browser
        .wait(
            "that it needs a name",
            "return document.getElementById('news').textContent.includes('needs a name')
                && document.activeElement.id === 'new-title'",
        )
        .await;
    browser.type_into("#new-title", "Tarrow Landing").await;
    browser
        .run(
            "document.getElementById('new-date').value = '2026-06-20';
              document.getElementById('new-rate').value = '25'; return 1",
        )
        .await;
    browser.click(".new-event button").await;
    browser
        .wait(
            "the event",
            "return document.getElementById('add-into').textContent.includes('Tarrow Landing')",
        )
        .await;
    let events = app.get("/events").json()["events"].clone();
    assert_eq!(
        (
            &events[0]["title"],
            &events[0]["date"],
            &events[0]["frame_rate"]
        ),
        (&json!("Tarrow Landing"), &json!("2026-06-20"), &json!("25"))
    );
    events[0]["id"].as_str().expect("an id").to_owned()
}

async fn puts_the_guesses_right(browser: &Browser) {
    browser
        .wait(
            "the guesses",
            "return document.querySelectorAll('#guesses tr').length === 3",
        )
        .await;
    let guessed = browser.run(GUESSES).await;
    let row = |n: usize| -> [String; 5] {
        std::array::from_fn(|cell| guessed[n][cell].as_str().expect("a text").to_owned())
    };
    let (clip, desk, lav) = (row(0), row(1), row(2));
    assert_eq!(clip[..4], ["CLIP0001.mov", "CLIP", "camera", ""]);
    assert_eq!(desk[..4], ["DESK_MIX.wav", "DESK_MIX", "feed", ""]);
    assert_eq!(
        lav[..4],
        ["LAV Corin_001.wav", "LAV Corin", "worn", "Corin"]
    );
    for (row, why) in [(&clip, "picture"), (&desk, "'desk'"), (&lav, "'lav'")] {
        assert!(
            row[4].starts_with("guess ") && row[4].contains(why),
            "{row:?}"
        );
    }
    let told = browser
        .run("return document.querySelector('#look-over .acts p').textContent")
        .await;
    assert!(
        told.as_str()
            .is_some_and(|told| told.starts_with("3 files") && told.contains("notes.txt")),
        "{told}"
    );
    // Two are put right; nothing was sent so far.
    browser
        .run(
            "const field = document.querySelector('[data-group=\"0\"] input');
              field.value = ''; field.dispatchEvent(new Event('input')); return 1",
        )
        .await;
    browser.click("#send").await;
    let refused = "return document.querySelector('[data-group=\"0\"] input').getAttribute('aria-invalid') === 'true'";
    browser.wait("that a source needs a name", refused).await;
    browser
        .type_into("[data-group=\"0\"] input", "Camera A")
        .await;
}

async fn loses_the_connection(browser: &Browser, app: &TestApp) {
    browser
        .wait(
            "some of the clip be sent",
            "const bar = document.querySelector('.sending li.sending progress');
             return bar && bar.value > 0.1 && bar.value < 0.9
                && document.getElementById('sending-told').textContent",
        )
        .await;
    browser.network(true, -1).await;
    let lost = browser
        .wait(
            "that the server is lost",
            "return document.querySelector('.sending li.lost .how')?.textContent",
        )
        .await;
    assert!(
        lost.as_str()
            .is_some_and(|told| told.contains("goes on by itself")),
        "{lost}"
    );
    let prompt = browser
        .run(
            "const leaving = new Event('beforeunload', {cancelable: true});
              dispatchEvent(leaving); return leaving.defaultPrevented",
        )
        .await;
    assert_eq!(prompt, true, "leaving asks first");
    assert_eq!(in_pieces(app), 1, "one is half-sent");
    browser.network(false, -1).await;
    browser
        .wait(
            "all of it be sent",
            "return document.querySelectorAll('.sending li.done').length === 3
                && document.getElementById('sending-told').textContent.startsWith('3 of 3 files')",
        )
        .await;
}

/// Uploads whose bytes are still coming.
fn in_pieces(app: &TestApp) -> usize {
    let entries = std::fs::read_dir(app.data.path().join("sending"));
    let is_part = |path: &PathBuf| path.extension().is_some_and(|ending| ending == "part");
    let entries = entries.into_iter().flatten().flatten();
    entries.map(|entry| entry.path()).filter(is_part).count()
}

async fn sees_what_became_of_them(
    browser: &Browser,
    app: &TestApp,
    event: &str,
    files: &[PathBuf],
) {
    app.wait_idle();
    browser
        .wait(
            "both recordings ready",
            "return document.querySelectorAll('#recordings-list .state.ready').length === 2",
        )
        .await;
    let problem = browser
        .wait(
            "the broken one",
            "return document.querySelector('#problems-list li')?.textContent",
        )
        .await;
    assert!(
        problem
            .as_str()
            .is_some_and(|told| told.contains("DESK_MIX.wav") && told.contains("opening")),
        "{problem}"
    );
    let detail = app.get(&format!("/events/{event}")).json();
    let recordings = detail["recordings"].as_array().expect("recordings");
    let told: Vec<(&Value, &Value)> = recordings
        .iter()
        .map(|one| (&one["file"], &one["source"]["label"]))
        .collect();
    assert!(
        told.contains(&(&json!("CLIP0001.mov"), &json!("Camera A"))),
        "{told:?}"
    );
    assert!(
        told.contains(&(&json!("LAV Corin_001.wav"), &json!("LAV Corin"))),
        "{told:?}"
    );
    // What came in pieces over a lost connection is what was chosen, to the byte.
    for recording in recordings {
        let id = recording["id"].as_str().expect("an id");
        let from = files.iter().find(|path| {
            recording["file"] == *path.file_name().and_then(|n| n.to_str()).expect("a name")
        });
        let sent = std::fs::read(from.expect("its file")).expect("bytes");
        assert_eq!(app.get(&format!("/recordings/{id}/audio")).body, sent);
    }
    let hits = app.get("/search?q=ferry%20bell").json()["hits"].clone();
    assert_eq!(hits.as_array().map(Vec::len), Some(1), "{hits}");
}

async fn puts_a_source_right(browser: &Browser, app: &TestApp, event: &str) {
    browser.click("#sources > summary").await;
    browser
        .run(
            "const row = [...document.querySelectorAll('#sources-list tr')].find(row =>
                row.querySelector('input').value === 'Camera A');
              row.querySelector('input').value = 'Camera by the slip';
              row.querySelector('button').click(); return 1",
        )
        .await;
    let renamed = "return [...document.querySelectorAll('#recordings-list th')].some(cell =>
        cell.textContent.includes('Camera by the slip'))";
    browser.wait("the new name", renamed).await;
    let detail = app.get(&format!("/events/{event}")).json();
    let labels: Vec<&Value> = detail["sources"]
        .as_array()
        .expect("sources")
        .iter()
        .map(|one| &one["label"])
        .collect();
    assert!(labels.contains(&&json!("Camera by the slip")), "{labels:?}");
}

#[test]
fn a_closed_page_goes_on_where_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("long.wav");
    write_tone(&path, 60.0, 300.0);
    let sent = std::fs::read(&path).expect("bytes");
    let app = TestApp::start();
    let event = app.event("Boathouse");
    in_browser(async |browser| {
        let page = format!("{}/?view=add&event={event}", app.url);
        browser.open(&page).await;
        let ready = "return document.getElementById('add-into')?.textContent.includes('Boathouse')";
        browser.wait("the event", ready).await;
        browser.network(false, 200_000).await;
        choose(&browser, std::slice::from_ref(&path)).await;
        browser
            .wait(
                "the guess",
                "return document.querySelector('#guesses tr') !== null",
            )
            .await;
        browser.click("#send").await;
        let more = "const bar = document.querySelector('.sending li.sending progress');
            return bar && bar.value > 0.6";
        browser.wait("most of it be sent", more).await;
        // Paused, then the page is left.
        browser.click("#sending-pause").await;
        browser
            .wait(
                "the pause",
                "return document.getElementById('sending-told').textContent.includes('paused')",
            )
            .await;
        let before = bytes_here(&app);
        assert!(before > 0, "whole pieces are kept");
        browser.open("about:blank").await;
        browser.network(false, -1).await;
        browser.open(&page).await;
        let left = browser
            .wait(
                "the half-sent file",
                "return document.querySelector('.sending.left li')?.textContent",
            )
            .await;
        assert!(
            left.as_str().is_some_and(
                |told| told.contains("long.wav") && told.contains("goes on where it was")
            ),
            "{left}"
        );
        browser
            .run(
                "window.begun = []; const send = XMLHttpRequest.prototype.setRequestHeader;
                  XMLHttpRequest.prototype.setRequestHeader = function (name, value) {
                      if (name === 'Upload-Offset') window.begun.push(Number(value));
                      return send.call(this, name, value);
                  }; return 1",
            )
            .await;
        choose(&browser, std::slice::from_ref(&path)).await;
        browser
            .wait(
                "the guess",
                "return document.querySelector('#guesses tr') !== null",
            )
            .await;
        browser.click("#send").await;
        browser
            .wait(
                "the end",
                "return document.querySelector('.sending li.done') !== null",
            )
            .await;
        assert_eq!(
            browser.run("return window.begun[0]").await,
            json!(before),
            "it went on there"
        );
        assert_eq!(browser.run("return Object.keys(localStorage).filter(key => key.startsWith('sayback upload')).length").await, 0);
        app.wait_idle();
        let id = app.only_recording(&event)["id"]
            .as_str()
            .expect("an id")
            .to_owned();
        assert_eq!(app.get(&format!("/recordings/{id}/audio")).body, sent);
        let lost = |told: &String| !told.contains("net::ERR_");
        let complaints: Vec<String> = browser.end().await.into_iter().filter(lost).collect();
        assert_eq!(complaints, [""; 0], "the browser complained");
    });
}

/// How many bytes of the one upload are here, once nobody writes to it.
fn bytes_here(app: &TestApp) -> u64 {
    let until = Instant::now() + Duration::from_secs(20);
    loop {
        let folder = app.data.path().join("sending");
        let entries: Vec<PathBuf> = std::fs::read_dir(folder)
            .expect("a folder")
            .flatten()
            .map(|entry| entry.path())
            .collect();
        let with = |ending: &str| {
            entries
                .iter()
                .find(|path| path.extension().is_some_and(|e| e == ending))
        };
        let record: Value = serde_json::from_slice(
            &std::fs::read(with("json").expect("a record")).expect("a record"),
        )
        .expect("JSON");
        if record["unchecked_from"].is_null() {
            return with("part")
                .expect("bytes")
                .metadata()
                .expect("bytes")
                .len();
        }
        assert!(Instant::now() < until, "still written to");
        std::thread::sleep(Duration::from_millis(20));
    }
}
