//! The folder of a cut list as one ZIP archive, for an editor at another machine:
//! `GET /cuts/{cut}/archive`.

use axum::extract::State;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::super::AppState;
use super::super::super::extract::{Path, Query};
use super::super::super::problem::{Answer, Problem};
use super::super::super::wire::CutFolder;
use super::super::super::words::disposition;
use super::parcel::{Parcel, Stopped};
use super::{Which, pipe, read};
use crate::export::file_name;
use crate::media::pull::{Archive, Folder};

/// The routes of archives.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(archive))
}

/// What is in an archive.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Asked {
    /// The lists in it, with commas between: `otio`, `edl`, `vtt`, `srt`, `csv`,
    /// `markers`, `rttm`, `page`; none if it is left out.
    #[param(pattern = "^((otio|edl|vtt|srt|csv|markers|rttm|page)(,|$))*$")]
    formats: Option<String>,
    /// Sound before and after each quote, ms, as far as there is any.
    #[serde(default)]
    #[param(default = 0, maximum = 60_000)]
    handles_ms: u64,
    /// Whether the backups are pulled too.
    #[serde(default)]
    #[param(default = false)]
    backups: bool,
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

/// The sound of a cut list or of some of its quotes, its lists and a manifest with the
/// hash of each file, as one ZIP archive: the same files as in a folder, nothing encoded
/// anew and nothing compressed. It is made while it is sent, so that its length is not
/// known before; one that breaks off was not whole.
#[utoipa::path(get, path = "/cuts/{cut}/archive", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name"), Asked, Which),
    responses(
    (status = 200, description = "the archive", content_type = "application/zip"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn archive(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Query(asked): Query<Asked>,
    Query(which): Query<Which>,
) -> Answer<Response> {
    let list = read(&state, &cut, &which.ids()).await?;
    let parcel = Parcel::of(list, asked.into())?;
    let file = file_name(&format!("{}.list", parcel.name()), "zip");
    let (name, top) = (
        disposition(&file)?,
        file.trim_end_matches(".zip").to_owned(),
    );
    let turn = state.hand_overs.turn().await.map_err(Problem::internal)?;
    let (into, off, cancel, body) = pipe::pipe();
    tokio::task::spawn_blocking(move || {
        let folder = Folder::on(Archive::new(&top, into));
        let why = match parcel.fill(folder, &cancel, &|_| {}) {
            Ok(_) => None,
            Err(Stopped::Cancelled) => Some("nobody waits for it any more".to_owned()),
            Err(Stopped::Refused(why)) => Some(why),
        };
        if let Some(why) = why {
            tracing::warn!(%why, "an archive broke off");
            off.off(&why);
        }
        drop(turn);
    });
    let kind = HeaderValue::from_static("application/zip");
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CONTENT_DISPOSITION, name),
    ];
    Ok((headers, body).into_response())
}

impl From<Asked> for CutFolder {
    fn from(asked: Asked) -> Self {
        let formats = asked.formats.unwrap_or_default();
        let names = formats.split(',').filter(|name| !name.is_empty());
        Self {
            formats: names.map(str::to_owned).collect(),
            handles_ms: asked.handles_ms,
            backups: asked.backups,
            frame_rate: asked.frame_rate,
            start: asked.start,
            per_source: asked.per_source,
            word_markers: asked.word_markers,
            ..Self::default()
        }
    }
}
