//! How does a camera write a file?
//!
//! A QuickTime movie (QuickTime File Format Specification) with one track of
//! 16-bit little-endian PCM (`sowt`) and a creation time, without pictures:
//! `ftyp`, `mdat`, and `moov` at the end as a camera leaves it.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

use anyhow::{Context, Result, ensure};

use super::wav::{Layout, SampleFormat, Stamp};

/// A movie being written.
pub struct MovWriter {
    out: BufWriter<File>,
    bytes: Vec<u8>,
    missing: u64,
    created: u32,
}

/// Bytes before the sound: `ftyp` (20) and the head of a 64-bit `mdat` (16).
const SOUND_AT: u64 = 36;

impl MovWriter {
    /// Begins `path`; `stamp` becomes the creation time.
    ///
    /// # Errors
    /// When the file cannot be made, or the layout is not 16-bit.
    pub fn create(path: &Path, layout: &Layout, stamp: &Stamp) -> Result<Self> {
        ensure!(
            layout.format == SampleFormat::Int16,
            "a movie's sound is 16-bit here"
        );
        let file = File::create(path).with_context(|| format!("cannot make {}", path.display()))?;
        let mut out = BufWriter::with_capacity(1 << 16, file);
        let mut head = Vec::new();
        atom(&mut head, b"ftyp", b"qt  \0\0\x02\0qt  ");
        head.extend(1_u32.to_be_bytes()); // a 64-bit length follows
        head.extend(b"mdat");
        head.extend((layout.data_bytes() + 16).to_be_bytes());
        out.write_all(&head)
            .with_context(|| format!("cannot write {}", path.display()))?;
        let missing = layout.frames * u64::from(layout.channels);
        Ok(Self {
            out,
            bytes: Vec::new(),
            missing,
            created: seconds_since_1904(stamp)?,
        })
    }

    /// Writes interleaved samples.
    ///
    /// # Errors
    /// When the disk is full or fails, or more comes than was announced.
    pub fn write(&mut self, samples: &[f32]) -> Result<()> {
        let count = samples.len() as u64;
        self.missing = self
            .missing
            .checked_sub(count)
            .context("more frames than announced")?;
        self.bytes.clear();
        for &sample in samples {
            SampleFormat::Int16.put(sample, &mut self.bytes);
        }
        self.out
            .write_all(&self.bytes)
            .context("cannot write sound")
    }

    /// Appends the movie's description, flushes and closes.
    ///
    /// # Errors
    /// When fewer frames came than were announced, or the disk fails.
    pub fn finish(mut self, layout: &Layout) -> Result<()> {
        ensure!(
            self.missing == 0,
            "{} samples are missing at the end",
            self.missing
        );
        self.out.write_all(&movie(layout, self.created)?)?;
        self.out.flush().context("cannot write sound")
    }
}

fn atom(out: &mut Vec<u8>, name: &[u8; 4], content: &[u8]) {
    out.extend((content.len() as u32 + 8).to_be_bytes());
    out.extend(name);
    out.extend(content);
}

/// Big-endian numbers one after another: (value, bytes).
fn fields(numbers: &[(u64, usize)]) -> Vec<u8> {
    numbers
        .iter()
        .flat_map(|&(value, bytes)| value.to_be_bytes()[8 - bytes..].to_vec())
        .collect()
}

fn movie(layout: &Layout, created: u32) -> Result<Vec<u8>> {
    let created = u64::from(created);
    let rate = u64::from(layout.rate_hz);
    // The movie counts in ms, its track in samples.
    let length_ms = layout.frames * 1000 / rate;
    ensure!(
        layout.frames <= u64::from(u32::MAX),
        "a movie of more than 2^32 frames"
    );
    let matrix: Vec<(u64, usize)> = [0x1_0000, 0, 0, 0, 0x1_0000, 0, 0, 0, 0x4000_0000]
        .iter()
        .map(|&x| (x, 4))
        .collect();

    let mut mvhd = fields(&[
        (0, 4),
        (created, 4),
        (created, 4),
        (1000, 4),
        (length_ms, 4),
    ]);
    mvhd.extend(fields(&[(0x1_0000, 4), (0x100, 2), (0, 8), (0, 2)])); // speed, volume, reserved
    mvhd.extend(fields(&matrix));
    mvhd.extend(fields(&[(0, 8), (0, 8), (0, 8), (2, 4)])); // preview times, next track

    let mut tkhd = fields(&[
        (7, 4),
        (created, 4),
        (created, 4),
        (1, 4),
        (0, 4),
        (length_ms, 4),
    ]);
    tkhd.extend(fields(&[(0, 8), (0, 2), (0, 2), (0x100, 2), (0, 2)])); // layer, group, volume
    tkhd.extend(fields(&matrix));
    tkhd.extend(fields(&[(0, 8)])); // no picture, no size

    let mdhd = fields(&[
        (0, 4),
        (created, 4),
        (created, 4),
        (rate, 4),
        (layout.frames, 4),
        (0, 4),
    ]);
    let handler = |kind: &[u8; 4], sort: &[u8; 4]| {
        let mut out = fields(&[(0, 4)]);
        out.extend(kind);
        out.extend(sort);
        out.extend([0; 13]);
        out
    };

    let mut dref = fields(&[(0, 4), (1, 4)]);
    atom(&mut dref, b"alis", &fields(&[(1, 4)])); // the sound is in this file
    let mut dinf = Vec::new();
    atom(&mut dinf, b"dref", &dref);

    let mut minf = Vec::new();
    atom(&mut minf, b"smhd", &fields(&[(0, 8)]));
    atom(&mut minf, b"hdlr", &handler(b"dhlr", b"alis"));
    atom(&mut minf, b"dinf", &dinf);
    atom(&mut minf, b"stbl", &sample_table(layout));

    let mut mdia = Vec::new();
    atom(&mut mdia, b"mdhd", &mdhd);
    atom(&mut mdia, b"hdlr", &handler(b"mhlr", b"soun"));
    atom(&mut mdia, b"minf", &minf);

    let mut trak = Vec::new();
    atom(&mut trak, b"tkhd", &tkhd);
    atom(&mut trak, b"mdia", &mdia);

    let mut moov = Vec::new();
    atom(&mut moov, b"mvhd", &mvhd);
    atom(&mut moov, b"trak", &trak);
    let mut out = Vec::new();
    atom(&mut out, b"moov", &moov);
    Ok(out)
}

