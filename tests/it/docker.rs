//! The container, as far as it can be checked without an engine: that what the
//! files name exists, and that they keep the promises of their comments.

use std::path::Path;
use std::process::Command;

fn text(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// The instructions of a Dockerfile: comments gone, continued lines joined.
fn instructions(text: &str) -> Vec<(String, String)> {
    let lines: Vec<&str> = text
        .lines()
        .filter(|line| !line.trim_start().starts_with('#'))
        .collect();
    lines
        .join("\n")
        .replace("\\\n", " ")
        .lines()
        .filter_map(|line| line.trim().split_once(' '))
        .map(|(word, rest)| (word.to_owned(), rest.trim().to_owned()))
        .collect()
}

fn dockerfile() -> Vec<(String, String)> {
    instructions(&text("docker/Dockerfile"))
}

/// The one instruction of this kind in the last stage.
fn last(word: &str) -> String {
    let all = dockerfile();
    let stage = all
        .iter()
        .rposition(|(word, _)| word == "FROM")
        .unwrap_or(0);
    let found: Vec<&String> = all[stage..]
        .iter()
        .filter(|(one, _)| one == word)
        .map(|(_, rest)| rest)
        .collect();
    assert_eq!(found.len(), 1, "{word} in the last stage: {found:?}");
    found[0].clone()
}

/// What compose makes of its file, as JSON.
fn compose() -> serde_json::Value {
    let read = "import json, sys, yaml; json.dump(yaml.safe_load(sys.stdin), sys.stdout)";
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docker/compose.yaml");
    let read = Command::new(xtask::oracle::python())
        .args(["-c", read])
        .stdin(std::fs::File::open(path).expect("there is a compose file"))
        .output()
        .expect("Python starts");
    assert!(
        read.status.success(),
        "{}",
        String::from_utf8_lossy(&read.stderr)
    );
    serde_json::from_slice(&read.stdout).expect("Python writes JSON")
}

#[test]
fn the_image_builds_with_the_rust_of_the_repository() {
    let manifest = text("Cargo.toml");
    let version = manifest
        .lines()
        .find_map(|line| line.strip_prefix("rust-version = \"")?.strip_suffix('"'))
        .expect("the workspace states its Rust");
    let (_, first) = &dockerfile()[0];
    assert!(
        first.starts_with(&format!("rust:{version}-")),
        "{first} is not Rust {version}"
    );
}

#[test]
fn the_image_is_built_by_the_steps_of_every_machine() {
    let all = dockerfile();
    let (_, steps) = all
        .iter()
        .find(|(word, rest)| word == "RUN" && rest.contains("cargo"))
        .expect("a stage that builds");
    assert!(steps.contains("cargo xtask setup"), "{steps}");
    assert!(steps.contains("cargo build --release --locked"), "{steps}");
}

#[test]
fn the_build_sees_all_it_needs_and_no_target_folder() {
    let ignore = text("docker/Dockerfile.dockerignore");
    let mut lines = ignore.lines().filter(|line| !line.starts_with('#'));
    assert_eq!(
        lines.next(),
        Some("*"),
        "everything is left out unless named"
    );
    let seen: Vec<&str> = lines.filter_map(|line| line.strip_prefix('!')).collect();
    for name in &seen {
        assert!(
            Path::new(env!("CARGO_MANIFEST_DIR")).join(name).exists(),
            "{name} is gone"
        );
    }
    // Cargo reads the targets of its manifest, and the code includes files.
    for needed in [
        ".cargo",
        "Cargo.lock",
        "Cargo.toml",
        "migrations",
        "server",
        "tests",
    ] {
        assert!(seen.contains(&needed), "{needed} is not seen by the build");
    }
}

#[test]
fn the_program_runs_as_nobody_in_particular() {
    let user = last("USER");
    let id = user.split(':').next().and_then(|id| id.parse::<u32>().ok());
    assert!(id.is_some_and(|id| id >= 1000), "USER {user}");
}

#[test]
fn data_and_models_are_volumes_of_their_own() {
    assert_eq!(last("VOLUME"), r#"["/data", "/models"]"#);
    let environment = last("ENV");
    assert!(environment.contains("SAYBACK_DATA=/data"), "{environment}");
    assert!(
        environment.contains("SAYBACK_MODELS=/models"),
        "{environment}"
    );
}

#[test]
fn nothing_listens_beyond_this_machine() {
    let serve = last("CMD");
    assert!(serve.contains(r#""--listen", "127.0.0.1:7373""#), "{serve}");
    let service = &compose()["services"]["sayback"];
    assert_eq!(service["network_mode"], "host");
    assert!(
        service["ports"].is_null(),
        "a published port would need the server to listen to all"
    );
    assert!(
        service["command"].is_null(),
        "the image's own command holds"
    );
}

#[test]
fn the_root_file_system_and_the_originals_are_read_only() {
    let service = &compose()["services"]["sayback"];
    assert_eq!(service["read_only"], true);
    assert_eq!(service["cap_drop"][0], "ALL");
    assert_eq!(service["security_opt"][0], "no-new-privileges:true");
    let volumes = service["volumes"].as_array().expect("a list of volumes");
    let recordings = volumes
        .iter()
        .find(|volume| volume["target"] == "/recordings")
        .expect("the recordings are mounted");
    assert_eq!(recordings["read_only"], true);
    for named in ["data:/data", "models:/models"] {
        assert!(volumes.iter().any(|volume| volume == named), "{named}");
    }
}
