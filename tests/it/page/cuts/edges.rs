//! Where a quote begins and ends.

use serde_json::{Value, json};

use super::Desk;
use super::order::point;

pub async fn are_nudged_by_frames_ms_and_words(desk: &Desk<'_>) {
    let browser = desk.browser;
    desk.choose(2).await;
    let before = desk.quote(2);
    assert_eq!(before["in"], json!({"ms": 0, "frames": 0}), "{before:#}");
    browser.click("[data-nudge='begin/−1 frame']").await;
    desk.told("begins −1 frame").await;
    browser.click("[data-nudge='end/+10 ms']").await;
    desk.told("ends +10 ms").await;
    let nudged = desk.quote(2);
    assert_eq!(nudged["in"], json!({"ms": 0, "frames": -1}));
    assert_eq!(nudged["out"], json!({"ms": 10, "frames": 0}));
    // A frame of 25 a second is 40 ms.
    assert_eq!(
        number(&nudged, "length_ms"),
        number(&before, "length_ms") + 50
    );
    // Exactly, by the fields.
    browser
        .run("const f = document.getElementById('edge-end-ms'); f.focus(); f.select(); return 1")
        .await;
    browser.type_into("#edge-end-ms", "-900\u{e007}").await;
    desk.told("ends −900 ms").await;
    let short = desk.quote(2);
    assert_eq!(short["out"], json!({"ms": -900, "frames": 0}));
    // To where the next word ends, by the server's own figure of that word.
    browser
        .wait(
            "the words around it",
            &format!(
                "return document.querySelectorAll('.wave-words span').length >= {}",
                short["words"].as_array().expect("words").len()
            ),
        )
        .await;
    browser.click("[data-nudge='end/word1']").await;
    let until = std::time::Instant::now() + std::time::Duration::from_secs(20);
    while desk.quote(2)["out"] == short["out"] && std::time::Instant::now() < until {
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let later = desk.quote(2);
    let length = number(&later, "length_ms");
    assert!(length > number(&short, "length_ms"), "{later:#}");
    let ends = later["words"].as_array().expect("words").iter();
    let near = ends
        .map(|word| (number(word, "end_ms") - length).abs())
        .min();
    assert!(
        near.is_some_and(|off| off <= 1),
        "no word ends at {length} of {later:#}"
    );
    // Back to what was picked.
    for edge in ["begin", "end"] {
        for unit in ["ms", "frames"] {
            let script =
                format!("document.getElementById('edge-{edge}-{unit}').value = 0; return 1");
            browser.run(&script).await;
        }
        browser.click(&format!("#edge-{edge}-set")).await;
        desk.told(if edge == "begin" {
            "begins as picked"
        } else {
            "ends as picked"
        })
        .await;
    }
    assert_eq!(desk.quote(2)["length_ms"], before["length_ms"]);
    // What would be no quote is refused, in words, and nothing changes.
    browser
        .run("const f = document.getElementById('edge-begin-ms'); f.focus(); f.select(); return 1")
        .await;
    browser.type_into("#edge-begin-ms", "60000\u{e007}").await;
    desk.told("a quote begins before it ends").await;
    assert_eq!(desk.quote(2)["in"], json!({"ms": 0, "frames": 0}));
    browser
        .run("document.getElementById('edge-begin-ms').value = 0; return 1")
        .await;
}

pub async fn are_dragged_on_the_wave(desk: &Desk<'_>) {
    let browser = desk.browser;
    desk.choose(1).await;
    let before = desk.quote(1);
    // The wave of who is heard is drawn, with what is around the quote.
    browser
        .wait(
            "the wave",
            "const canvas = document.querySelector('.wave canvas');
             const { data } = canvas.getContext('2d')
                 .getImageData(0, Math.round(canvas.height * 0.36), canvas.width, 1);
             const colours = new Set(Array.from({ length: canvas.width },
                 (_, n) => data.slice(4 * n, 4 * n + 4).join()));
             return document.querySelector('.wave-of > .about').textContent === '' && colours.size > 2",
        )
        .await;
    // By its keys: a frame.
    browser.type_into("#wave-begin", "\u{e014}").await;
    desk.told("begins +1 frame").await;
    assert_eq!(desk.quote(1)["in"], json!({"ms": 0, "frames": 1}));
    // By hand, not held by words: as many ms as the wave says.
    browser.click("#wave-snap").await;
    let at = "const h = document.getElementById('wave-end'); h.scrollIntoView({ block: 'center' });
        const b = h.getBoundingClientRect();
        return [b.x + b.width / 2, b.y + b.height / 2, h.closest('.wave').clientWidth]";
    let told = browser.run(at).await;
    let from = point(&told);
    let wide = told[2].as_f64().expect("a width");
    let length = number(&desk.quote(1), "length_ms") as f64;
    browser
        .drag_along(&[from, (from.0 - 15.0, from.1), (from.0 - 30.0, from.1)])
        .await;
    desk.told("ends −").await;
    let after = desk.quote(1);
    let moved = after["out"]["ms"].as_i64().expect("ms") as f64;
    // The wave shows 1.5 s around it.
    let wanted = -30.0 * (length + 3000.0) / wide;
    assert!(
        (moved - wanted).abs() <= (length + 3000.0) / wide,
        "{moved} for {wanted} ms"
    );
    browser.click("#wave-snap").await;
    browser.click("#cut-undo").await;
    desk.told("Taken back").await;
    browser.click("#cut-undo").await;
    browser
        .wait(
            "all as picked",
            "return document.querySelector('.edges .told').textContent === 'as picked'",
        )
        .await;
    assert_eq!(desk.quote(1), before);
}

fn number(value: &Value, member: &str) -> i64 {
    let number = value[member].as_i64();
    number.unwrap_or_else(|| panic!("no {member} in {value:#}"))
}
