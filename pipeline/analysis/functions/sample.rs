//! Drawing rows the same way on every run and every machine.

use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, Float64Array};
use arrow::datatypes::DataType;
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;

/// `sample_share(text)`.
pub fn sample_share() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "sample_share",
            vec![DataType::Utf8],
            DataType::Float64,
            Volatility::Immutable,
            Arc::new(|arguments| {
                let texts = ColumnarValue::values_to_arrays(arguments)?;
                let shares: Float64Array = texts[0]
                    .as_string::<i32>()
                    .iter()
                    .map(|text| text.map(|text| share(text.as_bytes())))
                    .collect();
                Ok(ColumnarValue::Array(Arc::new(shares) as ArrayRef))
            }),
        ),
        signature: "sample_share(text)",
        about: "a number from 0 to below 1 that depends on the text alone and is spread evenly over texts: draw rows where it is below the share wanted",
    }
}

/// FNV-1a (Fowler, Noll and Vo) with the finaliser of SplitMix64, as 53 bits of a fraction.
fn share(text: &[u8]) -> f64 {
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
