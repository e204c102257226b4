//! Moments and who heard them as the search answer.

use std::collections::{BTreeSet, HashMap};

use sayback_core::quality::{Span, part_of};
use sayback_core::text;
use sayback_core::units::EventMs;

use super::super::coverage::span;
use super::super::people::{also, speaker};
use super::super::places::{Places, Stretch};
use super::super::shapes::{reference, source_of};
use super::super::timecode::timecode;
use super::super::wire::{EventRef, Hearing, Hit, Matched, NotHeard};
use super::said::{Copy, Said, copies};
use crate::store::{
    EventId, HearingRow, MomentId, PersonId, RecordingId, RecordingRow, SourceId, Store, StoreError,
};

/// A time that may be off by more is told to be, ms: one frame at 25 a second.
const EXACT_MS: f64 = 40.0;

/// Moments as hits, with everything that is known of who heard them.
///
/// # Errors
/// When the database can't be read.
pub async fn hits(store: &Store, page: &[Said]) -> Result<Vec<Hit>, StoreError> {
    let mut ids: Vec<MomentId> = page
        .iter()
        .map(|said| said.candidate.moment.id.clone())
        .collect();
    // Two stretches of one moment may be asked for.
    ids.sort();
    ids.dedup();
    let hearings = store.hearings_of(&ids).await?;
    let mut needed: Vec<RecordingId> = hearings.iter().map(|h| h.recording_id.clone()).collect();
    needed.sort();
    needed.dedup();
    let recordings = store.recordings_by_ids(&needed).await?;
    let recordings: HashMap<RecordingId, RecordingRow> = recordings
        .into_iter()
        .map(|row| (row.id.clone(), row))
        .collect();
    let events: BTreeSet<&EventId> = page.iter().map(|said| &said.candidate.event.id).collect();
    let mut parts = HashMap::new();
    let mut wearers: HashMap<SourceId, Vec<Wearer>> = HashMap::new();
    for event in &events {
        let rows = store.parts(event).await?;
        let spans = rows.iter().map(span).collect();
        let names = rows.into_iter().map(|row| row.name).collect();
        parts.insert((*event).clone(), (spans, names));
        let people = store.people(event).await?;
        for row in store.wearers(event).await? {
            let name = people.iter().find(|person| person.id == row.person_id);
            let from_ms = row.from_ms.unwrap_or(i64::MIN);
            let wearer = (
                from_ms,
                row.person_id,
                name.map(|person| person.name.clone()),
            );
            wearers.entry(row.source_id).or_default().push(wearer);
        }
    }
    let known = Known {
        places: Places::of(store, events).await?,
        recordings,
        parts,
        wearers,
    };
    let own: HashMap<&MomentId, &[HearingRow]> = hearings
        .chunk_by(|a, b| a.moment_id == b.moment_id)
        .filter_map(|own| Some((&own.first()?.moment_id, own)))
        .collect();
    Ok(page
        .iter()
        .map(|said| {
            let own = own.get(&said.candidate.moment.id).copied();
            known.hit(said, own.unwrap_or_default())
        })
        .collect())
}

/// What is known of the recordings of a page.
struct Known {
    places: Places,
    recordings: HashMap<RecordingId, RecordingRow>,
    /// Where the parts of each event lie, and their names.
    parts: HashMap<EventId, (Vec<Span>, Vec<String>)>,
    /// Who wears each source, by time.
    wearers: HashMap<SourceId, Vec<Wearer>>,
}

/// From when on, ms of the event clock; who; their name.
type Wearer = (i64, PersonId, Option<String>);

impl Known {
    fn hit(&self, said: &Said, hearings: &[HearingRow]) -> Hit {
        let (moment, event) = (&said.candidate.moment, &said.candidate.event);
        let words: Vec<&str> = said
            .candidate
            .words
            .iter()
            .map(|w| w.text.as_str())
            .collect();
        let copies = copies(said, hearings, &self.recordings, &self.places);
        let on_clock = self.on_event_clock(said, hearings);
        Hit {
            moment: moment.id.0.clone(),
            version: moment.version,
            event: EventRef {
                id: event.id.0.clone(),
                title: event.title.clone(),
            },
            part: on_clock.and_then(|at| self.part(&event.id, at)),
            text: words.join(" "),
            language: moment.language.clone(),
            matched: matched(&words, said),
            kind: "exact".into(),
            score: said.found.score,
            person: speaker(moment),
            also: also(moment),
            start_ms: on_clock.map(|at| at.start_ms.round() as i64),
            end_ms: on_clock.map(|at| at.end_ms.round() as i64),
            doubt: moment.doubt.clone(),
            heard_on: (1..)
                .zip(&copies.heard)
                .map(|(rank, copy)| self.hearing(said, copy, rank, event.frame_rate.as_deref()))
                .collect(),
            not_heard_on: copies.not_heard.iter().map(not_heard).collect(),
        }
    }

