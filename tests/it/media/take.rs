//! Pieces of one take, from files on disk.

use super::{Folder, make};
use sayback::media::joins::{Piece, takes};
use sayback::media::probe;

#[test]
fn pieces_with_running_stamps_are_one_take_whatever_they_are_called() {
    let folder = Folder::new();
    let start = 2_419_200_000_u64; // 14:00:00 at 48 kHz
    let piece = |name: &str, from: u64, frames: usize| {
        let path = folder.file(
            name,
            &make::riff(
                b"RIFF",
                &[
                    make::bext("2026-06-20", "14:00:00", start + from),
                    make::chunk(b"fmt ", &make::fmt(1, 1, 48_000, 16)),
                    make::chunk(b"data", &make::bytes_of(&make::samples(frames))),
                ],
            ),
        );
        let bytes = std::fs::metadata(&path).unwrap().len();
        Piece::new(name, bytes, &probe(&path).unwrap())
    };
    let pieces = [
        piece("z.wav", 0, 96_000),
        piece("late.wav", 300_000, 4_800),
        piece("a.wav", 96_000, 48_000),
    ];
    assert_eq!(takes(&pieces), [vec![0, 2], vec![1]]);
}
