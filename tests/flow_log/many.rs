//! A million lines against a count of what they were made from.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::random::Random;
use super::support::{HEADING, read, show};

const LINES: usize = 1_000_000;
/// Ports at which services listen: below 1,024 or of a built-in service.
const LISTENING: [u16; 6] = [22, 53, 443, 1883, 3389, 5432];

/// What a flow amounts to, counted from the numbers and not from the text.
#[derive(Default)]
struct Amount {
    records: u64,
    packets: u64,
    octets: u64,
    first: u64,
    last: u64,
}

/// Client and server, the last two octets of each, and the port.
type Name = (u16, u16, u16);

struct Made {
    text: String,
    flows: BTreeMap<Name, Amount>,
    replies: u64,
    malformed: u64,
}

fn dotted(host: u16) -> String {
    format!("10.44.{}.{}", host >> 8, host & 255)
}

fn made() -> Made {
    let mut random = Random::new(7);
    let mut text = String::with_capacity(100 * LINES);
    writeln!(
        text,
        "{HEADING},packetDeltaCount,octetDeltaCount,flowStartMilliseconds,flowEndMilliseconds"
    )
    .expect("a text takes everything");
    let mut made = Made {
        text,
        flows: BTreeMap::new(),
        replies: 0,
        malformed: 0,
    };
    for _ in 0..LINES {
        match random.below(1_000) {
            0 => {
                made.text += "10.44.10.31,10.44\n";
                made.malformed += 1;
            }
            _ => add(&mut made, &mut random),
        }
    }
    made
}

fn add(made: &mut Made, random: &mut Random) {
    let client = random.between(10 << 8, (10 << 8) + 199) as u16;
    let server = random.between(30 << 8, (30 << 8) + 49) as u16;
    let port = *random.pick(&LISTENING);
    let other = random.between(49_152, 65_535);
    let (packets, octets) = (random.between(1, 500) as u64, random.next() % 1_000_000);
    let first = 1_794_787_200_000 + random.next() % 604_800_000;
    let last = first + random.next() % 60_000;
    let reply = random.percent(20);
    made.replies += u64::from(reply);
    let (from, to) = (dotted(client), dotted(server));
    let (from, to, source, destination) = if reply {
        (to, from, usize::from(port), other)
    } else {
        (from, to, other, usize::from(port))
    };
    writeln!(
        made.text,
        "{from},{to},6,{source},{destination},{packets},{octets},{first},{last}"
    )
    .expect("a text takes everything");
    let amount = made
        .flows
        .entry((client, server, port))
        .or_insert_with(|| Amount {
            first: u64::MAX,
            ..Amount::default()
        });
    amount.records += 1;
    amount.packets += packets;
    amount.octets += octets;
    amount.first = amount.first.min(first);
    amount.last = amount.last.max(last);
}

#[test]
fn a_million_lines_are_counted_as_they_were_made() {
    let made = made();
    let log = read(&made.text);
    assert_eq!(log.lines, LINES as u64 + 1);
    assert_eq!(log.malformed, made.malformed);
    assert_eq!(log.records, LINES as u64 - made.malformed);
    assert_eq!(log.turned, made.replies);
    // All of the 200 x 50 x 6 flows occur, in the order of the numbers.
    assert_eq!(log.flows.len(), made.flows.len());
    assert_eq!(made.flows.len(), 60_000);
    for (flow, ((client, server, port), amount)) in log.flows.iter().zip(&made.flows) {
        let expected = format!(
            "{} > {} tcp/{port} x{} {}p {}o {}-{}",
            dotted(*client),
            dotted(*server),
            amount.records,
            amount.packets,
            amount.octets,
            amount.first,
            amount.last
        );
        assert_eq!(show(flow), expected);
    }
}
