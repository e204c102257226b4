//! The API says of itself what it does.

use std::collections::BTreeSet;

use axum::http::Method;
use serde_json::{Value, json};

use crate::app::{Reply, TestApp};

const METHODS: [Method; 5] = [
    Method::GET,
    Method::PUT,
    Method::POST,
    Method::DELETE,
    Method::PATCH,
];

fn description(app: &TestApp) -> Value {
    let reply = app.get("/openapi.json");
    assert_eq!(reply.status, 200);
    assert_eq!(reply.header("content-type"), "application/json");
    reply.json()
}

/// Asks for a documented path with names that exist nowhere.
fn ask(app: &TestApp, method: &Method, path: &str) -> Reply {
    let mut path = path.to_owned();
    while let (Some(from), Some(to)) = (path.find('{'), path.find('}')) {
        path.replace_range(from..=to, "0");
    }
    let headers = [
        ("content-type", "application/json"),
        ("connection", "close"),
    ];
    app.send_to(method.clone(), &path, &headers, b"{}".to_vec())
}

/// Whether the router itself did not know the path.
fn is_unrouted(reply: &Reply) -> bool {
    let text = String::from_utf8_lossy(&reply.body);
    reply.status == 405 || (reply.status == 404 && text.contains("nothing is served at"))
}

#[test]
fn every_documented_route_answers_and_no_other_method_does() {
    let app = TestApp::start();
    let paths = description(&app)["paths"]
        .as_object()
        .expect("paths")
        .clone();
    let mut routes = 0;
    for (path, item) in &paths {
        for method in &METHODS {
            let documented = item.get(method.as_str().to_lowercase()).is_some();
            if documented && path.ends_with("/progress") {
                routes += 1;
                continue; // It answers for ever; http.rs listens to it.
            }
            let reply = ask(&app, method, path);
            assert_eq!(
                is_unrouted(&reply),
                !documented,
                "{method} {path}: {}",
                reply.status
            );
            routes += usize::from(documented);
        }
    }
    assert_eq!(routes, 105, "a route came or went: say so here too");
}

/// Routes join the router only together with their description; a bare
/// `.route(…)` would be one that nobody is told of.
#[test]
fn no_route_is_left_out_of_the_description() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/server/http");
    let mut looked_at = 0;
    for entry in std::fs::read_dir(folder).expect("the room").flatten() {
        let Ok(text) = std::fs::read_to_string(entry.path()) else {
            continue;
        };
        let code = text.split("#[cfg(test)]").next().unwrap_or("");
        assert!(!code.contains(".route("), "{}", entry.path().display());
        looked_at += 1;
    }
    assert!(looked_at > 10);
}

#[test]
fn the_description_is_openapi_3_1_and_holds_together() {
    let app = TestApp::start();
    let description = description(&app);
    assert!(
        description["openapi"]
            .as_str()
            .is_some_and(|v| v.starts_with("3.1"))
    );
    assert_eq!(description["info"]["title"], "sayback");
    assert_eq!(description["info"]["version"], env!("CARGO_PKG_VERSION"));
    let mut references = BTreeSet::new();
    collect(&description, &mut references);
    assert!(!references.is_empty());
    for reference in references {
        let pointer = reference
            .strip_prefix('#')
            .expect("a reference to this document");
        assert!(
            description.pointer(pointer).is_some(),
            "{reference} leads nowhere"
        );
    }
    let paths = description["paths"].as_object().expect("paths");
    for (path, item) in paths {
        assert!(path.starts_with("/api/v1/"), "{path}");
        for (method, operation) in item.as_object().expect("operations") {
            let what = format!("{method} {path}");
            assert!(
                operation["summary"].is_string(),
                "{what} does not say what it does"
            );
            let refusal = &operation["responses"]["default"]["content"];
            assert!(
                refusal["application/problem+json"].is_object(),
                "{what}: {refusal}"
            );
            named_parameters_are_described(path, operation);
        }
    }
}

fn named_parameters_are_described(path: &str, operation: &Value) {
    let parameters = operation["parameters"]
        .as_array()
        .cloned()
        .unwrap_or_default();
    for part in path.split('/').filter_map(|part| part.strip_prefix('{')) {
        let name = part.trim_end_matches('}');
        assert!(
            parameters
                .iter()
                .any(|p| p["name"] == name && p["in"] == "path"),
            "{path}: {name} is not described"
        );
    }
}

