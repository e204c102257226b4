//! What a kill at any instant leaves, and who may write.

use std::fs::{self, File};
use std::io::Write;
use std::path::Path;

use super::kept::{Kept, Record, Stop};
use super::*;

fn record(length: u64) -> Record {
    Record {
        event: EventId::from("e"),
        source: "Lectern".into(),
        placement: Some(Placement::Stand),
        person: None,
        channels: "auto".into(),
        file_name: "a.wav".into(),
        length,
        said: "filename YS53YXY=".into(),
        unchecked_from: None,
        taken_in: false,
    }
}

fn begun(folder: &Path, length: u64) -> Kept {
    let kept = Kept::new(folder.join("sending"));
    kept.begin("u", &record(length)).expect("it is begun");
    kept
}

fn pour(kept: &Kept, offset: u64, checked: bool, bytes: &[u8]) -> Result<kept::Writing, Stop> {
    let mut writing = kept.lock("u")?;
    writing.begin(offset, checked)?;
    writing.handle()?.write_all(bytes)?;
    Ok(writing)
}

#[test]
fn what_was_written_before_a_kill_counts() {
    let dir = tempfile::tempdir().expect("a folder");
    let kept = begun(dir.path(), 10);
    drop(pour(&kept, 0, false, b"one").expect("it is written"));
    let state = kept.look("u").expect("it is there");
    assert_eq!((state.offset, state.is_ripe), (3, false));
    let mut writing = pour(&kept, 3, false, b" more!!").expect("it goes on");
    assert!(writing.keep().expect("it is kept").is_ripe);
    assert_eq!(fs::read(kept.part("u")).expect("bytes"), b"one more!!");
}

#[test]
fn what_a_checksum_was_promised_for_counts_only_once_it_is_met() {
    let dir = tempfile::tempdir().expect("a folder");
    let kept = begun(dir.path(), 10);
    drop(pour(&kept, 0, false, b"one").expect("it is written"));
    // Killed: neither kept nor undone.
    drop(pour(&kept, 3, true, b"xyz").expect("it is written"));
    assert_eq!(kept.look("u").expect("it is there").offset, 3);
    assert_eq!(fs::read(kept.part("u")).expect("bytes"), b"one");
    let mut writing = pour(&kept, 3, true, b"two").expect("it goes on");
    assert_eq!(writing.keep().expect("it is kept").offset, 6);
    drop(writing);
    let mut writing = pour(&kept, 6, true, b"xyz").expect("it goes on");
    writing.undo().expect("it never was");
    drop(writing);
    assert_eq!(fs::read(kept.part("u")).expect("bytes"), b"onetwo");
    assert_eq!(kept.record("u").expect("a record").unchecked_from, None);
}

#[test]
fn one_writes_at_a_time_and_where_it_is() {
    let dir = tempfile::tempdir().expect("a folder");
    let kept = begun(dir.path(), 10);
    let writing = pour(&kept, 0, true, b"one").expect("it is written");
    assert!(matches!(kept.lock("u"), Err(Stop::Busy)));
    // Looking does not wait, and promises only what is sure.
    assert_eq!(kept.look("u").expect("it is there").offset, 0);
    drop(writing);
    assert!(matches!(pour(&kept, 4, false, b""), Err(Stop::Offset(0))));
    assert!(matches!(kept.lock("v"), Err(Stop::Gone)));
}

#[test]
fn a_file_that_was_moved_is_still_to_be_taken_in() {
    let dir = tempfile::tempdir().expect("a folder");
    let kept = begun(dir.path(), 3);
    drop(pour(&kept, 0, false, b"one").expect("it is written"));
    fs::rename(kept.part("u"), dir.path().join("moved")).expect("it moves");
    let state = kept.look("u").expect("it is known");
    assert_eq!((state.offset, state.is_ripe), (3, true));
    assert!(matches!(kept.lock("u"), Err(Stop::Gone)));
    let done = Record {
        taken_in: true,
        ..record(3)
    };
    kept.write("u", &done).expect("it is written");
    let state = kept.look("u").expect("it is known");
    assert_eq!((state.offset, state.is_ripe), (3, false));
}

#[test]
fn what_nobody_goes_on_with_ends() {
    let dir = tempfile::tempdir().expect("a folder");
    let kept = begun(dir.path(), 10);
    let long_ago = SystemTime::now() - KEPT_FOR - Duration::from_secs(60);
    let part = File::options()
        .write(true)
        .open(kept.part("u"))
        .expect("bytes");
    part.set_modified(long_ago).expect("it is older");
    assert!(matches!(kept.look("u"), Err(Stop::Expired)));
    let writing = kept.lock("u").expect("it is there");
    assert!(matches!(writing.state(), Err(Stop::Expired)));
    drop(writing);
    // Bytes without a record are nobody's once they are old.
    let stray = dir.path().join("sending/v.part");
    fs::write(&stray, b"x").expect("a file");
    kept.remove_strays(STRAY_FOR);
    assert!(stray.exists());
    let file = File::options().write(true).open(&stray).expect("bytes");
    file.set_modified(long_ago).expect("it is older");
    kept.remove_strays(STRAY_FOR);
    assert!(!stray.exists() && kept.part("u").exists());
    kept.remove("u").expect("it goes");
    assert_eq!(kept.ids(), [""; 0]);
    assert!(matches!(kept.look("u"), Err(Stop::Gone)));
}

#[test]
fn an_id_can_not_lead_elsewhere() {
    for bad in ["", "..", "../x", "a/b", "a.b", "ä", &"x".repeat(65)] {
        assert!(matches!(plain(bad), Err(SendingError::Gone)), "{bad}");
    }
    assert!(plain(&IntakeId::fresh().0).is_ok());
}
