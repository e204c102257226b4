//! Files that are sent in pieces, by the open protocol for resumable uploads 'tus',
//! version 1.0.0 (<https://tus.io/protocols/resumable-upload>), written from its
//! specification: core, creation, checksum, expiration, termination.
//!
//! `POST /events/{event}/uploads` makes an upload; at the address it answers with,
//! `HEAD` says how far it is, `PATCH` goes on from there, `DELETE` gives it up.

mod fields;
mod pour;
#[cfg(test)]
mod tests;

use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::middleware;
use axum::response::Response;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::add::{How, labelled, named};
use super::extract::Path;
use super::incoming::{check_disk, check_size};
use super::problem::{Answer, Problem};
use super::wire::FileBytes;
use super::{AppState, BASE};
use crate::jobs::{NewSending, Sending, SendingError, safe_name};
use fields::{CHECKSUMS, Checksum, EXTENSIONS, Metadata, Tus, VERSION, number, text};

static TUS_RESUMABLE: HeaderName = HeaderName::from_static("tus-resumable");
static TUS_VERSION: HeaderName = HeaderName::from_static("tus-version");
static TUS_EXTENSION: HeaderName = HeaderName::from_static("tus-extension");
static TUS_MAX_SIZE: HeaderName = HeaderName::from_static("tus-max-size");
static TUS_CHECKSUM_ALGORITHM: HeaderName = HeaderName::from_static("tus-checksum-algorithm");
static UPLOAD_OFFSET: HeaderName = HeaderName::from_static("upload-offset");
static UPLOAD_LENGTH: HeaderName = HeaderName::from_static("upload-length");
static UPLOAD_METADATA: HeaderName = HeaderName::from_static("upload-metadata");
static UPLOAD_CHECKSUM: HeaderName = HeaderName::from_static("upload-checksum");
static UPLOAD_EXPIRES: HeaderName = HeaderName::from_static("upload-expires");
static METHOD_OVERRIDE: HeaderName = HeaderName::from_static("x-http-method-override");

/// What the body of a piece is called.
const PIECE: &str = "application/offset+octet-stream";

/// The routes of uploads in pieces.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(begin, able))
        .routes(routes!(look, go_on, end, overridden))
        .layer(middleware::map_response(versioned))
}

/// Every answer says the version, refusals too.
async fn versioned(mut answer: Response) -> Response {
    let headers = answer.headers_mut();
    headers.insert(TUS_RESUMABLE.clone(), HeaderValue::from_static(VERSION));
    answer
}

/// What this server can do of the protocol.
#[utoipa::path(options, path = "/events/{event}/uploads", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 204, description = "in the headers Tus-Version, Tus-Extension, Tus-Max-Size \
        and Tus-Checksum-Algorithm"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn able(State(state): State<AppState>, Path(_): Path<String>) -> (StatusCode, HeaderMap) {
    let mut headers = HeaderMap::new();
    for (name, value) in [
        (&TUS_VERSION, VERSION),
        (&TUS_EXTENSION, EXTENSIONS),
        (&TUS_CHECKSUM_ALGORITHM, CHECKSUMS),
    ] {
        headers.insert(name.clone(), HeaderValue::from_static(value));
    }
    headers.insert(TUS_MAX_SIZE.clone(), state.limits.max_bytes.into());
    (StatusCode::NO_CONTENT, headers)
}

