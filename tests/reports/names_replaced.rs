//! Pseudonyms: a published keyed hash, stable names, nothing left of the real ones.

use voltwane::report::pseudonym::{Pseudonyms, keyed_hash};

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// RFC 4231, test cases 1, 2, 3 and 6 (a key longer than a block) for HMAC-SHA-256.
#[test]
fn the_keyed_hash_is_the_published_one() {
    assert_eq!(
        hex(&keyed_hash(&[0x0b; 20], b"Hi There")),
        "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"
    );
    assert_eq!(
        hex(&keyed_hash(b"Jefe", b"what do ya want for nothing?")),
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    );
    assert_eq!(
        hex(&keyed_hash(&[0xaa; 20], &[0xdd; 50])),
        "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"
    );
    assert_eq!(
        hex(&keyed_hash(
            &[0xaa; 131],
            b"Test Using Larger Than Block-Size Key - Hash Key First"
        )),
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"
    );
}

#[test]
fn a_name_keeps_its_pseudonym_and_shares_it_with_no_other() {
    let pseudonyms = Pseudonyms::with_key(b"a key of the house");
    let again = Pseudonyms::with_key(b"a key of the house");
    let other = Pseudonyms::with_key(b"a key of another house");
    assert_eq!(pseudonyms.of("U", "N00129"), again.of("U", "N00129"));
    assert_ne!(pseudonyms.of("U", "N00129"), other.of("U", "N00129"));
    assert_ne!(
        pseudonyms.of("U", "N00129")[2..],
        pseudonyms.of("T", "N00129")[2..]
    );
    let all: std::collections::BTreeSet<String> = (0..20_000)
        .map(|unit| pseudonyms.of("U", &format!("N{unit:05}")))
        .collect();
    assert_eq!(all.len(), 20_000);
}

#[test]
fn an_identification_number_in_running_text_is_replaced() {
    let pseudonyms = Pseudonyms::with_key(b"a key of the house");
    let vin = "GB6HD4H2XRK000000";
    let swept = pseudonyms.sweep(&format!(
        "seen ({vin}), {}; 12345678901234567x",
        vin.to_lowercase()
    ));
    let pseudonym = pseudonyms.of("V", vin);
    assert_eq!(
        swept,
        format!("seen ({pseudonym}), {pseudonym}; 12345678901234567x")
    );
}
