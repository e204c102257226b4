//! The page as a person meets it.

mod add;
mod clock;
mod cover;
mod guess;
mod script;
mod work;

use axum::http::Method;
use fantoccini::key::Key;
use serde_json::Value;

use crate::app::TestApp;
use crate::browser::Browser;
use crate::landing::Landing;

/// The first play button of the first line.
const PLAY: &str = ".hit .hearing button.play";

#[test]
fn a_person_finds_a_line_and_hears_exactly_that_spot() {
    let landing = Landing::new();
    in_browser(async |browser| {
        browser.open(&landing.app.url).await;
        let title = browser
            .wait(
                "the event",
                "return document.querySelector('#event').selectedOptions[0]?.text",
            )
            .await;
        assert_eq!(title, "Tarrow Landing");
        browser.type_into("#query", "ferry bell").await;
        browser
            .wait(
                "the line",
                "return document.querySelector('.hit mark') !== null",
            )
            .await;
        sees_the_line(&browser).await;
        plays_the_spot(&browser, &landing).await;
        the_keyboard_is_enough(&browser).await;
        an_unfinished_word_is_taken_as_a_beginning(&browser).await;
        script::finds_where_a_text_was_read(&browser, &landing).await;
        clock::sees_the_clock(&browser, &landing).await;
        // It also logs what the server refused, which texts and parts were to be.
        let refused = |told: &String| !told.contains("status of 422");
        let complaints: Vec<String> = browser.end().await;
        let complaints: Vec<String> = complaints.into_iter().filter(refused).collect();
        assert_eq!(complaints, [""; 0], "the browser complained");
    });
}

async fn sees_the_line(browser: &Browser) {
    let marked = browser
        .run("return document.querySelector('.hit mark').textContent")
        .await;
    let marked = marked.as_str().expect("a text").to_lowercase();
    assert!(marked.starts_with("ferry bell"), "{marked}");
    let rows = browser
        .run(
            "return [...document.querySelectorAll('.hit:first-child .hearing')].map(row =>
                ['.label', '.placement', '.time', '.verdict', '.why'].map(part =>
                    row.querySelector(part).textContent))",
        )
        .await;
    let rows = rows.as_array().expect("rows");
    assert_eq!(rows.len(), 2, "{rows:?}");
    assert_eq!(
        (&rows[0][0], &rows[0][1]),
        (&"Corin, lapel".into(), &Value::from("worn"))
    );
    assert_eq!(
        (&rows[1][0], &rows[1][1]),
        (&"Camera".into(), &Value::from("camera"))
    );
    for row in rows {
        let time = row[2].as_str().expect("a time");
        assert!(
            time.starts_with("0:0") && time.len() == "0:00.00".len(),
            "{time}"
        );
        assert!(
            row[4]
                .as_str()
                .is_some_and(|why| why.contains("dB above its noise")),
            "{row}"
        );
    }
    let summary = browser
        .run("return document.getElementById('summary').textContent")
        .await;
    assert_eq!(summary, "1 line");
}

async fn plays_the_spot(browser: &Browser, landing: &Landing) {
    let hit = &landing.app.get("/search?q=ferry%20bell").json()["hits"][0]["heard_on"][0];
    let (start, end) = (hit["start_ms"].as_i64(), hit["end_ms"].as_i64());
    let (start, end) = (start.expect("a start"), end.expect("an end"));
    let id = hit["recording"]["id"].as_str().expect("an id");
    browser.run("window.ended = 0; document.getElementById('audio').addEventListener('ended', () => window.ended++); return 1").await;
    browser.click(PLAY).await;
    let player = browser
        .wait(
            "the media clock run",
            "const a = document.getElementById('audio');
             return a.currentTime > 0.05 ? {source: a.src, at: a.currentTime, length: a.duration,
                 gain: a.volume, players: document.querySelectorAll('audio').length} : null",
        )
        .await;
    let spot = format!("/api/v1/recordings/{id}/slice?start_ms={start}&end_ms={end}");
    assert!(
        player["source"]
            .as_str()
            .is_some_and(|s| s.ends_with(&spot)),
        "{player} for {spot}"
    );
    // The slice is the spot: its clock starts at 0 and its length is the words'.
    let length_ms = player["length"].as_f64().expect("a length") * 1000.0;
    assert!(
        (length_ms - (end - start) as f64).abs() < 2.0,
        "{length_ms} ms for {start} to {end}"
    );
    assert!(
        player["at"]
            .as_f64()
            .is_some_and(|at| at * 1000.0 <= length_ms),
        "{player}"
    );
    assert_eq!(
        (&player["gain"], &player["players"]),
        (&1.into(), &1.into())
    );
    let pressed = format!("return document.querySelector('{PLAY}').getAttribute('aria-pressed')");
    browser
        .wait("the end of the spot", "return window.ended === 1")
        .await;
    assert_eq!(browser.run(&pressed).await, "false");
}

