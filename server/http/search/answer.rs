//! Lines and their hearings as the search answer.

use std::collections::{BTreeSet, HashMap};

use sayback_core::text;

use super::super::shapes::source_of;
use super::super::timecode::timecode;
use super::super::wire::{EventRef, Hearing, Hit, Matched, RecordingRef};
use super::heard::{Heard, Line};
use crate::store::{EventId, RecordingId, RecordingRow, Store, StoreError};

/// From so much above the noise a hearing is called clear, dB (common
/// practice; no source).
const CLEAR_SNR_DB: f32 = 20.0;
/// From so much above the noise a hearing is called usable, dB (as above).
const USABLE_SNR_DB: f32 = 10.0;

/// Where recordings start on the event clock, for events that have one: those
/// whose recordings are the pieces of a single take.
#[derive(Debug, Default)]
pub struct EventClock(HashMap<RecordingId, i64>);

impl EventClock {
    /// The clock of every event among the lines.
    pub async fn of(store: &Store, lines: &[Line]) -> Result<Self, StoreError> {
        let events: BTreeSet<&EventId> = lines
            .iter()
            .map(|line| &line.told().candidate.event.id)
            .collect();
        let mut starts = HashMap::new();
        for event in events {
            if store.take_count(event).await? == 1 {
                let mut pieces = store.recordings(event).await?;
                pieces.sort_by_key(|piece| piece.take_order);
                let mut at = 0;
                for piece in pieces {
                    starts.insert(piece.id, at);
                    at += piece.duration_ms;
                }
            }
        }
        Ok(Self(starts))
    }

    fn at(&self, recording: &RecordingId, file_ms: i64) -> Option<i64> {
        self.0.get(recording).map(|start| start + file_ms)
    }
}

/// A line as a hit.
pub fn hit(line: &Line, clock: &EventClock) -> Hit {
    let told = line.told();
    let event = &told.candidate.event;
    let on_clock = |ms| clock.at(&told.recording().id, ms);
    Hit {
        moment: told.candidate.transcript.segment.id.to_string(),
        event: EventRef {
            id: event.id.0.clone(),
            title: event.title.clone(),
        },
        part: None,
        text: told.words().join(" "),
        matched: matched(told),
        kind: "exact".into(),
        score: line.score(),
        person: None,
        start_ms: on_clock(told.start_ms),
        end_ms: on_clock(told.end_ms),
        heard_on: (1..)
            .zip(line.hearings())
            .map(|(rank, heard)| hearing(heard, rank, event.frame_rate.as_deref()))
            .collect(),
    }
}

/// Which words of the text match. A row that shows no word (a lone dash) has a
/// place among the rows, but is not counted in a text.
fn matched(told: &Heard) -> Vec<Matched> {
    let words = told.words();
    let shown = |to: usize| -> usize {
        words[..to]
            .iter()
            .map(|row| text::split_words(row).len())
            .sum()
    };
    let spans = told.found.matched.iter();
    spans
        .map(|span| Matched {
            from: shown(span.from),
            to: shown(span.to),
        })
        .collect()
}

fn hearing(heard: &Heard, rank: u32, frame_rate: Option<&str>) -> Hearing {
    let recording = heard.recording();
    let snr_db = heard.snr_db();
    let id = recording.id.0.clone();
    Hearing {
        source: source_of(recording),
        start_ms: heard.start_ms,
        end_ms: heard.end_ms,
        timecode: frame_rate.and_then(|rate| time_of_day(recording, heard.start_ms, rate)),
        rank,
        verdict: verdict(snr_db).into(),
        why: reasons(heard),
        play: format!(
            "/api/v1/recordings/{id}/audio#t={},{}",
            seconds(heard.start_ms),
            seconds(heard.end_ms)
        ),
        recording: RecordingRef {
            id,
            file: recording.name.clone(),
        },
    }
}

/// What the verdict rests on; a guess is called one.
fn reasons(heard: &Heard) -> Vec<String> {
    let mut why = vec![
        format!("{:.0} dB above its noise", heard.snr_db()),
        format!("words {:.2} sure", heard.matched_sure),
    ];
    if let Some(words) = &heard.misheard_as {
        why.push(format!("heard as '{words}', taken for the same line"));
    }
    why
}

fn verdict(snr_db: f32) -> &'static str {
    if snr_db >= CLEAR_SNR_DB {
        "clear"
    } else if snr_db >= USABLE_SNR_DB {
        "usable"
    } else {
        "noisy"
    }
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

    #[test]
    fn verdicts_change_at_20_and_10_db() {
        assert_eq!(verdict(20.0), "clear");
        assert_eq!(verdict(19.9), "usable");
        assert_eq!(verdict(10.0), "usable");
        assert_eq!(verdict(9.9), "noisy");
        assert_eq!(verdict(f32::NAN), "noisy");
    }
}
