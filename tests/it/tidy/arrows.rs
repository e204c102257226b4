//! Which room may use which: `core` ← `media`, `speech`, `store` ← `jobs` ←
//! `http`, `cli`; `http` alone uses `export`, which uses `core`. Nothing uses `http`;
//! `main.rs` alone joins the rooms.

use super::{File, source};
use std::collections::BTreeSet;

const CORE: &[&str] = &[
    "core", "meaning", "signal", "clock", "moments", "quality", "text", "timecode", "voices",
];

/// Every room, and what it may use beside itself.
const MAY_USE: &[(&str, &[&str])] = &[
    ("core", &[]),
    ("signal", &["core"]),
    ("clock", &["core", "signal"]),
    ("moments", &["core", "signal", "clock", "quality", "text"]),
    ("quality", &["core", "signal", "clock"]),
    ("text", &["core"]),
    ("voices", &["core", "clock"]),
    ("meaning", &["core"]),
    ("timecode", &["core"]),
    ("media", CORE),
    ("speech", CORE),
    ("store", CORE),
    ("export", CORE),
    (
        "jobs",
        &[
            "core", "meaning", "signal", "clock", "moments", "quality", "text", "voices", "media",
            "speech", "store",
        ],
    ),
    (
        "http",
        &[
            "core", "signal", "clock", "moments", "quality", "text", "timecode", "media", "speech",
            "store", "export", "jobs", "web",
        ],
    ),
    (
        "cli",
        &[
            "core", "signal", "clock", "moments", "quality", "text", "media", "speech", "store",
            "jobs",
        ],
    ),
    ("web", &[]),
    ("xtask", CORE),
];

/// Each use of a room by a file that may not use it.
pub(super) fn wrong(file: &File) -> Vec<String> {
    let Some(room) = room_of(&file.name).filter(|_| file.is_rust()) else {
        return Vec::new();
    };
    let may_use = MAY_USE.iter().find(|(name, _)| *name == room);
    let allowed = may_use.map_or(&[][..], |(_, allowed)| *allowed);
    used(file)
        .into_iter()
        .filter(|used| *used != room && !allowed.contains(used))
        .map(|used| format!("{}: {room} may not use {used}", file.name))
        .collect()
}

/// Rooms that exist and have no line in the table, or the other way round.
pub(super) fn unlisted(folders: &BTreeSet<String>) -> Vec<String> {
    let listed: BTreeSet<&str> = MAY_USE.iter().map(|(room, _)| *room).collect();
    let exist: BTreeSet<&str> = folders
        .iter()
        .map(String::as_str)
        // It uses the others from outside, as a test does.
        .filter(|folder| *folder != "fuzz")
        .collect();
    listed
        .symmetric_difference(&exist)
        .map(|room| format!("{room}: in the table of arrows or in server/, but not in both"))
        .collect()
}

/// The room a file belongs to; `main.rs` and `lib.rs` join them all and
/// belong to none.
fn room_of(name: &str) -> Option<&str> {
    let mut parts = name.strip_prefix("server/")?.split('/');
    let first = parts.next()?;
    let second = parts.next()?;
    match first {
        "core" if CORE.contains(&second) => Some(second),
        "fuzz" => None,
        _ => Some(first),
    }
}

/// How many modules deep a file is below the root of its package.
fn depth(name: &str) -> usize {
    let inside = name
        .strip_prefix("server/core/")
        .or_else(|| name.strip_prefix("server/xtask/"))
        .or_else(|| name.strip_prefix("server/"))
        .unwrap_or(name);
    let folders = inside.matches('/').count();
    folders + usize::from(!inside.ends_with("mod.rs"))
}

fn used(file: &File) -> BTreeSet<&'static str> {
    let (code, _) = source::parts(&file.text);
    let tokens = tokens(&code);
    let in_core = file.name.starts_with("server/core/");
    let in_xtask = file.name.starts_with("server/xtask/");
    let mut found = BTreeSet::new();
    let mut at = 0;
    while at < tokens.len() {
        let mut after = at + 1;
        let reaches = match tokens[at] {
            // The path `x::crate::` does not exist, but `x::super::` might.
            "crate" if in_core => Some(true),
            "crate" if !in_xtask => Some(false),
            "sayback_core" => Some(true),
            "sayback" => Some(false),
            "super" if at == 0 || tokens[at - 1] != "::" => {
                let mut ups = 1;
                while tokens.get(after) == Some(&"::") && tokens.get(after + 1) == Some(&"super") {
                    ups += 1;
                    after += 2;
                }
                (ups == depth(&file.name) && !in_xtask).then_some(in_core)
            }
            _ => None,
        };
        if let Some(core) = reaches {
            for name in heads(&tokens[after..]) {
                found.extend(room_named(name, core));
            }
        }
        at = after;
    }
    found
}

