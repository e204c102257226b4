//! What a sender still sends when the answer is already known.
//!
//! A refusal may be ready before its request has arrived whole. Closing the
//! connection then can cost the sender that very answer (RFC 9112, 9.6), so
//! what is left of a short body is taken in and thrown away.

use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, BodyDataStream, HttpBody};
use axum::extract::Request;
use axum::http::header;
use axum::middleware::Next;
use axum::response::Response;
use bytes::Bytes;
use futures_util::{Stream, StreamExt};
use tokio::runtime::Handle;

/// A sender with more left than this had better see the connection end.
const MOST_BYTES: usize = 8 << 20;

/// How long the rest may take.
const MOST_TIME: Duration = Duration::from_secs(2);

/// Lets whoever handles the request leave its body unread.
pub async fn take_leftovers(request: Request, next: Next) -> Response {
    // Who asks first whether to send (RFC 9110, 10.1.1) must not be told to.
    if request.body().is_end_stream() || request.headers().contains_key(header::EXPECT) {
        return next.run(request).await;
    }
    let unread = |body: Body| Body::from_stream(Unread(Some(body.into_data_stream())));
    next.run(request.map(unread)).await
}

/// A body that is read to its end even when it is dropped before; nothing once
/// it is at its end.
struct Unread(Option<BodyDataStream>);

impl Stream for Unread {
    type Item = Result<Bytes, axum::Error>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let Some(body) = &mut self.0 else {
            return Poll::Ready(None);
        };
        let polled = body.poll_next_unpin(context);
        if matches!(polled, Poll::Ready(None | Some(Err(_)))) {
            self.0 = None;
        }
        polled
    }
}

impl Drop for Unread {
    fn drop(&mut self) {
        if let Some(body) = self.0.take()
            && let Ok(runtime) = Handle::try_current()
        {
            runtime.spawn(tokio::time::timeout(MOST_TIME, throw_away(body)));
        }
    }
}

async fn throw_away(mut body: BodyDataStream) {
    let mut taken = 0;
    while let Some(Ok(chunk)) = body.next().await {
        taken += chunk.len();
        if taken > MOST_BYTES {
            return;
        }
    }
}
