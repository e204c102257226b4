//! Which other recordings heard the line, and took its words for others?
//!
//! A recogniser that mis-hears the very words asked for must not hide a
//! recording: the line is looked up by the words around them, and a stretch of
//! speech that agrees with those joins the hit, saying what it heard instead.

use std::collections::{BTreeMap, BTreeSet};

use sayback_core::text::{self, Query, Span};

use super::heard::{Heard, Line, grouped, track_of, words_of};
use crate::http::problem::Answer;
use crate::store::{EventId, SegmentCandidate, Store};

/// Words on either side of the match by which a line is looked up.
const AROUND: usize = 8;

/// Stretches of speech that are compared with a line: several times the
/// recorders of an event.
const LIKELY: u32 = 30;

/// From so many letters a word is looked up, while there are at least
/// [`FEWEST_WORDS`] such: short ones are in every other line and tell little.
const TELLING_LETTERS: usize = 4;
/// See [`TELLING_LETTERS`].
const FEWEST_WORDS: usize = 3;

/// How well the words around must agree, 0 to 1. Unrelated lines stay below
/// 0.40 in 99.9 % of pairs (see [`text::AGREE`]); here the likest of all lines
/// of an event are compared, and what was asked for is no evidence.
const AGREE: f32 = 0.6;

/// Adds to each line the recordings that heard it with other words.
pub async fn complete(store: &Store, query: &Query, lines: Vec<Line>) -> Answer<Vec<Line>> {
    let mut complete = Vec::with_capacity(lines.len());
    let mut tracks = BTreeMap::new();
    for mut line in lines {
        let event = line.told().candidate.event.id.clone();
        let on_all = match tracks.get(&event) {
            Some(tracks) => *tracks,
            None => {
                let counted = tracks_of(store, &event).await?;
                *tracks.entry(event.clone()).or_insert(counted)
            }
        };
        if line.hearings().len() >= on_all {
            complete.push(line);
            continue;
        }
        let likely = store
            .lines_like(&around(line.told()), &event, LIKELY)
            .await?;
        let more = same_line(query, &line, likely);
        line.add(more);
        complete.push(line);
    }
    Ok(complete)
}

/// How many tracks of an event have words.
async fn tracks_of(store: &Store, event: &EventId) -> Answer<usize> {
    let recordings = store.recordings(event).await?;
    let with_words = recordings.iter().filter(|one| one.word_count > 0);
    Ok(with_words.map(track_of).collect::<BTreeSet<_>>().len())
}

/// What is spoken in and around the match of a hearing, each word once.
fn around(heard: &Heard) -> Vec<String> {
    let words = heard.words();
    let near = near(&words, heard.found.extent()).iter();
    let once: BTreeSet<String> = near.flat_map(|word| text::parts(word)).collect();
    let is_telling = |word: &&String| word.chars().count() >= TELLING_LETTERS;
    let telling: Vec<String> = once.iter().filter(is_telling).cloned().collect();
    if telling.len() >= FEWEST_WORDS {
        return telling;
    }
    once.into_iter().collect()
}

/// A span with the words on either side.
fn near<'a, 'w>(words: &'a [&'w str], span: Span) -> &'a [&'w str] {
    &words[span.from.saturating_sub(AROUND)..words.len().min(span.to + AROUND)]
}

/// Those candidates on other tracks that are hearings of the line.
fn same_line(query: &Query, line: &Line, likely: Vec<SegmentCandidate>) -> Vec<Heard> {
    let told = line.told();
    let (words, extent) = (told.words(), told.found.extent());
    let known: BTreeSet<&str> = line.hearings().iter().map(Heard::track).collect();
    let mut heard: Vec<Heard> = likely
        .into_iter()
        .filter(|candidate| !known.contains(track_of(&candidate.recording)))
        .filter_map(|candidate| {
            let theirs = words_of(&candidate);
            // What matches by itself is a line of its own.
            if query.find_in(&theirs).is_some() {
                return None;
            }
            let span = text::counterpart(&words, extent, &theirs)?;
            let agreement = text::same_line(near(&words, extent), near(&theirs, span));
            (agreement >= AGREE).then(|| Heard::misheard(candidate, span))?
        })
        .collect();
    let all: Vec<&Heard> = std::iter::once(told).chain(&heard).collect();
    let mut ours: Vec<usize> = grouped(&all)
        .into_iter()
        .filter(|group| group.first() == Some(&0))
        .flat_map(|group| group.into_iter().skip(1))
        .map(|position| position - 1)
        .collect();
    ours.sort_unstable();
    ours.into_iter()
        .rev()
        .map(|position| heard.swap_remove(position))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::heard::lines;
    use super::super::made::candidate;
    use super::*;

    const SAID: &str = "my grandfather Ambrose rang the ferry bell every evening";

    /// What the others heard instead, for a query that the lapel alone matches.
    fn others(query: &str, likely: Vec<SegmentCandidate>) -> Vec<(String, i64, Option<String>)> {
        let query = Query::parse(query);
        let lines = lines(&query, vec![candidate("lapel", 1_000, 30.0, SAID)]);
        let heard = same_line(&query, &lines[0], likely);
        let mut told: Vec<_> = heard
            .into_iter()
            .map(|h| {
                (
                    h.recording().source_label.clone(),
                    h.start_ms,
                    h.misheard_as,
                )
            })
            .collect();
        told.sort();
        told
    }

    #[test]
    fn a_recording_that_heard_other_words_there_joins_the_line() {
        let likely = vec![
            candidate(
                "camera",
                5_000,
                9.0,
                "my grandfather and bros ran the ferry bell every evening",
            ),
            candidate(
                "feed",
                9_000,
                20.0,
                "so ring the ferry bell once for the living",
            ),
            candidate(
                "lapel",
                20_000,
                30.0,
                "my grandfather and bros rang the bell every evening",
            ),
        ];
        let camera = ("camera".to_owned(), 5_600, Some("and bros ran".to_owned()));
        assert_eq!(others("ambrose", likely), [camera]);
    }

    #[test]
    fn what_matches_by_itself_is_left_to_its_own_line() {
        let likely = vec![candidate("camera", 5_000, 9.0, SAID)];
        assert_eq!(others("ambrose", likely), []);
    }

    #[test]
    fn a_track_joins_once_where_it_agrees_best() {
        let likely = vec![
            candidate(
                "camera",
                90_000,
                9.0,
                "my grandfather had a dog and it rang the bell",
            ),
            candidate(
                "camera",
                5_000,
                9.0,
                "my grandfather amber rose rang the ferry bell every evening",
            ),
        ];
        let heard = others("ambrose", likely);
        assert_eq!(heard.len(), 1, "{heard:?}");
        assert_eq!(heard[0].2.as_deref(), Some("amber rose"));
    }
}
