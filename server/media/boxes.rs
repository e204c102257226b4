//! What do the boxes of an MP4 or MOV file say that the decoding library does
//! not pass on?
//!
//! A bounded walk over ISO base media boxes (ISO/IEC 14496-12): creation time,
//! edit lists (where the sound really starts), which tracks carry sound and in
//! which codec. Reads a few hundred bytes a track, never a sample table.

use std::io::{self, Read, Seek, SeekFrom};

/// Most boxes looked at in one file.
const BOX_LIMIT: usize = 20_000;
/// Most edits of a track looked at.
const EDIT_LIMIT: u32 = 64;
/// Levels below `trak` that are gone down: `mdia`, `minf`, `stbl`.
const DEPTH_LIMIT: u8 = 3;
/// Bytes of a sample entry looked at; those that matter have about 100.
const ENTRY_BYTES: u64 = 512;
/// Seconds from 1904-01-01 (the epoch of `mvhd`) to 1970-01-01.
const EPOCH_1904_S: i64 = 2_082_844_800;

/// One track of a movie.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BoxTrack {
    /// Where the `trak` box's type field lies in the file.
    pub type_at: u64,
    /// The track's number.
    pub id: u32,
    /// Handler: `soun`, `vide` and so on.
    pub handler: [u8; 4],
    /// First sample entry: `mp4a`, `sowt` and so on.
    pub entry: [u8; 4],
    /// An `enda` box says that QuickTime's samples are little-endian.
    pub little_endian: bool,
    /// Ticks a second of the track's media.
    pub timescale: u32,
    /// Edits: duration in movie ticks, start in media ticks (-1: nothing).
    pub edits: Vec<(u64, i64)>,
}

/// A movie's boxes, as far as they matter here.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Movie {
    /// Major brand of `ftyp`.
    pub brand: [u8; 4],
    /// There is a `moov` box, without which nothing in it can be found.
    pub indexed: bool,
    /// Creation time in seconds since 1970, if it is after that.
    pub created_s: Option<i64>,
    /// Ticks a second of the edit lists' durations.
    pub timescale: u32,
    /// It continues in `moof` boxes.
    pub fragmented: bool,
    /// All tracks.
    pub tracks: Vec<BoxTrack>,
}

impl BoxTrack {
    /// Whether it carries sound.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        &self.handler == b"soun"
    }
}

/// Reads the movie header of a file that starts with an `ftyp`, `moov`,
/// `wide` or `mdat` box; nothing if it does not, or if it has neither `ftyp`
/// nor `moov`.
///
/// # Errors
/// What the reader says.
pub fn read_movie(reader: &mut (impl Read + Seek), file_len: u64) -> io::Result<Option<Movie>> {
    let mut walk = Walk {
        reader,
        budget: BOX_LIMIT,
    };
    let mut movie = Movie::default();
    let mut found = false;
    let mut at = 0;
    while let Some(item) = walk.item(at, file_len)? {
        match &item.kind {
            b"ftyp" => {
                movie.brand = walk
                    .bytes(item.body, 4, item.end)?
                    .try_into()
                    .unwrap_or_default()
            }
            b"moov" => {
                walk.movie(&item, &mut movie)?;
                found = true;
            }
            b"moof" => movie.fragmented = true,
            _ if at == 0 && !matches!(&item.kind, b"wide" | b"mdat" | b"free" | b"skip") => {
                return Ok(None);
            }
            _ => {}
        }
        if found && &item.kind != b"moov" {
            break;
        }
        at = item.end;
    }
    movie.indexed = found;
    Ok((found || movie.brand != [0; 4]).then_some(movie))
}

struct Item {
    kind: [u8; 4],
    start: u64,
    body: u64,
    end: u64,
}

struct Walk<'r, R> {
    reader: &'r mut R,
    budget: usize,
}

