//! A stretch to play: the right samples, the right length, nothing changed.

use super::{Folder, make};
use sayback::core::units::FileMs;
use sayback::media::{ChannelPick, MediaError, Slice};
use std::io::Read as _;

fn bytes(mut slice: Slice) -> Vec<u8> {
    let mut bytes = Vec::new();
    slice.read_to_end(&mut bytes).unwrap();
    assert_eq!(bytes.len() as u64, slice.byte_len());
    bytes
}

#[test]
fn a_slice_is_a_wav_file_of_exactly_that_stretch() {
    let folder = Folder::new();
    let samples = make::samples(2 * 48_000);
    let path = folder.file("a.wav", &make::plain(2, 48_000, &samples));
    let slice = bytes(Slice::open(&path, None, FileMs(250), FileMs(750)).unwrap());
    let mut read = hound::WavReader::new(&slice[..]).unwrap();
    assert_eq!(read.spec().channels, 2);
    assert_eq!(read.spec().sample_rate, 48_000);
    let got: Vec<i16> = read.samples().map(Result::unwrap).collect();
    assert_eq!(got, samples[2 * 12_000..2 * 36_000]);

    let right =
        bytes(Slice::open(&path, Some(ChannelPick::Only(2)), FileMs(0), FileMs(10)).unwrap());
    let want: Vec<i16> = samples.chunks(2).take(480).map(|frame| frame[1]).collect();
    assert_eq!(right[44..], make::bytes_of(&want));
}

#[test]
fn a_slice_is_cut_to_the_file_and_never_amplified() {
    let folder = Folder::new();
    let path = folder.file(
        "a.wav",
        &make::float(1, 8_000, &[0.25, 4.0, -4.0, 0.0].repeat(2_000)),
    );
    let all = bytes(Slice::open(&path, None, FileMs(-5), FileMs(i64::MAX)).unwrap());
    assert_eq!(all.len(), 44 + 2 * 8_000);
    // 32-bit float above full scale is clamped, what is below is left alone.
    assert_eq!(all[44..52], make::bytes_of(&[8_192, i16::MAX, i16::MIN, 0]));
    for (start, end) in [(2_000, 3_000), (700, 700), (700, 300)] {
        assert_eq!(
            bytes(Slice::open(&path, None, FileMs(start), FileMs(end)).unwrap()).len(),
            44
        );
    }
    let error = Slice::open(&path, Some(ChannelPick::Only(2)), FileMs(0), FileMs(1))
        .err()
        .unwrap();
    assert!(
        matches!(
            error,
            MediaError::NoSuchChannel {
                channel: 2,
                channels: 1,
                ..
            }
        ),
        "{error}"
    );
}
