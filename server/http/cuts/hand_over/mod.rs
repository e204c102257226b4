//! A cut list as files of open formats, and with its sound: as a folder of this machine or
//! as one archive; and all that was said in an event, in the same formats.

mod archive;
mod client;
mod list;
mod making;
mod parcel;
mod pieces;
mod pipe;
mod said;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::AppState;
use super::super::extract::{Path, Query};
use super::super::problem::{Answer, Problem};
use super::super::wire::{CutFile, CutFiles, LeftOut};
use super::resolve::{self, Desk};
use crate::export::cut::{Cut, CutError, CutFormat, Options};
use list::List;
pub use making::HandOvers;

/// The longest handles, ms.
const MOST_HANDLES_MS: u64 = 60_000;

/// The routes of what is handed over.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(files))
        .routes(routes!(client::page))
        .merge(making::routes())
        .merge(archive::routes())
        .merge(said::routes())
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
    /// The timecode that it starts at; if it is left out 01:00:00:00 for a cut list, and
    /// 00:00:00:00 for an event.
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

/// Which quotes of a list.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct Which {
    /// Only these quotes, by their ids, with commas between; all if it is left out.
    quotes: Option<String>,
}

impl Which {
    fn ids(&self) -> Vec<String> {
        let typed = self.quotes.as_deref().unwrap_or_default().split(',');
        let ids = typed.map(str::trim).filter(|id| !id.is_empty());
        ids.map(str::to_owned).collect()
    }
}

/// A cut list, or some quotes of it, in an open format: mostly one file. Sound lies where
/// it lies, by its `file:` URL; quotes without a recording that has all of them are left
/// out and told.
#[utoipa::path(get, path = "/cuts/{cut}/files", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name"), How, Which),
    responses(
    (status = 200, body = CutFiles),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn files(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Query(how): Query<How>,
    Query(which): Query<Which>,
) -> Answer<Response> {
    let format = format_of(&how.format)?;
    let list = read(&state, &cut, &which.ids()).await?;
    let rate = list.rate(how.frame_rate.as_deref(), &[format])?;
    let (cut, left_out) = list.where_it_lies(rate);
    let written = tokio::task::spawn_blocking(move || written(&cut, &[format], &how));
    let written = written.await.map_err(Problem::internal)??;
    Ok(pipe::json(CutFiles {
        files: written.into_iter().map(|(_, file)| file).collect(),
        left_out,
    }))
}

/// A list with everything that its files tell of; only some of its quotes, if any are
/// named.
async fn read(state: &AppState, cut: &str, only: &[String]) -> Answer<List> {
    let store = &state.store;
    let row = store.find_cut(cut).await?;
    let (row, quotes) = store.whole_cut(&row.id).await?;
    let place = |id: &String| {
        let at = quotes.iter().position(|quote| quote.id.as_str() == *id);
        at.ok_or_else(|| Problem::missing("quote", id))
    };
    let mut wanted: Vec<usize> = only.iter().map(place).collect::<Answer<_>>()?;
    wanted.sort_unstable();
    wanted.dedup();
    let name = match wanted.as_slice() {
        [] => row.name.clone(),
        [one] => format!("{}, quote {}", row.name, one + 1),
        some => format!("{}, {} quotes", row.name, some.len()),
    };
    if wanted.is_empty() {
        wanted.extend(0..quotes.len());
    }
    let event = store.event(&row.event_id).await?;
    let desk = Desk::of_cut(store, &row).await?;
    let told = resolve::told(store, &desk, &quotes, &wanted).await?;
    Ok(List {
        id: row.id.0,
        name,
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

fn left_out(place: usize, reason: impl Into<String>) -> LeftOut {
    LeftOut {
        place,
        reason: reason.into(),
    }
}
