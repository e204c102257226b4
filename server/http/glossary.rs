//! What an event's people are called and what is spoken there:
//! `/events/{event}/glossary`, `/events/{event}/languages`.

use axum::extract::State;
use axum::http::StatusCode;
use sayback_core::text::{MAX_NAMES, glossary};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::problem::{Answer, Problem};
use super::wire::{Glossary, GlossaryName, LanguageCode, Languages};
use crate::speech::SpeechError;

/// Most codes of a list of languages: more than a model knows.
const MAX_LANGUAGES: usize = 100;

/// The routes of names and languages.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(names, set_names))
        .routes(routes!(languages, set_languages))
}

/// The names of an event: people, places, pets.
#[utoipa::path(get, path = "/events/{event}/glossary", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = Glossary),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn names(State(state): State<AppState>, Path(event): Path<String>) -> Answer<Json<Glossary>> {
    let event = state.store.find_event(&event).await?;
    let names = state.store.glossary(&event.id).await?;
    Ok(Json(shown(names)))
}

/// Gives an event its names, in place of those it had.
///
/// What is written already is made anew of what was heard, without listening again;
/// what people corrected stays as it is.
#[utoipa::path(put, path = "/events/{event}/glossary", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    request_body = Glossary,
    responses(
    (status = 200, body = Glossary, description = "the names as they are kept"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn set_names(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Json(typed): Json<Glossary>,
) -> Answer<Json<Glossary>> {
    let event = state.store.find_event(&event).await?;
    if typed.names.len() > MAX_NAMES {
        let why = format!("an event has at most {MAX_NAMES} names");
        return Err(Problem::field("names", why));
    }
    let typed: Vec<String> = typed.names.into_iter().map(|name| name.0).collect();
    let names = glossary(&typed).map_err(|error| Problem::field("names", error.to_string()))?;
    state.engine.set_glossary(&event.id, &names).await?;
    Ok(Json(shown(names)))
}

/// The languages that may be spoken in an event.
#[utoipa::path(get, path = "/events/{event}/languages", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = Languages),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn languages(
    State(state): State<AppState>,
    Path(event): Path<String>,
) -> Answer<Json<Languages>> {
    let event = state.store.find_event(&event).await?;
    let languages = state.store.languages(&event.id).await?;
    Ok(Json(spoken(languages)))
}

/// Says which languages are spoken in an event, for what is written from now on.
#[utoipa::path(put, path = "/events/{event}/languages", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    request_body = Languages,
    responses(
    (status = 200, body = Languages, description = "the languages as they are kept"),
    (status = 409, body = Problem, content_type = "application/problem+json",
        description = "the model does not know one"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn set_languages(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Json(typed): Json<Languages>,
) -> Answer<Json<Languages>> {
    let event = state.store.find_event(&event).await?;
    if typed.languages.len() > MAX_LANGUAGES {
        let count = typed.languages.len();
        let detail = format!("there are {count} codes; an event has at most {MAX_LANGUAGES}");
        return Err(Problem::field("languages", detail));
    }
    let mut languages: Vec<String> = Vec::new();
    for LanguageCode(code) in typed.languages {
        let letters = code.bytes().all(|letter| letter.is_ascii_lowercase());
        if !letters || !(2..=3).contains(&code.len()) {
            let detail = format!("{code:?} is no language's code, such as en or de");
            return Err(Problem::field("languages", detail));
        }
        if !languages.contains(&code) {
            languages.push(code);
        }
    }
    state.engine.knows(&languages).await.map_err(unknown)?;
    state.engine.set_languages(&event.id, &languages).await?;
    Ok(Json(spoken(languages)))
}

/// What the model does not know is no wrong request: with another model it would do.
fn unknown(error: SpeechError) -> Problem {
    let (kind, title) = ("language", "The model does not know the language");
    Problem::of(StatusCode::CONFLICT, kind, title, error.to_string()).with("field", "languages")
}

fn shown(names: Vec<String>) -> Glossary {
    Glossary {
        names: names.into_iter().map(GlossaryName).collect(),
    }
}

fn spoken(languages: Vec<String>) -> Languages {
    Languages {
        languages: languages.into_iter().map(LanguageCode).collect(),
    }
}
