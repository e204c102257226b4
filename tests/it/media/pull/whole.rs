//! A pull is whole or is not there, whatever happens; originals are left alone.

use super::{Existing, Folder, Made, Original, Pull, PullError, chunk, make, of, pull, pulled};
use sayback::core::Cancel;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;

/// Names in a folder, sorted.
fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn original(folder: &Folder) -> std::path::PathBuf {
    folder.file("REC01.WAV", &make::plain(1, 48_000, &make::samples(48_000)))
}

#[test]
fn errors_name_the_file_and_what_is_wrong() {
    let folder = Folder::new();
    let original = original(&folder);
    let bytes = std::fs::metadata(&original).unwrap().len();
    let known = |bytes: Option<u64>, hash: Option<&str>| Pull {
        original: Original {
            path: original.clone(),
            bytes,
            hash: hash.map(str::to_owned),
        },
        ..of(&original, 10, 20)
    };
    let cases: [(Pull, &str); 8] = [
        (of(&folder.path("REC02.WAV"), 0, 1), "is offline"),
        (of(&folder.path("REC01.WAV/x"), 0, 1), "is offline"),
        (of(&original, 20, 20), "there is nothing"),
        (of(&original, 20, 10), "there is nothing"),
        (of(&original, 47_999, 48_001), "it has 48000"),
        (
            known(Some(bytes + 1), None),
            "has changed since it was added (it had 96045 bytes",
        ),
        (
            known(Some(bytes), Some(&"0".repeat(64))),
            "has changed since",
        ),
        (
            Pull {
                channel: Some(2),
                ..of(&original, 0, 9)
            },
            "no channel 2",
        ),
    ];
    for (wish, want) in cases {
        let error = pulled(&wish, &folder.path("pull.wav")).unwrap_err();
        let said = error.to_string();
        assert!(said.contains(want) && said.contains("REC0"), "{said}");
        assert!(error.is_of_the_original(), "{said}");
    }
    assert_eq!(names(original.parent().unwrap()), ["REC01.WAV"]);
    let hash = sayback::media::content_hash(&original, &Cancel::new(), &mut |_| {}).unwrap();
    pulled(&known(Some(bytes), Some(&hash)), &folder.path("pull.wav")).unwrap();
}

#[test]
fn nothing_is_written_over_unless_told_and_never_an_original() {
    let folder = Folder::new();
    let original = original(&folder);
    let before = std::fs::read(&original).unwrap();
    let taken = folder.file("pull.wav", b"somebody's");
    let wish = of(&original, 10, 20);
    let error = pulled(&wish, &taken).unwrap_err();
    assert!(matches!(error, PullError::Exists { .. }), "{error}");
    assert_eq!(std::fs::read(&taken).unwrap(), b"somebody's");

    let replace = |target: &Path| {
        pull(
            &wish,
            target,
            Existing::Replace,
            &Cancel::new(),
            &mut |_| {},
        )
    };
    replace(&taken).unwrap();
    assert_eq!(chunk(&taken, "data"), before[44 + 20..44 + 40]);

    let link = folder.path("link.wav");
    std::os::unix::fs::symlink(&original, &link).unwrap();
    let roundabout = original
        .parent()
        .unwrap()
        .join("../")
        .join(original.parent().unwrap().file_name().unwrap());
    for target in [original.clone(), link, roundabout.join("REC01.WAV")] {
        let error = replace(&target).unwrap_err();
        assert!(matches!(error, PullError::Original { .. }), "{error}");
    }
    assert_eq!(std::fs::read(&original).unwrap(), before);
}

