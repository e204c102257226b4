//! A folder to hand over: whole or not there, and every file as its manifest
//! says.

use super::oracles::sha256_of;
use super::{Folder, Original, Pull, PullError, chunk, make, of};
use sayback::core::Cancel;
use sayback::media::pull::{self, Manifest};
use std::path::{Path, PathBuf};

fn original(folder: &Folder, name: &str) -> PathBuf {
    folder.file(name, &make::plain(1, 48_000, &make::samples(48_000)))
}

fn written(
    target: &Path,
    pulls: &[(String, Pull)],
    texts: &[(String, Vec<u8>)],
) -> Result<Manifest, PullError> {
    filled(target, pulls, texts, &Cancel::new(), &mut |_| {})
}

/// Fills a folder; `progress` gets 0.0 to 1.0 over all pulls.
fn filled(
    target: &Path,
    pulls: &[(String, Pull)],
    texts: &[(String, Vec<u8>)],
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Result<Manifest, PullError> {
    let mut folder = pull::Folder::start(target)?;
    for (n, (name, wish)) in pulls.iter().enumerate() {
        let mut part = |done: f32| progress((n as f32 + done) / pulls.len() as f32);
        folder.pull(name, wish, cancel, &mut part)?;
    }
    for (name, bytes) in texts {
        folder.text(name, bytes)?;
    }
    folder.finish()
}

/// Every file under a folder, by its path in it.
fn files(folder: &Path, inside: &str, found: &mut Vec<String>) {
    for entry in std::fs::read_dir(folder.join(inside)).unwrap() {
        let entry = entry.unwrap();
        let path = format!("{inside}{}", entry.file_name().into_string().unwrap());
        match entry.file_type().unwrap().is_dir() {
            true => files(folder, &format!("{path}/"), found),
            false => found.push(path),
        }
    }
    found.sort();
}

#[test]
fn what_can_be_pulled_is_written_and_the_manifest_is_true() {
    let folder = Folder::new();
    let (one, two) = (
        original(&folder, "REC01.WAV"),
        original(&folder, "REC02.WAV"),
    );
    let hash = sayback::media::content_hash(&one, &Cancel::new(), &mut |_| {}).unwrap();
    let known = Pull {
        original: Original {
            path: one.clone(),
            bytes: Some(96_044),
            hash: Some(hash.clone()),
        },
        before: 5,
        ..of(&one, 100, 200)
    };
    let changed = Pull {
        original: Original {
            path: two.clone(),
            bytes: Some(96_045),
            hash: None,
        },
        ..of(&two, 0, 9)
    };
    let pulls: Vec<(String, Pull)> = [
        ("001 I do", known),
        ("001 I DO", of(&two, 0, 48_000)),
        ("002 gone", of(&folder.path("REC03.WAV"), 0, 9)),
        ("../../003 στη γέφυρα", of(&one, 7, 8)),
        ("004 changed", changed),
        ("005 too far", of(&one, 48_000, 48_001)),
    ]
    .map(|(name, wish)| (name.to_owned(), wish))
    .into();
    let texts: Vec<(String, Vec<u8>)> = [
        ("cut.otio", "{}"),
        ("cut.otio", "{ }"),
        ("manifest.json", "not ours"),
        ("audio", "neither"),
        ("../.hidden", ""),
    ]
    .map(|(name, text)| (name.to_owned(), text.into()))
    .into();
    let target = folder.path("hand over");
    let manifest = written(&target, &pulls, &texts).unwrap();

    let json: serde_json::Value =
        serde_json::from_slice(&std::fs::read(target.join("manifest.json")).unwrap()).unwrap();
    assert_eq!(json, serde_json::to_value(&manifest).unwrap());
    let mut listed = vec!["manifest.json".to_owned()];
    for entry in [&json["pulls"], &json["texts"]]
        .into_iter()
        .flat_map(|list| list.as_array().unwrap())
    {
        let path = entry["path"].as_str().unwrap();
        let file = target.join(path);
        assert_eq!(entry["sha256"], sha256_of(&file), "{path}");
        assert_eq!(
            entry["bytes"],
            std::fs::metadata(&file).unwrap().len(),
            "{path}"
        );
        listed.push(path.to_owned());
    }
    listed.sort();
    let mut there = Vec::new();
    files(&target, "", &mut there);
    assert_eq!(there, listed);
    assert_eq!(
        there,
        [
            "audio.txt",
            "audio/001 I DO-2.wav",
            "audio/001 I do.wav",
            "audio/003 στη γέφυρα.wav",
            "cut-2.otio",
            "cut.otio",
            "hidden.txt",
            "manifest-2.json",
            "manifest.json",
        ]
    );
    let sound = std::fs::read(&one).unwrap();
    assert_eq!(
        chunk(&target.join("audio/001 I do.wav"), "data"),
        sound[44 + 190..44 + 400]
    );
    assert_eq!(json["pulls"][0]["first"], 95);
    assert_eq!(json["pulls"][0]["original"], "REC01.WAV");
    assert_eq!(json["pulls"][0]["original_blake3"], hash);

    let missing: Vec<(&str, &str)> = manifest
        .missing
        .iter()
        .map(|missing| (missing.name.as_str(), missing.reason.as_str()))
        .collect();
    let wants = [
        ("002 gone", "offline"),
        ("004 changed", "96045"),
        ("005 too far", "it has 48000"),
    ];
    assert_eq!(missing.len(), wants.len());
    for ((name, reason), (want, why)) in missing.iter().zip(wants) {
        assert!(*name == want && reason.contains(why), "{name}: {reason}");
    }
}

#[test]
fn a_folder_is_there_at_once_or_not_at_all() {
    let folder = Folder::new();
    let one = original(&folder, "REC01.WAV");
    let around = one.parent().unwrap().to_owned();
    let alone = || {
        let mut there = Vec::new();
        files(&around, "", &mut there);
        there
    };
    let target = folder.path("hand over");
    let pulls = vec![
        ("a".to_owned(), of(&one, 0, 48_000)),
        ("b".to_owned(), of(&one, 0, 9)),
    ];
    // While it is written nothing has its name.
    let mut looked = 0;
    let mut seen = 0.0;
    let mut look = |done: f32| {
        assert!(!target.exists() && done >= seen && done <= 1.0, "{done}");
        seen = done;
        looked += 1;
    };
    filled(&target, &pulls, &[], &Cancel::new(), &mut look).unwrap();
    assert!(looked > 3 && seen > 0.99, "{looked} {seen}");
    let full = alone();
    assert_eq!(full.len(), 4, "{full:?}");

    let error = written(&target, &pulls, &[]).unwrap_err();
    assert!(matches!(error, PullError::Exists { .. }), "{error}");
    assert_eq!(alone(), full);
    // Stopped between its pulls.
    let cancel = Cancel::new();
    let mut stop = |_: f32| cancel.cancel();
    let error = filled(&folder.path("other"), &pulls, &[], &cancel, &mut stop).unwrap_err();
    assert!(matches!(error, PullError::Cancelled { .. }), "{error}");
    // Somebody takes the name while it is written.
    let late = folder.path("late");
    let mut take = |_: f32| {
        let _ = std::fs::create_dir(&late);
    };
    let error = filled(&late, &pulls, &[], &Cancel::new(), &mut take).unwrap_err();
    assert!(matches!(error, PullError::Exists { .. }), "{error}");
    assert_eq!(std::fs::read_dir(&late).unwrap().count(), 0);
    std::fs::remove_dir(&late).unwrap();
    assert_eq!(alone(), full);
    assert_eq!(
        std::fs::read_dir(&around).unwrap().count(),
        2,
        "nothing half-done"
    );
}

#[test]
fn two_thousand_quotes_of_one_name_are_two_thousand_files() {
    let folder = Folder::new();
    let long = folder.file(
        "LONG.WAV",
        &make::plain(2, 48_000, &make::samples(4_000_000)),
    );
    let hash = sayback::media::content_hash(&long, &Cancel::new(), &mut |_| {}).unwrap();
    let pulls: Vec<(String, Pull)> = (0..2_000)
        .map(|n| {
            let mut wish = of(&long, n * 900, n * 900 + 100);
            wish.original.hash = Some(hash.clone());
            ("the same name".to_owned(), wish)
        })
        .collect();
    let target = folder.path("hand over");
    let started = std::time::Instant::now();
    let manifest = written(&target, &pulls, &[]).unwrap();
    println!("2,000 quotes: {:?}", started.elapsed());
    assert_eq!((manifest.pulls.len(), manifest.missing.len()), (2_000, 0));
    assert_eq!(manifest.pulls[1_999].path, "audio/the same name-2000.wav");
    let sound = std::fs::read(&long).unwrap();
    for n in [0_usize, 1, 999, 1_999] {
        let data = chunk(&target.join(&manifest.pulls[n].path), "data");
        assert_eq!(data, sound[44 + n * 3_600..44 + n * 3_600 + 400], "{n}");
    }
}
