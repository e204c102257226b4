//! Rules about single files.

use super::{File, source};
use std::collections::BTreeSet;
use std::path::Path;

/// Lines; a file of more holds a second idea. The aim is 400.
const LONGEST: usize = 450;
/// Bytes.
const HEAVIEST: u64 = 1_500_000;
/// What may lie at the top.
const TOP: &[&str] = &[
    ".cargo",
    ".ci",
    ".clippy.toml",
    ".deny.toml",
    ".gitignore",
    ".rustfmt.toml",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "docker",
    "migrations",
    "server",
    "tests",
];

pub(super) fn too_long(file: &File) -> Option<String> {
    let lines = file.text.lines().count();
    let written = file.is_rust() || file.name.ends_with(".js") || file.name.ends_with(".css");
    (written && lines > LONGEST).then(|| format!("{}: {lines} lines", file.name))
}

/// SQL, or the library that speaks it, in a room other than the store.
pub(super) fn sql_outside(file: &File) -> Vec<String> {
    let inside = file.name.starts_with("server/store/");
    if inside || !file.is_rust() || !file.name.starts_with("server/") {
        return Vec::new();
    }
    let (code, strings) = source::parts(&file.text);
    let mut problems: Vec<String> = strings
        .iter()
        .filter(|text| is_sql(text))
        .map(|text| format!("{}: SQL outside the store: {text}", file.name))
        .collect();
    if has_word(&code, "sqlx") {
        problems.push(format!("{}: sqlx outside the store", file.name));
    }
    problems
}

/// Statements as they are written here: key words in capitals.
fn is_sql(text: &str) -> bool {
    let words: Vec<&str> = text.split_whitespace().collect();
    let has = |word: &str| words.contains(&word);
    match words.first() {
        Some(&"SELECT") => has("FROM") || words.len() > 1,
        Some(&"INSERT") => has("INTO"),
        Some(&"UPDATE") => has("SET"),
        Some(&"DELETE") => has("FROM"),
        Some(&"CREATE" | &"ALTER" | &"DROP") => has("TABLE") || has("INDEX"),
        Some(&"WITH") => has("SELECT"),
        Some(&"PRAGMA") => true,
        _ => false,
    }
}

/// Files that no other names: they are never built, so nothing holds them.
pub(super) fn in_no_build(files: &[File]) -> Vec<String> {
    let mut named = BTreeSet::new();
    for file in files {
        let folder = file.name.rsplit_once('/').map_or("", |(folder, _)| folder);
        if file.name.ends_with("Cargo.toml") {
            let values = file.text.split('"').filter(|text| text.ends_with(".rs"));
            named.extend(values.map(|path| joined(folder, path)));
        }
        if !file.is_rust() {
            continue;
        }
        let (code, strings) = source::parts(&file.text);
        let paths = strings.iter().filter(|text| text.ends_with(".rs"));
        named.extend(paths.map(|path| joined(folder, path)));
        let code = code.replace(';', " ; ");
        let words: Vec<&str> = code.split_whitespace().collect();
        let own = file.name.strip_suffix(".rs").unwrap_or(&file.name);
        for words in words.windows(3) {
            let ["mod", module, ";"] = words else {
                continue;
            };
            for folder in [folder, own] {
                named.insert(joined(folder, &format!("{module}.rs")));
                named.insert(joined(folder, &format!("{module}/mod.rs")));
            }
        }
    }
    files
        .iter()
        .filter(|file| file.is_rust() && !named.contains(&file.name))
        .map(|file| format!("{}: no `mod` and no manifest names it", file.name))
        .collect()
}

/// A path as seen from a folder, from the root.
fn joined(folder: &str, path: &str) -> String {
    let mut parts: Vec<&str> = folder.split('/').filter(|part| !part.is_empty()).collect();
    for part in path.split('/') {
        match part {
            ".." => drop(parts.pop()),
            part => parts.push(part),
        }
    }
    parts.join("/")
}

/// Work that somebody left for later, and tests that don't run.
pub(super) fn unfinished(file: &File) -> Vec<String> {
    if !file.is_rust() {
        return Vec::new();
    }
    let (code, _) = source::parts(&file.text);
    let code: String = code.split_whitespace().collect();
    ["todo!", "unimplemented!", "dbg!", "#[ignore]", "#[ignore="]
        .into_iter()
        .filter(|mark| code.contains(mark))
        .map(|mark| format!("{}: {mark}", file.name))
        .collect()
}

