//! How derived tables are made: what must not depend on how many vehicles there are.

mod buckets;
#[cfg(feature = "cluster")]
mod cluster;
mod memory;
