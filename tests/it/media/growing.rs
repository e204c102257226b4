//! A file that is still written to, or cut, while it is read.

use super::{Folder, make, read_on};
use sayback::media::{AnalysisStream, ChannelPick, Reader, content_hash};
use std::fs::OpenOptions;
use std::io::Write as _;

#[test]
fn a_file_that_grows_ends_where_it_ended_when_it_was_opened() {
    let folder = Folder::new();
    let samples = make::samples(200_000);
    let mut bytes = make::plain(1, 48_000, &samples);
    bytes[40..44].copy_from_slice(&0_u32.to_le_bytes()); // still recording
    let path = folder.file("a.wav", &bytes);
    let mut reader = Reader::open(&path).unwrap();
    OpenOptions::new()
        .append(true)
        .open(&path)
        .unwrap()
        .write_all(&[1; 100_000])
        .unwrap();
    assert_eq!(read_on(&mut reader).len(), 200_000);
    assert_eq!(Reader::open(&path).unwrap().info().frames, 250_000);
}

#[test]
fn a_file_that_is_cut_while_read_ends_or_says_why() {
    let folder = Folder::new();
    for (tag, bits) in [(1, 16), (3, 64)] {
        let body = vec![0; 800_000];
        let path = folder.file(
            "a.wav",
            &make::riff(
                b"RIFF",
                &[
                    make::chunk(b"fmt ", &make::fmt(tag, 1, 48_000, bits)),
                    make::chunk(b"data", &body),
                ],
            ),
        );
        let mut stream = AnalysisStream::open(&path, ChannelPick::Mix).unwrap();
        OpenOptions::new()
            .write(true)
            .open(&path)
            .unwrap()
            .set_len(400_000)
            .unwrap();
        let mut block = vec![0.0; 1_000_000];
        match stream.read(&mut block) {
            Ok(got) => assert!(got > 0 && got < 140_000, "{got}"),
            Err(error) => assert!(error.to_string().contains("a.wav"), "{error}"),
        }
    }
}

#[test]
fn a_hash_names_the_bytes_and_can_be_stopped() {
    let folder = Folder::new();
    let path = folder.file("a.bin", b"abc");
    let cancel = sayback::core::Cancel::new();
    let mut seen = 0.0;
    let hash = content_hash(&path, &cancel, &mut |done| seen = done).unwrap();
    // BLAKE3 of "abc", from the algorithm's published test vectors of b3sum.
    assert_eq!(
        hash,
        "6437b3ac38465133ffb63b75273a8db548c558465d79db03fd359c6cd5bd9d85"
    );
    assert_eq!(seen, 1.0);
    cancel.cancel();
    let error = content_hash(&path, &cancel, &mut |_| {}).unwrap_err();
    assert!(error.to_string().contains("stopped"), "{error}");
}
