//! transcribe: which words are spoken?
//!
//! Of each moment, one recording is listened to, or two where the first was
//! doubtful: the hearings of a recording that are wanted are packed into windows,
//! and each window writes the words of its moments.

use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::time::{Duration, Instant};

use sayback_core::units::FileMs;

use super::detect::pick;
use super::original::is_unchanged;
use super::words::Fuser;
use super::{Step, StepError};
use crate::jobs::Model;
use crate::jobs::engine::now_ms;
use crate::media::AnalysisStream;
use crate::speech::{HeardWord, Known, Recogniser, Span, SpeechError, Window, listen, pack};
use crate::store::{AttemptRow, MomentId, NewWord, RecordingRow, Tried, Wanted, WindowCommit};

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
    model: &'a str,
    /// Opened once: of some formats opening walks through the whole file.
    sound: RefCell<AnalysisStream>,
    wanted: Vec<Wanted>,
    windows: Vec<Window>,
    /// The last window that holds (a part of) each hearing.
    last: HashMap<usize, usize>,
    /// Words of hearings that go on in a later window.
    begun: RefCell<BTreeMap<usize, Vec<NewWord>>>,
    fuser: RefCell<Fuser>,
}

impl Work<'_> {
    /// Whether a window has something new.
    fn is_needed(&self, window: &Window) -> bool {
        window.holds().any(|n| !self.wanted[n].tried)
    }

    /// Hearings that no window holds, such as one that lies in another: the words
    /// are in that one.
    fn left_out(&self) -> Vec<Tried> {
        let out = |n: &usize| !self.last.contains_key(n) && !self.wanted[*n].tried;
        let tried = |n: usize| self.tried(n, Vec::new());
        (0..self.wanted.len()).filter(out).map(tried).collect()
    }

    fn tried(&self, n: usize, words: Vec<NewWord>) -> Tried {
        Tried {
            moment: self.wanted[n].moment_id.clone(),
            words,
        }
    }

    /// What is whole after a window: its hearings that no later window holds.
    fn whole(&self, number: usize, heard: Vec<(usize, HeardWord)>) -> Vec<Tried> {
        let mut begun = self.begun.borrow_mut();
        for n in self.windows[number].holds() {
            begun.entry(n).or_default();
        }
        for (n, word) in heard {
            let text = word.text.split_whitespace().collect::<String>();
            if !text.is_empty() {
                begun.entry(n).or_default().push(NewWord {
                    text,
                    start_ms: word.start_ms,
                    end_ms: word.end_ms,
                    confidence: word.confidence,
                    heard: word.heard,
                    language: word.language,
                    ordinary: word.ordinary,
                });
            }
        }
        let whole = |n: &usize| self.last.get(n) == Some(&number);
        let whole: Vec<usize> = begun.keys().copied().filter(whole).collect();
        let words = whole
            .into_iter()
            .filter_map(|n| Some((n, begun.remove(&n)?)));
        words
            .filter(|(n, _)| !self.wanted[*n].tried)
            .map(|(n, words)| self.tried(n, words))
            .collect()
    }
}