impl<R: Read + Seek> Walk<'_, R> {
    /// The box at `at`, if one fits before `limit`; its end is cut to `limit`.
    fn item(&mut self, at: u64, limit: u64) -> io::Result<Option<Item>> {
        if self.budget == 0 || at.saturating_add(8) > limit {
            return Ok(None);
        }
        self.budget -= 1;
        let head = self.bytes(at, 16, limit)?;
        if head.len() < 8 {
            return Ok(None);
        }
        let kind = [head[4], head[5], head[6], head[7]];
        let (header, len) = match be32(&head, 0) {
            0 => (8, limit - at),
            1 if head.len() == 16 => (16, be64(&head, 8)),
            short => (8, u64::from(short)),
        };
        if len < header {
            return Ok(None);
        }
        let end = at.saturating_add(len).min(limit);
        Ok(Some(Item {
            kind,
            start: at,
            body: (at + header).min(end),
            end,
        }))
    }

    /// At most `len` bytes at `at`, none of them past `limit`.
    fn bytes(&mut self, at: u64, len: u64, limit: u64) -> io::Result<Vec<u8>> {
        let len = len.min(limit.saturating_sub(at));
        self.reader.seek(SeekFrom::Start(at))?;
        let mut bytes = Vec::new();
        self.reader.by_ref().take(len).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn movie(&mut self, parent: &Item, movie: &mut Movie) -> io::Result<()> {
        let mut at = parent.body;
        while let Some(item) = self.item(at, parent.end)? {
            match &item.kind {
                b"mvhd" => {
                    let bytes = self.bytes(item.body, 32, item.end)?;
                    let (created, timescale) = times(&bytes);
                    movie.timescale = timescale;
                    movie.created_s = created.filter(|s| *s > 0);
                }
                b"mvex" => movie.fragmented = true,
                b"trak" => {
                    let mut track = BoxTrack {
                        type_at: item.start + 4,
                        ..BoxTrack::default()
                    };
                    self.track(&item, &mut track, 0)?;
                    movie.tracks.push(track);
                }
                _ => {}
            }
            at = item.end;
        }
        Ok(())
    }

    /// Goes down the boxes of one track, as deep as what matters can lie.
    fn track(&mut self, parent: &Item, track: &mut BoxTrack, depth: u8) -> io::Result<()> {
        let mut at = parent.body;
        while let Some(item) = self.item(at, parent.end)? {
            match &item.kind {
                b"edts" | b"mdia" | b"minf" | b"stbl" if depth < DEPTH_LIMIT => {
                    self.track(&item, track, depth + 1)?;
                }
                b"tkhd" => {
                    let bytes = self.bytes(item.body, 24, item.end)?;
                    let at = if bytes.first() == Some(&1) { 20 } else { 12 };
                    track.id = bytes.get(at..at + 4).map_or(0, |id| be32(id, 0));
                }
                b"mdhd" => track.timescale = times(&self.bytes(item.body, 32, item.end)?).1,
                // The movie's handler comes first in `mdia`; a second one in
                // `minf` describes how data is reached.
                b"hdlr" if track.handler == [0; 4] => {
                    track.handler = self
                        .bytes(item.body + 8, 4, item.end)?
                        .try_into()
                        .unwrap_or_default();
                }
                b"stsd" => {
                    let bytes = self.bytes(item.body + 12, ENTRY_BYTES, item.end)?;
                    track.entry = bytes.first_chunk().copied().unwrap_or_default();
                    track.little_endian = bytes.windows(6).any(|six| six == b"enda\0\x01");
                }
                b"elst" => track.edits = self.edits(&item)?,
                _ => {}
            }
            at = item.end;
        }
        Ok(())
    }

    fn edits(&mut self, item: &Item) -> io::Result<Vec<(u64, i64)>> {
        let head = self.bytes(item.body, 8, item.end)?;
        if head.len() < 8 {
            return Ok(Vec::new());
        }
        let wide = head[0] == 1;
        let size = if wide { 20 } else { 12 };
        let count = be32(&head, 4).min(EDIT_LIMIT);
        let bytes = self.bytes(item.body + 8, u64::from(count) * size, item.end)?;
        let edit = |entry: &[u8]| {
            if wide {
                (be64(entry, 0), be64(entry, 8).cast_signed())
            } else {
                (
                    u64::from(be32(entry, 0)),
                    i64::from(be32(entry, 4).cast_signed()),
                )
            }
        };
        Ok(bytes.chunks_exact(size as usize).map(edit).collect())
    }
}

/// Creation time (since 1970) and timescale of an `mvhd` or `mdhd` body.
fn times(bytes: &[u8]) -> (Option<i64>, u32) {
    let (created, timescale_at) = match bytes.first() {
        Some(1) if bytes.len() >= 24 => (be64(bytes, 4), 20),
        Some(_) if bytes.len() >= 16 => (u64::from(be32(bytes, 4)), 12),
        _ => return (None, 0),
    };
    let created = i64::try_from(created)
        .ok()
        .and_then(|s| s.checked_sub(EPOCH_1904_S));
    (created, be32(bytes, timescale_at))
}

fn be32(bytes: &[u8], at: usize) -> u32 {
    u32::from_be_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}

