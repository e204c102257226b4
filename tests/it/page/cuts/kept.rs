//! What is kept of a list: notes, versions, files; and that nothing typed is lost.

use serde_json::{Value, json};

use super::Desk;

pub async fn notes_and_names(desk: &Desk<'_>) {
    let browser = desk.browser;
    desk.choose(2).await;
    browser.type_into("#one-note", "slower, \"please\"").await;
    browser.click("#one-keep").await;
    desk.told("The note of quote 2 is kept").await;
    assert_eq!(desk.quote(2)["note"], "slower, \"please\"");
    // What is typed and not kept is kept when another quote is looked at.
    browser.type_into("#one-note", " twice").await;
    desk.choose(1).await;
    desk.told("The note of quote 2 is kept").await;
    browser
        .wait(
            "the row tell it",
            "return document.querySelector('li.quote:nth-child(2) .note').textContent
                === 'Note: slower, \"please\" twice'",
        )
        .await;
    assert_eq!(desk.quote(2)["note"], "slower, \"please\" twice");
    browser.click(".cut-head summary").await;
    browser
        .type_into("#cut-words", "For the bride's mother")
        .await;
    browser.click("#cut-keep").await;
    desk.told("Name and note are kept").await;
    assert_eq!(desk.list()["cut"]["note"], "For the bride's mother");
}

pub async fn versions_are_gone_back_to(desk: &Desk<'_>) {
    let browser = desk.browser;
    let named = desk.list();
    browser.click("#cut-versions summary").await;
    browser.type_into("#version-name", "rough").await;
    browser.click("#version-keep").await;
    desk.told("kept as rough").await;
    // One is taken out by a second press, and the next one is looked at.
    desk.choose(1).await;
    let gone = named["quotes"][0]["text"].as_str().expect("a text");
    browser
        .click(".cut-side .row button[aria-label^='Remove']")
        .await;
    assert_eq!(desk.order().len(), 3, "the first press only asks");
    browser.click(".cut-side .row button.sure").await;
    desk.told("was taken out").await;
    assert!(!desk.order().contains(&gone.to_owned()));
    browser
        .wait(
            "the focus on what came into its place",
            "return document.activeElement === document.querySelector('li.quote .words')",
        )
        .await;
    browser
        .wait(
            "the version to go back to",
            "return document.querySelector('.versions .named button[aria-label^=\"Go back\"]') !== null",
        )
        .await;
    browser
        .click(".versions .named button[aria-label='Go back to rough']")
        .await;
    desk.told("back to rough").await;
    assert_eq!(desk.list()["quotes"], named["quotes"]);
    desk.sees(&desk.order()).await;
    browser.click("#cut-versions summary").await;
}

pub async fn what_somebody_else_did_loses_nothing(desk: &Desk<'_>) {
    let browser = desk.browser;
    desk.choose(1).await;
    let (mine, other) = (desk.quote(1), desk.quote(3));
    // The page is not told of it: as if both were pressed at once.
    browser
        .run(
            "window.own = window.fetch;
             window.waiting = [];
             window.fetch = (url, how) => how?.method ? window.own(url, how)
                : new Promise((go) => window.waiting.push(() => go(window.own(url, how))));
             return 1",
        )
        .await;
    let path = format!("/quotes/{}", other["id"].as_str().expect("an id"));
    let reply = desk.behind(&path, json!({"note": "theirs"}));
    assert_eq!(reply.status, 200, "{}", reply.json());
    browser.type_into("#one-note", "mine").await;
    browser
        .run(
            "window.fetch = window.own;
             document.getElementById('one-keep').click();
             setTimeout(() => window.waiting.forEach((go) => go()), 500);
             return 1",
        )
        .await;
    let told = browser
        .wait(
            "what happened",
            "const c = document.getElementById('cut-conflict'); return c.hidden ? null : c.innerText",
        )
        .await;
    let told = told.as_str().expect("a text");
    for part in [
        "Somebody else changed this list",
        "changed.",
        "the note of",
        ": mine",
    ] {
        assert!(told.contains(part), "{part} in {told}");
    }
    let typed = browser
        .run("return document.getElementById('one-note').value")
        .await;
    assert_eq!(typed, "mine");
    assert_eq!(
        desk.quote(1)["note"],
        mine["note"],
        "nothing is done by itself"
    );
    browser.click("#cut-again").await;
    desk.told("The note of quote 1 is kept").await;
    assert_eq!(desk.quote(1)["note"], "mine");
    assert_eq!(desk.quote(3)["note"], "theirs");
}

