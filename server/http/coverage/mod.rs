//! What of an event has no backup? `/events/{event}/coverage`, and the same as a page
//! to print before cards are wiped.

mod sheet;

use std::collections::{BTreeSet, HashMap};

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use sayback_core::quality::{self, Covered, Gap, PartCoverage, Span};
use sayback_core::units::EventMs;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::places::is_on_event_clock;
use super::problem::{Answer, Problem};
use super::shapes::{reference, source_of};
use super::wire::{Coverage, CoverageGap, CoveredPart, EventRef, NoBackup, OffClock, SourceRef};
use crate::store::{
    EventId, EventRow, HearingRow, MomentId, MomentRow, PartRow, RecordingId, RecordingRow,
    SourceId, Store, StoreError, Unsettled,
};

/// Words that a gap is told by.
const SHOWN_WORDS: usize = 14;

/// The routes of coverage.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(coverage))
        .routes(routes!(page))
}

/// What of an event has a backup, part by part.
#[utoipa::path(get, path = "/events/{event}/coverage", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = Coverage),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn coverage(
    State(state): State<AppState>,
    Path(event): Path<String>,
) -> Answer<Json<Coverage>> {
    let event = state.store.find_event(&event).await?;
    Ok(Json(answer(&state.store, event).await?))
}

/// The same on one page to print, which needs no other file.
#[utoipa::path(get, path = "/events/{event}/coverage.html", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = String, content_type = "text/html"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn page(State(state): State<AppState>, Path(event): Path<String>) -> Answer<Response> {
    let event = state.store.find_event(&event).await?;
    let date = event.date.clone();
    let answer = answer(&state.store, event).await?;
    let headers = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8"),
        (header::CONTENT_SECURITY_POLICY, sheet::POLICY),
        (header::CACHE_CONTROL, "no-cache"),
    ];
    Ok((headers, sheet::html(&answer, date.as_deref())).into_response())
}

/// What the store knows of the moments of an event.
struct Known {
    event: EventRow,
    unsettled: Unsettled,
    parts: Vec<PartRow>,
    moments: Vec<MomentRow>,
    hearings: HashMap<MomentId, Vec<HearingRow>>,
    recordings: HashMap<RecordingId, RecordingRow>,
    /// Recordings on the event clock.
    placed: BTreeSet<RecordingId>,
}

async fn answer(store: &Store, event: EventRow) -> Answer<Coverage> {
    let known = known(store, event).await?;
    // A day has some ten thousand hearings.
    let counted = tokio::task::spawn_blocking(move || known.coverage()).await;
    counted.map_err(Problem::internal)
}

async fn known(store: &Store, event: EventRow) -> Result<Known, StoreError> {
    let id: &EventId = &event.id;
    // Told first: what ends meanwhile is called unfinished, not the other way round.
    let unsettled = store.unsettled(id).await?;
    let mut hearings: HashMap<MomentId, Vec<HearingRow>> = HashMap::new();
    for hearing in store.hearings_of_event(id).await? {
        hearings
            .entry(hearing.moment_id.clone())
            .or_default()
            .push(hearing);
    }
    let placements = store.placements(id).await?.into_iter();
    let recordings = store.recordings(id).await?.into_iter();
    Ok(Known {
        unsettled,
        parts: store.parts(id).await?,
        moments: store.moments(id, None, None, u32::MAX, 0).await?,
        hearings,
        recordings: recordings.map(|row| (row.id.clone(), row)).collect(),
        placed: placements
            .filter(is_on_event_clock)
            .map(|row| row.recording_id)
            .collect(),
        event,
    })
}

impl Known {
    fn coverage(mut self) -> Coverage {
        // What the model listened to and heard no words in needs no backup.
        self.moments
            .retain(|row| row.island == 0 && quality::needs_backup(row.text.as_deref()));
        let sources: Vec<SourceId> = {
            let ids: BTreeSet<_> = self.recordings.values().map(|r| &r.source_id).collect();
            ids.into_iter().cloned().collect()
        };
        let moments: Vec<Covered> = self
            .moments
            .iter()
            .map(|row| Covered {
                at: Span {
                    start: EventMs(row.start_ms),
                    end: EventMs(row.end_ms),
                },
                usable: self.usable(&row.id, &sources),
            })
            .collect();
        let spans: Vec<Span> = self.parts.iter().map(span).collect();
        let mut covered = quality::coverage(&spans, &moments);
        let elsewhere = covered.pop().unwrap_or_default();
        let told = |part, covered| self.told(part, &sources, covered);
        let parts: Vec<CoveredPart> = self
            .parts
            .iter()
            .zip(covered)
            .map(|(part, covered)| told(Some(part), covered))
            .collect();
        let finished = self.unsettled.open == 0;
        Coverage {
            event: EventRef {
                id: self.event.id.0.clone(),
                title: self.event.title.clone(),
            },
            finished,
            failed: self.unsettled.failed,
            backed_up: finished && parts.iter().all(|part| part.backed_up || !part.required),
            elsewhere: told(None, elsewhere),
            off_clock: self.off_clock(),
            parts,
        }
    }

