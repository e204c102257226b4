//! Finding a line, as a person does it.

use fantoccini::key::Key;
use serde_json::Value;

use super::in_browser;
use crate::browser::Browser;
use crate::landing::Landing;

/// The first play button of the first line.
const PLAY: &str = ".hit .hearing button.play";

/// The instant that the player tells, in ms.
const CLOCK: &str =
    "const [minutes, seconds] = document.getElementById('deck-clock').textContent.split(':');
    return Math.round((Number(minutes) * 60 + Number(seconds)) * 1000)";

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
        assert!(
            title
                .as_str()
                .is_some_and(|t| t.starts_with("Tarrow Landing")),
            "{title}"
        );
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
        narrows_it_down(&browser, &landing).await;
        keeps_a_search(&browser).await;
        a_link_opens_at_the_instant(&browser, &landing).await;
        super::script::finds_where_a_text_was_read(&browser, &landing).await;
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
    let hit = landing.app.get("/search?q=ferry%20bell").json()["hits"][0].clone();
    let (start, end) = (hit["start_ms"].as_f64(), hit["end_ms"].as_f64());
    let (start, end) = (start.expect("a start"), end.expect("an end"));
    browser.click(PLAY).await;
    browser
        .wait(
            "the line play",
            &format!(
                "return document.querySelector('{PLAY}').getAttribute('aria-pressed') === 'true'"
            ),
        )
        .await;
    let moving = format!("const now = (() => {{ {CLOCK} }})(); return now > {start} ? now : null");
    let at = browser.wait("the clock of the sound run", &moving).await;
    let at = at.as_f64().expect("a time");
    assert!(at <= end + 20.0, "{at} ms is inside {start} to {end}");
    browser
        .wait(
            "the end of the spot",
            &format!(
                "return document.querySelector('{PLAY}').getAttribute('aria-pressed') === 'false'"
            ),
        )
        .await;
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
            "return document.querySelector('.hearing.plays .label')?.textContent === 'Camera'",
        )
        .await;
    browser.press(Key::Escape.into()).await;
    let stopped = browser
        .run("return document.querySelector('.plays') === null && document.getElementById('stop').disabled")
        .await;
    assert_eq!(stopped, true);
    let on = "return document.activeElement.id";
    // On a busy machine the clip may have ended, and the first was the second: one more
    // would empty the field.
    if browser.run(on).await != "query" {
        browser.press(Key::Escape.into()).await;
    }
    assert_eq!(browser.run(on).await, "query");
}

async fn an_unfinished_word_is_taken_as_a_beginning(browser: &Browser) {
    asks(browser, "kett").await;
    browser
        .wait(
            "the kettle",
            "return /^kettle/.test(document.querySelector('.hit mark')?.textContent)",
        )
        .await;
    let address = browser.run("return location.search").await;
    assert!(
        address.as_str().is_some_and(|a| a.contains("q=kett")),
        "{address}"
    );
}

/// Types other words into the field.
async fn asks(browser: &Browser, words: &str) {
    browser
        .run("const q = document.getElementById('query'); q.focus(); q.select(); return 1")
        .await;
    browser.type_into("#query", words).await;
}

/// Chooses an option as a person does, by its text.
pub(super) async fn chooses(browser: &Browser, select: &str, text: &str) {
    let script = format!(
        "const select = document.querySelector('{select}');
         const option = [...select.options].find(o => o.text.startsWith({}));
         if (!option) return false;
         select.value = option.value;
         select.dispatchEvent(new Event('change', {{bubbles: true}}));
         return true",
        Value::from(text)
    );
    browser.wait(&format!("the choice {text}"), &script).await;
}

async fn narrows_it_down(browser: &Browser, landing: &Landing) {
    asks(browser, "the").await;
    let lines = "return document.querySelectorAll('.hit').length";
    browser.wait("several lines", &format!("{lines} > 1")).await;
    let all = browser.run(lines).await;
    browser
        .wait(
            "the counts",
            "return [...document.querySelectorAll('#narrow-source option')].some(o => /\\(\\d+\\)/.test(o.text))",
        )
        .await;
    // What the server says of the same filter is what is shown.
    chooses(browser, "#narrow-source", "Camera").await;
    chooses(browser, "#narrow-sort", "by the clock").await;
    let answer = landing
        .app
        .get("/search?q=the&source=Camera&sort=clock")
        .json();
    let expected = answer["total"].as_i64().expect("a count");
    browser
        .wait(
            "the lines of the camera",
            &format!("{lines} === {expected} && location.search.includes('sort=clock')"),
        )
        .await;
    assert!(expected <= all.as_i64().expect("a count"));
    let places = browser
        .run("return [...document.querySelectorAll('.hit .foot .about')].map(p => p.textContent)")
        .await;
    let places: Vec<&str> = places
        .as_array()
        .expect("lines")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert!(places.is_sorted(), "{places:?}");
}

