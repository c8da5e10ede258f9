//! Addresses, prefixes and ranges as they are written.

use std::net::{IpAddr, Ipv4Addr};

use ipnet::IpNet;

use boundwalk_diagnostic::{Kind, Problem, Span};
use boundwalk_model::{Family, Prefix};
use boundwalk_packet::Interval;

use super::kinds;
use super::quote::shown;

/// What is wrong with a text, before its place is known.
#[derive(Debug)]
pub(super) struct Complaint {
    pub kind: &'static Kind,
    pub message: String,
    pub help: String,
}

impl Complaint {
    /// A complaint with its remedy.
    pub fn new(kind: &'static Kind, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            kind,
            message: message.into(),
            help: help.into(),
        }
    }

    /// As a problem at a place.
    pub fn at(self, span: Span) -> Problem {
        Problem::at(self.kind, span, self.message).help(self.help)
    }
}

/// An address of either family. Octets with leading zeros are refused: some tools read them as octal.
pub(super) fn address(text: &str) -> Result<IpAddr, Complaint> {
    match text.parse::<IpAddr>() {
        Ok(IpAddr::V6(v6)) => match v6.to_ipv4_mapped() {
            Some(v4) => Err(Complaint::new(
                &kinds::BAD_ADDRESS,
                format!(
                    "`{}` is an IPv4 address in IPv6 clothes and never stands in a packet",
                    shown(text)
                ),
                format!("did you mean {v4}?"),
            )),
            None => Ok(IpAddr::V6(v6)),
        },
        Ok(v4) => Ok(v4),
        Err(_) => Err(not_an_address(text)),
    }
}

/// A prefix without host bits.
pub(super) fn prefix(text: &str) -> Result<Prefix, Complaint> {
    let Some((head, length)) = text.split_once('/') else {
        let message = format!("`{}` has no prefix length", shown(text));
        let help = match address(text) {
            Ok(IpAddr::V4(_)) => format!(
                "write {text}/32 for the one address, or a shorter length, as in 192.0.2.0/24"
            ),
            Ok(IpAddr::V6(_)) => format!(
                "write {text}/128 for the one address, or a shorter length, as in 2001:db8::/64"
            ),
            Err(_) => "write an address, a slash and a length, as in 192.0.2.0/24".to_owned(),
        };
        return Err(Complaint::new(&kinds::BAD_PREFIX, message, help));
    };
    let head = address(head)?;
    let net = net(head, length)?;
    Prefix::new(net).ok_or_else(|| {
        Complaint::new(
            &kinds::HOST_BITS,
            format!("{} has host bits set", shown(text)),
            format!(
                "did you mean {}? The one address is {}/{}",
                net.trunc(),
                head,
                net.max_prefix_len()
            ),
        )
    })
}

/// An address of an interface, with its prefix length where one is given.
pub(super) fn interface(text: &str) -> Result<(IpAddr, Option<IpNet>), Complaint> {
    match text.split_once('/') {
        Some((head, length)) => {
            let head = address(head)?;
            Ok((head, Some(net(head, length)?)))
        }
        None => Ok((address(text)?, None)),
    }
}

/// An address, a prefix, or `low-high`.
pub(super) fn interval(text: &str) -> Result<(Family, Interval), Complaint> {
    if text.contains('/') {
        let prefix = prefix(text)?;
        return Ok((prefix.family(), prefix.interval()));
    }
    match text.split_once('-') {
        Some((low, high)) => range(text, low, high),
        None => {
            let address = address(text)?;
            Ok((Family::of(address), Interval::point(Family::value(address))))
        }
    }
}

/// Whether a text is meant as an address, prefix or range, right or wrong, and not as a name.
pub(super) fn is_address_like(text: &str) -> bool {
    let numeric = text
        .chars()
        .all(|c| c.is_ascii_digit() || matches!(c, '.' | '-'));
    text.contains('/')
        || text.contains(':')
        || (numeric && text.contains('.') && text.starts_with(|c: char| c.is_ascii_digit()))
}

/// Addresses that no interface can have: unspecified, loopback, multicast, reserved and broadcast (RFC 1122
/// section 3.2.1.3, RFC 4291 section 2).
pub(super) fn unusable(address: IpAddr) -> Option<&'static str> {
    match address {
        IpAddr::V4(v4) if v4.octets()[0] == 0 => Some("\"this network\""),
        IpAddr::V4(v4) if v4.is_broadcast() => Some("the limited broadcast address"),
        IpAddr::V4(v4) if v4.octets()[0] >= 240 => Some("reserved"),
        IpAddr::V6(v6) if v6.is_unspecified() => Some("the unspecified address"),
        _ if address.is_loopback() => Some("a loopback address"),
        _ if address.is_multicast() => Some("a multicast address"),
        _ => None,
    }
}

