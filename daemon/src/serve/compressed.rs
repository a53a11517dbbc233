//! Answers compressed on the way out: a bay's network may carry 400 kbit/s.

use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write as _;

/// Smaller answers fit a packet or two as they are.
const LEAST_BYTES: usize = 1024;
/// A larger answer is sent as it is; none is expected.
const MOST_BYTES: usize = 64 << 20;

/// Whether the client takes gzip (RFC 9110, section 12.5.3).
fn takes_gzip(headers: &HeaderMap) -> bool {
    let values = headers.get_all(header::ACCEPT_ENCODING).into_iter().filter_map(|v| v.to_str().ok());
    values.flat_map(|v| v.split(',')).any(|one| {
        let mut parts = one.split(';').map(str::trim);
        let refused =
            |q: &str| q.strip_prefix("q=").is_some_and(|q| q.parse::<f32>().is_ok_and(|q| q <= 0.0));
        parts.next().is_some_and(|name| name.eq_ignore_ascii_case("gzip")) && !parts.any(refused)
    })
}

/// Streams of events are left alone: each must leave at once.
fn is_text(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let kind = kind.split(';').next().unwrap_or_default().trim();
    matches!(
        kind,
        "application/json" | "text/html" | "text/css" | "text/javascript" | "image/svg+xml" | "text/plain"
    )
}

/// Middleware: compresses what is text, long enough and asked for.
pub(super) async fn compress(request: Request, next: Next) -> Response {
    let wanted = takes_gzip(request.headers());
    let mut response = next.run(request).await;
    if !is_text(response.headers()) || response.headers().contains_key(header::CONTENT_ENCODING) {
        return response;
    }
    // A cache must not hand a compressed answer to who cannot read it.
    response.headers_mut().append(header::VARY, HeaderValue::from_static("accept-encoding"));
    if !wanted {
        return response;
    }
    let (mut head, body) = response.into_parts();
    // These bodies are in memory already, whole.
    let Ok(bytes) = to_bytes(body, MOST_BYTES).await else {
        return Response::from_parts(head, Body::empty());
    };
    let zipped = (bytes.len() >= LEAST_BYTES).then(|| gzip(&bytes)).flatten();
    let Some(zipped) = zipped.filter(|zipped| zipped.len() < bytes.len()) else {
        return Response::from_parts(head, Body::from(bytes));
    };
    head.headers.remove(header::CONTENT_LENGTH);
    head.headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
    Response::from_parts(head, Body::from(zipped))
}

fn gzip(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut encoder = GzEncoder::new(Vec::with_capacity(bytes.len() / 3), Compression::default());
    encoder.write_all(bytes).ok()?;
    encoder.finish().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gzip_is_sent_to_who_takes_it() {
        let takes = |value: &'static str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::ACCEPT_ENCODING, HeaderValue::from_static(value));
            takes_gzip(&headers)
        };
        for value in ["gzip", "deflate, gzip;q=1.0", "br, GZIP ; q=0.5"] {
            assert!(takes(value), "{value}");
        }
        for value in ["", "br", "gzip;q=0", "gzip; q=0.0, br", "xgzip"] {
            assert!(!takes(value), "{value}");
        }
        assert!(!takes_gzip(&HeaderMap::new()));
    }
}
