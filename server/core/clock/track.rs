//! What is kept of a recording's sound, small enough to search days of it?

use std::fmt;
use std::ops::Range;

use crate::units::{ANALYSIS_RATE_HZ, FileMs, SILENCE_DBFS};

/// Samples from one frame to the next: 40 ms at 16 kHz, 25 frames a second.
/// Speech's envelope moves below 16 Hz (Drullman et al., J. Acoust. Soc. Am.
/// 95(2), 1994, find little lost when all above that is smoothed away).
pub const FRAME: usize = 640;

/// Bands between 200 and 4,000 Hz.
pub const TRACK_BANDS: usize = 12;

/// Length of a frame, ms.
pub const FRAME_MS: f64 = FRAME as f64 * 1000.0 / ANALYSIS_RATE_HZ as f64;

/// Edges of the bands, Hz: even on the mel scale (2595·log₁₀(1 + f/700),
/// O'Shaughnessy 1987) and rounded.
pub(super) const EDGES_HZ: [f32; TRACK_BANDS + 1] = [
    200.0, 333.0, 485.0, 661.0, 861.0, 1092.0, 1357.0, 1660.0, 2009.0, 2409.0, 2868.0, 3395.0,
    4000.0,
];

/// The first byte of every stored track; another number means another form.
const VERSION: u8 = 1;
const HEADER: usize = 10;

/// Level of stored value 0; one step is half a dB.
const LOWEST_DBFS: f32 = -120.0;

/// Frames one value of the noise floor stands for (10 s), and how many such
/// cells to either side it looks at (30 s).
const CELL: usize = 250;
const REACH: usize = 3;

/// The share of frames that counts as noise alone: even in dense talk, pauses
/// between words and sentences take more.
const QUIET_SHARE: f32 = 0.1;

/// Levels of one frame, in steps of half a dB from −120 dBFS up.
pub type TrackLevels = [u8; TRACK_BANDS];

/// Band levels of a whole recording, 25 times a second: about a megabyte an hour.
#[derive(Clone, PartialEq, Eq)]
pub struct Track {
    samples: u64,
    levels: Vec<TrackLevels>,
    /// Level of all bands together, per frame, same steps.
    loudness: Vec<u8>,
    /// Noise under all bands together, per cell of [`CELL`] frames.
    floors: Vec<u8>,
    /// The same in each band.
    band_floors: Vec<TrackLevels>,
}

impl fmt::Debug for Track {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Track of {} frames", self.levels.len())
    }
}

/// Why bytes are no track.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrackError {
    /// Written in another form; the recording must be heard again.
    Version(u8),
    /// Cut short, too long, or not a track at all.
    Length,
}

impl fmt::Display for TrackError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Version(found) => write!(f, "band levels of version {found}, not {VERSION}"),
            Self::Length => f.write_str("band levels of a wrong length"),
        }
    }
}

impl std::error::Error for TrackError {}

impl Track {
    pub(super) fn new(samples: u64, levels: Vec<TrackLevels>) -> Self {
        let loudness: Vec<u8> = levels.iter().map(together).collect();
        let mut band_floors = vec![[0; TRACK_BANDS]; levels.len().div_ceil(CELL)];
        for band in 0..TRACK_BANDS {
            let floors = floors(levels.len(), |frame| levels[frame][band]);
            for (cell, floor) in band_floors.iter_mut().zip(floors) {
                cell[band] = floor;
            }
        }
        Self {
            samples,
            floors: floors(loudness.len(), |frame| loudness[frame]),
            band_floors,
            levels,
            loudness,
        }
    }

    /// The noise floor of each band at a frame, as steps; 0 where there is none.
    pub(super) fn floors_at(&self, frame: usize) -> TrackLevels {
        let cell = self.band_floors.get(frame / CELL);
        cell.copied().unwrap_or_default()
    }