fn be64(bytes: &[u8], at: usize) -> u64 {
    u64::from(be32(bytes, at)) << 32 | u64::from(be32(bytes, at + 4))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::io::Cursor;

    fn boxed(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let len = u32::try_from(body.len() + 8).unwrap();
        [&len.to_be_bytes()[..], kind, body].concat()
    }

    fn be(values: &[u32]) -> Vec<u8> {
        values
            .iter()
            .flat_map(|value| value.to_be_bytes())
            .collect()
    }

    /// A movie with one sound track, its `mvhd` in version 0.
    fn movie(created: u32) -> Vec<u8> {
        let edits = boxed(b"elst", &be(&[0, 1, 5_000, 1_024, 0x1_0000]));
        let entry = boxed(b"mp4a", &[0; 28]);
        let table = boxed(
            b"stbl",
            &boxed(b"stsd", &[&be(&[0, 1])[..], &entry].concat()),
        );
        let media = [
            boxed(b"mdhd", &be(&[0, 0, 0, 48_000, 240_000, 0])),
            boxed(b"hdlr", &[&be(&[0, 0])[..], b"soun", &[0; 12]].concat()),
            boxed(b"minf", &table),
        ];
        let track = [
            boxed(b"tkhd", &be(&[0, 0, 0, 7, 0, 240_000])),
            boxed(b"edts", &edits),
            boxed(b"mdia", &media.concat()),
        ];
        let header = boxed(b"mvhd", &be(&[0, created, 0, 1_000, 5_000]));
        let all = [header, boxed(b"trak", &track.concat())];
        [
            boxed(b"ftyp", b"mp42\0\0\0\0"),
            boxed(b"moov", &all.concat()),
        ]
        .concat()
    }

    #[test]
    fn a_track_tells_its_edit_its_codec_and_when() {
        // ISO/IEC 14496-12: seconds since 1904; 2,082,844,800 of them to 1970.
        let bytes = movie(2_082_844_800 + 60);
        let read = read_movie(&mut Cursor::new(&bytes), bytes.len() as u64)
            .unwrap()
            .unwrap();
        assert_eq!((read.created_s, read.timescale), (Some(60), 1_000));
        let [track] = &read.tracks[..] else {
            panic!("{read:?}")
        };
        assert_eq!(
            (track.id, track.timescale, &track.entry),
            (7, 48_000, b"mp4a")
        );
        assert_eq!(track.edits, [(5_000, 1_024)]);
        assert_eq!(&bytes[track.type_at as usize..][..4], b"trak");
        assert!(track.is_sound());
    }

    #[test]
    fn no_time_and_times_before_1970_are_no_stamp() {
        for created in [0, 1, 2_082_844_800] {
            let bytes = movie(created);
            let read = read_movie(&mut Cursor::new(&bytes), bytes.len() as u64)
                .unwrap()
                .unwrap();
            assert_eq!(read.created_s, None);
        }
    }

    #[test]
    fn boxes_nested_without_end_are_no_reason_to_stop_the_program() {
        // Each holds all that follow; as many as the limit on boxes lets through.
        let count = 19_000_u32;
        let mut inside = Vec::new();
        for left in (1..=count).rev() {
            inside.extend_from_slice(&(left * 8).to_be_bytes());
            inside.extend_from_slice(b"mdia");
        }
        let movie = boxed(b"moov", &boxed(b"trak", &inside));
        let bytes = [boxed(b"ftyp", b"mp42\0\0\0\0"), movie].concat();
        let read = read_movie(&mut Cursor::new(&bytes), bytes.len() as u64)
            .unwrap()
            .unwrap();
        assert_eq!(read.tracks.len(), 1);
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 20_000, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn spoiled_boxes_never_panic(
            changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
            cut in any::<prop::sample::Index>(),
        ) {
            let mut bytes = movie(0);
            for (place, value) in changes {
                let place = place.index(bytes.len());
                bytes[place] = value;
            }
            bytes.truncate(cut.index(bytes.len()) + 1);
            let read = read_movie(&mut Cursor::new(&bytes), bytes.len() as u64).unwrap();
            if let Some(movie) = read {
                prop_assert!(movie.tracks.len() <= bytes.len() / 8);
                for track in movie.tracks {
                    prop_assert!(track.type_at + 4 <= bytes.len() as u64);
                    prop_assert!(track.edits.len() <= EDIT_LIMIT as usize);
                }
            }
        }
    }

    #[test]
    fn every_cut_ends_without_a_panic() {
        let bytes = movie(0);
        for len in 0..bytes.len() {
            let read = read_movie(&mut Cursor::new(&bytes[..len]), len as u64).unwrap();
            assert_eq!(
                read.is_some_and(|movie| movie.indexed),
                len >= 24,
                "{len} bytes"
            );
        }
    }
}
