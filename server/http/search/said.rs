//! Which moments answer a query, and who heard the words that match?

use std::collections::HashMap;

use sayback_core::text::{Found, Query, Span};

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
    /// Words of a moment that somebody else found.
    pub fn words(candidate: Candidate, words: Span) -> Option<Self> {
        let rows = candidate.words.get(words.from..words.to)?;
        let at = Stretch {
            start_ms: rows.first()?.start_ms as f64,
            end_ms: rows.last()?.end_ms as f64,
        };
        Some(Self {
            at,
            sure: mean(rows.iter().map(|word| word.confidence)),
            found: Found {
                matched: vec![words],
                score: 1.0,
            },
            candidate,
        })
    }

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

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::super::super::made::{hearing, recording};
    use super::*;
    use crate::store::{EventRow, Json, MomentRow, PlacementRow, Word, WordRow};
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
            bm25: -1.0,
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
            event: Arc::new(EventRow {
                id: "e".into(),
                title: "Boathouse".into(),
                date: None,
                frame_rate: None,
                created_at_ms: 0,
                names: 0,
                languages: Json(Vec::new()),
                sources: 1,
                recordings: 1,
                segments: 1,
                words: 1,
            }),
        }
    }

    fn found(query: &str, candidates: Vec<Candidate>) -> Vec<Said> {
        moments(&Query::parse(query), candidates)
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
        let said = found(
            "bell rang",
            vec![candidate("m", "a", 1_000, "the ferry bell rang twice")],
        );
        let at = Stretch {
            start_ms: 1_600.0,
            end_ms: 2_150.0,
        };
        assert_eq!(said[0].at, at);
        // The mean of 0.7 and 0.8.
        assert!((said[0].sure - 0.75).abs() < 1e-6);
        assert!(
            found(
                "bell sang",
                vec![candidate("m", "a", 0, "the ferry bell rang")]
            )
            .is_empty()
        );
    }

    #[test]
    fn equal_matches_come_in_the_order_of_the_event() {
        let later = candidate("m1", "a", 9_000, "ferry bell");
        let sooner = candidate("m2", "a", 1_000, "ferry bell");
        let said = found("ferry", vec![later, sooner]);
        let ids: Vec<&str> = said
            .iter()
            .map(|s| s.candidate.moment.id.as_str())
            .collect();
        assert_eq!(ids, ["m2", "m1"]);
    }

    #[test]
    fn every_recorder_has_the_words_at_its_own_time() {
        let said = found("bell", vec![candidate("m", "a", 10_000, "ferry bell")]);
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
        let copies = copies(&said[0], &hearings, &recordings, &places);
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
        for (query, piece, at) in [("ferry", "b1", 59_700.0), ("bell", "b2", 300.0)] {
            let words = candidate("m", "a", 59_700, "ferry so bell");
            let said = found(query, vec![words]);
            let copies = copies(&said[0], &hearings, &recordings, &places);
            let told: Vec<&str> = copies
                .heard
                .iter()
                .map(|c| c.recording.id.as_str())
                .collect();
            assert_eq!(told, ["a", piece], "{query}");
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
        let said = found("bell", vec![candidate("m", "a", 59_700, "ferry so bell")]);
        let copies = copies(&said[0], &hearings, &recordings, &places);
        assert_eq!((copies.heard.len(), copies.not_heard.len()), (2, 0));
    }
}
