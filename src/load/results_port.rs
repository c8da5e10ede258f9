//! The port of a probe as a plan writes it.
//!
//! `443`; `123 from 456` where the source port matters; `type 8 code 0` for messages. Never `8/0`, which spreadsheets
//! take for a date.

use boundwalk_model::Protocol;

/// Ports of a probe.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Ports {
    /// The source port, where it is said.
    pub from: Option<u16>,
    /// The destination port, or `type * 256 + code`.
    pub to: u16,
}

/// Reads the port of a probe of a protocol.
pub(super) fn ports(protocol: Protocol, text: &str) -> Result<Ports, String> {
    if protocol.has_ports() {
        return with_ports(text).ok_or_else(|| {
            format!(
                "the port `{text}` is not known; write 443, or `123 from 456` with the source port"
            )
        });
    }
    if protocol.has_messages() {
        return message(text).ok_or_else(|| {
            format!("the port `{text}` is no message; write `type 8 code 0`, or `type 8`")
        });
    }
    match text {
        "" | "-" | "0" => Ok(Ports { from: None, to: 0 }),
        _ => Err(format!(
            "{protocol} has no ports, and the port is `{text}`; leave it empty"
        )),
    }
}

fn with_ports(text: &str) -> Option<Ports> {
    let (to, from) = match text.split_once("from") {
        Some((to, from)) => (to, Some(from.trim().parse().ok()?)),
        None => (text, None),
    };
    let to = to.trim().parse().ok()?;
    Some(Ports { from, to })
}

fn message(text: &str) -> Option<Ports> {
    let mut words = text.split_whitespace();
    let (Some("type"), Some(kind)) = (words.next(), words.next()) else {
        return None;
    };
    let code = match (words.next(), words.next(), words.next()) {
        (None, ..) => "0",
        (Some("code"), Some(code), None) => code,
        _ => return None,
    };
    let (kind, code): (u8, u8) = (kind.parse().ok()?, code.parse().ok()?);
    Some(Ports {
        from: None,
        to: u16::from(kind) * 256 + u16::from(code),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_model::{ICMP, TCP};

    #[test]
    fn ports_and_messages_are_read_as_plans_write_them() {
        let read = |protocol, text| ports(protocol, text).map(|ports| (ports.from, ports.to));
        assert_eq!(read(TCP, "443"), Ok((None, 443)));
        assert_eq!(read(TCP, "123 from 456"), Ok((Some(456), 123)));
        assert_eq!(read(ICMP, "type 8 code 0"), Ok((None, 2048)));
        assert_eq!(read(ICMP, "type 3"), Ok((None, 768)));
        assert_eq!(read(Protocol(47), ""), Ok((None, 0)));
        for (protocol, text) in [
            (TCP, ""),
            (TCP, "65536"),
            (TCP, "1 from"),
            (ICMP, "8/0"),
            (ICMP, "type 256"),
            (ICMP, "type 8 code 0 0"),
            (Protocol(47), "5"),
        ] {
            assert!(read(protocol, text).is_err(), "{protocol} {text}");
        }
    }
}
