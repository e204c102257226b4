//! Answers and who heard them, as hits.

use std::collections::{BTreeSet, HashMap};

use sayback_core::quality::{self, part_of};
use sayback_core::text::{self, How, Span};
use sayback_core::timecode::of_day;
use sayback_core::units::EventMs;

use super::super::people::{also, speaker};
use super::super::places::{Places, Stretch};
use super::super::shapes::{reference, source_of};
use super::super::wire::{EventRef, Hearing, Hit, Matched, NotHeard};
use super::rank::{Ranked, moments};
use super::said::{self, Copies, Copy, Said};
use crate::store::{
    Candidate, EventId, EventTitle, HearingRow, MomentId, MomentRow, RecordingId, RecordingRow,
    SourceId, Store, StoreError, Wearer,
};

/// A time that may be off by more is told to be, ms: one frame at 25 a second.
const EXACT_MS: f64 = 40.0;

/// What is to be told as one hit: words of one moment, or of a few that follow each other.
#[derive(Debug)]
pub struct Told {
    /// The moments, in order.
    pub said: Vec<Said>,
    /// Which of them has most of the words.
    pub main: usize,
    /// How they answer what was asked, as answers name it.
    pub kind: &'static str,
    /// How well, 0 to 1.
    pub score: f32,
    /// Whether that is too little to be told as found.
    pub guess: bool,
    /// How sure the recogniser is of the words, 0 to 1.
    pub sure: f32,
}

impl Told {
    /// A moment that means the like of what was asked, as far as `likeness` (0 to 1) says.
    pub fn meant(candidate: &Candidate, likeness: f32) -> Option<Self> {
        let whole = Self::words(
            candidate,
            Span {
                from: 0,
                to: candidate.words.len(),
            },
        )?;
        let nothing = |mut one: Said| {
            one.matched.clear();
            one
        };
        Some(Self {
            said: whole.said.into_iter().map(nothing).collect(),
            kind: "meaning",
            score: likeness.clamp(0.0, 1.0),
            guess: true,
            ..whole
        })
    }

    /// Words of a moment that were found otherwise than by a search.
    pub fn words(candidate: &Candidate, words: Span) -> Option<Self> {
        let said = Said::of(candidate, &[words], 0)?;
        let own = candidate.words.get(words.from..words.to)?;
        let sure: f32 = own.iter().map(|word| word.confidence).sum();
        Some(Self {
            said: vec![said],
            main: 0,
            kind: How::Exact.name(),
            score: 1.0,
            guess: false,
            sure: sure / own.len().max(1) as f32,
        })
    }
}

/// Answers as hits, with everything that is known of who heard them; without those that
/// are gone meanwhile.
///
/// # Errors
/// When the database can't be read.
pub async fn hits(store: &Store, page: &[Ranked]) -> Result<Vec<Hit>, StoreError> {
    let whole = store.whole_moments(&moments(page)).await?;
    let whole: HashMap<&MomentId, &Candidate> =
        whole.iter().map(|one| (&one.moment.id, one)).collect();
    let told = page.iter().filter_map(|answer| {
        let (said, main) = said::moments(answer, &whole)?;
        Some(Told {
            said,
            main,
            kind: answer.how.name(),
            score: answer.score,
            guess: answer.is_guess(),
            sure: answer.sure(),
        })
    });
    let told: Vec<Told> = told.collect();
    tell(store, &told).await
}

/// Tells of words as hits, in the order given.
///
/// # Errors
/// When the database can't be read.
pub async fn tell(store: &Store, told: &[Told]) -> Result<Vec<Hit>, StoreError> {
    let of = told.iter().flat_map(|one| &one.said);
    let moments: Vec<&MomentRow> = of.map(|one| &one.candidate.moment).collect();
    let ids: BTreeSet<MomentId> = moments.iter().map(|moment| moment.id.clone()).collect();
    let ids: Vec<MomentId> = ids.into_iter().collect();
    let mut hearings: HashMap<MomentId, Vec<HearingRow>> = HashMap::new();
    for hearing in store.hearings_of(&ids).await? {
        let own = hearings.entry(hearing.moment_id.clone()).or_default();
        own.push(hearing);
    }
    let heard_on = hearings.values().flatten();
    let needed: BTreeSet<RecordingId> = heard_on.map(|h| h.recording_id.clone()).collect();
    let needed: Vec<RecordingId> = needed.into_iter().collect();
    let recordings = store.recordings_by_ids(&needed).await?;
    let events: BTreeSet<&EventId> = moments.iter().map(|moment| &moment.event_id).collect();
    let events: Vec<&EventId> = events.into_iter().collect();
    let mut known = Known {
        places: Places::with(store.placements_of(&events).await?),
        recordings: recordings
            .into_iter()
            .map(|row| (row.id.clone(), row))
            .collect(),
        hearings,
        events: HashMap::new(),
        parts: HashMap::new(),
        wearers: HashMap::new(),
    };
    for event in store.event_titles(events.iter().copied()).await? {
        known.events.insert(event.id.clone(), event);
    }
    for part in store.parts_of(&events).await? {
        let (spans, names) = known.parts.entry(part.event_id).or_default();
        spans.push(quality::Span {
            start: EventMs(part.start_ms),
            end: EventMs(part.end_ms),
        });
        names.push(part.name);
    }
    for wearer in store.wearers_of(&events).await? {
        let of_source = known.wearers.entry(wearer.source_id.clone()).or_default();
        of_source.push(wearer);
    }
    Ok(told.iter().filter_map(|one| known.hit(one)).collect())
}

