//! What was said there, and who heard the words that match?

use std::collections::HashMap;

use sayback_core::text::Span;

use super::super::places::{Places, Stretch};
use super::rank::Ranked;
use crate::store::{Candidate, HearingRow, MomentId, RecordingId, RecordingRow};

/// A moment of an answer.
#[derive(Debug)]
pub struct Said {
    /// The moment and its words.
    pub candidate: Candidate,
    /// Which of its words match, as positions in its rows of words.
    pub matched: Vec<Span>,
    /// Where they are in the file of the recording whose sound they were heard in.
    pub at: Stretch,
}

impl Said {
    /// Words from `from` on, as many as the moment had when it was looked for.
    pub fn of(candidate: &Candidate, matched: &[Span], from: usize) -> Option<Self> {
        let rows = &candidate.words;
        let inside = |n: usize| n.saturating_sub(from).min(rows.len());
        let matched: Vec<Span> = matched
            .iter()
            .map(|span| Span {
                from: inside(span.from),
                to: inside(span.to),
            })
            .filter(|span| span.from < span.to)
            .collect();
        // Where nothing was asked for, all of it is told.
        let first = rows.get(matched.first().map_or(0, |span| span.from))?;
        let last = rows.get(matched.last().map_or(rows.len(), |span| span.to) - 1)?;
        Some(Self {
            at: Stretch {
                start_ms: first.start_ms as f64,
                end_ms: last.end_ms as f64,
            },
            candidate: candidate.clone(),
            matched,
        })
    }
}

