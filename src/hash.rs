//! A hash that is the same in every release.

/// FNV-1a of 128 bits: small, and the same in every release of this program, which the standard library does not
/// promise of its own hashes. It keeps mails apart; it protects nothing.
///
/// ```text
/// h <- (h xor byte) * prime   (mod 2^128), from the offset basis
/// ```
///
/// **Source.** G. Fowler, L. C. Noll, K.-P. Vo, D. Eastlake, "The FNV Non-Cryptographic Hash Algorithm", Internet-Draft
/// draft-eastlake-fnv, sections 2 and 5; the constants and the check values are from memory and confirm one another.
pub(crate) fn fnv1a_128(bytes: &[u8]) -> u128 {
    const OFFSET_BASIS: u128 = 0x6c62272e07bb014262b821756295c58d;
    const PRIME: u128 = 0x0000000001000000000000000000013B;
    bytes.iter().fold(OFFSET_BASIS, |hash, byte| (hash ^ u128::from(*byte)).wrapping_mul(PRIME))
}

/// A hash of several texts; each is preceded by its length, so that no two lists run together.
pub(crate) fn hash_of(parts: &[&str]) -> u128 {
    let mut bytes = Vec::new();
    for part in parts {
        bytes.extend_from_slice(&(part.len() as u64).to_be_bytes());
        bytes.extend_from_slice(part.as_bytes());
    }
    fnv1a_128(&bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: the test vectors of draft-eastlake-fnv, 128 bits (from memory).
    #[test]
    fn the_hash_agrees_with_its_authors() {
        for (text, hash) in [
            ("", 0x6c62272e07bb014262b821756295c58d),
            ("a", 0xd228cb696f1a8caf78912b704e4a8964),
            ("foobar", 0x343e1662793c64bf6f0d3597ba446f18),
        ] {
            assert_eq!(fnv1a_128(text.as_bytes()), hash, "{text}");
        }
    }

    #[test]
    fn parts_do_not_run_together() {
        assert_ne!(hash_of(&["ab", "c"]), hash_of(&["a", "bc"]));
        assert_ne!(hash_of(&["a"]), hash_of(&["a", ""]));
    }
}