async fn keeps_a_search(browser: &Browser) {
    browser.click(".keeping summary").await;
    browser.type_into("#keep-name", "Camera, the").await;
    browser.click(".keeping form button").await;
    browser
        .wait(
            "the kept search",
            "return document.querySelector('.kept button')?.textContent === 'Camera, the'",
        )
        .await;
    browser.click(".narrow > button").await;
    asks(browser, "kettle").await;
    browser
        .wait(
            "another search",
            "return !location.search.includes('source=')",
        )
        .await;
    browser.click(".kept button").await;
    browser
        .wait(
            "the search that was kept",
            "return document.getElementById('query').value === 'the'
                && document.querySelector('#narrow-source').selectedOptions[0].text.startsWith('Camera')",
        )
        .await;
    browser.click(".kept li button:last-child").await;
    browser
        .wait(
            "it is forgotten",
            "return document.querySelector('.kept button') === null",
        )
        .await;
    browser.click(".narrow > button").await;
}

async fn a_link_opens_at_the_instant(browser: &Browser, landing: &Landing) {
    asks(browser, "ferry bell").await;
    browser
        .wait(
            "the line",
            "return /^ferry bell/i.test(document.querySelector('.hit mark')?.textContent)",
        )
        .await;
    // A browser without a screen may be refused the clipboard's content, not its writing.
    browser
        .run("navigator.clipboard.writeText = async (link) => { window.copied = link }; return 1")
        .await;
    browser.click(".hit .foot [data-key^='link/']").await;
    let link = browser
        .wait(
            "the link",
            "return document.getElementById('news').textContent.startsWith('The link to')
                ? window.copied : null",
        )
        .await;
    let link = link.as_str().expect("a link").to_owned();
    let hit = landing.app.get("/search?q=ferry%20bell").json()["hits"][0].clone();
    let seconds = |name: &str| hit[name].as_f64().expect("a time") / 1000.0;
    let fragment = format!("#t={},{}", seconds("start_ms"), seconds("end_ms"));
    assert!(link.ends_with(&fragment), "{link} for {fragment}");
    collects_the_words(browser, landing).await;
    browser.open("about:blank").await;
    browser.open(&link).await;
    browser
        .wait(
            "the instant",
            &format!(
                "const now = (() => {{ {CLOCK} }})();
                 return Math.abs(now - {}) <= 10
                     && document.querySelector('[data-view=day]').getAttribute('aria-current') === 'page'",
                hit["start_ms"]
            ),
        )
        .await;
    browser.click("#play").await;
    browser
        .wait(
            "it sound from there",
            &format!(
                "const now = (() => {{ {CLOCK} }})();
                 return document.getElementById('play').textContent === 'Pause' && now > {} + 20",
                hit["start_ms"]
            ),
        )
        .await;
    browser.click("#stop").await;
}

/// The matched words go into a cut list, and out of it again by 'Undo'.
async fn collects_the_words(browser: &Browser, landing: &Landing) {
    browser.click(".hit .foot [data-key^='collect/']").await;
    browser
        .wait(
            "that they are added",
            "return document.getElementById('news').textContent.startsWith('Added to Cut 1')",
        )
        .await;
    let lists = landing
        .app
        .get(&format!("/events/{}/cuts", landing.event))
        .json();
    let id = lists["cuts"][0]["id"].as_str().expect("a list");
    let quotes = || landing.app.get(&format!("/cuts/{id}")).json()["quotes"].clone();
    let text = quotes()[0]["text"].as_str().expect("words").to_lowercase();
    assert!(text.starts_with("ferry bell"), "{text}");
    browser.click("#news button").await;
    browser
        .wait(
            "that they are taken out",
            "return document.getElementById('news').textContent.startsWith('Taken out of Cut 1')",
        )
        .await;
    assert_eq!(quotes(), serde_json::json!([]));
}
