//! The API against its own description, by a program that makes up requests
//! from it and checks every answer.

use std::process::Command;

use xtask::oracle;

use crate::app::TestApp;

/// Requests made up for each operation and phase; enough for a minute at most.
const EXAMPLES: &str = "20";

/// What a description can't say: that a part ends after it begins, that no two have one
/// name, that a name has something to see in it and a text something to speak, what a day
/// is, that the name of a file names no folder, who there is, that a quote is picked in
/// one of several ways, which quotes a list has, and which rates and timecodes there are.
const RULES: &str = r#"
hooks = "pieces.py"

[[operations]]
include-name = [
    "POST /api/v1/events",
    "PUT /api/v1/events/{event}/parts",
    "POST /api/v1/events/{event}/scripts",
    "PUT /api/v1/scripts/{script}",
    "POST /api/v1/events/{event}/cuts",
    "PATCH /api/v1/cuts/{cut}",
    "POST /api/v1/cuts/{cut}/quotes",
    "PATCH /api/v1/cuts/{cut}/quotes/{quote}",
    "PUT /api/v1/cuts/{cut}/order",
    "POST /api/v1/cuts/{cut}/versions",
    "POST /api/v1/cuts/{cut}/restore",
    "GET /api/v1/cuts/{cut}/files",
    "GET /api/v1/cuts/{cut}/page",
    "GET /api/v1/cuts/{cut}/archive",
    "GET /api/v1/events/{event}/files",
    "PATCH /api/v1/events/{event}",
    "POST /api/v1/events/{event}/people",
    "PATCH /api/v1/people/{person}",
    "POST /api/v1/people/{person}/merge",
    "PUT /api/v1/moments/{moment}/person",
    "PUT /api/v1/sources/{source}/wearers",
    "GET /api/v1/search",
    "GET /api/v1/search/words",
    "POST /api/v1/searches",
    "PUT /api/v1/events/{event}/uploads/{file_name}",
    "PATCH /api/v1/sources/{source}",
]

[operations.checks]
positive_data_acceptance.expected-statuses = ["2xx", 404, 409, 422]

[[operations]]
include-path = ["/api/v1/events/{event}/uploads", "/api/v1/uploads/{upload}"]

[operations.checks]
# The protocol of uploads in pieces has a status of its own for a missing version, and
# answers 404 and 409 to what is described well but is not there.
missing_required_header.expected-statuses = [400, 404, 412, 415, 422]
negative_data_rejection.expected-statuses = [400, 404, 405, 409, 412, 413, 415, 422, 428]
positive_data_acceptance.expected-statuses = ["2xx", 400, 404, 409, 415, 422]

[[operations]]
include-name = [
    "POST /api/v1/cuts/{cut}/folder",
    "GET /api/v1/hand-overs",
    "GET /api/v1/hand-overs/{hand_over}",
    "DELETE /api/v1/hand-overs/{hand_over}",
]

[operations.checks]
# Only with the owner's token, which is not described.
positive_data_acceptance.expected-statuses = [403]
"#;

/// What it does not know by itself: a piece of an upload is bytes.
const PIECES: &str = r#"import schemathesis

schemathesis.serializer.alias("application/offset+octet-stream", "application/octet-stream")
"#;

#[test]
fn made_up_requests_get_what_the_description_says() {
    let app = TestApp::start();
    app.event("Boathouse");
    let program = oracle::python().with_file_name("schemathesis");
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("schemathesis.toml"), RULES).expect("a file");
    std::fs::write(folder.path().join("pieces.py"), PIECES).expect("a file");
    let output = Command::new(&program)
        .current_dir(folder.path())
        .env("PYTHONPATH", folder.path())
        // The server is on this machine, whatever the environment says.
        .env("NO_PROXY", "127.0.0.1")
        .env("no_proxy", "127.0.0.1")
        .args(["run", &format!("{}/api/v1/openapi.json", app.url)])
        // It answers for ever; another test listens to it.
        .args(["--exclude-path", "/api/v1/progress"])
        .args([
            "--checks",
            "all",
            "--max-examples",
            EXAMPLES,
            "--seed",
            "20260620",
        ])
        .args(["--continue-on-failure", "--no-color"])
        .output()
        .unwrap_or_else(|e| panic!("{}: {e}: run cargo xtask test", program.display()));
    let told = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{told}");
    // Without the operations it would be content with nothing.
    assert!(told.contains("Operations:       105 selected"), "{told}");
    assert_eq!(app.get("/health").json()["status"], "ok");
}
