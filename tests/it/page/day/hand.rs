//! By wheel and by keys.

use fantoccini::key::Key;
use serde_json::json;

use super::{COLUMNS, id_of, in_browser, landed, on_clock, placed, sees_the_day, x_of, y_of};
use crate::browser::Browser;
use crate::landing::Landing;

#[test]
fn one_comes_as_near_as_words_and_never_sees_a_blank() {
    let landing = Landing::new();
    in_browser(async |browser| {
        sees_the_day(&browser, &landing).await;
        let lapel = placed(&landing, "Corin, lapel");
        let id = id_of(&lapel);
        let (from, to) = landing.line_at("Corin, lapel", "letter-ottilie-1");
        let at = on_clock(&lapel, (from + to) / 2.0);
        let y = y_of(&browser, &id).await;
        let seen = COLUMNS.replace("ID", &id);
        for _ in 0..12 {
            browser.wheel((x_of(&browser, at).await, y), -240).await;
            // Two frames later something is drawn, whether the finer tiles are there or not.
            browser
                .run(
                    "return new Promise(done => requestAnimationFrame(() =>
                    requestAnimationFrame(() => done(1))))",
                )
                .await;
            let columns = browser.run(&seen).await;
            let columns: Vec<(f64, f64)> = serde_json::from_value(columns).expect("columns");
            let empty = columns.iter().filter(|(sound, _)| *sound == 0.0).count();
            let there = ((x_of(&browser, on_clock(&lapel, 0.0)).await - x_of(&browser, 0.0).await)
                .abs()
                + 40.0) as usize;
            assert!(
                empty <= columns.len() / 20 + there,
                "{empty} of {} columns",
                columns.len()
            );
        }
        let per_px = browser
            .run("return Number(document.getElementById('day-instant').dataset.msPerPx)")
            .await;
        assert!(
            per_px.as_f64().is_some_and(|ms| ms <= 10.0),
            "{per_px} ms a pixel"
        );
        // What was pointed at is where it was.
        let x = x_of(&browser, at).await;
        browser.drag_along(&[(x, y)]).await;
        assert!((landed(&browser).await - at).abs() < 12.0);
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

#[test]
fn the_keyboard_alone_finds_selects_makes_a_part_and_plays() {
    let landing = Landing::new();
    in_browser(async |browser| {
        sees_the_day(&browser, &landing).await;
        browser
            .run("document.getElementById('day-instant').focus(); return 1")
            .await;
        // To the first thing that was said, and from there to the next as a stretch.
        browser.press(Key::Home.into()).await;
        browser.chord(Key::Control, &[Key::Right]).await;
        let first = landed_after(&browser, 0.0).await;
        browser
            .chord(Key::Shift, &[Key::PageDown, Key::Left, Key::Left])
            .await;
        let stretch = browser
            .wait(
                "a stretch",
                "return location.hash.includes(',') ? location.hash : null",
            )
            .await;
        let stretch = stretch
            .as_str()
            .expect("a text")
            .trim_start_matches("#t=")
            .to_owned();
        let (start, end) = stretch.split_once(',').expect("two instants");
        let ms = |text: &str| (text.parse::<f64>().expect("seconds") * 1000.0).round() as i64;
        assert_eq!(ms(start), first.round() as i64);
        browser
            .run("document.getElementById('day-part-name').focus(); return 1")
            .await;
        browser.type_into("#day-part-name", "Letters read").await;
        browser.press(Key::Enter.into()).await;
        browser
            .wait(
                "the part",
                "return document.querySelector('#day-parts input')?.value === 'Letters read'",
            )
            .await;
        let path = format!("/events/{}/parts", landing.event);
        let parts = landing.app.get(&path).json()["parts"].clone();
        assert_eq!(
            parts,
            json!([{"name": "Letters read", "start_ms": ms(start), "end_ms": ms(end),
                "required": false}])
        );
        // Another name, by keys too.
        browser
            .run("const f = document.querySelector('#day-parts input'); f.focus(); f.select(); return 1")
            .await;
        browser
            .type_into("#day-parts input", "Morning letters")
            .await;
        browser.press(Key::Tab.into()).await;
        browser
            .wait(
                "the new name",
                "return document.querySelector('#day-parts input[aria-label$=\"Morning letters\"]') !== null",
            )
            .await;
        assert_eq!(
            landing.app.get(&path).json()["parts"][0]["name"],
            "Morning letters"
        );
        browser
            .run("document.getElementById('day-instant').focus(); return 1")
            .await;
        browser.press(Key::Enter.into()).await;
        browser
            .wait(
                "it play",
                "return !document.querySelector('.glass .playhead').hidden
                    && Number(document.querySelector('.glass .playhead').dataset.ms)",
            )
            .await;
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

async fn landed_after(browser: &Browser, ms: f64) -> f64 {
    let script = format!(
        "const t = Number.parseFloat(new URLSearchParams(location.hash.slice(1)).get('t'));
         return t * 1000 > {ms} ? t * 1000 : null"
    );
    let at = browser.wait("an instant", &script).await;
    at.as_f64().expect("an instant")
}