fn range(text: &str, low: &str, high: &str) -> Result<(Family, Interval), Complaint> {
    let low = address(low)?;
    let high = match (low, high.parse::<u8>()) {
        (IpAddr::V4(v4), Ok(last)) => {
            let [a, b, c, _] = v4.octets();
            let meant = Ipv4Addr::new(a, b, c, last);
            let message = format!("`{}` ends in a bare number", shown(text));
            let help = format!("did you mean {v4}-{meant}?");
            return Err(Complaint::new(&kinds::BAD_RANGE, message, help));
        }
        _ => address(high)?,
    };
    let family = Family::of(low);
    if Family::of(high) != family {
        let message = format!(
            "`{}` starts in one family and ends in the other",
            shown(text)
        );
        let help = "write one range for IPv4 and one for IPv6";
        return Err(Complaint::new(&kinds::MIXED_FAMILIES, message, help));
    }
    let bounds = Interval::new(Family::value(low), Family::value(high));
    let bounds = bounds.ok_or_else(|| {
        let message = format!("`{}` ends before it starts", shown(text));
        Complaint::new(
            &kinds::REVERSED_RANGE,
            message,
            format!("did you mean {high}-{low}?"),
        )
    })?;
    Ok((family, bounds))
}

fn net(head: IpAddr, length: &str) -> Result<IpNet, Complaint> {
    let most = if head.is_ipv4() { 32 } else { 128 };
    let digits = !length.is_empty() && length.bytes().all(|byte| byte.is_ascii_digit());
    let number = if digits {
        length.parse::<u32>().unwrap_or(u32::MAX)
    } else {
        u32::MAX
    };
    if number <= most {
        return Ok(IpNet::new(head, number as u8).expect("the length is within the family's width"));
    }
    if digits {
        let message = format!("a prefix length of {} with {head}", shown(length));
        let help = format!(
            "{} prefix lengths go from 0 to {most}",
            Family::of(head).word()
        );
        return Err(Complaint::new(&kinds::BAD_PREFIX, message, help));
    }
    let message = format!("`{}` is no prefix length", shown(length));
    let mask = length
        .parse::<IpAddr>()
        .ok()
        .and_then(|mask| ipnet::ip_mask_to_prefix(mask).ok());
    let help = match mask {
        Some(bits) if u32::from(bits) <= most => format!("did you mean {head}/{bits}?"),
        _ => format!("write a number from 0 to {most}"),
    };
    Err(Complaint::new(&kinds::BAD_PREFIX, message, help))
}

fn not_an_address(text: &str) -> Complaint {
    let message = format!("`{}` is no address", shown(text));
    if let Some((head, zone)) = text.split_once('%') {
        let help = format!(
            "leave out `%{}`: interfaces are named by a key of their own; write {}",
            shown(zone),
            shown(head)
        );
        return Complaint::new(&kinds::BAD_ADDRESS, message, help);
    }
    if text.starts_with(' ') || text.ends_with(' ') {
        let help = format!("did you mean \"{}\", without spaces?", shown(text.trim()));
        return Complaint::new(&kinds::BAD_ADDRESS, message, help);
    }
    let plain: Option<Vec<u32>> = text.split('.').map(|part| part.parse().ok()).collect();
    let help = match plain.as_deref() {
        Some([a, b, c, d])
            if text
                .split('.')
                .any(|part| part.len() > 1 && part.starts_with('0')) =>
        {
            format!("numbers take no leading zeros; did you mean {a}.{b}.{c}.{d}?")
        }
        Some([_, _, _, _]) => "each of the four numbers goes from 0 to 255".to_owned(),
        Some(parts) if parts.len() > 1 => {
            format!("an IPv4 address has four numbers, not {}", parts.len())
        }
        _ => "write an address as in 192.0.2.1 or 2001:db8::1".to_owned(),
    };
    Complaint::new(&kinds::BAD_ADDRESS, message, help)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(text: &str) -> &'static str {
        interval(text).expect_err("a mistake").kind.name
    }

    #[test]
    fn items_are_addresses_prefixes_or_ranges() {
        let (family, bounds) = interval("10.0.0.0/30").expect("a prefix");
        assert_eq!((family, bounds.high() - bounds.low()), (Family::V4, 3));
        let (family, bounds) = interval("fd00::1-fd00::a").expect("a range");
        assert_eq!((family, bounds.high() - bounds.low()), (Family::V6, 9));
        let (_, bounds) = interval("192.0.2.7").expect("an address");
        assert_eq!(bounds.low(), bounds.high());
        assert!(interval("0.0.0.0/0").is_ok() && interval("::/0").is_ok());
    }

    #[test]
    fn mistakes_are_told_apart() {
        assert_eq!(kind("10.0.0.1/24"), "host-bits");
        assert_eq!(kind("10.0.0.0/33"), "bad-prefix");
        assert_eq!(kind("10.0.0.0/255.255.255.0"), "bad-prefix");
        assert_eq!(kind("10.0.0.9-10.0.0.1"), "reversed-range");
        assert_eq!(kind("10.0.0.1-fd00::1"), "mixed-families");
        assert_eq!(kind("10.0.0.1-20"), "bad-range");
        assert_eq!(kind("10.0.0.01"), "bad-address");
        assert_eq!(kind("::ffff:10.0.0.1"), "bad-address");
        let help = interval("10.0.0.0/255.255.255.0").expect_err("a mask").help;
        assert_eq!(help, "did you mean 10.0.0.0/24?");
    }
}
