//! The day as a person meets it: rows on the event clock, an instant in every source.

mod hand;
mod kept;

use serde_json::Value;

use super::in_browser;
use crate::browser::Browser;
use crate::landing::Landing;

/// What is seen of a row: for each column of the board, how high its wave is and how high
/// what is drawn as speech, device pixels.
const COLUMNS: &str = "const row = document.querySelector('.track[data-recording=\"ID\"]');
    const canvas = row.querySelector('canvas');
    const look = getComputedStyle(row);
    const probe = document.createElement('canvas').getContext('2d', {willReadFrequently: true});
    const ink = (name) => {
        probe.fillStyle = look.getPropertyValue(name).trim();
        probe.fillRect(0, 0, 1, 1);
        return [...probe.getImageData(0, 0, 1, 1).data];
    };
    const wave = ink('--wave'), speech = ink('--wave-speech');
    const {width, height} = canvas;
    const copy = document.createElement('canvas');
    Object.assign(copy, {width, height});
    const pen = copy.getContext('2d', {willReadFrequently: true});
    pen.drawImage(canvas, 0, 0);
    const {data} = pen.getImageData(0, 0, width, height);
    const near = (at, like) => [0, 1, 2].every(n => Math.abs(data[at + n] - like[n]) < 24);
    const columns = [];
    for (let x = 0; x < width; x += 1) {
        let sound = 0, said = 0;
        for (let y = 0; y < height; y += 1) {
            const at = (y * width + x) * 4;
            if (near(at, speech)) said += 1;
            else if (near(at, wave)) sound += 1;
        }
        columns.push([sound + said, said]);
    }
    return columns;";

/// The whole event is seen, and every wave.
async fn sees_the_day(browser: &Browser, landing: &Landing) {
    let url = format!("{}/?event={}&view=day", landing.app.url, landing.event);
    browser.open(&url).await;
    drawn(browser).await;
}

async fn drawn(browser: &Browser) {
    let all = "const canvases = [...document.querySelectorAll('.track canvas')];
        return canvases.length > 0 && performance.getEntriesByName('day drawn').length > 0
            && canvases.every(canvas => canvas.width > 1)";
    browser.wait("the waves", all).await;
}

/// Where an instant of the event clock is seen, CSS px: by the numbers that the board
/// tells of what it shows.
async fn x_of(browser: &Browser, ms: f64) -> f64 {
    let told = browser
        .run(
            "const glass = document.getElementById('day-instant');
            return {...glass.dataset, left: glass.getBoundingClientRect().left}",
        )
        .await;
    let number = |name: &str| {
        let text = told[name].as_str().expect("a number");
        text.parse::<f64>().expect("a number")
    };
    let left = told["left"].as_f64().expect("a number");
    left + (ms - number("fromMs")) / number("msPerPx")
}

/// The middle of a row, CSS px.
async fn y_of(browser: &Browser, recording: &str) -> f64 {
    let script = format!(
        "const row = document.querySelector('.track[data-recording=\"{recording}\"]');
         row.scrollIntoView({{block: 'center'}});
         const box = row.getBoundingClientRect();
         return box.top + box.height / 2"
    );
    browser.run(&script).await.as_f64().expect("a number")
}

/// The recording of a source, and the server's clock of it.
fn placed(landing: &Landing, label: &str) -> Value {
    let path = format!("/events/{}/clock", landing.event);
    let clock = landing.app.get(&path).json();
    let all = clock["recordings"].as_array().expect("recordings");
    let one = all.iter().find(|r| r["source"]["label"] == label);
    one.expect("the recording").clone()
}

fn id_of(placed: &Value) -> String {
    placed["recording"]["id"]
        .as_str()
        .expect("an id")
        .to_owned()
}

/// A position of a file on the event clock, ms, by the clock that the server tells.
fn on_clock(placed: &Value, file_ms: f64) -> f64 {
    let piece = &placed["pieces"][0];
    let number = |name: &str| piece[name].as_f64().expect("a number");
    let speed = 1.0 + number("rate_ppm") / 1e6;
    number("start_ms") + (file_ms - number("from_ms")) / speed
}

