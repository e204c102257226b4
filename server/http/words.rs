//! What is said in one recording? `/recordings/{recording}/words`, as JSON and as files
//! for other programs.

use axum::extract::State;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use sayback_core::units::FileMs;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa::openapi::schema::{Object, ObjectBuilder, Type};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path, Query};
use super::moments;
use super::problem::{Answer, Problem};
use super::wire::{HeardWords, Transcript};
use crate::export::{Format, Line, Sheet, Word, file_name};
use crate::store::RecordingId;

/// The answer of the API itself.
const JSON: &str = "json";

/// The routes of words.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(words))
}

/// In what form.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct WordsParams {
    /// `json`, or a file for other programs: NIST CTM, STM or RTTM, WebVTT, SubRip, plain text.
    /// Files hold what this recording heard; doubtful words are marked in them, and what
    /// is not written down yet is a marked hole.
    #[param(schema_with = formats)]
    format: Option<String>,
}

fn formats() -> Object {
    ObjectBuilder::new()
        .schema_type(Type::String)
        .enum_values(Some(names()))
        .default(Some(JSON.into()))
        .build()
}

fn names() -> Vec<&'static str> {
    std::iter::once(JSON)
        .chain(Format::ALL.map(Format::name))
        .collect()
}

/// A recording with every stretch of speech, and its words at this recording's own
/// times, whichever recording they were heard in.
#[utoipa::path(get, path = "/recordings/{recording}/words", tag = "recordings",
    params(("recording" = String, Path, description = "the recording's id"), WordsParams),
    responses(
    (status = 200, description = "in the form that was asked for", content(
        (Transcript = "application/json"),
        (String = "text/plain"),
        (String = "text/vtt"),
        (String = "application/x-subrip"),
    )),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn words(
    State(state): State<AppState>,
    Path(recording): Path<RecordingId>,
    Query(params): Query<WordsParams>,
) -> Answer<Response> {
    let format = wanted(params.format.as_deref())?;
    let row = state.store.recording(&recording).await?;
    let transcript = moments::transcript(&state.store, row).await?;
    let Some(format) = format else {
        return Ok(Json(transcript).into_response());
    };
    let name = disposition(&file_name(&transcript.recording.file, format.extension()))?;
    // The words of a whole day take a while.
    let written = tokio::task::spawn_blocking(move || format.write(&sheet(transcript)));
    let text = written.await.map_err(Problem::internal)?;
    let kind = HeaderValue::from_static(format.media_type());
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CONTENT_DISPOSITION, name),
    ];
    Ok((headers, text).into_response())
}

/// The file format that was asked for; `None` is JSON.
fn wanted(asked: Option<&str>) -> Answer<Option<Format>> {
    let Some(asked) = asked.filter(|asked| *asked != JSON) else {
        return Ok(None);
    };
    let found = Format::ALL
        .into_iter()
        .find(|format| format.name() == asked);
    found.map(Some).ok_or_else(|| {
        let why = format!("format must be one of: {}", names().join(", "));
        Problem::field("format", why).with("allowed", names())
    })
}

/// RFC 6266: a file to keep, its name also in letters beyond ASCII.
pub(super) fn disposition(name: &str) -> Answer<HeaderValue> {
    let plain = name.replace(|c: char| !c.is_ascii(), "_");
    let mut value = format!("attachment; filename=\"{plain}\"");
    if plain != name {
        let name = utf8_percent_encode(name, NON_ALPHANUMERIC);
        value.push_str(&format!("; filename*=UTF-8''{name}"));
    }
    HeaderValue::try_from(value).map_err(Problem::internal)
}

/// What a recording heard, for [`Format::write`].
fn sheet(transcript: Transcript) -> Sheet {
    let recording = transcript.recording;
    let heard = transcript.hearings.into_iter().filter(|h| h.heard);
    Sheet {
        lines: heard.map(line).collect(),
        // Anything but a number is all channels.
        channel: recording.channels.parse().ok(),
        recording: recording.id,
        file: recording.file,
        source: recording.source.label,
    }
}

fn line(hearing: HeardWords) -> Line {
    let word = |word: super::wire::Word| Word {
        text: word.text,
        start: FileMs(word.start_ms),
        end: FileMs(word.end_ms),
        confidence: word.confidence,
    };
    let words = hearing.words.into_iter().map(word).collect();
    Line {
        start: FileMs(hearing.start_ms),
        end: FileMs(hearing.end_ms),
        speaker: hearing.person.map(|person| person.name),
        also: hearing.also.map(|person| person.name),
        doubt: hearing.doubt,
        words: hearing.text.is_some().then_some(words),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_files_are_safe_in_a_header() {
        for (name, want) in [
            ("REC_1.vtt", "attachment; filename=\"REC_1.vtt\""),
            (
                "Brücke.vtt",
                "attachment; filename=\"Br_cke.vtt\"; filename*=UTF-8''Br%C3%BCcke%2Evtt",
            ),
        ] {
            assert_eq!(disposition(name).expect("a header"), want);
        }
    }

    #[test]
    fn an_unknown_format_is_told_what_there_is() {
        for json in [None, Some("json")] {
            assert_eq!(wanted(json).expect("JSON"), None);
        }
        for format in Format::ALL {
            assert_eq!(wanted(Some(format.name())).expect("one"), Some(format));
        }
        for unknown in ["", "VTT", "docx", "vtt "] {
            let problem = wanted(Some(unknown)).expect_err("no such format");
            assert_eq!(
                (problem.status, &problem.members["field"]),
                (422, &"format".into())
            );
            let allowed = ["json", "ctm", "stm", "rttm", "vtt", "srt", "text"];
            assert_eq!(problem.members["allowed"], serde_json::json!(allowed));
        }
    }
}