/// Begins an upload in pieces (tus 1.0.0). `Upload-Metadata` holds `filename` and
/// `source`, and may hold `placement`, `person` and `channels`, each in base64.
#[utoipa::path(post, path = "/events/{event}/uploads", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title"),
        ("Tus-Resumable" = String, Header, description = "the protocol's version",
            pattern = "^1\\.0\\.0$"),
        ("Upload-Length" = String, Header, description = "bytes of the whole file",
            pattern = "^[1-9][0-9]{0,9}$"),
        ("Upload-Metadata" = String, Header, description = "what the file is: pairs of a \
            name and a value in base64", pattern = "^filename YS53YXY=,source [A-Z]{4}$")),
    responses(
    (status = 201, description = "its address is in Location"),
    (status = 412, body = Problem, content_type = "application/problem+json"),
    (status = 413, body = Problem, content_type = "application/problem+json"),
    (status = 507, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn begin(
    State(state): State<AppState>,
    _: Tus,
    Path(event): Path<String>,
    headers: HeaderMap,
) -> Answer<(StatusCode, HeaderMap)> {
    let event = state.store.find_event(&event).await?;
    let length = number(&headers, &UPLOAD_LENGTH)?;
    let said = text(&headers, &UPLOAD_METADATA)?.unwrap_or_default();
    let metadata = Metadata::parse(said)?;
    let file_name = safe_name(metadata.needed("filename")?)?.to_owned();
    let how = How::of(&metadata.get("placement"), &metadata.get("channels"))?;
    let person = metadata.get("person");
    if length == 0 {
        let told = format!("'{file_name}' holds 0 bytes");
        return Err(Problem::field("Upload-Length", told));
    }
    check_size(&file_name, length, state.limits)?;
    check_disk(&state.data_dir, length, state.limits)?;
    let new = NewSending {
        event: event.id,
        source: labelled(metadata.needed("source")?)?,
        placement: how.placement,
        person: person.as_deref().map(named).transpose()?,
        channels: how.channels,
        file_name,
        length,
        said: said.to_owned(),
    };
    let sending = state.engine.begin_sending(new).await?;
    let mut answer = HeaderMap::new();
    let address = format!("{BASE}/uploads/{}", sending.id);
    answer.insert(header::LOCATION, value(&address)?);
    answer.insert(UPLOAD_EXPIRES.clone(), expires(&sending)?);
    Ok((StatusCode::CREATED, answer))
}

/// How far an upload is: what is told is safely on the disk.
#[utoipa::path(head, path = "/uploads/{upload}", tag = "events",
    params(("upload" = String, Path, description = "the upload's id"),
        ("Tus-Resumable" = String, Header, description = "the protocol's version",
            pattern = "^1\\.0\\.0$")),
    responses(
    (status = 200, description = "in the headers Upload-Offset and Upload-Length"),
    (status = 410, description = "nothing came for seven days"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn look(
    State(state): State<AppState>,
    _: Tus,
    Path(upload): Path<String>,
) -> Answer<(StatusCode, HeaderMap)> {
    let sending = state.engine.sending(&upload).await?;
    let mut answer = far(&sending)?;
    answer.insert(UPLOAD_LENGTH.clone(), sending.length.into());
    if !sending.said.is_empty() {
        answer.insert(UPLOAD_METADATA.clone(), value(&sending.said)?);
    }
    answer.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    Ok((StatusCode::OK, answer))
}

/// Goes on with an upload where it is. What comes before the connection is lost is
/// kept, unless a checksum was promised for all of it.
#[utoipa::path(patch, path = "/uploads/{upload}", tag = "events",
    params(("upload" = String, Path, description = "the upload's id"),
        ("Tus-Resumable" = String, Header, description = "the protocol's version",
            pattern = "^1\\.0\\.0$"),
        ("Upload-Offset" = String, Header, description = "where the piece begins, bytes",
            pattern = "^[0-9]{1,10}$"),
        ("Upload-Checksum" = Option<String>, Header,
            description = "sha1 or sha256, a blank, and the piece's hash in base64",
            pattern = "^sha1 [0-9a-zA-Z]{27}=$")),
    request_body(content = FileBytes, content_type = "application/offset+octet-stream"),
    responses(
    (status = 204, description = "it is kept; Upload-Offset says how far the upload is"),
    (status = 409, description = "the upload is at another byte",
        body = Problem, content_type = "application/problem+json"),
    (status = 413, body = Problem, content_type = "application/problem+json"),
    (status = 415, body = Problem, content_type = "application/problem+json"),
    (status = 423, description = "another request is writing to it",
        body = Problem, content_type = "application/problem+json"),
    (status = 460, description = "the piece is not what its checksum says; it was not kept",
        body = Problem, content_type = "application/problem+json"),
    (status = 507, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn go_on(
    State(state): State<AppState>,
    _: Tus,
    Path(upload): Path<String>,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, HeaderMap)> {
    if text(&headers, &header::CONTENT_TYPE)? != Some(PIECE) {
        let told = format!("a piece of an upload is sent as {PIECE}");
        return Err(Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, told));
    }
    let offset = number(&headers, &UPLOAD_OFFSET)?;
    let checksum = text(&headers, &UPLOAD_CHECKSUM)?;
    let checksum = checksum.map(Checksum::parse).transpose()?;
    let announced = match text(&headers, &header::CONTENT_LENGTH)? {
        Some(_) => Some(number(&headers, &header::CONTENT_LENGTH)?),
        None => None,
    };
    let pouring = state
        .engine
        .pour(&upload, offset, checksum.is_some())
        .await?;
    let sending = pour::pour(&state, pouring, announced, checksum, body).await?;
    Ok((StatusCode::NO_CONTENT, far(&sending)?))
}

/// Gives an upload up. What was whole already and is taken in stays.
#[utoipa::path(delete, path = "/uploads/{upload}", tag = "events",
    params(("upload" = String, Path, description = "the upload's id"),
        ("Tus-Resumable" = String, Header, description = "the protocol's version",
            pattern = "^1\\.0\\.0$")),
    responses(
    (status = 204, description = "it is gone"),
    (status = 423, description = "another request is writing to it",
        body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn end(
    State(state): State<AppState>,
    _: Tus,
    Path(upload): Path<String>,
) -> Answer<StatusCode> {
    state.engine.end_sending(&upload).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// The same for whoever can send nothing but POST: `X-HTTP-Method-Override` says what
/// is meant, `PATCH`, `DELETE` or `HEAD`.
#[utoipa::path(post, path = "/uploads/{upload}", tag = "events",
    params(("upload" = String, Path, description = "the upload's id"),
        ("Tus-Resumable" = String, Header, description = "the protocol's version",
            pattern = "^1\\.0\\.0$"),
        ("X-HTTP-Method-Override" = String, Header, description = "the method that is meant",
            pattern = "^(DELETE|HEAD)$")),
    responses(
    (status = 200, description = "as HEAD"),
    (status = 204, description = "as PATCH or DELETE"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn overridden(
    state: State<AppState>,
    tus: Tus,
    upload: Path<String>,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, HeaderMap)> {
    match text(&headers, &METHOD_OVERRIDE)? {
        Some("PATCH") => go_on(state, tus, upload, headers, body).await,
        Some("DELETE") => Ok((end(state, tus, upload).await?, HeaderMap::new())),
        Some("HEAD") => look(state, tus, upload).await,
        _ => Err(Problem::new(
            StatusCode::BAD_REQUEST,
            "a POST to an upload says in X-HTTP-Method-Override which of PATCH, DELETE and \
             HEAD is meant",
        )),
    }
}

fn far(sending: &Sending) -> Answer<HeaderMap> {
    let mut headers = HeaderMap::new();
    headers.insert(UPLOAD_OFFSET.clone(), sending.offset.into());
    if sending.offset < sending.length {
        headers.insert(UPLOAD_EXPIRES.clone(), expires(sending)?);
    }
    Ok(headers)
}

/// As RFC 9110 section 5.6.7 writes an instant.
fn expires(sending: &Sending) -> Answer<HeaderValue> {
    let at = jiff::Timestamp::try_from(sending.expires).map_err(Problem::internal)?;
    let written = at.strftime("%a, %d %b %Y %H:%M:%S GMT").to_string();
    value(&written)
}

fn value(text: &str) -> Answer<HeaderValue> {
    HeaderValue::try_from(text).map_err(Problem::internal)
}

impl From<SendingError> for Problem {
    fn from(error: SendingError) -> Self {
        let told = error.to_string();
        match error {
            SendingError::Gone => Self::of(
                StatusCode::NOT_FOUND,
                "no-such-upload",
                "No such upload",
                told,
            ),
            SendingError::Expired => Self::new(StatusCode::GONE, told),
            SendingError::Busy => {
                Self::new(StatusCode::LOCKED, told).header(header::RETRY_AFTER, 1.into())
            }
            SendingError::Offset(at) => Self::of(
                StatusCode::CONFLICT,
                "upload-offset",
                "The upload is at another byte",
                told,
            )
            .with("offset", at)
            .header(UPLOAD_OFFSET.clone(), at.into()),
            SendingError::Jobs(error) => error.into(),
        }
    }
}
