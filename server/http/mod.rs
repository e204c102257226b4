//! What may be asked over the network?
//!
//! Comes in: HTTP under `/api/v1`, and the page at `/`. Goes out: JSON
//! ([`wire`]), sound, events, and for every refusal problem details
//! ([`problem`]). Times are whole milliseconds.
//!
//! ```text
//! request ─ leftovers ─ account ─ harden ─ admit ─ catch panic ─ route ─ one call ─ answer
//!           unread      id, log   headers  host,                 store, engine,
//!           body                           origin                media, text
//! ```
//!
//! A handler extracts, asks permission, makes one call, answers. The command
//! line calls the same [`router`] in process.
//!
//! It never holds SQL, never decodes on an async thread, never listens on
//! anything but loopback, never writes to a recording.

mod add;
mod audio;
mod clock;
mod coverage;
mod cuts;
mod events;
mod extract;
mod fixes;
mod glossary;
mod guard;
mod health;
mod incoming;
mod leftover;
mod levels;
#[cfg(test)]
mod made;
mod moments;
mod openapi;
mod outline;
mod page;
mod parts;
mod peaks;
mod people;
mod pieces;
mod places;
pub mod problem;
mod range;
mod recordings;
mod roots;
mod scripts;
mod search;
mod serve;
mod shapes;
mod sources;
mod status;
mod uploads;
pub mod wire;
mod words;
mod work;
mod xml;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use axum::extract::DefaultBodyLimit;
use axum::{Extension, Router, middleware};
use tokio_util::sync::CancellationToken;
use tower_http::catch_panic::CatchPanicLayer;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;

pub use incoming::UploadLimits;
pub use serve::{Bound, ServeError, ServerFile, new_token, running_server};

use crate::jobs::Engine;
use crate::speech::ModelShelf;
use crate::store::Store;

/// Where the API lives.
pub const BASE: &str = "/api/v1";

/// The largest JSON body, bytes: room for the paths of 100,000 files.
const JSON_LIMIT_BYTES: usize = 32 << 20;

/// What the handlers share.
#[derive(Clone)]
pub struct AppState {
    store: Store,
    engine: Engine,
    models: Arc<ModelShelf>,
    model: Arc<str>,
    data_dir: Arc<Path>,
    roots: Arc<[PathBuf]>,
    token: Arc<str>,
    access: guard::Access,
    limits: UploadLimits,
    stopping: CancellationToken,
    hand_overs: cuts::HandOvers,
}

/// What the handlers work on and what they allow.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The data folder.
    pub data_dir: PathBuf,
    /// The speech model's name or file.
    pub model: String,
    /// Folders from which anybody on this machine may add.
    pub roots: Vec<PathBuf>,
    /// What proves that a caller owns the data folder; see [`new_token`].
    pub token: String,
    /// What uploads may use.
    pub limits: UploadLimits,
}

impl AppState {
    /// Joins the store, the engine and the models of one data folder.
    #[must_use]
    pub fn new(store: Store, engine: Engine, models: ModelShelf, settings: Settings) -> Self {
        Self {
            store,
            engine,
            models: Arc::new(models),
            model: settings.model.into(),
            data_dir: settings.data_dir.into(),
            roots: settings.roots.into(),
            access: guard::Access::new(&settings.token),
            token: settings.token.into(),
            limits: settings.limits,
            stopping: CancellationToken::new(),
            hand_overs: cuts::HandOvers::default(),
        }
    }
}

/// The routes under [`BASE`] with their description.
fn api() -> (Router<AppState>, utoipa::openapi::OpenApi) {
    let described = OpenApiRouter::with_openapi(openapi::Description::openapi()).nest(
        BASE,
        OpenApiRouter::new()
            .merge(events::routes())
            .merge(glossary::routes())
            .merge(parts::routes())
            .merge(people::routes())
            .merge(scripts::routes())
            .merge(coverage::routes())
            .merge(cuts::routes())
            .merge(clock::routes())
            .merge(add::routes())
            .merge(uploads::routes())
            .merge(pieces::routes())
            .merge(roots::routes())
            .merge(sources::routes())
            .merge(recordings::routes())
            .merge(levels::routes())
            .merge(peaks::routes())
            .merge(outline::routes())
            .merge(words::routes())
            .merge(moments::routes())
            .merge(fixes::routes())
            .merge(audio::routes())
            .merge(search::routes())
            .merge(status::routes())
            .merge(work::routes())
            .merge(health::routes())
            .merge(openapi::routes()),
    );
    described.split_for_parts()
}

/// Everything that is served, as one service.
pub fn router(state: AppState) -> Router {
    let (api, description) = api();
    let routes = api
        .layer(Extension(openapi::Served(Arc::new(description))))
        .fallback(page::page)
        .method_not_allowed_fallback(guard::wrong_method)
        .layer(DefaultBodyLimit::max(JSON_LIMIT_BYTES));
    guarded(routes).with_state(state)
}

/// Puts the guards around routes, the outermost last.
fn guarded<S: Clone + Send + Sync + 'static>(routes: Router<S>) -> Router<S> {
    routes
        .layer(CatchPanicLayer::custom(guard::panicked))
        .layer(middleware::from_fn(guard::admit))
        .layer(middleware::from_fn(guard::harden))
        .layer(middleware::from_fn(guard::account))
        .layer(middleware::from_fn(leftover::take_leftovers))
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::body::{Body, to_bytes};
    use axum::http::{Request, StatusCode};
    use axum::routing::get;
    use tower::ServiceExt;

    async fn broken() {
        panic!("a secret of ours");
    }

    #[tokio::test]
    async fn a_panic_becomes_a_problem_that_keeps_its_secret() {
        let service = guarded(Router::new().route("/broken", get(broken)));
        let request = Request::get("http://localhost/broken")
            .body(Body::empty())
            .expect("one");
        let response = service.oneshot(request).await.expect("an answer");
        assert_eq!(response.status(), StatusCode::INTERNAL_SERVER_ERROR);
        assert_eq!(response.headers()["content-type"], problem::PROBLEM_JSON);
        let body = to_bytes(response.into_body(), 1 << 20)
            .await
            .expect("a body");
        let text = String::from_utf8_lossy(&body);
        assert!(
            text.contains("urn:uuid:") && !text.contains("secret"),
            "{text}"
        );
    }
}
