//! The list of sessions, in parts, and looking for some of them.

use super::extract::{Query, on_disk};
use crate::serve::access::pairing::Device;
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use crate::serve::library::{Cursor, Page, Part, SessionRow};
use crate::serve::viewers;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderName, HeaderValue, header};
use axum::{Extension, Json};
use jiff::civil::Date;
use peakorder_analysis::library::query;
use serde::Deserialize;
use std::fmt::Write as _;
use std::sync::Arc;

/// The most rows that one answer has.
const MOST: u32 = 1000;
/// The longest text that is looked for, characters.
const TEXT_LIMIT: usize = 200;
/// How many sessions there are altogether.
const TOTAL: HeaderName = HeaderName::from_static("peakorder-total");
/// How far they are read, while they are read for the first time.
const READING: HeaderName = HeaderName::from_static("peakorder-reading");

/// Which sessions. Letters are compared without regard to case; days are those where the session was recorded.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::IntoParams))]
#[cfg_attr(feature = "openapi", into_params(parameter_in = Query))]
pub(super) struct Asked {
    /// Words, each found in the player's name, the goal, a block's label or the day (`2026-11-25`, `25 November 2026`).
    #[serde(default)]
    #[cfg_attr(feature = "openapi", param(max_length = 200))]
    search: String,
    /// Id or whole name of the player.
    player: Option<String>,
    /// Whole label of a block.
    block: Option<String>,
    /// Found in the goal.
    goal: Option<String>,
    /// First day, `2026-11-25`.
    #[cfg_attr(feature = "openapi", param(format = Date))]
    from: Option<String>,
    /// Last day.
    #[cfg_attr(feature = "openapi", param(format = Date))]
    to: Option<String>,
    /// At most so many; the header `Link` has the address of the next ones.
    #[serde(default = "usual_limit")]
    #[cfg_attr(feature = "openapi", param(minimum = 1, maximum = 1000, required = false))]
    limit: u32,
    /// Those after this place of the list, as an earlier answer's `Link` has it.
    #[cfg_attr(feature = "openapi", param(pattern = "^[^/]*/[^/]+$", max_length = 400))]
    before: Option<String>,
}

const fn usual_limit() -> u32 {
    100
}

impl Asked {
    fn query(&self) -> Result<query::Query, ApiError> {
        if self.search.chars().count() > TEXT_LIMIT {
            return Err(ApiError::bad(format!(
                "search: at most {TEXT_LIMIT} characters; look for fewer words"
            )));
        }
        let day = |key: &str, text: &Option<String>| {
            let date = text.as_deref().map(str::parse::<Date>).transpose();
            date.map_err(|_| ApiError::bad(format!("{key}: not a day; write it like 2026-11-25")))
        };
        Ok(query::Query {
            words: query::Query::words_of(&self.search),
            player: self.player.clone(),
            block: self.block.clone(),
            goal: self.goal.clone(),
            from: day("from", &self.from)?,
            to: day("to", &self.to)?,
        })
    }

    fn part(&self) -> Result<Part, ApiError> {
        if !(1..=MOST).contains(&self.limit) {
            return Err(ApiError::bad(format!("limit: 1 to {MOST}; the header Link leads to the rest")));
        }
        let place = |text: &String| {
            let (started_utc, id) =
                text.split_once('/').filter(|(_, id)| !id.is_empty() && !id.contains('/'))?;
            Some(Cursor { started_utc: started_utc.to_owned(), id: id.to_owned() })
        };
        let before = self.before.as_ref().map(|text| {
            place(text)
                .ok_or_else(|| ApiError::bad("before: not a place of the list; take it from the header Link"))
        });
        Ok(Part { limit: self.limit as usize, only: None, before: before.transpose()? })
    }

