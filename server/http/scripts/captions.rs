//! Captions of what was written, at the times it was said: `/scripts/{script}/captions`.

use axum::extract::State;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use sayback_core::text::{Pass, Take};
use sayback_core::units::FileMs;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::AppState;
use super::super::extract::{Path, Query};
use super::super::places::Stretch;
use super::super::problem::{Answer, Problem};
use super::super::words::disposition;
use super::heard::{Located, located};
use super::pass_of;
use crate::export::{Format, Line, Sheet, Word, file_name};
use crate::store::{RecordingId, RecordingRow, ScriptId};

/// A sentence that agrees less than this with what was heard is marked as doubtful.
const SURE: f32 = 0.6;

/// The routes of captions.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(captions))
}

/// Of which pass, and on which clock.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct CaptionParams {
    /// Which pass, from 1; the most complete one where it is left out.
    #[param(minimum = 1, maximum = 1_000_000)]
    pass: Option<usize>,
    /// `vtt` for WebVTT or `srt` for SubRip.
    #[serde(default = "vtt")]
    #[param(default = "vtt", pattern = "^(vtt|srt)$")]
    format: String,
    /// A recording's id: times are its own; on the event clock where it is left out.
    recording: Option<String>,
}

fn vtt() -> String {
    "vtt".into()
}

/// Captions of the written words at the times they were said in a pass. What was left
/// out is not in them, nor what was added; a sentence that was said rather otherwise is
/// marked as doubtful.
#[utoipa::path(get, path = "/scripts/{script}/captions", tag = "scripts",
    params(("script" = String, Path, description = "the text's id"), CaptionParams),
    responses(
    (status = 200, description = "in the form that was asked for", content(
        (String = "text/vtt"),
        (String = "application/x-subrip"),
    )),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn captions(
    State(state): State<AppState>,
    Path(script): Path<ScriptId>,
    Query(params): Query<CaptionParams>,
) -> Answer<Response> {
    let format = match params.format.as_str() {
        "vtt" => Format::Vtt,
        "srt" => Format::Srt,
        _ => return Err(Problem::field("format", "format must be one of: vtt, srt")),
    };
    let row = state.store.script(&script).await?;
    let recording = match params.recording {
        Some(id) => Some(state.store.recording(&RecordingId::from(id)).await?),
        None => None,
    };
    let name = file_name(&row.title, format.extension());
    let located = located(&state.store, row).await?;
    let written = tokio::task::spawn_blocking(move || {
        let most = located.passes.most_complete.map_or(1, |n| n + 1);
        let pass = pass_of(&located, params.pass.unwrap_or(most))?;
        sheet(&located, pass, recording.as_ref()).map(|sheet| format.write(&sheet))
    });
    let text = written.await.map_err(Problem::internal)??;
    let kind = HeaderValue::from_static(format.media_type());
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CONTENT_DISPOSITION, disposition(&name)?),
    ];
    Ok((headers, text).into_response())
}

/// A pass as a sheet of captions; a time of the event clock counts as one of a file that
/// starts with it.
fn sheet(located: &Located, pass: &Pass, recording: Option<&RecordingRow>) -> Answer<Sheet> {
    let island = located.spoken.island(pass.heard.from).unwrap_or(0);
    if recording.is_none() && island != 0 {
        let why = "this pass is not on the event clock; say of which recording the times are to be";
        return Err(Problem::field("recording", why));
    }
    let heard = located.spoken.heard();
    let own = |start_ms: i64, end_ms: i64| -> Option<(i64, i64)> {
        let Some(recording) = recording else {
            return Some((start_ms, end_ms));
        };
        let at = Stretch {
            start_ms: start_ms as f64,
            end_ms: end_ms as f64,
        };
        let places = &located.spoken.places;
        let there = places.in_file_of(&recording.id, island, at)?;
        let inside = there.inside(recording.duration_ms) > 0.0;
        inside.then(|| there.in_file(recording.duration_ms))
    };
    let mut lines = Vec::new();
    for (n, said) in pass.sentences.iter().enumerate() {
        let Some(said) = said else { continue };
        let Some(sentence) = located.written.sentences.get(n) else {
            continue;
        };
        let times = said.take.written_times(sentence, &heard).into_iter();
        let words = times.filter_map(|time| {
            let (start, end) = own(time.start_ms, time.end_ms)?;
            Some(Word {
                text: sentence.words.get(time.word)?.clone(),
                start: FileMs(start),
                end: FileMs(end),
                confidence: heard.get(time.heard)?.confidence,
            })
        });
        lines.extend(line(located, &said.take, words.collect()));
    }
    if let (true, Some(recording)) = (lines.is_empty(), recording) {
        let why = format!("nothing of this pass lies in recording {}", recording.id);
        return Err(Problem::field("recording", why));
    }
    let (id, file, source) = match recording {
        Some(row) => (row.id.0.clone(), row.name.clone(), row.source_label.clone()),
        None => {
            let event = &located.spoken.event;
            (
                event.id.0.clone(),
                event.title.clone(),
                "event clock".into(),
            )
        }
    };
    Ok(Sheet {
        recording: id,
        file,
        source,
        channel: recording.and_then(|row| row.pick.parse().ok()),
        lines,
    })
}

fn line(located: &Located, take: &Take, words: Vec<Word>) -> Option<Line> {
    let moment = take
        .moments
        .first()
        .and_then(|&n| located.spoken.moments.get(n));
    let doubt = (take.agreement < SURE).then(|| {
        let percent = (100.0 * take.agreement).round();
        format!("it agrees with what was heard by {percent} %")
    });
    Some(Line {
        start: words.first()?.start,
        end: words.last()?.end,
        speaker: moment.and_then(|moment| moment.row.person_name.clone()),
        also: None,
        doubt,
        words: Some(words),
    })
}
