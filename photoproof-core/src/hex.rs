//! Digests in hexadecimal.

/// Lower-case hexadecimal, two digits a byte.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::hex;

    #[test]
    fn two_digits_a_byte() {
        assert_eq!(hex(&[0, 10, 255]), "000aff");
    }
}
