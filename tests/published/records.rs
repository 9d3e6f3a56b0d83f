//! What recordings and cases are known by.

use bms_sim::case::Case;

/// Catalogue of parametrised CRC algorithms: CRC-32/ISO-HDLC gives CBF43926 for "123456789". A routine of its own, bit by bit, meets
/// that, and then the digest of a case.
#[test]
fn the_digest_of_a_case_is_the_catalogues_crc() {
    let bitwise = |text: &str| {
        !text.bytes().fold(u32::MAX, |sum, byte| {
            (0..8).fold(sum ^ u32::from(byte), |sum, _| (sum >> 1) ^ (0xEDB8_8320 * (sum & 1)))
        })
    };
    assert_eq!(bitwise("123456789"), 0xCBF4_3926);
    let text = include_str!("../../examples/cases/loose-joint.toml");
    let case = Case::parse(text, "loose-joint.toml").unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(case.digest, bitwise(text));
}
