//! Pairing: how a device gets in, and what it may do.
//!
//! On a loopback address every browser is the coach's. Elsewhere a device gets in with a
//! link shown in the terminal or with the passcode, and is then known by a cookie
//! ([`super::paired_devices`]). Links and cookies are 128 random bits and are compared in constant
//! time; links live in memory only.

use super::paired_devices::{GOOD_FOR_DAYS, PairedDevices, TOKEN_BYTES};
use super::rate_limit::{ALL_GUESSES, GUESSES, TokenBuckets, wait};
use crate::serve::api_error::ApiError;
use crate::serve::random;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use subtle::ConstantTimeEq as _;

/// Name of the cookie.
pub const COOKIE: &str = "peakorder";

/// What a device may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Device {
    /// Everything.
    Coach,
    /// Read only.
    Viewer,
}

impl Device {
    /// Name in the API.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Coach => "coach",
            Self::Viewer => "viewer",
        }
    }
}

/// Links to show in the terminal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PairingLinks {
    /// For the coach's device; works once.
    pub coach: String,
    /// For viewers; works until the program ends.
    pub viewer: String,
}

#[derive(Debug)]
struct PairingState {
    coach_link: Option<String>,
    viewer_link: String,
    passcode: Option<String>,
    devices: PairedDevices,
    /// Connections are encrypted, and the cookie must not be sent over others.
    secure: bool,
}

/// Pairs devices and recognises them.
#[derive(Debug)]
pub struct Pairing {
    /// `None` on a loopback address: every device is the coach's.
    state: Option<Mutex<PairingState>>,
    guesses: TokenBuckets<IpAddr>,
    all_guesses: TokenBuckets<()>,
}

fn same(a: &str, b: &str) -> bool {
    a.as_bytes().ct_eq(b.as_bytes()).into()
}

impl Pairing {
    /// For loopback addresses: every device is the coach's.
    pub fn open() -> Self {
        Self { state: None, guesses: TokenBuckets::new(GUESSES), all_guesses: TokenBuckets::new(ALL_GUESSES) }
    }

    /// For other addresses: unknown devices must pair, by the links returned or by `passcode`.
    pub fn paired(passcode: Option<String>, devices: PairedDevices, secure: bool) -> (Self, PairingLinks) {
        let links = PairingLinks { coach: random::hex(TOKEN_BYTES), viewer: random::hex(TOKEN_BYTES) };
        let state = PairingState {
            coach_link: Some(links.coach.clone()),
            viewer_link: links.viewer.clone(),
            passcode,
            devices,
            secure,
        };
        (Self { state: Some(Mutex::new(state)), ..Self::open() }, links)
    }

    /// Whether every device is the coach's.
    pub fn is_open(&self) -> bool {
        self.state.is_none()
    }

    fn lock(&self) -> Option<MutexGuard<'_, PairingState>> {
        Some(self.state.as_ref()?.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Which device sent these headers.
    pub fn device(&self, headers: &HeaderMap) -> Option<Device> {
        let Some(state) = self.lock() else { return Some(Device::Coach) };
        let now = Timestamp::now();
        headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|v| v.to_str().ok())
            .flat_map(|v| v.split(';'))
            .filter_map(|pair| pair.trim().strip_prefix(COOKIE)?.strip_prefix('='))
            .find_map(|token| state.devices.of(token, now))
    }

    /// The answer to a device that is not paired.
    pub fn not_paired(&self) -> ApiError {
        let passcode = self.lock().is_some_and(|k| k.passcode.is_some());
        let text = if passcode {
            "this device is not paired; type the passcode, or open the link that peakorderd shows in its terminal"
        } else {
            "this device is not paired; open the link that peakorderd shows in its terminal"
        };
        ApiError::new(StatusCode::UNAUTHORIZED, text).with("passcode", passcode)
    }

    /// Pairs a device by a link's token; returns its cookie.
    pub fn redeem_link(&self, token: &str, from: IpAddr) -> Result<HeaderValue, ApiError> {
        let Some(mut state) = self.lock() else { return Err(not_needed()) };
        let device = if state.coach_link.as_deref().is_some_and(|t| same(t, token)) {
            state.coach_link = None;
            Device::Coach
        } else if same(&state.viewer_link, token) {
            Device::Viewer
        } else {
            drop(state);
            self.count_guess(from)?;
            return Err(ApiError::new(
                StatusCode::FORBIDDEN,
                "this link is not valid (any more); the coach's link works once, restart peakorderd for another",
            ));
        };
        Ok(state.admit(device))
    }

    /// Pairs the coach's device by the passcode; returns its cookie.
    pub fn redeem_passcode(&self, passcode: &str, from: IpAddr) -> Result<HeaderValue, ApiError> {
        let Some(mut state) = self.lock() else { return Err(not_needed()) };
        let Some(right) = &state.passcode else {
            return Err(ApiError::new(
                StatusCode::FORBIDDEN,
                "there is no passcode; open the link in the terminal",
            ));
        };
        let right = same(right, passcode);
        drop(state);
        // After too many wrong ones the right one has to wait as well; otherwise guessing is not slowed.
        self.count_guess(from)?;
        if !right {
            return Err(ApiError::new(StatusCode::FORBIDDEN, "this is not the passcode"));
        }
        state = self.lock().ok_or_else(not_needed)?;
        Ok(state.admit(Device::Coach))
    }

    fn count_guess(&self, from: IpAddr) -> Result<(), ApiError> {
        let now = Instant::now();
        self.guesses
            .take(from, now)
            .and_then(|()| self.all_guesses.take((), now))
            .map_err(|seconds| wait(seconds, "too many attempts; wait"))
    }
}

impl PairingState {
    fn admit(&mut self, device: Device) -> HeaderValue {
        let token = self.devices.admit(device, Timestamp::now());
        let seconds = GOOD_FOR_DAYS * 24 * 3600;
        let secure = if self.secure { "; Secure" } else { "" };
        let cookie =
            format!("{COOKIE}={token}; Max-Age={seconds}; HttpOnly; SameSite=Strict; Path=/{secure}");
        HeaderValue::try_from(cookie).expect("hexadecimal and fixed text are visible ASCII")
    }
}

fn not_needed() -> ApiError {
    ApiError::new(StatusCode::CONFLICT, "no pairing is needed on this computer; open the page")
}