fn in_file(placed: &Value, event_ms: f64) -> f64 {
    let piece = &placed["pieces"][0];
    let number = |name: &str| piece[name].as_f64().expect("a number");
    number("from_ms") + (event_ms - number("start_ms")) * (1.0 + number("rate_ppm") / 1e6)
}

#[test]
fn rows_are_drawn_of_what_is_in_the_files() {
    let landing = Landing::new();
    in_browser(async |browser| {
        sees_the_day(&browser, &landing).await;
        for label in ["Corin, lapel", "Camera"] {
            let recording = placed(&landing, label);
            let id = id_of(&recording);
            y_of(&browser, &id).await;
            let columns = browser.run(&COLUMNS.replace("ID", &id)).await;
            let columns: Vec<(f64, f64)> = serde_json::from_value(columns).expect("columns");
            holds_the_truth(&browser, &landing, label, &recording, &columns).await;
        }
        // Every row says in words how its place was found.
        let said = browser
            .run("return [...document.querySelectorAll('.track-sure')].map(s => s.innerText)")
            .await;
        for said in said.as_array().expect("texts") {
            let said = said.as_str().expect("a text");
            assert!(
                said.starts_with("sound ± ") && said.ends_with(" ppm"),
                "{said}"
            );
        }
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

/// In the middle of each line that was said most of the wave is drawn as speech and is
/// higher than in the pauses between lines, where nothing is.
async fn holds_the_truth(
    browser: &Browser,
    landing: &Landing,
    label: &str,
    recording: &Value,
    columns: &[(f64, f64)],
) {
    let left = browser
        .run("return document.getElementById('day-instant').getBoundingClientRect().left")
        .await;
    let left = left.as_f64().expect("a number");
    let ratio = columns.len() as f64
        / browser
            .run("return document.getElementById('day-instant').clientWidth")
            .await
            .as_f64()
            .expect("a number");
    let mut spans = Vec::new();
    for line in ["letter-corin-2", "letter-ottilie-1", "vows-corin-1"] {
        let (from, to) = landing.line_at(label, line);
        let at = [
            x_of(browser, on_clock(recording, from)).await,
            x_of(browser, on_clock(recording, to)).await,
        ];
        spans.push(at.map(|x| ((x - left) * ratio).round() as usize));
    }
    let mean = |columns: &[(f64, f64)], what: fn(&(f64, f64)) -> f64| {
        columns.iter().map(what).sum::<f64>() / columns.len() as f64
    };
    // Speech begins and ends a little beside the line: detection pads it.
    let beside = 12;
    for pair in spans.windows(2) {
        let line = &columns[pair[0][0] + 4..pair[0][1] - 4];
        let pause = &columns[pair[0][1] + beside..pair[1][0] - beside];
        assert!(
            pause.len() > 8,
            "{label}: a pause of {} columns",
            pause.len()
        );
        let spoken = line.iter().filter(|(_, said)| *said > 0.0).count();
        assert!(
            spoken * 10 >= line.len() * 9,
            "{label}: {spoken} of {} columns",
            line.len()
        );
        let silent = pause.iter().filter(|(_, said)| *said > 0.0).count();
        assert!(
            silent * 10 <= pause.len(),
            "{label}: {silent} of {} columns",
            pause.len()
        );
        let (high, low) = (mean(line, |c| c.0), mean(pause, |c| c.0));
        assert!(
            high > 1.5 * low,
            "{label}: {high} px in a line, {low} px in a pause"
        );
    }
    // And nothing where the file has not begun or has ended.
    let start = ((x_of(browser, on_clock(recording, 0.0)).await - left) * ratio).floor() as usize;
    let before = &columns[..start.saturating_sub(1)];
    assert!(
        before.iter().all(|(sound, _)| *sound == 0.0),
        "{label}: before its start"
    );
}

#[test]
fn a_press_lands_on_an_instant_of_every_source_and_plays_from_there() {
    let landing = Landing::new();
    in_browser(async |browser| {
        sees_the_day(&browser, &landing).await;
        let lapel = placed(&landing, "Corin, lapel");
        let camera = placed(&landing, "Camera");
        let (from, to) = landing.line_at("Corin, lapel", "letter-ottilie-1");
        let at = on_clock(&lapel, (from + to) / 2.0);
        let point = (
            x_of(&browser, at).await,
            y_of(&browser, &id_of(&camera)).await,
        );
        browser.drag_along(&[point]).await;
        let landed = landed(&browser).await;
        assert!((landed - at).abs() < 100.0, "{landed} ms for {at} ms");
        lists_every_source(&browser, landed, &[&lapel, &camera]).await;
        plays_on(&browser, &camera, landed).await;
        // Where something sounds, a press goes on from there, on the row that was pressed.
        let (from, to) = landing.line_at("Corin, lapel", "vows-corin-1");
        let later = on_clock(&lapel, (from + to) / 2.0);
        let point = (
            x_of(&browser, later).await,
            y_of(&browser, &id_of(&lapel)).await,
        );
        browser.drag_along(&[point]).await;
        sounds(&browser, &id_of(&lapel), later).await;
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

/// The instant in the address, ms.
async fn landed(browser: &Browser) -> f64 {
    let hash = browser
        .wait("an instant", "return location.hash || null")
        .await;
    let hash = hash.as_str().expect("a text").to_owned();
    let seconds = hash.trim_start_matches("#t=").split(',').next();
    let seconds = seconds.and_then(|s| s.parse::<f64>().ok());
    seconds.expect("seconds") * 1000.0
}

async fn lists_every_source(browser: &Browser, at_ms: f64, placed: &[&Value]) {
    browser
        .wait(
            "verdicts",
            "return document.querySelectorAll('#day-sources .verdict').length === 2",
        )
        .await;
    let rows = browser
        .run(
            "return [...document.querySelectorAll('#day-sources .running')].map(row =>
                [row.dataset.recording, row.querySelector('.time').textContent])",
        )
        .await;
    let rows: Vec<(String, String)> = serde_json::from_value(rows).expect("rows");
    assert_eq!(rows.len(), placed.len(), "{rows:?}");
    for placed in placed {
        let (_, told) = rows
            .iter()
            .find(|row| row.0 == id_of(placed))
            .expect("a row");
        // Told in hundredths, rounded down.
        let file_ms = in_file(placed, at_ms);
        let told_ms = ms_of(told);
        assert!(
            (told_ms..told_ms + 10.001).contains(&file_ms),
            "{told} for {file_ms} ms"
        );
    }
    let words = browser
        .wait(
            "the words",
            "const words = document.getElementById('day-words').textContent;
             return words.includes('…') ? null : words",
        )
        .await;
    let words = words.as_str().expect("a text").to_lowercase();
    assert!(words.contains("kettle"), "{words}");
    let value = browser
        .run("return document.getElementById('day-instant').getAttribute('aria-valuetext')")
        .await;
    let value = value.as_str().expect("a text").to_lowercase();
    assert!(value.contains("kettle"), "{value}");
}

/// `m:ss.cc` in ms.
fn ms_of(text: &str) -> f64 {
    let (minutes, seconds) = text.split_once(':').expect("a position");
    let number = |text: &str| text.parse::<f64>().expect("a number");
    (number(minutes) * 60.0 + number(seconds)) * 1000.0
}

async fn plays_on(browser: &Browser, placed: &Value, from_ms: f64) {
    let id = id_of(placed);
    browser
        .click(&format!(
            "#day-sources [data-recording=\"{id}\"] button.play"
        ))
        .await;
    sounds(browser, &id, from_ms).await;
}

/// A row is marked as what sounds, and what sounds goes on from an instant.
async fn sounds(browser: &Browser, recording: &str, from_ms: f64) {
    let marked = format!(
        "const row = document.querySelector('.track.heard');
         const head = document.querySelector('.glass .playhead');
         return row?.dataset.recording === '{recording}' && !head.hidden
             ? Number(head.dataset.ms) : null"
    );
    let first = browser.wait("what sounds", &marked).await;
    let first = first.as_f64().expect("an instant");
    let script = format!(
        "const head = document.querySelector('.glass .playhead');
         return Number(head.dataset.ms) > {} ? Number(head.dataset.ms) : null",
        first + 200.0
    );
    let later = browser.wait("it go on", &script).await;
    let later = later.as_f64().expect("an instant");
    assert!(
        first >= from_ms - 60.0 && later > first,
        "{first} and {later} from {from_ms}"
    );
}
