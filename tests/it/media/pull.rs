//! Pulls: the very bytes that were recorded, and what stands beside them.

mod archive;
mod folder;
mod oracles;
mod whole;

use super::{Folder, make};
use proptest::prelude::*;
use sayback::core::Cancel;
use sayback::media::pull::{Existing, Made, Original, Pull, PullError, Pulled, pull};
use std::path::Path;

/// Pulls to a new file; nobody stops it.
fn pulled(wish: &Pull, target: &Path) -> Result<Pulled, PullError> {
    pull(wish, target, Existing::Keep, &Cancel::new(), &mut |_| {})
}

/// A range of a file without handles or anything else.
fn of(path: &Path, from: u64, to: u64) -> Pull {
    Pull {
        original: Original {
            path: path.to_owned(),
            ..Original::default()
        },
        from,
        to,
        ..Pull::default()
    }
}

/// The chunks of a RIFF or RF64 file below 4 GiB, walked without our reader.
fn chunks(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let size = u32::from_le_bytes(bytes[4..8].try_into().unwrap());
    assert!(bytes.starts_with(b"RIFF") && size as usize == bytes.len() - 8);
    let (mut at, mut found) = (12, Vec::new());
    while at < bytes.len() {
        let len = u32::from_le_bytes(bytes[at + 4..at + 8].try_into().unwrap()) as usize;
        let id = String::from_utf8(bytes[at..at + 4].to_vec()).unwrap();
        found.push((id, bytes[at + 8..at + 8 + len].to_vec()));
        at += 8 + len + len % 2;
    }
    assert_eq!(at, bytes.len());
    found
}

/// The body of a chunk that is there once.
fn chunk(path: &Path, id: &str) -> Vec<u8> {
    let all = chunks(&std::fs::read(path).unwrap());
    let mut with_id = all.into_iter().filter(|(name, _)| name == id);
    let (_, body) = with_id.next().expect("the chunk is there");
    assert!(with_id.next().is_none(), "{id} comes once");
    body
}

/// An original of any form: its sample bytes are noise, so that none is like
/// another and some are no numbers.
#[derive(Clone, Debug)]
struct AnyWav {
    tag: u16,
    bits: u16,
    channels: u16,
    rate_hz: u32,
    frames: usize,
    extensible: bool,
    id: [u8; 4],
    sound_first: bool,
    seed: u32,
}

fn any_wav() -> impl Strategy<Value = AnyWav> {
    let format = prop_oneof![
        (
            Just(1_u16),
            prop::sample::select(vec![8_u16, 16, 20, 24, 32])
        ),
        (Just(3_u16), prop::sample::select(vec![32_u16, 64])),
    ];
    let rate = prop::sample::select(vec![8_000_u32, 44_100, 48_000, 192_000]);
    let id = prop::sample::select(vec![*b"RIFF", *b"RF64", *b"BW64"]);
    // Some longer than the blocks that are read at once.
    let frames = prop_oneof![1_usize..300, 8_000_usize..20_000];
    (
        format,
        1_u16..=8,
        rate,
        frames,
        any::<bool>(),
        id,
        any::<bool>(),
        any::<u32>(),
    )
        .prop_map(
            |((tag, bits), channels, rate_hz, frames, extensible, id, sound_first, seed)| AnyWav {
                tag,
                bits,
                channels,
                rate_hz,
                frames,
                // A format of 20 bits is written in the old way here.
                extensible: extensible && bits != 20,
                id,
                sound_first,
                seed,
            },
        )
}

impl AnyWav {
    fn sample_bytes(&self) -> usize {
        usize::from(self.bits.div_ceil(8))
    }

    fn sound(&self) -> Vec<u8> {
        let mut state = self.seed | 1;
        let len = self.frames * usize::from(self.channels) * self.sample_bytes();
        std::iter::repeat_with(|| {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            (state >> 11) as u8
        })
        .take(len)
        .collect()
    }

    fn file(&self, sound: &[u8]) -> Vec<u8> {
        let mut body = match self.extensible {
            true => make::extensible(self.tag, self.channels, self.rate_hz, self.bits),
            false => make::fmt(self.tag, self.channels, self.rate_hz, self.bits),
        };
        let align = self.channels * self.sample_bytes() as u16;
        body[12..14].copy_from_slice(&align.to_le_bytes());
        let format = make::chunk(b"fmt ", &body);
        let data = make::chunk(b"data", sound);
        let odd = make::chunk(b"LIST", b"odd");
        let chunks = match self.sound_first {
            true => vec![data, odd, format],
            false => vec![
                odd,
                make::bext("2026-06-20", "14:00:00", 2_419_200_000),
                format,
                data,
            ],
        };
        make::riff(&self.id, &chunks)
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 128, failure_persistence: None, ..ProptestConfig::default()
    })]

    #[test]
    fn any_pull_of_any_wav_is_the_bytes_of_the_original(
        wav in any_wav(), a in any::<prop::sample::Index>(), b in any::<prop::sample::Index>(),
        before in 0_u64..9_000, after in 0_u64..9_000, channel in 0_u16..=8,
    ) {
        let folder = Folder::new();
        let sound = wav.sound();
        let original = folder.file("original.wav", &wav.file(&sound));
        let frames = wav.frames as u64;
        let (a, b) = (a.index(wav.frames) as u64, b.index(wav.frames) as u64);
        let (from, to) = (a.min(b), a.max(b) + 1);
        let channel = (1..=wav.channels).contains(&channel).then_some(channel);
        let wish = Pull { before, after, channel, ..of(&original, from, to) };
        let target = folder.path("pull.wav");
        let done = pulled(&wish, &target).unwrap();

        let (first, end) = (from.saturating_sub(before), (to + after).min(frames));
        let stride = wav.sample_bytes() * usize::from(wav.channels);
        let taken = &sound[first as usize * stride..end as usize * stride];
        let want = match channel {
            None => taken.to_vec(),
            Some(n) => taken
                .chunks(stride)
                .flat_map(|frame| &frame[usize::from(n - 1) * wav.sample_bytes()..][..wav.sample_bytes()])
                .copied()
                .collect(),
        };
        prop_assert_eq!(chunk(&target, "data"), want);
        prop_assert_eq!((done.first, done.frames), (first, end - first));
        prop_assert_eq!((done.before, done.after), (from - first, end - to));
        prop_assert_eq!(&done.made, &Made::Copied);
        prop_assert_eq!(done.bytes, std::fs::metadata(&target).unwrap().len());
        let stamp = (!wav.sound_first).then_some(2_419_200_000 + first);
        prop_assert_eq!(done.time_reference, stamp);

        // The format is the original's, but for the number of channels.
        let format = chunk(&target, "fmt ");
        let number = |at: usize| u16::from_le_bytes([format[at], format[at + 1]]);
        let channels = if channel.is_some() { 1 } else { wav.channels };
        let longer = wav.extensible && channels == wav.channels;
        prop_assert_eq!(number(0), if longer { 0xFFFE } else { wav.tag });
        prop_assert_eq!((number(2), number(14)), (channels, wav.bits));
        prop_assert_eq!(format[4..8].to_vec(), wav.rate_hz.to_le_bytes());
        if longer {
            let body = make::extensible(wav.tag, wav.channels, wav.rate_hz, wav.bits);
            prop_assert_eq!(format, body);
        }
    }
}
