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
use super::wire::{Add, Added, Refused, WirePath};
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
    let (paths, refused) = usable(&add.paths);
    let request = jobs::Add {
        event: event.id,
        source: add.source.as_deref().map(labelled).transpose()?,
        placement: how.placement,
        person: add.person.as_deref().map(named).transpose()?,
        channels: how.channels,
        paths,
        roots: match owner {
            true => Roots::Anywhere,
            false => Roots::Under(state.roots.to_vec()),
        },
    };
    let mut added = Added::from(state.engine.add(request).await?);
    added.refused.extend(refused);
    Ok((StatusCode::ACCEPTED, Json(added)))
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
    if source.contains('\0') {
        return Err(Problem::field("source", "the source's label holds a NUL"));
    }
    Ok(source.to_owned())
}

/// A name that says something.
pub(super) fn named(person: &str) -> Answer<String> {
    let person = person.trim();
    if person.is_empty() {
        return Err(Problem::field("person", "the person's name is empty"));
    }
    if person.contains('\0') {
        return Err(Problem::field("person", "the person's name holds a NUL"));
    }
    Ok(person.to_owned())
}

/// The paths that can be looked at; one that cannot keeps no other waiting.
fn usable(paths: &[WirePath]) -> (Vec<PathBuf>, Vec<Refused>) {
    let (mut usable, mut refused) = (Vec::with_capacity(paths.len()), Vec::new());
    for path in paths {
        match path_of(path) {
            Ok(path) => usable.push(path),
            Err(reason) => refused.push(Refused {
                file: match path {
                    WirePath::Text(text) => text.clone(),
                    WirePath::Bytes { bytes_hex } => bytes_hex.clone(),
                },
                reason: reason.into(),
            }),
        }
    }
    (usable, refused)
}

fn path_of(path: &WirePath) -> Result<PathBuf, &'static str> {
    let path = match path {
        WirePath::Text(text) => PathBuf::from(text),
        WirePath::Bytes { bytes_hex } => path_from_bytes(
            from_hex(bytes_hex).ok_or("bytes_hex must be pairs of hexadecimal digits")?,
        ),
    };
    if !path.is_absolute() {
        return Err("is not a whole path; begin it with '/'");
    }
    if path.as_os_str().as_encoded_bytes().contains(&0) {
        return Err("holds a zero byte, which no path can");
    }
    Ok(path)
}

fn from_hex(text: &str) -> Option<Vec<u8>> {
    if !text.len().is_multiple_of(2) || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    (0..text.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&text[at..at + 2], 16).ok())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(digits: &str) -> WirePath {
        WirePath::Bytes {
            bytes_hex: digits.into(),
        }
    }

    #[test]
    fn a_path_that_is_not_utf_8_travels_as_hex() {
        let path = path_of(&hex("2f61ff")).expect("a path");
        assert_eq!(path.as_os_str().as_encoded_bytes(), b"/a\xff");
        for bad in ["2f6", "2g", "é1", "+1", ""] {
            assert!(path_of(&hex(bad)).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_bad_path_keeps_no_other_waiting() {
        let text = |path: &str| WirePath::Text(path.into());
        let bad = ["a.wav", "../a.wav", "", "/a\0b"];
        let mut paths: Vec<WirePath> = bad.map(text).to_vec();
        paths.insert(2, text("/a b/ñ.wav"));
        let (usable, refused) = usable(&paths);
        assert_eq!(usable, [PathBuf::from("/a b/ñ.wav")]);
        let files: Vec<&str> = refused.iter().map(|r| r.file.as_str()).collect();
        assert_eq!(files, bad);
    }
}
