//! The description of the API: OpenAPI 3.1, made from the routes themselves.

use axum::Extension;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::Json;
use super::problem::Problem;

/// What the routes do not say themselves.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "sayback",
        description = "Finds who said what and when, in every recording of an event that \
            heard it. Times are whole milliseconds. Every refusal is RFC 9457 problem details.",
        license(name = "MIT", identifier = "MIT"),
    ),
    components(schemas(Problem)),
    tags(
        (name = "events", description = "Events and what is taken in"),
        (name = "clock", description = "Where recordings lie on the clock of their event"),
        (name = "recordings", description = "Recordings, their words and their sound"),
        (name = "moments", description = "What was said, put right by people"),
        (name = "people", description = "Who speaks, and what is kept of voices"),
        (name = "scripts", description = "Written texts, and where they were said"),
        (name = "search", description = "Who said what and when"),
        (name = "work", description = "The queue and its progress"),
        (name = "server", description = "The server itself"),
    )
)]
pub struct Description;

/// The description as it is served.
#[derive(Clone)]
pub struct Served(pub std::sync::Arc<utoipa::openapi::OpenApi>);

/// The routes of the description.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(openapi))
}

/// This description.
#[utoipa::path(get, path = "/openapi.json", tag = "server", responses(
    (status = 200, description = "OpenAPI 3.1", content_type = "application/json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn openapi(
    Extension(Served(description)): Extension<Served>,
) -> Json<utoipa::openapi::OpenApi> {
    Json((*description).clone())
}
