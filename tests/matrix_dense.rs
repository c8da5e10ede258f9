//! The matrix of long lists of rules that name little, against single packets: a packet that is followed hop by hop and
//! rule by rule arrives exactly where its pair says so.

#[path = "support/seeds.rs"]
mod seeds;
#[path = "../benches/support/sites.rs"]
#[allow(dead_code, reason = "benches ask it for more")]
mod sites;

use boundwalk::analysis::{By, Cell, Extent, HostileReach, Matrix, Question};
use boundwalk::forwarding::{Network, Outcome, Packet, Place, Reply, Sender, trace};
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, SegmentId, Site, TCP, UDP};
use sites::{Size, dense_site, large_site};

const TODAY: Date = Date::constant(2026, 11, 29);

/// SplitMix64 (*Fast splittable pseudorandom number generators*, OOPSLA 2014).
struct Draw(u64);

impl Draw {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) % end as u64) as usize
    }
}

fn loaded(text: &str) -> Site {
    let loaded = load_text("site.toml", text);
    let problems = format!("{:#?}", loaded.problems);
    loaded.site.expect(&problems)
}

/// An address of a segment as `sites` numbers them, the internet before the others.
fn address(draw: &mut Draw, segment: usize) -> std::net::IpAddr {
    let host = 2 + draw.below(200);
    let text = match segment.checked_sub(1) {
        None => format!("198.51.100.{host}"),
        Some(inside) => format!("10.{}.{}.{host}", inside / 256, inside % 256),
    };
    text.parse().expect("an address")
}

fn packet(draw: &mut Draw, from: usize, to: usize) -> Packet {
    let ports = [
        22,
        53,
        80,
        88,
        443,
        502,
        5060,
        8080,
        20_000,
        1024 + 10 * draw.below(6_000) as u16,
    ];
    Packet {
        source: address(draw, from),
        destination: address(draw, to),
        protocol: if draw.below(4) == 0 { UDP } else { TCP },
        source_port: 49_152,
        destination_port: ports[draw.below(ports.len())],
    }
}

/// Whether a plain device of a segment gets a packet to another one, and whether it is answered.
fn fate(network: &Network<'_>, from: usize, to: usize, packet: &Packet) -> (bool, bool) {
    let traces = trace(network, Sender::Segment(SegmentId(from)), packet);
    let [trace] = &traces[..] else {
        panic!("one way: {traces:?}");
    };
    let arrives = trace.outcome == Outcome::Delivered(Place::Segment(SegmentId(to)));
    (arrives, matches!(trace.reply, Some(Reply::Back(_))))
}

fn holds(network: &Network<'_>, cell: &Cell, packet: &Packet, (arrives, answered): (bool, bool)) {
    let class = network.classes.class_of(
        packet.protocol.0,
        packet.source_port,
        packet.destination_port,
    );
    assert!(cell.complete());
    if arrives {
        assert!(cell.some.contains(class), "{packet} arrives");
        assert_eq!(
            cell.filtered,
            Extent::All,
            "the only gateway decides about all"
        );
        assert!(!answered || cell.answered(), "{packet} is answered");
    } else {
        assert!(!cell.every.contains(class), "{packet} does not arrive");
    }
}

#[test]
fn packets_arrive_where_the_matrix_of_a_long_list_says() {
    for seed in seeds::seeds(2) {
        let kind = if seed % 2 == 0 {
            dense_site
        } else {
            large_site
        };
        one_list(seed, kind);
    }
}

fn one_list(seed: u64, kind: fn(Size) -> String) {
    let mut draw = Draw(seed);
    let (mut arrived, mut lost) = (0, 0);
    {
        let segments = 30;
        let site = loaded(&kind(Size {
            rules: 1_000,
            segments,
            dual: false,
            seed,
        }));
        let network = Network::new(&site, TODAY);
        let question = Question::all(By::Segment, Family::V4, true);
        let matrix = Matrix::new(&network, &question, &mut |_, _| {});
        for _ in 0..4_000 {
            let (from, to) = (draw.below(segments + 1), draw.below(segments + 1));
            if from == to {
                continue;
            }
            let cell = &matrix.cells[from][to];
            let packet = packet(&mut draw, from, to);
            let fate = fate(&network, from, to, &packet);
            holds(&network, cell, &packet, fate);
            *if fate.0 { &mut arrived } else { &mut lost } += 1;
        }
        // What each cell shows as its packet is one.
        for (from, row) in matrix.cells.iter().enumerate() {
            for (to, cell) in row.iter().enumerate().take(segments + 1) {
                assert_eq!(cell.witness.is_some(), !cell.some.is_empty());
                if let Some(packet) = cell.witness {
                    assert!(fate(&network, from, to, &packet).0, "{packet}");
                }
                if let HostileReach::Larger(packet) = cell.hostile {
                    let plain = plain_reaches(&network, from, to, &packet);
                    assert!(!plain, "{packet} passes for plain devices too");
                }
            }
        }
    }
    assert!(
        arrived > 500 && lost > 500,
        "{arrived} arrived, {lost} did not"
    );
}

/// Whether some plain device gets a packet to that destination and service, by trying every address of a segment.
fn plain_reaches(network: &Network<'_>, from: usize, to: usize, packet: &Packet) -> bool {
    let Some(inside) = from.checked_sub(1) else {
        // The world is too large to try.
        return false;
    };
    (2..255).any(|host| {
        let source = format!("10.{}.{}.{host}", inside / 256, inside % 256);
        let plain = Packet {
            source: source.parse().expect("an address"),
            ..*packet
        };
        fate(network, from, to, &plain).0
    })
}
