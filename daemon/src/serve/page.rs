//! The page's files, built into the program.

use super::api_error::ApiError;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::response::{IntoResponse as _, Response};
use rust_embed::RustEmbed;
use sha2::{Digest as _, Sha256};
use std::borrow::Cow;

/// `daemon/page/`. A debug build reads the folder for every request.
#[derive(RustEmbed)]
#[folder = "page/"]
struct Files;

fn kind(name: &str) -> Option<&'static str> {
    Some(match name.rsplit_once('.')?.1 {
        "html" => "text/html; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "webmanifest" => "application/manifest+json",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        _ => return None,
    })
}

/// Where the modules are named in `index.html`: a browser would else find each only in the one that imports it, and wait for
/// them one after the other.
const MODULES: &str = "<!-- modules -->";

fn with_modules(html: &[u8]) -> Cow<'static, [u8]> {
    let mut modules: Vec<_> = Files::iter().filter(|name| name.starts_with("js/")).collect();
    modules.sort();
    let links: Vec<String> =
        modules.iter().map(|name| format!("<link rel=\"modulepreload\" href=\"/{name}\">")).collect();
    let html = String::from_utf8_lossy(html).replacen(MODULES, &links.join("\n"), 1);
    Cow::Owned(html.into_bytes())
}

/// Serves a file of the page. Its name is compared with the names that exist.
pub(super) async fn file(method: Method, uri: Uri, headers: HeaderMap) -> Result<Response, ApiError> {
    if !matches!(method, Method::GET | Method::HEAD) {
        return Err(ApiError::new(StatusCode::METHOD_NOT_ALLOWED, "this address can only be read"));
    }
    let path = uri.path().trim_start_matches('/');
    let wanted = if path.is_empty() { "index.html" } else { path };
    // Drawn by the code that draws on paper, with the looks it has there.
    if wanted == "picture.css" {
        let kind = (header::CONTENT_TYPE, "text/css; charset=utf-8");
        return Ok(
            ([kind, (header::CACHE_CONTROL, "no-cache")], peakorder_analysis::picture::STYLE).into_response()
        );
    }
    let found = Files::iter().find(|name| name == wanted);
    let (Some(name), Some(kind)) = (found, kind(wanted)) else {
        return Err(ApiError::unknown("there is nothing at this address"));
    };
    let file = Files::get(&name).ok_or_else(|| ApiError::unknown("there is nothing at this address"))?;
    let data = if wanted == "index.html" { with_modules(&file.data) } else { file.data };
    let digest = Sha256::digest(&data);
    let tag =
        digest.iter().take(12).fold(String::from("\""), |tag, byte| tag + &format!("{byte:02x}")) + "\"";
    // A new version of the program must show at once; what has not changed is not sent again.
    let keep = (header::CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    let known = headers.get_all(header::IF_NONE_MATCH).into_iter().any(|v| v.as_bytes() == tag.as_bytes());
    let tag = (header::ETAG, HeaderValue::try_from(tag).unwrap_or(HeaderValue::from_static("\"\"")));
    if known {
        return Ok((StatusCode::NOT_MODIFIED, [keep, tag]).into_response());
    }
    let kind = (header::CONTENT_TYPE, HeaderValue::from_static(kind));
    Ok(([kind, keep, tag], data).into_response())
}
