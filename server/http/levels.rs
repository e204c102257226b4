//! How loud is a recording? `/recordings/{recording}/levels`.

use axum::extract::State;
use axum::http::StatusCode;
use sayback_core::quality::Track;
use sayback_core::units::FileMs;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path, Query};
use super::problem::{Answer, Problem};
use super::shapes::reference;
use super::wire::Levels;
use crate::store::{RecordingId, RecordingRow};

/// The routes of levels.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(levels))
}

/// Of what.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct LevelsParams {
    /// From here in the file, ms; its start if not said.
    start_ms: Option<i64>,
    /// To here, ms; its end if not said.
    end_ms: Option<i64>,
}

/// Loudness, peaks, clipped samples and digital silence of a recording, or of a stretch
/// of it.
#[utoipa::path(get, path = "/recordings/{recording}/levels", tag = "recordings",
    params(("recording" = String, Path, description = "the recording's id"), LevelsParams),
    responses(
    (status = 200, body = Levels),
    (status = 409, description = "it was not listened through yet, or by an earlier version",
        body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn levels(
    State(state): State<AppState>,
    Path(recording): Path<RecordingId>,
    Query(params): Query<LevelsParams>,
) -> Answer<Json<Levels>> {
    let row = state.store.recording(&recording).await?;
    let start_ms = params.start_ms.unwrap_or(0).max(0);
    let end_ms = params.end_ms.unwrap_or(i64::MAX).min(row.duration_ms);
    if start_ms >= end_ms {
        let told = format!(
            "nothing lies from {start_ms} to {end_ms} ms; the recording has {} ms",
            row.duration_ms
        );
        return Err(Problem::field("start_ms", told));
    }
    let kept = state.store.quality(&recording).await?;
    // Adding up a day takes some ms.
    let measure = move || {
        let track = Track::from_bytes(&kept?)?;
        Some(track.stretch(FileMs(start_ms), FileMs(end_ms)))
    };
    let measured = tokio::task::spawn_blocking(measure).await;
    let Some(found) = measured.map_err(Problem::internal)? else {
        return Err(not_measured(&row));
    };
    Ok(Json(Levels {
        recording: reference(&row),
        start_ms,
        end_ms,
        integrated_lufs: found.loudness.integrated_lufs.map(hundredth),
        range_lu: found.loudness.range_lu.map(hundredth),
        max_short_term_lufs: found.loudness.max_short_term_lufs.map(hundredth),
        true_peak_dbtp: found.true_peak_dbtp.map(hundredth),
        sample_peak_dbfs: found.sample_peak_dbfs.map(hundredth),
        clipped_samples: found.clipped,
        flat_samples: found.flat,
        silent_ms: found.silent_ms,
    }))
}

/// Nothing is known of how it sounds.
pub(super) fn not_measured(row: &RecordingRow) -> Problem {
    Problem::of(
        StatusCode::CONFLICT,
        "not-measured",
        "Not measured",
        format!(
            "'{}' was not measured yet; wait until it is listened through. What an earlier \
             version listened through is measured when sayback starts and finds the file",
            row.name
        ),
    )
}

/// No finer than what is kept.
fn hundredth(level: f64) -> f64 {
    (level * 100.0).round() / 100.0
}
