//! Is the server well? `GET /health`.

use axum::extract::State;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::Json;
use super::problem::{Answer, Problem};
use super::wire::{Health, Model, ModelHealth, ModelList, QueueHealth};

/// The routes of health and models.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(health))
        .routes(routes!(models))
}

/// Whether the server is well, what there is to do, and whether the speech
/// model is there.
#[utoipa::path(get, path = "/health", tag = "server", responses(
    (status = 200, body = Health),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn health(State(state): State<AppState>) -> Answer<Json<Health>> {
    let counts = state.store.queue_counts(None).await?;
    let paused = state.store.paused().await?;
    let (models, model) = (state.models.clone(), state.model.clone());
    let present = tokio::task::spawn_blocking(move || models.path(&model).is_ok())
        .await
        .map_err(Problem::internal)?;
    Ok(Json(Health {
        status: "ok".into(),
        version: env!("CARGO_PKG_VERSION").into(),
        queue: QueueHealth {
            waiting: counts.waiting,
            running: counts.running,
            failed: counts.failed,
            paused,
        },
        model: ModelHealth {
            name: state.model.to_string(),
            present,
        },
    }))
}

/// The speech models that can be used.
#[utoipa::path(get, path = "/models", tag = "server", responses(
    (status = 200, body = ModelList),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn models(State(state): State<AppState>) -> Answer<Json<ModelList>> {
    let shelf = state.models.clone();
    let known = tokio::task::spawn_blocking(move || shelf.list())
        .await
        .map_err(Problem::internal)?;
    let models = known
        .into_iter()
        .map(|model| Model {
            name: model.name,
            languages: model.languages,
            bytes: model.bytes,
            present: model.present,
        })
        .collect();
    Ok(Json(ModelList { models }))
}
