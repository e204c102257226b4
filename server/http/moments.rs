//! What was said, and who heard it? `/events/{event}/moments`, and the words of a
//! recording.

use std::collections::HashMap;

use axum::extract::State;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path, Query};
use super::people::{also, speaker};
use super::places::{Places, Stretch};
use super::problem::{Answer, Problem};
use super::shapes::{reference, source_of};
use super::wire::{
    EventRef, HeardWords, Moment, MomentHearing, MomentList, RecordingRef, Transcript, Word,
};
use crate::store::{
    HeardMoment, HearingRow, MomentId, MomentRow, RecordingId, RecordingRow, Store, StoreError,
    WordRow,
};

/// The most moments in one answer.
const LIMIT_MAX: usize = 1_000;

/// The most moments that can be passed over.
const OFFSET_MAX: usize = 1_000_000_000;

/// The routes of moments.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(list))
}

/// Which moments.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct MomentParams {
    /// Only those on the event clock that end after this, ms.
    from_ms: Option<i64>,
    /// Only those on the event clock that start before this, ms.
    to_ms: Option<i64>,
    /// The most moments in the answer, 1 to 1000.
    #[serde(default = "default_limit")]
    #[param(default = 100, minimum = 1, maximum = 1000)]
    limit: usize,
    /// How many moments to pass over.
    #[serde(default)]
    #[param(default = 0, minimum = 0, maximum = 1_000_000_000)]
    offset: usize,
}

fn default_limit() -> usize {
    100
}

