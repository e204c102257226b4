//! A list at its bound.

use serde_json::{Value, json};

use super::super::in_browser;
use crate::landing::Landing;

#[test]
fn a_list_of_2000_quotes_is_shown_by_few_rows() {
    let landing = Landing::new();
    let app = &landing.app;
    let path = format!("/events/{}/cuts", landing.event);
    let cut = app.post(&path, &json!({"name": "All of it"})).json();
    let cut = cut["id"].as_str().expect("an id").to_owned();
    let moments = app
        .get(&format!("/events/{}/moments", landing.event))
        .json();
    let moments = moments["moments"].as_array().expect("moments").clone();
    let quotes: Vec<Value> = (0..2000)
        .map(|n| json!({"moment": moments[n % moments.len()]["id"], "note": format!("n {n}")}))
        .collect();
    let version = app.get(&format!("/cuts/{cut}")).json()["cut"]["version"].clone();
    let reply = app.post(
        &format!("/cuts/{cut}/quotes"),
        &json!({"version": version, "quotes": quotes}),
    );
    assert_eq!(reply.status, 201, "{}", reply.json());
    in_browser(async |browser| {
        let url = format!("{}/?event={}&view=cuts&cut={cut}", app.url, landing.event);
        browser.open(&url).await;
        browser
            .wait(
                "the quotes",
                "return document.querySelectorAll('li.quote').length > 5",
            )
            .await;
        let there = browser
            .run("return document.querySelectorAll('li.quote').length")
            .await;
        assert!(
            there.as_u64().is_some_and(|n| n < 200),
            "{there} rows are there"
        );
        // As an assistant is told: one of 2,000, the last one among them.
        browser.type_into("li.quote .words", "\u{e010}").await;
        let last = browser
            .wait(
                "the last one",
                "const row = document.activeElement.closest('li.quote');
                 return row?.getAttribute('aria-posinset') === '2000' && {
                     all: row.getAttribute('aria-setsize'), note: row.querySelector('.note').textContent }",
            )
            .await;
        assert_eq!(last, json!({"all": "2000", "note": "Note: n 1999"}));
        // Looking at another quote, and moving one: told until all is laid out anew, held to
        // few rows.
        for (what, key) in [
            ("looking at another", "key: 'ArrowUp'"),
            ("moving one", "key: 'PageUp', altKey: true"),
            (
                "going to the other end",
                "key: n % 2 === 0 ? 'Home' : 'End'",
            ),
        ] {
            let script = format!(
                "return (async () => {{
                    const times = [];
                    for (let n = 0; n < 5; n += 1) {{
                        const begun = performance.now();
                        document.activeElement.dispatchEvent(
                            new KeyboardEvent('keydown', {{ {key}, bubbles: true, cancelable: true }}));
                        document.body.getBoundingClientRect();
                        times.push(performance.now() - begun);
                        await new Promise((resolve) => setTimeout(resolve, 300));
                    }}
                    return times.sort((a, b) => a - b);
                }})()"
            );
            let times = browser.run(&script).await;
            println!("{what}: {times} ms");
            let there = browser
                .run("return document.querySelectorAll('li.quote').length")
                .await;
            assert!(
                there.as_u64().is_some_and(|n| n < 200),
                "{what}: {there} rows"
            );
        }
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}
