//! Answers and page files are sent gzip-compressed to who takes that (RFC 9110, 12.5.3; RFC 1952).
//!
//! A tablet on a driving range's network reads a lesson of 200 swings in a tenth of the time. Streams of events are not
//! compressed: their bytes must go out as they come. What is compressed holds no secret beside text that an attacker
//! could choose (Gluck, Harris & Prado 2013, "BREACH"): cookies and passcodes are never in a body.

use axum::body::{Body, HttpBody as _, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write as _;

/// Below this the headers cost what is saved.
const LEAST_BYTES: u64 = 1000;
/// Larger ones go out as they are, so that memory is bounded.
const MOST_BYTES: u64 = 64 << 20;
/// Of gzip's 1 to 9; higher ones take longer for a few per cent.
const LEVEL: u32 = 6;

/// Compresses what the next service answers.
pub(super) async fn compress(request: Request, next: Next) -> Response {
    let taken = takes_gzip(request.headers());
    let response = next.run(request).await;
    if taken && worth_it(&response) { compressed(response).await } else { response }
}

/// Whether `Accept-Encoding` names gzip (or anything) without forbidding it.
fn takes_gzip(headers: &HeaderMap) -> bool {
    let mut any = false;
    for item in headers.get_all(header::ACCEPT_ENCODING).iter().filter_map(|v| v.to_str().ok()).flat_map(|v| v.split(',')) {
        let (coding, weight) = item.split_once(';').unwrap_or((item, "q=1"));
        let refused = weight.trim().strip_prefix("q=").and_then(|q| q.trim().parse::<f64>().ok()) == Some(0.0);
        match coding.trim() {
            c if c.eq_ignore_ascii_case("gzip") => return !refused,
            "*" => any = !refused,
            _ => {}
        }
    }
    any
}

fn worth_it(response: &Response) -> bool {
    let size = response.body().size_hint().exact();
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|k| k.to_str().ok()).unwrap_or_default();
    let text = ["application/json", "text/html", "text/css", "text/javascript", "image/svg+xml"];
    size.is_some_and(|s| (LEAST_BYTES..=MOST_BYTES).contains(&s))
        && text.iter().any(|t| kind.starts_with(t))
        && !response.headers().contains_key(header::CONTENT_ENCODING)
}

async fn compressed(response: Response) -> Response {
    let (mut parts, body) = response.into_parts();
    // The length is known, so it is in memory already.
    let Ok(plain) = to_bytes(body, MOST_BYTES as usize).await else {
        return Response::from_parts(parts, Body::empty());
    };
    let kept = plain.clone();
    let packed = tokio::task::spawn_blocking(move || -> std::io::Result<Vec<u8>> {
        let mut to = GzEncoder::new(Vec::with_capacity(plain.len() / 4), Compression::new(LEVEL));
        to.write_all(&plain)?;
        to.finish()
    });
    parts.headers.append(header::VARY, HeaderValue::from_static("accept-encoding"));
    match packed.await {
        Ok(Ok(packed)) => {
            parts.headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
            parts.headers.remove(header::CONTENT_LENGTH);
            Response::from_parts(parts, Body::from(packed))
        }
        _ => Response::from_parts(parts, Body::from(kept)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gzip_is_sent_to_who_takes_it() {
        let says = |text: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::ACCEPT_ENCODING, HeaderValue::from_str(text).expect("a header"));
            takes_gzip(&headers)
        };
        for yes in ["gzip", "gzip, deflate, br, zstd", "br;q=1.0, GZIP;q=0.8", "*"] {
            assert!(says(yes), "{yes}");
        }
        for no in ["", "br", "gzip;q=0", "identity", "*;q=0", "gzip;q=0.0, *"] {
            assert!(!says(no), "{no}");
        }
        assert!(!takes_gzip(&HeaderMap::new()));
    }
}
