//! Samples of an event's recordings, here and there, as the clock asks for them.

use std::collections::{BTreeMap, HashMap};

use sayback_core::clock::Samples;
use sayback_core::units::{ANALYSIS_RATE_HZ, FileMs};

use super::StepError;
use super::detect::pick;
use crate::media::AnalysisStream;
use crate::store::RecordingRow;

/// Files held open at once: reading goes back and forth between two.
const OPEN_FILES: usize = 16;

/// An event no longer than this together, ms, is decoded once and kept (128 MB);
/// of a longer one only what is asked for is decoded.
const KEPT_MS: i64 = 2_000_000;

/// Reads from files that are kept open while they are in use.
pub(super) struct FileSound<'a> {
    recordings: &'a [RecordingRow],
    open: Vec<(usize, AnalysisStream)>,
    /// Whole recordings, when everything is kept.
    kept: Option<HashMap<usize, Vec<f32>>>,
    /// Recordings that can't be read, and why.
    pub unreadable: BTreeMap<usize, String>,
}

impl<'a> FileSound<'a> {
    pub fn new(recordings: &'a [RecordingRow]) -> Self {
        let together: i64 = recordings.iter().map(|r| r.duration_ms).sum();
        Self {
            recordings,
            open: Vec::new(),
            kept: (together <= KEPT_MS).then(HashMap::new),
            unreadable: BTreeMap::new(),
        }
    }

    fn decode(&mut self, member: usize, from: FileMs, to: FileMs) -> Result<Vec<f32>, StepError> {
        let at = match self.open.iter().position(|(n, _)| *n == member) {
            Some(at) => at,
            None => {
                let recording = &self.recordings[member];
                super::original::is_unchanged(recording)?;
                let stream = AnalysisStream::open(&recording.path, pick(recording)?)?;
                if self.open.len() == OPEN_FILES {
                    self.open.remove(0);
                }
                self.open.push((member, stream));
                self.open.len() - 1
            }
        };
        Ok(self.open[at].1.span(from, to)?)
    }

    fn span(&mut self, member: usize, from: FileMs, to: FileMs) -> Result<Vec<f32>, StepError> {
        let Some(mut kept) = self.kept.take() else {
            return self.decode(member, from, to);
        };
        let whole = match kept.remove(&member) {
            Some(whole) => Ok(whole),
            None => whole(&self.recordings[member]),
        };
        let cut = whole.map(|whole| {
            let place = |at: FileMs| {
                let sample = at.to_sample(ANALYSIS_RATE_HZ);
                usize::try_from(sample)
                    .unwrap_or(usize::MAX)
                    .min(whole.len())
            };
            let samples = whole[place(from)..place(to)].to_vec();
            kept.insert(member, whole);
            samples
        });
        self.kept = Some(kept);
        cut
    }
}

/// All of a recording.
fn whole(recording: &RecordingRow) -> Result<Vec<f32>, StepError> {
    super::original::is_unchanged(recording)?;
    let mut stream = AnalysisStream::open(&recording.path, pick(recording)?)?;
    let mut samples = Vec::new();
    let mut block = vec![0.0; ANALYSIS_RATE_HZ as usize];
    // A header may promise less than there is; the rest is not asked for.
    let most = FileMs(recording.duration_ms.clamp(0, KEPT_MS)).to_sample(ANALYSIS_RATE_HZ);
    while (samples.len() as u64) < most {
        let read = stream.read(&mut block)?;
        if read == 0 {
            break;
        }
        samples.extend_from_slice(&block[..read]);
    }
    Ok(samples)
}

impl Samples for FileSound<'_> {
    fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32> {
        if self.unreadable.contains_key(&member) || to.0 <= from.0.max(0) {
            return Vec::new();
        }
        match self.span(member, from, to) {
            Ok(samples) => samples,
            Err(StepError::Final(error) | StepError::MayPass(error)) => {
                self.unreadable.insert(member, error);
                Vec::new()
            }
            Err(_) => Vec::new(),
        }
    }
}
