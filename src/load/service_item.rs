//! One item of a list of services, as it is written.

use boundwalk_model::{Protocol, Service};
use boundwalk_packet::{Interval, IntervalSet};

use super::kinds;
use super::literal::Complaint;
use super::quote::shown;

/// What an item says.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Item<'a> {
    Service(Service),
    /// The name of another service.
    Name(&'a str),
}

/// Reads `any`, a protocol, `PROTOCOL/PORTS`, `PROTOCOL/PORTS from PORTS`, `icmp/TYPE/CODE`,
/// `protocol/NUMBER` or a name.
pub(super) fn read(text: &str) -> Result<Item<'_>, Complaint> {
    if text == "any" {
        return Ok(Item::Service(Service::Any));
    }
    let (head, from) = match text.split_once(" from ") {
        Some((head, from)) => (head, Some(from)),
        None => (text, None),
    };
    let Some((name, detail)) = head.split_once('/') else {
        return match (Protocol::named(head), from) {
            (Some(protocol), None) => Ok(Item::Service(Service::Whole(protocol))),
            (Some(protocol), Some(from)) if protocol.has_ports() => {
                with_ports(protocol, "any", from)
            }
            (Some(_), Some(_)) => Err(no_ports(text, head)),
            (None, _) => name_or_mistake(text, from.is_some()),
        };
    };
    if name == "protocol" {
        return numbered(text, detail, from);
    }
    let protocol = Protocol::named(name).ok_or_else(|| unknown_protocol(text, name, detail))?;
    if protocol.has_ports() {
        return with_ports(protocol, detail, from.unwrap_or("any"));
    }
    match (protocol.has_messages(), from) {
        (true, None) => message(protocol, detail),
        _ => Err(no_ports(text, name)),
    }
}

fn with_ports<'a>(
    protocol: Protocol,
    destination: &str,
    source: &str,
) -> Result<Item<'a>, Complaint> {
    let destination = ports(destination)?;
    let source = ports(source)?;
    Ok(Item::Service(Service::Ports {
        protocol,
        source,
        destination,
    }))
}

/// `any`, or numbers and ranges with commas between.
fn ports(text: &str) -> Result<IntervalSet, Complaint> {
    if text == "any" {
        return Ok(IntervalSet::range(0, 65_535));
    }
    text.split(',').map(port_range).collect()
}

fn port_range(text: &str) -> Result<Interval, Complaint> {
    let Some((low, high)) = text.split_once('-') else {
        return Ok(Interval::point(port(text, text)?));
    };
    if low.is_empty() || high.is_empty() {
        let meant = if low.is_empty() {
            format!("0-{high}")
        } else {
            format!("{low}-65535")
        };
        return Err(bad_port(text, format!("did you mean {}?", shown(&meant))));
    }
    let (low, high) = (port(text, low)?, port(text, high)?);
    Interval::new(low, high).ok_or_else(|| {
        let message = format!("the port range `{}` ends before it starts", shown(text));
        Complaint::new(
            &kinds::REVERSED_RANGE,
            message,
            format!("did you mean {high}-{low}?"),
        )
    })
}

fn port(whole: &str, text: &str) -> Result<u128, Complaint> {
    if let Some(number) = number(text, 65_535) {
        return Ok(number);
    }
    let help = match (text.trim(), text.strip_prefix('>').and_then(|rest| number(rest, 65_534))) {
        (_, Some(above)) => format!("did you mean {}-65535?", above + 1),
        (trimmed, _) if trimmed != text => "write it without spaces, as in tcp/80,443".to_owned(),
        (digits, _) if digits.bytes().all(|byte| byte.is_ascii_digit()) && !digits.is_empty() => {
            "ports go from 0 to 65535, without leading zeros".to_owned()
        }
        _ => "write a number, a range as in 8000-8010, or several with commas; name other services on their own".to_owned(),
    };
    Err(bad_port(whole, help))
}

