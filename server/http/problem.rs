//! One shape for every refusal: RFC 9457 problem details.
//!
//! Everything that goes wrong in a handler becomes a [`Problem`]; the guard
//! around the routes stamps it with the request's id and writes its cause to
//! the log, once.

use std::ops::{Deref, DerefMut};

use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// The media type of a problem, RFC 9457 section 3.
pub const PROBLEM_JSON: &str = "application/problem+json";

/// Why a request was refused. Boxed, because every handler may return it.
#[derive(Clone, Debug)]
pub struct Problem(Box<Details>);

/// Problem details (RFC 9457).
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Details {
    /// What kind of problem: `about:blank` where the status says it all.
    #[serde(rename = "type")]
    #[schema(example = "urn:sayback:problem:no-such-event")]
    pub kind: String,
    /// The kind in a few words.
    pub title: String,
    /// The HTTP status, repeated.
    pub status: u16,
    /// What went wrong here, and what to do about it.
    pub detail: String,
    /// This occurrence: `urn:uuid:` and the id under which the log has it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instance: Option<String>,
    /// Members of this kind of problem, such as `field`.
    #[serde(flatten)]
    #[schema(additional_properties)]
    pub members: Map<String, Value>,
    /// For the log, never for the answer.
    #[serde(skip)]
    pub cause: Option<String>,
    /// Headers the status asks for, such as `Content-Range` with 416.
    #[serde(skip)]
    pub headers: Vec<(HeaderName, HeaderValue)>,
}

/// What a handler returns.
pub type Answer<T> = Result<T, Problem>;

impl Problem {
    /// A problem that its status describes.
    pub fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        Self(Box::new(Details {
            kind: "about:blank".into(),
            title: status.canonical_reason().unwrap_or("Problem").into(),
            status: status.as_u16(),
            detail: detail.into(),
            instance: None,
            members: Map::new(),
            cause: None,
            headers: Vec::new(),
        }))
    }

    /// A problem of a kind of its own; `slug` ends its type.
    pub fn of(status: StatusCode, slug: &str, title: &str, detail: impl Into<String>) -> Self {
        let mut problem = Self::new(status, detail);
        problem.kind = format!("urn:sayback:problem:{slug}");
        problem.title = title.into();
        problem
    }

    /// A value in the request that makes no sense: 422, naming the field.
    pub fn field(field: &str, detail: impl Into<String>) -> Self {
        Self::of(
            StatusCode::UNPROCESSABLE_ENTITY,
            "bad-value",
            "A value is not usable",
            detail,
        )
        .with("field", field)
    }

    /// Something named in the request that is not there: 404.
    pub fn missing(what: &str, name: &str) -> Self {
        Self::of(
            StatusCode::NOT_FOUND,
            &format!("no-such-{}", what.replace(' ', "-")),
            &format!("No such {what}"),
            format!("there is no {what} '{name}'"),
        )
    }

    /// A failure of the server; the cause goes to the log only.
    pub fn internal(cause: impl std::fmt::Display) -> Self {
        let mut problem = Self::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "the server failed at this; its log has the cause under the id in 'instance'",
        );
        problem.cause = Some(cause.to_string());
        problem
    }

    /// The disk has no room left: 507.
    pub fn disk_full(detail: impl Into<String>) -> Self {
        Self::of(
            StatusCode::INSUFFICIENT_STORAGE,
            "disk-full",
            "Not enough free disk",
            detail,
        )
    }

    /// Adds a member of this kind of problem.
    #[must_use]
    pub fn with(mut self, member: &str, value: impl Into<Value>) -> Self {
        self.members.insert(member.into(), value.into());
        self
    }

    /// Adds the cause for the log.
    #[must_use]
    pub fn because(mut self, cause: impl std::fmt::Display) -> Self {
        self.cause = Some(cause.to_string());
        self
    }

    /// Adds a header to the answer.
    #[must_use]
    pub fn header(mut self, name: HeaderName, value: HeaderValue) -> Self {
        self.headers.push((name, value));
        self
    }

    /// The status as a type.
    pub fn code(&self) -> StatusCode {
        StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }
}

impl Deref for Problem {
    type Target = Details;

    fn deref(&self) -> &Details {
        &self.0
    }
}

impl DerefMut for Problem {
    fn deref_mut(&mut self) -> &mut Details {
        &mut self.0
    }
}

impl PartialSchema for Problem {
    fn schema() -> RefOr<Schema> {
        Details::schema()
    }
}

impl ToSchema for Problem {
    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        Details::schemas(schemas);
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let body = serde_json::to_vec(&*self.0).unwrap_or_default();
        let mut response = (
            self.code(),
            [(header::CONTENT_TYPE, HeaderValue::from_static(PROBLEM_JSON))],
            body,
        )
            .into_response();
        for (name, value) in &self.headers {
            response.headers_mut().insert(name, value.clone());
        }
        // The guard finds it here to add the request's id and to log it.
        response.extensions_mut().insert(self);
        response
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9457 section 3.1: `type` defaults to about:blank, whose title is
    /// the status phrase; the status member equals the HTTP status.
    #[test]
    fn a_plain_problem_is_about_blank() {
        let problem = Problem::new(StatusCode::NOT_FOUND, "nothing here");
        let json = serde_json::to_value(&*problem).expect("problems are plain JSON");
        assert_eq!(
            json,
            serde_json::json!({"type": "about:blank", "title": "Not Found", "status": 404, "detail": "nothing here"})
        );
        assert_eq!(problem.into_response().status(), StatusCode::NOT_FOUND);
    }

    #[test]
    fn the_cause_is_never_told() {
        let problem = Problem::internal("secret place /srv/x").with("hint", "look at the log");
        let json = serde_json::to_string(&*problem).expect("problems are plain JSON");
        assert!(!json.contains("secret"));
        assert!(json.contains("\"hint\":\"look at the log\""));
    }
}
