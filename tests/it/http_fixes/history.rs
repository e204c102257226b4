//! A history that is longer than one answer.

use serde_json::{Value, json};

use super::{Desk, id};

fn versions(list: &Value) -> Vec<i64> {
    let changes = list["changes"].as_array().expect("changes").iter();
    changes
        .map(|change| change["version"].as_i64().expect("a version"))
        .collect()
}

#[test]
fn a_long_history_comes_page_by_page() {
    let desk = Desk::of(&["letter-ottilie-1"]);
    let moments = desk.moments();
    let one = id(&moments[0]);
    let first = moments[0]["version"].as_i64().expect("a version");
    for n in 0..45 {
        desk.fix(one, "words", &json!({"text": format!("take {n}")}));
    }
    let newest: Vec<i64> = (first + 1..=first + 45).rev().collect();
    let page = |query: &str| {
        let reply = desk.app.get(&format!("/moments/{one}/changes{query}"));
        assert_eq!(reply.status, 200, "{}", reply.json());
        reply.json()
    };
    for (query, told) in [
        ("", &newest[..20]),
        ("?limit=10&offset=40", &newest[40..]),
        ("?limit=100", &newest[..]),
        ("?offset=45", &[]),
    ] {
        let page = page(query);
        assert_eq!(
            (&page["total"], versions(&page)),
            (&json!(45), told.to_vec())
        );
    }
    for query in ["?limit=0", "?limit=101"] {
        let path = format!("/moments/{one}/changes{query}");
        let problem = desk.app.get(&path).problem(422);
        assert_eq!(problem["field"], "limit", "{problem}");
    }

    // The command line shows all of it.
    let history = desk.sayback(&["fix", "history", one]);
    history.says(0, &[]);
    assert_eq!(history.out.lines().count(), 45, "{}", history.out);
    let list = desk.sayback(&["fix", "history", one, "--json"]).json();
    assert_eq!(list, page("?limit=100"));
}
