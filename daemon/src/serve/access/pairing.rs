//! Pairing: which device may do what.
//!
//! On a loopback address every browser is the coach's. Elsewhere a device gets in with a
//! link shown in the terminal or with the passcode, and is then known by a cookie
//! ([`super::paired_devices`]). PairingLinks and cookies are 128 random bits and are compared in constant
//! time; links live in memory only.

use super::paired_devices::{GOOD_FOR_DAYS, PairedDevices, TOKEN_BYTES};
use super::rate_limit::{ALL_GUESSES, GUESSES, TokenBuckets, wait};
use crate::serve::api::error::ApiError;
use crate::serve::random;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use subtle::ConstantTimeEq as _;

/// Name of the cookie.
const COOKIE: &str = "peakorder";

/// What a device may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Device {
    /// Everything.
    Coach,
    /// Look.
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

/// PairingLinks to be shown in the terminal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PairingLinks {
    /// Good once, for the coach's device.
    pub coach: String,
    /// Good until the program ends, for those who look.
    pub viewer: String,
}

#[derive(Debug)]
struct Known {
    coach_link: Option<String>,
    viewer_link: String,
    passcode: Option<String>,
    devices: PairedDevices,
}

/// Who may do what.
#[derive(Debug)]
pub struct Pairing {
    /// `None`: whoever reaches us is the coach (loopback).
    known: Option<Mutex<Known>>,
    guesses: TokenBuckets<IpAddr>,
    all_guesses: TokenBuckets<()>,
}

fn same(a: &str, b: &str) -> bool {
    a.as_bytes().ct_eq(b.as_bytes()).into()
}

impl Pairing {
    /// Every device is the coach's: for loopback addresses.
    pub fn open() -> Self {
        Self { known: None, guesses: TokenBuckets::new(GUESSES), all_guesses: TokenBuckets::new(ALL_GUESSES) }
    }

    /// PairedDevices must pair, by the links returned or by `passcode`, unless they are known.
    pub fn paired(passcode: Option<String>, devices: PairedDevices) -> (Self, PairingLinks) {
        let links = PairingLinks { coach: random::hex(TOKEN_BYTES), viewer: random::hex(TOKEN_BYTES) };
        let known = Known {
            coach_link: Some(links.coach.clone()),
            viewer_link: links.viewer.clone(),
            passcode,
            devices,
        };
        (Self { known: Some(Mutex::new(known)), ..Self::open() }, links)
    }

    fn lock(&self) -> Option<MutexGuard<'_, Known>> {
        Some(self.known.as_ref()?.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Which device sent these headers.
    pub fn device(&self, headers: &HeaderMap) -> Option<Device> {
        let Some(known) = self.lock() else { return Some(Device::Coach) };
        let now = Timestamp::now();
        headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|v| v.to_str().ok())
            .flat_map(|v| v.split(';'))
            .filter_map(|pair| pair.trim().strip_prefix(COOKIE)?.strip_prefix('='))
            .find_map(|token| known.devices.of(token, now))
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

    /// Takes a link's token; returns the cookie of the device it makes.
    pub fn redeem_link(&self, token: &str, from: IpAddr) -> Result<HeaderValue, ApiError> {
        let Some(mut known) = self.lock() else { return Err(no_need()) };
        let device = if known.coach_link.as_deref().is_some_and(|t| same(t, token)) {
            known.coach_link = None;
            Device::Coach
        } else if same(&known.viewer_link, token) {
            Device::Viewer
        } else {
            drop(known);
            self.guessed(from)?;
            return Err(ApiError::new(
                StatusCode::FORBIDDEN,
                "this link is not good (any more); the coach's link works once, start peakorderd anew for another",
            ));
        };
        Ok(known.admit(device))
    }

    /// Takes a passcode; returns the coach's cookie.
    pub fn redeem_passcode(&self, passcode: &str, from: IpAddr) -> Result<HeaderValue, ApiError> {
        let Some(mut known) = self.lock() else { return Err(no_need()) };
        let Some(right) = &known.passcode else {
            return Err(ApiError::new(
                StatusCode::FORBIDDEN,
                "there is no passcode; open the link in the terminal",
            ));
        };
        let right = same(right, passcode);
        drop(known);
        // Even the right one waits once too many were wrong, or guessing would not be slowed.
        self.guessed(from)?;
        if !right {
            return Err(ApiError::new(StatusCode::FORBIDDEN, "this is not the passcode"));
        }
        known = self.lock().ok_or_else(no_need)?;
        Ok(known.admit(Device::Coach))
    }

    fn guessed(&self, from: IpAddr) -> Result<(), ApiError> {
        let now = Instant::now();
        self.guesses
            .take(from, now)
            .and_then(|()| self.all_guesses.take((), now))
            .map_err(|seconds| wait(seconds, "too many attempts; wait"))
    }
}

impl Known {
    fn admit(&mut self, device: Device) -> HeaderValue {
        let token = self.devices.admit(device, Timestamp::now());
        let seconds = GOOD_FOR_DAYS * 24 * 3600;
        let cookie = format!("{COOKIE}={token}; Max-Age={seconds}; HttpOnly; SameSite=Strict; Path=/");
        HeaderValue::try_from(cookie).expect("hexadecimal and fixed text are visible ASCII")
    }
}

fn no_need() -> ApiError {
    ApiError::new(StatusCode::CONFLICT, "no pairing is needed on this computer; open the page")
}
