//! axum's extractors, with refusals as problem details.

use std::fmt;
use std::marker::PhantomData;

use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::response::{IntoResponse, Response};
use serde::de::value::MapAccessDeserializer;
use serde::de::{DeserializeOwned, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};

use super::problem::Problem;

/// A JSON body, in and out.
pub struct Json<T>(pub T);

/// The variables of a path.
pub struct Path<T>(pub T);

/// The query's parameters.
pub struct Query<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Json<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let axum::Json(Object(value)) = axum::Json::from_request(request, state).await?;
        Ok(Self(value))
    }
}

/// What is read from a JSON object only: a list of values would do for a struct, too, and
/// an empty one for all whose members may be left out.
struct Object<T>(T);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Object<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_map(Members(PhantomData)).map(Self)
    }
}

struct Members<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for Members<T> {
    type Value = T;

    fn expecting(&self, told: &mut fmt::Formatter<'_>) -> fmt::Result {
        told.write_str("an object")
    }

    fn visit_map<M: MapAccess<'de>>(self, members: M) -> Result<T, M::Error> {
        T::deserialize(MapAccessDeserializer::new(members))
    }
}

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Path<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let axum::extract::Path(value) =
            axum::extract::Path::from_request_parts(parts, state).await?;
        Ok(Self(value))
    }
}

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for Query<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let axum::extract::Query(value) =
            axum::extract::Query::from_request_parts(parts, state).await?;
        Ok(Self(value))
    }
}

impl<T: Serialize> IntoResponse for Json<T> {
    fn into_response(self) -> Response {
        axum::Json(self.0).into_response()
    }
}

impl From<JsonRejection> for Problem {
    fn from(rejection: JsonRejection) -> Self {
        Self::new(rejection.status(), rejection.body_text())
    }
}

impl From<PathRejection> for Problem {
    fn from(rejection: PathRejection) -> Self {
        Self::new(rejection.status(), rejection.body_text())
    }
}

impl From<QueryRejection> for Problem {
    fn from(rejection: QueryRejection) -> Self {
        Self::new(rejection.status(), rejection.body_text())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Deserialize, PartialEq)]
    struct Asked {
        #[serde(default)]
        name: Option<String>,
    }

    #[test]
    fn a_list_is_no_object() {
        let read = |text: &str| serde_json::from_str::<Object<Asked>>(text).map(|read| read.0);
        assert_eq!(read("{}").ok(), Some(Asked { name: None }));
        let named = read(r#"{"name": "Jory"}"#)
            .ok()
            .and_then(|asked| asked.name);
        assert_eq!(named.as_deref(), Some("Jory"));
        for other in ["[]", "[null]", "null", "\"Jory\"", "7"] {
            assert!(read(other).is_err(), "{other}");
        }
    }
}