    fn heard<'a>(
        &'a self,
        moment: &MomentId,
    ) -> impl Iterator<Item = (&'a HearingRow, &'a RecordingRow)> + use<'a> {
        let own = self.hearings.get(moment).map_or(&[][..], Vec::as_slice);
        own.iter()
            .filter(|hearing| hearing.heard)
            .filter_map(|hearing| Some((hearing, self.recordings.get(&hearing.recording_id)?)))
    }

    /// The sources that have a moment well enough, by number.
    fn usable(&self, moment: &MomentId, sources: &[SourceId]) -> Vec<usize> {
        let hearings = self.heard(moment).filter_map(|(hearing, recording)| {
            let source = sources.binary_search(&recording.source_id).ok()?;
            Some((hearing.heard, hearing.verdict.0, source))
        });
        quality::usable_sources(hearings)
    }

    fn told(
        &self,
        part: Option<&PartRow>,
        sources: &[SourceId],
        covered: PartCoverage,
    ) -> CoveredPart {
        CoveredPart {
            name: part.map(|part| part.name.clone()),
            required: part.is_some_and(|part| part.required),
            start_ms: part.map(|part| part.start_ms),
            end_ms: part.map(|part| part.end_ms),
            moments: covered.moments.len(),
            speech_ms: covered.speech_ms(),
            none_ms: covered.none_ms,
            one_ms: covered.one_ms,
            more_ms: covered.more_ms,
            backed_up: covered.is_backed_up(),
            gaps: covered
                .gaps
                .iter()
                .map(|gap| self.gap(gap, sources))
                .collect(),
        }
    }

    fn gap(&self, gap: &Gap, sources: &[SourceId]) -> CoverageGap {
        let moments = || gap.moments.iter().filter_map(|&n| self.moments.get(n));
        let longest = moments().max_by_key(|row| row.end_ms - row.start_ms);
        let only = gap.only.and_then(|n| sources.get(n));
        CoverageGap {
            start_ms: gap.at.start.0,
            end_ms: gap.at.end.0,
            moments: moments().map(|row| row.id.0.clone()).collect(),
            text: first_words(moments().filter_map(|row| row.text.as_deref())),
            only: only.and_then(|id| self.source(id)),
            others: longest.map_or_else(Vec::new, |row| self.no_backup(&row.id)),
        }
    }

    /// Who has a moment, but not well enough; each source by its best.
    fn no_backup(&self, moment: &MomentId) -> Vec<NoBackup> {
        let mut seen = BTreeSet::new();
        self.heard(moment)
            .filter(|(_, recording)| seen.insert(&recording.source_id))
            .filter(|(hearing, _)| !hearing.verdict.is_usable())
            .map(|(hearing, recording)| NoBackup {
                source: source_of(recording),
                verdict: hearing.verdict.to_string(),
                why: hearing.why.0.clone(),
            })
            .collect()
    }

    fn source(&self, id: &SourceId) -> Option<SourceRef> {
        let mut recordings = self.recordings.values();
        recordings
            .find(|recording| recording.source_id == *id)
            .map(source_of)
    }

    fn off_clock(&self) -> Vec<OffClock> {
        let mut off: Vec<OffClock> = self
            .recordings
            .values()
            .filter(|row| row.speech_ms.unwrap_or(0) > 0 && !self.placed.contains(&row.id))
            .map(|row| OffClock {
                recording: reference(row),
                source: source_of(row),
                speech_ms: row.speech_ms.unwrap_or(0),
            })
            .collect();
        off.sort_by(|a, b| a.recording.id.cmp(&b.recording.id));
        off
    }
}

/// Where a part lies.
pub(super) fn span(part: &PartRow) -> Span {
    Span {
        start: EventMs(part.start_ms),
        end: EventMs(part.end_ms),
    }
}

fn first_words<'a>(texts: impl Iterator<Item = &'a str>) -> String {
    let mut words = texts.flat_map(str::split_whitespace);
    let mut shown: Vec<&str> = words.by_ref().take(SHOWN_WORDS).collect();
    if words.next().is_some() {
        shown.push("…");
    }
    shown.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gap_is_told_by_its_first_words() {
        let long = "a b c d e f g h";
        assert_eq!(first_words([].into_iter()), "");
        assert_eq!(first_words(["a b", "c"].into_iter()), "a b c");
        assert_eq!(
            first_words([long, long].into_iter()),
            "a b c d e f g h a b c d e f …"
        );
    }
}
