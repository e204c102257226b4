//! What can be added from this machine: `/roots`.

use std::path::{Path as FilePath, PathBuf};

use axum::extract::State;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path, Query};
use super::problem::{Answer, Problem};
use super::wire::{Folder, FolderEntry, FolderFile, Root, RootList, WirePath};
use crate::jobs::look_into;
use crate::store::{path_to_bytes, shown_name};

/// The routes of roots.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(roots))
        .routes(routes!(folder))
}

/// The folders of this machine that anybody may add from (`--root`).
#[utoipa::path(get, path = "/roots", tag = "events", responses(
    (status = 200, body = RootList),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn roots(State(state): State<AppState>) -> Json<RootList> {
    let roots = state.roots.iter().enumerate();
    Json(RootList {
        roots: roots
            .map(|(n, path)| Root {
                number: n + 1,
                name: shown_name(path),
                path: path.to_string_lossy().into_owned(),
            })
            .collect(),
    })
}

/// Which folder.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct FolderParams {
    /// Its path below the root; the root itself when it is left out.
    #[serde(default)]
    path: String,
}

/// The folders and recordings in a folder below a root. Links are not followed out of
/// the root, and none to a folder.
#[utoipa::path(get, path = "/roots/{root}", tag = "events",
    params(("root" = usize, Path, description = "the root's number", minimum = 1, maximum = 10_000),
        FolderParams),
    responses(
    (status = 200, body = Folder),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn folder(
    State(state): State<AppState>,
    Path(number): Path<usize>,
    Query(asked): Query<FolderParams>,
) -> Answer<Json<Folder>> {
    let root = number.checked_sub(1).and_then(|n| state.roots.get(n));
    let root = root.ok_or_else(|| Problem::missing("root", &number.to_string()))?;
    let (root, below) = (root.clone(), PathBuf::from(&asked.path));
    if asked.path.contains('\0') {
        return Err(Problem::missing(
            "folder",
            &asked.path.escape_debug().to_string(),
        ));
    }
    let listed = tokio::task::spawn_blocking(move || look_into(&root, &below)).await;
    let listing = listed.map_err(Problem::internal)?.map_err(|why| {
        let name = match asked.path.as_str() {
            "" => "the root".to_owned(),
            path => format!("'{}'", path.escape_debug()),
        };
        Problem::of(
            axum::http::StatusCode::NOT_FOUND,
            "no-such-folder",
            "No such folder",
            format!("{name} {why}"),
        )
    })?;
    let folders = listing.folders.iter().map(|path| FolderEntry {
        name: shown_name(path),
        path: wired(path),
    });
    let files = listing.files.iter().map(|file| FolderFile {
        name: shown_name(&file.path),
        bytes: file.size,
        modified_ms: file.mtime_ms,
        path: wired(&file.path),
    });
    Ok(Json(Folder {
        folders: folders.collect(),
        files: files.collect(),
        cut_short: listing.cut_short,
        path: asked.path,
    }))
}

fn wired(path: &FilePath) -> WirePath {
    match path.to_str() {
        Some(text) => WirePath::Text(text.to_owned()),
        None => WirePath::Bytes {
            bytes_hex: path_to_bytes(path)
                .iter()
                .map(|byte| format!("{byte:02x}"))
                .collect(),
        },
    }
}