fn bad_port(text: &str, help: String) -> Complaint {
    Complaint::new(
        &kinds::BAD_PORT,
        format!("`{}` is no port", shown(text)),
        help,
    )
}

fn numbered<'a>(text: &str, detail: &str, from: Option<&str>) -> Result<Item<'a>, Complaint> {
    match (number(detail, 255), from) {
        (Some(value), None) => Ok(Item::Service(Service::Whole(Protocol(value as u8)))),
        _ => {
            let message = format!("`{}` is no protocol number", shown(text));
            let help = "write `protocol/47`, a number from 0 to 255; ports go with a protocol's name, as in tcp/80";
            Err(Complaint::new(&kinds::BAD_PROTOCOL, message, help))
        }
    }
}

fn message<'a>(protocol: Protocol, detail: &str) -> Result<Item<'a>, Complaint> {
    let (kind, code) = match detail.split_once('/') {
        Some((kind, code)) => (number(kind, 255), Some(number(code, 255))),
        None => (number(detail, 255), None),
    };
    match (kind, code) {
        (Some(kind), None) => Ok(message_of(protocol, kind, None)),
        (Some(kind), Some(Some(code))) => Ok(message_of(protocol, kind, Some(code as u8))),
        _ => {
            let message = format!("`{}` is no {protocol} type and code", shown(detail));
            let echo = if protocol == boundwalk_model::ICMP {
                "icmp/8"
            } else {
                "icmpv6/128"
            };
            let help = format!(
                "write numbers from 0 to 255, as in {echo} (echo request) or {protocol}/3/4"
            );
            Err(Complaint::new(&kinds::BAD_ICMP, message, help))
        }
    }
}

fn message_of<'a>(protocol: Protocol, kind: u128, code: Option<u8>) -> Item<'a> {
    Item::Service(Service::Message {
        protocol,
        kind: kind as u8,
        code,
    })
}

/// A number in plain decimal digits.
fn number(text: &str, most: u128) -> Option<u128> {
    let digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let plain = digits && text.len() <= 5 && (text.len() == 1 || !text.starts_with('0'));
    plain
        .then(|| text.parse().ok())
        .flatten()
        .filter(|&number| number <= most)
}

fn no_ports(text: &str, protocol: &str) -> Complaint {
    let message = format!("`{}`: {} has no ports", shown(text), shown(protocol));
    let help = format!("write `{}` alone", shown(protocol));
    Complaint::new(&kinds::BAD_PROTOCOL, message, help)
}

fn unknown_protocol(text: &str, name: &str, detail: &str) -> Complaint {
    let lower = name.to_lowercase();
    let meant = if Protocol::named(&lower).is_some() {
        format!("did you mean {}/{}?", lower, shown(detail))
    } else if Protocol::named(detail).is_some() && number(name, 65_535).is_some() {
        format!("the protocol comes first: did you mean {detail}/{name}?")
    } else if number(name, 255).is_some() {
        let protocol = Protocol(name.parse().unwrap_or(0));
        if Protocol::named(&protocol.to_string()).is_some() {
            format!("did you mean {}/{}?", protocol, shown(detail))
        } else {
            format!("did you mean protocol/{name}?")
        }
    } else {
        match nearest_protocol(&lower) {
            Some(near) => format!("did you mean {near}/{}?", shown(detail)),
            None => "write a protocol and ports, as in tcp/443".to_owned(),
        }
    };
    let message = format!("`{}` begins with no protocol", shown(text));
    Complaint::new(&kinds::BAD_PROTOCOL, message, meant)
}

fn nearest_protocol(name: &str) -> Option<&'static str> {
    let short = name.len() <= 16;
    let close = |known: &&'static str| short && strsim::osa_distance(name, known) <= 1;
    Protocol::names().find(close)
}