pub async fn files_are_those_of_the_server(desk: &Desk<'_>) {
    let browser = desk.browser;
    let folder = tempfile::tempdir().expect("a folder");
    browser.downloads_into(folder.path()).await;
    browser.click("#cut-over summary").await;
    for format in ["edl", "vtt", "csv"] {
        browser.click(&format!("#over-{format}")).await;
    }
    browser.click("#over-words").await;
    browser
        .run("document.getElementById('over-start').value = '10:00:00:00'; return 1")
        .await;
    browser.click("#over-get").await;
    browser
        .wait(
            "the files named",
            "return document.getElementById('over-told').textContent.startsWith('4 files')",
        )
        .await;
    for format in ["otio", "edl", "vtt", "csv"] {
        let asked = format!("/files?format={format}&start=10:00:00:00&word_markers=true");
        let reply = desk.landing.app.get(&desk.path(&asked)).json();
        let file = &reply["files"][0];
        let path = folder.path().join(file["name"].as_str().expect("a name"));
        let until = std::time::Instant::now() + std::time::Duration::from_secs(20);
        while !path.exists() && std::time::Instant::now() < until {
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        let text = std::fs::read_to_string(&path).expect("it was downloaded");
        assert_eq!(Value::from(text), file["text"], "{format}");
    }
    // A start that is no time code is told by the field.
    browser
        .run("document.getElementById('over-start').value = 'noon'; return 1")
        .await;
    browser.click("#over-get").await;
    let wrong = "const t = document.getElementById('over-told'); return t.classList.contains('trouble')
        && document.getElementById('over-start').getAttribute('aria-invalid') === 'true' && t.textContent";
    let told = browser.wait("the refusal", wrong).await;
    assert!(told.as_str().is_some_and(|t| t.contains("start")), "{told}");
    with_its_sound(desk).await;
    // The page for a client is the server's, with its own style.
    let link = browser
        .run("return document.getElementById('over-page').getAttribute('href')")
        .await;
    let link = link
        .as_str()
        .expect("an address")
        .trim_start_matches("/api/v1");
    let page = desk.landing.app.get(link);
    assert!(page.header("content-type").starts_with("text/html"));
    assert!(
        page.header("content-security-policy")
            .contains("style-src 'unsafe-inline'")
    );
    let same = desk
        .landing
        .app
        .get(&desk.path("/files?format=page"))
        .json();
    let text = String::from_utf8(page.body).expect("text");
    assert_eq!(Value::from(text), same["files"][0]["text"]);
}

/// All of it as one archive, with the lists that are ticked.
async fn with_its_sound(desk: &Desk<'_>) {
    desk.browser
        .run(
            "const start = document.getElementById('over-start');
             start.value = '';
             start.dispatchEvent(new Event('change'));
             return 1",
        )
        .await;
    let got = desk
        .browser
        .run(
            "return fetch(document.getElementById('over-archive').href).then(async (answer) => [
                answer.status, answer.headers.get('content-type'),
                new TextDecoder('latin1').decode(await answer.arrayBuffer())])",
        )
        .await;
    assert_eq!(got[0], 200, "{}", got[2]);
    assert_eq!(got[1], "application/zip");
    let names = got[2].as_str().expect("an archive");
    assert!(names.starts_with("PK"), "it is one");
    for name in ["manifest.json", ".otio", ".wav"] {
        assert!(names.contains(name), "{name} is in it");
    }
}

pub async fn a_list_is_removed_by_a_second_press(desk: &Desk<'_>) {
    let browser = desk.browser;
    browser
        .click(".about-cut button[aria-label^='Remove']")
        .await;
    assert_eq!(desk.list()["cut"]["quotes"], 3);
    browser.click(".about-cut button.sure").await;
    browser
        .wait(
            "no list",
            "return document.querySelectorAll('.lists li').length === 0
                && document.querySelector('.cut-work').hidden",
        )
        .await;
    assert_eq!(desk.landing.app.get(&desk.path("")).status, 404);
}