/// What is known of what a page tells of.
struct Known {
    places: Places,
    recordings: HashMap<RecordingId, RecordingRow>,
    hearings: HashMap<MomentId, Vec<HearingRow>>,
    events: HashMap<EventId, EventTitle>,
    /// Where the parts of each event lie, and their names.
    parts: HashMap<EventId, (Vec<quality::Span>, Vec<String>)>,
    /// Who wears each source, by time.
    wearers: HashMap<SourceId, Vec<Wearer>>,
}

impl Known {
    fn hit(&self, told: &Told) -> Option<Hit> {
        let said = &told.said;
        let moment = &said.get(told.main)?.candidate.moment;
        let event = self.events.get(&moment.event_id)?;
        let mut text: Vec<&str> = Vec::new();
        let mut spans = Vec::new();
        for one in said {
            let words: Vec<&str> = one
                .candidate
                .words
                .iter()
                .map(|w| w.text.as_str())
                .collect();
            let before = text.iter().map(|row| text::split_words(row).len()).sum();
            spans.extend(matched(&words, one, before));
            text.extend(words);
        }
        let on_clock = self.over(said, |one| self.on_event_clock(one));
        let copies = self.copies(said, told.main);
        Some(Hit {
            moment: moment.id.0.clone(),
            version: moment.version,
            runs_over: said
                .iter()
                .filter(|one| one.candidate.moment.id != moment.id)
                .map(|one| one.candidate.moment.id.0.clone())
                .collect(),
            event: EventRef {
                id: event.id.0.clone(),
                title: event.title.clone(),
            },
            part: on_clock.and_then(|at| self.part(&event.id, at)),
            text: text.join(" "),
            language: moment.language.clone(),
            matched: joined(spans),
            kind: told.kind.into(),
            score: told.score,
            guess: told.guess,
            person: speaker(moment),
            also: also(moment),
            start_ms: on_clock.map(|at| at.start_ms.round() as i64),
            end_ms: on_clock.map(|at| at.end_ms.round() as i64),
            doubt: moment.doubt.clone(),
            heard_on: (1..)
                .zip(&copies.heard)
                .map(|(rank, copy)| {
                    self.hearing(moment, copy, rank, event.frame_rate.as_deref(), told.sure)
                })
                .collect(),
            not_heard_on: copies.not_heard.iter().map(not_heard).collect(),
        })
    }

