//! How fast one device may ask: a bucket of tokens for each address.

use crate::serve::api::error::ApiError;
use axum::http::StatusCode;
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

/// A bucket's size and how fast it fills.
#[derive(Debug, Clone, Copy)]
pub struct Limit {
    /// Tokens when full.
    pub burst: f64,
    /// Tokens a second.
    pub per_s: f64,
}

/// Looking: a page with its files, curves stepped through, several viewers behind one address.
const LOOKS: Limit = Limit { burst: 300.0, per_s: 60.0 };
/// Changing: faster than any hand.
const CHANGES: Limit = Limit { burst: 40.0, per_s: 10.0 };
/// Wrong passcodes of one address: five, then one in two minutes.
pub const GUESSES: Limit = Limit { burst: 5.0, per_s: 1.0 / 120.0 };
/// Wrong passcodes of all addresses together.
pub const ALL_GUESSES: Limit = Limit { burst: 20.0, per_s: 1.0 / 30.0 };
/// Addresses remembered; full buckets are forgotten first.
const REMEMBERED: usize = 4096;

#[derive(Debug, Clone, Copy)]
struct Bucket {
    tokens: f64,
    at: Instant,
}

/// TokenBuckets of one kind.
#[derive(Debug)]
pub struct TokenBuckets<K> {
    limit: Limit,
    buckets: Mutex<HashMap<K, Bucket>>,
}

impl<K: std::hash::Hash + Eq + Copy> TokenBuckets<K> {
    /// All full.
    pub fn new(limit: Limit) -> Self {
        Self { limit, buckets: Mutex::default() }
    }

    /// Takes a token at `now`, or says after how many seconds there is one.
    pub fn take(&self, of: K, now: Instant) -> Result<(), f64> {
        let limit = self.limit;
        let filled = |b: &Bucket| {
            let seconds = now.saturating_duration_since(b.at).as_secs_f64();
            (b.tokens + seconds * limit.per_s).min(limit.burst)
        };
        let mut buckets = self.buckets.lock().unwrap_or_else(PoisonError::into_inner);
        if buckets.len() >= REMEMBERED && !buckets.contains_key(&of) {
            buckets.retain(|_, b| filled(b) < limit.burst);
            if buckets.len() >= REMEMBERED {
                return Err(1.0);
            }
        }
        let bucket = buckets.entry(of).or_insert(Bucket { tokens: limit.burst, at: now });
        let tokens = filled(bucket);
        *bucket = Bucket { tokens, at: now };
        if tokens < 1.0 {
            return Err((1.0 - tokens) / limit.per_s);
        }
        bucket.tokens -= 1.0;
        Ok(())
    }
}

/// The answer to one who must wait.
pub fn wait(seconds: f64, text: &str) -> ApiError {
    ApiError::new(StatusCode::TOO_MANY_REQUESTS, text).retry_after(seconds.ceil().max(1.0) as u64)
}

/// The rates of requests.
#[derive(Debug)]
pub struct RateLimits {
    looks: TokenBuckets<IpAddr>,
    changes: TokenBuckets<IpAddr>,
}

impl Default for RateLimits {
    fn default() -> Self {
        Self { looks: TokenBuckets::new(LOOKS), changes: TokenBuckets::new(CHANGES) }
    }
}

impl RateLimits {
    /// Takes a request into account.
    pub fn check(&self, from: IpAddr, looks: bool) -> Result<(), ApiError> {
        let buckets = if looks { &self.looks } else { &self.changes };
        buckets
            .take(from, Instant::now())
            .map_err(|seconds| wait(seconds, "too many requests from this device; wait a moment"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn a_bucket_empties_fills_and_says_when() {
        let buckets = TokenBuckets::new(Limit { burst: 3.0, per_s: 2.0 });
        let start = Instant::now();
        for _ in 0..3 {
            assert_eq!(buckets.take(1, start), Ok(()));
        }
        assert_eq!(buckets.take(1, start), Err(0.5));
        assert_eq!(buckets.take(2, start), Ok(()), "others are not concerned");
        let later = start + Duration::from_millis(600);
        assert_eq!(buckets.take(1, later), Ok(()));
        assert!(buckets.take(1, later).is_err());
    }

    #[test]
    fn a_flood_of_addresses_is_refused_and_not_remembered_for_ever() {
        let buckets = TokenBuckets::new(Limit { burst: 1.0, per_s: 1.0 });
        let start = Instant::now();
        let refused = (0..10_000).filter(|n| buckets.take(*n, start).is_err()).count();
        assert_eq!(refused, 10_000 - REMEMBERED);
        assert_eq!(buckets.take(20_000, start + Duration::from_secs(2)), Ok(()));
        assert_eq!(buckets.buckets.lock().unwrap().len(), 1);
    }
}
