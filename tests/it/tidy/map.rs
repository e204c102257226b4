//! The rooms that exist, and the page that describes them.

use super::File;
use std::collections::BTreeSet;

/// The rooms: every folder of `server/` that holds Rust, and of the pure
/// package every folder that is a module.
pub(super) fn folders(files: &[File]) -> BTreeSet<String> {
    let mut rooms = BTreeSet::new();
    for file in files.iter().filter(|file| file.is_rust()) {
        let Some(inside) = file.name.strip_prefix("server/") else {
            continue;
        };
        let parts: Vec<&str> = inside.split('/').collect();
        if let [room, _, ..] = parts[..] {
            rooms.insert(room.to_owned());
        }
        if let ["core", room, _, ..] = parts[..] {
            rooms.insert(room.to_owned());
        }
    }
    rooms
}

/// The rooms that the page describes: headings like ``### `media` ``.
fn described(page: &str) -> Vec<String> {
    page.lines()
        .filter_map(|line| line.strip_prefix("### `"))
        .filter_map(|rest| rest.split_once('`'))
        .map(|(room, _)| room.to_owned())
        .collect()
}

pub(super) fn differences(page: &str, rooms: &BTreeSet<String>) -> Vec<String> {
    let described = described(page);
    let missing = rooms
        .iter()
        .filter(|room| !described.contains(room))
        .map(|room| format!("DEVELOPERS.md has no heading '### `{room}`'"));
    let gone = described
        .iter()
        .filter(|room| !rooms.contains(*room))
        .map(|room| format!("DEVELOPERS.md describes `{room}`, which is no folder of server/"));
    let twice = described
        .iter()
        .enumerate()
        .filter(|(at, room)| described[..*at].contains(room))
        .map(|(_, room)| format!("DEVELOPERS.md describes `{room}` twice"));
    missing.chain(gone).chain(twice).collect()
}

/// A room whose first paragraph asks nothing.
pub(super) fn without_question(file: &File) -> Option<String> {
    let inside = file.name.strip_prefix("server/")?;
    let inside = inside.strip_prefix("core/").unwrap_or(inside);
    let is_room = inside.ends_with("/mod.rs") && inside.matches('/').count() == 1;
    if !is_room || inside.starts_with("xtask/") {
        return None;
    }
    let opening = file
        .text
        .lines()
        .map_while(|line| line.strip_prefix("//!"))
        .take_while(|line| !line.trim().is_empty());
    let asks = opening.into_iter().any(|line| line.contains('?'));
    (!asks).then(|| format!("{}: opens without the question the room answers", file.name))
}

#[test]
fn a_page_that_differs_from_the_rooms_is_seen() {
    let files = [
        File::new("server/media/mod.rs", ""),
        File::new("server/core/text/mod.rs", ""),
        File::new("server/core/lib.rs", ""),
        File::new("server/main.rs", ""),
        File::new("server/web/page.js", ""),
    ];
    let rooms = folders(&files);
    assert_eq!(Vec::from_iter(&rooms), ["core", "media", "text"]);
    let good = "# Map\n### `core`\n### `text`\n\n### `media` opens files\n";
    assert_eq!(differences(good, &rooms), [""; 0]);
    assert_eq!(
        differences("### `core`\n### `text`", &rooms).len(),
        1,
        "one missing"
    );
    assert_eq!(
        differences(&format!("{good}### `attic`"), &rooms).len(),
        1,
        "one gone"
    );
    assert_eq!(
        differences(&format!("{good}### `core`"), &rooms).len(),
        1,
        "one twice"
    );
}

#[test]
fn a_room_without_its_question_is_seen() {
    let name = "server/media/mod.rs";
    assert!(without_question(&File::new(name, "//! Media.\n//!\n//! Why?\n")).is_some());
    assert!(without_question(&File::new(name, "use a;\n//! Why?\n")).is_some());
    assert!(without_question(&File::new(name, "//! What is\n//! in it?\n")).is_none());
    assert!(without_question(&File::new("server/media/wav/mod.rs", "//! WAV.\n")).is_none());
}
