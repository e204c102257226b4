//! transcribe: which words are spoken?

use std::cell::RefCell;
use std::time::{Duration, Instant};

use sayback_core::Cancel;
use sayback_core::units::FileMs;

use super::detect::pick;
use super::original::is_unchanged;
use super::{Step, StepError};
use crate::jobs::Model;
use crate::jobs::engine::now_ms;
use crate::media::AnalysisStream;
use crate::speech::{Ask, Recogniser, Span, SpeechError, Window, pack};
use crate::store::{NewWord, RecordingRow, SegmentId, SegmentRow, WindowCommit};

/// How long a recording keeps the model while one of another event waits, ms:
/// long enough that changing over costs nothing to speak of.
const TURN_MS: i64 = 60_000;

/// The recogniser of a worker: loaded when first needed, then kept.
#[derive(Default)]
pub(in crate::jobs) struct Voice {
    loaded: Option<(String, Box<dyn Recogniser>)>,
    not_before: Option<Instant>,
}

impl Voice {
    /// How long to wait before asking for the model again, after it was refused.
    pub(in crate::jobs) fn wait(&self) -> Option<Duration> {
        let left = self.not_before?.saturating_duration_since(Instant::now());
        (!left.is_zero()).then_some(left)
    }

    /// Loads the model unless that is done. Finding out that a file is not the
    /// model can mean reading all of it, so the dearer a refusal was, the longer
    /// [`Voice::wait`] is.
    pub(in crate::jobs) fn get_ready(&mut self, model: &dyn Model) -> Result<(), SpeechError> {
        if self.loaded.is_some() {
            return Ok(());
        }
        let begun = Instant::now();
        match model.present().and_then(|()| model.load()) {
            Ok(recogniser) => self.loaded = Some((model.name(), recogniser)),
            Err(error) => {
                let wait = (begun.elapsed() * REFUSAL_SHARE).min(LONGEST_WAIT);
                self.not_before = Some(Instant::now() + wait);
                return Err(error);
            }
        }
        Ok(())
    }
}

/// Of the time of a worker that has no model, one part in so many is spent on
/// looking for it.
const REFUSAL_SHARE: u32 = 20;
const LONGEST_WAIT: Duration = Duration::from_secs(60);

/// A recording and what of it is to be written down.
struct Work<'a> {
    recording: &'a RecordingRow,
    /// Opened once: of some formats opening walks through the whole file.
    sound: RefCell<AnalysisStream>,
    segments: Vec<SegmentId>,
    windows: Vec<Window>,
}

impl Step<'_> {
    /// Writes down the words of a recording, window by window, from the first
    /// window that is not written yet.
    pub(super) fn transcribe(&self, voice: &mut Voice) -> Result<(), StepError> {
        let recording = self.recording()?;
        is_unchanged(&recording)?;
        let rows = self.read(self.store().segments(&recording.id))?;
        let work = Work {
            recording: &recording,
            sound: RefCell::new(AnalysisStream::open(&recording.path, pick(&recording)?)?),
            segments: rows.iter().map(|row| row.id).collect(),
            windows: pack(&spans(&rows), FileMs(recording.duration_ms)),
        };
        voice.get_ready(&*self.inner.config.model)?;
        let Some((model, recogniser)) = &mut voice.loaded else {
            return Err(StepError::MayPass("the speech model is gone".into()));
        };
        let lease = self.claim.lease();
        let count = i64::try_from(work.windows.len()).unwrap_or(i64::MAX);
        let done = self.write(|| {
            self.store()
                .begin_transcript(&lease, &recording, model, count)
        })?;
        for (number, window) in (0_i64..).zip(&work.windows) {
            if number >= done {
                if number > done {
                    self.make_room()?;
                }
                self.window(&work, number, window, &mut **recogniser)?;
            }
        }
        self.write(|| self.store().finish_transcript(&lease, &recording, now_ms()))
    }

    /// Stops between two windows if others should go first; what is written
    /// stays, and the job goes on from there when it is taken again.
    fn make_room(&self) -> Result<(), StepError> {
        let yields = self.store().should_yield(self.claim.id, now_ms(), TURN_MS);
        if self.read(yields)? {
            return Err(StepError::Cancelled);
        }
        Ok(())
    }

    /// Listens to one window and writes what was heard.
    fn window(
        &self,
        work: &Work<'_>,
        number: i64,
        window: &Window,
        recogniser: &mut dyn Recogniser,
    ) -> Result<(), StepError> {
        self.check()?;
        let of = work.windows.len() as f32;
        self.progress(number as f32 / of);
        let passage = window.assemble(&mut |from, to| work.sound.borrow_mut().span(from, to))?;
        let heard = listen(recogniser, passage.samples(), self.cancel, &mut |done| {
            self.progress((number as f32 + done) / of);
        })?;
        let mut segments: Vec<SegmentId> = passage
            .spans()
            .iter()
            .filter_map(|span| work.segments.get(span.span).copied())
            .collect();
        segments.dedup();
        let words: Vec<NewWord> = passage
            .place(heard)
            .into_iter()
            .filter_map(|(span, word)| {
                let text = word.text.split_whitespace().collect::<String>();
                let segment = *work.segments.get(span)?;
                (!text.is_empty()).then_some(NewWord {
                    segment,
                    text,
                    start_ms: word.start_ms,
                    end_ms: word.end_ms,
                    confidence: word.confidence,
                })
            })
            .collect();
        let commit = WindowCommit {
            recording: work.recording,
            window: number,
            segments: &segments,
            words: &words,
        };
        let lease = self.claim.lease();
        self.write(|| self.store().commit_window(&lease, &commit))
    }
}

fn listen(
    recogniser: &mut dyn Recogniser,
    samples: &[f32],
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Result<Vec<crate::speech::HeardWord>, SpeechError> {
    recogniser.recognise(samples, &Ask::default(), cancel, progress)
}

fn spans(rows: &[SegmentRow]) -> Vec<Span> {
    rows.iter()
        .map(|row| Span {
            start: FileMs(row.start_ms),
            end: FileMs(row.end_ms),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A model that is refused after so long a look.
    struct Refused(Duration);

    impl Model for Refused {
        fn name(&self) -> String {
            "refused".into()
        }

        fn present(&self) -> Result<(), SpeechError> {
            std::thread::sleep(self.0);
            Err(SpeechError::NotFetched {
                name: self.name(),
                dir: "/models".into(),
            })
        }

        fn load(&self) -> Result<Box<dyn Recogniser>, SpeechError> {
            unreachable!("it was refused")
        }
    }

    #[test]
    fn the_dearer_a_refusal_the_longer_the_wait() {
        let mut voice = Voice::default();
        assert_eq!(voice.wait(), None);
        assert!(voice.get_ready(&Refused(Duration::ZERO)).is_err());
        assert!(
            voice
                .wait()
                .is_none_or(|wait| wait < Duration::from_millis(100))
        );
        assert!(
            voice
                .get_ready(&Refused(Duration::from_millis(100)))
                .is_err()
        );
        let wait = voice.wait().unwrap();
        assert!(
            wait > Duration::from_secs(1) && wait <= LONGEST_WAIT,
            "{wait:?}"
        );
    }
}
