//! What a person does in a view, by the browser's own input.

use fantoccini::key::Key;

use super::browser::Browser;

/// Watches from now on: inputs and their pictures, tasks, frames.
pub const WATCH: &str = "
    const seen = window.seen = {input: 0, task: 0, late: 0, frames: 0, last: performance.now()};
    const watch = (type, note, more = {}) => new PerformanceObserver(list => {
        for (const entry of list.getEntries()) note(entry);
    }).observe({type, ...more});
    watch('event', entry => {
        seen.input = Math.max(seen.input, entry.duration);
    }, {durationThreshold: 16});
    watch('longtask', entry => { seen.task = Math.max(seen.task, entry.duration); });
    const frame = now => {
        seen.frames += 1;
        if (now - seen.last > 100) seen.late += 1;
        seen.last = now;
        requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
    return 1";

/// What was seen; first paint and memory with it.
pub const TOLD: &str = "
    const {input, task, late, frames} = window.seen;
    return {input, task, late, frames,
        painted: performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0,
        heap: (performance.memory?.usedJSHeapSize ?? 0) / 1e6}";

/// Wheel, drags, presses and keys on the board.
pub async fn works_in_the_day(browser: &Browser) {
    let at = |share: f64| {
        format!(
            "const box = document.querySelector('.track').getBoundingClientRect();
             const left = document.getElementById('day-instant').getBoundingClientRect().left;
             return [left + (box.right - left) * {share}, box.top + 20]"
        )
    };
    let point = async |share: f64| -> (f64, f64) {
        let told = browser.run(&at(share)).await;
        serde_json::from_value(told).expect("a point")
    };
    let (x, y) = point(0.4).await;
    // From the whole day to words, about one point; and a press on what is said there.
    for _ in 0..24 {
        browser.wheel((x, y), -240).await;
    }
    browser.drag_along(&[(x, y)]).await;
    rest(browser).await;
    // Along the axis, by its numbers.
    let ruler = y - 120.0;
    for _ in 0..6 {
        let path = [(x + 300.0, ruler), (x + 100.0, ruler), (x - 100.0, ruler)];
        browser.drag_along(&path).await;
    }
    // A stretch, then keys.
    browser
        .drag_along(&[(x, y), (x + 60.0, y), (x + 140.0, y)])
        .await;
    for _ in 0..10 {
        browser.press(Key::Right.into()).await;
    }
    for _ in 0..5 {
        browser.press(Key::PageDown.into()).await;
    }
    rest(browser).await;
    // Half way out, along, and out to the whole day again.
    for _ in 0..12 {
        browser.wheel((x, y), 240).await;
    }
    for _ in 0..6 {
        browser.press(Key::PageUp.into()).await;
    }
    for _ in 0..14 {
        browser.wheel((x, y), 240).await;
    }
    rest(browser).await;
}

/// A line, letter by letter.
pub async fn finds(browser: &Browser) {
    for text in ["ferry bell", " rang"] {
        for letter in text.chars() {
            browser.type_into("#query", &letter.to_string()).await;
        }
        rest(browser).await;
    }
}

/// Down and up again.
pub async fn scrolls(browser: &Browser) {
    for down in [600, 600, 600, 600, 4_000, 4_000, -4_000, -600] {
        browser.wheel((700.0, 400.0), down).await;
    }
    rest(browser).await;
}

/// Half a second in which nothing is done.
async fn rest(browser: &Browser) {
    browser
        .run("return new Promise(done => setTimeout(() => done(1), 500))")
        .await;
}
