//! The page at `/` and its own files.

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::guard;
use super::range::{Wanted, wanted};
use crate::web;

/// What the page may load: its own files, and nothing written inline.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self'; media-src 'self'; connect-src 'self'; base-uri 'none'; \
    form-action 'none'; frame-ancestors 'none'";

/// Answers `/` and the page's files; anything else is not there.
pub async fn page(request: Request) -> Response {
    let Some(asset) = web::asset(request.uri().path()) else {
        return guard::not_found(request.uri().clone())
            .await
            .into_response();
    };
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        let refusal = guard::wrong_method(request.method().clone(), request.uri().clone());
        return refusal
            .await
            .header(header::ALLOW, HeaderValue::from_static("GET, HEAD"))
            .into_response();
    }
    let etag = format!("\"{}\"", &blake3::hash(&asset.bytes).to_hex()[..16]);
    let mut headers = HeaderMap::new();
    for (name, value) in [
        (header::CONTENT_TYPE, asset.media_type),
        (header::CONTENT_SECURITY_POLICY, PAGE_POLICY),
        (header::CACHE_CONTROL, "no-cache"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    if let Ok(value) = HeaderValue::try_from(&etag) {
        headers.insert(header::ETAG, value);
    }
    let length = asset.bytes.len() as u64;
    match wanted(request.method(), request.headers(), length, &etag) {
        Wanted::NotModified => (StatusCode::NOT_MODIFIED, headers).into_response(),
        _ => (headers, asset.bytes.into_owned()).into_response(),
    }
}
