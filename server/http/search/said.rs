//! Which moments answer a query, and who heard the words that match?

use std::collections::HashMap;

use sayback_core::text::{Found, Query};

use super::super::places::{Places, Stretch};
use crate::store::{Candidate, HearingRow, RecordingId, RecordingRow};

/// A moment in which the words are.
#[derive(Debug)]
pub struct Said {
    /// What the store has of it.
    pub candidate: Candidate,
    /// Which of its words match, as positions in its rows of words.
    pub found: Found,
    /// Where they are in the file of the recording whose sound they were heard in.
    pub at: Stretch,
    /// How sure the recogniser is of the matched words, 0 to 1.
    pub sure: f32,
}

impl Said {
    fn of(query: &Query, candidate: Candidate) -> Option<Self> {
        let rows = &candidate.words;
        let words: Vec<&str> = rows.iter().map(|word| word.text.as_str()).collect();
        let found = query.find_in(&words)?;
        let extent = found.extent();
        let first = rows.get(extent.from)?;
        let last = rows.get(extent.to.checked_sub(1)?)?;
        let matched = found.matched.iter().flat_map(|s| &rows[s.from..s.to]);
        let at = Stretch {
            start_ms: first.start_ms as f64,
            end_ms: last.end_ms as f64,
        };
        let sure = mean(matched.map(|word| word.confidence));
        Some(Self {
            at,
            sure,
            candidate,
            found,
        })
    }
}

/// The moments that answer a query, the best first; equals by event and time.
pub fn moments(query: &Query, candidates: Vec<Candidate>) -> Vec<Said> {
    let mut said: Vec<Said> = candidates
        .into_iter()
        .filter_map(|candidate| Said::of(query, candidate))
        .collect();
    said.sort_by(|a, b| {
        let place = |said: &Said| {
            let moment = &said.candidate.moment;
            (
                moment.event_id.clone(),
                moment.island,
                moment.start_ms,
                moment.id.clone(),
            )
        };
        (b.found.score.total_cmp(&a.found.score)).then_with(|| place(a).cmp(&place(b)))
    });
    said
}

/// A recording that has the matched words, or would have had.
#[derive(Debug)]
pub struct Copy<'a> {
    /// Its copy of the moment.
    pub hearing: &'a HearingRow,
    /// The recording.
    pub recording: &'a RecordingRow,
    /// Where the matched words are in its file.
    pub at: Stretch,
}

/// Who heard the matched words and who did not, both in rank order.
#[derive(Debug, Default)]
pub struct Copies<'a> {
    /// Above their own noise.
    pub heard: Vec<Copy<'a>>,
    /// Not; without recorders that heard it in another of their recordings.
    pub not_heard: Vec<Copy<'a>>,
}

/// Sorts out the hearings of a moment. Of the pieces of one take only that is
/// listed which holds the matched words.
pub fn copies<'a>(
    said: &Said,
    hearings: &'a [HearingRow],
    recordings: &'a HashMap<RecordingId, RecordingRow>,
    places: &Places,
) -> Copies<'a> {
    let from = said.candidate.moment.words_from.as_ref();
    let from = hearings.iter().find(|h| Some(&h.recording_id) == from);
    let mut by_take: Vec<Copy<'a>> = Vec::new();
    for hearing in hearings {
        let Some(recording) = recordings.get(&hearing.recording_id) else {
            continue;
        };
        let at = match from {
            Some(from) => places.across(from, said.at, hearing),
            None => Stretch {
                start_ms: hearing.start_ms as f64,
                end_ms: hearing.end_ms as f64,
            },
        };
        let copy = Copy {
            hearing,
            recording,
            at,
        };
        match by_take
            .iter_mut()
            .find(|other| take_of(other) == take_of(&copy))
        {
            Some(other) if holds(&copy) > holds(other) => *other = copy,
            Some(_) => {}
            None => by_take.push(copy),
        }
    }
    by_take.sort_by_key(|copy| copy.hearing.rank);
    let (heard, not_heard): (Vec<_>, Vec<_>) =
        by_take.into_iter().partition(|copy| copy.hearing.heard);
    let heard_by = |copy: &Copy<'_>| {
        let source = &copy.recording.source_id;
        heard
            .iter()
            .any(|heard| heard.recording.source_id == *source)
    };
    let not_heard = not_heard.into_iter().filter(|c| !heard_by(c)).collect();
    Copies { heard, not_heard }
}

/// The take and the channel of it.
fn take_of<'a>(copy: &Copy<'a>) -> (&'a str, &'a str) {
    let recording = copy.recording;
    let take = recording.take_id.as_ref().unwrap_or(&recording.id);
    (take.as_str(), recording.pick.as_str())
}

/// How much of the matched words a piece of a take holds: those that heard them
/// before the others.
fn holds(copy: &Copy<'_>) -> (bool, i64) {
    let inside = copy.at.inside(copy.recording.duration_ms).max(0.0).round() as i64;
    (copy.hearing.heard && inside > 0, inside)
}

fn mean(values: impl Iterator<Item = f32>) -> f32 {
    let (sum, count) = values.fold((0.0, 0_u16), |(sum, n), v| (sum + v, n.saturating_add(1)));
    if count == 0 {
        0.0
    } else {
        sum / f32::from(count)
    }
}
