//! The page as a person meets it.

mod add;
mod cover;
mod cuts;
mod day;
mod find;
mod guess;
mod read;
mod script;
mod shell;
mod sound;
mod work;

use axum::http::Method;

use crate::app::TestApp;
use crate::browser::Browser;

#[test]
fn names_are_shown_as_they_are_and_never_run() {
    let app = TestApp::start();
    let title = "<img src=x onerror=window.broken=1>\"'&amp;";
    let event = app.event(title);
    let folder = tempfile::tempdir().expect("a folder");
    let odd = folder.path().join("<b>no\nsound<b>.wav");
    std::fs::write(&odd, b"this is no recording").expect("a file");
    app.add(&event, "<script>window.broken=1</script>", "stand", &[odd]);
    app.wait_idle();
    in_browser(async |browser| {
        browser.open(&app.url).await;
        browser
            .wait(
                "the event",
                "return document.querySelector('#event').selectedOptions.length > 0",
            )
            .await;
        let shown = browser
            .run("return document.querySelector('#event').selectedOptions[0].text")
            .await;
        assert_eq!(shown, title);
        browser.click("[data-view=add]").await;
        let problem = browser
            .wait(
                "the problem",
                "return document.querySelector('#problems-list li')?.textContent",
            )
            .await;
        let problem = problem.as_str().expect("a text");
        assert!(problem.contains("<b>no\\nsound<b>.wav"), "{problem}");
        assert_eq!(
            browser.run("return window.broken === undefined").await,
            true
        );
        assert_eq!(browser.end().await, [""; 0], "the browser complained");
    });
}

#[test]
fn the_pages_files_are_its_own() {
    let app = TestApp::start();
    for path in sayback::web::paths() {
        let asset = sayback::web::asset(&path).expect("it is listed");
        let reply = app.send_to(Method::GET, &path, &[], vec![]);
        assert_eq!(
            (reply.status, reply.body.as_slice()),
            (200, asset.bytes.as_ref()),
            "{path}"
        );
        assert_eq!(reply.header("content-type"), asset.media_type);
        let again = [("if-none-match", reply.header("etag"))];
        assert_eq!(app.send_to(Method::GET, &path, &again, vec![]).status, 304);
        let text = String::from_utf8_lossy(&asset.bytes);
        for foreign in ["https://", "innerHTML", "eval(", " style=\"", "onclick=\""] {
            assert!(!text.contains(foreign), "{path}: {foreign}");
        }
    }
}

/// Runs a test with a browser of its own.
pub(crate) fn in_browser(test: impl AsyncFnOnce(Browser)) {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
        .block_on(async { test(Browser::start().await).await });
}
