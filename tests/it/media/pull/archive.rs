//! A folder as one stream, read by Python's `zipfile`.

use std::io::{self, Seek, SeekFrom, Write};
use std::path::Path;
use std::process::Command;

use sayback::media::pull::{Archive, Shelf};
use serde_json::Value;
use xtask::oracle;

use super::Folder;

/// What `zipfile` says of a file, or why it refuses it.
fn read(path: &Path, script: &str) -> Result<Value, String> {
    let script = format!("import json, sys, zipfile\nz = zipfile.ZipFile(sys.argv[1])\n{script}");
    let python = Command::new(oracle::python())
        .args(["-c", &script])
        .arg(path)
        .output();
    let python = python.expect("Python starts");
    match python.status.success() {
        true => Ok(serde_json::from_slice(&python.stdout).expect("JSON")),
        false => Err(String::from_utf8_lossy(&python.stderr).into_owned()),
    }
}

/// Bytes that come at once where they are nothing but zeros.
const EMPTY: usize = 8 << 20;

/// A file whose empty blocks take no room on the disk.
struct Sparse(std::fs::File);

impl Write for Sparse {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if bytes.len() == EMPTY {
            self.0.seek(SeekFrom::Current(bytes.len() as i64))?;
            return Ok(bytes.len());
        }
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// A file above 4 GiB, and one that begins behind that.
#[test]
fn above_four_gib_it_is_read_all_the_same() {
    let folder = Folder::new();
    let path = folder.path("large.zip");
    let mut archive = Box::new(Archive::new(
        "film",
        Sparse(std::fs::File::create(&path).unwrap()),
    ));
    let block = vec![0; EMPTY];
    let large = (4_u64 << 30) + EMPTY as u64;
    archive.begin("audio/large.wav", large).unwrap();
    for _ in 0..large / block.len() as u64 {
        archive.write(&block).unwrap();
    }
    archive.end().unwrap();
    archive.begin("behind.txt", 5).unwrap();
    archive.write(b"words").unwrap();
    archive.end().unwrap();
    archive.finish().unwrap();
    let script = "print(json.dumps([[i.filename, i.file_size, i.header_offset] for i in \
        z.infolist()] + [z.read('film/behind.txt').decode()]))";
    let found = read(&path, script).unwrap();
    assert_eq!(
        found[0],
        serde_json::json!(["film/audio/large.wav", large, 0])
    );
    assert_eq!(
        (&found[1][0], &found[1][1]),
        (&"film/behind.txt".into(), &5.into())
    );
    assert!(found[1][2].as_u64() > Some(large));
    assert_eq!(found[2], "words");
}

/// One that was given up is no archive, so that nobody takes it for whole.
#[test]
fn half_an_archive_is_none() {
    let folder = Folder::new();
    for whole in [true, false] {
        let path = folder.path("half.zip");
        // What waits in a buffer belongs to it too.
        let file = io::BufWriter::new(std::fs::File::create(&path).unwrap());
        let mut archive = Box::new(Archive::new("film", file));
        for name in ["one.txt", "two.txt"] {
            archive.begin(name, 5).unwrap();
            archive.write(b"words").unwrap();
            archive.end().unwrap();
        }
        match whole {
            true => archive.finish().unwrap(),
            false => drop(archive),
        }
        let found = read(&path, "print(json.dumps(z.testzip()))");
        assert_eq!(found.is_ok(), whole, "{found:?}");
    }
}