/// The moments of an answer in order, and which of them has most of it; `None` if they are
/// gone meanwhile.
pub fn moments(
    answer: &Ranked,
    whole: &HashMap<&MomentId, &Candidate>,
) -> Option<(Vec<Said>, usize)> {
    let matched = answer
        .found
        .as_ref()
        .map_or(&[][..], |found| &found.matched);
    let mut said = Vec::with_capacity(answer.rows.len());
    let mut main = None;
    let mut from = 0;
    for (n, row) in answer.rows.iter().enumerate() {
        let one = whole
            .get(&row.id)
            .and_then(|own| Said::of(own, matched, from));
        from += row.words.split_ascii_whitespace().count();
        if n == answer.main {
            main = Some(said.len());
        }
        match one {
            Some(one) => said.push(one),
            None if n == answer.main => return None,
            None => {}
        }
    }
    Some((said, main?))
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

#[cfg(test)]
mod tests {
    use super::super::super::made::{hearing, recording};
    use super::*;
    use crate::store::{Json, MomentRow, PlacementRow, Word, WordRow};
    use sayback_core::clock::{How, Placement};

    /// A moment whose words were heard in `from`, each 300 ms, from `at_ms` on.
    fn candidate(id: &str, from: &str, at_ms: i64, text: &str) -> Candidate {
        let words = (0..).zip(text.split(' ')).map(|(n, word)| WordRow {
            moment_id: id.into(),
            n,
            text: word.into(),
            start_ms: at_ms + n * 300,
            end_ms: at_ms + n * 300 + 250,
            confidence: 0.5 + 0.1 * n as f32,
            by_hand: false,
            heard: None,
            language: Some("en".into()),
        });
        Candidate {
            words: words.collect(),
            moment: MomentRow {
                id: id.into(),
                event_id: "e".into(),
                island: 0,
                start_ms: at_ms,
                end_ms: at_ms + 9_000,
                words_from: Some(from.into()),
                model: None,
                doubt: None,
                why: None,
                text: Some(text.into()),
                version: 1,
                by_hand: false,
                covers_from_ms: None,
                covers_to_ms: None,
                language: Some("en".into()),
                person_id: None,
                person_name: None,
                also_id: None,
                also_name: None,
                certainty: None,
                person_why: None,
            },
        }
    }

    /// The words of a moment from `from` to `to`.
    fn said(candidate: &Candidate, from: usize, to: usize) -> Said {
        Said::of(candidate, &[Span { from, to }], 0).unwrap()
    }

    fn placed(recording: &str, start_ms: f64) -> PlacementRow {
        PlacementRow {
            recording_id: recording.into(),
            island: 0,
            placement: Json(Placement::even(start_ms, 0.0)),
            how: Word(How::Sound),
            uncertainty_ms: Some(1.0),
            agreement: None,
            residual_ms: None,
            points: 0,
            warnings: Json(serde_json::Value::Null),
        }
    }

    fn known(recordings: Vec<RecordingRow>) -> HashMap<RecordingId, RecordingRow> {
        recordings
            .into_iter()
            .map(|row| (row.id.clone(), row))
            .collect()
    }

    #[test]
    fn the_matched_words_alone_bound_a_hit() {
        let candidate = candidate("m", "a", 1_000, "the ferry bell rang twice");
        let at = |start_ms, end_ms| Stretch { start_ms, end_ms };
        assert_eq!(said(&candidate, 2, 4).at, at(1_600.0, 2_150.0));
        // Nothing was asked for, or it is gone meanwhile: all of it.
        let whole = Said::of(&candidate, &[], 0).unwrap();
        assert_eq!(whole.at, at(1_000.0, 2_450.0));
        let gone = Said::of(&candidate, &[Span { from: 7, to: 9 }], 0).unwrap();
        assert!(gone.matched.is_empty());
    }

    #[test]
    fn every_recorder_has_the_words_at_its_own_time() {
        let said = said(&candidate("m", "a", 10_000, "ferry bell"), 1, 2);
        let recordings = known(vec![recording("a"), recording("b"), recording("c")]);
        let places = Places::with(vec![
            placed("a", 0.0),
            placed("b", -2_000.0),
            placed("c", 0.0),
        ]);
        let deaf = HearingRow {
            heard: false,
            ..hearing("c", 3)
        };
        let hearings = [hearing("b", 1), hearing("a", 2), deaf];
        let copies = copies(&said, &hearings, &recordings, &places);
        let told: Vec<(&str, f64)> = copies
            .heard
            .iter()
            .map(|copy| (copy.recording.id.as_str(), copy.at.start_ms))
            .collect();
        assert_eq!(told, [("b", 12_300.0), ("a", 10_300.0)]);
        assert_eq!(copies.not_heard.len(), 1);
        assert_eq!(copies.not_heard[0].recording.id.as_str(), "c");
    }

    #[test]
    fn of_a_split_take_the_piece_with_the_words_is_listed() {
        // Two pieces of a minute each; the moment lies over the cut, and the words
        // asked for are in the second: 60.3 s to 60.55 s.
        let piece = |id: &str, order| RecordingRow {
            take_id: Some("b1".into()),
            take_order: Some(order),
            take_of: Some(2),
            source_id: "lectern".into(),
            ..recording(id)
        };
        let long = RecordingRow {
            duration_ms: 120_000,
            ..recording("a")
        };
        let recordings = known(vec![long, piece("b1", 1), piece("b2", 2)]);
        let places = Places::with(vec![
            placed("a", 0.0),
            placed("b1", 0.0),
            placed("b2", 60_000.0),
        ]);
        let hearings = [hearing("a", 1), hearing("b1", 2), hearing("b2", 3)];
        let words = candidate("m", "a", 59_700, "ferry so bell");
        for (word, piece, at) in [(0, "b1", 59_700.0), (2, "b2", 300.0)] {
            let said = said(&words, word, word + 1);
            let copies = copies(&said, &hearings, &recordings, &places);
            let told: Vec<&str> = copies
                .heard
                .iter()
                .map(|c| c.recording.id.as_str())
                .collect();
            assert_eq!(told, ["a", piece], "{word}");
            assert!(
                (copies.heard[1].at.start_ms - at).abs() < 1e-6,
                "{copies:?}"
            );
        }
        // A piece that did not hear its part is no recorder that heard nothing.
        let deaf = HearingRow {
            heard: false,
            ..hearing("b1", 3)
        };
        let hearings = [hearing("a", 1), hearing("b2", 2), deaf];
        let said = said(&words, 2, 3);
        let copies = copies(&said, &hearings, &recordings, &places);
        assert_eq!((copies.heard.len(), copies.not_heard.len()), (2, 0));
    }
}