#[test]
fn a_pull_that_is_stopped_or_fails_leaves_nothing() {
    let folder = Folder::new();
    let long = folder.file("LONG.WAV", &make::plain(2, 48_000, &make::samples(600_000)));
    let target = folder.path("pull.wav");
    let cancel = Cancel::new();
    let mut seen = 0.0;
    let mut stop_half_way = |done: f32| {
        assert!(done >= seen && done <= 1.0, "{done} after {seen}");
        seen = done;
        if done > 0.5 {
            cancel.cancel();
        }
    };
    let wish = of(&long, 0, 300_000);
    let error = pull(&wish, &target, Existing::Keep, &cancel, &mut stop_half_way).unwrap_err();
    assert!(matches!(error, PullError::Cancelled { .. }), "{error}");
    assert!(seen < 0.6, "{seen}");
    assert_eq!(names(long.parent().unwrap()), ["LONG.WAV"]);

    // The recorder goes on writing while it is read.
    let mut grow = |done: f32| {
        if done > 0.5 {
            let mut file = std::fs::OpenOptions::new()
                .append(true)
                .open(&long)
                .unwrap();
            file.write_all(b"more").unwrap();
        }
    };
    let error = pull(&wish, &target, Existing::Keep, &Cancel::new(), &mut grow).unwrap_err();
    assert!(matches!(error, PullError::Changed { .. }), "{error}");
    // Its end is torn off.
    let mut tear = |_: f32| {
        let file = std::fs::OpenOptions::new().write(true).open(&long).unwrap();
        file.set_len(200_000).unwrap();
    };
    let error = pull(&wish, &target, Existing::Keep, &Cancel::new(), &mut tear).unwrap_err();
    assert!(
        error.to_string().contains("ends before the last sample"),
        "{error}"
    );
    assert_eq!(names(long.parent().unwrap()), ["LONG.WAV"]);
    // No such folder.
    let error = pulled(&of(&long, 0, 9), &folder.path("none/pull.wav")).unwrap_err();
    assert!(matches!(error, PullError::Write { .. }), "{error}");
}

/// Names the original to the child process that does the measured part.
const LONG_FILE: &str = "SAYBACK_TEST_LONG_PULL";

#[test]
fn memory_does_not_grow_with_the_pull() {
    if let Some(path) = std::env::var_os(LONG_FILE) {
        return pull_much(Path::new(&path));
    }
    let folder = Folder::new();
    let path = folder.path("long.wav");
    let head = make::riff(
        b"RF64",
        &[
            make::chunk(b"fmt ", &make::fmt(3, 2, 48_000, 32)),
            [&b"data"[..], &[0xFF; 4]].concat(),
        ],
    );
    let mut file = std::fs::File::create(&path).unwrap();
    file.write_all(&head).unwrap();
    // 5 GiB of holes, and eight bytes at their end.
    file.seek(SeekFrom::Start(head.len() as u64 + (5 << 30) - 8))
        .unwrap();
    file.write_all(&[1, 2, 3, 4, 5, 6, 7, 8]).unwrap();
    drop(file);
    let child = std::process::Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "--nocapture"])
        .arg("media::pull::whole::memory_does_not_grow_with_the_pull")
        .env(LONG_FILE, &path)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&child.stdout);
    assert!(
        child.status.success() && said.contains("1 passed"),
        "{said}{}",
        String::from_utf8_lossy(&child.stderr)
    );
}

/// In a process of its own: 96 MiB from the end of the file.
fn pull_much(path: &Path) {
    let target = path.with_file_name("pull.wav");
    let frames = (5_u64 << 30) / 8;
    pulled(&of(path, 0, 48_000), &path.with_file_name("short.wav")).unwrap();
    let before = super::super::pcm::memory_peak_kib();
    let done = pulled(&of(path, frames - (96 << 20) / 8, frames), &target).unwrap();
    let grown = super::super::pcm::memory_peak_kib() - before;
    assert_eq!((done.made, done.frames), (Made::Copied, (96 << 20) / 8));
    let bytes = std::fs::read(&target).unwrap();
    assert_eq!(bytes[bytes.len() - 8..], [1, 2, 3, 4, 5, 6, 7, 8]);
    assert!(grown < 1024, "{grown} KiB for 96 MiB");
}
