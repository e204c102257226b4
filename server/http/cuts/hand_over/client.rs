//! The page of a cut list for a client, to be looked at in a browser: `GET /cuts/{cut}/page`.

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::IntoParams;

use super::super::super::AppState;
use super::super::super::extract::{Path, Query};
use super::super::super::problem::{Answer, Problem};
use super::{How, read, written};
use crate::export::cut::CutFormat;

/// What it may load: nothing but its own style.
const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'";

/// How times on it are counted.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct PageParams {
    /// Frames a second, as `25`, `30000/1001` or `29.97df`; the event's if it is left out.
    frame_rate: Option<String>,
}

/// A cut list as a page for a client: the text of `files` with `format=page`, by itself.
#[utoipa::path(get, path = "/cuts/{cut}/page", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name"), PageParams),
    responses(
    (status = 200, description = "the page", content_type = "text/html"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
pub(super) async fn page(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Query(params): Query<PageParams>,
) -> Answer<Response> {
    let format = CutFormat::Page;
    let list = read(&state, &cut, &[]).await?;
    let rate = list.rate(params.frame_rate.as_deref(), &[format])?;
    let (cut, _) = list.where_it_lies(rate);
    let written = tokio::task::spawn_blocking(move || written(&cut, &[format], &How::default()));
    let files = written.await.map_err(Problem::internal)??;
    let page: String = files.into_iter().map(|(_, file)| file.text).collect();
    let headers = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8"),
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::CACHE_CONTROL, "no-cache"),
    ];
    Ok((headers, page).into_response())
}