/// Code of the product that ends the program when something is not there; each
/// error has a type and a way out. Tests may; so may chores.
pub(super) fn may_end(file: &File) -> Vec<String> {
    let tests = file.name.contains("/tests/") || file.name.ends_with("/tests.rs");
    let product = file.is_rust() && file.name.starts_with("server/");
    let other = ["server/xtask/", "server/fuzz/"];
    if !product || tests || other.iter().any(|start| file.name.starts_with(start)) {
        return Vec::new();
    }
    let (code, _) = source::parts(&file.text);
    let own = code.find("#[cfg(test)]").or(code.find("#[test]"));
    let code: String = code[..own.unwrap_or(code.len())]
        .split_whitespace()
        .collect();
    [".unwrap()", ".expect(", "panic!("]
        .into_iter()
        .filter(|mark| code.contains(mark))
        .map(|mark| format!("{}: {mark}", file.name))
        .collect()
}

/// Only the model's C boundary is unsafe.
pub(super) fn unsafe_outside(file: &File) -> Option<String> {
    let ours = file.is_rust() && file.name.starts_with("server/");
    if !ours || file.name.starts_with("server/speech/") {
        return None;
    }
    let (code, _) = source::parts(&file.text);
    has_word(&code, "unsafe").then(|| format!("{}: unsafe outside speech", file.name))
}

fn has_word(code: &str, word: &str) -> bool {
    code.split(|c: char| !c.is_alphanumeric() && c != '_')
        .any(|one| one == word)
}

/// A package of the workspace that has lints of its own, or none.
pub(super) fn without_lints(file: &File) -> Option<String> {
    let outside = file.name.starts_with("server/fuzz/");
    if outside || !file.name.ends_with("Cargo.toml") {
        return None;
    }
    let joined: Vec<&str> = file.text.lines().map(str::trim).collect();
    let common = joined
        .windows(2)
        .any(|pair| pair == ["[lints]", "workspace = true"]);
    (!common).then(|| format!("{}: does not take the workspace's lints", file.name))
}

/// What would let the pure package reach files, network or SQL.
pub(super) fn impure(file: &File) -> Vec<String> {
    if file.name != "server/core/Cargo.toml" {
        return Vec::new();
    }
    const REACHING: &[&str] = &[
        "axum",
        "hound",
        "hyper",
        "memmap2",
        "mio",
        "reqwest",
        "rusqlite",
        "sqlx",
        "symphonia",
        "tempfile",
        "tokio",
        "ureq",
        "whisper-rs",
    ];
    let (own, _) = file
        .text
        .split_once("[dev-dependencies]")
        .unwrap_or((&file.text, ""));
    own.lines()
        .filter_map(|line| line.split(['=', '.', ' ']).next())
        .filter(|name| REACHING.contains(name))
        .map(|name| format!("{}: {name} reaches outside", file.name))
        .collect()
}

pub(super) fn stray(name: &Path) -> Option<String> {
    let top = name.components().next()?.as_os_str().to_str()?;
    (!TOP.contains(&top)).then(|| format!("{top}: not among the agreed top-level entries"))
}

pub(super) fn heavy(name: &Path, bytes: u64) -> Option<String> {
    (bytes > HEAVIEST).then(|| format!("{}: {bytes} bytes", name.display()))
}

#[test]
fn a_long_file_is_seen() {
    let long = "x\n".repeat(LONGEST + 1);
    assert!(too_long(&File::new("server/media/mod.rs", &long)).is_some());
    assert!(too_long(&File::new("server/web/page.js", &long)).is_some());
    assert!(too_long(&File::new("tests/oracle/requirements.txt", &long)).is_none());
    assert!(too_long(&File::new("server/media/mod.rs", "x\n")).is_none());
}

#[test]
fn sql_is_seen_where_it_should_not_be() {
    let query = "fn f() { ask(\"SELECT id\n FROM event\") }";
    assert_eq!(
        sql_outside(&File::new("server/http/mod.rs", query)).len(),
        1
    );
    assert_eq!(
        sql_outside(&File::new(
            "server/jobs/a.rs",
            "sqlx::query(r\"DELETE FROM job\")"
        ))
        .len(),
        2
    );
    assert_eq!(
        sql_outside(&File::new("server/store/mod.rs", query)),
        [""; 0]
    );
    let prose = "// SELECT x FROM y\nlet a = \"Select from the list\"; let b = \"UPDATE\";";
    assert_eq!(
        sql_outside(&File::new("server/http/mod.rs", prose)),
        [""; 0]
    );
}

