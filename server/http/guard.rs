//! What every request passes: is it for us, may it change anything, and does
//! every refusal leave in one shape?
//!
//! A service on loopback is reachable by every page the user opens. Three
//! things keep those out: the `Host` must be loopback (a foreign name that
//! resolves to 127.0.0.1 is not ours), a request that changes something must
//! not come from another origin, and no answer carries a CORS header.

use std::net::IpAddr;
use std::sync::Arc;

use axum::body::Body;
use axum::extract::{FromRequestParts, Request};
use axum::http::header::{self, HeaderName};
use axum::http::request::Parts;
use axum::http::uri::Authority;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::AppState;
use super::problem::Problem;

static REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Whether the caller showed the owner's token and so may name any path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Owner(pub bool);

impl FromRequestParts<AppState> for Owner {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, Problem> {
        let Some(value) = parts.headers.get(header::AUTHORIZATION) else {
            return Ok(Self(false));
        };
        let token = value.to_str().ok().and_then(|v| v.strip_prefix("Bearer "));
        if token.is_some_and(|token| state.access.is_owner(token)) {
            Ok(Self(true))
        } else {
            Err(Problem::new(
                StatusCode::UNAUTHORIZED,
                "the token is not the one in this data folder's server.json",
            )
            .header(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer")))
        }
    }
}

/// The owner's token, kept as a hash so that comparing takes the same time
/// whatever was sent.
#[derive(Clone)]
pub struct Access {
    token: Arc<blake3::Hash>,
}

impl Access {
    /// Access for whoever shows `token`.
    #[must_use]
    pub fn new(token: &str) -> Self {
        Self {
            token: Arc::new(blake3::hash(token.as_bytes())),
        }
    }

