//! What is kept of it: quotes, links, places by hand.

use fantoccini::key::Key;

use super::{drawn, id_of, in_browser, on_clock, placed, sees_the_day, x_of, y_of};
use crate::app::TestApp;
use crate::landing::Landing;

#[test]
fn a_stretch_goes_into_a_cut_list_and_into_a_link() {
    let landing = Landing::new();
    in_browser(async |browser| {
        sees_the_day(&browser, &landing).await;
        let lapel = placed(&landing, "Corin, lapel");
        let (from, to) = landing.line_at("Corin, lapel", "letter-ottilie-1");
        let (from, to) = (on_clock(&lapel, from), on_clock(&lapel, to));
        let y = y_of(&browser, &id_of(&lapel)).await;
        let (left, right) = (x_of(&browser, from).await, x_of(&browser, to).await);
        browser
            .drag_along(&[(left, y), (left + 20.0, y), (right, y)])
            .await;
        browser
            .wait("a stretch", "return location.hash.includes(',')")
            .await;
        // Bounds are made exact by numbers.
        for (field, ms) in [("day-start", from), ("day-end", to)] {
            let script = format!(
                "const f = document.getElementById('{field}'); f.value = {}; f.dispatchEvent(new Event('change')); return 1",
                ms.round()
            );
            browser.run(&script).await;
        }
        browser.click("#day-collect").await;
        browser
            .wait(
                "it collected",
                "return document.getElementById('news').textContent.startsWith('Added to ')",
            )
            .await;
        let path = format!("/events/{}/cuts", landing.event);
        let lists = landing.app.get(&path).json();
        let list = lists["cuts"][0]["id"].as_str().expect("a list").to_owned();
        let quote = landing.app.get(&format!("/cuts/{list}")).json()["quotes"][0].clone();
        assert_eq!(
            (quote["start_ms"].as_i64(), quote["end_ms"].as_i64()),
            (Some(from.round() as i64), Some(to.round() as i64))
        );
        assert!(
            quote["text"].as_str().is_some_and(|t| t.contains("kettle")),
            "{quote}"
        );
        // A colleague who opens the address sees the same stretch.
        let address = browser.run("return location.href").await;
        browser.open("about:blank").await;
        browser.open(address.as_str().expect("an address")).await;
        drawn(&browser).await;
        let shown = browser
            .wait(
                "the stretch",
                "return document.getElementById('day-start').value || null",
            )
            .await;
        assert_eq!(shown, from.round().to_string());
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

#[test]
fn what_is_not_on_the_clock_is_told_with_why_and_can_be_placed() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let lines = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/lines");
    // Two recordings that share no sound: only one can begin the clock.
    app.add(
        &event,
        "Lectern",
        "stand",
        &[lines.join("letter-ottilie-1.flac")],
    );
    app.add(
        &event,
        "Dock",
        "ambient",
        &[lines.join("vows-corin-1.flac")],
    );
    app.wait_idle();
    let clock = app.get(&format!("/events/{event}/clock")).json();
    let apart = clock["recordings"].as_array().expect("recordings");
    let apart = apart.iter().find(|r| r["start_ms"].is_null());
    let apart = apart.expect("one that is not on the clock").clone();
    let id = id_of(&apart);
    in_browser(async |browser| {
        browser
            .open(&format!("{}/?event={event}&view=day", app.url))
            .await;
        let told = browser
            .wait(
                "what is apart",
                "return document.querySelector('#day-apart .why')?.textContent || null",
            )
            .await;
        assert!(told.as_str().is_some_and(|why| why.len() > 20), "{told}");
        let (form, start) = (
            format!("#day-apart [data-recording=\"{id}\"]"),
            format!("#start-{id}"),
        );
        browser.click(&format!("{form} summary")).await;
        browser.type_into(&start, "4000").await;
        browser.press(Key::Enter.into()).await;
        browser
            .wait(
                "its row",
                &format!("return document.querySelector('.track[data-recording=\"{id}\"] .track-sure')?.innerText.startsWith('by hand')"),
            )
            .await;
        let clock = app.get(&format!("/events/{event}/clock")).json();
        let placed = clock["recordings"].as_array().expect("recordings");
        let placed = placed.iter().find(|r| r["recording"]["id"] == id.as_str());
        assert_eq!(placed.expect("it")["start_ms"], 4000);
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}