/// Where each second of sound lies: chunks of one second, the last one shorter.
fn sample_table(layout: &Layout) -> Vec<u8> {
    let channels = u64::from(layout.channels);
    let rate = u64::from(layout.rate_hz);
    let mut entry = Vec::new();
    // Sound description, version 0: channels, bits, rate as 16.16.
    let sound = fields(&[
        (0, 6),
        (1, 2),
        (0, 8),
        (channels, 2),
        (16, 2),
        (0, 4),
        (rate << 16, 4),
    ]);
    atom(&mut entry, b"sowt", &sound);
    let mut stsd = fields(&[(0, 4), (1, 4)]);
    stsd.extend(entry);

    let chunks = layout.frames.div_ceil(rate);
    let last = layout.frames - rate * chunks.saturating_sub(1);
    let mut runs = vec![(1, rate)];
    if last != rate {
        if chunks == 1 {
            runs.clear();
        }
        runs.push((chunks, last));
    }
    let mut stsc = fields(&[(0, 4), (runs.len() as u64, 4)]);
    for (first_chunk, frames) in runs {
        stsc.extend(fields(&[(first_chunk, 4), (frames, 4), (1, 4)]));
    }
    let mut co64 = fields(&[(0, 4), (chunks, 4)]);
    for chunk in 0..chunks {
        co64.extend(fields(&[(SOUND_AT + chunk * rate * channels * 2, 8)]));
    }

    let mut out = Vec::new();
    atom(&mut out, b"stsd", &stsd);
    atom(
        &mut out,
        b"stts",
        &fields(&[(0, 4), (1, 4), (layout.frames, 4), (1, 4)]),
    );
    atom(&mut out, b"stsc", &stsc);
    atom(
        &mut out,
        b"stsz",
        &fields(&[(0, 4), (channels * 2, 4), (layout.frames, 4)]),
    );
    atom(&mut out, b"co64", &co64);
    out
}

/// The Macintosh's seconds, counted from 1904-01-01; the recorder's wall clock
/// is taken as it is, as cameras without a time zone do.
fn seconds_since_1904(stamp: &Stamp) -> Result<u32> {
    let number = |text: &str| {
        text.parse::<i64>()
            .with_context(|| format!("bad date {text:?}"))
    };
    let date: Vec<i64> = stamp.date.split('-').map(number).collect::<Result<_>>()?;
    let time: Vec<i64> = stamp.time.split(':').map(number).collect::<Result<_>>()?;
    let ([year, month, day], [hour, minute, second]) = (date.as_slice(), time.as_slice()) else {
        anyhow::bail!("bad stamp {stamp:?}");
    };
    // Days in a calendar whose year begins in March (H. Hinnant's
    // days_from_civil), counted from 0000-03-01; 1904-01-01 is day 695361.
    let (y, m) = if *month <= 2 {
        (year - 1, month + 9)
    } else {
        (*year, month - 3)
    };
    let days = 365 * y + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 1;
    let seconds = (days - 695_361) * 86_400 + hour * 3600 + minute * 60 + second;
    u32::try_from(seconds).context("a date a movie cannot hold")
}

#[cfg(test)]
mod tests {
    use super::*;

    // 1970-01-01 is 2082844800 s after 1904-01-01 (QuickTime documentation);
    // 2000-02-29 12:34:56 is Unix time 951827696 (GNU date).
    #[test]
    fn known_dates() {
        let at = |date: &str, time: &str| {
            let stamp = Stamp {
                date: date.into(),
                time: time.into(),
                samples: 0,
            };
            seconds_since_1904(&stamp).map(u64::from).ok()
        };
        assert_eq!(at("1904-01-01", "00:00:00"), Some(0));
        assert_eq!(at("1970-01-01", "00:00:00"), Some(2_082_844_800));
        assert_eq!(
            at("2000-02-29", "12:34:56"),
            Some(2_082_844_800 + 951_827_696)
        );
    }
}
