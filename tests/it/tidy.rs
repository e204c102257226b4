//! Is the repository still what DEVELOPERS.md says it is? Each rule is a
//! function of names and text, tried on a small bad example beside the real
//! files: a rule that can't fail holds nothing.

mod arrows;
mod form;
mod map;
mod source;

use std::path::{Path, PathBuf};

/// One file of the repository.
struct File {
    /// From the root, with `/`.
    name: String,
    text: String,
}

impl File {
    fn new(name: &str, text: &str) -> File {
        let (name, text) = (name.to_owned(), text.to_owned());
        File { name, text }
    }

    fn is_rust(&self) -> bool {
        self.name.ends_with(".rs")
    }
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What git holds, or would hold after the next commit.
fn tracked() -> Vec<PathBuf> {
    let listed = std::process::Command::new("git")
        .args([
            "ls-files",
            "-z",
            "--cached",
            "--others",
            "--exclude-standard",
        ])
        .current_dir(root())
        .output()
        .expect("git lists the files of the repository");
    assert!(listed.status.success(), "git ls-files failed: {listed:?}");
    let names = String::from_utf8(listed.stdout).expect("our file names are UTF-8");
    names
        .split('\0')
        .filter(|name| !name.is_empty())
        .map(PathBuf::from)
        // Removed, and not yet committed so.
        .filter(|name| root().join(name).exists())
        .collect()
}

/// The files that hold text; sound is no text.
fn files() -> Vec<File> {
    let files: Vec<File> = tracked()
        .into_iter()
        .filter_map(|name| {
            let text = std::fs::read_to_string(root().join(&name)).ok()?;
            Some(File::new(name.to_str()?, &text))
        })
        .collect();
    assert!(files.len() > 20, "found only {} files", files.len());
    files
}

fn none(problems: Vec<String>) {
    assert!(problems.is_empty(), "\n  {}\n", problems.join("\n  "));
}

#[test]
fn rooms_use_only_what_they_may() {
    none(files().iter().flat_map(arrows::wrong).collect());
}

#[test]
fn every_room_has_its_arrows() {
    none(arrows::unlisted(&map::folders(&files())));
}

#[test]
fn the_developers_map_names_exactly_the_rooms() {
    let files = files();
    let page = files
        .iter()
        .find(|file| file.name == "DEVELOPERS.md")
        .expect("there is a DEVELOPERS.md");
    none(map::differences(&page.text, &map::folders(&files)));
}

#[test]
fn every_room_opens_with_its_question() {
    none(files().iter().filter_map(map::without_question).collect());
}

#[test]
fn files_hold_one_idea() {
    none(files().iter().filter_map(form::too_long).collect());
}

#[test]
fn sql_stays_in_the_store() {
    none(files().iter().flat_map(form::sql_outside).collect());
}

#[test]
fn nothing_is_unfinished_or_left_out() {
    none(files().iter().flat_map(form::unfinished).collect());
}

#[test]
fn every_file_is_built() {
    none(form::in_no_build(&files()));
}

#[test]
fn no_input_ends_the_program() {
    none(files().iter().flat_map(form::may_end).collect());
}

#[test]
fn unsafe_stays_at_the_model() {
    none(files().iter().filter_map(form::unsafe_outside).collect());
}

#[test]
fn every_package_takes_the_common_lints() {
    none(files().iter().filter_map(form::without_lints).collect());
}

#[test]
fn the_pure_package_reaches_nothing() {
    none(files().iter().flat_map(form::impure).collect());
}

#[test]
fn the_top_of_the_repository_is_the_agreed_one() {
    none(
        tracked()
            .iter()
            .filter_map(|name| form::stray(name))
            .collect(),
    );
}

#[test]
fn nothing_heavy_is_committed() {
    let heavy = tracked().into_iter().filter_map(|name| {
        let bytes = root().join(&name).metadata().ok()?.len();
        form::heavy(&name, bytes)
    });
    none(heavy.collect());
}