/// The room that a path starting with `name` leads to.
fn room_named(name: &str, in_core: bool) -> Option<&'static str> {
    let room = MAY_USE
        .iter()
        .map(|(room, _)| *room)
        .find(|room| *room == name);
    match (room, in_core) {
        (Some(room), true) if CORE.contains(&room) => Some(room),
        (Some(room), false) if !CORE.contains(&room) || room == "core" => Some(room),
        // Units and other single files of the pure package.
        (_, true) => Some("core"),
        _ => None,
    }
}

/// The first names of what follows a path's root: `::a::b` gives `a`,
/// `::{a::b, c}` gives `a` and `c`.
fn heads<'a>(tokens: &[&'a str]) -> Vec<&'a str> {
    match tokens {
        ["::", "{", rest @ ..] => {
            let (mut depth, mut fresh, mut heads) = (1, true, Vec::new());
            for token in rest {
                match *token {
                    "{" => depth += 1,
                    "}" => depth -= 1,
                    "," if depth == 1 => fresh = true,
                    name if fresh => {
                        heads.push(name);
                        fresh = false;
                    }
                    _ => {}
                }
                if depth == 0 {
                    break;
                }
            }
            heads
        }
        ["::", name, ..] => vec![name],
        _ => Vec::new(),
    }
}

fn tokens(code: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = code.trim_start();
    while let Some(first) = rest.chars().next() {
        let name = |c: char| c.is_alphanumeric() || c == '_';
        let end = if rest.starts_with("::") {
            2
        } else if name(first) {
            rest.find(|c| !name(c)).unwrap_or(rest.len())
        } else {
            first.len_utf8()
        };
        tokens.push(&rest[..end]);
        rest = rest[end..].trim_start();
    }
    tokens
}

#[test]
fn a_wrong_arrow_is_seen_in_every_form() {
    let bad = [
        ("server/media/mod.rs", "use crate::store::Store;"),
        ("server/media/wav.rs", "fn f() { crate::jobs::start() }"),
        (
            "server/store/mod.rs",
            "use crate::{core::Cancel, http::{self, x}};",
        ),
        ("server/jobs/engine.rs", "use super::super::http;"),
        ("server/speech/mod.rs", "use super::media::Reader;"),
        (
            "server/core/text/mod.rs",
            "use crate::signal::SpeechSegment;",
        ),
        ("server/cli/mod.rs", "pub use crate::http;"),
        ("server/web/mod.rs", "use sayback_core::text;"),
        ("server/xtask/main.rs", "use sayback::media;"),
        ("server/export/mod.rs", "use crate::store::RecordingRow;"),
        ("server/jobs/engine.rs", "use crate::export::Sheet;"),
    ];
    for (name, text) in bad {
        assert_eq!(wrong(&File::new(name, text)).len(), 1, "{name}: {text}");
    }
}

#[test]
fn a_right_arrow_and_a_mere_mention_pass() {
    let good = [
        (
            "server/jobs/steps/probe.rs",
            "use crate::{media, store::Store, text_of};",
        ),
        ("server/http/jobs.rs", "use super::store; use crate::jobs;"),
        (
            "server/media/mod.rs",
            "/// See [`crate::jobs`].\nuse sayback_core::{signal, units::FileMs};",
        ),
        ("server/main.rs", "use sayback::{cli, http};"),
        (
            "server/core/signal/detect.rs",
            "use super::frames; use crate::units::FileMs;",
        ),
        (
            "server/xtask/bench/mod.rs",
            "use crate::media_file; use crate::store;",
        ),
        ("tests/it/http.rs", "use sayback::http;"),
    ];
    for (name, text) in good {
        assert_eq!(wrong(&File::new(name, text)), [""; 0], "{name}: {text}");
    }
}

#[test]
fn a_room_without_arrows_is_reported() {
    let mut folders: BTreeSet<String> = MAY_USE.iter().map(|(room, _)| (*room).into()).collect();
    assert_eq!(unlisted(&folders), [""; 0]);
    folders.insert("attic".into());
    assert_eq!(unlisted(&folders).len(), 1);
    folders.remove("attic");
    folders.remove("web");
    assert_eq!(unlisted(&folders).len(), 1);
}
