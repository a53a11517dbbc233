//! Checks the host that a request names and the page that it comes from.

use crate::serve::api_error::ApiError;
use axum::extract::Request;
use axum::http::uri::Authority;
use axum::http::{HeaderMap, StatusCode, header};
use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The host a request names, in its one `Host` header.
pub fn of(request: &Request) -> Result<Authority, ApiError> {
    let bad =
        || ApiError::new(StatusCode::BAD_REQUEST, "the request must name its host, once, in a Host header");
    let mut hosts = request.headers().get_all(header::HOST).iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else { return Err(bad()) };
    let host: Authority = host.to_str().ok().and_then(|h| h.parse().ok()).ok_or_else(bad)?;
    // `user@host` is an authority too, but no browser sends it as a host.
    if host.as_str().contains('@') { Err(bad()) } else { Ok(host) }
}

/// The host name as an address, if it is one.
fn address(host: &str) -> Option<IpAddr> {
    host.strip_prefix('[').and_then(|h| h.strip_suffix(']')).unwrap_or(host).parse().ok()
}

/// The name by which the system announces this computer in the network, while the page is announced under it.
#[derive(Debug, Default)]
pub struct AnnouncedHost(Mutex<Option<String>>);

impl AnnouncedHost {
    /// Whether it is `name`.
    pub fn is(&self, name: &str) -> bool {
        self.lock().as_deref().is_some_and(|host| host.eq_ignore_ascii_case(name))
    }

    /// Sets it. It has no dot at its end, and neither has what a browser sends.
    pub fn set(&self, name: Option<String>) {
        *self.lock() = name.map(|name| name.trim_end_matches('.').to_owned());
    }

    fn lock(&self) -> MutexGuard<'_, Option<String>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Allows the address that the connection came to, the loopback names for connections from this
/// machine, the names given with `--allow-host`, and from other machines the one that is announced. Another site's name that
/// points here is refused: whoever can make the announced name point elsewhere is in this network and could as well pass for
/// its addresses, against which only encryption helps.
pub fn check(
    host: &Authority,
    local: SocketAddr,
    allowed: &[String],
    announced: &AnnouncedHost,
) -> Result<(), ApiError> {
    let name = host.host();
    let local = local.ip().to_canonical();
    let known = match address(name) {
        Some(ip) => ip.to_canonical() == local,
        None if local.is_loopback() => name.eq_ignore_ascii_case("localhost"),
        None => announced.is(name),
    };
    if known || allowed.iter().any(|a| a.eq_ignore_ascii_case(name)) {
        return Ok(());
    }
    Err(ApiError::new(
        StatusCode::MISDIRECTED_REQUEST,
        "this host name is not one of this computer's; open the address that peakorderd printed, \
         or start it with --allow-host NAME",
    ))
}

/// A change must come from this program's own page, or from a program, which names no origin.
pub fn check_origin(headers: &HeaderMap, host: &Authority) -> Result<(), ApiError> {
    let mut origins = headers.get_all(header::ORIGIN).iter();
    let Some(origin) = origins.next() else { return Ok(()) };
    let ours = origin
        .to_str()
        .ok()
        .and_then(|o| o.strip_prefix("http://").or_else(|| o.strip_prefix("https://")))
        .is_some_and(|o| o.eq_ignore_ascii_case(host.as_str()));
    if ours && origins.next().is_none() {
        return Ok(());
    }
    Err(ApiError::new(StatusCode::FORBIDDEN, "the request comes from a page of another site and is refused"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn checked(host: &str, local: &str, allowed: &[&str]) -> bool {
        let allowed: Vec<String> = allowed.iter().map(|a| (*a).to_owned()).collect();
        check(&host.parse().unwrap(), local.parse().unwrap(), &allowed, &AnnouncedHost::default()).is_ok()
    }

    #[test]
    fn our_addresses_and_names_pass_and_no_others() {
        assert!(checked("127.0.0.1:7311", "127.0.0.1:7311", &[]));
        assert!(checked("localhost:7311", "127.0.0.1:7311", &[]));
        assert!(checked("LOCALHOST", "[::1]:7311", &[]));
        assert!(checked("[::1]:7311", "[::1]:7311", &[]));
        assert!(checked("192.168.1.5:7311", "[::ffff:192.168.1.5]:7311", &[]));
        assert!(checked("bay.local:7311", "192.168.1.5:7311", &["bay.local"]));
        assert!(!checked("bay.local:7311", "192.168.1.5:7311", &[]));
        assert!(!checked("evil.example:7311", "127.0.0.1:7311", &[]));
        assert!(!checked("127.0.0.1.evil.example", "127.0.0.1:7311", &[]));
        assert!(!checked("localhost.evil.example", "127.0.0.1:7311", &[]));
        assert!(!checked("10.0.0.1:7311", "127.0.0.1:7311", &[]), "another address");
        assert!(!checked("localhost:7311", "192.168.1.5:7311", &[]), "localhost means another machine there");
    }

    #[test]
    fn the_announced_name_passes_while_it_is_announced_and_from_other_machines() {
        let announced = AnnouncedHost::default();
        let passes = |host: &str, local: &str| {
            check(&host.parse().unwrap(), local.parse().unwrap(), &[], &announced).is_ok()
        };
        assert!(!passes("bay.local:7311", "192.168.1.5:7311"));
        announced.set(Some("Bay.local.".into()));
        assert!(passes("bay.local:7311", "192.168.1.5:7311") && passes("BAY.LOCAL", "[fe80::1]:7311"));
        assert!(
            !passes("bay.local:7311", "127.0.0.1:7311") && !passes("other.local:7311", "192.168.1.5:7311")
        );
        announced.set(None);
        assert!(!passes("bay.local:7311", "192.168.1.5:7311"));
    }

    #[test]
    fn only_our_own_page_may_change() {
        let host: Authority = "127.0.0.1:7311".parse().unwrap();
        let from = |origins: &[&str]| {
            let mut headers = HeaderMap::new();
            for o in origins {
                headers.append(header::ORIGIN, o.parse().unwrap());
            }
            check_origin(&headers, &host).is_ok()
        };
        assert!(from(&[]));
        assert!(from(&["http://127.0.0.1:7311"]));
        assert!(!from(&["null"]));
        assert!(!from(&["http://127.0.0.1:7312"]), "another port is another site");
        assert!(!from(&["http://127.0.0.1:7311.evil.example"]));
        assert!(!from(&["http://127.0.0.1:7311", "http://evil.example"]));
    }
}
