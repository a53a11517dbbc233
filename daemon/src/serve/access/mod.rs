//! Who gets in, and what they may do.
//!
//! Every request passes, in this order: the rate of its sender ([`rate_limit`]), the host it
//! names ([`host`]), for changes its origin and type, and then what its device may do
//! ([`pairing`]). A page of another site can therefore neither read nor change anything: it
//! cannot send a JSON type without asking first, its origin does not match, and a name that
//! was made to point here (DNS rebinding) is not one of ours.

pub mod host;
pub mod paired_devices;
pub mod pairing;
pub mod rate_limit;
pub mod terminal;

use super::api_error::ApiError;
use super::connection_slots::Trust;
use axum::extract::{Request, State};
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use host::AnnouncedHost;
use pairing::{Device, Pairing};
use rate_limit::RateLimits;
use std::net::SocketAddr;
use std::sync::Arc;

/// Both ends of a request's connection.
#[derive(Debug, Clone, Copy)]
pub struct Endpoints {
    /// The device that sent the request.
    pub peer: SocketAddr,
    /// This computer's address that it was sent to.
    pub local: SocketAddr,
}

/// Checks requests.
pub struct AccessControl {
    /// Host names that requests may use besides this computer's addresses.
    pub allowed_hosts: Vec<String>,
    /// The name by which the page is announced.
    pub announced: Arc<AnnouncedHost>,
    /// Who may do what.
    pub pairing: Pairing,
    /// How many requests each device may send.
    pub rate_limits: RateLimits,
}

/// Pages may load only what this program serves.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
media-src 'self' data: blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Middleware: answers a request, or says why not.
pub async fn check_access(
    State(access): State<Arc<AccessControl>>,
    mut request: Request,
    next: Next,
) -> Response {
    let mut response = match access.admit(&mut request) {
        Ok(()) => next.run(request).await,
        Err(failure) => {
            let mut refused = failure.into_response();
            // The body is not read, so the next request needs a new connection.
            refused.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
            refused
        }
    };
    let headers = response.headers_mut();
    // The report has a policy of its own.
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(PAGE_POLICY));
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    headers.insert("cross-origin-opener-policy", HeaderValue::from_static("same-origin"));
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    response
}

impl AccessControl {
    fn admit(&self, request: &mut Request) -> Result<(), ApiError> {
        let Some(&ends) = request.extensions().get::<Endpoints>() else {
            return Err(ApiError::new(StatusCode::INTERNAL_SERVER_ERROR, "the connection is not known"));
        };
        let read_only = matches!(*request.method(), Method::GET | Method::HEAD);
        self.rate_limits.check(ends.peer.ip(), read_only)?;
        let host = host::of(request)?;
        host::check(&host, ends.local, &self.allowed_hosts, &self.announced)?;
        if !read_only {
            host::check_origin(request.headers(), &host)?;
        }
        let device = self.pairing.device(request.headers());
        let path = request.uri().path();
        // Programs on this computer need no pairing for the metrics: they have no cookie, and metrics name nobody.
        let from_here = [ends.peer, ends.local].iter().all(|end| end.ip().to_canonical().is_loopback());
        if path == "/metrics" && !from_here {
            match device {
                None => return Err(self.pairing.not_paired()),
                Some(Device::Viewer) => {
                    let why = "metrics are for the coach's device, and for programs on this computer";
                    return Err(ApiError::new(StatusCode::FORBIDDEN, why));
                }
                Some(Device::Coach) => {}
            }
        }
        // The page's files are public, and pairing must work before a device is paired.
        if path.starts_with("/api/") && path != "/api/v1/pair" {
            match device {
                None => return Err(self.pairing.not_paired()),
                Some(Device::Viewer) if !read_only => {
                    return Err(ApiError::new(
                        StatusCode::FORBIDDEN,
                        "this device may look, not change; use the coach's device",
                    ));
                }
                Some(_) => {}
            }
        }
        if let Some(device) = device {
            if let Some(trust) = request.extensions().get::<Trust>() {
                trust.earn();
            }
            request.extensions_mut().insert(device);
        }
        Ok(())
    }
}

/// Middleware of every address with a method that changes something: refuses the types that a page
/// of another site can send without asking first.
pub async fn check_type(request: Request, next: Next) -> Response {
    if !matches!(*request.method(), Method::GET | Method::HEAD)
        && let Err(why) = json_only(&request)
    {
        let mut refused = why.into_response();
        // The body is not read, so the next request needs a new connection.
        refused.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
        return refused;
    }
    next.run(request).await
}

fn json_only(request: &Request) -> Result<(), ApiError> {
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or("");
    let kind = kind.split(';').next().unwrap_or("").trim();
    if kind.eq_ignore_ascii_case("application/json") {
        return Ok(());
    }
    Err(ApiError::new(
        StatusCode::UNSUPPORTED_MEDIA_TYPE,
        "a change must be sent as Content-Type: application/json",
    ))
}
