//! Who is heard, and the list back to back.

use serde_json::Value;

use super::Desk;

/// Listens in on all that goes to the loudspeaker: `ear` is what hears it.
const EAR: &str = "const own = AudioNode.prototype.connect;
    AudioNode.prototype.connect = function (to, ...rest) {
        if (to === this.context.destination) {
            window.ear = this.context.createAnalyser();
            window.ear.fftSize = 4096;
            own.call(this, window.ear);
        }
        return own.call(this, to, ...rest);
    };
    return 1";

/// How loud it is now, and the instant that the player tells, ms.
const NOW: &str = "const heard = new Float32Array(4096);
    window.ear?.getFloatTimeDomainData(heard);
    const [minutes, seconds] = document.getElementById('deck-clock').textContent.split(':');
    const now = {
        peak: heard.reduce((most, v) => Math.max(most, Math.abs(v)), 0),
        ms: (Number(minutes) * 60 + Number(seconds)) * 1000,
        place: [...document.querySelectorAll('li.quote')].findIndex((row) => row.classList.contains('plays')) + 1,
    };";

pub async fn another_hearing_is_chosen(desk: &Desk<'_>) {
    let browser = desk.browser;
    desk.choose(1).await;
    let quote = desk.quote(1);
    assert_eq!(quote["hearing"], Value::Null);
    let shown = browser
        .wait(
            "both hearings",
            "const rows = [...document.querySelectorAll('.choices li')];
             return rows.length === 2 && rows.map((row) => [row.querySelector('.label').textContent,
                row.querySelector('.verdict').textContent, row.querySelector('.why').textContent])",
        )
        .await;
    let told = |one: &Value| (one["source"]["label"].clone(), one["verdict"].clone());
    let all = [told(&quote["chosen"]), told(&quote["backups"][0])];
    for (n, (label, verdict)) in all.iter().enumerate() {
        assert_eq!((&shown[n][0], &shown[n][1]), (label, verdict));
        let why = shown[n][2].as_str().expect("a text");
        assert!(why.contains("dB above its noise"), "{why}");
    }
    // The second one is heard at this instant, then chosen.
    browser.run(EAR).await;
    browser.click(".choices li:nth-child(2) .play").await;
    browser
        .wait(
            "the backup sound",
            &format!(
                "{NOW} const source = document.querySelector('.sources [aria-pressed=true]');
                 return now.peak > 0.001 && source?.textContent === {}",
                all[1].0
            ),
        )
        .await;
    browser.click("#stop").await;
    browser.click(".choices li:nth-child(2) .label").await;
    desk.told("is heard").await;
    let now = desk.quote(1);
    assert_eq!(told(&now["chosen"]), all[1]);
    assert_eq!(now["hearing"], quote["backups"][0]["recording"]["id"]);
    browser
        .wait(
            "the row tell it",
            &format!(
                "return document.querySelector('li.quote .source .label').textContent === {}",
                all[1].0
            ),
        )
        .await;
    // How many backups go along.
    browser
        .run(
            "const s = document.getElementById('one-backups'); s.value = '0';
        s.dispatchEvent(new Event('change')); return 1",
        )
        .await;
    desk.told("Backups to go along: 0").await;
    assert_eq!(desk.quote(1)["backups_wanted"], 0);
    browser.click("#one-best").await;
    desk.told("The best is heard").await;
    assert_eq!(told(&desk.quote(1)["chosen"]), all[0]);
}

pub async fn back_to_back(desk: &Desk<'_>) {
    let browser = desk.browser;
    let list = desk.list();
    let watch = format!(
        "window.seen = [];
         setInterval(() => {{ {NOW} if (now.place > 0) window.seen.push(now); }}, 20);
         return 1"
    );
    browser.run(&watch).await;
    browser.click("#cut-hear").await;
    let seen = browser
        .wait(
            "the third quote sound",
            "return window.seen.some((now) => now.place === 3 && now.peak > 0.001) && window.seen",
        )
        .await;
    for place in [1, 2] {
        let quote = &list["quotes"][place - 1];
        let at = |member: &str| quote[member].as_f64().expect("a time");
        let (start, end) = (at("start_ms") - 20.0, at("end_ms") + 20.0);
        let all = seen.as_array().expect("instants").iter();
        let own: Vec<&Value> = all.filter(|now| now["place"] == place).collect();
        // Each sounds by itself, inside its own stretch of the event, and time goes on.
        let ms = |now: &Value| now["ms"].as_f64().expect("a time");
        let inside: Vec<&Value> = own
            .iter()
            .copied()
            .filter(|now| ms(now) >= start && ms(now) <= end)
            .collect();
        // What is marked and the clock that is told may be a picture apart.
        assert!(
            inside.len() + 5 >= own.len(),
            "quote {place}, {start} to {end}: {own:?}"
        );
        let loud = inside
            .iter()
            .filter(|now| now["peak"].as_f64() > Some(0.001));
        assert!(loud.count() > 5, "quote {place} sounds: {own:?}");
        let latest = inside.iter().copied().map(ms).fold(start, f64::max);
        let gone = latest - ms(inside[0]);
        assert!(
            gone > (end - start) / 2.0,
            "{gone} ms of quote {place}: {own:?}"
        );
    }
    for (button, place) in [("#cut-hear", 1), ("#cut-next", 2), ("#cut-before", 1)] {
        browser.run("window.seen = []; return 1").await;
        browser.click(button).await;
        let there = format!("return window.seen.some((now) => now.place === {place})");
        browser.wait(button, &there).await;
    }
    browser.click("#cut-stop").await;
    browser
        .wait(
            "silence",
            "return document.querySelector('li.quote.plays') === null",
        )
        .await;
    // The edge is heard after a nudge, where that is wanted.
    browser.click("#edge-hear").await;
    browser.click("[data-nudge='begin/+10 ms']").await;
    browser
        .wait(
            "the edge sound",
            &format!(
                "{NOW} return now.peak > 0.0001
                    && /begins$/.test(document.querySelector('.deck .title').textContent)"
            ),
        )
        .await;
    browser.click("#edge-hear").await;
    browser.click("#cut-undo").await;
    desk.told("Taken back").await;
}
