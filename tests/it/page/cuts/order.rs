//! The order of a list: by keys, by buttons, by drag; and taken back.

use serde_json::Value;

use super::Desk;

/// Alt with an arrow, as the driver has them.
const ALT_DOWN: &str = "\u{e00a}\u{e015}";

pub async fn by_keys_buttons_and_drag(desk: &Desk<'_>) {
    let browser = desk.browser;
    let [one, two, three] = <[String; 3]>::try_from(desk.order()).expect("three quotes");
    // By keys: the first goes down, and keeps the focus.
    browser
        .type_into("li.quote:first-child .words", ALT_DOWN)
        .await;
    desk.told("is at place 2 of 3").await;
    let keyed = [two.clone(), one.clone(), three.clone()];
    assert_eq!(desk.order(), keyed);
    desk.sees(&keyed).await;
    let focused = browser
        .run("return document.activeElement.textContent")
        .await;
    assert_eq!(focused, Value::from(one.as_str()));
    // By drag: the last to the top.
    let middle = |place: usize| {
        format!(
            "const b = document.querySelector('li.quote:nth-child({place}) .grip')
                .getBoundingClientRect();
             return [b.x + b.width / 2, b.y + b.height / 2]"
        )
    };
    let from = point(&browser.run(&middle(3)).await);
    let to = point(&browser.run(&middle(1)).await);
    browser
        .drag_along(&[from, (to.0, to.1 - 40.0), (to.0, to.1 - 12.0)])
        .await;
    let dragged = [three.clone(), two.clone(), one.clone()];
    desk.told("is at place 1 of 3").await;
    assert_eq!(desk.order(), dragged);
    desk.sees(&dragged).await;
    // By a number: the first to place 3.
    desk.choose(1).await;
    browser
        .run("const p = document.getElementById('one-place'); p.focus(); p.select(); return 1")
        .await;
    browser.type_into("#one-place", "3\u{e007}").await;
    desk.told("is at place 3 of 3").await;
    assert_eq!(desk.order(), [two.clone(), one.clone(), three.clone()]);
    // Each step is taken back by a press, and done again.
    browser.click("#cut-undo").await;
    desk.told("Taken back").await;
    desk.sees(&dragged).await;
    browser.click("#cut-undo").await;
    let told = desk.told("from place 3 to 1").await;
    assert!(told.starts_with("Taken back"), "{told}");
    desk.sees(&keyed).await;
    browser.click("#cut-redo").await;
    desk.sees(&dragged).await;
    // Where each begins in the cut is the sum of those before it.
    let list = desk.list();
    let shown = browser
        .run("return [...document.querySelectorAll('li.quote .at')].map(at => at.lastChild.data)")
        .await;
    for (n, quote) in list["quotes"]
        .as_array()
        .expect("quotes")
        .iter()
        .enumerate()
    {
        let at = quote["at_ms"].as_i64().expect("a time");
        let (seconds, hundredths) = (at / 1000, at % 1000 / 10);
        assert_eq!(shown[n], format!("0:{seconds:02}.{hundredths:02}"));
    }
}

pub fn point(told: &Value) -> (f64, f64) {
    let at = |n: usize| {
        told[n]
            .as_f64()
            .unwrap_or_else(|| panic!("no point in {told}"))
    };
    (at(0), at(1))
}
