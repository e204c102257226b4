//! Written texts and where they were said: `/events/{event}/scripts`,
//! `/scripts/{script}` and what follows from it.

mod answer;
mod captions;
mod heard;

use axum::extract::State;
use axum::http::StatusCode;
use sayback_core::text::{MAX_NAME_CHARS, shown_name, split_words};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::parts::MAX_PARTS;
use super::problem::{Answer, Problem};
use super::shapes::rfc3339;
use super::wire::{
    EventRef, NewScript, Part, Script, ScriptChange, ScriptList, ScriptPart, ScriptPasses,
    ScriptRef,
};
use crate::jobs::What;
use crate::store::{self, EventRow, PartRow, ScriptId, ScriptRow, Store};
use heard::Located;

/// The most characters of a text.
const MAX_TEXT_CHARS: usize = 200_000;
/// The most characters of a title.
const MAX_TITLE_CHARS: usize = 200;
/// The most texts of an event.
const MAX_SCRIPTS: u32 = 200;

/// The routes of written texts.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(list, add))
        .routes(routes!(show, change, remove))
        .routes(routes!(passes))
        .routes(routes!(mark))
        .merge(captions::routes())
}

/// The written texts of an event, without what is in them.
#[utoipa::path(get, path = "/events/{event}/scripts", tag = "scripts",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = ScriptList),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn list(
    State(state): State<AppState>,
    Path(event): Path<String>,
) -> Answer<Json<ScriptList>> {
    let event = state.store.find_event(&event).await?;
    let rows = state.store.scripts(&event.id).await?;
    Ok(Json(ScriptList {
        scripts: rows.iter().map(listed).collect(),
        event: reference(event),
    }))
}

/// Keeps a written text of an event: a letter, vows, a reading.
#[utoipa::path(post, path = "/events/{event}/scripts", tag = "scripts", request_body = NewScript,
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 201, body = Script),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn add(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Json(new): Json<NewScript>,
) -> Answer<(StatusCode, Json<Script>)> {
    let event = state.store.find_event(&event).await?;
    let (title, part) = sensible(&new.title, &new.text, new.part.as_deref())?;
    let kept = store::NewScript {
        title: &title,
        text: &new.text,
        part: part.as_deref(),
    };
    let now_ms = jiff::Timestamp::now().as_millisecond();
    let row = state
        .store
        .add_script(&event.id, kept, MAX_SCRIPTS, now_ms)
        .await?;
    state.engine.changed(Some(event.id.clone()), What::Content);
    Ok((StatusCode::CREATED, Json(whole(row, event))))
}