    /// Who heard the words of the moment that has most of them, from the first matched
    /// word of all moments to the last where one recording has them all.
    fn copies(&self, said: &[Said], main: usize) -> Copies<'_> {
        let of = |one: &Said| {
            let hearings = self.hearings.get(&one.candidate.moment.id);
            let hearings = hearings.map_or(&[][..], Vec::as_slice);
            said::copies(one, hearings, &self.recordings, &self.places)
        };
        let mut all: Vec<Copies> = said.iter().map(of).collect();
        if main >= all.len() {
            return Copies::default();
        }
        let mut copies = all.swap_remove(main);
        for copy in &mut copies.heard {
            for other in all.iter().flat_map(|other| &other.heard) {
                if other.recording.id == copy.recording.id {
                    copy.at.start_ms = copy.at.start_ms.min(other.at.start_ms);
                    copy.at.end_ms = copy.at.end_ms.max(other.at.end_ms);
                }
            }
        }
        copies
    }

    /// From the first of several stretches to the last.
    fn over(&self, said: &[Said], at: impl Fn(&Said) -> Option<Stretch>) -> Option<Stretch> {
        let all: Vec<Stretch> = said.iter().map(at).collect::<Option<_>>()?;
        Some(Stretch {
            start_ms: all.first()?.start_ms,
            end_ms: all.last()?.end_ms,
        })
    }

    fn on_event_clock(&self, said: &Said) -> Option<Stretch> {
        let moment = &said.candidate.moment;
        let from = moment.words_from.as_ref()?;
        let hearings = self.hearings.get(&moment.id)?;
        let from = hearings.iter().find(|h| h.recording_id == *from)?;
        self.places.on_event_clock(from, said.at)
    }

    /// The name of the part that a stretch of the event clock belongs to.
    fn part(&self, event: &EventId, at: Stretch) -> Option<String> {
        let (spans, names) = self.parts.get(event)?;
        let at = quality::Span {
            start: EventMs(at.start_ms as i64),
            end: EventMs(at.end_ms as i64),
        };
        part_of(spans, at).and_then(|n| names.get(n).cloned())
    }

    fn hearing(
        &self,
        moment: &MomentRow,
        copy: &Copy<'_>,
        rank: u32,
        rate: Option<&str>,
        sure: f32,
    ) -> Hearing {
        let recording = copy.recording;
        let (start_ms, end_ms) = copy.at.in_file(recording.duration_ms);
        Hearing {
            source: source_of(recording),
            start_ms,
            end_ms,
            timecode: rate.and_then(|rate| time_of_day(recording, start_ms, rate)),
            rank,
            verdict: copy.hearing.verdict.to_string(),
            why: self.reasons(moment, copy, sure),
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
    fn bleeds(&self, moment: &MomentRow, copy: &Copy<'_>) -> Option<String> {
        let speaker = moment.person_id.as_ref()?;
        let wearers = self.wearers.get(&copy.recording.source_id)?;
        let begins = |one: &&Wearer| one.from_ms.is_none_or(|from| from <= moment.start_ms);
        let wearer = wearers.iter().rev().find(begins).or(wearers.first())?;
        let other =
            wearer.person_id != *speaker && Some(&wearer.person_id) != moment.also_id.as_ref();
        other.then(|| format!("{} wears it and does not speak here", wearer.name))
    }

    /// What rank and verdict rest on; a guess is called one.
    fn reasons(&self, moment: &MomentRow, copy: &Copy<'_>, sure: f32) -> Vec<String> {
        let mut why = copy.hearing.why.0.clone();
        why.extend(self.bleeds(moment, copy));
        let Some(from) = &moment.words_from else {
            return why;
        };
        if copy.recording.id == *from {
            why.push(format!("words {sure:.2} sure"));
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

/// Which words of the text match, counted on from `before`. A row that shows no word (a
/// lone dash) has a place among the rows, but is not counted in a text.
fn matched(words: &[&str], said: &Said, before: usize) -> Vec<Matched> {
    let shown = |to: usize| -> usize {
        let rows = words.iter().take(to);
        before + rows.map(|row| text::split_words(row).len()).sum::<usize>()
    };
    let spans = said.matched.iter();
    spans
        .map(|span| Matched {
            from: shown(span.from),
            to: shown(span.to),
        })
        .collect()
}

/// Spans of one moment and the next that touch are one.
fn joined(spans: Vec<Matched>) -> Vec<Matched> {
    let mut joined: Vec<Matched> = Vec::with_capacity(spans.len());
    for span in spans {
        match joined.last_mut() {
            Some(last) if last.to >= span.from => last.to = last.to.max(span.to),
            _ => joined.push(span),
        }
    }
    joined
}

/// By the stamp that counts samples since midnight: bext before iXML. No label is left
/// out unless the event's rate says so.
pub fn time_of_day(recording: &RecordingRow, start_ms: i64, frame_rate: &str) -> Option<String> {
    let stamps = &recording.stamps;
    let counted = ["bext", "ixml"].iter().find_map(|kind| {
        stamps
            .iter()
            .filter(|stamp| stamp.kind == *kind)
            .find_map(|stamp| Some((stamp.samples?, stamp.rate_hz?)))
    });
    let (samples, rate_hz) = counted?;
    let rate = frame_rate.parse().ok()?;
    of_day(u64::try_from(samples).ok()?, rate_hz, start_ms, rate)
}

/// Seconds as W3C Media Fragments writes them, to the millisecond.
pub fn seconds(ms: i64) -> String {
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
