//! One way to ask, two ways to get there.
//!
//! Commands are clients of the HTTP API whether or not a server runs. If one
//! works on the data folder they ask it over TCP; if not, the same routes are
//! called in this process, without a socket. So the answers are the same by
//! construction, and no rule is told twice.

use std::path::Path;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::de::DeserializeOwned;
use serde_json::Value;
use tokio::runtime::Handle;
use tower::ServiceExt;

use super::error::{CliError, Problem};

/// Where the API begins.
const BASE: &str = "/api/v1";

/// The largest answer that is read, in bytes: all words of a day, many times.
const MAX_ANSWER_BYTES: u64 = 1 << 30;

/// What stays as it is in a path segment or a query value (RFC 3986,
/// unreserved characters).
const QUOTED: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~');

/// A running server: its address and the secret of the folder's owner.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Server {
    /// Its address, without a slash at the end.
    pub url: String,
    /// The owner's token.
    pub token: String,
}

/// Asks the API.
pub struct Client {
    road: Road,
    token: String,
}

enum Road {
    /// To the server of this data folder.
    Tcp { agent: ureq::Agent, url: String },
    /// To the routes in this process.
    Direct {
        router: Box<Router>,
        runtime: Handle,
    },
}

/// An answer that is not a refusal, as it was sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    path: String,
    body: String,
}

impl Client {
    /// A client of a running server.
    #[must_use]
    pub fn of_server(server: Server) -> Self {
        let agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            // The server is on this machine, whatever the environment says.
            .proxy(None)
            .max_redirects(0)
            .build()
            .into();
        Self {
            road: Road::Tcp {
                agent,
                url: server.url,
            },
            token: server.token,
        }
    }

    /// A client of routes in this process, called on `runtime` from outside of
    /// it.
    #[must_use]
    pub fn of_router(router: Router, token: String, runtime: Handle) -> Self {
        Self {
            road: Road::Direct {
                router: Box::new(router),
                runtime,
            },
            token,
        }
    }

    /// Asks for something.
    ///
    /// # Errors
    /// [`CliError::Refused`] with what the service says, or
    /// [`CliError::Unreachable`].
    pub fn get(&self, path: &str) -> Result<Answer, CliError> {
        self.ask("GET", path, None)
    }

    /// Sends something.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn post(&self, path: &str, body: &Value) -> Result<Answer, CliError> {
        self.ask("POST", path, Some(body.to_string()))
    }

    /// Puts something in its place.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn put(&self, path: &str, body: &Value) -> Result<Answer, CliError> {
        self.ask("PUT", path, Some(body.to_string()))
    }

    /// Changes a part of something.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn patch(&self, path: &str, body: &Value) -> Result<Answer, CliError> {
        self.ask("PATCH", path, Some(body.to_string()))
    }

    /// Takes something away.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn delete(&self, path: &str) -> Result<Answer, CliError> {
        self.ask("DELETE", path, None)
    }

    fn ask(&self, method: &str, path: &str, body: Option<String>) -> Result<Answer, CliError> {
        let (status, body) = match &self.road {
            Road::Tcp { agent, url } => self.over_tcp(agent, url, method, path, body)?,
            Road::Direct { router, runtime } => {
                runtime.block_on(self.in_process(router, method, path, body))?
            }
        };
        let path = path.to_owned();
        if status.is_success() {
            return Ok(Answer { path, body });
        }
        let problem = serde_json::from_str(&body).unwrap_or_else(|_| Problem {
            detail: format!("{method} {path} was answered with {status}"),
            status: status.as_u16(),
            ..Problem::default()
        });
        Err(CliError::Refused(Box::new(problem)))
    }

    fn over_tcp(
        &self,
        agent: &ureq::Agent,
        url: &str,
        method: &str,
        path: &str,
        body: Option<String>,
    ) -> Result<(StatusCode, String), CliError> {
        let unreachable = |cause: ureq::Error| CliError::Unreachable {
            url: url.to_owned(),
            cause: cause.to_string(),
        };
        let request = self.request(method, &format!("{url}{BASE}{path}"));
        let answered = match body {
            Some(body) => agent.run(request.body(body).map_err(anyhow::Error::new)?),
            None => agent.run(request.body(()).map_err(anyhow::Error::new)?),
        };
        let mut answer = answered.map_err(unreachable)?;
        let body = answer.body_mut().with_config().limit(MAX_ANSWER_BYTES);
        let body = body.read_to_string().map_err(unreachable)?;
        Ok((answer.status(), body))
    }

    async fn in_process(
        &self,
        router: &Router,
        method: &str,
        path: &str,
        body: Option<String>,
    ) -> Result<(StatusCode, String), CliError> {
        let request = self
            .request(method, &format!("{BASE}{path}"))
            .header(header::HOST, "localhost")
            .body(Body::from(body.unwrap_or_default()))
            .map_err(anyhow::Error::new)?;
        let answer = match router.clone().oneshot(request).await {
            Ok(answer) => answer,
            Err(never) => match never {},
        };
        let status = answer.status();
        let limit = usize::try_from(MAX_ANSWER_BYTES).unwrap_or(usize::MAX);
        let body = axum::body::to_bytes(answer.into_body(), limit)
            .await
            .map_err(anyhow::Error::new)?;
        Ok((status, String::from_utf8_lossy(&body).into_owned()))
    }

    fn request(&self, method: &str, uri: &str) -> axum::http::request::Builder {
        Request::builder()
            .method(method)
            .uri(uri)
            .header(header::AUTHORIZATION, format!("Bearer {}", self.token))
            .header(header::CONTENT_TYPE, "application/json")
    }
}