/// A written text with its sentences.
#[utoipa::path(get, path = "/scripts/{script}", tag = "scripts",
    params(("script" = String, Path, description = "the text's id")),
    responses(
    (status = 200, body = Script),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn show(State(state): State<AppState>, Path(script): Path<ScriptId>) -> Answer<Json<Script>> {
    let row = state.store.script(&script).await?;
    let event = state.store.event(&row.event_id).await?;
    Ok(Json(whole(row, event)))
}

/// Puts another text, title or part in the place of what is kept.
#[utoipa::path(put, path = "/scripts/{script}", tag = "scripts", request_body = ScriptChange,
    params(("script" = String, Path, description = "the text's id")),
    responses(
    (status = 200, body = Script),
    (status = 409, description = "somebody was quicker", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn change(
    State(state): State<AppState>,
    Path(script): Path<ScriptId>,
    Json(change): Json<ScriptChange>,
) -> Answer<Json<Script>> {
    let (title, part) = sensible(&change.title, &change.text, change.part.as_deref())?;
    let kept = store::NewScript {
        title: &title,
        text: &change.text,
        part: part.as_deref(),
    };
    let changed = state.store.change_script(&script, change.version, kept);
    let Some(row) = changed.await? else {
        return Err(quicker(&state.store, &script).await?);
    };
    let event = state.store.event(&row.event_id).await?;
    state.engine.changed(Some(event.id.clone()), What::Content);
    Ok(Json(whole(row, event)))
}

/// Takes a written text away. Parts that were marked by it stay.
#[utoipa::path(delete, path = "/scripts/{script}", tag = "scripts",
    params(("script" = String, Path, description = "the text's id")),
    responses(
    (status = 204),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn remove(State(state): State<AppState>, Path(script): Path<ScriptId>) -> Answer<StatusCode> {
    let event = state.store.delete_script(&script).await?;
    state.engine.changed(Some(event), What::Content);
    Ok(StatusCode::NO_CONTENT)
}

/// Every time the text was read, sentence by sentence: where, what was changed, left out
/// or added, and who heard it best. From the words as they are now.
#[utoipa::path(get, path = "/scripts/{script}/passes", tag = "scripts",
    params(("script" = String, Path, description = "the text's id")),
    responses(
    (status = 200, body = ScriptPasses),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn passes(
    State(state): State<AppState>,
    Path(script): Path<ScriptId>,
) -> Answer<Json<ScriptPasses>> {
    let row = state.store.script(&script).await?;
    let located = heard::located(&state.store, row).await?;
    answer::passes(&state.store, &located).await.map(Json)
}

/// Makes the time of a pass a part of the event, and has the text stand for it.
#[utoipa::path(post, path = "/scripts/{script}/part", tag = "scripts", request_body = ScriptPart,
    params(("script" = String, Path, description = "the text's id")),
    responses(
    (status = 200, body = Part, description = "the part as it is kept"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn mark(
    State(state): State<AppState>,
    Path(script): Path<ScriptId>,
    Json(asked): Json<ScriptPart>,
) -> Answer<Json<Part>> {
    let name = a_part("name", &asked.name)?;
    let row = state.store.script(&script).await?;
    let event = row.event_id.clone();
    let located = heard::located(&state.store, row).await?;
    let number = usize::try_from(asked.pass).unwrap_or(0);
    let pass = pass_of(&located, number)?;
    let (start_ms, end_ms) = answer::on_clock(&located, pass).ok_or_else(|| {
        Problem::field("pass", "this pass is not on the event clock, as parts are")
    })?;
    let part = PartRow {
        name,
        start_ms,
        end_ms,
        required: asked.required,
    };
    let there = state.store.parts(&event).await?;
    if there.len() >= MAX_PARTS && there.iter().all(|one| one.name != part.name) {
        let why = format!("an event has at most {MAX_PARTS} parts; take one away first");
        return Err(Problem::field("name", why));
    }
    state.store.mark_part(&script, &part).await?;
    state.engine.changed(Some(event), What::Content);
    Ok(Json(Part {
        name: part.name,
        start_ms,
        end_ms,
        required: part.required,
    }))
}

/// A pass by its number, from 1.
fn pass_of(located: &Located, number: usize) -> Answer<&sayback_core::text::Pass> {
    let passes = &located.passes.passes;
    let pass = number.checked_sub(1).and_then(|n| passes.get(n));
    pass.ok_or_else(|| {
        let why = match passes.len() {
            0 => "this text was not found in what was said".to_owned(),
            1 => "there is only pass 1".to_owned(),
            count => format!("there are passes 1 to {count}"),
        };
        Problem::of(StatusCode::NOT_FOUND, "no-such-pass", "No such pass", why)
    })
}

/// The title and the part as they are kept, or why the text can't be taken.
fn sensible(title: &str, text: &str, part: Option<&str>) -> Answer<(String, Option<String>)> {
    let title = shown_name(title);
    if title.is_empty() {
        return Err(Problem::field("title", "a text needs a title"));
    }
    if title.chars().count() > MAX_TITLE_CHARS {
        let why = format!("a title has at most {MAX_TITLE_CHARS} characters");
        return Err(Problem::field("title", why));
    }
    if text.chars().count() > MAX_TEXT_CHARS {
        let why = format!("a text has at most {MAX_TEXT_CHARS} characters");
        return Err(Problem::field("text", why));
    }
    if split_words(text).is_empty() {
        return Err(Problem::field("text", "nothing in this text can be spoken"));
    }
    let part = part.map(|part| a_part("part", part)).transpose()?;
    Ok((title, part))
}

fn a_part(field: &str, name: &str) -> Answer<String> {
    let name = shown_name(name);
    if name.is_empty() {
        return Err(Problem::field(field, "a part needs a name"));
    }
    if name.chars().count() > MAX_NAME_CHARS {
        let why = format!("the name of a part has at most {MAX_NAME_CHARS} characters");
        return Err(Problem::field(field, why));
    }
    Ok(name)
}

async fn quicker(store: &Store, script: &ScriptId) -> Answer<Problem> {
    let now = store.script(script).await?;
    let told = format!(
        "the text was changed meanwhile and is at version {}; look at it and say again what it is \
         to be",
        now.version
    );
    let problem = Problem::of(
        StatusCode::CONFLICT,
        "changed-meanwhile",
        "Somebody was quicker",
        told,
    );
    Ok(problem.with("version", now.version))
}

fn reference(event: EventRow) -> EventRef {
    EventRef {
        id: event.id.0,
        title: event.title,
    }
}

fn listed(row: &ScriptRow) -> ScriptRef {
    ScriptRef {
        id: row.id.0.clone(),
        title: row.title.clone(),
        part: row.part.clone(),
        created_at: rfc3339(row.created_at_ms),
        version: row.version,
        words: split_words(&row.text).len(),
    }
}

fn whole(row: ScriptRow, event: EventRow) -> Script {
    Script {
        id: row.id.0,
        event: reference(event),
        title: row.title,
        part: row.part,
        created_at: rfc3339(row.created_at_ms),
        version: row.version,
        sentences: sayback_core::text::sentences(&row.text),
        text: row.text,
    }
}
