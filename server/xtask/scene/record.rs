//! What does one recorder write?
//!
//! Block by block: its microphones at the analysis rate, read at the moments
//! its own drifting clock takes samples, clipped where they pass full scale,
//! and written to as many files as it makes. Memory does not grow with length.

use std::path::Path as FilePath;

use anyhow::{Result, ensure};
use sayback_core::units::ANALYSIS_RATE_HZ;

use super::files::Files;
use super::hearings::{self, Clock};
use super::mic::{Ear, Mic, Score};
use super::sinc::{REACH, Sinc};
use super::spec::{ChannelSpec, MicSpec, RecorderSpec};
use super::truth::{ChannelTruth, HearingTruth, RecorderTruth};

/// Frames worked on at a time.
const BLOCK: usize = 4_800;

/// Writes the files of `recorder` under `folder` and tells the truth about
/// them; `name` names its random streams.
///
/// # Errors
/// When the spec makes no sense or the disk fails.
pub fn record(
    score: &Score,
    recorder: &RecorderSpec,
    name: &str,
    folder: &FilePath,
    sinc: &Sinc,
) -> Result<RecorderTruth> {
    let mut take = Take::new(score, recorder, name, sinc)?;
    let set = |suffix: &str| Files::create(score.spec, recorder, take.frames, suffix, folder);
    let mut files = set("")?;
    let mut safety = match recorder.safety_files_db {
        Some(gain_db) => Some((gain_db, set("_safe")?)),
        None => None,
    };
    let (mut loud, mut quiet) = (Vec::new(), Vec::new());
    while take.next_block(&mut loud) {
        files.write(&loud)?;
        if let Some((gain_db, files)) = &mut safety {
            let gain = 10_f64.powf(*gain_db / 20.0) as f32;
            quiet.clear();
            quiet.extend(loud.iter().map(|x| x * gain));
            files.write(&quiet)?;
        }
    }
    let files = files.finish()?;
    let safety_files = match safety {
        Some((gain_db, files)) => Some((gain_db, files.finish()?)),
        None => None,
    };
    Ok(RecorderTruth {
        label: recorder.label.clone(),
        folder: recorder.folder.clone(),
        placement: recorder.placement,
        wearer: recorder.wearer.clone(),
        rate_hz: recorder.rate_hz,
        format: recorder.format,
        container: recorder.container,
        channels: take.channel_truths(),
        start_ms: recorder.start_s * 1000.0,
        drift_ppm: recorder.drift_ppm,
        frames: take.frames,
        files,
        safety_files,
        hearings: take.hearings,
    })
}

/// A channel at work.
enum Channel<'a> {
    Mic {
        spec: &'a MicSpec,
        ear: Ear,
        running: Box<Mic<'a>>,
        window: Vec<f32>,
        clipped: u64,
    },
    Copy {
        of: usize,
        gain_db: f64,
        clipped: u64,
    },
    Silent,
}

struct Take<'a> {
    sinc: &'a Sinc,
    channels: Vec<Channel<'a>>,
    hearings: Vec<HearingTruth>,
    rate_hz: u32,
    frames: u64,
    done: u64,
    /// Position of frame 0, and length of a frame, in analysis samples.
    first: f64,
    step: f64,
    /// Analysis sample the windows begin at.
    window_at: i64,
    planes: Vec<Vec<f32>>,
}

impl<'a> Take<'a> {
    fn new(
        score: &'a Score,
        recorder: &'a RecorderSpec,
        name: &str,
        sinc: &'a Sinc,
    ) -> Result<Self> {
        let label = &recorder.label;
        ensure!(
            recorder.rate_hz >= ANALYSIS_RATE_HZ,
            "{label}: {} Hz is below {ANALYSIS_RATE_HZ}",
            recorder.rate_hz
        );
        ensure!(
            recorder.end_s > recorder.start_s,
            "{label} stops before it starts"
        );
        let rate = f64::from(recorder.rate_hz) * (1.0 + recorder.drift_ppm * 1e-6);
        let first = recorder.start_s * f64::from(ANALYSIS_RATE_HZ);
        let window_at = first.floor() as i64 - (REACH as i64 - 1);
        let frames = ((recorder.end_s - recorder.start_s) * rate) as u64;
        let mut hearings = Vec::new();
        let mut channels = Vec::new();
        for (index, channel) in recorder.channels.iter().enumerate() {
            channels.push(match channel {
                ChannelSpec::Mic(spec) => {
                    let ear = Ear::new(score, recorder, spec);
                    let rate_hz = recorder.rate_hz;
                    let clock = Clock {
                        start_s: recorder.start_s,
                        rate,
                        rate_hz,
                        frames,
                    };
                    hearings.extend(hearings::hearings(score, &ear, index, &clock));
                    let stream = format!("{name}/{index}");
                    let running = Box::new(Mic::new(score, spec, &ear, sinc, window_at, &stream));
                    Channel::Mic {
                        spec,
                        ear,
                        running,
                        window: Vec::new(),
                        clipped: 0,
                    }
                }
                ChannelSpec::Copy { of, gain_db } => {
                    ensure!(*of < index, "{label}: channel {index} copies a later one");
                    Channel::Copy {
                        of: *of,
                        gain_db: *gain_db,
                        clipped: 0,
                    }
                }
                ChannelSpec::Silent => Channel::Silent,
            });
        }
        Ok(Self {
            sinc,
            planes: vec![Vec::new(); channels.len()],
            channels,
            hearings,
            rate_hz: recorder.rate_hz,
            frames,
            done: 0,
            first,
            step: f64::from(ANALYSIS_RATE_HZ) / rate,
            window_at,
        })
    }

