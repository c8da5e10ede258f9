//! Counts as people read them.

use num_bigint::BigUint;

/// `65,536`, and powers of two from 2^32 on.
pub fn counted(size: &BigUint) -> String {
    if size.bits() > 32 {
        let power = size.bits() - 1;
        let exact = BigUint::from(1u8) << power == *size;
        return if exact {
            format!("2^{power}")
        } else {
            format!("more than 2^{power}")
        };
    }
    let digits = size.to_string();
    let mut out = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_readable() {
        let shown = |size: u128| counted(&BigUint::from(size));
        assert_eq!(shown(7), "7");
        assert_eq!(shown(65_536), "65,536");
        assert_eq!(shown(16_777_216), "16,777,216");
        assert_eq!(shown(1 << 64), "2^64");
        assert_eq!(shown((1 << 64) + 1), "more than 2^64");
    }
}