    /// Whether this is the owner's token.
    #[must_use]
    pub fn is_owner(&self, token: &str) -> bool {
        // blake3::Hash compares in constant time.
        blake3::hash(token.as_bytes()) == *self.token
    }
}

/// Refuses requests that are not for this server or come from a foreign page.
pub async fn admit(request: Request, next: Next) -> Response {
    match check(request.method(), request.uri(), request.headers()) {
        Ok(()) => next.run(request).await,
        Err(problem) => problem.into_response(),
    }
}

fn check(method: &Method, uri: &Uri, headers: &HeaderMap) -> Result<(), Problem> {
    let host = target(uri, headers)?;
    if !is_loopback(host.host()) {
        return Err(Problem::of(
            StatusCode::MISDIRECTED_REQUEST,
            "foreign-host",
            "Not the host you look for",
            format!(
                "'{}' is not this server's name; use 127.0.0.1 or localhost",
                host.host()
            ),
        ));
    }
    if matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS) {
        return Ok(());
    }
    let foreign = match headers.get(header::ORIGIN) {
        Some(origin) => !origin
            .to_str()
            .is_ok_and(|origin| is_same_origin(origin, &host)),
        None => headers
            .get("sec-fetch-site")
            .is_some_and(|site| site != "same-origin" && site != "none"),
    };
    if foreign {
        return Err(Problem::of(
            StatusCode::FORBIDDEN,
            "foreign-origin",
            "Asked from a foreign page",
            "a page of another site may not change anything here",
        ));
    }
    Ok(())
}

/// The host this request is for: of the request line, else the one `Host`.
fn target(uri: &Uri, headers: &HeaderMap) -> Result<Authority, Problem> {
    let bad = |why: &str| Problem::new(StatusCode::BAD_REQUEST, why);
    let mut hosts = headers.get_all(header::HOST).iter();
    let (first, more) = (hosts.next(), hosts.next());
    if more.is_some() {
        return Err(bad("more than one Host header"));
    }
    if let Some(authority) = uri.authority() {
        return Ok(authority.clone());
    }
    let host = first.ok_or_else(|| bad("the Host header is missing"))?;
    Authority::try_from(host.as_bytes()).map_err(|_| bad("the Host header is not a host"))
}

fn is_loopback(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    bare.eq_ignore_ascii_case("localhost")
        || bare.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

fn is_same_origin(origin: &str, host: &Authority) -> bool {
    origin
        .strip_prefix("http://")
        .is_some_and(|from| from.eq_ignore_ascii_case(host.as_str()))
}

/// The headers every answer carries.
pub async fn harden(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // The page brings its own, wider policy.
    headers
        .entry(header::CONTENT_SECURITY_POLICY)
        .or_insert(HeaderValue::from_static(
            "default-src 'none'; frame-ancestors 'none'",
        ));
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Gives the request an id, turns whatever refusal comes back into problem
/// details that carry it, and logs the cause.
pub async fn account(request: Request, next: Next) -> Response {
    let id = uuid::Uuid::now_v7();
    let method = request.method().clone();
    let path = request.uri().path().to_owned();
    let mut response = next.run(request).await;
    let status = response.status();
    if status.is_client_error() || status.is_server_error() {
        let mut problem = take_problem(&mut response);
        problem.instance = Some(format!("urn:uuid:{id}"));
        log(&problem, &method, &path);
        let kept = std::mem::take(response.headers_mut());
        response = rebuilt(problem, kept, &method);
    }
    if let Ok(value) = HeaderValue::try_from(id.to_string()) {
        response.headers_mut().insert(REQUEST_ID.clone(), value);
    }
    response
}

/// The problem a handler left, or one for a bare refusal of the framework.
fn take_problem(response: &mut Response) -> Problem {
    let status = response.status();
    response
        .extensions_mut()
        .remove()
        .unwrap_or_else(|| Problem::new(status, status.canonical_reason().unwrap_or("refused")))
}

fn rebuilt(mut problem: Problem, kept: HeaderMap, method: &Method) -> Response {
    // They are among those kept.
    problem.headers.clear();
    let mut response = problem.into_response();
    response.extensions_mut().remove::<Problem>();
    for (name, value) in kept {
        // The body is new, so are the headers about it.
        if let Some(name) = name
            && name != header::CONTENT_TYPE
            && name != header::CONTENT_LENGTH
        {
            response.headers_mut().append(name, value);
        }
    }
    if method == Method::HEAD {
        *response.body_mut() = Body::empty();
    }
    response
}

fn log(problem: &Problem, method: &Method, path: &str) {
    let id = problem.instance.as_deref().unwrap_or("");
    let cause = problem.cause.as_deref().unwrap_or("");
    let (status, detail) = (problem.status, problem.detail.as_str());
    if problem.status >= 500 {
        tracing::error!(%method, path, status, detail, cause, id, "request failed");
    } else {
        tracing::debug!(%method, path, status, detail, cause, id, "request refused");
    }
}

/// A handler that panicked: a problem like any other.
pub fn panicked(payload: Box<dyn std::any::Any + Send>) -> Response {
    let text = payload
        .downcast_ref::<String>()
        .map(String::as_str)
        .or_else(|| payload.downcast_ref::<&str>().copied())
        .unwrap_or("no message");
    Problem::internal(format!("panicked: {text}")).into_response()
}

/// No such path.
pub async fn not_found(uri: Uri) -> Problem {
    Problem::new(
        StatusCode::NOT_FOUND,
        format!("nothing is served at '{}'", uri.path()),
    )
}

/// The path exists, but not for this method.
pub async fn wrong_method(method: Method, uri: Uri) -> Problem {
    Problem::new(
        StatusCode::METHOD_NOT_ALLOWED,
        format!("'{}' does not answer {method}", uri.path()),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(method: Method, fields: &[(&'static str, &str)]) -> Option<u16> {
        let mut headers = HeaderMap::new();
        for (name, value) in fields {
            headers.append(*name, HeaderValue::from_str(value).expect("a header value"));
        }
        check(&method, &Uri::from_static("/x"), &headers)
            .err()
            .map(|p| p.status)
    }

    #[test]
    fn only_loopback_names_are_answered() {
        for ours in [
            "127.0.0.1:7373",
            "localhost",
            "LOCALHOST:1",
            "[::1]:80",
            "127.9.9.9",
        ] {
            assert_eq!(status(Method::GET, &[("host", ours)]), None, "{ours}");
        }
        for foreign in [
            "rebound.example:7373",
            "localhost.rebound.example",
            "127.0.0.1.rebound.example",
            "192.168.1.4",
            "0.0.0.0",
            "[::]:7373",
        ] {
            assert_eq!(
                status(Method::GET, &[("host", foreign)]),
                Some(421),
                "{foreign}"
            );
        }
        assert_eq!(status(Method::GET, &[]), Some(400));
        assert_eq!(status(Method::GET, &[("host", "a b")]), Some(400));
        let twice = [("host", "localhost"), ("host", "rebound.example")];
        assert_eq!(status(Method::GET, &twice), Some(400));
    }

    #[test]
    fn foreign_pages_change_nothing() {
        let host = ("host", "127.0.0.1:7373");
        let post = |origin: &str| status(Method::POST, &[host, ("origin", origin)]);
        assert_eq!(post("http://127.0.0.1:7373"), None);
        for foreign in [
            "http://127.0.0.1:8080",
            "http://localhost:7373",
            "https://127.0.0.1:7373",
            "http://shop.example",
            "null",
            "",
        ] {
            assert_eq!(post(foreign), Some(403), "{foreign}");
        }
        assert_eq!(
            status(Method::PUT, &[host]),
            None,
            "a program sends no Origin"
        );
        let fetched = |site: &str| status(Method::POST, &[host, ("sec-fetch-site", site)]);
        assert_eq!(fetched("cross-site"), Some(403));
        assert_eq!(fetched("same-site"), Some(403));
        assert_eq!(fetched("same-origin"), None);
        let looking = [host, ("origin", "http://shop.example")];
        assert_eq!(
            status(Method::GET, &looking),
            None,
            "reading is kept by having no CORS"
        );
    }

    #[test]
    fn the_token_is_all_or_nothing() {
        let access = Access::new("abc");
        assert!(access.is_owner("abc"));
        assert!(!access.is_owner("ab") && !access.is_owner("abcd") && !access.is_owner(""));
    }
}
