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
    browser.click("#cut-hear").await;
    for place in [1, 2] {
        let quote = &list["quotes"][place - 1];
        let at = |member: &str| quote[member].as_f64().expect("a time");
        // Each sounds by itself, inside its own stretch of the event, and time goes on.
        let sounds = format!("{NOW} return now.place === {place} && now.peak > 0.001 ? now : null");
        let first = browser.wait(&format!("quote {place} sound"), &sounds).await;
        let begun = first["ms"].as_f64().expect("a time");
        let on = format!("{NOW} return now.place === {place} && now.ms > {begun} ? now : null");
        let later = browser.wait("its clock go on", &on).await;
        for now in [&first, &later] {
            let ms = now["ms"].as_f64().expect("a time");
            let inside = ms >= at("start_ms") - 20.0 && ms <= at("end_ms") + 20.0;
            assert!(inside, "{now} for quote {place} of {list:#}");
        }
    }
    browser.click("#cut-before").await;
    browser
        .wait("the quote before", &format!("{NOW} return now.place === 1"))
        .await;
    browser.click("#cut-next").await;
    browser
        .wait("the next quote", &format!("{NOW} return now.place === 2"))
        .await;
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
