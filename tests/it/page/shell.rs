//! What holds for every view: it can be used by all (WCAG 2.2 AA), by keys alone, in any
//! light and at any size.

use fantoccini::key::Key;
use serde_json::Value;
use xtask::oracle;

use super::in_browser;
use crate::browser::Browser;
use crate::landing::Landing;

const VIEWS: [&str; 7] = ["find", "day", "read", "texts", "cuts", "cover", "add"];

#[test]
fn every_view_passes_the_checker_of_the_guidelines() {
    let landing = Landing::new();
    let axe = axe();
    let mut found = Vec::new();
    in_browser(async |browser| {
        for light in ["day", "night"] {
            for view in VIEWS {
                looks_at(&browser, &landing, view, light).await;
                found.extend(violations(&browser, &axe, &format!("{view} by {light}")).await);
            }
        }
        // A tablet, upright, and a page magnified four times (WCAG 2.2, 1.4.10).
        for (width, height) in [(820, 1180), (320, 640)] {
            browser.resize(width, height).await;
            for view in VIEWS {
                looks_at(&browser, &landing, view, "day").await;
                let name = format!("{view} at {width} px");
                found.extend(violations(&browser, &axe, &name).await);
                let over = browser
                    .run("return document.documentElement.scrollWidth - innerWidth")
                    .await;
                if over.as_i64().is_none_or(|over| over > 1) {
                    found.push(format!("{name}: {over} px wider than the window"));
                }
            }
        }
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// The checker itself.
fn axe() -> String {
    let path = oracle::data("axe-playwright-python").join("axe_playwright_python/axe.min.js");
    std::fs::read_to_string(path).expect("axe-core")
}

async fn looks_at(browser: &Browser, landing: &Landing, view: &str, light: &str) {
    let url = format!(
        "{}/?event={}&view={view}&q=kettle#t=2.5,4",
        landing.app.url, landing.event
    );
    browser.open("about:blank").await;
    browser.open(&url).await;
    browser
        .run(&format!(
            "document.documentElement.dataset.light = '{light}'; return 1"
        ))
        .await;
    browser
        .wait(
            "the view with what it shows",
            &format!(
                "return document.querySelector('#view-{view}:not([hidden])') !== null
                    && document.querySelector('#event').selectedOptions[0]?.text.startsWith('Tarrow')
                    && !document.getElementById('strip').hidden"
            ),
        )
        .await;
    // What a view asks for when it comes into sight is there, or told to be on its way.
    tokio::time::sleep(std::time::Duration::from_millis(700)).await;
}

/// Everything that breaks WCAG 2.2 A or AA, or is bad practice, and where.
async fn violations(browser: &Browser, axe: &str, name: &str) -> Vec<String> {
    let script = format!(
        "{axe};
         return axe.run(document, {{runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa',
             'wcag22aa', 'best-practice']}}).then(({{violations, passes}}) => ({{
                passed: passes.length,
                told: violations.map(({{id, help, nodes}}) =>
                    `${{id}}: ${{help}}: ${{nodes.slice(0, 3).map(n => n.html.slice(0, 160)
                        + ' ' + (n.any[0]?.message ?? '')).join(' | ')}}`)}}))"
    );
    let answer = browser.run(&script).await;
    assert!(
        answer["passed"].as_u64().is_some_and(|passed| passed > 15),
        "the checker looked: {answer}"
    );
    let told = answer["told"].as_array().cloned().unwrap_or_default();
    told.iter()
        .filter_map(Value::as_str)
        .map(|told| format!("{name}: {told}"))
        .collect()
}

#[test]
fn keys_move_through_the_page_and_can_be_turned_off() {
    let landing = Landing::new();
    in_browser(async |browser| {
        let url = format!(
            "{}/?event={}&view=day#t=2.5",
            landing.app.url, landing.event
        );
        browser.open(&url).await;
        let plays = "return document.getElementById('play').textContent === 'Pause'";
        browser
            .wait(
                "the sources",
                "return document.querySelectorAll('#sources button').length === 2",
            )
            .await;
        tabs_through_everything(&browser).await;
        browser
            .run("document.getElementById('main').focus(); return 1")
            .await;
        browser.press('p').await;
        browser.wait("it play", plays).await;
        let heard = "return document.querySelector('#sources [aria-pressed=true]')?.textContent";
        let first = browser.wait("a source", heard).await;
        browser.press('n').await;
        browser
            .wait(
                "the other source",
                &format!("return (() => {{ {heard} }})() !== {first}"),
            )
            .await;
        browser.press('b').await;
        browser
            .wait(
                "the first again",
                &format!("return (() => {{ {heard} }})() === {first}"),
            )
            .await;
        browser.press('+').await;
        browser
            .wait(
                "it faster",
                "return document.getElementById('speed').value === '1.25'",
            )
            .await;
        browser.press('x').await;
        browser
            .wait(
                "it stopped",
                "return document.getElementById('stop').disabled",
            )
            .await;
        // Letters are letters in a field, and nothing where keys are turned off.
        browser.press('/').await;
        browser.press('p').await;
        let typed = browser
            .run("return document.getElementById('query').value")
            .await;
        assert_eq!(typed, "p");
        browser.click(".deck .help summary").await;
        browser.click("#keys-on").await;
        browser
            .run("document.getElementById('main').focus(); return 1")
            .await;
        browser.press('p').await;
        tokio::time::sleep(std::time::Duration::from_millis(300)).await;
        assert_eq!(browser.run(plays).await, false);
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

/// Tab reaches the field, every view's link, the band and the player, in this order.
async fn tabs_through_everything(browser: &Browser) {
    browser
        .run("document.querySelector('.skip').focus(); return 1")
        .await;
    let mut seen = Vec::new();
    for _ in 0..120 {
        browser.press(Key::Tab.into()).await;
        let on = browser
            .run("return document.activeElement.dataset.view ?? document.activeElement.id")
            .await;
        seen.push(on.as_str().unwrap_or_default().to_owned());
        if seen.last().is_some_and(|on| on == "speed") {
            break;
        }
    }
    let mut rest = seen.iter();
    for wanted in [
        "event",
        "query",
        "scheme",
        "find",
        "add",
        "strip-place",
        "play",
        "speed",
    ] {
        assert!(rest.any(|on| on == wanted), "{wanted} in {seen:?}");
    }
}