    fn on_event_clock(&self, said: &Said, hearings: &[HearingRow]) -> Option<Stretch> {
        let from = said.candidate.moment.words_from.as_ref()?;
        let from = hearings.iter().find(|h| h.recording_id == *from)?;
        self.places.on_event_clock(from, said.at)
    }

    /// The name of the part that a stretch of the event clock belongs to.
    fn part(&self, event: &EventId, at: Stretch) -> Option<String> {
        let (spans, names) = self.parts.get(event)?;
        let at = Span {
            start: EventMs(at.start_ms as i64),
            end: EventMs(at.end_ms as i64),
        };
        part_of(spans, at).and_then(|n| names.get(n).cloned())
    }

    fn hearing(&self, said: &Said, copy: &Copy<'_>, rank: u32, rate: Option<&str>) -> Hearing {
        let recording = copy.recording;
        let (start_ms, end_ms) = copy.at.in_file(recording.duration_ms);
        Hearing {
            source: source_of(recording),
            start_ms,
            end_ms,
            timecode: rate.and_then(|rate| time_of_day(recording, start_ms, rate)),
            rank,
            verdict: copy.hearing.verdict.to_string(),
            why: self.reasons(said, copy),
            play: format!(
                "/api/v1/recordings/{}/audio#t={},{}",
                recording.id,
                seconds(start_ms),
                seconds(end_ms)
            ),
            recording: reference(recording),
        }
    }

    /// That somebody else speaks than whoever wears it.
    fn bleeds(&self, said: &Said, copy: &Copy<'_>) -> Option<String> {
        let moment = &said.candidate.moment;
        let speaker = moment.person_id.as_ref()?;
        let wearers = self.wearers.get(&copy.recording.source_id)?;
        let since = wearers.iter().rev().find(|one| one.0 <= moment.start_ms);
        let (_, wearer, name) = since.or(wearers.first())?;
        let other = wearer != speaker && Some(wearer) != moment.also_id.as_ref();
        let name = name.as_ref().filter(|_| other)?;
        Some(format!("{name} wears it and does not speak here"))
    }

    /// What rank and verdict rest on; a guess is called one.
    fn reasons(&self, said: &Said, copy: &Copy<'_>) -> Vec<String> {
        let mut why = copy.hearing.why.0.clone();
        why.extend(self.bleeds(said, copy));
        let Some(from) = &said.candidate.moment.words_from else {
            return why;
        };
        if copy.recording.id == *from {
            why.push(format!("words {:.2} sure", said.sure));
            return why;
        }
        if let Some(other) = self.recordings.get(from) {
            why.push(format!("words heard on {}", other.source_label));
        }
        match self.places.doubt_ms(from, &copy.recording.id) {
            Some(doubt) if doubt <= EXACT_MS => {}
            Some(doubt) => why.push(format!("may be {:.1} s off", (doubt / 1000.0).max(0.1))),
            None => why.push("it is not known how far it may be off".into()),
        }
        why
    }
}

fn not_heard(copy: &Copy<'_>) -> NotHeard {
    let hearing = copy.hearing;
    NotHeard {
        source: source_of(copy.recording),
        recording: reference(copy.recording),
        why: match hearing.why.is_empty() {
            true => vec!["not above its own noise there".into()],
            false => hearing.why.0.clone(),
        },
    }
}

/// Which words of the text match. A row that shows no word (a lone dash) has a
/// place among the rows, but is not counted in a text.
fn matched(words: &[&str], said: &Said) -> Vec<Matched> {
    let shown = |to: usize| -> usize {
        words[..to]
            .iter()
            .map(|row| text::split_words(row).len())
            .sum()
    };
    let spans = said.found.matched.iter();
    spans
        .map(|span| Matched {
            from: shown(span.from),
            to: shown(span.to),
        })
        .collect()
}

/// By the stamp that counts samples since midnight: bext before iXML.
fn time_of_day(recording: &RecordingRow, start_ms: i64, frame_rate: &str) -> Option<String> {
    let stamps = &recording.stamps;
    let counted = ["bext", "ixml"].iter().find_map(|kind| {
        stamps
            .iter()
            .filter(|stamp| stamp.kind == *kind)
            .find_map(|stamp| Some((stamp.samples?, stamp.rate_hz?)))
    });
    let (samples, rate_hz) = counted?;
    timecode(u64::try_from(samples).ok()?, rate_hz, start_ms, frame_rate)
}

/// Seconds as W3C Media Fragments writes them, to the millisecond.
fn seconds(ms: i64) -> String {
    format!("{}.{:03}", ms / 1000, ms % 1000)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_media_fragment_has_three_digits() {
        assert_eq!(seconds(71_234), "71.234");
        assert_eq!(seconds(77_007), "77.007");
        assert_eq!(seconds(0), "0.000");
    }
}
