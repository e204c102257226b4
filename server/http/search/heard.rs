//! From the stretches of speech that hold the words to the lines that were
//! said, each with its hearings.

use std::collections::BTreeMap;

use sayback_core::text::{self, Found, Query, Span};
use sayback_core::units::FileMs;

use crate::store::{EventId, RecordingRow, SegmentCandidate};

/// A stretch of speech of one recording in which the words are.
#[derive(Debug)]
pub struct Heard {
    /// What the store has of it.
    pub candidate: SegmentCandidate,
    /// Which of its words match, as positions in its rows of words.
    pub found: Found,
    /// Where the matched words start in the file, ms.
    pub start_ms: i64,
    /// Where the matched words end in the file, ms.
    pub end_ms: i64,
    /// How sure the recogniser is of the matched words, 0 to 1.
    pub matched_sure: f32,
    /// How sure it is of all words, 0 to 1.
    pub all_sure: f32,
    /// The words that were heard in the place of those asked for.
    pub misheard_as: Option<String>,
}

impl Heard {
    /// A candidate that holds what was asked for.
    fn of(query: &Query, candidate: SegmentCandidate) -> Option<Self> {
        let found = query.find_in(&words_of(&candidate))?;
        Self::with(candidate, found)
    }

    /// A candidate in which the words of `span` stand for what was asked for.
    pub fn misheard(candidate: SegmentCandidate, span: Span) -> Option<Self> {
        let heard = words_of(&candidate).get(span.from..span.to)?.join(" ");
        let found = Found {
            matched: vec![span],
            score: 0.0,
        };
        let mut misheard = Self::with(candidate, found)?;
        misheard.misheard_as = Some(heard);
        Some(misheard)
    }

    fn with(candidate: SegmentCandidate, found: Found) -> Option<Self> {
        let rows = &candidate.transcript.words;
        let extent = found.extent();
        let first = rows.get(extent.from)?;
        let last = rows.get(extent.to.checked_sub(1)?)?;
        let matched = found.matched.iter().flat_map(|s| &rows[s.from..s.to]);
        Some(Self {
            start_ms: first.start_ms,
            end_ms: last.end_ms.max(first.start_ms + 1),
            matched_sure: mean(matched.map(|word| word.confidence)),
            all_sure: mean(rows.iter().map(|word| word.confidence)),
            misheard_as: None,
            candidate,
            found,
        })
    }

    /// Its words as shown.
    pub fn words(&self) -> Vec<&str> {
        words_of(&self.candidate)
    }

    /// The recording it is in.
    pub fn recording(&self) -> &RecordingRow {
        &self.candidate.recording
    }

    /// What runs on one clock: the take, else the recording.
    pub fn track(&self) -> &str {
        track_of(self.recording())
    }

    /// Level above the noise around it, dB.
    pub fn snr_db(&self) -> f32 {
        self.candidate.transcript.segment.snr_db
    }

    /// As the grouping looks at it.
    pub fn as_hearing<'a>(&'a self, words: &'a [&'a str]) -> text::Hearing<'a> {
        let piece = self
            .recording()
            .take_order
            .and_then(|n| u32::try_from(n).ok());
        text::Hearing {
            track: self.track(),
            at: (piece.unwrap_or(1), FileMs(self.start_ms)),
            words,
            matched: &self.found.matched,
        }
    }
}

/// The words of a candidate as shown, one a row.
pub fn words_of(candidate: &SegmentCandidate) -> Vec<&str> {
    let rows = &candidate.transcript.words;
    rows.iter().map(|word| word.text.as_str()).collect()
}

/// The take a recording is a piece of, else the recording itself.
pub fn track_of(recording: &RecordingRow) -> &str {
    recording.take_id.as_ref().unwrap_or(&recording.id).as_str()
}

fn mean(values: impl Iterator<Item = f32>) -> f32 {
    let (sum, count) = values.fold((0.0, 0_u16), |(sum, n), v| (sum + v, n.saturating_add(1)));
    if count == 0 {
        0.0
    } else {
        sum / f32::from(count)
    }
}

/// A line that was said, with at least one hearing, the best first.
#[derive(Debug)]
pub struct Line {
    hearings: Vec<Heard>,
}

impl Line {
    fn new(hearings: Vec<Heard>) -> Self {
        let mut line = Self { hearings };
        line.rank();
        line
    }

    /// By level above noise, then by how sure the words are.
    fn rank(&mut self) {
        self.hearings.sort_by(|a, b| {
            (b.snr_db().total_cmp(&a.snr_db()))
                .then_with(|| b.matched_sure.total_cmp(&a.matched_sure))
                .then_with(|| a.recording().id.cmp(&b.recording().id))
        });
    }

    /// Every hearing, the best first.
    pub fn hearings(&self) -> &[Heard] {
        &self.hearings
    }

    /// Adds hearings of the same line.
    pub fn add(&mut self, more: impl IntoIterator<Item = Heard>) {
        self.hearings.extend(more);
        self.rank();
    }

    /// The hearing whose words are shown: the surest of those that heard what
    /// was asked for, the best of equals.
    pub fn told(&self) -> &Heard {
        let mut told = &self.hearings[0];
        for heard in &self.hearings[1..] {
            let (is, was) = (heard.misheard_as.is_none(), told.misheard_as.is_none());
            if (is && !was) || (is == was && heard.all_sure > told.all_sure) {
                told = heard;
            }
        }
        told
    }

    /// How well it matches, 0 to 1.
    pub fn score(&self) -> f32 {
        self.hearings
            .iter()
            .map(|heard| heard.found.score)
            .fold(0.0, f32::max)
    }

    fn event(&self) -> &EventId {
        &self.hearings[0].candidate.event.id
    }

    fn place(&self) -> (&str, &str, i64) {
        let first = &self.hearings[0];
        let recording = first.recording();
        (&recording.source_label, &recording.name, first.start_ms)
    }
}

/// The lines that were said, the best first: by score, then by how many
/// recordings heard them, then by event and place.
pub fn lines(query: &Query, candidates: Vec<SegmentCandidate>) -> Vec<Line> {
    let mut by_event: BTreeMap<EventId, Vec<Heard>> = BTreeMap::new();
    for heard in candidates.into_iter().filter_map(|c| Heard::of(query, c)) {
        by_event
            .entry(heard.candidate.event.id.clone())
            .or_default()
            .push(heard);
    }
    let mut lines: Vec<Line> = by_event.into_values().flat_map(together).collect();
    lines.sort_by(|a, b| {
        (b.score().total_cmp(&a.score()))
            .then_with(|| b.hearings.len().cmp(&a.hearings.len()))
            .then_with(|| a.event().cmp(b.event()))
            .then_with(|| a.place().cmp(&b.place()))
    });
    lines
}

/// Puts the hearings of the same line together.
fn together(heard: Vec<Heard>) -> Vec<Line> {
    let groups = grouped(&heard.iter().collect::<Vec<_>>());
    let mut heard: Vec<Option<Heard>> = heard.into_iter().map(Some).collect();
    groups
        .into_iter()
        .map(|group| Line::new(group.into_iter().filter_map(|n| heard[n].take()).collect()))
        .collect()
}

/// Which of these hearings are of one line, as positions.
pub fn grouped(heard: &[&Heard]) -> Vec<Vec<usize>> {
    let words: Vec<Vec<&str>> = heard.iter().map(|heard| heard.words()).collect();
    let hearings: Vec<text::Hearing<'_>> = heard
        .iter()
        .zip(&words)
        .map(|(heard, words)| heard.as_hearing(words))
        .collect();
    text::group(&hearings)
}
