//! What does a person put right? `/moments/{moment}`.

use std::collections::HashMap;

use axum::extract::State;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use serde_json::json;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path, Query};
use super::moments::moment;
use super::problem::{Answer, Problem};
use super::shapes::{reference, rfc3339};
use super::wire::{
    Change, ChangeList, Fixed, HeardText, Join, MomentDetail, NewText, NewTimes, Split, Undo, Was,
    Word,
};
use crate::store::{
    self, ChangeRow, Cut, Fix, Fixing, MomentId, RecordingId, RecordingRow, Stale, StateWord,
    Store, StoreError, WordTimes,
};

/// The most changes in one answer: each holds whole states, of up to some 100 kB each.
const LIMIT_MAX: usize = 100;

/// The longest name of a person, characters.
const LONGEST_NAME: usize = 100;

/// The longest text of a moment, characters: half an hour of talk.
const LONGEST_TEXT: usize = 20_000;

/// The routes by which people put moments right.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(show))
        .routes(routes!(changes))
        .routes(routes!(words))
        .routes(routes!(times))
        .routes(routes!(join))
        .routes(routes!(split))
        .routes(routes!(undo))
}

/// One moment with its words and their times, and what speech models heard.
#[utoipa::path(get, path = "/moments/{moment}", tag = "moments",
    params(("moment" = String, Path, description = "the moment's id")),
    responses(
    (status = 200, body = MomentDetail),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn show(
    State(state): State<AppState>,
    Path(moment): Path<MomentId>,
) -> Answer<Json<MomentDetail>> {
    let mut details = details(&state.store, std::slice::from_ref(&moment)).await?;
    let missing = || Problem::missing("moment", moment.as_str());
    details.pop().map(Json).ok_or_else(missing)
}

/// Which changes.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct ChangeParams {
    /// The most changes in the answer, 1 to 100.
    #[serde(default = "default_limit")]
    #[param(default = 20, minimum = 1, maximum = 100)]
    limit: usize,
    /// How many changes to pass over.
    #[serde(default)]
    #[param(default = 0, minimum = 0)]
    offset: usize,
}

fn default_limit() -> usize {
    20
}

