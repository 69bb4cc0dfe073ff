//! Limits as the numbers they are held against.

/// A limit as a number of things.
pub fn count(limit: i64) -> u64 {
    u64::try_from(limit).unwrap_or(0)
}

/// A limit in MiB as bytes.
pub fn bytes_of_mb(limit: i64) -> u64 {
    count(limit) << 20
}
