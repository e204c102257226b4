//! What do recordings look like from afar? `/recordings/{recording}/peaks`, and of a whole
//! event `/events/{event}/peaks`.

use axum::body::Body;
use axum::extract::{Request, State};
use axum::response::Response;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use bytes::Bytes;
use sayback_core::signal::peaks::{
    LEVELS, MOST_COARSE_TILES, TILE_BINS, bin_ms, bins_at, level_for,
};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::audio::Sent;
use super::extract::{Json, Path, Query};
use super::levels::not_measured;
use super::problem::{Answer, Problem};
use super::shapes::reference;
use super::wire::{EventPeaks, EventRef, Peaks, RecordingPeaks};
use crate::store::{DrawnRow, RecordingId};

/// Bins of a recording that a page is given where it does not say how many it can use.
const BINS_MAX: u64 = TILE_BINS as u64;
/// The most that can be asked for.
const MOST_BINS_MAX: u64 = MOST_COARSE_TILES * TILE_BINS as u64;

/// What the bytes of a bin mean.
const SCALE: &str = "three bytes a bin: its lowest and its highest sample, each a signed \
    byte b = round(127 · sign(v) · √|v|) of the sample v, full scale 1, so that \
    v = sign(b) · (b / 127)²; then the share of the bin that is speech, 0 to 255";

/// The routes of peaks.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(peaks))
        .routes(routes!(tile))
        .routes(routes!(of_event))
}

/// What there is of a recording's wave.
#[utoipa::path(get, path = "/recordings/{recording}/peaks", tag = "recordings",
    params(("recording" = String, Path, description = "the recording's id")),
    responses(
    (status = 200, body = Peaks),
    (status = 409, description = "it was not listened through yet, or by an earlier version",
        body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn peaks(
    State(state): State<AppState>,
    Path(recording): Path<RecordingId>,
) -> Answer<Json<Peaks>> {
    let row = state.store.recording(&recording).await?;
    let bins = state.store.peak_bins(&recording).await?;
    let bins = bins.ok_or_else(|| not_measured(&row))?;
    Ok(Json(Peaks {
        recording: reference(&row),
        duration_ms: row.duration_ms,
        bin_ms: (0..LEVELS).map(bin_ms).collect(),
        bins: (0..LEVELS).map(|level| bins_at(level, bins)).collect(),
        tile_bins: TILE_BINS as u32,
        scale: SCALE.to_owned(),
    }))
}

/// 4,096 bins of a level, the last tile of a level fewer: three bytes each.
#[utoipa::path(get, path = "/recordings/{recording}/peaks/{level}/{tile}", tag = "recordings",
    params(("recording" = String, Path, description = "the recording's id"),
        ("level" = u8, Path, maximum = 5, description = "0 is the finest"),
        ("tile" = u32, Path, maximum = 4095, description = "from 0"),
        ("if-none-match" = Option<String>, Header, description = "the tag of what one has")),
    responses(
    (status = 200, description = "the bins", content_type = "application/octet-stream"),
    (status = 206, description = "one range of them", content_type = "application/octet-stream"),
    (status = 304, description = "they are what one has"),
    (status = 409, description = "it was not listened through yet, or by an earlier version",
        body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn tile(
    State(state): State<AppState>,
    Path((recording, level, tile)): Path<(RecordingId, u8, u32)>,
    request: Request,
) -> Answer<Response> {
    let Some(body) = state.store.peak_tile(&recording, level, tile).await? else {
        return Err(no_tile(&state, &recording, level, tile).await?);
    };
    let body = Bytes::from(body);
    let etag = format!("\"{}\"", blake3::hash(&body));
    let length = body.len() as u64;
    let sent = Sent::decide(&request, length, &etag, "application/octet-stream")?;
    Ok(match sent.range {
        Some(range) => {
            let part = body.slice(range.start as usize..range.end as usize);
            sent.with(Body::from(part))
        }
        None => sent.bare(),
    })
}

/// Why a tile is not there.
async fn no_tile(
    state: &AppState,
    recording: &RecordingId,
    level: u8,
    tile: u32,
) -> Answer<Problem> {
    let row = state.store.recording(recording).await?;
    Ok(match state.store.peak_bins(recording).await? {
        None => not_measured(&row),
        Some(_) => Problem::missing("tile", &format!("{level}/{tile}")),
    })
}

/// How fine.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct EventPeaksParams {
    /// At most so many bins a recording: each is given on the finest level that has no
    /// more, and on the coarsest where every level has; 4,096 if not said.
    #[param(minimum = 1, maximum = 16384)]
    bins_max: Option<u64>,
}

/// The waves of all recordings of an event that were listened through, each whole: what a
/// page paints first.
#[utoipa::path(get, path = "/events/{event}/peaks", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title"),
        EventPeaksParams),
    responses(
    (status = 200, body = EventPeaks),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn of_event(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Query(params): Query<EventPeaksParams>,
) -> Answer<Json<EventPeaks>> {
    let most = params.bins_max.unwrap_or(BINS_MAX);
    if !(1..=MOST_BINS_MAX).contains(&most) {
        let told = format!("bins_max is {most}; it must be 1 to {MOST_BINS_MAX}");
        return Err(Problem::field("bins_max", told));
    }
    let event = state.store.find_event(&event).await?;
    let level = move |bins| level_for(bins, most);
    let drawn = state.store.peaks_of_event(&event.id, level).await?;
    Ok(Json(EventPeaks {
        event: EventRef {
            id: event.id.0,
            title: event.title,
        },
        recordings: drawn.into_iter().map(shown).collect(),
    }))
}

fn shown(row: DrawnRow) -> RecordingPeaks {
    RecordingPeaks {
        recording: row.recording_id.0,
        level: row.level,
        bin_ms: bin_ms(row.level),
        body: BASE64.encode(&row.body),
    }
}