/// Who changed a moment, when, and how, the newest change first.
#[utoipa::path(get, path = "/moments/{moment}/changes", tag = "moments",
    params(("moment" = String, Path, description = "the moment's id"), ChangeParams),
    responses(
    (status = 200, body = ChangeList),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn changes(
    State(state): State<AppState>,
    Path(moment): Path<MomentId>,
    Query(params): Query<ChangeParams>,
) -> Answer<Json<ChangeList>> {
    if params.limit == 0 || params.limit > LIMIT_MAX {
        return Err(Problem::field("limit", "limit must be from 1 to 100"));
    }
    known(&state.store, &moment).await?;
    let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let (limit, offset) = (number(params.limit), number(params.offset));
    let changes = state.store.changes(&moment, limit, offset).await?;
    Ok(Json(ChangeList {
        total: state.store.change_count(&moment).await?,
        changes: changes.into_iter().map(change).collect(),
    }))
}

/// Writes the words of a moment anew.
///
/// Words that are as before keep their times; those that came in share what lies
/// between their neighbours. Speech models write beside them from then on, never over
/// them.
#[utoipa::path(put, path = "/moments/{moment}/words", tag = "moments", request_body = NewText,
    params(("moment" = String, Path, description = "the moment's id")),
    responses(
    (status = 200, body = Fixed),
    (status = 409, description = "somebody was quicker: `yours` is what was sent, `theirs` what \
        stands", body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn words(
    State(state): State<AppState>,
    Path(moment): Path<MomentId>,
    Json(asked): Json<NewText>,
) -> Answer<Json<Fixed>> {
    let fix = text(&asked.text);
    fixed(&state, &moment, asked.version, &asked.by, fix, &asked).await
}

/// Gives a moment, or its words, other times.
#[utoipa::path(put, path = "/moments/{moment}/times", tag = "moments", request_body = NewTimes,
    params(("moment" = String, Path, description = "the moment's id")),
    responses(
    (status = 200, body = Fixed),
    (status = 409, description = "somebody was quicker: `yours` is what was sent, `theirs` what \
        stands", body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn times(
    State(state): State<AppState>,
    Path(moment): Path<MomentId>,
    Json(asked): Json<NewTimes>,
) -> Answer<Json<Fixed>> {
    let words = asked.words.iter().map(|word| WordTimes {
        n: place(word.word),
        start_ms: word.start_ms,
        end_ms: word.end_ms,
    });
    let fix = Fix::Times {
        start_ms: asked.start_ms,
        end_ms: asked.end_ms,
        words: words.collect(),
    };
    fixed(&state, &moment, asked.version, &asked.by, Ok(fix), &asked).await
}

/// Makes two moments one.
#[utoipa::path(post, path = "/moments/{moment}/join", tag = "moments", request_body = Join,
    params(("moment" = String, Path, description = "the moment's id")),
    responses(
    (status = 200, body = Fixed),
    (status = 409, description = "somebody was quicker: `yours` is what was sent, `theirs` what \
        stands", body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn join(
    State(state): State<AppState>,
    Path(moment): Path<MomentId>,
    Json(asked): Json<Join>,
) -> Answer<Json<Fixed>> {
    let fix = Fix::Join {
        with: asked.with.as_str().into(),
        version: asked.with_version,
    };
    fixed(&state, &moment, asked.version, &asked.by, Ok(fix), &asked).await
}

/// Makes a moment two.
#[utoipa::path(post, path = "/moments/{moment}/split", tag = "moments", request_body = Split,
    params(("moment" = String, Path, description = "the moment's id")),
    responses(
    (status = 200, body = Fixed),
    (status = 409, description = "somebody was quicker: `yours` is what was sent, `theirs` what \
        stands", body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn split(
    State(state): State<AppState>,
    Path(moment): Path<MomentId>,
    Json(asked): Json<Split>,
) -> Answer<Json<Fixed>> {
    let fix = match (asked.at_word, asked.at_ms) {
        (Some(word), None) => Ok(Fix::Split(Cut::Word(place(word)))),
        (None, Some(at_ms)) => Ok(Fix::Split(Cut::At(at_ms))),
        _ => Err(Problem::field(
            "at_word",
            "say at_word or at_ms, one of them",
        )),
    };
    fixed(&state, &moment, asked.version, &asked.by, fix, &asked).await
}

/// Goes back to an earlier version of a moment, which is a new version.
///
/// What was joined or split since comes apart or together again.
#[utoipa::path(post, path = "/moments/{moment}/undo", tag = "moments", request_body = Undo,
    params(("moment" = String, Path, description = "the moment's id")),
    responses(
    (status = 200, body = Fixed),
    (status = 409, description = "somebody was quicker: `yours` is what was sent, `theirs` what \
        stands", body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn undo(
    State(state): State<AppState>,
    Path(moment): Path<MomentId>,
    Json(asked): Json<Undo>,
) -> Answer<Json<Fixed>> {
    let fix = Fix::Undo { to: asked.to };
    fixed(&state, &moment, asked.version, &asked.by, Ok(fix), &asked).await
}

/// Makes a change, and says what there is now.
async fn fixed(
    state: &AppState,
    moment: &MomentId,
    version: i64,
    by: &str,
    fix: Answer<Fix>,
    asked: &impl Serialize,
) -> Answer<Json<Fixed>> {
    // A moment that never was is the first thing to know.
    known(&state.store, moment).await?;
    let by = by.trim();
    if by.is_empty() || by.chars().count() > LONGEST_NAME || by.contains(char::is_control) {
        let told = format!("by says who, in 1 to {LONGEST_NAME} characters");
        return Err(Problem::field("by", told));
    }
    let fix = fix?;
    let fixing = Fixing {
        moment,
        version,
        by,
        fix: &fix,
    };
    let ids = match state.engine.fix(&fixing).await {
        Ok(ids) => ids,
        Err(StoreError::Stale(stale)) => return Err(quicker(*stale, asked)),
        Err(error) => return Err(error.into()),
    };
    let moments = details(&state.store, &ids).await?;
    Ok(Json(Fixed { moments }))
}

/// Refuses a moment that never was; what was joined to another is no more, but has a
/// history.
async fn known(store: &Store, moment: &MomentId) -> Answer<()> {
    let rows = store.moments_by_ids(std::slice::from_ref(moment)).await?;
    if rows.is_empty() && !store.was_changed(moment).await? {
        return Err(Problem::missing("moment", moment.as_str()));
    }
    Ok(())
}

/// A word's place; what can't be one is beyond all words.
fn place(word: i64) -> usize {
    usize::try_from(word).unwrap_or(usize::MAX)
}

/// A new text, if it is one.
fn text(text: &str) -> Answer<Fix> {
    if text.chars().count() > LONGEST_TEXT {
        let told = format!("a moment has at most {LONGEST_TEXT} characters");
        return Err(Problem::field("text", told));
    }
    if text.contains(|c: char| c.is_control() && !c.is_whitespace()) {
        return Err(Problem::field("text", "text holds control characters"));
    }
    Ok(Fix::Words { text: text.into() })
}

/// Both texts, so that nothing is lost.
fn quicker(stale: Stale, yours: &impl Serialize) -> Problem {
    let by = stale.last.as_ref().map(|last| last.by.as_str());
    let told = match (stale.version, by) {
        (Some(version), by) => format!(
            "moment {} was changed by {} meanwhile and is at version {version}; look at it and \
             decide, nothing was written",
            stale.moment,
            by.unwrap_or("a speech model")
        ),
        (None, Some(by)) => format!(
            "moment {} was made part of another by {by} meanwhile; nothing was written",
            stale.moment
        ),
        (None, None) => format!(
            "moment {} is no more since the event's moments were found anew; nothing was written",
            stale.moment
        ),
    };
    let theirs = json!({
        "moment": stale.moment,
        "version": stale.version,
        "text": stale.text,
        "now_in": stale.now_in,
        "kind": stale.last.as_ref().map(|last| last.kind.as_str()),
        "by": stale.last.as_ref().map(|last| &last.by),
        "at": stale.last.as_ref().map(|last| rfc3339(last.at_ms)),
    });
    Problem::of(
        StatusCode::CONFLICT,
        "changed-meanwhile",
        "Somebody was quicker",
        told,
    )
    .with("yours", json!(yours))
    .with("theirs", theirs)
}

/// Moments in the order of `ids`, as they are shown to who puts them right.
async fn details(store: &Store, ids: &[MomentId]) -> Answer<Vec<MomentDetail>> {
    let rows = store.moments_by_ids(ids).await?;
    let mut details = Vec::with_capacity(rows.len());
    let mut recordings: Vec<RecordingRow> = Vec::new();
    for row in rows {
        if recordings.is_empty() {
            recordings = store.recordings(&row.event_id).await?;
        }
        let known: HashMap<&RecordingId, &RecordingRow> =
            recordings.iter().map(|row| (&row.id, row)).collect();
        let id = std::slice::from_ref(&row.id);
        let words = store.words_of(id).await?;
        let hearings = store.hearings_of(id).await?;
        let heard = store.heard_of(&row.id).await?;
        let heard = heard.into_iter().filter_map(|heard| {
            Some(HeardText {
                recording: reference(known.get(&heard.recording_id)?),
                model: heard.model,
                text: heard.text,
            })
        });
        details.push(MomentDetail {
            words: words.into_iter().map(Into::into).collect(),
            heard: heard.collect(),
            moment: moment(row, hearings, &known),
        });
    }
    Ok(details)
}

fn change(row: ChangeRow) -> Change {
    Change {
        version: row.version,
        kind: row.kind.to_string(),
        by: row.by,
        at: rfc3339(row.at_ms),
        before: row.before.0.into_iter().map(was).collect(),
        after: row.after.0.into_iter().map(was).collect(),
    }
}

fn was(state: store::State) -> Was {
    let word = |word: StateWord| Word {
        text: word.text,
        start_ms: word.start_ms,
        end_ms: word.end_ms,
        confidence: word.confidence,
        by_hand: word.by_hand,
        heard: word.heard,
        language: word.language,
    };
    Was {
        text: state.text(),
        moment: state.moment.0,
        version: state.version,
        timed_in: state.timed_in.0,
        start_ms: state.start_ms,
        end_ms: state.end_ms,
        words: state.words.into_iter().flatten().map(word).collect(),
    }
}