impl Step<'_> {
    /// Writes down the words of the hearings of a recording that are wanted and
    /// not written yet, window by window.
    pub(super) fn transcribe(&self, voice: &mut Voice) -> Result<(), StepError> {
        let recording = self.recording()?;
        voice.get_ready(&*self.inner.config.model)?;
        let Some((model, recogniser)) = &mut voice.loaded else {
            return Err(StepError::MayPass("the speech model is gone".into()));
        };
        let lease = self.claim.lease();
        let begin = || self.store().begin_listening(&lease, &recording.id, model);
        let wanted = self.write(begin)?;
        if !wanted.is_empty() {
            is_unchanged(&recording)?;
            let work = self.work(&recording, model, wanted)?;
            self.windows(&work, &mut **recogniser)?;
        }
        self.write(|| self.store().finish_listening(&lease, &recording, now_ms()))
    }

    fn work<'a>(
        &self,
        recording: &'a RecordingRow,
        model: &'a str,
        wanted: Vec<Wanted>,
    ) -> Result<Work<'a>, StepError> {
        let windows = pack(&spans(&wanted), FileMs(recording.duration_ms));
        let mut last = HashMap::new();
        for (number, window) in windows.iter().enumerate() {
            last.extend(window.holds().map(|n| (n, number)));
        }
        let placements = self.read(self.store().placements(&recording.event_id))?;
        let names = self.read(self.store().glossary(&recording.event_id))?;
        Ok(Work {
            recording,
            model,
            sound: RefCell::new(AnalysisStream::open(&recording.path, pick(recording)?)?),
            wanted,
            windows,
            last,
            begun: RefCell::default(),
            fuser: RefCell::new(Fuser::new(&placements, names)),
        })
    }

    fn windows(&self, work: &Work<'_>, recogniser: &mut dyn Recogniser) -> Result<(), StepError> {
        let needed: Vec<usize> = (0..work.windows.len())
            .filter(|n| work.is_needed(&work.windows[*n]))
            .collect();
        let left_out = work.left_out();
        let count = work.windows.len() + usize::from(!left_out.is_empty());
        let done = count - needed.len() - usize::from(!left_out.is_empty());
        let speech_ms = work.wanted.iter().map(|w| w.end_ms - w.start_ms).sum();
        let lease = self.claim.lease();
        let of = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
        self.write(|| {
            self.store()
                .plan_windows(&lease, of(count), of(done), speech_ms)
        })?;
        for (turn, number) in needed.into_iter().enumerate() {
            if turn > 0 {
                self.make_room()?;
            }
            let before = (done + turn) as f32;
            let at = |within: f32| self.progress((before + within) / count as f32);
            let heard = self.window(work, number, recogniser, &at)?;
            self.commit(work, &work.whole(number, heard))?;
        }
        if left_out.is_empty() {
            return Ok(());
        }
        self.commit(work, &left_out)
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

    /// Listens to one window: words in file time, each with its hearing.
    fn window(
        &self,
        work: &Work<'_>,
        number: usize,
        recogniser: &mut dyn Recogniser,
        progress: &dyn Fn(f32),
    ) -> Result<Vec<(usize, HeardWord)>, StepError> {
        self.check()?;
        progress(0.0);
        let window = &work.windows[number];
        let passage = window.assemble(&mut |from, to| work.sound.borrow_mut().span(from, to))?;
        let mut tell = |done| progress(done);
        let fuser = work.fuser.borrow();
        let languages = self.read(self.store().languages(&work.recording.event_id))?;
        let known = Known {
            languages: &languages,
            ..fuser.known()
        };
        Ok(listen(
            recogniser,
            &passage,
            &known,
            self.cancel,
            &mut tell,
        )?)
    }

    /// Writes what a window gave, by the names of now.
    fn commit(&self, work: &Work<'_>, tried: &[Tried]) -> Result<(), StepError> {
        self.names_of_now(work)?;
        let lease = self.claim.lease();
        let fuser = work.fuser.borrow();
        let commit = WindowCommit {
            recording: work.recording,
            model: work.model,
            tried,
            fuse: &|_, attempts| fuser.words(attempts),
        };
        self.write(|| self.store().commit_window(&lease, &commit))?;
        drop(fuser);
        // Names that came in between saw nothing of this window.
        while self.names_of_now(work)? {
            let fuser = work.fuser.borrow();
            let moments: Vec<MomentId> = tried.iter().map(|one| one.moment.clone()).collect();
            let fuse = |_: &MomentId, attempts: &[AttemptRow]| fuser.words(attempts);
            self.write(|| self.store().reword(&moments, &fuse))?;
        }
        Ok(())
    }

    /// Takes up the names of the event, and says whether they are others.
    fn names_of_now(&self, work: &Work<'_>) -> Result<bool, StepError> {
        let names = self.read(self.store().glossary(&work.recording.event_id))?;
        Ok(work.fuser.borrow_mut().rename(names))
    }
}

fn spans(rows: &[Wanted]) -> Vec<Span> {
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