#[test]
fn unfinished_work_is_seen() {
    let name = "server/media/mod.rs";
    assert_eq!(unfinished(&File::new(name, "fn f() { todo!() }")).len(), 1);
    assert_eq!(
        unfinished(&File::new(name, "#[ignore = \"slow\"]\nfn f() {}")).len(),
        1
    );
    assert_eq!(
        unfinished(&File::new(name, "#[test]\n#[ignore]\nfn f() {}")).len(),
        1
    );
    assert_eq!(
        unfinished(&File::new(name, "// no todo! here\nlet a = \"todo!\";")),
        [""; 0]
    );
}

#[test]
fn code_that_may_end_the_program_is_seen() {
    let text = "fn f() { g()\n.unwrap() }";
    assert_eq!(may_end(&File::new("server/media/mod.rs", text)).len(), 1);
    assert_eq!(may_end(&File::new("server/media/tests.rs", text)), [""; 0]);
    let tested = "fn f() { g().unwrap_or(1) }\n#[cfg(test)]\nmod tests { g().unwrap(); }";
    assert_eq!(may_end(&File::new("server/media/mod.rs", tested)), [""; 0]);
    let example = "/// g().unwrap()\nfn f() {}";
    assert_eq!(may_end(&File::new("server/media/mod.rs", example)), [""; 0]);
}

#[test]
fn unsafe_is_seen_outside_the_model() {
    let text = "fn f() { unsafe { g() } }";
    assert!(unsafe_outside(&File::new("server/media/mod.rs", text)).is_some());
    assert!(unsafe_outside(&File::new("server/speech/whisper.rs", text)).is_none());
    assert!(
        unsafe_outside(&File::new(
            "server/media/mod.rs",
            "// unsafe\nfn not_unsafe() {}"
        ))
        .is_none()
    );
}

#[test]
fn a_package_without_the_lints_is_seen() {
    let name = "server/xtask/Cargo.toml";
    assert!(without_lints(&File::new(name, "[package]\nname = \"x\"\n")).is_some());
    assert!(without_lints(&File::new(name, "[lints]\nworkspace = true\n")).is_none());
}

#[test]
fn a_reaching_dependency_is_seen() {
    let name = "server/core/Cargo.toml";
    assert_eq!(
        impure(&File::new(name, "[dependencies]\ntokio = \"1\"\n")).len(),
        1
    );
    assert_eq!(
        impure(&File::new(name, "[dependencies]\nrealfft = \"3\"\n")),
        [""; 0]
    );
    assert_eq!(
        impure(&File::new(name, "[dev-dependencies]\nhound = \"3\"\n")),
        [""; 0]
    );
}

#[test]
fn a_stray_or_heavy_file_is_seen() {
    assert!(stray(Path::new("notes.txt")).is_some());
    assert!(stray(Path::new("server/media/mod.rs")).is_none());
    assert!(heavy(Path::new("tests/long.wav"), HEAVIEST + 1).is_some());
    assert!(heavy(Path::new("tests/short.flac"), HEAVIEST).is_none());
}

#[test]
fn a_file_that_nothing_names_is_seen() {
    let files = [
        ("Cargo.toml", "[lib]\npath = \"server/lib.rs\""),
        (
            "server/lib.rs",
            "pub mod text;\n#[path = \"odd/place.rs\"]\nmod place;",
        ),
        ("server/text/mod.rs", "mod query;\n// mod gone;"),
        ("server/text/query.rs", "#[cfg(test)]\nmod tests;"),
        ("server/text/query/tests.rs", ""),
        ("server/odd/place.rs", ""),
        ("server/text/gone.rs", ""),
        ("server/odd/query.rs", ""),
    ];
    let files = files.map(|(name, text)| File::new(name, text));
    let seen = in_no_build(&files);
    assert_eq!(seen.len(), 2, "{seen:?}");
    assert!(seen[0].starts_with("server/text/gone.rs"), "{seen:?}");
    assert!(seen[1].starts_with("server/odd/query.rs"), "{seen:?}");
}