    /// The form it is stored in: a version, the number of samples, the levels.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(HEADER + self.levels.len() * TRACK_BANDS);
        bytes.extend([VERSION, TRACK_BANDS as u8]);
        bytes.extend(self.samples.to_le_bytes());
        bytes.extend_from_slice(self.levels.as_flattened());
        bytes
    }

    /// The track that [`Self::to_bytes`] wrote.
    ///
    /// # Errors
    /// [`TrackError`], if the bytes are of another version or of a length that
    /// does not fit the number of samples they name.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, TrackError> {
        let (&version, _) = bytes.split_first().ok_or(TrackError::Length)?;
        if version != VERSION {
            return Err(TrackError::Version(version));
        }
        let (header, body) = bytes.split_at_checked(HEADER).ok_or(TrackError::Length)?;
        let samples = header[2..].try_into().map_err(|_| TrackError::Length)?;
        let samples = u64::from_le_bytes(samples);
        let (levels, rest) = body.as_chunks::<TRACK_BANDS>();
        let fits = rest.is_empty()
            && usize::from(header[1]) == TRACK_BANDS
            && samples.div_ceil(FRAME as u64) == levels.len() as u64;
        if !fits {
            return Err(TrackError::Length);
        }
        Ok(Self::new(samples, levels.to_vec()))
    }

    /// Number of frames, each [`FRAME_MS`] long; a last one that is only begun
    /// counts. Frame `n` is about the sound around `(n + ½)·FRAME_MS`.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.levels.len()
    }

    /// Length of the recording by its samples, ms.
    #[must_use]
    pub fn duration_ms(&self) -> f64 {
        self.samples as f64 * 1000.0 / f64::from(ANALYSIS_RATE_HZ)
    }

    /// Levels of the bands, frame by frame.
    #[must_use]
    pub fn levels(&self) -> &[TrackLevels] {
        &self.levels
    }

    /// Mean power between 200 and 4,000 Hz over a stretch, dBFS (a full-scale
    /// sine is −3); [`SILENCE_DBFS`] for digital silence and where there is no
    /// sound of this recording.
    #[must_use]
    pub fn level_dbfs(&self, from: FileMs, to: FileMs) -> f32 {
        let frames = &self.loudness[self.range(from, to)];
        let power: f32 = frames.iter().map(|&step| power_of(step)).sum();
        if power > 0.0 {
            10.0 * (power / frames.len() as f32).log10()
        } else {
            SILENCE_DBFS
        }
    }

    /// The recording's own noise in the same band around an instant, dBFS: the
    /// level that a tenth of the frames within some 30 s stay below.
    #[must_use]
    pub fn noise_dbfs(&self, at: FileMs) -> f32 {
        let cell = self.range(at, at).start / CELL;
        match self.floors.get(cell).or(self.floors.last()) {
            Some(&step) if step > 0 => dbfs_of(step),
            _ => SILENCE_DBFS,
        }
    }

    /// How far a stretch lies above the recording's own noise there, dB: 0 to 1
    /// for noise alone. 0 where there is no sound of this recording.
    #[must_use]
    pub fn excess_db(&self, from: FileMs, to: FileMs) -> f32 {
        let middle = FileMs(from.0.midpoint(to.0));
        (self.level_dbfs(from, to) - self.noise_dbfs(middle)).max(0.0)
    }

    /// Share of a stretch's frames whose amplitude lies below half the mean, in the
    /// same band: talk has pauses, music seldom. In 30 s of real music (five pieces
    /// of `asterisk-moh-opsound-wav` 2.03) 0.11 in the middle and 0.35 at the 95th
    /// percentile, in meetings and telephone talk (`pyannote.audio` 4.0.7) 0.42 at
    /// least; noise within 5 dB of the sound fills the pauses, and 0 is left.
    /// (Saunders, *Proc. ICASSP*, 1996, for the measure.)
    #[must_use]
    pub(super) fn pauses(&self, from: FileMs, to: FileMs) -> f32 {
        let frames = &self.loudness[self.range(from, to)];
        let sizes = || frames.iter().map(|&step| power_of(step).sqrt());
        let count = frames.len().max(1) as f32;
        let half = 0.5 * sizes().sum::<f32>() / count;
        sizes().filter(|size| *size < half).count() as f32 / count
    }

    /// The frames a stretch of file time touches.
    fn range(&self, from: FileMs, to: FileMs) -> Range<usize> {
        let frame = |ms: i64| usize::try_from(ms.max(0) / FRAME_MS as i64).unwrap_or(usize::MAX);
        let start = frame(from.0).min(self.levels.len());
        let last = frame(to.0.saturating_sub(1)).saturating_add(1);
        let end = if to.0 > from.0.max(0) { last } else { start };
        start..end.clamp(start, self.levels.len())
    }
}

/// The stored step for a power (mean square).
pub(super) fn step_of(power: f32) -> u8 {
    if power <= 0.0 || power.is_nan() {
        return 0;
    }
    let steps = (10.0 * power.log10() - LOWEST_DBFS) * 2.0;
    steps.round().clamp(0.0, 255.0) as u8
}

/// The level of a stored step, dBFS.
#[must_use]
pub fn dbfs_of(step: u8) -> f32 {
    LOWEST_DBFS + f32::from(step) * 0.5
}

fn power_of(step: u8) -> f32 {
    if step == 0 {
        0.0
    } else {
        10f32.powf(dbfs_of(step) / 10.0)
    }
}

fn together(levels: &TrackLevels) -> u8 {
    step_of(levels.iter().map(|&step| power_of(step)).sum())
}

