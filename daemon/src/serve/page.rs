//! The page's files, built into the program.

use super::api_error::ApiError;
use axum::http::{HeaderValue, Method, StatusCode, Uri, header};
use axum::response::{IntoResponse as _, Response};
use rust_embed::RustEmbed;

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

/// Serves a file of the page. Its name is compared with the names that exist.
pub(super) async fn file(method: Method, uri: Uri) -> Result<Response, ApiError> {
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
    let kind = (header::CONTENT_TYPE, HeaderValue::from_static(kind));
    // The files are small, and a new version of the program must show at once.
    let keep = (header::CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    Ok(([kind, keep], file.data).into_response())
}
