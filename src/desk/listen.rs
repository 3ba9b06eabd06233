//! Who connects, and how long they may take to say what they want.

use crate::musicxml::LARGEST_TEXT;
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::StatusCode;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::time::Duration;
use tokio::net::TcpListener;

/// How long a request may take to arrive: its head, then its body. In seconds; another number for tests.
const SECONDS: &str = "OBELUS_DESK_SECONDS";

pub fn patience() -> Duration {
    let told = std::env::var(SECONDS).ok().and_then(|text| text.parse().ok()).filter(|seconds| *seconds > 0);
    Duration::from_secs(told.unwrap_or(30))
}

/// Serves whoever connects, for ever.
pub async fn serve(listener: TcpListener, router: Router, patience: Duration) {
    loop {
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            // Whoever has left already, or one connection too many: others may still come.
            Err(_) => {
                tokio::time::sleep(Duration::from_millis(100)).await;
                continue;
            }
        };
        // Small answers at once.
        _ = stream.set_nodelay(true);
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let mut server = http1::Builder::new();
            server.timer(TokioTimer::new()).header_read_timeout(patience);
            // A browser that hangs up is no fault of anybody.
            _ = server.serve_connection(TokioIo::new(stream), service).await;
        });
    }
}

/// Waits for the whole body of a request, not longer than it may take.
pub async fn whole(State(patience): State<Duration>, request: Request, next: Next) -> Response {
    let (head, body) = request.into_parts();
    match tokio::time::timeout(patience, to_bytes(body, LARGEST_TEXT as usize)).await {
        Ok(Ok(bytes)) => next.run(Request::from_parts(head, Body::from(bytes))).await,
        Ok(Err(_)) => (StatusCode::PAYLOAD_TOO_LARGE, "This is too large.").into_response(),
        Err(_) => (StatusCode::REQUEST_TIMEOUT, "This took too long to arrive.").into_response(),
    }
}