async fn the_keyboard_is_enough(browser: &Browser) {
    let focus =
        "return document.activeElement.getAttribute('aria-label') ?? document.activeElement.id";
    browser
        .run("document.getElementById('query').focus(); return 1")
        .await;
    browser.press(Key::Down.into()).await;
    let first = browser.run(focus).await;
    assert!(
        first
            .as_str()
            .is_some_and(|name| name.starts_with("Play Corin, lapel at 0:0")),
        "{first}"
    );
    let outline = browser
        .run("return getComputedStyle(document.activeElement).outlineStyle")
        .await;
    assert_eq!(outline, "solid", "the focus is seen");
    browser.press(Key::Down.into()).await;
    let second = browser.run(focus).await;
    assert!(
        second
            .as_str()
            .is_some_and(|name| name.starts_with("Play Camera")),
        "{second}"
    );
    browser.press(Key::Enter.into()).await;
    browser
        .wait(
            "the camera play",
            "return document.querySelector('.hearing.plays .label')?.textContent === 'Camera'
                && document.getElementById('audio').currentTime > 0",
        )
        .await;
    browser.press(Key::Escape.into()).await;
    let stopped = browser.run("return document.querySelector('.plays') === null && document.getElementById('audio').paused").await;
    assert_eq!(stopped, true);
    let on = "return document.activeElement.id";
    // On a busy machine the clip may have ended, and the first was the second: one more
    // would empty the field.
    if browser.run(on).await != "query" {
        browser.press(Key::Escape.into()).await;
    }
    assert_eq!(browser.run(on).await, "query");
    // Tab alone leads through everything, too.
    browser.press(Key::Tab.into()).await;
    let tabbed = browser.run(focus).await;
    assert!(
        tabbed
            .as_str()
            .is_some_and(|name| name.starts_with("Play Corin")),
        "{tabbed}"
    );
}

async fn an_unfinished_word_is_taken_as_a_beginning(browser: &Browser) {
    browser
        .run("const q = document.getElementById('query'); q.focus(); q.select(); return 1")
        .await;
    browser.type_into("#query", "kett").await;
    browser
        .wait(
            "the kettle",
            "return /^kettle/.test(document.querySelector('.hit mark')?.textContent)",
        )
        .await;
    let marked = browser
        .run("return document.querySelector('.hit mark').textContent")
        .await;
    assert!(
        marked.as_str().is_some_and(|m| m.starts_with("kettle")),
        "{marked}"
    );
    let address = browser.run("return location.search").await;
    assert!(
        address.as_str().is_some_and(|a| a.contains("q=kett")),
        "{address}"
    );
}

#[test]
fn names_are_shown_as_they_are_and_never_run() {
    let app = TestApp::start();
    let title = "<img src=x onerror=window.broken=1>\"'&amp;";
    let event = app.event(title);
    let folder = tempfile::tempdir().expect("a folder");
    let odd = folder.path().join("<b>no\nsound<b>.wav");
    std::fs::write(&odd, b"this is no recording").expect("a file");
    app.add(&event, "<script>window.broken=1</script>", "stand", &[odd]);
    app.wait_idle();
    in_browser(async |browser| {
        browser.open(&app.url).await;
        browser
            .wait(
                "the event",
                "return document.querySelector('#event').selectedOptions.length > 0",
            )
            .await;
        let shown = browser
            .run("return document.querySelector('#event').selectedOptions[0].text")
            .await;
        assert_eq!(shown, title);
        let problem = browser
            .wait(
                "the problem",
                "return document.querySelector('#problems-list li')?.textContent",
            )
            .await;
        let problem = problem.as_str().expect("a text");
        assert!(problem.contains("<b>no\\nsound<b>.wav"), "{problem}");
        assert_eq!(
            browser.run("return window.broken === undefined").await,
            true
        );
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

#[test]
fn the_page_says_what_to_do_when_there_is_nothing() {
    let app = TestApp::start();
    in_browser(async |browser| {
        browser.open(&app.url).await;
        let told = browser
            .wait(
                "advice",
                "const e = document.getElementById('empty'); return e.hidden ? null : e.innerText",
            )
            .await;
        assert!(
            told.as_str()
                .is_some_and(|t| t.contains("sayback event new")),
            "{told}"
        );
        let event = app.event("Boathouse");
        browser.open(&format!("{}/?event={event}", app.url)).await;
        let told = browser
            .wait(
                "advice",
                "const e = document.getElementById('empty'); return e.hidden ? null : e.innerText",
            )
            .await;
        assert!(
            told.as_str()
                .is_some_and(|t| t.contains("sayback add \"Boathouse\"")),
            "{told}"
        );
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

#[test]
fn the_pages_files_are_its_own() {
    let app = TestApp::start();
    for path in sayback::web::paths() {
        let asset = sayback::web::asset(&path).expect("it is listed");
        let reply = app.send_to(Method::GET, &path, &[], vec![]);
        assert_eq!(
            (reply.status, reply.body.as_slice()),
            (200, asset.bytes.as_ref()),
            "{path}"
        );
        assert_eq!(reply.header("content-type"), asset.media_type);
        let again = [("if-none-match", reply.header("etag"))];
        assert_eq!(app.send_to(Method::GET, &path, &again, vec![]).status, 304);
        let text = String::from_utf8_lossy(&asset.bytes);
        for foreign in ["https://", "innerHTML", "eval(", " style=\"", "onclick=\""] {
            assert!(!text.contains(foreign), "{path}: {foreign}");
        }
    }
}

/// Runs a test with a browser of its own.
pub(crate) fn in_browser(test: impl AsyncFnOnce(Browser)) {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
        .block_on(async { test(Browser::start().await).await });
}
