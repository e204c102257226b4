//! The container, as far as it can be checked without an engine: that what the
//! files name exists, and that they keep the promises of their comments.

use std::path::Path;
use std::process::{Child, Command};

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

/// An image built on one machine runs on another.
#[test]
fn the_engine_is_not_built_for_the_building_machine_alone() {
    let all = dockerfile();
    let of = |wanted: &str, part: &str| {
        let found = all
            .iter()
            .position(|(word, rest)| word == wanted && rest.contains(part));
        found.unwrap_or_else(|| panic!("no {wanted} with {part}"))
    };
    assert!(of("ENV", "GGML_NATIVE=OFF") < of("RUN", "cargo build"));
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

/// The image's own question, asked of a server here: yes while it answers, no
/// when it is gone.
#[test]
fn the_health_check_asks_the_server() {
    let folder = tempfile::tempdir().expect("a folder");
    let server = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .arg("--data")
        .arg(folder.path().join("data"))
        .args(["serve", "--listen", "127.0.0.1:0"])
        .spawn()
        .expect("the server starts");
    let server = Server(server);
    let port = port(&folder.path().join("data/server.json"));
    let healthy = health(port);
    drop(server);
    assert!(healthy, "the server on port {port} is not healthy");
    assert!(!health(port), "healthy without a server");
}

/// A server that ends with the test, also when that fails.
struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn port(file: &Path) -> u16 {
    let begun = std::time::Instant::now();
    loop {
        let url = std::fs::read(file)
            .ok()
            .and_then(|text| serde_json::from_slice::<serde_json::Value>(&text).ok())
            .and_then(|written| written["url"].as_str().map(str::to_owned));
        let port = url
            .as_deref()
            .and_then(|url| url.rsplit(':').next()?.parse().ok());
        if let Some(port) = port {
            return port;
        }
        assert!(
            begun.elapsed().as_secs() < 60,
            "no server.json within a minute"
        );
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
}

fn health(port: u16) -> bool {
    let check = last("HEALTHCHECK");
    let (_, command) = check.split_once("CMD ").expect("a command");
    let command = command.replace("7373", &port.to_string());
    let words: Vec<String> = serde_json::from_str(&command).expect("a list of words");
    let run = Command::new(&words[0]).args(&words[1..]).output();
    run.expect("bash starts").status.success()
}
