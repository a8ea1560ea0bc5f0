//! Digests as text: what files, lines and networks are known again by.

use sha2::{Digest, Sha256};

/// SHA-256 in hexadecimal.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Two small hexadecimal digits for each byte.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4 by NIST's own example: the digest of `abc`.
    #[test]
    fn a_digest_keeps_its_leading_zeros_and_is_written_small() {
        let of_abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256(b"abc"), of_abc);
        assert_eq!(hex(&[0, 0x0a, 0xff]), "000aff");
    }
}