/// Everything that was said in an event, each stretch once, with every recording
/// that has it.
#[utoipa::path(get, path = "/events/{event}/moments", tag = "search",
    params(("event" = String, Path, description = "the event's id, or its title"), MomentParams),
    responses(
    (status = 200, body = MomentList),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn list(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Query(params): Query<MomentParams>,
) -> Answer<Json<MomentList>> {
    if params.limit == 0 || params.limit > LIMIT_MAX {
        return Err(Problem::field("limit", "limit must be from 1 to 1000"));
    }
    if params.offset > OFFSET_MAX {
        let why = "offset must be from 0 to 1000000000";
        return Err(Problem::field("offset", why));
    }
    let event = state.store.find_event(&event).await?;
    let (from, to) = (params.from_ms, params.to_ms);
    let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let (limit, offset) = (number(params.limit), number(params.offset));
    let rows = state
        .store
        .moments(&event.id, from, to, limit, offset)
        .await?;
    let ids: Vec<MomentId> = rows.iter().map(|row| row.id.clone()).collect();
    let mut hearings = state.store.hearings_of(&ids).await?.into_iter().peekable();
    let recordings = state.store.recordings(&event.id).await?;
    let known: HashMap<&RecordingId, &RecordingRow> =
        recordings.iter().map(|row| (&row.id, row)).collect();
    let moments = rows.into_iter().map(|row| {
        let mut own = Vec::new();
        while let Some(hearing) = hearings.next_if(|hearing| hearing.moment_id == row.id) {
            own.push(hearing);
        }
        moment(row, own, &known)
    });
    Ok(Json(MomentList {
        total: state.store.moment_count(&event.id, from, to).await?,
        moments: moments.collect(),
        event: EventRef {
            id: event.id.0,
            title: event.title,
        },
    }))
}

/// A moment as answers tell it; `known` are the recordings of its event.
pub fn moment(
    row: MomentRow,
    hearings: Vec<HearingRow>,
    known: &HashMap<&RecordingId, &RecordingRow>,
) -> Moment {
    let on_clock = row.island == 0;
    Moment {
        person: speaker(&row),
        also: also(&row),
        id: row.id.0,
        version: row.version,
        by_hand: row.by_hand,
        island: row.island,
        start_ms: on_clock.then_some(row.start_ms),
        end_ms: on_clock.then_some(row.end_ms),
        text: row.text,
        language: row.language,
        doubt: row.doubt,
        why: row.why,
        words_from: words_from(row.words_from.as_ref(), known),
        hearings: hearings
            .into_iter()
            .filter_map(|hearing| {
                let recording = known.get(&hearing.recording_id)?;
                Some(MomentHearing {
                    source: source_of(recording),
                    recording: reference(recording),
                    start_ms: hearing.start_ms,
                    end_ms: hearing.end_ms,
                    heard: hearing.heard,
                    rank: hearing.rank,
                    level_dbfs: hearing.level_dbfs,
                    snr_db: hearing.snr_db,
                    clipped: hearing.clipped,
                    reverb: hearing.reverb,
                    score: hearing.score,
                    verdict: hearing.verdict.to_string(),
                    why: hearing.why.0,
                    listened: hearing.tried,
                })
            })
            .collect(),
    }
}

fn words_from(
    id: Option<&RecordingId>,
    known: &HashMap<&RecordingId, &RecordingRow>,
) -> Option<RecordingRef> {
    known.get(id?).map(|row| reference(row))
}

/// A recording with the words of its moments at its own times.
///
/// # Errors
/// When the database can't be read.
pub async fn transcript(store: &Store, row: RecordingRow) -> Result<Transcript, StoreError> {
    let heard = store.moments_of(&row.id).await?;
    let recordings = store.recordings(&row.event_id).await?;
    let known: HashMap<&RecordingId, &RecordingRow> =
        recordings.iter().map(|row| (&row.id, row)).collect();
    let places = Places::of(store, [&row.event_id]).await?;
    let ids: Vec<MomentId> = heard.iter().map(|heard| heard.moment.id.clone()).collect();
    let others = store.hearings_of(&ids).await?;
    let by_both: HashMap<(&MomentId, &RecordingId), &HearingRow> = others
        .iter()
        .map(|hearing| ((&hearing.moment_id, &hearing.recording_id), hearing))
        .collect();
    let hearings = heard.into_iter().map(|heard| {
        let HeardMoment {
            hearing,
            moment,
            words,
        } = heard;
        let from = moment
            .words_from
            .as_ref()
            .and_then(|from| by_both.get(&(&moment.id, from)).copied())
            .unwrap_or(&hearing);
        let all = words.len();
        let words: Vec<Word> = words
            .into_iter()
            .filter_map(|word| at_own_time(word, from, &hearing, &places, row.duration_ms))
            .collect();
        // A piece of a take has the words up to its end; the rest is in the next.
        let whole = words.len() == all;
        let text = match whole {
            true => moment.text.clone(),
            false => Some(joined(&words)),
        };
        HeardWords {
            person: speaker(&moment),
            also: also(&moment),
            words,
            whole,
            text,
            language: moment.language,
            words_from: words_from(moment.words_from.as_ref(), &known),
            moment: moment.id.0,
            version: moment.version,
            by_hand: moment.by_hand,
            start_ms: hearing.start_ms,
            end_ms: hearing.end_ms,
            heard: hearing.heard,
            rank: hearing.rank,
            level_dbfs: hearing.level_dbfs,
            snr_db: hearing.snr_db,
            doubt: moment.doubt,
        }
    });
    Ok(Transcript {
        hearings: hearings.collect(),
        recording: row.into(),
    })
}

fn joined(words: &[Word]) -> String {
    let words: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    words.join(" ")
}

/// A word at its time in the file of `to`; `None` where that is outside of it.
fn at_own_time(
    word: WordRow,
    from: &HearingRow,
    to: &HearingRow,
    places: &Places,
    duration_ms: i64,
) -> Option<Word> {
    let at = Stretch {
        start_ms: word.start_ms as f64,
        end_ms: word.end_ms as f64,
    };
    let there = places.across(from, at, to);
    let (start_ms, end_ms) = there.in_file(duration_ms);
    (there.inside(duration_ms) > 0.0).then_some(Word {
        text: word.text,
        start_ms,
        end_ms,
        confidence: word.confidence,
        by_hand: word.by_hand,
        heard: word.heard,
        language: word.language,
    })
}