    /// The next frames, interleaved and clipped; false at the end.
    fn next_block(&mut self, out: &mut Vec<f32>) -> bool {
        let count = (self.frames - self.done).min(BLOCK as u64) as usize;
        out.clear();
        if count == 0 {
            return false;
        }
        self.fill_planes(count);
        self.count_clipping();
        for frame in 0..count {
            out.extend(
                self.planes
                    .iter()
                    .map(|plane| plane[frame].clamp(-1.0, 1.0)),
            );
        }
        self.done += count as u64;
        true
    }

    fn fill_planes(&mut self, count: usize) {
        // Positions come from the frame's number, never from a running sum.
        let position = |frame: usize| self.first + (self.done + frame as u64) as f64 * self.step;
        let needed_from = position(0).floor() as i64 - (REACH as i64 - 1);
        let needed_to = position(count - 1).floor() as i64 + REACH as i64 + 1;
        for index in 0..self.channels.len() {
            let mut plane = std::mem::take(&mut self.planes[index]);
            plane.clear();
            match &mut self.channels[index] {
                Channel::Mic {
                    running, window, ..
                } => {
                    window.drain(..((needed_from - self.window_at) as usize).min(window.len()));
                    let missing = (needed_to - needed_from) as usize - window.len();
                    running.listen(missing, window);
                    plane.extend((0..count).map(|frame| {
                        let at = position(frame);
                        let whole = at.floor();
                        let from = whole as i64 - (REACH as i64 - 1) - needed_from;
                        self.sinc.between(&window[from as usize..], at - whole)
                    }));
                }
                Channel::Copy { of, gain_db, .. } => {
                    let gain = 10_f64.powf(*gain_db / 20.0) as f32;
                    plane.extend(self.planes[*of].iter().map(|x| x * gain));
                }
                Channel::Silent => plane.resize(count, 0.0),
            }
            self.planes[index] = plane;
        }
        self.window_at = needed_from;
    }

    fn count_clipping(&mut self) {
        let from = self.done as f64;
        for (index, (channel, plane)) in self.channels.iter_mut().zip(&self.planes).enumerate() {
            let (Channel::Mic { clipped, .. } | Channel::Copy { clipped, .. }) = channel else {
                continue;
            };
            let beyond: Vec<f64> = plane
                .iter()
                .enumerate()
                .filter(|(_, x)| x.abs() > 1.0)
                .map(|(frame, _)| from + frame as f64)
                .collect();
            if beyond.is_empty() {
                continue;
            }
            *clipped += beyond.len() as u64;
            let frames_a_ms = f64::from(self.rate_hz) / 1000.0;
            for hearing in self
                .hearings
                .iter_mut()
                .filter(|hearing| hearing.channel == index)
            {
                let sounding = hearing.start_ms * frames_a_ms..hearing.end_ms * frames_a_ms;
                hearing.clipped_frames += beyond
                    .iter()
                    .filter(|&frame| sounding.contains(frame))
                    .count() as u64;
            }
        }
    }

    fn channel_truths(&self) -> Vec<ChannelTruth> {
        self.channels
            .iter()
            .map(|channel| match channel {
                Channel::Mic {
                    spec, ear, clipped, ..
                } => ChannelTruth::Mic {
                    level_dbfs: spec.level_dbfs,
                    noise_dbfs: 20.0 * ear.noise_rms.log10(),
                    noise: spec.noise.clone(),
                    clipped_frames: *clipped,
                },
                Channel::Copy {
                    of,
                    gain_db,
                    clipped,
                } => ChannelTruth::Copy {
                    of: *of,
                    gain_db: *gain_db,
                    clipped_frames: *clipped,
                },
                Channel::Silent => ChannelTruth::Silent,
            })
            .collect()
    }
}