impl Answer {
    /// The answer as JSON text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.body
    }

    /// The answer read.
    ///
    /// # Errors
    /// [`CliError::Answer`] when it has another shape.
    pub fn read<T: DeserializeOwned>(&self) -> Result<T, CliError> {
        serde_json::from_str(&self.body).map_err(|error| CliError::Answer {
            path: self.path.clone(),
            cause: error.to_string(),
        })
    }
}

/// A value as one path segment or query value.
///
/// ```
/// use sayback::cli::client::quoted;
/// assert_eq!(quoted("a/b c?"), "a%2Fb%20c%3F");
/// ```
#[must_use]
pub fn quoted(value: &str) -> String {
    // A segment of dots alone would be taken for a step in the path.
    match value {
        "." => "%2E".to_owned(),
        ".." => "%2E%2E".to_owned(),
        _ => utf8_percent_encode(value, QUOTED).to_string(),
    }
}

/// A path as the API takes it: absolute; its bytes in hexadecimal where they
/// are not UTF-8.
///
/// # Errors
/// When the current folder cannot be told.
pub fn wire_path(path: &Path) -> Result<Value, CliError> {
    let absolute = std::path::absolute(path)
        .map_err(|e| anyhow::anyhow!("cannot tell where '{}' is: {e}", path.display()))?;
    Ok(match absolute.to_str() {
        Some(text) => Value::from(text),
        None => {
            use std::os::unix::ffi::OsStrExt;
            let bytes = absolute.as_os_str().as_bytes();
            let digits: Vec<String> = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
            serde_json::json!({ "bytes_hex": digits.concat() })
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::extract::Query;
    use axum::response::IntoResponse;
    use axum::routing::{get, post};
    use std::collections::BTreeMap;

    fn app() -> Router {
        let refuse = || async {
            let problem =
                r#"{"type":"urn:x:no-such-event","status":404,"detail":"there is no event 'x'"}"#;
            (StatusCode::NOT_FOUND, problem).into_response()
        };
        Router::new()
            .route("/api/v1/refuse", get(refuse))
            .route("/api/v1/gone", get(|| async { StatusCode::BAD_GATEWAY }))
            .route("/api/v1/echo", post(|body: String| async move { body }))
            .route(
                "/api/v1/asked",
                get(|Query(asked): Query<BTreeMap<String, String>>| async move {
                    axum::Json(asked)
                }),
            )
            .route(
                "/api/v1/who",
                get(|headers: axum::http::HeaderMap| async move {
                    format!("{:?}", headers.get(header::AUTHORIZATION))
                }),
            )
    }

    /// The same questions on both roads.
    fn on_both_roads(test: impl Fn(&Client)) {
        let runtime = tokio::runtime::Runtime::new().expect("a runtime");
        let direct = Client::of_router(app(), "secret".into(), runtime.handle().clone());
        test(&direct);

        let listener = runtime
            .block_on(tokio::net::TcpListener::bind("127.0.0.1:0"))
            .expect("a port");
        let url = format!("http://{}", listener.local_addr().expect("an address"));
        runtime.spawn(async move { axum::serve(listener, app()).await });
        test(&Client::of_server(Server {
            url,
            token: "secret".into(),
        }));
    }

    #[test]
    fn both_roads_give_the_same() {
        on_both_roads(|client| {
            let sent = serde_json::json!({"z": 1, "a": "é\n"});
            let answer = client.post("/echo", &sent).expect("an answer");
            assert_eq!(answer.read::<Value>().expect("JSON"), sent);
            assert_eq!(
                client.get("/who").expect("an answer").text(),
                "Some(\"Bearer secret\")"
            );
            let asked = "a&b=c \"d\" é*+#?/%";
            let answer = client
                .get(&format!("/asked?q={}", quoted(asked)))
                .expect("an answer");
            let read: BTreeMap<String, String> = answer.read().expect("JSON");
            assert_eq!(read["q"], asked);
        });
    }

    #[test]
    fn refusals_say_why_on_both_roads() {
        on_both_roads(|client| {
            let refused = client.get("/refuse").expect_err("a refusal");
            assert_eq!(refused.to_string(), "there is no event 'x'");
            assert_eq!(refused.code(), 3);
            assert!(
                refused
                    .hint()
                    .is_some_and(|hint| hint.contains("event list"))
            );
            let gone = client.get("/gone").expect_err("a refusal");
            assert!(gone.to_string().contains("502"), "{gone}");
        });
    }

    #[test]
    fn a_server_that_is_gone_is_named() {
        let gone = Client::of_server(Server {
            url: "http://127.0.0.1:9".into(),
            token: String::new(),
        });
        let error = gone.get("/health").expect_err("nobody is there");
        assert!(error.to_string().contains("http://127.0.0.1:9"), "{error}");
    }

    #[test]
    fn paths_keep_their_bytes() {
        use std::os::unix::ffi::OsStrExt;
        let odd = Path::new(std::ffi::OsStr::from_bytes(b"/a/\xff.wav"));
        assert_eq!(
            wire_path(odd).expect("a path"),
            serde_json::json!({"bytes_hex": "2f612fff2e776176"})
        );
        let here = std::env::current_dir()
            .expect("a folder")
            .join("x\n'\".wav");
        assert_eq!(
            wire_path(Path::new("./x\n'\".wav")).expect("a path"),
            Value::from(here.to_str().expect("UTF-8"))
        );
    }
}
