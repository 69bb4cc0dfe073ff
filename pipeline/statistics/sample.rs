//! Drawing rows the same way on every run and every machine.

/// FNV-1a (Fowler, Noll and Vo) with the finaliser of SplitMix64, as 53 bits of a fraction.
pub fn share(text: &[u8]) -> f64 {
    let mut bits = stable_hash(text);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^= bits >> 31;
    (bits >> 11) as f64 / (1_u64 << 53) as f64
}

/// FNV-1a of the bytes.
pub fn stable_hash(text: &[u8]) -> u64 {
    text.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_the_published_one() {
        // Test vectors of the FNV reference (draft-eastlake-fnv).
        assert_eq!(stable_hash(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(stable_hash(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(stable_hash(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn shares_are_spread_evenly() {
        let shares: Vec<f64> = (0..20_000)
            .map(|n| share(format!("vehicle {n}").as_bytes()))
            .collect();
        for tenth in 0..10 {
            let (from, to) = (f64::from(tenth) / 10.0, f64::from(tenth + 1) / 10.0);
            let inside = shares.iter().filter(|s| (from..to).contains(*s)).count();
            // Five standard deviations of a binomial with mean 2,000.
            assert!(inside.abs_diff(2_000) < 215, "{inside} in {from} to {to}");
        }
    }
}
