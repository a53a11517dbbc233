//! No answer tells where on this computer the library is: the path often names its user.

use super::api_error::ApiError;
use super::app_state::AppState;
use axum::extract::{Request, State};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use std::path::Path;
use std::sync::Arc;

/// `text` with the paths in it named from the library's `folder` on.
pub(super) fn from_library(text: &str, folder: &Path) -> String {
    let folder = folder.display().to_string();
    let inside =
        format!("{}{}", folder.trim_end_matches(std::path::MAIN_SEPARATOR), std::path::MAIN_SEPARATOR);
    text.replace(&inside, "").replace(&folder, "the library")
}

/// Middleware: words errors without the library's folder. The log has it.
pub(super) async fn hide_folders(State(app): State<Arc<AppState>>, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let Some(error) = response.extensions_mut().remove::<ApiError>() else { return response };
    let changed = error.reworded(|text| {
        let short = from_library(text, app.library.folder_path());
        (short != text).then(|| {
            // Who asks for what is not there must not fill the log.
            if response.status().is_server_error() {
                tracing::warn!("{text}");
            } else {
                tracing::debug!("{text}");
            }
            short
        })
    });
    changed.map_or(response, ApiError::into_response)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_named_from_the_library_on() {
        let told = |text: &str| from_library(text, Path::new("/home/somebody/lib"));
        assert_eq!(told("/home/somebody/lib/sessions/s/session.toml: no"), "sessions/s/session.toml: no");
        assert_eq!(told("/home/somebody/lib: no"), "the library: no");
        assert_eq!(told("nothing of the kind"), "nothing of the kind");
    }
}
