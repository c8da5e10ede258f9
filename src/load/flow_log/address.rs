//! Numbers and addresses out of bytes.

use std::net::IpAddr;

use boundwalk_model::Family;

/// A decimal number; `None` for anything else, or past 64 bits.
pub(super) fn number(text: &[u8]) -> Option<u64> {
    if text.is_empty() || text.len() > 20 {
        return None;
    }
    text.iter().try_fold(0u64, |value, &byte| {
        let digit = byte.wrapping_sub(b'0');
        (digit < 10).then_some(())?;
        value.checked_mul(10)?.checked_add(u64::from(digit))
    })
}

/// An address of either family.
pub(super) fn address(text: &[u8]) -> Option<(Family, u128)> {
    if let Some(value) = dotted(text) {
        return Some((Family::V4, u128::from(value)));
    }
    let address: IpAddr = std::str::from_utf8(text).ok()?.parse().ok()?;
    Some((Family::of(address), Family::value(address)))
}

/// `192.0.2.1`, each part without leading zeros.
fn dotted(text: &[u8]) -> Option<u32> {
    let mut value = 0u32;
    let mut parts = 0;
    for part in text.split(|&byte| byte == b'.') {
        if part.len() > 3 || (part.len() > 1 && part[0] == b'0') {
            return None;
        }
        let number = number(part)?;
        value = (value << 8) | u32::from(u8::try_from(number).ok()?);
        parts += 1;
    }
    (parts == 4).then_some(value)
}