    /// The address of the rows after `next`.
    fn link(&self, next: &Cursor) -> String {
        let mut address = String::from("/api/v1/sessions?");
        let limit = self.limit.to_string();
        let place = format!("{}/{}", next.started_utc, next.id);
        let named = [
            ("search", Some(&self.search).filter(|s| !s.is_empty())),
            ("player", self.player.as_ref()),
            ("block", self.block.as_ref()),
            ("goal", self.goal.as_ref()),
            ("from", self.from.as_ref()),
            ("to", self.to.as_ref()),
            ("limit", Some(&limit)),
            ("before", Some(&place)),
        ];
        for (key, value) in named {
            if let Some(value) = value {
                if !address.ends_with('?') {
                    address.push('&');
                }
                let _ = write!(address, "{key}={}", encoded(value));
            }
        }
        address
    }
}

/// A value in an address (RFC 3986: all but unreserved characters as bytes).
fn encoded(text: &str) -> String {
    let mut encoded = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            encoded.push(byte as char);
        } else {
            let _ = write!(encoded, "%{byte:02X}");
        }
    }
    encoded
}

/// Sessions, latest first.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/sessions", operation_id = "sessions", params(Asked), responses(
    (status = 200, body = Vec<SessionRow>, headers(
        ("Peakorder-Total" = u64, description = "how many sessions that is altogether"),
        ("Peakorder-Reading" = Option<String>, description = "`1200/10000` while the sessions are read for the first time: \
            so many of so many are known; absent when all are"),
        ("Link" = Option<String>, description = "`<address>; rel=\"next\"` (RFC 8288): the sessions after these; absent at the end"))),
    (status = 422, description = "a day, limit or place of the list is none, or the text is too long"))))]
pub(super) async fn list(
    State(app): State<Arc<AppState>>,
    Extension(device): Extension<Device>,
    Query(asked): Query<Asked>,
) -> Result<(HeaderMap, Json<Vec<SessionRow>>), ApiError> {
    let running = app.hub.running();
    let library = Arc::clone(&app.library);
    let (query, mut part) = (asked.query()?, asked.part()?);
    if device == Device::Viewer {
        // A viewer is told of the running session, wherever in the list it is; nothing has an empty name.
        part = Part { limit: 1, only: Some(running.clone().unwrap_or_default()), before: None };
    }
    let mut page = on_disk(move || library.sessions(&query, &part, running.as_deref())).await?;
    if device == Device::Viewer {
        page.rows = viewers::running_only(page.rows, app.viewers.hide_names_from(device));
        (page.total, page.next, page.reading) = (page.rows.len(), None, None);
    }
    Ok((headers(&asked, &page), Json(page.rows)))
}

fn headers(asked: &Asked, page: &Page) -> HeaderMap {
    let mut headers = HeaderMap::new();
    headers.insert(TOTAL, HeaderValue::from(page.total));
    let texts = [
        (READING, page.reading.map(|r| format!("{}/{}", r.read, r.of))),
        (header::LINK, page.next.as_ref().map(|next| format!("<{}>; rel=\"next\"", asked.link(next)))),
    ];
    for (name, text) in texts {
        if let Some(value) = text.and_then(|t| HeaderValue::try_from(t).ok()) {
            headers.insert(name, value);
        }
    }
    headers
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_leads_to_the_same_question() {
        let asked = Asked {
            search: "Ann sway".into(),
            player: None,
            block: Some("hips & more".into()),
            goal: None,
            from: Some("2026-11-25".into()),
            to: None,
            limit: 7,
            before: None,
        };
        let next = Cursor { started_utc: "2026-11-25T10:00:00Z".into(), id: "s-1".into() };
        let link = asked.link(&next);
        assert_eq!(
            link,
            "/api/v1/sessions?search=Ann%20sway&block=hips%20%26%20more&from=2026-11-25&limit=7&before=2026-11-25T10%3A00%3A00Z%2Fs-1"
        );
        let axum::extract::Query(again) =
            axum::extract::Query::<Asked>::try_from_uri(&link.parse().expect("an address")).expect("a query");
        assert_eq!(again.part().expect("a part").before, Some(next));
        assert_eq!((again.search.as_str(), again.block.as_deref()), ("Ann sway", Some("hips & more")));
    }
}