/// Text without a slash and not a protocol: a name, unless it can't be one.
fn name_or_mistake(text: &str, from: bool) -> Result<Item<'_>, Complaint> {
    let name_like = text
        .chars()
        .all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.'));
    let numeric = text
        .bytes()
        .all(|byte| byte.is_ascii_digit() || matches!(byte, b'-' | b','));
    if name_like && !numeric && !text.is_empty() && !from {
        return Ok(Item::Name(text));
    }
    let message = format!("`{}` is no service", shown(text));
    let help = if numeric && !text.is_empty() {
        format!(
            "ports need their protocol: did you mean tcp/{}?",
            shown(text)
        )
    } else if let Some((protocol, rest)) = text
        .split_once([':', ' '])
        .filter(|(head, _)| Protocol::named(head).is_some())
    {
        format!("did you mean {protocol}/{}?", shown(rest.trim()))
    } else if from {
        "source ports go with a protocol, as in `udp/123 from 123`".to_owned()
    } else {
        "write a name, `tcp/443`, `udp/53 from 1024-65535`, `icmp/8` or `any`".to_owned()
    };
    Err(Complaint::new(&kinds::BAD_SERVICE, message, help))
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_model::{ICMP, TCP, UDP};

    fn service(text: &str) -> Service {
        match read(text).expect("a service") {
            Item::Service(service) => service,
            Item::Name(name) => panic!("{name} is taken for a name"),
        }
    }

    fn kind(text: &str) -> &'static str {
        read(text).expect_err("a mistake").kind.name
    }

    #[test]
    fn items_of_every_form() {
        let any = IntervalSet::range(0, 65_535);
        let ports = |text: &str| ports(text).expect("ports");
        let tcp = |source: IntervalSet, destination| Service::Ports {
            protocol: TCP,
            source,
            destination,
        };
        assert_eq!(service("any"), Service::Any);
        assert_eq!(service("gre"), Service::Whole(Protocol(47)));
        assert_eq!(service("protocol/47"), Service::Whole(Protocol(47)));
        assert_eq!(
            service("tcp/80,443,8000-8010"),
            tcp(any.clone(), ports("80,443,8000-8010"))
        );
        assert_eq!(service("tcp/any from 53"), tcp(ports("53"), any.clone()));
        assert_eq!(service("tcp from 53"), service("tcp/any from 53"));
        let ntp = Service::Ports {
            protocol: UDP,
            source: ports("123"),
            destination: ports("123"),
        };
        assert_eq!(service("udp/123 from 123"), ntp);
        assert_eq!(
            service("icmp/3/4"),
            Service::Message {
                protocol: ICMP,
                kind: 3,
                code: Some(4)
            }
        );
        assert_eq!(
            service("icmp/8"),
            Service::Message {
                protocol: ICMP,
                kind: 8,
                code: None
            }
        );
        assert_eq!(read("ssh").expect("a name"), Item::Name("ssh"));
        assert_eq!(service("tcp/0-65535"), service("tcp/any"));
    }

    #[test]
    fn mistakes_are_told_apart() {
        for text in [
            "tcp/65536",
            "tcp/",
            "tcp/80-",
            "tcp/080",
            "tcp/80, 443",
            "tcp/http",
            "tcp/>1023",
        ] {
            assert_eq!(kind(text), "bad-port", "{text}");
        }
        for text in [
            "TCP/80",
            "80/tcp",
            "6/80",
            "gre/4",
            "protocol/256",
            "tcpp/80",
            "icmp/8 from 3",
        ] {
            assert_eq!(kind(text), "bad-protocol", "{text}");
        }
        for text in ["icmp/256", "icmp/echo", "icmp/3/", "icmpv6/1/2/3"] {
            assert_eq!(kind(text), "bad-icmp", "{text}");
        }
        for text in ["", "80", "tcp:80", "a b", "ssh from 3"] {
            assert_eq!(kind(text), "bad-service", "{text}");
        }
        assert_eq!(kind("tcp/90-80"), "reversed-range");
        assert_eq!(
            read("80/tcp").expect_err("reversed").help,
            "the protocol comes first: did you mean tcp/80?"
        );
    }
}
