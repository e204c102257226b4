//! Each recording is read once for one instant, however many pairs look at it.

use crate::clock::{FINE_WINDOW, FineLags, FineSpectrum, Samples};
use crate::units::{ANALYSIS_RATE_HZ, FileMs};

/// Read to either side of what is asked for, ms: what pairs may differ by about
/// where an instant lies.
const MARGIN_MS: i64 = 400;
/// A stretch that starts this near to the one wanted serves as well, ms: the lag
/// says by how much it was off.
const NEAR_MS: i64 = 60;

/// What was read last of a member.
#[derive(Default)]
struct Kept {
    from_ms: i64,
    to_ms: i64,
    samples: Vec<f32>,
    /// Start and length of the stretch, ms and samples, and what it became.
    ready: Option<(i64, usize, Option<FineSpectrum>)>,
    asked: bool,
    heard: bool,
}

/// Reads ahead and keeps the last stretch of every member.
pub(super) struct Reader<'a> {
    samples: &'a mut dyn Samples,
    kept: Vec<Kept>,
    pub lags: FineLags,
}

impl<'a> Reader<'a> {
    pub fn new(members: usize, samples: &'a mut dyn Samples) -> Self {
        Self {
            samples,
            kept: (0..members).map(|_| Kept::default()).collect(),
            lags: FineLags::new(),
        }
    }

    /// `count` samples of a member from `start_ms` (0 or more) on, fewer where it
    /// ends.
    pub fn read(&mut self, member: usize, start_ms: i64, count: usize) -> &[f32] {
        let per_ms = i64::from(ANALYSIS_RATE_HZ / 1000);
        let end_ms = start_ms + (count as i64 + per_ms - 1) / per_ms;
        let kept = &mut self.kept[member];
        let fits = kept.asked && kept.from_ms <= start_ms && kept.to_ms >= end_ms;
        if !fits {
            kept.from_ms = (start_ms - MARGIN_MS).max(0);
            kept.to_ms = (end_ms + MARGIN_MS).max(kept.from_ms);
            kept.asked = true;
            kept.ready = None;
            kept.samples = self
                .samples
                .read(member, FileMs(kept.from_ms), FileMs(kept.to_ms));
            kept.heard |= kept.samples.iter().any(|x| x.is_finite() && x.abs() > 1e-6);
        }
        let skip = ((start_ms - kept.from_ms).max(0) * per_ms) as usize;
        let from = skip.min(kept.samples.len());
        let to = (from + count).min(kept.samples.len());
        &kept.samples[from..to]
    }

    /// A stretch made ready, and the start it has, which may differ by
    /// [`NEAR_MS`].
    pub fn ready(
        &mut self,
        member: usize,
        start_ms: i64,
        count: usize,
    ) -> Option<(i64, &FineSpectrum)> {
        let count = count.min(FINE_WINDOW);
        let near = matches!(self.kept[member].ready, Some((start, length, _))
            if length == count && (start - start_ms).abs() <= NEAR_MS);
        if !near {
            let stretch = self.read(member, start_ms, count).to_vec();
            let spectrum = self.lags.spectrum(&stretch);
            self.kept[member].ready = Some((start_ms, count, spectrum));
        }
        match &self.kept[member].ready {
            Some((start, _, Some(spectrum))) => Some((*start, spectrum)),
            _ => None,
        }
    }

    /// Whether anything was asked of a member, and nothing but silence came.
    pub fn mute(&self, member: usize) -> bool {
        self.kept[member].asked && !self.kept[member].heard
    }
}
