//! A token bucket per source: so many messages a minute, and as many at once.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use tokio::time::Instant;

/// Buckets of all sources. Only messages whose signature was believed are charged:
/// otherwise anybody could use up a shop's allowance.
#[derive(Debug, Default)]
pub(super) struct Buckets(Mutex<HashMap<String, Bucket>>);

#[derive(Debug)]
struct Bucket {
    tokens: f64,
    filled: Instant,
}

impl Buckets {
    /// Takes one token; else the whole seconds after which there is one again.
    pub(super) fn take(&self, source: &str, per_minute: u32, now: Instant) -> Result<(), u64> {
        let size = f64::from(per_minute.max(1));
        let per_second = size / 60.0;
        let mut buckets = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let bucket = buckets.entry(source.to_owned()).or_insert(Bucket { tokens: size, filled: now });
        let since = now.saturating_duration_since(bucket.filled).as_secs_f64();
        bucket.tokens = (bucket.tokens + since * per_second).min(size);
        bucket.filled = now;
        if bucket.tokens >= 1.0 {
            bucket.tokens -= 1.0;
            return Ok(());
        }
        Err(((1.0 - bucket.tokens) / per_second).ceil().max(1.0) as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn a_bucket_gives_its_size_at_once_and_fills_up_again() {
        let buckets = Buckets::default();
        let start = Instant::now();
        for nth in 0..30 {
            assert_eq!(buckets.take("shop", 30, start), Ok(()), "{nth}");
        }
        assert_eq!(buckets.take("shop", 30, start), Err(2));
        assert_eq!(buckets.take("fair", 30, start), Ok(()));
        assert_eq!(buckets.take("shop", 30, start + Duration::from_secs(1)), Err(1));
        assert_eq!(buckets.take("shop", 30, start + Duration::from_secs(2)), Ok(()));
        let later = start + Duration::from_secs(3600);
        assert_eq!((0..40).filter(|_| buckets.take("shop", 30, later).is_ok()).count(), 30);
    }
}
