//! Files and folders to take in: `POST /events/{event}/add`.

use std::path::PathBuf;

use axum::extract::State;
use axum::http::StatusCode;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::guard::Owner;
use super::problem::{Answer, Problem};
use super::wire::{Add, Added, WirePath};
use crate::jobs::{self, Roots};
use crate::media::ChannelChoice;
use crate::store::{Placement, path_from_bytes};

/// The routes of adding.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(add))
}

/// Takes in files and folders that lie on the server's machine. Without the
/// owner's token only those under its roots.
#[utoipa::path(post, path = "/events/{event}/add", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    request_body = Add,
    responses(
    (status = 202, body = Added),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn add(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Owner(owner): Owner,
    Json(add): Json<Add>,
) -> Answer<(StatusCode, Json<Added>)> {
    let event = state.store.find_event(&event).await?;
    let how = How::of(&add.placement, &add.channels)?;
    let request = jobs::Add {
        event: event.id,
        source: add.source.as_deref().map(labelled).transpose()?,
        placement: how.placement,
        person: add.person,
        channels: how.channels,
        paths: add.paths.iter().map(path_of).collect::<Answer<_>>()?,
        roots: match owner {
            true => Roots::Anywhere,
            false => Roots::Under(state.roots.to_vec()),
        },
    };
    let report = state.engine.add(request).await?;
    Ok((StatusCode::ACCEPTED, Json(report.into())))
}

/// How a recorder was placed, and which of its channels are wanted.
pub(super) struct How {
    pub(super) placement: Option<Placement>,
    pub(super) channels: ChannelChoice,
}

impl How {
    /// Reads what was sent.
    pub(super) fn of(placement: &Option<String>, channels: &Option<String>) -> Answer<Self> {
        let placement = placement.as_deref().map(str::parse).transpose();
        let channels = channels
            .as_deref()
            .unwrap_or("auto")
            .parse::<ChannelChoice>();
        Ok(Self {
            placement: placement.map_err(|why: String| Problem::field("placement", why))?,
            channels: channels.map_err(|why| Problem::field("channels", why.to_string()))?,
        })
    }
}

/// A label that says something.
pub(super) fn labelled(source: &str) -> Answer<String> {
    let source = source.trim();
    if source.is_empty() {
        return Err(Problem::field("source", "the source's label is empty"));
    }
    Ok(source.to_owned())
}

fn path_of(path: &WirePath) -> Answer<PathBuf> {
    let path = match path {
        WirePath::Text(text) => PathBuf::from(text),
        WirePath::Bytes { bytes_hex } => path_from_bytes(from_hex(bytes_hex)?),
    };
    if !path.is_absolute() {
        let why = format!("'{}' must be absolute, beginning with '/'", path.display());
        return Err(Problem::field("paths", why));
    }
    if path.as_os_str().as_encoded_bytes().contains(&0) {
        return Err(Problem::field("paths", "a path holds a zero byte"));
    }
    Ok(path)
}

fn from_hex(text: &str) -> Answer<Vec<u8>> {
    let bad = || Problem::field("paths", "bytes_hex must be pairs of hexadecimal digits");
    if !text.len().is_multiple_of(2) || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Err(bad());
    }
    (0..text.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&text[at..at + 2], 16).map_err(|_| bad()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(path: WirePath) -> Option<u16> {
        path_of(&path).err().map(|problem| problem.status)
    }

    #[test]
    fn a_path_that_is_not_utf_8_travels_as_hex() {
        let path = path_of(&WirePath::Bytes {
            bytes_hex: "2f61ff".into(),
        })
        .expect("a path");
        assert_eq!(path.as_os_str().as_encoded_bytes(), b"/a\xff");
        for bad in ["2f6", "2g", "é1"] {
            assert_eq!(
                status(WirePath::Bytes {
                    bytes_hex: bad.into()
                }),
                Some(422),
                "{bad}"
            );
        }
    }

    #[test]
    fn paths_are_absolute_and_hold_no_zero() {
        for bad in ["a.wav", "../a.wav", "", "/a\0b"] {
            assert_eq!(status(WirePath::Text(bad.into())), Some(422), "{bad:?}");
        }
        assert_eq!(status(WirePath::Text("/a b/ñ.wav".into())), None);
    }
}