fn collect(value: &Value, references: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            if let Some(reference) = map.get("$ref").and_then(Value::as_str) {
                references.insert(reference.to_owned());
            }
            map.values().for_each(|value| collect(value, references));
        }
        Value::Array(list) => list.iter().for_each(|value| collect(value, references)),
        _ => {}
    }
}

/// Answers are held against the schemas they are described by.
#[test]
fn answers_have_the_members_that_are_described() {
    let app = TestApp::start();
    let description = description(&app);
    let event = app.event("Boathouse");
    let cut = app.post(&format!("/events/{event}/cuts"), &json!({"name": "film"}));
    let cut = cut.json()["id"].as_str().expect("an id").to_owned();
    for (path, asked) in [
        ("/api/v1/events", "/events".to_owned()),
        ("/api/v1/events/{event}", format!("/events/{event}")),
        (
            "/api/v1/events/{event}/clock",
            format!("/events/{event}/clock"),
        ),
        (
            "/api/v1/events/{event}/moments",
            format!("/events/{event}/moments"),
        ),
        (
            "/api/v1/events/{event}/cuts",
            format!("/events/{event}/cuts"),
        ),
        (
            "/api/v1/events/{event}/outline",
            format!("/events/{event}/outline"),
        ),
        (
            "/api/v1/events/{event}/peaks",
            format!("/events/{event}/peaks"),
        ),
        ("/api/v1/cuts/{cut}", format!("/cuts/{cut}")),
        (
            "/api/v1/cuts/{cut}/versions",
            format!("/cuts/{cut}/versions"),
        ),
        ("/api/v1/health", "/health".to_owned()),
        ("/api/v1/models", "/models".to_owned()),
        ("/api/v1/status", "/status".to_owned()),
        ("/api/v1/search", "/search?q=x".to_owned()),
    ] {
        let schema = &description["paths"][path]["get"]["responses"]["200"]["content"]["application/json"]
            ["schema"];
        let answer = app.get(&asked);
        assert_eq!(answer.status, 200, "{path}");
        fits(&description, schema, &answer.json(), path);
    }
    let problem = app.get("/events/none").problem(404);
    let schema = &description["components"]["schemas"]["Problem"];
    fits(&description, schema, &problem, "a problem");
}

/// A value has all members its schema requires, and none it does not name.
fn fits(description: &Value, schema: &Value, value: &Value, at: &str) {
    let schema = match schema["$ref"].as_str() {
        Some(reference) => description.pointer(&reference[1..]).expect("the schema"),
        None => schema,
    };
    if let Some(parts) = schema["allOf"].as_array() {
        let known: BTreeSet<String> = parts
            .iter()
            .flat_map(|part| properties(description, part))
            .collect();
        assert!(
            keys(value).is_subset(&known),
            "{at}: {:?} of {known:?}",
            keys(value)
        );
        return;
    }
    if let Some(items) = value.as_array() {
        for (n, item) in items.iter().enumerate() {
            fits(description, &schema["items"], item, &format!("{at}/{n}"));
        }
    }
    let Some(named) = schema["properties"].as_object() else {
        return;
    };
    for required in schema["required"].as_array().into_iter().flatten() {
        let name = required.as_str().expect("a name");
        assert!(
            value.get(name).is_some(),
            "{at}: {name} is missing in {value}"
        );
    }
    for (name, member) in value.as_object().into_iter().flatten() {
        match named.get(name) {
            Some(schema) => fits(description, schema, member, &format!("{at}/{name}")),
            None => assert!(
                !schema["additionalProperties"].is_null(),
                "{at}/{name} is unknown"
            ),
        }
    }
}

fn properties(description: &Value, schema: &Value) -> BTreeSet<String> {
    let schema = match schema["$ref"].as_str() {
        Some(reference) => description.pointer(&reference[1..]).expect("the schema"),
        None => schema,
    };
    keys(&schema["properties"])
}

fn keys(value: &Value) -> BTreeSet<String> {
    value
        .as_object()
        .map(|map| map.keys().cloned().collect())
        .unwrap_or_default()
}
