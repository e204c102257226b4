//! The headers of the protocol.

use std::collections::BTreeMap;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::Digest as _;

use super::{Answer, Problem, TUS_RESUMABLE, TUS_VERSION};

/// The version that is spoken.
pub(super) const VERSION: &str = "1.0.0";
/// What is done beyond the core.
pub(super) const EXTENSIONS: &str = "creation,checksum,expiration,termination";
/// How a piece can be checked.
pub(super) const CHECKSUMS: &str = "sha1,sha256";

/// A request that speaks this version of the protocol.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tus;

impl<S: Send + Sync> FromRequestParts<S> for Tus {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        if text(&parts.headers, &TUS_RESUMABLE)? == Some(VERSION) {
            return Ok(Self);
        }
        Err(Problem::of(
            StatusCode::PRECONDITION_FAILED,
            "upload-version",
            "Another version of the protocol",
            "uploads in pieces speak tus 1.0.0: send 'Tus-Resumable: 1.0.0'",
        )
        .header(TUS_VERSION.clone(), HeaderValue::from_static(VERSION)))
    }
}

/// The text of a header that may be there once.
pub(super) fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Answer<Option<&'a str>> {
    let mut values = headers.get_all(name).iter();
    let Some(value) = values.next() else {
        return Ok(None);
    };
    match (value.to_str(), values.next()) {
        (Ok(text), None) => Ok(Some(text.trim())),
        _ => Err(bad(name, "is not one line of plain text")),
    }
}

/// The number of a header that must be there.
pub(super) fn number(headers: &HeaderMap, name: &HeaderName) -> Answer<u64> {
    let text = text(headers, name)?.ok_or_else(|| bad(name, "is missing"))?;
    if text.is_empty() || !text.bytes().all(|b| b.is_ascii_digit()) {
        return Err(bad(name, "is not a whole number"));
    }
    text.parse().map_err(|_| bad(name, "is too large"))
}

fn bad(name: &HeaderName, why: &str) -> Problem {
    let told = format!("the header {name} {why}");
    Problem::new(StatusCode::BAD_REQUEST, told).with("field", name.as_str())
}

/// What the sender says of a file: pairs of a name and a value in base64.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Metadata(BTreeMap<String, String>);

impl Metadata {
    /// Reads `Upload-Metadata`. What this server has no use for need not be text.
    pub(super) fn parse(header: &str) -> Answer<Self> {
        let refused = |why: &str| Problem::field("Upload-Metadata", why);
        let mut pairs = BTreeMap::new();
        for pair in header.split(',').map(str::trim).filter(|p| !p.is_empty()) {
            let (key, value) = pair.split_once(' ').unwrap_or((pair, ""));
            let bytes = STANDARD
                .decode(value.trim())
                .map_err(|_| refused("the values of Upload-Metadata are written in base64"))?;
            let Ok(value) = String::from_utf8(bytes) else {
                continue;
            };
            if pairs.insert(key.to_owned(), value).is_some() {
                return Err(refused("Upload-Metadata says the same thing twice"));
            }
        }
        Ok(Self(pairs))
    }

    /// A value; an empty one says nothing.
    pub(super) fn get(&self, key: &str) -> Option<String> {
        self.0.get(key).filter(|value| !value.is_empty()).cloned()
    }

    /// A value that there must be.
    pub(super) fn needed(&self, key: &str) -> Answer<&str> {
        let value = self.0.get(key).map(String::as_str);
        value.filter(|value| !value.is_empty()).ok_or_else(|| {
            let told = format!("Upload-Metadata holds no '{key}' that is UTF-8 text");
            Problem::field("Upload-Metadata", told)
        })
    }
}

/// What a piece must hash to.
#[derive(Clone, Debug)]
pub(super) struct Checksum {
    wanted: Vec<u8>,
    hash: Hash,
}

#[derive(Clone, Debug)]
enum Hash {
    Sha1(sha1::Sha1),
    Sha256(sha2::Sha256),
}

impl Checksum {
    /// Reads `Upload-Checksum`: the algorithm, a blank, the hash in base64.
    pub(super) fn parse(header: &str) -> Answer<Self> {
        let refused = |why: String| {
            Problem::new(StatusCode::BAD_REQUEST, why).with("field", "Upload-Checksum")
        };
        let (algorithm, wanted) = header.split_once(' ').unwrap_or((header, ""));
        let hash = match algorithm {
            "sha1" => Hash::Sha1(sha1::Sha1::new()),
            "sha256" => Hash::Sha256(sha2::Sha256::new()),
            _ => return Err(refused(format!("pieces can be checked by {CHECKSUMS}"))),
        };
        let wanted = STANDARD.decode(wanted.trim());
        let wanted = wanted.map_err(|_| refused("the hash is written in base64".into()))?;
        Ok(Self { wanted, hash })
    }

    pub(super) fn take(&mut self, bytes: &[u8]) {
        match &mut self.hash {
            Hash::Sha1(hash) => hash.update(bytes),
            Hash::Sha256(hash) => hash.update(bytes),
        }
    }

    /// Whether what was taken is what was announced.
    pub(super) fn met(self) -> bool {
        match self.hash {
            Hash::Sha1(hash) => hash.finalize()[..] == self.wanted[..],
            Hash::Sha256(hash) => hash.finalize()[..] == self.wanted[..],
        }
    }
}