/// Noise per cell: the quiet share of all frames within reach. Digital silence
/// tells nothing about a recorder's noise and is left out while there is
/// anything else.
fn floors(frames: usize, level: impl Fn(usize) -> u8) -> Vec<u8> {
    let cells = frames.div_ceil(CELL);
    let counts: Vec<[u16; 256]> = (0..cells)
        .map(|cell| {
            let mut counts = [0; 256];
            for frame in cell * CELL..((cell + 1) * CELL).min(frames) {
                counts[usize::from(level(frame))] += 1;
            }
            counts[0] = 0;
            counts
        })
        .collect();
    (0..cells)
        .map(|cell| {
            let near = &counts[cell.saturating_sub(REACH)..(cell + REACH + 1).min(cells)];
            let count = |step: usize| near.iter().map(|cell| u32::from(cell[step])).sum::<u32>();
            let all: u32 = (0..256).map(count).sum();
            let mut seen = 0;
            let step = (0..256).find(|&step| {
                seen += count(step);
                seen > 0 && seen as f32 >= all as f32 * QUIET_SHARE
            });
            step.unwrap_or(0) as u8
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Every band at the level of the frame.
    fn track(frames: usize, level: impl Fn(usize) -> u8) -> Track {
        let levels = (0..frames).map(|n| [level(n); TRACK_BANDS]).collect();
        Track::new((frames * FRAME) as u64, levels)
    }

    #[test]
    fn a_stretch_is_held_against_the_noise_around_it() {
        // Noise of -80 dB a band, a burst of 2 s at -50: 30 dB above, by subtraction.
        let track = track(2_000, |n| if (500..550).contains(&n) { 140 } else { 80 });
        let excess = |from, to| track.excess_db(FileMs(from), FileMs(to));
        assert!((excess(20_000, 22_000) - 30.0).abs() < 0.5);
        assert!(excess(0, 20_000) < 0.5);
        // Half of it: 3 dB less.
        assert!((excess(18_000, 22_000) - 27.0).abs() < 0.5);
        // Twelve bands of -80 dB together: 10·log10(12) more.
        assert!((track.noise_dbfs(FileMs(0)) - (-80.0 + 10.79)).abs() < 0.3);
    }

    #[test]
    fn pauses_are_counted() {
        // A quarter of the frames 20 dB (40 steps) below the others.
        let talk = track(200, |n| if n % 4 == 0 { 100 } else { 140 });
        assert_eq!(talk.pauses(FileMs(0), FileMs(8_000)), 0.25);
        // 3 dB less is no pause.
        let tune = track(200, |n| if n % 4 == 0 { 134 } else { 140 });
        assert_eq!(tune.pauses(FileMs(0), FileMs(8_000)), 0.0);
        assert_eq!(tune.pauses(FileMs(9_000), FileMs(9_000)), 0.0);
    }

    #[test]
    fn times_outside_are_silence() {
        let track = track(25, |_| 100);
        for (from, to) in [(1_000, 2_000), (-500, 0), (500, 500), (i64::MIN, -1)] {
            let level = track.level_dbfs(FileMs(from), FileMs(to));
            assert_eq!(level, SILENCE_DBFS, "{from} to {to}");
            assert_eq!(track.excess_db(FileMs(from), FileMs(to)), 0.0);
        }
        assert!(track.level_dbfs(FileMs(i64::MIN), FileMs(i64::MAX)) > -70.0);
        let empty = Track::new(0, Vec::new());
        assert_eq!(empty.noise_dbfs(FileMs(0)), SILENCE_DBFS);
        assert_eq!(empty.excess_db(FileMs(0), FileMs(9)), 0.0);
    }

    #[test]
    fn other_versions_and_lengths_are_refused() {
        let bytes = track(3, |n| n as u8).to_bytes();
        assert_eq!(
            Track::from_bytes(&bytes).unwrap(),
            track(3, |n| n as u8),
            "as it was"
        );
        for length in 0..bytes.len() {
            assert_eq!(
                Track::from_bytes(&bytes[..length]),
                Err(TrackError::Length),
                "{length}"
            );
        }
        let mut other = bytes.clone();
        other[0] = 2;
        assert_eq!(Track::from_bytes(&other), Err(TrackError::Version(2)));
        let mut long = bytes;
        long.extend([0; TRACK_BANDS]);
        assert_eq!(Track::from_bytes(&long), Err(TrackError::Length));
    }

    proptest! {
        #[test]
        fn any_bytes_at_all_are_answered(mut bytes in proptest::collection::vec(any::<u8>(), 0..200), version in any::<bool>()) {
            if version && !bytes.is_empty() {
                bytes[0] = VERSION;
            }
            if let Ok(track) = Track::from_bytes(&bytes) {
                prop_assert_eq!(track.to_bytes(), bytes);
            }
        }

        #[test]
        fn what_is_written_is_read(levels in proptest::collection::vec(any::<TrackLevels>(), 0..40), short in 0..FRAME as u64) {
            let samples = (levels.len() * FRAME) as u64;
            let track = Track::new(if samples > 0 { samples - short } else { 0 }, levels);
            prop_assert_eq!(Track::from_bytes(&track.to_bytes()), Ok(track));
        }
    }
}
