//! The end of the day, on the page.

use axum::http::Method;
use serde_json::{Value, json};

use super::in_browser;
use crate::browser::Browser;
use crate::landing::Landing;

const VERDICT: &str = "return document.getElementById('cover-verdict')?.textContent";

fn mark(landing: &Landing, event: &str, required: bool) {
    let part = json!({"parts": [
        {"name": "<b>vows</b>", "start_ms": 0, "end_ms": 600_000, "required": required}]});
    let path = format!("/events/{event}/parts");
    let kind = [("content-type", "application/json")];
    let reply = landing
        .app
        .send(Method::PUT, &path, &kind, part.to_string().into_bytes());
    assert_eq!(reply.status, 200, "{}", reply.json());
}

#[test]
fn what_one_recorder_alone_has_is_told_before_cards_are_wiped() {
    let landing = Landing::new();
    // The same lines where only the lapel was there.
    let alone = landing.app.event("Lapel alone");
    let lapel = &landing.truth.recorders[0];
    landing
        .app
        .add(&alone, &lapel.label, "worn", &landing.files(lapel));
    landing.app.wait_idle();
    mark(&landing, &alone, true);
    let told = landing.app.get(&format!("/events/{alone}/coverage")).json();
    assert_eq!(told["finished"], true, "{told}");
    in_browser(async |browser| {
        browser
            .open(&format!("{}/?view=cover&event={alone}", landing.app.url))
            .await;
        let said =
            format!("{VERDICT}.startsWith('No: 1 required part has no full backup (<b>vows</b>)')");
        browser.wait("that cards are kept", &said).await;
        sees_the_gaps(&browser, &told).await;
        goes_there(&browser, &told).await;
        says_what_it_rests_on(&browser, &landing, &alone).await;
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

async fn sees_the_gaps(browser: &Browser, told: &Value) {
    let part = &told["parts"][0];
    let gaps = part["gaps"].as_array().expect("gaps");
    assert!(!gaps.is_empty(), "{told}");
    let shown = browser
        .wait(
            "the gaps",
            "const rows = [...document.querySelectorAll('.gaps > li')];
             return rows.length > 0 && rows.map(row => [row.querySelector('.text').textContent,
                row.querySelector('.who').textContent, row.querySelector('.others').textContent])",
        )
        .await;
    let shown = shown.as_array().expect("rows");
    assert_eq!(shown.len(), gaps.len());
    for (row, gap) in shown.iter().zip(gaps) {
        assert_eq!(row[0], gap["text"], "its first words");
        let label = gap["only"]["label"].as_str().expect("the one source");
        assert_eq!(row[1], format!("only {label} (worn) has it"));
        assert_eq!(row[2], "nobody else was there");
    }
    // The bar says what the numbers say.
    let bar = browser
        .run(
            "return [...document.querySelectorAll('.cover-bar span')].map(piece =>
                [piece.className, Number(piece.style.getPropertyValue('--share'))])",
        )
        .await;
    assert_eq!(bar, json!([["more", 0], ["one", 1], ["none", 0]]));
    let label = browser
        .run("return document.querySelector('.cover-bar').getAttribute('aria-label')")
        .await;
    assert_eq!(label, "0 % on two or more, 100 % on one only, 0 % on none");
}

async fn goes_there(browser: &Browser, told: &Value) {
    let gap = &told["parts"][0]["gaps"][0];
    browser.click(".gaps > li button.time").await;
    let start = gap["start_ms"].as_i64().expect("a start");
    let there = format!(
        "return location.search.includes('view=day') && location.hash.startsWith('#t={}')",
        start as f64 / 1000.0
    );
    browser.wait("that instant of the day", &there).await;
    browser.run("history.back(); return 1").await;
    browser
        .wait(
            "coverage again",
            "return location.search.includes('view=cover')",
        )
        .await;
    browser.click(".gaps > li button.play").await;
    let plays = "return document.querySelector('.gaps > li.plays button.play')?.getAttribute('aria-pressed') === 'true'";
    browser.wait("the gap play", plays).await;
}

async fn says_what_it_rests_on(browser: &Browser, landing: &Landing, event: &str) {
    let caution = browser
        .run("return document.getElementById('cover-caution').textContent")
        .await;
    assert!(
        caution
            .as_str()
            .is_some_and(|told| told.contains("does not check the copies")),
        "{caution}"
    );
    let sheet = browser
        .run("return document.getElementById('cover-sheet').getAttribute('href')")
        .await;
    let sheet = sheet.as_str().expect("an address");
    let reply = landing.app.send_to(Method::GET, sheet, &[], vec![]);
    assert_eq!(
        (reply.status, reply.header("content-type")),
        (200, "text/html; charset=utf-8")
    );
    // A part that is not required keeps no card, and says nothing of them either.
    mark(landing, event, false);
    let said = format!("{VERDICT}.startsWith('No part of this event is marked as required')");
    browser.wait("that nothing is required", &said).await;
}

/// What is said, by a table of what the server answers.
#[test]
fn the_sentence_on_top_promises_no_more_than_is_known() {
    let part = |required: bool, backed_up: bool| json!({"name": "vows", "required": required, "backed_up": backed_up, "moments": 1});
    let day = |finished: bool, failed: i64, parts: Value| {
        json!({"finished": finished, "failed": failed, "parts": parts, "off_clock": [],
            "elsewhere": {"moments": 1}})
    };
    let table = [
        (Value::Null, "wait", "Waiting"),
        (
            day(true, 0, json!([part(true, true)])),
            "yes",
            "As far as was heard, yes",
        ),
        (
            day(true, 2, json!([part(true, true)])),
            "yes",
            "As far as was heard, yes",
        ),
        (
            day(false, 0, json!([part(true, true)])),
            "wait",
            "Do not wipe any card yet",
        ),
        (
            day(true, 0, json!([part(true, false), part(true, true)])),
            "no",
            "No: 1 required part has",
        ),
        (
            day(true, 0, json!([part(false, false)])),
            "none",
            "No part of this event is marked",
        ),
        (
            day(true, 0, json!([])),
            "none",
            "No part of this event is marked",
        ),
    ];
    let app = crate::app::TestApp::start();
    in_browser(async |browser| {
        browser.open(&app.url).await;
        browser
            .run("import('/page/cover/verdict.js').then(told => { window.told = told; }); return 1")
            .await;
        browser
            .wait("the module", "return window.told !== undefined")
            .await;
        for (coverage, kind, begins) in table {
            let told = browser
                .run(&format!("return window.told.verdict({coverage})"))
                .await;
            assert_eq!(told["kind"], kind, "{coverage}");
            assert!(
                told["sentence"]
                    .as_str()
                    .is_some_and(|text| text.starts_with(begins)),
                "{told}"
            );
            assert!(
                told["caution"]
                    .as_str()
                    .is_some_and(|text| text.contains("two disks")),
                "{told}"
            );
            if coverage["failed"].as_i64().unwrap_or(0) > 0 {
                assert!(
                    told["facts"][0]
                        .as_str()
                        .is_some_and(|text| text.contains("2 files")),
                    "{told}"
                );
            }
        }
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}
