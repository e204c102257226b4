//! A cut list as files of open formats, and as a folder with its sound:
//! `GET /cuts/{cut}/files`, `GET /cuts/{cut}/page` and `POST /cuts/{cut}/folder`.

mod client;
mod folder;
mod list;

use axum::extract::State;
use axum::http::StatusCode;
use sayback_core::timecode::FrameRate;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::AppState;
use super::super::extract::{Json, Path, Query};
use super::super::guard::Owner;
use super::super::problem::{Answer, Problem};
use super::super::wire::{CutFile, CutFiles, CutFolder, CutFolderMade, LeftOut};
use super::resolve::{self, Desk};
use crate::export::cut::{Cut, CutError, CutFormat, Options};
use list::List;

/// The longest handles, ms.
const MOST_HANDLES_MS: u64 = 60_000;

/// The routes of what is handed over.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(files))
        .routes(routes!(client::page))
        .routes(routes!(make_folder))
}

/// How a list is written.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct How {
    /// `otio`, `edl`, `vtt`, `srt`, `csv`, `markers`, `rttm` or `page`.
    #[param(pattern = "^(otio|edl|vtt|srt|csv|markers|rttm|page)$")]
    format: String,
    /// Frames a second, as `25`, `30000/1001` or `29.97df`; the event's if it is left out.
    frame_rate: Option<String>,
    /// The timecode that the cut starts at; 01:00:00:00 if it is left out.
    start: Option<String>,
    /// Whether there is an edit decision list for each recorder.
    #[serde(default)]
    #[param(default = false)]
    per_source: bool,
    /// Whether each word has a marker, and not only each quote.
    #[serde(default)]
    #[param(default = false)]
    word_markers: bool,
}

/// A cut list in an open format: mostly one file. Sound lies where it lies, by its
/// `file:` URL; quotes without a recording that has all of them are left out and told.
#[utoipa::path(get, path = "/cuts/{cut}/files", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name"), How),
    responses(
    (status = 200, body = CutFiles),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn files(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Query(how): Query<How>,
) -> Answer<Json<CutFiles>> {
    let format = format_of(&how.format)?;
    let list = read(&state, &cut).await?;
    let rate = list.rate(how.frame_rate.as_deref(), &[format])?;
    let (cut, left_out) = list.where_it_lies(rate);
    let written = tokio::task::spawn_blocking(move || written(&cut, &[format], &how))
        .await
        .map_err(Problem::internal)??;
    Ok(Json(CutFiles {
        files: written.into_iter().map(|(_, file)| file).collect(),
        left_out,
    }))
}

/// Makes a folder of this machine with the sound of a cut list, its lists and a manifest
/// with the hash of each file: nothing is encoded anew, and lists name the sound by paths
/// inside the folder, so that it opens on another machine. Only with the owner's token.
#[utoipa::path(post, path = "/cuts/{cut}/folder", tag = "cuts", request_body = CutFolder,
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 201, body = CutFolderMade),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn make_folder(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Owner(owner): Owner,
    Json(asked): Json<CutFolder>,
) -> Answer<(StatusCode, Json<CutFolderMade>)> {
    if !owner {
        let why = "only who can read the data folder may have files written on this machine";
        return Err(Problem::new(StatusCode::FORBIDDEN, why));
    }
    let formats = asked.formats.iter().map(|name| format_of(name));
    let formats: Vec<CutFormat> = formats.collect::<Answer<_>>()?;
    if asked.handles_ms > MOST_HANDLES_MS {
        let why = format!("handles are at most {MOST_HANDLES_MS} ms");
        return Err(Problem::field("handles_ms", why));
    }
    let list = read(&state, &cut).await?;
    let rate = list.rate(asked.frame_rate.as_deref(), &formats)?;
    let made = tokio::task::spawn_blocking(move || folder::make(&list, rate, &formats, &asked));
    let made = made.await.map_err(Problem::internal)??;
    Ok((StatusCode::CREATED, Json(made)))
}

/// A list with everything that its files tell of.
async fn read(state: &AppState, cut: &str) -> Answer<List> {
    let store = &state.store;
    let row = store.find_cut(cut).await?;
    let (row, quotes) = store.whole_cut(&row.id).await?;
    let event = store.event(&row.event_id).await?;
    let desk = Desk::of(store, &row).await?;
    let all: Vec<usize> = (0..quotes.len()).collect();
    let told = resolve::told(store, &desk, &quotes, &all).await?;
    Ok(List {
        row,
        event,
        desk,
        quotes: told.quotes,
    })
}

fn format_of(name: &str) -> Answer<CutFormat> {
    let known = CutFormat::ALL.into_iter();
    let found = known.clone().find(|format| format.name() == name);
    found.ok_or_else(|| {
        let names: Vec<&str> = known.map(CutFormat::name).collect();
        let why = format!("format must be one of: {}", names.join(", "));
        Problem::field("format", why)
    })
}

/// The files of a list, each with its format.
fn written(cut: &Cut, formats: &[CutFormat], how: &How) -> Answer<Vec<(CutFormat, CutFile)>> {
    let laid = cut.laid().map_err(refused)?;
    let mut options = Options {
        per_source: how.per_source,
        word_markers: how.word_markers,
        ..Options::of(cut)
    };
    if let Some(start) = &how.start {
        let frame = cut.rate.frame_of(start);
        options.start_frame =
            frame.map_err(|why| Problem::field("start", format!("start: {why}")))?;
    }
    let mut all = Vec::new();
    for format in formats {
        let files = format.write(&laid, &options).map_err(refused)?;
        all.extend(files.into_iter().map(|file| {
            let file = CutFile {
                name: file.name,
                media_type: format.media_type().into(),
                text: file.text,
            };
            (*format, file)
        }));
    }
    Ok(all)
}

fn refused(why: CutError) -> Problem {
    Problem::new(StatusCode::UNPROCESSABLE_ENTITY, why.to_string())
}

/// The rate that was asked for.
fn rate_of(text: &str) -> Answer<FrameRate> {
    text.parse()
        .map_err(|why| Problem::field("frame_rate", format!("frame_rate: {why}")))
}

fn left_out(place: usize, reason: impl Into<String>) -> LeftOut {
    LeftOut {
        place,
        reason: reason.into(),
    }
}
