//! In which files does a take lie?

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, ensure};

use super::mov::MovWriter;
use super::spec::{Container, RecorderSpec, SampleFormat, SceneSpec};
use super::truth::FileTruth;
use super::wav::{Layout, Stamp, WavWriter};

/// The files of a take, written one after another without a gap.
pub struct Files {
    folder: PathBuf,
    container: Container,
    layout: Layout,
    originator: String,
    truths: Vec<FileTruth>,
    next: usize,
    open: Option<(Writer, Layout)>,
    /// Frames still to go into the open file.
    room: u64,
}

enum Writer {
    Wav(WavWriter),
    Mov(MovWriter),
}

impl Writer {
    fn write(&mut self, samples: &[f32]) -> Result<()> {
        match self {
            Self::Wav(writer) => writer.write(samples),
            Self::Mov(writer) => writer.write(samples),
        }
    }
}

impl Files {
    /// Plans the files of a take of `frames` frames under `folder`; their names
    /// end in `suffix`. The folder of the recorder is made if it is missing.
    ///
    /// # Errors
    /// When the folder cannot be made or the splits are out of order.
    pub fn create(
        spec: &SceneSpec,
        recorder: &RecorderSpec,
        frames: u64,
        suffix: &str,
        folder: &Path,
    ) -> Result<Self> {
        let own = folder.join(&recorder.folder);
        std::fs::create_dir_all(&own).with_context(|| format!("cannot make {}", own.display()))?;
        let rate = f64::from(recorder.rate_hz);
        let mut starts = vec![0];
        starts.extend(recorder.split_at_s.iter().map(|at_s| (at_s * rate) as u64));
        starts.push(frames);
        ensure!(
            starts.windows(2).all(|pair| pair[0] < pair[1]),
            "{}: splits must lie inside the take, in order",
            recorder.label
        );
        let extension = if recorder.container == Container::Mov {
            "mov"
        } else {
            "wav"
        };
        let truths = starts
            .windows(2)
            .enumerate()
            .map(|(n, pair)| FileTruth {
                path: format!(
                    "{}/{}_{:03}{suffix}.{extension}",
                    recorder.folder,
                    recorder.stem,
                    n + 1
                ),
                first_frame: pair[0],
                frames: pair[1] - pair[0],
                stamp: stamp(spec, recorder, pair[0]),
            })
            .collect();
        let layout = Layout {
            rate_hz: recorder.rate_hz,
            channels: recorder.channels.len() as u16,
            format: if recorder.container == Container::Mov {
                SampleFormat::Int16
            } else {
                recorder.format
            },
            frames,
        };
        Ok(Self {
            folder: folder.to_owned(),
            container: recorder.container,
            layout,
            originator: recorder.label.clone(),
            truths,
            next: 0,
            open: None,
            room: 0,
        })
    }

    /// Writes interleaved samples, going on to the next file where one ends.
    ///
    /// # Errors
    /// When the disk is full or fails.
    pub fn write(&mut self, mut samples: &[f32]) -> Result<()> {
        let channels = usize::from(self.layout.channels);
        while !samples.is_empty() {
            if self.room == 0 {
                self.go_on()?;
            }
            let frames = ((samples.len() / channels) as u64).min(self.room);
            let (now, later) = samples.split_at(frames as usize * channels);
            if let Some((writer, _)) = &mut self.open {
                writer.write(now)?;
            }
            self.room -= frames;
            samples = later;
        }
        Ok(())
    }

    fn go_on(&mut self) -> Result<()> {
        self.close()?;
        let truth = self
            .truths
            .get(self.next)
            .context("more frames than the take has")?;
        self.next += 1;
        self.room = truth.frames;
        let layout = Layout {
            frames: truth.frames,
            ..self.layout.clone()
        };
        let path = self.folder.join(&truth.path);
        let writer = match (self.container, &truth.stamp) {
            (Container::Mov, Some(stamp)) => Writer::Mov(MovWriter::create(&path, &layout, stamp)?),
            (_, stamp) => {
                let stamp = stamp
                    .as_ref()
                    .map(|stamp| (stamp, self.originator.as_str()));
                Writer::Wav(WavWriter::create(&path, &layout, stamp)?)
            }
        };
        self.open = Some((writer, layout));
        Ok(())
    }

    fn close(&mut self) -> Result<()> {
        match self.open.take() {
            Some((Writer::Wav(writer), layout)) => writer.finish(&layout),
            Some((Writer::Mov(writer), layout)) => writer.finish(&layout),
            None => Ok(()),
        }
    }

    /// Closes the last file and says what was written.
    ///
    /// # Errors
    /// When frames are missing or the disk fails.
    pub fn finish(mut self) -> Result<Vec<FileTruth>> {
        self.close()?;
        Ok(self.truths)
    }
}

/// What the recorder's own clock says at `first_frame` of the take.
fn stamp(spec: &SceneSpec, recorder: &RecorderSpec, first_frame: u64) -> Option<Stamp> {
    let rate = f64::from(recorder.rate_hz);
    let wall_s = f64::from(spec.clock_s) + recorder.start_s + recorder.clock_error_s as f64;
    let samples = match recorder.container {
        Container::Wav => return None,
        Container::Broadcast => (wall_s.max(0.0) * rate).round() as u64 + first_frame,
        // A creation time has whole seconds.
        Container::Mov => {
            (wall_s.max(0.0) + first_frame as f64 / rate) as u64 * u64::from(recorder.rate_hz)
        }
    };
    let seconds = samples / u64::from(recorder.rate_hz);
    let (hours, minutes) = (seconds / 3600, seconds / 60 % 60);
    let time = format!("{hours:02}:{minutes:02}:{:02}", seconds % 60);
    Some(Stamp {
        date: spec.date.clone(),
        time,
        samples,
    })
}
